//! How the record is laid out: HTML, its pictures, and CSV.

use std::collections::BTreeMap;

use sayback::report::{self, Report};

use super::scenario::{both_runs, fv_118};

fn rows(report: &Report) -> Vec<BTreeMap<String, String>> {
    let bytes = report::csv(report).unwrap();
    csv::Reader::from_reader(bytes.as_slice())
        .deserialize()
        .map(Result::unwrap)
        .collect()
}

/// A page that loads nothing and runs nothing.
pub fn needs_nothing_and_runs_nothing(html: &str) {
    for never in [
        "<script",
        "http",
        "javascript",
        "@import",
        "url(",
        "<link",
        "<img",
        "<iframe",
        " onload",
        " onclick",
    ] {
        assert!(
            !html.to_lowercase().contains(never),
            "{never} is on the page"
        );
    }
}

#[test]
fn the_page_needs_nothing_but_itself_and_runs_nothing() {
    let html = report::html(&fv_118().report());
    needs_nothing_and_runs_nothing(&html);
    assert!(
        html.contains("lang=\"en\"")
            && html.contains("name=\"viewport\"")
            && html.contains("size: A4")
    );
}

#[test]
fn markup_in_a_note_is_shown_and_not_obeyed() {
    let html = report::html(&fv_118().report());
    assert!(html.contains("&lt;b&gt;marked&lt;/b&gt; &amp; tightened"));
    assert!(!html.contains("<b>marked</b>"));
}

#[test]
fn spoken_readings_lead_to_their_sound_beside_the_page() {
    let html = report::html(&fv_118().report());
    assert!(html.contains("href=\"./clips/506-5.wav\""));
    // A file name cannot lead out of the folder.
    let mut report = fv_118().report();
    for answer in &mut report.answers {
        answer.how.clip = Some("../../x\" onclick=\"y".to_owned());
    }
    assert!(report::html(&report).contains("href=\"./clips/..%2F..%2Fx%22%20onclick%3D%22y\""));
}

#[test]
fn the_page_has_signature_lines_statements_and_both_hashes() {
    let report = fv_118().report();
    let html = report::html(&report);
    for text in [
        "Technician, date",
        "Reviewer, date",
        "Customer, date",
        "Sayback does not move the actuator and does not state that anything is safe",
        "Order of authority for limits",
        "It is not a signature",
        &report.head.job_hash,
        super::scenario::HASH,
    ] {
        assert!(html.contains(text), "{text} is not on the page");
    }
}

#[test]
fn pictures_have_a_title_and_a_description() {
    let html = report::html(&both_runs().report());
    let svg = &html[html.find("<svg").unwrap()..];
    assert!(svg.contains("Deviation in % of span over travel"));
    assert!(svg.contains("as found, up: 0 % -2.4, 25 % -2.1, 50 % -1.5, 75 % -0.6, 100 % -0.2."));
    assert!(svg.contains("Limit ±1.5 %."));
}

#[test]
fn the_plot_has_every_deviation_of_the_rows_and_no_other() {
    let report = both_runs().report();
    let html = report::html(&report);
    let mut expected: Vec<String> = report
        .runs
        .iter()
        .flat_map(|run| run.rows.iter().map(move |row| (run, row)))
        .map(|(run, row)| {
            let way = if row.up { "up" } else { "down" };
            format!(
                "{}, {way} at {} %: {} %",
                run.stage.words(),
                row.point,
                row.cells[0].deviation.as_deref().unwrap()
            )
        })
        .collect();
    let mut drawn: Vec<String> = html
        .split("<title>")
        .skip(1)
        .filter_map(|rest| rest.split_once("</title>"))
        .map(|(title, _)| title.to_owned())
        .filter(|title| title.starts_with("as "))
        .collect();
    expected.sort();
    drawn.sort();
    assert_eq!(expected.len(), 20);
    assert_eq!(drawn, expected);
}

#[test]
fn a_mark_is_drawn_where_its_deviation_belongs() {
    // The height of a mark must be in proportion: zero on the axis, plus above, equal steps equally far.
    let html = report::html(&both_runs().report());
    let height = |title: &str| -> f64 {
        let rest = &html[html.find(&format!("<title>{title}</title>")).unwrap()..];
        let rest = &rest[rest.find("cy=\"").unwrap() + 4..];
        rest[..rest.find('"').unwrap()].parse().unwrap()
    };
    let axis = 70.0;
    let (found, left) = (
        height("as found, up at 50 %: -1.5 %"),
        height("as left, up at 50 %: +0.6 %"),
    );
    assert!(left < axis && axis < found);
    assert!(
        ((found - axis) / (axis - left) - 1.5 / 0.6).abs() < 0.02,
        "{found} {left}"
    );
}

#[test]
fn no_picture_is_drawn_without_data() {
    let journal = super::scenario::Journal::start(super::scenario::job());
    let report = journal.report();
    assert!(report.track.is_none() && report.runs.is_empty());
    assert!(!report::html(&report).contains("<svg"));
}

#[test]
fn csv_has_a_row_for_each_answer_and_each_figure() {
    let report = fv_118().report();
    let rows = rows(&report);
    let of = |kind: &str| rows.iter().filter(|row| row["row"] == kind).count();
    assert_eq!(of("answer"), report.answers.len());
    assert_eq!(
        of("finding"),
        report
            .findings
            .iter()
            .map(|finding| finding.figures.len())
            .sum::<usize>()
    );
    let old = rows
        .iter()
        .find(|row| row["row"] == "answer" && row["value"] == "410")
        .unwrap();
    let new = rows
        .iter()
        .find(|row| row["corrects"] == old["seq"])
        .unwrap();
    assert_eq!(
        (
            old["counts"].as_str(),
            new["value"].as_str(),
            new["reason"].as_str()
        ),
        ("corrected later", "140", "digits exchanged")
    );
    assert_eq!(
        (
            old["utc"].get(..4),
            old["local"].get(19..),
            old["tag"].as_str()
        ),
        (Some("2026"), Some("+01:00"), "FV-118")
    );
    let odd: Vec<&str> = rows
        .iter()
        .filter(|row| row["out_of_range"] == "yes")
        .map(|row| row["value"].as_str())
        .collect();
    assert_eq!(odd, ["6.2"]);
}

#[test]
fn negative_numbers_stay_numbers_in_csv() {
    let rows = rows(&both_runs().report());
    assert!(
        rows.iter()
            .any(|row| row["row"] == "answer" && row["value"] == "-2.4" && row["unit"] == "%")
    );
    assert!(rows.iter().any(|row| row["row"] == "finding"
        && row["column"] == "inaccuracy below"
        && row["value"] == "-2.40"));
}

#[test]
fn texts_that_begin_like_a_formula_get_an_apostrophe_in_csv() {
    for text in [
        "=1+1",
        "+1",
        "-1",
        "@SUM(A1)",
        "=HYPERLINK(\"x\")",
        " =1",
        "\t=1",
        "\r=1",
        "\u{200B}=1",
        "\u{FF1D}1",
        "=1\"\r\n=2,\"=3",
    ] {
        let mut report = fv_118().report();
        report.head.tag = Some(text.to_owned());
        report.answers[0].how.heard = text.to_owned();
        let rows = rows(&report);
        for row in &rows {
            assert!(
                row["tag"].starts_with('\''),
                "{text:?} became {:?}",
                row["tag"]
            );
        }
        assert!(rows.iter().any(|row| row["heard"].starts_with('\'')));
    }
}

#[test]
fn every_picture_is_described_by_ids_of_its_own() {
    let mut journal = both_runs();
    let at = journal.job.index_of("run-found").unwrap();
    // Different quantities are drawn apart.
    journal.job.steps[at].measures = Some("another".to_owned());
    let html = report::html(&journal.report());
    assert_eq!(html.matches("<svg").count(), 2);
    let mut ids: Vec<&str> = html
        .split(" id=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect();
    let all = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!((ids.len(), all), (4, 4));
    for named in html.split("aria-labelledby=\"").skip(1) {
        for id in named.split('"').next().unwrap().split(' ') {
            assert!(ids.contains(&id), "{id}");
        }
    }
}

#[test]
fn no_label_of_the_track_leaves_the_picture() {
    for (low, high) in [
        ("-1.0", "40.0"),
        ("60.0", "101.0"),
        ("-300.0", "300.0"),
        ("0.0", "100.0"),
        ("49.0", "51.0"),
    ] {
        let mut report = fv_118().report();
        let wiper = report.track.as_mut().unwrap().as_left.as_mut().unwrap();
        (wiper.low, wiper.high) = (Some(low.to_owned()), Some(high.to_owned()));
        let html = report::html(&report);
        let svg = html
            .split("track-desc\">")
            .nth(1)
            .unwrap()
            .split("</svg>")
            .next()
            .unwrap();
        let mut spans: Vec<(String, f64, f64)> = Vec::new();
        for label in svg.split("<text ").skip(1) {
            let of = |name: &str| {
                label
                    .split(&format!("{name}=\""))
                    .nth(1)
                    .unwrap()
                    .split('"')
                    .next()
                    .unwrap()
            };
            let text = label.split('>').nth(1).unwrap().split('<').next().unwrap();
            // The mean letter takes about half of the size of 10.
            let width = 5.0 * text.chars().count() as f64;
            // The place across stands first.
            let x: f64 = label
                .strip_prefix("x=\"")
                .and_then(|rest| rest.split('"').next())
                .unwrap()
                .parse()
                .unwrap();
            let left = match of("text-anchor") {
                "start" => x,
                "end" => x - width,
                _ => x - width / 2.0,
            };
            assert!(
                left >= 0.0 && left + width <= 360.0,
                "{text} from {left} for {low} to {high}"
            );
            spans.push((of("y").to_owned(), left, left + width));
        }
        for (at, (row, left, right)) in spans.iter().enumerate() {
            for (other, start, end) in &spans[at + 1..] {
                assert!(
                    row != other || right <= start || end <= left,
                    "labels overlap at {row} for {low} to {high}"
                );
            }
        }
    }
}

#[test]
fn stroke_times_are_drawn_against_the_nameplate() {
    let mut report = fv_118().report();
    assert!(!report::html(&report).contains("stroke-title"));
    report.strokes = vec![report::Stroke {
        seq: 9,
        stage: Some(sayback::job::Stage::AsLeft),
        open: "15.2".to_owned(),
        close: "14.1".to_owned(),
        nameplate: Some("15".to_owned()),
        tolerance: Some("10".to_owned()),
    }];
    let html = report::html(&report);
    let svg = html.split("stroke-desc\">").nth(1).unwrap();
    assert!(svg.starts_with(
        "as left, open: 15.2 s. as left, close: 14.1 s. Nameplate 15 s, allowed 13.5 to 16.5 s."
    ));
    let bars: Vec<f64> = svg
        .split("<rect ")
        .skip(2)
        .take(2)
        .map(|bar| {
            bar.split("width=\"")
                .nth(1)
                .unwrap()
                .split('"')
                .next()
                .unwrap()
                .parse()
                .unwrap()
        })
        .collect();
    assert!(
        (bars[0] / bars[1] - 15.2 / 14.1).abs() < 0.01,
        "the bars are as long as the times: {bars:?}"
    );
    // Without a nameplate there is nothing to hold it against, and nothing is drawn that says so.
    report.strokes[0].nameplate = None;
    let html = report::html(&report);
    assert!(html.contains("no stroke time on the nameplate") && !html.contains("allowed 13.5"));
}

#[test]
fn found_done_and_left_stand_before_the_details() {
    let report = fv_118().report();
    assert_eq!(
        (report.summary.found.as_str(), report.summary.done.as_str()),
        (
            "Centring: ends off track; 1 of 2 findings good",
            "Set screw loosened; Set screw tightened"
        )
    );
    let html = report::html(&report);
    let place = |text: &str| html.find(text).unwrap();
    assert!(place("Exceptions:") < place("<dt>Found</dt>"));
    assert!(place("<dt>Left</dt>") < place("As found | as left"));
    let nothing = super::scenario::Journal::start(super::scenario::job()).report();
    assert_eq!(
        (nothing.summary.done.as_str(), nothing.summary.left.as_str()),
        ("nothing was adjusted", "not judged")
    );
}

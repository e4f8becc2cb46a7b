//! The summary of a week: its figures, each with the runs that it comes from, and its two files.

use std::collections::BTreeMap;
use std::path::Path;

use crate::report::pages::needs_nothing_and_runs_nothing;
use assert_cmd::Command;
use sayback::core::record::{Body, How, Record, Wall};
use sayback::history::{PastJob, PastPart, tag_key};
use sayback::report::week::{self, Figure, Week, WeekSource};

use crate::core::meter_check;
use crate::core::set_ends::LEFT;
use crate::history::made::{DAY, FIRST, Made, Runs};

/// Monday 25 November 2024 is day 0.
const BAD: Runs = ([0.1, 25.2, 53.4, 75.1, 100.0], LEFT.1);

fn check(outside: bool, day: i64, hour: i64) -> Made {
    let walk = if outside {
        meter_check::outside()
    } else {
        meter_check::within()
    };
    let mut made = Made {
        name: String::new(),
        job: sayback::job::built_in::text("meter-check")
            .unwrap()
            .to_owned(),
        records: walk.records().to_vec(),
    };
    made.begin(FIRST + day * DAY + hour * 3_600_000);
    made.name = format!("{}-9{hour:02}-meter-check", &made.name[..10]);
    made
}

fn run(tag: &str, day: i64, number: i64, found: Runs) -> Made {
    let mut made = Made::set_ends(tag, day, found, LEFT, true);
    made.begin(FIRST + day * DAY + number * 1_800_000);
    made.name = format!("{}-{number:03}-set-ends", &made.name[..10]);
    made
}

/// A week: two of one cabinet out of tolerance on Tuesday, one ended early with a reason, one with a correction.
fn made() -> Vec<Made> {
    let mut early = run("FV-4", 2, 4, LEFT);
    early.records.truncate(30);
    let last = early.records.last().unwrap().clone();
    early.records.push(Record {
        body: Body::Ending {
            reason: "storm, off the ladder".to_owned(),
        },
        ..last
    });
    let mut corrected = run("FV-3", 2, 3, LEFT);
    let at = corrected
        .records
        .iter()
        .position(
            |record| matches!(&record.body, Body::Answered(answer) if answer.step == "starts"),
        )
        .unwrap();
    let mut again = corrected.records[at].clone();
    if let Body::Answered(answer) = &mut again.body {
        answer.corrects = Some(at as u64);
        answer.reason = Some("=counted \u{202E}twice".to_owned());
    }
    corrected.records.insert(at + 1, again);
    corrected.records.insert(
        at + 2,
        Record {
            at: corrected.records[at].at,
            body: Body::Skipped {
                step: "remarks".to_owned(),
                row: None,
                reason: "none".to_owned(),
                unable: false,
                how: How::default(),
                then: sayback::core::record::Cursor::Ending,
            },
        },
    );
    vec![
        run("FV-1", -370, 1, LEFT),
        check(false, 0, 1),
        run("FV-1", 1, 1, BAD),
        run("FV-2", 1, 2, BAD),
        corrected,
        early,
    ]
}

const ROUTE: &str = "tag,job,group,note\nFV-1,set-ends,cabinet 7,\nfv-2,set-ends,cabinet 7,\n\
    FV-3,set-ends,cabinet 8,\nFV-4,set-ends,,\nFV-5,set-ends,,no permit on Friday\n";

fn job(name: &str) -> Result<(String, sayback::job::Job), String> {
    let text = sayback::job::built_in::text(name).ok_or("no such job")?;
    let job = sayback::job::load::parse(text, name).map_err(|faults| faults.to_string())?;
    Ok((text.to_owned(), job))
}

fn summed(made: &[Made], route: Option<&str>) -> Week {
    let mut all: Vec<PastJob> = made.iter().map(Made::past).collect();
    all.sort_by_key(|job| job.start.utc_ms);
    let jobs: Vec<PastJob> = all
        .iter()
        .filter(|job| ("2024-11-25"..="2024-12-01").contains(&job.date().as_str()))
        .cloned()
        .collect();
    let mut pasts: BTreeMap<String, Vec<PastJob>> = BTreeMap::new();
    for job in &all {
        if let Some(tag) = &job.tag {
            pasts.entry(tag_key(tag)).or_default().push(job.clone());
        }
    }
    let pasts: Vec<Vec<PastJob>> = pasts.into_values().collect();
    let now = Wall {
        utc_ms: FIRST + 6 * DAY,
        offset_min: 60,
    };
    let route = route
        .map(|text| sayback::route::from_bytes(text.as_bytes(), "week-48.csv", &mut job).unwrap());
    let facts: Vec<_> = jobs.iter().map(|job| job.facts.clone()).collect();
    let checks: Vec<_> = facts.iter().filter_map(|run| run.check.clone()).collect();
    let progress = route
        .as_ref()
        .map(|route| sayback::route::progress(route, &facts, now));
    week::build(&WeekSource {
        from: "2024-11-25",
        to: "2024-12-01",
        jobs: &jobs,
        pasts: &pasts,
        route: route.as_ref().zip(progress.as_ref()),
        checks: &checks,
        now,
        unread: &[(
            "2024-11-26-007-set-ends".to_owned(),
            "its journal is damaged".to_owned(),
        )],
    })
}

fn figure<'a>(week: &'a Week, name: &str) -> &'a Figure {
    week.figures
        .iter()
        .find(|figure| figure.name == name)
        .unwrap_or_else(|| panic!("no figure {name}"))
}

fn runs(figure: &Figure) -> Vec<&str> {
    figure.runs.iter().map(|run| run.tag.as_str()).collect()
}

#[test]
fn every_figure_names_the_runs_that_it_comes_from() {
    let week = summed(&made(), Some(ROUTE));
    assert_eq!(week.counts, (5, 4));
    let out = figure(&week, "Found out of tolerance");
    // 2 of 4; the exact interval is that of scipy.stats.binomtest(2, 4).proportion_ci(): 0.0676 to 0.9324.
    assert_eq!(out.value, "2 of 4 (50 %; 95 % interval 7 to 93 %)");
    assert_eq!(runs(out), ["FV-1", "FV-2"]);
    assert!(
        out.runs[0].detail.contains("As-found run: fail"),
        "{}",
        out.runs[0].detail
    );
    let not = figure(&week, "Not done");
    assert_eq!(not.value, "2; 3 of 5 on the route are done");
    assert_eq!(runs(not), ["FV-4", "FV-5"]);
    assert!(
        not.runs[0].detail.contains("storm, off the ladder"),
        "{}",
        not.runs[0].detail
    );
    assert_eq!(
        not.runs[1].detail,
        "set-ends: not started (no permit on Friday)"
    );
    assert_eq!(not.runs[1].run, "");
    let drift = figure(&week, "Worst drift since the last as left");
    assert_eq!(drift.value, "+3.1 % of span, FV-1 (n = 1)");
    assert!(
        drift.runs[0]
            .detail
            .starts_with("deviation at 50 % up: left 50.3 %"),
        "{}",
        drift.runs[0].detail
    );
    let same = figure(&week, "Same fault on several actuators");
    assert_eq!(runs(same), ["FV-1", "FV-2"]);
    assert!(
        same.runs[0]
            .detail
            .starts_with("group cabinet 7: As-found run, as found: fail (2 actuators)"),
        "{}",
        same.runs[0].detail
    );
    assert_eq!(figure(&week, "Corrections").value, "1 in 1 of 5 runs");
    assert_eq!(runs(figure(&week, "Corrections")), ["FV-3"]);
    assert_eq!(figure(&week, "Journals that could not be read").value, "1");
    // Without the route nobody knows what was planned, and it is said.
    let without = summed(&made(), None);
    assert_eq!(figure(&without, "Not done").value, "1");
    assert!(figure(&without, "Not done").how.contains("--route FILE"));
    assert_eq!(
        runs(figure(&without, "Same fault on several actuators")),
        ["FV-1", "FV-2"]
    );
}

#[test]
fn a_meter_that_fails_puts_every_run_since_its_last_good_check_in_doubt() {
    let mut made = made();
    let week = summed(&made, None);
    assert_eq!(figure(&week, "In doubt because of a meter").value, "0");
    let meter = week.meters.iter().find(|meter| meter.name == "M7").unwrap();
    assert_eq!(meter.checks.len(), 1);
    // Good on Tuesday at noon, after the runs of that day; outside on Wednesday evening. The jobs
    // name a source, and no meter: which one they used nobody can tell.
    made.push(check(false, 1, 5));
    made.push(check(true, 2, 9));
    let week = summed(&made, None);
    let doubt = figure(&week, "In doubt because of a meter");
    assert_eq!(runs(doubt), ["FV-3", "FV-4"]);
    assert!(
        doubt.runs[0]
            .detail
            .contains("this job names no meter, and meter M7 failed its check of 2024-11-27"),
        "{}",
        doubt.runs[0].detail
    );
    let html = week::html(&week);
    assert!(
        html.contains("FAILED") && html.contains("Ohm range: outside"),
        "{html}"
    );
    let source = week.meters.iter().find(|meter| meter.name == "S1").unwrap();
    assert_eq!(source.runs.len(), 4);
    assert!(source.unchecked.is_empty());
    // One that names the meter M7 on a day without a check, and one that names another.
    for (number, id) in [(7, "M7"), (8, "M8")] {
        made.push(with_meter(run("FV-7", 3, number, LEFT), id));
    }
    let week = summed(&made, None);
    assert_eq!(
        runs(figure(&week, "In doubt because of a meter")),
        ["FV-3", "FV-4"]
    );
    let meter = |name| week.meters.iter().find(|meter| meter.name == name).unwrap();
    assert_eq!(
        meter("M7").unchecked,
        [
            "meter M7 has no good check of 2024-11-28 before this job",
            "meter M7 has no check of 2024-11-28 after this job"
        ]
    );
    // Nobody checks M8 at all: no single day is worse.
    assert!(meter("M8").unchecked.is_empty());
    assert!(week::html(&week).contains("NOT CHECKED"));
}

/// The same run with a meter in the place of the source.
fn with_meter(mut made: Made, id: &str) -> Made {
    made.job = made.job.replace("source-", "meter-");
    if let Body::Started(started) = &mut made.records[0].body {
        let plate = std::mem::take(&mut started.plate);
        started.plate = plate
            .into_iter()
            .map(|(item, value)| (item.replace("source-", "meter-"), value))
            .collect();
        let id = sayback::job::PlateValue::Text(id.to_owned());
        started.plate.insert("meter-id".to_owned(), id);
    }
    made
}

#[test]
fn parts_are_counted_where_a_step_says_that_one_was_replaced() {
    let mut made = run("FV-6", 1, 6, LEFT);
    made.job = made.job.replacen(
        "id = \"cover-back\"",
        "id = \"cover-back\"\npart = \"cover seal\"",
        1,
    );
    assert_eq!(
        made.past().parts,
        [PastPart {
            part: "cover seal".to_owned(),
            done: "Cover back".to_owned(),
            seq: made
                .records
                .iter()
                .position(|record| matches!(&record.body, Body::Answered(answer) if answer.step == "cover-back"))
                .unwrap() as u64,
        }]
    );
    let week = summed(&[made], None);
    assert_eq!(
        figure(&week, "Parts repaired or replaced").value,
        "1 cover seal"
    );
}

#[test]
fn shares_of_few_have_their_exact_interval() {
    // scipy.stats.binomtest(k, n).proportion_ci(0.95, "exact"), scipy 1.17.1.
    for (part, n, low, high) in [
        (0, 5, 0.0, 0.521_823_750_1),
        (2, 4, 0.067_585_986_5, 0.932_414_013_5),
        (3, 40, 0.015_742_179_9, 0.203_864_748_7),
        (7, 7, 0.590_383_602_8, 1.0),
    ] {
        let found = week::interval(part, n);
        assert!(
            (found.0 - low).abs() < 1e-9 && (found.1 - high).abs() < 1e-9,
            "{part} of {n}: {found:?}"
        );
    }
    assert_eq!(week::share(0, 0), "none of 0");
}

#[test]
fn the_page_needs_nothing_but_itself_and_the_table_holds_no_formula() {
    let week = summed(&made(), Some(ROUTE));
    let html = week::html(&week);
    needs_nothing_and_runs_nothing(&html);
    assert!(!html.contains('\u{202E}'));
    assert!(html.contains("size: A4") && html.contains("name=\"viewport\""));
    assert!(html.contains("href=\"./2024-11-26-001-set-ends/record.html\""));
    // Every link inside leads somewhere.
    for part in html.split("href=\"#").skip(1) {
        let id = part.split('"').next().unwrap();
        assert!(html.contains(&format!("id=\"{id}\"")), "{id}");
    }
    let table = week::csv(&week).unwrap();
    let rows: Vec<csv::StringRecord> = csv::Reader::from_reader(table.as_slice())
        .records()
        .map(Result::unwrap)
        .collect();
    assert!(
        rows.iter()
            .flatten()
            .all(|cell| !cell.starts_with(['=', '@', '-']))
    );
    // As many rows of runs as the page names.
    let named: usize = week.figures.iter().map(|figure| figure.runs.len()).sum();
    assert_eq!(rows.iter().filter(|row| &row[0] == "run").count(), named);
}

fn summary(runs: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_sayback"))
        .env_remove("SAYBACK_RUNS")
        .arg("summary")
        .args(arguments)
        .arg("--runs")
        .arg(runs)
        .output()
        .unwrap();
    let text =
        String::from_utf8(output.stdout).unwrap() + &String::from_utf8(output.stderr).unwrap();
    (output.status.code(), text)
}

#[test]
fn the_summary_is_written_beside_the_runs_and_what_it_leads_to_is_there() {
    let folder = tempfile::tempdir().unwrap();
    for made in made() {
        made.write(folder.path());
    }
    let route = folder.path().join("week.csv");
    std::fs::write(
        &route,
        "tag,job,group\nFV-1,set-ends,cabinet 7\nFV-2,set-ends,cabinet 7\nFV-9,set-ends,\n",
    )
    .unwrap();
    let arguments = ["--from", "2024-11-25", "--route", route.to_str().unwrap()];
    let (code, text) = summary(folder.path(), &arguments);
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("Found out of tolerance: 2 of 4"), "{text}");
    let page = folder.path().join("summary-2024-11-25-to-2024-12-01.html");
    let html = std::fs::read_to_string(&page).unwrap();
    for link in html.split("href=\"./").skip(1) {
        let path = link.split('"').next().unwrap();
        assert!(folder.path().join(path).is_file(), "{path} is not there");
    }
    assert!(html.contains("FV-9") && html.contains("group cabinet 7"));
    assert!(page.with_extension("csv").is_file());
    // The same runs give the same bytes.
    assert_eq!(summary(folder.path(), &arguments).0, Some(0));
    assert_eq!(std::fs::read_to_string(&page).unwrap(), html);
    if let Some(to) = std::env::var_os("SAYBACK_KEEP") {
        std::fs::copy(&page, Path::new(&to).join("week.html")).unwrap();
    }
}

#[test]
fn wrong_dates_and_empty_weeks_are_told_with_the_fix() {
    let folder = tempfile::tempdir().unwrap();
    run("FV-1", 0, 1, LEFT).write(folder.path());
    for (arguments, code, told) in [
        (
            &["--from", "25.11.2024"][..],
            2,
            "is no date. Write it as 2026-11-23",
        ),
        (&["--from", "2024-13-01"], 2, "is no date"),
        (
            &["--from", "2024-12-01", "--to", "2024-11-01"],
            2,
            "The earlier date comes first",
        ),
        (&["--from", "2024-12-02"], 1, "The newest is of 2024-11-25"),
        (
            &["--from", "2024-11-25", "--route", "nowhere.csv"],
            2,
            "cannot be read",
        ),
    ] {
        let (found, text) = summary(folder.path(), arguments);
        assert_eq!(found, Some(code), "{arguments:?}: {text}");
        assert!(text.contains(told), "{arguments:?}: {text}");
    }
    assert_eq!(
        std::fs::read_dir(folder.path())
            .unwrap()
            .filter(|entry| entry
                .as_ref()
                .unwrap()
                .file_name()
                .to_string_lossy()
                .starts_with("summary"))
            .count(),
        0
    );
    // Monday to that day.
    let (code, text) = summary(folder.path(), &["--to", "2024-11-27"]);
    assert_eq!(code, Some(0), "{text}");
    assert!(
        text.contains("summary-2024-11-25-to-2024-11-27.html"),
        "{text}"
    );
}

/// A table names no first day. What was done by the runs of an earlier route is told, and left out on request.
#[test]
fn a_route_tells_what_was_done_long_ago_and_can_begin_anew() {
    let folder = tempfile::tempdir().unwrap();
    for made in [run("FV-1", 0, 1, LEFT), run("FV-2", 1, 2, LEFT)] {
        made.write(folder.path());
    }
    let route = folder.path().join("week.csv");
    std::fs::write(
        &route,
        "tag,job\nFV-1,set-ends\nFV-2,set-ends\nFV-3,set-ends\n",
    )
    .unwrap();
    let list = |more: &[&str]| {
        let output = Command::cargo_bin("sayback")
            .unwrap()
            .arg("route")
            .arg(&route)
            .args(["--list", "--runs"])
            .arg(folder.path())
            .args(more)
            .output()
            .unwrap();
        String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).into_owned()
    };
    let all = list(&[]);
    assert!(all.contains("1 of 3 left: 1 not started, 2 done."), "{all}");
    assert!(
        all.contains("OLD: 2 of 3 stand by runs of more than 31 days ago, the first of 2024-11-25. To begin anew, give --from"),
        "{all}"
    );
    let anew = list(&["--from", "2024-11-26"]);
    assert!(
        anew.contains("2 of 3 left: 2 not started, 1 done."),
        "{anew}"
    );
    assert!(!anew.contains("OLD:"), "{anew}");
    let wrong = list(&["--from", "26.11.2024"]);
    assert!(
        wrong.contains("is no date. Write it as 2026-11-23"),
        "{wrong}"
    );
}

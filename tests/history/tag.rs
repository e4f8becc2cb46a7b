//! As found against the last as left, drift, what repeats, and when to look again.

use sayback::core::record::Body;
use sayback::history::tag::{Compared, TagHistory, WhyNot, mean_and_deviation};
use sayback::history::{PastJob, words};
use sayback::job::Stage;

use super::made::{DAY, Made, Runs};
use crate::core::set_ends::LEFT;

/// The readings of one run, each so much higher than those as left.
fn higher(by: [f64; 5]) -> Runs {
    let add = |run: [f64; 5]| std::array::from_fn(|at| tenths(run[at] + by[at]));
    (add(LEFT.0), add(LEFT.1))
}

fn tenths(number: f64) -> f64 {
    (number * 10.0).round() / 10.0
}

fn jobs(made: &[Made]) -> Vec<PastJob> {
    made.iter().map(Made::past).collect()
}

/// Three jobs of a year each: 0.4 % at 25 % up in the first year, 0.7 % at 50 % in the second.
fn three() -> Vec<PastJob> {
    jobs(&[
        Made::set_ends("FV-118", 0, LEFT, LEFT, true),
        Made::set_ends("FV-118", 365, higher([0.0, 0.4, 0.2, 0.0, 0.0]), LEFT, true),
        Made::set_ends(
            "FV-118",
            730,
            higher([0.0, 0.1, 0.7, -0.2, 0.0]),
            LEFT,
            true,
        ),
    ])
}

fn at<'h, 'a>(history: &'h TagHistory<'a>, job: usize, place: &str) -> &'h Compared<'a> {
    history
        .compared
        .iter()
        .find(|one| one.job.run == history.jobs[job].run && one.found.place() == place)
        .unwrap()
}

fn near(found: f64, wanted: f64) {
    assert!((found - wanted).abs() < 1e-9, "{found}, wanted {wanted}");
}

#[test]
fn every_point_is_held_against_the_same_point_from_the_same_side_as_it_was_left() {
    let jobs = three();
    let history = TagHistory::of(&jobs);
    let newest = history.newest();
    assert_eq!(newest.len(), 10);
    for (place, drift) in [
        ("0 % up", "0.0"),
        ("25 % up", "0.1"),
        ("50 % up", "0.7"),
        ("50 % down", "0.7"),
        ("75 % down", "-0.2"),
        ("100 % up", "0"),
    ] {
        let since = at(&history, 2, place).since.as_ref().unwrap();
        let wanted: rust_decimal::Decimal = drift.parse().unwrap();
        assert_eq!(since.drift, wanted, "{place}");
        assert_eq!(since.unit, "% of span");
        assert_eq!(since.job.run, jobs[1].run);
    }
    // The reading at 50 % up as left stands 37 records before that as found, so the days have a part.
    let one = at(&history, 2, "50 % up");
    let since = one.since.as_ref().unwrap();
    let days = (one.found.at.utc_ms - since.left.at.utc_ms) as f64 / DAY as f64;
    near(since.days, days);
    near(since.per_year.unwrap(), 0.7 / days * 365.25);
    assert!((364.5..365.0).contains(&days), "{days}");
    // The first job has nothing before it.
    assert!(matches!(
        at(&history, 0, "0 % up").since,
        Err(WhyNot::NoneLeft)
    ));
}

#[test]
fn the_next_check_follows_the_house_rule_at_the_point_that_asks_for_it_first() {
    let jobs = three();
    let history = TagHistory::of(&jobs);
    let next = history.next.as_ref().unwrap();
    // Left +0.6 at 50 % down, +0.3 at 50 % up; the same drift, so down is due first.
    assert_eq!(next.from.found.place(), "50 % down");
    near(next.left, 0.6);
    near(next.drift, 0.7);
    let wanted = 0.8 * next.days * (2.0 - 0.6) / 0.7;
    near(
        next.interval,
        wanted.clamp(0.5 * next.days, 2.0 * next.days),
    );
    assert_eq!(next.n, 2);
    assert!(!next.found_beyond && !next.left_as_found);
    // 583 whole days after 25 November 2026.
    assert_eq!(
        (next.interval.floor(), next.due.as_str()),
        (583.0, "2028-06-30")
    );
    let text = words::lines("FV-118", &history, "2026-11-25").join("\n");
    for part in [
        "Next check, a suggestion (n = 2; the rule takes the last): by 2028-06-30, 583 days after 2026-11-25",
        "limit \u{B1}2 % (common practice)",
        "0.8 of the time until that drift would reach the limit, within 0.5 and 2 times the last interval and 90 to 1825 days (house rule",
        "at the worst, deviation at 50 % up, oldest first: +0.2, +0.7 % of span (n = 2, mean +0.45",
        "No value of an earlier job is ever taken into a new one",
    ] {
        assert!(
            shortened(&text).contains(&shortened(part)),
            "{part}\nin\n{text}"
        );
    }
    assert!(!text.contains("that is past"));
    let late = words::lines("FV-118", &history, "2028-07-01").join("\n");
    assert!(late.contains("that is past"));
}

/// Without the decimals that the parts of days make.
fn shortened(text: &str) -> String {
    text.replace("+0.200", "+0.2")
        .replace("+0.700", "+0.7")
        .replace("+0.701", "+0.7")
        .replace("+0.450", "+0.45")
}

#[test]
fn one_drift_value_is_said_to_be_weak_and_a_limit_not_kept_to_concern_others() {
    let made = [
        Made::set_ends("FV-118", 0, LEFT, LEFT, true),
        Made::set_ends("FV-118", 365, higher([0.0, 0.0, 0.0, 3.0, 0.0]), LEFT, true),
    ];
    let jobs = jobs(&made);
    let history = TagHistory::of(&jobs);
    let next = history.next.as_ref().unwrap();
    assert_eq!(next.n, 1);
    assert!(next.found_beyond);
    // Half of the last interval is the least.
    near(next.interval, 0.5 * next.days);
    let text = words::suggested(next, "2026-01-01").join("\n");
    assert!(
        text.contains("n = 1: one drift value is weak evidence"),
        "{text}"
    );
    assert!(text.contains("as found it was beyond the limit"), "{text}");
}

#[test]
fn an_adjustment_without_a_reading_as_left_breaks_the_comparison_and_is_named() {
    let mut early = Made::set_ends("FV-118", 200, LEFT, LEFT, true);
    // It ended after the setting, before the run as left.
    let frozen = early
        .records
        .iter()
        .position(|record| matches!(record.body, Body::AsFoundFrozen { .. }))
        .unwrap();
    early.records.truncate(frozen + 3);
    let jobs = jobs(&[
        Made::set_ends("FV-118", 0, LEFT, LEFT, true),
        early,
        Made::set_ends("FV-118", 365, higher([0.1; 5]), LEFT, true),
    ]);
    let history = TagHistory::of(&jobs);
    assert!(jobs[1].adjusted.is_some() && jobs[1].of_stage(Stage::AsLeft).count() == 0);
    for one in history.newest() {
        assert!(
            matches!(one.since, Err(WhyNot::Adjusted(job)) if job.run == jobs[1].run),
            "{one:?}"
        );
    }
    // After the second of them nobody knows what it was left with.
    let history = TagHistory::of(&jobs[..2]);
    assert!(at(&history, 1, "50 % up").since.is_ok());
    let why = history.next.as_ref().unwrap_err();
    assert!(why.contains("it was adjusted on 2025-06-13"), "{why}");
    // After the third, who knows the drift of the first year and how it was left last.
    let next = TagHistory::of(&jobs).next.unwrap();
    near(next.drift, 0.0);
    assert_eq!(
        next.left_at,
        jobs[2].of_stage(Stage::AsLeft).next().unwrap().at
    );
}

#[test]
fn nothing_is_worked_out_across_two_versions_of_one_run() {
    let first = Made::set_ends("FV-118", 0, LEFT, LEFT, true);
    let mut other = Made::set_ends("FV-118", 0, LEFT, higher([0.1; 5]), true);
    other.name += "-other-1";
    let jobs = jobs(&[
        first,
        other,
        Made::set_ends("FV-118", 365, higher([0.3; 5]), LEFT, true),
    ]);
    let history = TagHistory::of(&jobs);
    assert_eq!(history.versions.len(), 2);
    assert!(
        history
            .newest()
            .iter()
            .all(|one| matches!(one.since, Err(WhyNot::TwoVersions(_))))
    );
    assert!(history.next.is_err());
}

#[test]
fn a_short_time_and_a_clock_that_ran_back_give_no_figure_a_year() {
    let jobs = jobs(&[
        Made::set_ends("FV-118", 0, LEFT, LEFT, true),
        Made::set_ends("FV-118", 20, higher([0.3; 5]), LEFT, true),
    ]);
    let history = TagHistory::of(&jobs);
    let since = at(&history, 1, "50 % up").since.as_ref().unwrap();
    assert_eq!(since.per_year, None);
    assert!(history.next.as_ref().unwrap_err().contains("n = 0"));
    // The second is written down as begun before the first ended.
    let mut back = [
        Made::set_ends("FV-118", 0, LEFT, LEFT, true),
        Made::set_ends("FV-118", 0, LEFT, LEFT, true),
    ];
    for record in &mut back[0].records {
        record.at.utc_ms += 1000;
    }
    back[1].name += "-b";
    let clock: Vec<PastJob> = back.iter().map(Made::past).collect();
    let history = TagHistory::of(&clock);
    assert!(matches!(
        at(&history, 1, "0 % up").since,
        Err(WhyNot::Clock(_))
    ));
}

#[test]
fn a_position_that_was_read_once_differs_and_does_not_drift() {
    let mut jobs = jobs(&[
        Made::set_ends("FV-118", 0, LEFT, LEFT, true),
        Made::set_ends("FV-118", 365, LEFT, LEFT, true),
    ]);
    for (at, stage, number, unit) in [
        (0, Stage::AsLeft, "50.2", "%"),
        (0, Stage::AsLeft, "1011", "ohm"),
        (1, Stage::AsFound, "31", "%"),
        (1, Stage::AsFound, "1013", "ohm"),
    ] {
        let like = jobs[at].of_stage(stage).next().unwrap().clone();
        jobs[at].readings.push(sayback::history::PastReading {
            what: format!("single, {unit}"),
            point: None,
            up: None,
            column: None,
            number: Some(number.parse().unwrap()),
            unit: Some(unit.to_owned()),
            shown: format!("{number} {unit}"),
            deviation: None,
            limit: None,
            ..like
        });
    }
    let history = TagHistory::of(&jobs);
    let of = |what: &str| {
        let one = history
            .newest()
            .into_iter()
            .find(|one| one.found.what == what);
        let one = one.unwrap();
        (one.since.as_ref().unwrap().per_year, words::compared(one))
    };
    let (rate, words) = of("single, %");
    assert_eq!(rate, None);
    assert!(
        words.contains(
            "differs by -19.2 %; it stands where the command has it, so this is no drift"
        ),
        "{words}"
    );
    let (rate, words) = of("single, ohm");
    assert!((rate.unwrap() - 2.0).abs() < 0.01);
    assert!(
        words.contains("drift +2 \u{3A9} in 365 days, +2.001 a year"),
        "{words}"
    );
}

#[test]
fn what_comes_again_is_counted_once_a_job() {
    let bad = higher([0.0, 0.0, 3.0, 0.0, 0.0]);
    let first = Made::set_ends("FV-118", 0, bad, LEFT, true);
    let mut other = first.clone();
    other.name += "-other-1";
    other.records.pop();
    let jobs = jobs(&[
        first,
        // Another version of the first is no other job.
        other,
        Made::set_ends("FV-118", 100, LEFT, LEFT, true),
        Made::set_ends("FV-118", 200, bad, LEFT, true),
    ]);
    let history = TagHistory::of(&jobs);
    let repeat = history.repeats.iter().find(|one| one.bad).unwrap();
    assert_eq!(repeat.what, "As-found run, as found: fail");
    let dates: Vec<String> = repeat.jobs.iter().map(|job| job.date()).collect();
    assert_eq!(dates, ["2024-11-25", "2025-06-13"]);
    assert_eq!(jobs[0].found_out(), Some(true));
    assert_eq!(jobs[2].found_out(), Some(false));
}

#[test]
fn mean_and_deviation_are_those_of_the_table_of_checks() {
    // Four readings 12.00, 12.06, 12.01, 12.07: s (n - 1) = 0.0351, from the table of checks' source.
    let (mean, deviation) = mean_and_deviation(&[12.00, 12.06, 12.01, 12.07]).unwrap();
    near(mean, 12.035);
    assert!((deviation - 0.0351).abs() < 5e-5, "{deviation}");
    assert_eq!(mean_and_deviation(&[1.0]), None);
}

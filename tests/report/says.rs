//! What the record says.

use sayback::calc::finding::Grade;
use sayback::core::record::{Body, Cursor, Value};
use sayback::report::{self, Counts, State, Weight};

use super::scenario::{Journal, both_runs, fv_118, job, number, voice};

#[test]
fn json_of_the_whole_run() {
    insta::assert_snapshot!(report::json(&fv_118().report()));
}

#[test]
fn text_of_the_whole_run() {
    insta::assert_snapshot!(report::text(&fv_118().report()));
}

#[test]
fn name_has_safe_characters_only() {
    let mut report = fv_118().report();
    assert_eq!(
        report::name(&report),
        "2026-11-25_slipped-potentiometer_FV-118"
    );
    report.head.tag = Some("../FV/118 \u{202E}B".to_owned());
    assert_eq!(
        report::name(&report),
        "2026-11-25_slipped-potentiometer_FV-118--B"
    );
    report.head.tag = None;
    assert_eq!(
        report::name(&report),
        "2026-11-25_slipped-potentiometer_no-tag"
    );
}

#[test]
fn times_are_utc_and_local() {
    let report = fv_118().report();
    assert_eq!(report.head.started.utc, "2026-11-25T08:10:00Z");
    assert_eq!(report.head.started.local, "2026-11-25T09:10:00+01:00");
}

#[test]
fn as_found_and_as_left_stand_side_by_side_with_the_change() {
    let report = fv_118().report();
    let pair = report
        .pairs
        .iter()
        .find(|pair| pair.measures == "A to wiper at mid travel")
        .unwrap();
    assert_eq!(pair.as_found.shown.as_deref(), Some("140 Ω"));
    assert_eq!(pair.as_found.replaced, ["410 Ω"]);
    assert_eq!(pair.as_left.shown.as_deref(), Some("506.5 Ω"));
    assert_eq!(pair.change.as_deref(), Some("+366.5 Ω"));
    // a = 0.5 % of 140 + 2 x 0.1 = 0.9; U = 2 x 0.9 / root 3 = 1.04 (GUM 4.3.7), by hand.
    assert_eq!(pair.as_found.uncertainty.as_deref(), Some("1.0 Ω"));
    // a = 2.5325 + 0.2 = 2.7325; U = 3.155, by hand.
    assert_eq!(pair.as_left.uncertainty.as_deref(), Some("3.2 Ω"));
}

#[test]
fn as_found_corrected_after_freezing_shows_both_values() {
    let report = fv_118().report();
    let pair = report
        .pairs
        .iter()
        .find(|pair| pair.measures == "position at 12 mA")
        .unwrap();
    assert_eq!(pair.as_found.shown.as_deref(), Some("78 %"));
    assert_eq!(pair.as_found.replaced, ["87 %"]);
    assert!(pair.as_found.corrected_after_freeze);
    let html = report::html(&report);
    assert!(
        html.contains("<span class=\"old\">87 %</span>")
            && html.contains("corrected after freezing")
    );
    let early = report
        .corrections
        .iter()
        .find(|correction| correction.old == "410 Ω")
        .unwrap();
    assert!(!early.after_freeze);
    assert_eq!(
        (early.new.as_str(), early.reason.as_str()),
        ("140 Ω", "digits exchanged")
    );
}

#[test]
fn digits_are_echoed_as_said() {
    let mut journal = Journal::start(job());
    journal.number("position-found", "4.00", "%");
    let report = journal.report();
    assert_eq!(report.answers[0].value, "4.00");
    assert!(report::html(&report).contains("<b>4.00 %</b>"));
    assert!(
        String::from_utf8(report::csv(&report).unwrap())
            .unwrap()
            .contains(",4.00,%,")
    );
}

#[test]
fn exceptions_come_gravest_first_and_none_is_missing() {
    let report = fv_118().report();
    let weights: Vec<Weight> = report
        .exceptions
        .iter()
        .map(|exception| exception.weight)
        .collect();
    assert!(weights.is_sorted(), "{weights:?}");
    for what in [
        "As found, Centring: ends off track",
        "Safety question answered NO: Proved dead",
        "Stop was called",
        "Outside the plausible range, given twice and kept: 6.2 Ω",
        "Corrected: 410 Ω to 140 Ω",
        "Corrected after as-found readings were frozen: 87 % to 78 %",
        "Could not be done: Run as found",
        "Skipped: Wiper to case",
        "Instrument past its due date: Meter DMM-07",
        "Limit replaced by the job sheet: inaccuracy of the position",
    ] {
        assert!(
            report
                .exceptions
                .iter()
                .any(|exception| exception.what == what),
            "{what} in {:#?}",
            report.exceptions
        );
    }
    let html = report::html(&report);
    let place = |text: &str| {
        html.find(text)
            .unwrap_or_else(|| panic!("{text} is not on the page"))
    };
    assert!(place("Exceptions:") < place("As found | as left"));
}

#[test]
fn a_gate_that_stays_no_is_a_fault_and_one_that_became_yes_is_to_be_looked_at() {
    let mut journal = Journal::start(job());
    journal.answer("proved", Value::No, voice("negative"));
    let gate = |journal: &Journal| {
        let report = journal.report();
        let found = report
            .exceptions
            .into_iter()
            .find(|exception| exception.what.contains("answered NO"))
            .unwrap();
        (found.weight, found.detail)
    };
    assert_eq!(
        gate(&journal),
        (Weight::Bad, "at 09:11; no yes followed".to_owned())
    );
    journal.answer("proved", Value::Yes, voice("affirm"));
    assert_eq!(
        gate(&journal),
        (Weight::Watch, "at 09:11; answered yes at 09:12".to_owned())
    );
}

#[test]
fn open_early_and_complete_are_told_apart() {
    let mut journal = Journal::start(job());
    journal.answer("cover-off", Value::Done, voice("done"));
    let report = journal.report();
    assert_eq!(report.head.state, State::Open);
    assert_eq!(report.outstanding, ["cover"]);
    assert!(report.exceptions.iter().any(
        |exception| exception.what == "Not said to be restored" && exception.detail == "cover"
    ));
    journal.push(Body::Closed {
        complete: false,
        reason: Some("lightning".to_owned()),
    });
    let report = journal.report();
    assert_eq!(
        (report.head.state, report.head.state_reason.as_deref()),
        (State::EndedEarly, Some("lightning"))
    );
    assert!(report::html(&report).contains("ENDED EARLY"));
    assert_eq!(fv_118().report().head.state, State::Complete);
}

#[test]
fn a_damaged_journal_is_the_first_exception() {
    let report = fv_118().report_as("DAMAGED: line 12");
    assert_eq!(report.exceptions[0].what, "The journal is not whole");
    assert_eq!(report.exceptions[0].detail, "DAMAGED: line 12");
    for whole in ["whole", "clean"] {
        assert!(fv_118().report_as(whole).head.journal_whole);
    }
}

#[test]
fn another_job_file_than_the_one_that_was_run_is_an_exception() {
    let mut journal = fv_118();
    assert!(
        !journal
            .report()
            .exceptions
            .iter()
            .any(|exception| exception.what.contains("job file"))
    );
    journal.job.hash = "other".to_owned();
    assert_eq!(
        journal.report().exceptions[0].what,
        "The job file is not the one that was run"
    );
}

#[test]
fn a_journal_without_its_head_still_makes_a_page_that_says_so() {
    let mut journal = fv_118();
    journal.records.remove(0);
    let report = journal.report();
    assert_eq!(
        report.exceptions[0].what,
        "The journal does not begin with the start of a run"
    );
    assert!(report::html(&report).contains("does not begin with the start of a run"));
    journal.records.clear();
    assert!(report::text(&journal.report()).contains("does not begin"));
}

#[test]
fn an_earlier_attempt_and_what_was_taken_back_stay_and_do_not_count() {
    let mut journal = fv_118();
    let report = journal.report();
    let turned: Vec<(&str, Counts, u32)> = report
        .answers
        .iter()
        .filter(|answer| answer.step == "turned")
        .map(|answer| (answer.shown.as_str(), answer.counts, answer.attempt))
        .collect();
    assert_eq!(
        turned,
        [
            ("300.0 Ω", Counts::EarlierAttempt, 1),
            ("507.0 Ω", Counts::Yes, 2)
        ]
    );
    let seq = journal.number("position-left", "55.5", "%");
    journal.push(Body::Withdrawn {
        seq,
        then: Cursor::Ending,
    });
    let report = journal.report();
    let back = report
        .answers
        .iter()
        .find(|answer| answer.seq == seq)
        .unwrap();
    assert_eq!(back.counts, Counts::TakenBack);
    let left = report
        .pairs
        .iter()
        .find(|pair| pair.measures == "position at 12 mA")
        .unwrap();
    assert_eq!(left.as_left.shown.as_deref(), Some("50.5 %"));
}

#[test]
fn limits_say_where_they_come_from_and_what_they_bear_on() {
    let report = fv_118().report();
    let limit = report
        .limits
        .iter()
        .find(|limit| limit.id == "inaccuracy")
        .unwrap();
    assert_eq!(
        (limit.shown.as_str(), limit.source.as_str()),
        ("1.5 %", "order 50277, data sheet 4")
    );
    assert_eq!(limit.replaced.as_deref(), Some("2 % (common practice)"));
    assert_eq!(limit.bears_on, ["Run as found", "Run as left"]);
    let centre = report
        .answers
        .iter()
        .find(|answer| answer.step == "left-aw")
        .unwrap();
    assert_eq!(
        centre.limits,
        ["centre-good", "end-margin", "centre-usable"]
    );
}

#[test]
fn the_track_is_predicted_as_found_and_measured_as_left() {
    let track = fv_118().report().track.unwrap();
    let found = track.as_found.unwrap();
    // 140 / 1013 = 13.8 %; half of the travel takes 45 x 3 / 340 = 39.7 % of the track, by hand.
    assert_eq!(
        (
            found.at.as_deref(),
            found.low.as_deref(),
            found.high.as_deref()
        ),
        (Some("13.8"), Some("-25.9"), Some("53.5"))
    );
    assert!(found.off_track && !found.ends_measured);
    let left = track.as_left.unwrap();
    // 105 / 1013 = 10.4 %, 908 / 1013 = 89.6 %, by hand.
    assert_eq!(
        (
            left.at.as_deref(),
            left.low.as_deref(),
            left.high.as_deref()
        ),
        (Some("50.0"), Some("10.4"), Some("89.6"))
    );
    assert!(left.ends_measured && !left.off_track);
}

#[test]
fn a_signal_column_has_its_deviation_in_percent_of_span() {
    let mut job = job();
    let at = job.index_of("run-left").unwrap();
    if let sayback::job::StepKind::ReadingSet(set) = &mut job.steps[at].kind {
        set.columns[0].range = sayback::job::NumberRange::Fixed {
            unit: "mA".to_owned(),
            low: super::scenario::decimal("0"),
            high: super::scenario::decimal("21"),
            set: Vec::new(),
        };
    }
    let mut journal = Journal::start(job);
    for value in ["4.01", "8.05", "12.09"] {
        journal.answer("run-left", number(value, "mA"), voice(value));
    }
    let report = journal.report();
    let deviations: Vec<&str> = report.runs[0]
        .rows
        .iter()
        .filter_map(|row| row.cells[0].deviation.as_deref())
        .collect();
    // 0.01, 0.05 and 0.09 mA of 16 mA, by hand; the second and third rounded half to even at three decimals.
    assert_eq!(deviations, ["+0.062", "+0.312", "+0.562"]);
}

#[test]
fn a_deviation_beyond_the_limit_is_marked_and_one_on_it_is_not() {
    let report = both_runs().report();
    let found = report
        .runs
        .iter()
        .find(|run| run.step == "run-found")
        .unwrap();
    let marked: Vec<(&str, bool)> = found
        .rows
        .iter()
        .filter_map(|row| Some((row.cells[0].deviation.as_deref()?, row.cells[0].beyond)))
        .collect();
    assert_eq!(
        marked,
        [
            ("-2.4", true),
            ("-2.1", true),
            ("-1.5", false),
            ("-0.6", false),
            ("-0.2", false),
            ("-0.2", false),
            ("0.0", false),
            ("-0.7", false),
            ("-1.2", false),
            ("-2.0", true),
        ]
    );
    assert!(
        report
            .findings
            .iter()
            .any(|finding| finding.step == "run-found-judged" && finding.grade == Grade::Bad)
    );
    assert!(
        report
            .exceptions
            .iter()
            .any(|exception| exception.what == "As found, a limit was not kept")
    );
}

#[test]
fn as_found_deviations_beyond_the_limit_are_told_without_a_finding_too() {
    let mut journal = Journal::start(job());
    journal.run("run-found", &["-2.4", "22.9", "48.5"]);
    let beyond = |journal: &Journal| {
        journal
            .report()
            .exceptions
            .into_iter()
            .find(|exception| exception.what.starts_with("As found, beyond the limit"))
            .map(|exception| exception.detail)
    };
    // -2.4 and -2.1 against 1.5; -1.5 is on the limit.
    assert_eq!(
        beyond(&journal).as_deref(),
        Some("2 of 3 deviations are beyond ±1.5 % of span; no finding judged them.")
    );
    assert!(
        journal
            .report()
            .exceptions
            .iter()
            .any(|exception| exception.what == "As found, a limit was not kept")
    );
    // A run that is not whole cannot be judged by its finding, so the readings still tell.
    journal.find("run-found-judged");
    assert!(beyond(&journal).is_some());
    assert_eq!(beyond(&both_runs()), None);
}

#[test]
fn page_of_the_whole_run() {
    let html = report::html(&fv_118().report());
    let (_, body) = html.split_once("</style>").unwrap();
    insta::assert_snapshot!(body);
}

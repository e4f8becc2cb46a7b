//! A value that is put right: the findings that stood on it are worked out again,
//! the run goes where they lead, and the record shows both.

mod record;

use sayback::calc::finding::Finding;
use sayback::core::finding::again;
use sayback::core::record::{Body, Record};
use sayback::core::run::Saved;
use sayback::core::{Event, Phase, Run, view};
use sayback::report::{self, Report};

use super::{World, at_the_resistances, open_step, wall};

/// A job whose as-found readings are followed by adjusting at once.
const JOB: &str = include_str!("../report/job.toml");

const SHEET: &str = r#"
[plate]
tag = "FV-118"
order = "50277"
pot-nominal = "1000"
pot-tolerance = "10"
electrical-angle = "340"
gear-ratio = "3"
travel = "90"
signal-low = "4"
signal-high = "20"
signal-unit = "mA"
action = "direct"
meter-id = "DMM-07"
meter-due = "2027-02"
meter-percent = "0.5"
meter-counts = "2"
meter-resolution = "0.1"
"#;

/// The finding that is to be worked out again and that the run has passed, if there is one.
pub fn left_standing(world: &World) -> Option<Body> {
    again(&world.run.job, &world.run.saved, wall(0))
}

/// A run with these sides of the potentiometer at mid travel, at the first adjusting step.
fn at_loosen(r_aw: &str, r_wb: &str) -> World {
    let mut world = at_r_wb(r_aw);
    world.keys(r_wb);
    told(&mut world);
    assert_eq!(open_step(&world), "loosen");
    assert!(world.run.saved.frozen);
    world
}

fn at_r_wb(r_aw: &str) -> World {
    let mut world = World::of(JOB, SHEET);
    world.keys("yes");
    world.keys("50");
    for _ in 0..10 {
        world.hear("skip");
        world.keys("6");
    }
    told(&mut world);
    assert_eq!(open_step(&world), "isolated");
    for line in ["yes", "yes", "", "", "0.2"] {
        world.keys(line);
    }
    world.hear("skip");
    world.keys("2");
    for line in ["1013", r_aw] {
        world.keys(line);
    }
    assert_eq!(open_step(&world), "r-wb");
    world
}

/// Goes past what is told.
fn told(world: &mut World) {
    for _ in 0..5 {
        if matches!(world.run.live.phase, Phase::Telling) {
            world.keys("");
        }
    }
    assert!(!matches!(world.run.live.phase, Phase::Telling));
}

/// `*`, the value, and the reason by its number; what is told on the way is gone past.
fn put_right(world: &mut World, value: &str, reason: &str) {
    for line in ["*", value, reason] {
        world.keys(line);
    }
}

fn verdict(world: &World, step: &str) -> String {
    world.run.saved.findings[step].verdict.to_string()
}

fn found(world: &World, step: &str) -> Vec<Finding> {
    let of_step = |record: &Record| match &record.body {
        Body::Found {
            step: id, finding, ..
        } if id == step => Some(finding.clone()),
        _ => None,
    };
    world.records.iter().filter_map(of_step).collect()
}

fn record_of(world: &World) -> Report {
    let records: Vec<(u64, Record)> = (0..).zip(world.records.iter().cloned()).collect();
    report::build(&report::Source {
        job: &world.run.job,
        records: &records,
        chain_hash: "00",
        whole: "whole",
        clips_folder: "clips",
        sounds: &sayback::report::Sounds::new(),
        doubts: &[],
    })
}

/// Opens the journal again: the fold of its records, and the first question.
fn resumed(world: &World, records: &[Record]) -> World {
    let job = world.job();
    let Body::Started(started) = records[0].body.clone() else {
        panic!("a journal begins with its start")
    };
    let mut saved = Saved::new(&job, started);
    for record in &records[1..] {
        saved.apply(&job, record);
    }
    let mut world = World {
        run: Run::new(job, saved),
        records: records.to_vec(),
        now_ms: world.now_ms,
        quit: None,
        disk_full: false,
        said: Vec::new(),
    };
    world.give(Event::Begin);
    world
}

#[test]
fn as_found_put_right_before_anything_is_turned_is_judged_again_and_leads() {
    let mut world = at_loosen("410", "603");
    let before = found(&world, "centre-found");
    put_right(&mut world, "873", "2");
    // 410 and 873 do not make 1013: diagnosis and centring are both worked out again.
    assert_eq!(found(&world, "diagnosis").len(), 2);
    assert_eq!(verdict(&world, "diagnosis"), "wiper-path");
    told(&mut world);
    assert_eq!(found(&world, "centre-found").len(), 2);
    assert_ne!(found(&world, "centre-found")[1], before[0]);
    assert_eq!(open_step(&world), "loosen");
}

#[test]
fn as_found_put_right_after_turning_is_judged_again_and_the_run_stays() {
    let mut world = at_loosen("410", "603");
    world.keys("");
    assert_eq!(open_step(&world), "turned");
    put_right(&mut world, "612", "1");
    told(&mut world);
    // It is not loosened a second time.
    assert_eq!(open_step(&world), "turned");
    for step in ["diagnosis", "centre-found"] {
        let both = found(&world, step);
        assert_eq!(both.len(), 2, "{step}");
        assert_ne!(both[0], both[1], "{step}");
    }
    let Some(Body::Answered(answer)) = world
        .records
        .iter()
        .map(|record| record.body.clone())
        .rfind(|body| matches!(body, Body::Answered(_)))
    else {
        panic!("nothing was corrected")
    };
    assert!(answer.stays);
    assert_eq!(answer.reason.as_deref(), Some("misread"));
    assert_eq!(answer.stage, sayback::job::Stage::AsFound);
    assert!(left_standing(&world).is_none());
}

#[test]
fn what_is_measured_again_is_no_correction_of_as_found() {
    let mut world = at_loosen("410", "603");
    world.keys("*");
    assert!(view(&world.run).message.contains("what was read then"));
    world.keys("612");
    assert_eq!(
        view(&world.run).list,
        ["1 misread", "2 misheard", "3 typed wrongly"]
    );
    let kept = world.kept().len();
    world.keys("4");
    assert_eq!(world.kept().len(), kept);
    assert!(matches!(world.run.live.phase, Phase::Reason(_)));
    // Before it is frozen, both may be.
    let mut world = at_the_resistances();
    for line in ["1013", "*", "1012"] {
        world.keys(line);
    }
    assert!(
        view(&world.run)
            .list
            .contains(&"4 measured again".to_owned())
    );
}

#[test]
fn volts_found_after_all_lead_back_to_isolation_whatever_was_done() {
    let mut world = at_the_resistances();
    // A broken potentiometer, repaired and still broken: as found is frozen, an adjusting step is done.
    for part in ["1", "2"] {
        for line in ["/ 4", "1", "", "512", "/ 4", "1", ""] {
            world.keys(line);
        }
        told(&mut world);
        assert_eq!(open_step(&world), "part");
        world.keys(part);
        world.keys("");
    }
    assert!(world.run.saved.adjusted_at.is_some());
    for line in [
        "yes", "yes", "yes", "yes", "yes", "", "0.00", "0.00", "0.00",
    ] {
        world.keys(line);
    }
    assert_eq!(open_step(&world), "unplug");
    put_right(&mut world, "24.1", "4");
    assert_eq!(verdict(&world, "no-volts-judged"), "live");
    world.keys("");
    assert_eq!(open_step(&world), "isolated");
}

/// An as-found reading put right after the first adjusting step is reached, and the index of the record that did it.
fn corrected_at_loosen() -> (World, usize) {
    let mut world = at_loosen("410", "603");
    world.keys("");
    put_right(&mut world, "612", "1");
    let corrected = world
        .records
        .iter()
        .rposition(|record| matches!(record.body, Body::Answered(_)))
        .unwrap();
    (world, corrected)
}

#[test]
fn a_journal_that_ends_between_the_correction_and_the_finding_goes_on_with_the_finding() {
    let (mut world, corrected) = corrected_at_loosen();
    let cut = world.records[..=corrected].to_vec();
    let mut again = resumed(&world, &cut);
    told(&mut again);
    told(&mut world);
    assert_eq!(again.run.saved, world.run.saved);
    assert_eq!(open_step(&again), "turned");
}

/// As a program of before would have written it: the run stays, nothing is worked out again.
#[test]
fn a_journal_of_before_is_read_as_it_was_and_its_findings_are_worked_out_on_going_on() {
    let (world, corrected) = corrected_at_loosen();
    let mut old = world.records[..=corrected].to_vec();
    let text = serde_json::to_string(&old[corrected]).unwrap();
    let of_before = text.replace(",\"stays\":true", "");
    assert_ne!(text, of_before);
    old[corrected] = serde_json::from_str(&of_before).unwrap();
    let made = record_of(&World {
        run: world.run.clone(),
        records: old.clone(),
        ..World::of(JOB, SHEET)
    });
    assert!(made.findings.iter().any(|line| line.outdated.is_some()));
    let mut again = resumed(&world, &old);
    told(&mut again);
    assert_eq!(open_step(&again), "turned");
    assert_eq!(found(&again, "centre-found").len(), 2);
    assert!(
        record_of(&again)
            .findings
            .iter()
            .all(|line| line.outdated.is_none())
    );
}

#[test]
fn a_step_passed_over_does_not_take_the_value_of_an_earlier_attempt() {
    let mut world = at_loosen("140", "873");
    world.keys("");
    world.keys("300");
    world.keys("");
    assert_eq!(open_step(&world), "turned");
    world.hear("skip");
    world.keys("2");
    assert_eq!(verdict(&world, "centre-turned"), "cannot-tell");
}

#[test]
fn what_sayback_does_by_itself_and_could_not_save_is_done_before_the_question() {
    // The disk fills while the centring is told: that as found is frozen cannot be written.
    let mut world = at_r_wb("140");
    world.keys("873");
    assert_eq!(world.run.live.phase, Phase::Telling);
    world.disk_full = true;
    world.keys("");
    assert_eq!(world.run.live.phase, Phase::NotSaved { again: true });
    world.disk_full = false;
    world.keys("");
    assert_eq!(world.run.live.phase, Phase::Asking);
    assert_eq!(open_step(&world), "loosen");
    assert!(world.run.saved.frozen);
}

#[test]
fn a_job_that_is_ending_stays_so_when_a_value_is_put_right() {
    let mut world = at_the_resistances();
    for line in ["1013", "140.2", "873.1", "/ 8", "", "5"] {
        world.keys(line);
    }
    assert!(view(&world.run).question.starts_with("Is it restored"));
    put_right(&mut world, "500", "1");
    told(&mut world);
    assert!(view(&world.run).question.starts_with("Is it restored"));
    assert_eq!(found(&world, "diagnosis").len(), 2);
}

/// Adjusting leads back to the readings: what is read there is no as-found reading any more.
const ROUND: &str = include_str!("round.toml");

const TAG: &str = "[plate]\ntag = \"FV-118\"\n";

#[test]
fn a_run_of_readings_put_right_after_adjusting_is_judged_whole_and_is_not_read_for_the_next() {
    let mut world = World::of(ROUND, TAG);
    for position in ["0.1", "50.2", "100.1", "100.1", "50.4", "9.0"] {
        world.keys(position);
    }
    told(&mut world);
    assert_eq!(verdict(&world, "run-judged"), "fail");
    world.keys("");
    world.keys("");
    assert_eq!(open_step(&world), "up-down");
    // Nine was heard for nought: the whole run was good as found. It is adjusted all the same.
    put_right(&mut world, "0.9", "2");
    told(&mut world);
    let both = found(&world, "run-judged");
    assert_eq!(both.len(), 2);
    assert_eq!(both[1].verdict, "pass", "{:?}", both[1]);
    assert_eq!(open_step(&world), "up-down");
    for position in ["0.0", "50.0", "100.0", "100.0", "50.0"] {
        assert!(!view(&world.run).message.contains("Kept before"));
        world.keys(position);
    }
    // What was read before adjusting is no reading of after it.
    assert!(
        !view(&world.run).message.contains("Kept before"),
        "{}",
        view(&world.run).message
    );
    world.keys("");
    assert!(world.run.saved.rows("up-down").len() == 5);
    world.keys("0.0");
    told(&mut world);
    assert_eq!(found(&world, "run-judged").len(), 3);
    assert_eq!(world.run.saved.rows("up-down").len(), 6);
}

#[test]
fn volts_that_were_there_lead_back_though_it_has_been_adjusted_since() {
    let mut world = World::of(ROUND, TAG);
    for line in ["0.1", "50.2", "100.1", "100.1", "50.4", "0.9"] {
        world.keys(line);
    }
    world.keys("0.00");
    assert_eq!(open_step(&world), "adjusted");
    world.keys("");
    assert_eq!(open_step(&world), "handed-back");
    put_right(&mut world, "230", "4");
    assert_eq!(verdict(&world, "volts-judged"), "live");
    told(&mut world);
    assert_eq!(open_step(&world), "volts");
}

#[test]
fn a_finding_that_the_new_way_passes_by_is_worked_out_again_all_the_same() {
    let mut world = World::of(
        &ROUND.replace(
            "[[step]]\nid = \"volts\"",
            r#"[[step]]
id = "where"
title = "Where"
ask = "Where?"
stage = "as-found"
kind = "choice"
options = [{ id = "here", title = "here" }, { id = "there", title = "there", next = "adjusted" }]

[[step]]
id = "span-judged"
title = "Span"
stage = "as-found"
kind = "finding"
calculation = "as-found-position"
inputs = { signal = { number = "12" }, lo = { number = "4" }, hi = { number = "20" }, action = { word = "direct" }, position = { number = "50" }, limit = "limit.allowed" }

[[step]]
id = "where-judged"
title = "Loss"
stage = "as-found"
kind = "finding"
calculation = "loss-of-signal"
inputs = { wanted = "step.where", before = { number = "0" }, after = { number = "0" }, limit = "limit.allowed" }

[[step]]
id = "volts""#,
        ),
        TAG,
    );
    for line in ["0.1", "50.2", "100.1", "100.1", "50.4", "0.9", "1"] {
        world.keys(line);
    }
    told(&mut world);
    assert_eq!(found(&world, "where-judged").len(), 1);
    assert_eq!(open_step(&world), "volts");
    put_right(&mut world, "2", "1");
    told(&mut world);
    assert_eq!(open_step(&world), "adjusted");
    assert_eq!(found(&world, "where-judged").len(), 2);
    // What does not stand on it is left alone.
    assert_eq!(found(&world, "span-judged").len(), 1);
    assert_eq!(found(&world, "run-judged").len(), 1);
}

#[test]
fn another_choice_leads_where_it_leads_though_it_has_been_adjusted_since() {
    let mut world = at_the_resistances();
    for line in [
        "1013", "140.2", "873.1", "", "yes", "140.2", "873.1", "", "1",
    ] {
        world.keys(line);
    }
    assert_eq!(open_step(&world), "loosen");
    world.keys("");
    assert_eq!(open_step(&world), "turn");
    put_right(&mut world, "2", "1");
    assert_eq!(open_step(&world), "ce-closed");
    assert!(world.run.saved.outstanding.contains("set screw"));
}

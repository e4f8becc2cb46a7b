//! The jobs that are part of the program.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use sayback::job::built_in::{all, find, text};
use sayback::job::load::parse;
use sayback::job::{ChoiceOption, Job, NumberRange, PlateKind, Stage, Step, StepKind};
use sayback::spoken::{self, Meaning, Slot, SlotKind};

const IDS: [&str; 3] = ["centre-potentiometer", "set-ends", "meter-check"];

fn jobs() -> Vec<Job> {
    let load = |id| parse(text(id).unwrap(), id).unwrap_or_else(|errors| panic!("{errors}"));
    IDS.into_iter().map(load).collect()
}

#[test]
fn every_built_in_job_loads_under_its_own_id() {
    for (job, built_in) in jobs().iter().zip(all()) {
        assert_eq!(job.id, built_in.id);
        assert_eq!(find(&job.id).map(|found| found.id), Some(built_in.id));
    }
    assert!(find("no-such-job").is_none());
}

#[test]
fn loading_is_quick() {
    for job in all() {
        let mut times: Vec<Duration> = (0..21)
            .map(|_| time_of(|| parse(job.text, job.id).is_ok()))
            .collect();
        times.sort();
        println!("{}: median {:?} of {}", job.id, times[10], times.len());
        // 20 ms is the aim for a release build; a debug build is about ten times slower.
        let most = if cfg!(debug_assertions) { 400 } else { 20 };
        assert!(
            times[10] < Duration::from_millis(most),
            "{}: {:?}",
            job.id,
            times[10]
        );
    }
}

#[allow(clippy::disallowed_methods, reason = "a test of time needs a clock")]
fn time_of(act: impl FnOnce() -> bool) -> Duration {
    let start = Instant::now();
    assert!(act());
    start.elapsed()
}

/// There is no way to a step that opens or unplugs, from the start or from where the cover or
/// the power came back, that does not pass isolated, locked, tried and proved dead, as four gates.
#[test]
fn four_gates_stand_in_front_of_every_cover() {
    let inside = ["cover", "potentiometer plug", "signal wires"];
    for job in jobs().iter().filter(|job| job.id != "meter-check") {
        let is_inside = |step: &Step| {
            step.lifts
                .iter()
                .any(|thing| inside.contains(&thing.as_str()))
        };
        assert!(job.steps.iter().any(is_inside), "{}", job.id);
        for gate in ["isolated", "locked", "tried", "proved"] {
            let is_gate = |step: &Step| {
                matches!(step.kind, StepKind::Gate { refused: None })
                    && step.id.trim_end_matches("-again") == gate
                    && step.when.is_empty()
            };
            let restored = (0..job.steps.len())
                .filter(|at| {
                    job.steps[*at]
                        .restores
                        .iter()
                        .any(|thing| thing == "cover" || thing == "power")
                })
                .flat_map(|at| ways(job, at));
            let mut open: Vec<usize> = restored.chain([0]).collect();
            let mut seen = BTreeSet::new();
            while let Some(at) = open.pop() {
                if at >= job.steps.len() || !seen.insert(at) || is_gate(&job.steps[at]) {
                    continue;
                }
                assert!(
                    !is_inside(&job.steps[at]),
                    "{}: {} without {gate}",
                    job.id,
                    job.steps[at].id
                );
                open.extend(ways(job, at));
            }
        }
    }
}

/// Every step that can follow, whatever holds.
fn ways(job: &Job, at: usize) -> Vec<usize> {
    let step = &job.steps[at];
    let mut targets: Vec<Option<&String>> = vec![step.next.as_ref()];
    match &step.kind {
        StepKind::Choice(options) => targets.extend(
            options
                .iter()
                .map(|option| option.next.as_ref().or(step.next.as_ref())),
        ),
        StepKind::Gate {
            refused: Some(refused),
        } => targets.push(Some(refused)),
        StepKind::Finding(finding) => targets.extend(
            finding
                .outcomes
                .values()
                .map(|outcome| outcome.next.as_ref().or(step.next.as_ref())),
        ),
        _ => {}
    }
    let mut ways = Vec::new();
    for target in targets {
        let mut to = match target {
            Some(id) => job.index_of(id).unwrap_or(job.steps.len()),
            None => at + 1,
        };
        ways.push(to);
        while to < job.steps.len() && !job.steps[to].when.is_empty() {
            to += 1;
            ways.push(to);
        }
    }
    ways
}

/// What is asked fits into one spoken sentence and on a small screen.
#[test]
fn questions_are_short() {
    for job in jobs() {
        for step in &job.steps {
            let length: usize = step
                .ask
                .0
                .iter()
                .map(|piece| match piece {
                    sayback::job::Piece::Text(text) => text.chars().count(),
                    sayback::job::Piece::Placeholder(_) => 8,
                })
                .sum();
            assert!(
                length <= 110,
                "{}: {} has {length} characters",
                job.id,
                step.id
            );
            assert!(
                step.title.chars().count() <= 30,
                "{}: {}",
                job.id,
                step.title
            );
        }
        for item in &job.plate {
            assert!(item.ask.chars().count() <= 90, "{}: {}", job.id, item.ask);
        }
    }
}

/// Every phrase of a choice means its own option when the ear hears it.
#[test]
fn every_phrase_chooses_its_option() {
    for job in jobs() {
        let plate = job.plate.iter().filter_map(|item| match &item.kind {
            PlateKind::Choice(options) => Some(options),
            _ => None,
        });
        let steps = job.steps.iter().filter_map(|step| match &step.kind {
            StepKind::Choice(options) => Some(options),
            _ => None,
        });
        for options in plate.chain(steps) {
            check_phrases(&job.id, options);
        }
    }
}

fn check_phrases(job: &str, options: &[ChoiceOption]) {
    let slot = Slot {
        name: String::new(),
        kind: sayback::core::question::choice(options),
    };
    assert!(matches!(slot.kind, SlotKind::Choice(_)));
    for option in options {
        for phrase in &option.say {
            let meaning = spoken::parse(&slot, phrase).meaning;
            assert_eq!(
                meaning,
                Some(Meaning::Choice(option.id.clone())),
                "{job}: {phrase}"
            );
        }
    }
}

/// Every limit says where it comes from, and none claims a standard it has not.
#[test]
fn every_limit_names_its_source() {
    for job in jobs() {
        assert!(!job.cautions.is_empty(), "{}", job.id);
        for (id, limit) in &job.limits {
            assert_eq!(limit.source, "common practice", "{}: {id}", job.id);
        }
    }
}

/// As found and as left stand side by side, so they are in one unit.
#[test]
fn what_is_measured_twice_is_measured_in_one_unit() {
    let units = |job: &Job, stage: Stage| -> Vec<(String, String)> {
        let of = |step: &Step| {
            let range = match &step.kind {
                StepKind::Reading(range) => range,
                StepKind::ReadingSet(set) => &set.columns[0].range,
                other => panic!("{} measures nothing: {other:?}", step.id),
            };
            let unit = match range {
                NumberRange::Fixed { unit, .. } | NumberRange::Scaled { unit, .. } => unit,
                NumberRange::ByUnit { plate, .. } => plate,
            };
            Some((step.measures.clone()?, unit.clone()))
        };
        let steps = job
            .steps
            .iter()
            .filter(|step| step.stage == stage && step.measures.is_some());
        steps.filter_map(of).collect()
    };
    for job in jobs().iter().filter(|job| job.id != "meter-check") {
        let found = units(job, Stage::AsFound);
        let left = units(job, Stage::AsLeft);
        let mut pairs = 0;
        for (word, unit) in &left {
            for (_, other) in found.iter().filter(|(other, _)| other == word) {
                assert_eq!(unit, other, "{}: {word}", job.id);
                pairs += 1;
            }
        }
        assert!(pairs > 0, "{}", job.id);
    }
}

//! Findings: gathers what a named calculation needs from the saved run, has it
//! calculated, and says where the job goes; and tells which findings a correction
//! has overtaken, so that none stands on a value that was put right.
//!
//! Holds nothing: all of it is worked out from the job and the saved run.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use super::question;
use super::record::{Body, Cursor, Record, Value, Wall};
use super::run::{Kept, Saved};
use crate::calc::finding::{self as calculation, Direction, Finding, Grade, Input};
use crate::job::{FindingStep, Job, PlateValue, Source, Step, StepKind};

/// The verdict when something that a calculation needs was skipped or is unknown.
pub const CANNOT_TELL: &str = "cannot-tell";

/// Does the calculation of a finding step, as the record to be written.
#[must_use]
pub fn found(job: &Job, saved: &Saved, step: &Step, wanted: &FindingStep, at: Wall) -> Body {
    found_of(job, saved, step, wanted, at, None)
}

/// The next finding, in the order of the job, that a correction has overtaken and that the run
/// does not come to by itself: worked out again, as the record to be written. It leads nowhere.
///
/// A correction leads the run to what follows the corrected question, so most findings are
/// worked out again on the way. What is left is what that way has passed by, and what an
/// as-found reading was judged by before an adjusting step was done (`Answered::stays`).
#[must_use]
pub fn again(job: &Job, saved: &Saved, at: Wall) -> Option<Body> {
    let here = place(job, &saved.cursor)?;
    job.steps.iter().enumerate().find_map(|(index, step)| {
        let StepKind::Finding(wanted) = &step.kind else {
            return None;
        };
        let found_at = *saved.found_at.get(&step.id)?;
        let correction = corrections_since(job, saved, &step.id, found_at)
            .filter(|kept| !kept.withdrawn)
            .last()?;
        if !correction.answer.stays && here <= index {
            return None;
        }
        let mut body = found_of(job, saved, step, wanted, at, correction.stale);
        if let Body::Found { then, .. } = &mut body {
            *then = saved.cursor.clone();
        }
        Some(body)
    })
}

/// The corrections that replaced an answer which the finding of `step`, written as record
/// `found_at`, was worked out from, itself or by way of another finding; oldest first.
pub fn corrections_since<'run>(
    job: &'run Job,
    saved: &'run Saved,
    step: &'run str,
    found_at: u64,
) -> impl Iterator<Item = &'run Kept> {
    let read = steps_read(job, step);
    saved.answers.iter().filter(move |kept| {
        kept.seq > found_at
            && read.contains(kept.answer.step.as_str())
            && replaces_one_before(saved, kept, found_at)
    })
}

/// True if this answer corrects one that is older than the record, be it by way of other corrections.
fn replaces_one_before(saved: &Saved, kept: &Kept, record: u64) -> bool {
    let mut next = kept.answer.corrects;
    while let Some(old) = next {
        if old < record {
            return true;
        }
        next = saved
            .answers
            .iter()
            .find(|kept| kept.seq == old)
            .and_then(|kept| kept.answer.corrects)
            // A record names only earlier ones; a damaged one must not go round.
            .filter(|earlier| *earlier < old);
    }
    false
}

/// The steps whose answers a finding is worked out from, also by way of the figures of others.
fn steps_read<'job>(job: &'job Job, step: &'job str) -> BTreeSet<&'job str> {
    let mut read = BTreeSet::new();
    let mut findings = vec![step];
    let mut seen = BTreeSet::new();
    while let Some(id) = findings.pop() {
        let Some(StepKind::Finding(wanted)) = job.index_of(id).map(|at| &job.steps[at].kind) else {
            continue;
        };
        if !seen.insert(id) {
            continue;
        }
        for source in wanted.inputs.values() {
            match source {
                Source::Step(id) | Source::Rows(id) => {
                    read.insert(id.as_str());
                }
                Source::Figure { step, .. } => findings.push(step),
                Source::Plate(_) | Source::Limit(_) | Source::Number(_) | Source::Word(_) => {}
            }
        }
    }
    read
}

/// Place of a cursor in the order of the steps; the end is behind the last.
fn place(job: &Job, cursor: &Cursor) -> Option<usize> {
    match cursor {
        Cursor::Step { id, .. } => job.index_of(id),
        Cursor::Ending => Some(job.steps.len()),
        Cursor::Plate(_) | Cursor::Closed => None,
    }
}

/// `past`: see `Saved::rows_of`.
fn found_of(
    job: &Job,
    saved: &Saved,
    step: &Step,
    wanted: &FindingStep,
    at: Wall,
    past: Option<u64>,
) -> Body {
    let mut inputs = BTreeMap::new();
    let mut texts = BTreeMap::new();
    for (name, source) in &wanted.inputs {
        if let Some(input) = gather(saved, source, past) {
            texts.insert(name.clone(), text_of(&input));
            inputs.insert(name.clone(), input);
        }
    }
    let finding = calculation::find(&wanted.calculation, &inputs).unwrap_or_else(|error| Finding {
        verdict: CANNOT_TELL.into(),
        grade: Grade::CannotTell,
        figures: Vec::new(),
        reason: error.to_string(),
        advice: format!("Cannot tell: {error}."),
    });
    let outcome = wanted.outcomes.get(finding.verdict.as_ref() as &str);
    let mut body = Body::Found {
        step: step.id.clone(),
        said: finding.advice.clone(),
        finding,
        inputs: texts,
        then: saved.cursor.clone(),
    };
    // What is said and where it goes can depend on this very finding.
    let mut trial = saved.clone();
    trial.apply(
        job,
        &Record {
            at,
            body: body.clone(),
        },
    );
    if let Body::Found { said, then, .. } = &mut body {
        if let Some(template) = outcome.and_then(|outcome| outcome.say.as_ref()) {
            *said = question::fill(template, job, &trial, None);
        }
        *then = trial.step_after(
            job,
            step,
            outcome.and_then(|outcome| outcome.next.as_deref()),
        );
        // A finding that leads to itself would go round for ever.
        if matches!(then, Cursor::Step { id, .. } if *id == step.id) {
            *then = trial.step_after(job, step, None);
        }
    }
    body
}

fn gather(saved: &Saved, source: &Source, past: Option<u64>) -> Option<Input> {
    match source {
        // Passed over this time: a value of an earlier attempt does not stand in for it.
        Source::Step(step) if saved.skipped.contains_key(step) => None,
        Source::Step(step) => match &saved.answer(step)?.answer.value {
            Value::Number { value, .. } => Some(Input::Number(*value)),
            Value::Status(code) => Some(Input::Status(code.clone())),
            Value::Choice(id) | Value::Tag(id) => Some(Input::Word(id.clone())),
            Value::Yes => Some(Input::Word("yes".to_owned())),
            Value::No => Some(Input::Word("no".to_owned())),
            Value::Done => Some(Input::Word("done".to_owned())),
        },
        Source::Plate(item) => match saved.plate.get(item)? {
            PlateValue::Number(number) => Some(Input::Number(*number)),
            PlateValue::Text(word) => Some(Input::Word(word.clone())),
            PlateValue::Unknown => None,
        },
        Source::Limit(id) => saved
            .started
            .limits
            .get(id)
            .map(|limit| Input::Number(limit.value)),
        Source::Rows(step) => rows(saved, step, past),
        Source::Figure { step, figure } => saved
            .findings
            .get(step)?
            .figures
            .iter()
            .find(|other| other.name == figure.as_str())?
            .value
            .and_then(Decimal::from_f64_retain)
            .map(Input::Number),
        Source::Number(number) => Some(Input::Number(*number)),
        Source::Word(word) => Some(Input::Word(word.clone())),
    }
}

fn rows(saved: &Saved, step: &str, past: Option<u64>) -> Option<Input> {
    let mut rows: BTreeMap<usize, calculation::Row> = BTreeMap::new();
    for kept in saved.rows_of(step, past) {
        let Some(row) = &kept.answer.row else {
            continue;
        };
        let input = match &kept.answer.value {
            Value::Number { value, .. } => Input::Number(*value),
            Value::Status(code) => Input::Status(code.clone()),
            _ => continue,
        };
        rows.entry(row.index)
            .or_insert_with(|| calculation::Row {
                point: f64::try_from(row.point).unwrap_or(0.0),
                direction: if row.up {
                    Direction::Up
                } else {
                    Direction::Down
                },
                values: BTreeMap::new(),
            })
            .values
            .insert(row.column.clone(), input);
    }
    (!rows.is_empty()).then(|| Input::Rows(rows.into_values().collect()))
}

fn text_of(input: &Input) -> String {
    match input {
        Input::Number(number) => number.to_string(),
        Input::Status(word) | Input::Word(word) => word.clone(),
        Input::Rows(rows) => format!("{} rows", rows.len()),
    }
}

//! Findings: gathers what a named calculation needs from the saved run, has it
//! calculated, and says where the job goes.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::question;
use super::record::{Body, Cursor, Record, Value, Wall};
use super::run::Saved;
use crate::calc::finding::{self as calculation, Direction, Finding, Grade, Input};
use crate::job::{FindingStep, Job, PlateValue, Source, Step};

/// The verdict when something that a calculation needs was skipped or is unknown.
pub const CANNOT_TELL: &str = "cannot-tell";

/// Does the calculation of a finding step, as the record to be written.
#[must_use]
pub fn found(job: &Job, saved: &Saved, step: &Step, wanted: &FindingStep, at: Wall) -> Body {
    let mut inputs = BTreeMap::new();
    let mut texts = BTreeMap::new();
    for (name, source) in &wanted.inputs {
        if let Some(input) = gather(saved, source) {
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

fn gather(saved: &Saved, source: &Source) -> Option<Input> {
    match source {
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
        Source::Rows(step) => rows(saved, step),
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

fn rows(saved: &Saved, step: &str) -> Option<Input> {
    let mut rows: BTreeMap<usize, calculation::Row> = BTreeMap::new();
    for kept in saved.rows(step) {
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

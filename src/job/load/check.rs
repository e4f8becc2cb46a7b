//! Looks up everything in a job that refers to something else. Holds nothing.

use std::collections::{BTreeMap, BTreeSet};

use super::draft::{ConditionMention, Draft, InputMention, Mention, Of, Owner, Setting};
use super::fault::{Span, among, near, shown};
use super::plate;
use super::table::Text;
use crate::calc::finding::spec;
use crate::core::finding::CANNOT_TELL;
use crate::job::{ConditionOf, NumberRange, PlateKind, Source, Step, StepKind};
use crate::spoken;

/// Where a job ends.
pub(in crate::job) const END: &str = "end";
/// The plate items that a command is worked out from.
const SIGNAL: [&str; 4] = ["signal-low", "signal-high", "signal-unit", "action"];

/// Checks every reference of the draft.
pub(in crate::job) fn references(draft: &mut Draft) {
    duplicates(draft);
    for mention in std::mem::take(&mut draft.mentions) {
        check_mention(draft, &mention);
    }
    for condition in std::mem::take(&mut draft.conditions) {
        check_condition(draft, &condition);
    }
    for input in std::mem::take(&mut draft.inputs) {
        check_input(draft, &input);
    }
    for setting in std::mem::take(&mut draft.settings) {
        settle(draft, &setting);
    }
    lifted(draft);
}

fn duplicates(draft: &mut Draft) {
    for (what, ids) in [("plate item", &draft.plate_ids), ("step", &draft.step_ids)] {
        let mut seen = BTreeSet::new();
        for id in ids.iter().filter(|id| !id.text.is_empty()) {
            if !seen.insert(id.text.as_str()) {
                draft.faults.add(
                    &id.span,
                    format!("a second {what} \"{}\"", shown(&id.text)),
                    format!("give each {what} its own id"),
                );
            }
        }
    }
    if let Some(id) = draft.step_ids.iter().find(|id| id.text == END) {
        draft.faults.add(
            &id.span,
            "a step cannot be called \"end\"",
            "use another id: next = \"end\" closes the job",
        );
    }
}

fn check_mention(draft: &mut Draft, mention: &Mention) {
    let span = &mention.span;
    match &mention.of {
        Of::Target(id) => {
            if id != END {
                step(draft, id, span);
            }
        }
        Of::Answer(id) => {
            if let Some(at) = step(draft, id, span) {
                let fix = match &draft.steps[at].kind {
                    StepKind::Finding(_) => {
                        "a finding has no reading: use advice.STEP or figure.STEP.NAME"
                    }
                    StepKind::ReadingSet(_) => "a set has many readings: use rows.STEP",
                    StepKind::Memo | StepKind::Hold { .. } => {
                        "this step has no answer: use a reading or a choice"
                    }
                    _ => return,
                };
                draft.faults.add(
                    span,
                    format!("step \"{}\" has no single answer", shown(id)),
                    fix,
                );
            }
        }
        Of::Finding(id) => {
            if let Some(at) = step(draft, id, span)
                && !matches!(draft.steps[at].kind, StepKind::Finding(_))
            {
                draft.faults.add(
                    span,
                    format!("step \"{}\" is no finding", shown(id)),
                    "name a step of kind = \"finding\"",
                );
            }
        }
        Of::Plate(id) => {
            item(draft, id, span);
        }
        Of::PlateNumber(id) => {
            if let Some(at) = item(draft, id, span)
                && !matches!(draft.plate[at].kind, PlateKind::Number(_))
            {
                draft.faults.add(
                    span,
                    format!("plate item \"{}\" is no number", shown(id)),
                    "name a plate item of kind = \"number\"",
                );
            } else if let Owner::Plate(by) = mention.by
                && draft
                    .plate
                    .iter()
                    .position(|item| item.id == *id)
                    .is_some_and(|at| at >= by)
            {
                draft.faults.add(
                    span,
                    format!("plate item \"{}\" is asked later", shown(id)),
                    "put it in front of this one",
                );
            }
        }
        Of::PlateUnits(id, units) => check_units(draft, id, units, span),
        Of::Limit(id) => {
            if !draft.limits.contains_key(id) {
                let known: Vec<String> = draft.limits.keys().cloned().collect();
                draft
                    .faults
                    .unknown(span, "limit", id, known.iter().map(String::as_str));
            }
        }
        Of::Signal => {
            for id in SIGNAL {
                if !draft.plate.iter().any(|item| item.id == id) {
                    let what = format!("a command needs the plate item \"{id}\"");
                    draft
                        .faults
                        .add(span, what, format!("add a [[plate]] with id = \"{id}\""));
                }
            }
        }
    }
}

fn step(draft: &mut Draft, id: &str, span: &Span) -> Option<usize> {
    let at = draft.steps.iter().position(|step| step.id == id);
    if at.is_none() {
        let ids = draft
            .step_ids
            .iter()
            .map(|id| id.text.as_str())
            .filter(|id| !id.is_empty());
        let fix = near(id, ids).map_or_else(
            || "name a step of this job; next may also be \"end\"".to_owned(),
            |near| format!("did you mean \"{near}\"?"),
        );
        draft
            .faults
            .add(span, format!("unknown step \"{}\"", shown(id)), fix);
    }
    at
}

fn item(draft: &mut Draft, id: &str, span: &Span) -> Option<usize> {
    let at = draft.plate.iter().position(|item| item.id == id);
    if at.is_none() {
        let ids: Vec<String> = draft.plate.iter().map(|item| item.id.clone()).collect();
        draft
            .faults
            .unknown(span, "plate item", id, ids.iter().map(String::as_str));
    }
    at
}

/// A range for each unit that the choice can give, and for no other.
fn check_units(draft: &mut Draft, id: &str, units: &[Text], span: &Span) {
    let Some(at) = item(draft, id, span) else {
        return;
    };
    let PlateKind::Choice(options) = &draft.plate[at].kind else {
        draft.faults.add(
            span,
            format!("plate item \"{}\" is no choice", shown(id)),
            "name a choice whose options are unit ids",
        );
        return;
    };
    let options: Vec<String> = options.iter().map(|option| option.id.clone()).collect();
    for option in &options {
        if spoken::unit(option).is_none() {
            let what = format!(
                "option \"{}\" of \"{}\" is no unit",
                shown(option),
                shown(id)
            );
            draft.faults.add(
                span,
                what,
                "the options must be unit ids, for example mA and V",
            );
        } else if !units.iter().any(|unit| unit.text == *option) {
            draft.faults.add(
                span,
                format!("no range for the unit \"{option}\""),
                format!("add {option} = [\"…\", \"…\"] to `expect`"),
            );
        }
    }
    for unit in units.iter().filter(|unit| !options.contains(&unit.text)) {
        let what = format!(
            "\"{}\" is no option of \"{}\"",
            shown(&unit.text),
            shown(id)
        );
        draft
            .faults
            .add(&unit.span, what, among(options.iter().map(String::as_str)));
    }
}

fn check_condition(draft: &mut Draft, condition: &ConditionMention) {
    let answers: Vec<String> = match &condition.of {
        ConditionOf::Plate(id) => {
            let Some(at) = item(draft, id, &condition.span) else {
                return;
            };
            if let Owner::Plate(by) = condition.by
                && at >= by
            {
                draft.faults.add(
                    &condition.span,
                    format!("plate item \"{}\" is asked later", shown(id)),
                    "put it in front of this one",
                );
            }
            let mut answers = match &draft.plate[at].kind {
                PlateKind::Choice(options) => {
                    options.iter().map(|option| option.id.clone()).collect()
                }
                _ => Vec::new(),
            };
            if draft.plate[at].unknown_allowed {
                answers.push("unknown".to_owned());
            }
            // A number or a tag may be compared with anything that it can be.
            if !matches!(draft.plate[at].kind, PlateKind::Choice(_)) {
                return;
            }
            answers
        }
        ConditionOf::Step(id) => {
            if let Owner::Plate(_) = condition.by {
                draft.faults.add(
                    &condition.span,
                    "a plate item cannot wait for a step",
                    "use { plate = \"…\" }: plate items are asked first",
                );
                return;
            }
            let Some(at) = step(draft, id, &condition.span) else {
                return;
            };
            let Some(answers) = answers_of(&draft.steps[at]) else {
                draft.faults.add(
                    &condition.span,
                    format!("step \"{}\" has no outcome", shown(id)),
                    "look at a gate, a choice, a reading or a finding",
                );
                return;
            };
            answers
        }
    };
    for word in &condition.words {
        if !answers.contains(&word.text) {
            draft.faults.unknown(
                &word.span,
                "outcome",
                &word.text,
                answers.iter().map(String::as_str),
            );
        }
    }
}

/// What a step can come to, as one word; None where nothing can be said of it.
fn answers_of(step: &Step) -> Option<Vec<String>> {
    let words = |words: &[&str]| Some(words.iter().map(|word| (*word).to_owned()).collect());
    match &step.kind {
        StepKind::Gate { .. } => words(&["yes", "no"]),
        StepKind::Instruction => words(&["done", "skipped"]),
        StepKind::Choice(options) => Some(
            options
                .iter()
                .map(|option| option.id.clone())
                .chain(["skipped".to_owned()])
                .collect(),
        ),
        StepKind::Reading(_) => words(&[
            "number",
            "skipped",
            "OL",
            "OPEN",
            "NO_READING",
            "SHORT",
            "UNSTABLE",
        ]),
        StepKind::Finding(finding) => {
            let spec = spec(&finding.calculation)?;
            let mut all: Vec<String> = spec
                .verdicts
                .iter()
                .map(|verdict| verdict.name.to_owned())
                .collect();
            all.push(CANNOT_TELL.to_owned());
            Some(all)
        }
        StepKind::ReadingSet(_) | StepKind::Hold { .. } | StepKind::Memo => None,
    }
}

fn check_input(draft: &mut Draft, input: &InputMention) {
    let found = match &input.source {
        Source::Rows(id) => {
            if let Some(at) = step(draft, id, &input.span)
                && !matches!(draft.steps[at].kind, StepKind::ReadingSet(_))
            {
                draft.faults.add(
                    &input.span,
                    format!("step \"{}\" is no set of readings", shown(id)),
                    "use step.ID for a single reading",
                );
            }
            None
        }
        Source::Step(id) => draft
            .steps
            .iter()
            .find(|step| step.id == *id)
            .and_then(|step| match &step.kind {
                StepKind::Reading(range) => unit_of(range),
                _ => None,
            }),
        Source::Plate(id) => draft
            .plate
            .iter()
            .find(|item| item.id == *id)
            .and_then(|item| match &item.kind {
                PlateKind::Number(range) => unit_of(range),
                _ => None,
            }),
        Source::Limit(id) => draft.limits.get(id).map(|limit| limit.unit.clone()),
        Source::Figure { .. } | Source::Number(_) | Source::Word(_) => None,
    };
    if let (Some(found), Some(wanted)) = (found, input.unit)
        // "none": in whatever unit the reading has.
        && wanted != "none"
        && spoken::unit(wanted).is_some()
        && spoken::unit(&found).is_some()
        && found != wanted
    {
        let what = format!(
            "\"{}\" is wanted in {wanted}, this is in {}",
            input.name,
            shown(&found)
        );
        draft.faults.add(
            &input.span,
            what,
            format!("give the reading or the limit the unit \"{wanted}\""),
        );
    }
    // A finding that asks for its own figures would judge what it has not yet found.
    if let Source::Figure { step, .. } = &input.source
        && draft
            .steps
            .get(input.step)
            .is_some_and(|own| own.id == *step)
    {
        draft.faults.add(
            &input.span,
            "a finding refers to its own figure",
            "name an earlier finding",
        );
    }
}

fn unit_of(range: &NumberRange) -> Option<String> {
    match range {
        NumberRange::Fixed { unit, .. } | NumberRange::Scaled { unit, .. } => Some(unit.clone()),
        NumberRange::ByUnit { .. } => None,
    }
}

/// Gives an option the value that it settles for another item.
fn settle(draft: &mut Draft, setting: &Setting) {
    let Some(at) = item(draft, &setting.item.text, &setting.item.span) else {
        return;
    };
    if at == setting.plate {
        draft.faults.add(
            &setting.item.span,
            "a choice settles itself",
            "name another plate item",
        );
        return;
    }
    match plate::value(&draft.plate[at], &setting.value.text, &BTreeMap::new()) {
        Ok(value) => {
            if let Some(PlateKind::Choice(options)) = draft
                .plate
                .get_mut(setting.plate)
                .map(|item| &mut item.kind)
                && let Some(option) = options.get_mut(setting.option)
            {
                option.sets.insert(setting.item.text.clone(), value);
            }
        }
        Err((what, fix)) => draft.faults.add(&setting.value.span, what, fix),
    }
}

/// What is lifted is restored somewhere, and the other way round.
fn lifted(draft: &mut Draft) {
    let (lifts, restores) = (
        std::mem::take(&mut draft.lifts),
        std::mem::take(&mut draft.restores),
    );
    for (things, others, what, key) in [
        (
            &lifts,
            &restores,
            "is lifted and never restored",
            "restores",
        ),
        (
            &restores,
            &lifts,
            "is restored and was never lifted",
            "lifts",
        ),
    ] {
        let mut told = BTreeSet::new();
        for thing in things {
            if !others.iter().any(|other| other.text == thing.text)
                && told.insert(thing.text.as_str())
            {
                let fix = near(&thing.text, others.iter().map(|other| other.text.as_str()))
                    .map_or_else(
                        || {
                            format!(
                                "add {key} = [\"{}\"] to the step that does it",
                                shown(&thing.text)
                            )
                        },
                        |near| format!("did you mean \"{near}\"?"),
                    );
                draft.faults.add(
                    &thing.span,
                    format!("\"{}\" {what}", shown(&thing.text)),
                    fix,
                );
            }
        }
    }
}

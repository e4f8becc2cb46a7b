//! What is asked now: from the cursor of a run to a sentence, a short name for
//! the big print, and the slot that says what may answer it.
//!
//! No state lives here; everything is worked out from the job and the saved run.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::record::{Cursor, Row, Started, Value};
use super::run::Saved;
use crate::calc::{rounding, signal};
use crate::job::{
    ChoiceOption, Column, FindingStep, Job, NumberRange, Piece, Placeholder, PlateItem, PlateKind,
    PlateValue, Step, StepKind, Template,
};
use crate::spoken::{self, Slot, SlotKind};

/// What is asked now.
#[derive(Clone, Debug, PartialEq)]
pub enum Asked<'job> {
    /// Nameplate, order or instrument data.
    Plate(&'job PlateItem),
    /// A step that is one question.
    Step(&'job Step),
    /// A cell of a reading set.
    Cell(&'job Step, &'job Column, Row),
    /// Whether something that was lifted is restored.
    Restore(String),
    /// Nothing: the run is closed.
    Nothing,
}

/// What is asked at this cursor.
#[must_use]
pub fn asked<'job>(job: &'job Job, saved: &Saved, cursor: &Cursor) -> Asked<'job> {
    match cursor {
        Cursor::Plate(item) => job.plate_item(item).map_or(Asked::Nothing, Asked::Plate),
        Cursor::Step { id, cell } => {
            let Some(step) = job.index_of(id).map(|at| &job.steps[at]) else {
                return Asked::Nothing;
            };
            if let StepKind::ReadingSet(set) = &step.kind
                && let Some(row) = Saved::row_at(set, *cell)
                && let Some(column) = set.columns.iter().find(|column| column.id == row.column)
            {
                return Asked::Cell(step, column, row);
            }
            Asked::Step(step)
        }
        Cursor::Ending => saved
            .outstanding
            .iter()
            .next()
            .map_or(Asked::Nothing, |item| Asked::Restore(item.clone())),
        Cursor::Closed => Asked::Nothing,
    }
}

impl Asked<'_> {
    /// The question, one sentence.
    #[must_use]
    pub fn sentence(&self, job: &Job, saved: &Saved) -> String {
        match self {
            Self::Plate(item) => item.ask.clone(),
            Self::Step(step) => fill(&step.ask, job, saved, None),
            Self::Cell(_, column, row) => fill(&column.ask, job, saved, Some(row)),
            Self::Restore(item) => format!("Is it restored: {item}? Affirm or negative."),
            Self::Nothing => "The job is closed.".to_owned(),
        }
    }

    /// A few words for the big print while nothing has been said or typed yet.
    #[must_use]
    pub fn short(&self) -> String {
        match self {
            Self::Plate(item) => item.title.clone(),
            Self::Step(step) => step.title.clone(),
            Self::Cell(_, column, row) => {
                format!(
                    "{} at {} % {}",
                    column.title,
                    row.point,
                    if row.up { "up" } else { "down" }
                )
            }
            Self::Restore(item) => format!("{item} restored?"),
            Self::Nothing => "Closed".to_owned(),
        }
    }

    /// What may answer it. Numbers take their range from the plate where the job says so.
    #[must_use]
    pub fn slot(&self, saved: &Saved) -> Slot {
        let kind = match self {
            Self::Plate(item) => match &item.kind {
                PlateKind::Tag => SlotKind::Tag,
                PlateKind::Number(range) => return number(&item.title, range, saved),
                PlateKind::Choice(options) => choice(options),
                PlateKind::Month => {
                    return fixed(
                        &item.title,
                        "none",
                        (Decimal::from(200_001), Decimal::from(209_912)),
                        &[],
                    );
                }
            },
            Self::Step(step) => match &step.kind {
                StepKind::Reading(range) => return number(&step.title, range, saved),
                StepKind::Gate { .. } => SlotKind::YesNo,
                StepKind::Choice(options) => choice(options),
                _ => SlotKind::Choice(Vec::new()),
            },
            Self::Cell(_, column, _) => return number(&column.title, &column.range, saved),
            Self::Restore(_) => SlotKind::YesNo,
            Self::Nothing => SlotKind::Choice(Vec::new()),
        };
        Slot {
            name: self.short(),
            kind,
        }
    }

    /// The options, where it is a closed list.
    #[must_use]
    pub fn options(&self) -> &[ChoiceOption] {
        match self {
            Self::Plate(PlateItem {
                kind: PlateKind::Choice(options),
                ..
            })
            | Self::Step(Step {
                kind: StepKind::Choice(options),
                ..
            }) => options,
            _ => &[],
        }
    }

    /// The step, where it is one.
    #[must_use]
    pub fn step(&self) -> Option<&Step> {
        match self {
            Self::Step(step) | Self::Cell(step, ..) => Some(step),
            _ => None,
        }
    }
}

/// What may answer each question that this job can ask: a slot for each unit, where a plate item
/// says which it is.
#[must_use]
pub fn every_slot(job: &Job) -> Vec<Slot> {
    let blank = Saved::new(job, Started::of(job, "", BTreeMap::new()));
    let mut slots: Vec<Slot> = Vec::new();
    let mut ranges: Vec<(&str, &NumberRange)> = Vec::new();
    for item in &job.plate {
        match &item.kind {
            PlateKind::Number(range) => ranges.push((&item.title, range)),
            _ => slots.push(Asked::Plate(item).slot(&blank)),
        }
    }
    for step in &job.steps {
        match &step.kind {
            StepKind::Reading(range) => ranges.push((&step.title, range)),
            StepKind::ReadingSet(set) => {
                ranges.extend(set.columns.iter().map(|c| (c.title.as_str(), &c.range)));
            }
            _ => slots.push(Asked::Step(step).slot(&blank)),
        }
    }
    for (name, range) in ranges {
        if let NumberRange::ByUnit { ranges, .. } = range {
            let of_unit = |(unit, &(low, high)): (&String, &_)| fixed(name, unit, (low, high), &[]);
            slots.extend(ranges.iter().map(of_unit));
        } else {
            slots.push(number(name, range, &blank));
        }
    }
    slots
}

/// A closed list as a slot: each option by its own phrases, and by its place in the list.
#[must_use]
pub fn choice(options: &[ChoiceOption]) -> SlotKind {
    const PLACES: [&str; 9] = [
        "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
    ];
    SlotKind::Choice(
        options
            .iter()
            .enumerate()
            .map(|(at, option)| {
                let mut phrases = option.say.clone();
                phrases.extend(PLACES.get(at).map(|word| (*word).to_owned()));
                spoken::ChoiceOption {
                    id: option.id.clone(),
                    phrases,
                }
            })
            .collect(),
    )
}

fn number(name: &str, range: &NumberRange, saved: &Saved) -> Slot {
    let set: &[Decimal] = match range {
        NumberRange::Fixed { set, .. } => set,
        _ => &[],
    };
    let first = || match range {
        // The loader has checked that the choice can give only these units, and that there is one.
        NumberRange::ByUnit { ranges, .. } => ranges
            .iter()
            .next()
            .map(|(unit, (low, high))| (unit.as_str(), *low, *high)),
        _ => None,
    };
    let (unit, low, high) =
        range
            .ends(&saved.plate)
            .or_else(first)
            .unwrap_or(("none", Decimal::ZERO, Decimal::ZERO));
    fixed(name, unit, (low, high), set)
}

fn fixed(name: &str, unit: &str, (low, high): (Decimal, Decimal), set: &[Decimal]) -> Slot {
    match spoken::unit(unit) {
        Some(unit) => spoken::number_slot(name, &unit, low, high, set),
        // The loader refuses unknown units, so this is a job that was never loaded.
        None => Slot {
            name: name.to_owned(),
            kind: SlotKind::Any,
        },
    }
}

/// Fills in a template.
#[must_use]
pub fn fill(template: &Template, job: &Job, saved: &Saved, row: Option<&Row>) -> String {
    template
        .0
        .iter()
        .map(|piece| match piece {
            Piece::Text(text) => text.clone(),
            Piece::Placeholder(place) => place_text(place, job, saved, row),
        })
        .collect()
}

fn place_text(place: &Placeholder, job: &Job, saved: &Saved, row: Option<&Row>) -> String {
    match place {
        Placeholder::Point => row.map_or_else(String::new, |row| row.point.to_string()),
        Placeholder::Direction => row.map_or_else(String::new, |row| {
            if row.up { "going up" } else { "going down" }.to_owned()
        }),
        Placeholder::Signal => row.map_or_else(String::new, |row| command_at(saved, row.point)),
        Placeholder::SignalAt(percent) => command_at(saved, *percent),
        Placeholder::Plate(item) => plate_text(job, saved, item),
        Placeholder::Limit(id) => saved
            .started
            .limits
            .get(id)
            .map_or_else(String::new, |limit| {
                with_unit(&limit.value.to_string(), &limit.unit)
            }),
        Placeholder::Step(step) => saved.answer(step).map_or_else(
            || "not measured".to_owned(),
            |kept| value_text(job, step, &kept.answer.value),
        ),
        Placeholder::Figure { step, figure } => figure_text(saved, step, figure),
        Placeholder::Advice(step) => saved
            .findings
            .get(step)
            .map_or_else(String::new, |finding| finding.advice.clone()),
    }
}

/// The command, in signal units, for a percentage of travel, as shown and said.
#[must_use]
pub fn command_at(saved: &Saved, percent: Decimal) -> String {
    let number = |item| {
        saved
            .plate_number(item)
            .and_then(|number| f64::try_from(number).ok())
    };
    let (Some(low), Some(high), Ok(percent_f)) = (
        number("signal-low"),
        number("signal-high"),
        f64::try_from(percent),
    ) else {
        return format!("{percent} %");
    };
    // Without the action or the unit there is no command to name: nothing is taken for granted.
    let action = saved.plate_word("action").and_then(signal::Action::named);
    let (Some(action), Some(unit)) = (action, saved.plate_word("signal-unit")) else {
        return format!("{percent} %");
    };
    signal::percent_to_signal(percent_f, low, high, action).map_or_else(
        |_| format!("{percent} %"),
        |command| with_unit(&rounding::fixed(command, 2), unit),
    )
}

/// A plate item as text, with its unit.
#[must_use]
pub fn plate_text(job: &Job, saved: &Saved, item: &str) -> String {
    let value = saved.plate.get(item);
    match (value, job.plate_item(item).map(|item| &item.kind)) {
        (Some(PlateValue::Number(number)), Some(PlateKind::Number(range))) => {
            with_unit(&number.to_string(), range_unit(range, saved))
        }
        (Some(PlateValue::Number(number)), _) => number.to_string(),
        (Some(PlateValue::Text(word)), Some(PlateKind::Choice(options))) => options
            .iter()
            .find(|option| option.id == *word)
            .map_or_else(|| word.clone(), |option| option.title.clone()),
        (Some(PlateValue::Text(word)), _) => word.clone(),
        (Some(PlateValue::Unknown), _) => "unknown".to_owned(),
        (None, _) => "not given".to_owned(),
    }
}

/// The unit id of a range, now.
#[must_use]
pub fn range_unit<'a>(range: &'a NumberRange, saved: &'a Saved) -> &'a str {
    match range {
        NumberRange::Fixed { unit, .. } | NumberRange::Scaled { unit, .. } => unit,
        NumberRange::ByUnit { plate, .. } => saved.plate_word(plate).unwrap_or("none"),
    }
}

/// A figure of a finding as text, with its unit.
#[must_use]
pub fn figure_text(saved: &Saved, step: &str, figure: &str) -> String {
    saved
        .findings
        .get(step)
        .and_then(|finding| finding.figures.iter().find(|other| other.name == figure))
        .map_or_else(
            || "unknown".to_owned(),
            |figure| match (figure.value, &figure.text) {
                (Some(value), _) => with_unit(
                    &rounding::fixed(value, u32::from(figure.places)),
                    &figure.unit,
                ),
                (None, Some(text)) => text.clone(),
                (None, None) => "unknown".to_owned(),
            },
        )
}

/// A number and the symbol of its unit.
#[must_use]
pub fn with_unit(number: &str, unit: &str) -> String {
    let symbol =
        spoken::unit(unit).map_or_else(|| unit.to_owned(), |unit| unit.symbol().to_owned());
    if symbol.is_empty() {
        number.to_owned()
    } else {
        format!("{number} {symbol}")
    }
}

/// An answer as text, as shown and printed.
#[must_use]
pub fn value_text(job: &Job, step: &str, value: &Value) -> String {
    match value {
        Value::Number { value, unit } => with_unit(&value.to_string(), unit),
        Value::Status(code) => code.replace('_', " "),
        Value::Choice(id) => job
            .index_of(step)
            .and_then(|at| match &job.steps[at].kind {
                StepKind::Choice(options) => options.iter().find(|option| option.id == *id),
                _ => None,
            })
            .map_or_else(|| id.clone(), |option| option.title.clone()),
        Value::Tag(text) => text.clone(),
        Value::Yes => "yes".to_owned(),
        Value::No => "no".to_owned(),
        Value::Done => "done".to_owned(),
    }
}

/// The finding step at this cursor, if it stands on one.
#[must_use]
pub fn finding_at<'job>(
    job: &'job Job,
    cursor: &Cursor,
) -> Option<(&'job Step, &'job FindingStep)> {
    let Cursor::Step { id, .. } = cursor else {
        return None;
    };
    let step = &job.steps[job.index_of(id)?];
    match &step.kind {
        StepKind::Finding(finding) => Some((step, finding)),
        _ => None,
    }
}

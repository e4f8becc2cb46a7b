//! A job while it is being read: its parts, and everything in it that refers to
//! another part, with the place where it does.
//!
//! Filled from the first table to the last; `check` and `flow` only read it.

use std::collections::BTreeMap;

use toml::Spanned;
use toml::de::DeValue;

use super::fault::{Faults, Span};
use super::table::{Table, Text};
use super::{Limit, PlateItem, Step};
use crate::job::{Condition, ConditionOf, Source};
use crate::spoken::EarWords;

/// Which part of the job refers to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::job) enum Owner {
    Plate(usize),
    Step(usize),
}

/// What is referred to.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::job) enum Of {
    /// A step to go to, or "end".
    Target(String),
    /// A step whose answer is shown.
    Answer(String),
    /// A finding step, for its advice or a figure.
    Finding(String),
    /// A plate item.
    Plate(String),
    /// A plate item that is a number.
    PlateNumber(String),
    /// A plate item that is a choice of units; the units that have a range.
    PlateUnits(String, Vec<Text>),
    /// A limit.
    Limit(String),
    /// The plate items that a command is worked out from.
    Signal,
}

/// A reference and its place.
#[derive(Debug)]
pub(in crate::job) struct Mention {
    pub(in crate::job) by: Owner,
    pub(in crate::job) of: Of,
    pub(in crate::job) span: Span,
}

/// A condition, with the places of its words.
#[derive(Debug)]
pub(in crate::job) struct ConditionMention {
    pub(in crate::job) by: Owner,
    pub(in crate::job) of: ConditionOf,
    pub(in crate::job) span: Span,
    pub(in crate::job) words: Vec<Text>,
}

/// An input of a calculation.
#[derive(Debug)]
pub(in crate::job) struct InputMention {
    pub(in crate::job) step: usize,
    pub(in crate::job) name: &'static str,
    pub(in crate::job) unit: Option<&'static str>,
    pub(in crate::job) source: Source,
    pub(in crate::job) span: Span,
}

/// A plate item that a choice settles.
#[derive(Debug)]
pub(in crate::job) struct Setting {
    pub(in crate::job) plate: usize,
    pub(in crate::job) option: usize,
    pub(in crate::job) item: Text,
    pub(in crate::job) value: Text,
}

/// The parts read so far.
pub(in crate::job) struct Draft<'t> {
    pub(in crate::job) faults: Faults<'t>,
    /// What the ear can listen for.
    pub(in crate::job) ears: &'t EarWords,
    pub(in crate::job) plate: Vec<PlateItem>,
    pub(in crate::job) plate_ids: Vec<Text>,
    pub(in crate::job) limits: BTreeMap<String, Limit>,
    pub(in crate::job) steps: Vec<Step>,
    pub(in crate::job) step_ids: Vec<Text>,
    pub(in crate::job) lifts: Vec<Text>,
    pub(in crate::job) restores: Vec<Text>,
    pub(in crate::job) mentions: Vec<Mention>,
    pub(in crate::job) conditions: Vec<ConditionMention>,
    pub(in crate::job) inputs: Vec<InputMention>,
    pub(in crate::job) settings: Vec<Setting>,
}

impl<'t> Draft<'t> {
    pub(in crate::job) fn new(text: &'t str, ears: &'t EarWords) -> Self {
        Self {
            faults: Faults::new(text),
            ears,
            plate: Vec::new(),
            plate_ids: Vec::new(),
            limits: BTreeMap::new(),
            steps: Vec::new(),
            step_ids: Vec::new(),
            lifts: Vec::new(),
            restores: Vec::new(),
            mentions: Vec::new(),
            conditions: Vec::new(),
            inputs: Vec::new(),
            settings: Vec::new(),
        }
    }

    pub(in crate::job) fn mention(&mut self, by: Owner, of: Of, span: &Span) {
        self.mentions.push(Mention {
            by,
            of,
            span: span.clone(),
        });
    }

    /// `next`, `refused`: a step to go to.
    pub(in crate::job) fn target(
        &mut self,
        table: &mut Table,
        key: &'static str,
        by: Owner,
    ) -> Option<String> {
        let target = table.text(key, 40, &mut self.faults)?;
        self.mention(by, Of::Target(target.text.clone()), &target.span);
        Some(target.text)
    }

    /// `when`: one condition or a list of them.
    pub(in crate::job) fn when(&mut self, table: &mut Table, by: Owner) -> Vec<Condition> {
        let Some(value) = table.take("when") else {
            return Vec::new();
        };
        let list: Vec<&Spanned<DeValue>> = match value.get_ref() {
            DeValue::Array(list) => list.iter().collect(),
            _ => vec![value],
        };
        list.into_iter()
            .filter_map(|value| self.condition(value, by))
            .collect()
    }

    fn condition(&mut self, value: &Spanned<DeValue>, by: Owner) -> Option<Condition> {
        let mut table = Table::new(value, "a condition", &mut self.faults)?;
        let step = table.text("step", 40, &mut self.faults);
        let plate = table.text("plate", 40, &mut self.faults);
        let is = table.texts("is", 40, &mut self.faults);
        let not = table.texts("not", 40, &mut self.faults);
        let span = table.span.clone();
        table.done(&mut self.faults);
        let of = match (step, plate) {
            (Some(step), None) => ConditionOf::Step(step.text),
            (None, Some(plate)) => ConditionOf::Plate(plate.text),
            _ => {
                let fix =
                    "write { step = \"id\", is = [\"…\"] } or { plate = \"id\", is = [\"…\"] }";
                self.faults
                    .add(&span, "a condition looks at one thing", fix);
                return None;
            }
        };
        if is.is_empty() == not.is_empty() {
            self.faults.add(
                &span,
                "a condition needs either `is` or `not`",
                "write is = [\"…\"] or not = [\"…\"], not both",
            );
            return None;
        }
        let negated = is.is_empty();
        let words = if negated { not } else { is };
        let condition = Condition {
            of: of.clone(),
            is: words.iter().map(|word| word.text.clone()).collect(),
            negated,
        };
        self.conditions.push(ConditionMention {
            by,
            of,
            span,
            words,
        });
        Some(condition)
    }
}

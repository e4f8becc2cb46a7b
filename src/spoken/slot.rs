//! Slots: what a question can be answered with.
//!
//! No state; the named slots are `grammars/slots.toml`, read once.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use rust_decimal::Decimal;
use serde::Deserialize;

use super::unit::{Unit, unit};

/// What a question can be answered with.
#[derive(Clone, Debug, PartialEq)]
pub struct Slot {
    /// Its name, for messages.
    pub name: String,
    /// Its kind.
    pub kind: SlotKind,
}

/// Kind of a slot.
#[derive(Clone, Debug, PartialEq)]
pub enum SlotKind {
    /// A number with its unit.
    Number(NumberSlot),
    /// Yes or no.
    YesNo,
    /// Open, closed, mid travel.
    Position,
    /// Spelled letters and figures.
    Tag,
    /// One of a closed list.
    Choice(Vec<ChoiceOption>),
    /// Anything: commands, and numbers in whatever unit is said.
    Any,
}

/// A number: unit and plausible range. The range is plausibility, not acceptance.
#[derive(Clone, Debug, PartialEq)]
pub struct NumberSlot {
    /// Unit.
    pub unit: Unit,
    /// Lowest plausible value.
    pub low: Decimal,
    /// Highest plausible value.
    pub high: Decimal,
    /// Where not empty: the only plausible values.
    pub set: Vec<Decimal>,
}

impl NumberSlot {
    /// True if the value is plausible.
    #[must_use]
    pub fn holds(&self, value: Decimal) -> bool {
        (self.low..=self.high).contains(&value) && (self.set.is_empty() || self.set.contains(&value))
    }

    /// Values that a pair of numbers ("five twelve") could mean if a point were put between them, as a display of
    /// this unit would show it. They are never taken; they only show that the pair is ambiguous.
    pub(super) fn with_point(&self, before: &str, after: &str) -> Vec<Decimal> {
        let read = |text: String| text.parse::<Decimal>().ok();
        let pointed = format!("{before}.{after}");
        let kilo = unit("kohm");
        let values: [Option<Decimal>; 2] = match (self.unit.id(), after.len()) {
            // Ohms show one decimal, kilohms two or three.
            ("ohm", 1) => [read(pointed), None],
            ("ohm", _) => [None, read(pointed).and_then(|value| kilo.and_then(|kilo| self.unit.convert(value, kilo)))],
            ("mA" | "A", 1 | 2) | ("V" | "%" | "s" | "deg" | "degC", 1) => [read(pointed), None],
            _ => [None, None],
        };
        values.into_iter().flatten().filter(|value| self.holds(*value)).collect()
    }
}

/// One option of a closed list.
#[derive(Clone, Debug, PartialEq)]
pub struct ChoiceOption {
    /// What is stored.
    pub id: String,
    /// The phrases that mean it.
    pub phrases: Vec<String>,
}

/// A slot for a number.
#[must_use]
pub fn number_slot(name: &str, unit: &Unit, low: Decimal, high: Decimal, set: &[Decimal]) -> Slot {
    Slot {
        name: name.to_owned(),
        kind: SlotKind::Number(NumberSlot { unit: *unit, low, high, set: set.to_vec() }),
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    number: BTreeMap<String, NumberRow>,
    other: BTreeMap<String, String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NumberRow {
    unit: String,
    low: Decimal,
    high: Decimal,
    #[serde(default)]
    set: Vec<Decimal>,
}

static NAMED: LazyLock<BTreeMap<String, Slot>> = LazyLock::new(|| {
    let table: Table = toml::from_str(include_str!("../../grammars/slots.toml"))
        .expect("the table of slots is part of the program and is tested");
    let numbers = table.number.into_iter().map(|(name, row)| {
        let unit = unit(&row.unit).expect("the table of slots names units that there are; tested");
        (name.clone(), number_slot(&name, &unit, row.low, row.high, &row.set))
    });
    let others = table.other.into_iter().map(|(name, kind)| {
        let kind = match kind.as_str() {
            "yes-no" => SlotKind::YesNo,
            "position" => SlotKind::Position,
            "tag" => SlotKind::Tag,
            _ => SlotKind::Any,
        };
        (name.clone(), Slot { name, kind })
    });
    numbers.chain(others).collect()
});

/// The slot with this name.
#[must_use]
pub fn named_slot(name: &str) -> Option<Slot> {
    NAMED.get(name).cloned()
}

/// The names of the named slots.
#[must_use]
pub fn slot_names() -> Vec<&'static str> {
    NAMED.keys().map(String::as_str).collect()
}

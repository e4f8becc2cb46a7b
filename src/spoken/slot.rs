//! What a question may be answered with. The named slots are `grammars/slots.toml`.
//!
//! State: that table, read once and never changed.

use std::sync::LazyLock;

use rust_decimal::Decimal;
use serde::Deserialize;

use super::unit::{Unit, unit};

/// One question's room for answers.
#[derive(Clone, Debug, PartialEq)]
pub struct Slot {
    /// Its name in tables, or the step's id.
    pub name: String,
    /// What kind of answer it takes.
    pub kind: SlotKind,
}

/// The kinds of answer.
#[derive(Clone, Debug, PartialEq)]
pub enum SlotKind {
    /// A reading with a unit.
    Number(NumberSlot),
    /// Yes or no.
    YesNo,
    /// Open, closed or mid travel.
    Position,
    /// A tag, spelled.
    Tag,
    /// One of a closed list.
    Choice(Vec<ChoiceOption>),
    /// Nothing in particular is asked: a number of any unit, a status or a command.
    Any,
}

/// Room for a number. The range says what is plausible, not what is acceptable.
#[derive(Clone, Debug, PartialEq)]
pub struct NumberSlot {
    /// The unit that answers are kept in.
    pub unit: Unit,
    /// Lowest plausible value.
    pub low: Decimal,
    /// Highest plausible value.
    pub high: Decimal,
    /// The only values allowed; empty where any value of the range is.
    pub set: Vec<Decimal>,
    /// How the display shows a decimal.
    pub display: DisplayForm,
}

/// How a display of this quantity shows decimals, to tell where a spoken point
/// may have been left out (never to put one in).
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DisplayForm {
    /// Decimals in the slot's own unit: `[1, 2]` is x.x or x.xx.
    pub places: Vec<u32>,
    /// Decimals in kilo-units, where the display also shows those: 2 is x.xx k.
    pub kilo_places: Option<u32>,
}

/// One option of a closed list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChoiceOption {
    /// What is stored.
    pub id: String,
    /// Everything that may be said for it.
    pub phrases: Vec<String>,
}

impl DisplayForm {
    /// The form for a unit and a range (common practice: hand-held meters show x.xx k
    /// and x.x ohm, x.xx or x.x mA, x.x V on mains ranges and x.xx or x.x V on low ones).
    #[must_use]
    pub fn of(unit: &Unit, low: Decimal, high: Decimal) -> Self {
        let mut places = unit.places().to_vec();
        if unit.id() == "V" && high <= Decimal::from(60) && low >= Decimal::from(-60) {
            places.push(2);
        }
        let kilo_places = (unit.id() == "ohm" && high >= Decimal::ONE_THOUSAND).then_some(2);
        DisplayForm {
            places,
            kilo_places,
        }
    }
}

impl NumberSlot {
    /// Whether a value is one that this slot expects.
    #[must_use]
    pub fn fits(&self, value: Decimal) -> bool {
        value >= self.low
            && value <= self.high
            && (self.set.is_empty() || self.set.contains(&value))
    }
}

/// A slot for a job's own reading; the display form follows from unit and range as
/// it does for the named slots. Bounds the wrong way round are put right.
#[must_use]
pub fn number_slot(name: &str, unit: &Unit, low: Decimal, high: Decimal, set: &[Decimal]) -> Slot {
    let (low, high) = (low.min(high), low.max(high));
    Slot {
        name: name.to_owned(),
        kind: SlotKind::Number(NumberSlot {
            unit: *unit,
            low,
            high,
            set: set.to_vec(),
            display: DisplayForm::of(unit, low, high),
        }),
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    name: String,
    #[serde(default)]
    kind: String,
    #[serde(default)]
    unit: String,
    #[serde(default)]
    low: Decimal,
    #[serde(default)]
    high: Decimal,
    #[serde(default)]
    set: Vec<Decimal>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    slot: Vec<Row>,
}

static SLOTS: LazyLock<Vec<Slot>> = LazyLock::new(|| {
    let table: Table = toml::from_str(include_str!("../../grammars/slots.toml"))
        .expect("the embedded table of slots is read by a test");
    table
        .slot
        .into_iter()
        .filter_map(|row| slot_of(&row))
        .collect()
});

fn slot_of(row: &Row) -> Option<Slot> {
    let kind = match row.kind.as_str() {
        "" => {
            return Some(number_slot(
                &row.name,
                &unit(&row.unit)?,
                row.low,
                row.high,
                &row.set,
            ));
        }
        "yes-no" => SlotKind::YesNo,
        "position" => SlotKind::Position,
        "tag" => SlotKind::Tag,
        "any" => SlotKind::Any,
        _ => return None,
    };
    Some(Slot {
        name: row.name.clone(),
        kind,
    })
}

/// The slot of this name: `R1K`, `MA`, `PSET`, `YN`, …
#[must_use]
pub fn named_slot(name: &str) -> Option<Slot> {
    SLOTS.iter().find(|slot| slot.name == name).cloned()
}

/// Every named slot, in the table's order.
pub fn named_slots() -> impl Iterator<Item = &'static Slot> {
    SLOTS.iter()
}

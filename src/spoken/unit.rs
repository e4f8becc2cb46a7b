//! Units: how each is said, its symbol, what it measures, and its exact scale.
//!
//! No state; the table is `grammars/units.toml`, read once.

use std::sync::LazyLock;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// A unit, by its id in the table.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Unit(usize);

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    id: String,
    symbol: String,
    dimension: String,
    exponent: i32,
    #[serde(default)]
    factor: Option<i64>,
    listen: String,
    one: String,
    many: String,
    says: Vec<String>,
    #[serde(default)]
    soft: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    unit: Vec<Row>,
}

static TABLE: LazyLock<Vec<Row>> = LazyLock::new(|| {
    toml::from_str::<Table>(include_str!("../../grammars/units.toml"))
        .expect("the table of units is part of the program and is tested")
        .unit
});

/// The unit with this id.
#[must_use]
pub fn unit(id: &str) -> Option<Unit> {
    TABLE.iter().position(|row| row.id == id).map(Unit)
}

/// How a unit was said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct SaidUnit {
    pub(super) unit: Unit,
    pub(super) words: usize,
    /// A slang form, to be affirmed.
    pub(super) soft: bool,
}

/// The units that these words end with, the longest first.
pub(super) fn at_end(words: &[&str]) -> Vec<SaidUnit> {
    let mut found = Vec::new();
    for (at, row) in TABLE.iter().enumerate() {
        for (says, soft) in [(&row.says, false), (&row.soft, true)] {
            for phrase in says {
                let parts: Vec<&str> = phrase.split(' ').collect();
                if words.ends_with(&parts) {
                    found.push(SaidUnit { unit: Unit(at), words: parts.len(), soft });
                }
            }
        }
    }
    found.sort_by_key(|said| std::cmp::Reverse(said.words));
    found
}

impl Unit {
    fn row(self) -> &'static Row {
        &TABLE[self.0]
    }

    /// Its id, as stored.
    #[must_use]
    pub fn id(&self) -> &'static str {
        &self.row().id
    }

    /// Its symbol, as shown; empty for a plain number.
    #[must_use]
    pub fn symbol(&self) -> &'static str {
        &self.row().symbol
    }

    /// What it measures.
    #[must_use]
    pub fn dimension(&self) -> &'static str {
        &self.row().dimension
    }

    /// The rule of `numbers.jsgf` that is heard for it.
    #[must_use]
    pub fn listening_rule(&self) -> &'static str {
        &self.row().listen
    }

    /// How it is spoken after a value: one ohm, two ohms.
    #[must_use]
    pub fn spoken(&self, value: &Decimal) -> &'static str {
        if value.abs() == Decimal::ONE && value.scale() == 0 { &self.row().one } else { &self.row().many }
    }

    /// A value of another unit of the same dimension in this one, exactly; the digits said stay.
    #[must_use]
    pub fn convert(&self, value: Decimal, from: Unit) -> Option<Decimal> {
        if self.dimension() != from.dimension() {
            return None;
        }
        let factor = Decimal::from(from.row().factor.unwrap_or(1)) / Decimal::from(self.row().factor.unwrap_or(1));
        let value = if factor == Decimal::ONE { value } else { value.checked_mul(factor)? };
        shift(value, from.row().exponent - self.row().exponent)
    }
}

/// Times a power of ten: 1.04 by three places is 1040, not 1040.00.
fn shift(value: Decimal, places: i32) -> Option<Decimal> {
    let scale = i32::try_from(value.scale()).ok()? - places;
    if let Ok(scale) = u32::try_from(scale) {
        return Decimal::try_from_i128_with_scale(value.mantissa(), scale).ok();
    }
    let mantissa = value.mantissa().checked_mul(10_i128.checked_pow(scale.unsigned_abs())?)?;
    Decimal::try_from_i128_with_scale(mantissa, 0).ok()
}

impl std::fmt::Debug for Unit {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        write!(f, "Unit({})", self.id())
    }
}

impl Serialize for Unit {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.id())
    }
}

impl<'de> Deserialize<'de> for Unit {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let id = String::deserialize(deserializer)?;
        unit(&id).ok_or_else(|| serde::de::Error::custom(format!("there is no unit {id}")))
    }
}

//! Units: how they are written, said and converted. One table, `grammars/units.toml`.
//!
//! State: the table, read once and never changed.

use std::fmt;
use std::sync::LazyLock;

use rust_decimal::Decimal;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A unit of measurement out of the table `grammars/units.toml`.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Unit(usize);

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    id: String,
    symbol: String,
    dimension: String,
    scale: Decimal,
    one: String,
    many: String,
    says: Vec<String>,
    soft: Vec<String>,
    heard: String,
    places: Vec<u32>,
    listen: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    unit: Vec<Row>,
}

static ROWS: LazyLock<Vec<Row>> = LazyLock::new(|| {
    let table: Table = toml::from_str(include_str!("../../grammars/units.toml"))
        .expect("the embedded table of units is read by a test");
    table.unit
});

/// The unit with this id (`"mA"`, `"ohm"`, `"%"`, …), or None.
#[must_use]
pub fn unit(id: &str) -> Option<Unit> {
    ROWS.iter().position(|row| row.id == id).map(Unit)
}

/// Every unit of the table, in its order.
pub fn units() -> impl Iterator<Item = Unit> {
    (0..ROWS.len()).map(Unit)
}

impl Unit {
    /// The unit of a bare number.
    ///
    /// # Panics
    /// Never: the embedded table has it.
    #[must_use]
    pub fn none() -> Unit {
        unit("none").expect("the embedded table has the unit `none`; a test reads it")
    }

    fn row(self) -> &'static Row {
        &ROWS[self.0]
    }

    /// The name in jobs, journals and tables: `mA`, `ohm`, `%`.
    #[must_use]
    pub fn id(&self) -> &'static str {
        &self.row().id
    }

    /// What is printed: `mA`, `Ω`, `%`.
    #[must_use]
    pub fn symbol(&self) -> &'static str {
        &self.row().symbol
    }

    /// Only units of one dimension convert into each other.
    #[must_use]
    pub fn dimension(&self) -> &'static str {
        &self.row().dimension
    }

    /// One of this unit in the base unit of its dimension, exactly.
    #[must_use]
    pub fn scale(&self) -> Decimal {
        self.row().scale
    }

    /// Every way the unit may be said.
    #[must_use]
    pub fn says(&self) -> &'static [String] {
        &self.row().says
    }

    /// Ways to say it that leave a doubt and are always confirmed ("mil").
    #[must_use]
    pub fn soft_says(&self) -> &'static [String] {
        &self.row().soft
    }

    /// The one spelling that the recogniser listens for; empty where it listens for none.
    #[must_use]
    pub fn heard(&self) -> &'static str {
        &self.row().heard
    }

    /// The unit as said after a number: singular for exactly 1 and -1.
    #[must_use]
    pub fn spoken(&self, value: &Decimal) -> &'static str {
        let single = value.scale() == 0 && value.abs() == Decimal::ONE;
        if single {
            &self.row().one
        } else {
            &self.row().many
        }
    }

    /// The unit as said after a one, and after anything else; empty for a bare number.
    pub(crate) fn said_back(self) -> [&'static str; 2] {
        [&self.row().one, &self.row().many]
    }

    /// Decimals that a display of this quantity shows.
    pub(crate) fn places(self) -> &'static [u32] {
        &self.row().places
    }

    /// Decimals that the recogniser listens for.
    pub(crate) fn listened_places(self) -> usize {
        self.row().listen as usize
    }

    /// A value of this unit in another one; None where the dimensions differ or the
    /// conversion has no exact decimal. Digits said stay as they are: 1.04 k is 1040,
    /// 800 mA is 0.800 A.
    #[must_use]
    pub fn convert(&self, value: Decimal, to: &Unit) -> Option<Decimal> {
        if self == to {
            return Some(value);
        }
        if self.dimension() != to.dimension() {
            return None;
        }
        let (up, down) = (self.scale(), to.scale());
        let (factor, shrinks) = if up >= down {
            (up.checked_div(down)?, false)
        } else {
            (down.checked_div(up)?, true)
        };
        let shift = power_of_ten(factor);
        match (shift, shrinks) {
            (Some(power), false) => {
                let kept = value.scale().saturating_sub(power);
                let mut exact = value.checked_mul(factor)?;
                // The product has the value's scale; every place beyond the kept ones is 0.
                exact = exact.trunc_with_scale(kept.max(exact.normalize().scale()));
                Some(exact)
            }
            (Some(power), true) => {
                let scale = value.scale().checked_add(power)?;
                Decimal::try_from_i128_with_scale(value.mantissa(), scale).ok()
            }
            (None, false) => value.checked_mul(factor),
            (None, true) => {
                let exact = value.checked_div(factor)?;
                (exact.checked_mul(factor)? == value).then(|| exact.normalize())
            }
        }
    }
}

fn power_of_ten(factor: Decimal) -> Option<u32> {
    let digits = factor.normalize().to_string();
    let zeros = digits.strip_prefix('1')?;
    zeros
        .bytes()
        .all(|b| b == b'0')
        .then(|| u32::try_from(zeros.len()).ok())?
}

impl fmt::Debug for Unit {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.id())
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.id())
    }
}

impl Serialize for Unit {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.id())
    }
}

impl<'de> Deserialize<'de> for Unit {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let id = String::deserialize(from)?;
        unit(&id).ok_or_else(|| {
            serde::de::Error::custom(format!("no unit is called `{id}`; see grammars/units.toml"))
        })
    }
}

//! Nameplate, instruments and limits.

use schemars::JsonSchema;
use serde::Serialize;

use super::{HowLine, Time};

/// Where a plate item comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PlateFrom {
    /// The job sheet.
    Sheet,
    /// It was asked.
    Asked,
    /// It follows from another answer.
    Follows,
}

/// One item of nameplate, order or instrument data.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct PlateLine {
    /// Item id.
    pub id: String,
    /// Group.
    pub group: String,
    /// Name.
    pub title: String,
    /// Value and unit, as shown.
    pub shown: String,
    /// Value alone.
    pub value: String,
    /// Unit id, of a number.
    pub unit: Option<String>,
    /// Where it comes from.
    pub from: PlateFrom,
    /// Record of the answer.
    pub seq: Option<u64>,
    /// When it was answered.
    pub time: Option<Time>,
    /// How it came in.
    pub how: Option<HowLine>,
    /// Values that it replaced, oldest first.
    pub replaced: Vec<String>,
    /// True if it is a due month that was past when the job started.
    pub expired: bool,
}

/// An instrument with a due date.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Instrument {
    /// Its name and number, as far as given.
    pub name: String,
    /// Due month, `YYYY-MM`, or "unknown".
    pub due: String,
    /// True if that was past when the job started.
    pub expired: bool,
    /// Its specification, as far as given.
    pub specification: Vec<String>,
    /// Ids of the plate items that it is made of.
    pub items: Vec<String>,
}

/// A limit.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct LimitLine {
    /// Limit id.
    pub id: String,
    /// What it limits.
    pub about: String,
    /// Number and unit, as shown.
    pub shown: String,
    /// The number.
    pub value: String,
    /// Unit id.
    pub unit: String,
    /// Where it comes from.
    pub source: String,
    /// What the job itself says, where the job sheet replaced it.
    pub replaced: Option<String>,
    /// Titles of the findings that it bears on.
    pub bears_on: Vec<String>,
}

/// A specification from which the uncertainty of readings is worked out.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Meter {
    /// Its name.
    pub name: String,
    /// Unit id of the readings it is for.
    pub unit: String,
    /// Part of reading, %.
    pub percent: String,
    /// Counts.
    pub counts: String,
    /// One count, in that unit.
    pub resolution: String,
    /// True if an instrument was past its due date, so that its specification is not assured.
    pub doubtful: bool,
}

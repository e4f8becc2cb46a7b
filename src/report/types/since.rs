//! As found against the last as left of the same actuator, from earlier runs.

use schemars::JsonSchema;
use serde::Serialize;

/// What became of the last as left.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Since {
    /// Number of earlier jobs of the actuator that stand beside this run.
    pub earlier: usize,
    /// Each quantity as found at each point, in the order of the readings.
    pub lines: Vec<SinceLine>,
    /// When the next check is suggested, with the rule and its n; or why none is.
    pub next: Vec<String>,
}

/// One reading as found against the last as left.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SinceLine {
    /// Record of the reading as found.
    pub seq: u64,
    /// The quantity.
    pub measures: String,
    /// Point of a run, % of travel.
    pub point: Option<String>,
    /// `"up"` or `"down"`, in a run.
    pub direction: Option<&'static str>,
    /// Folder of the run that it was left in; none where nothing is compared.
    pub left_run: Option<String>,
    /// Local date of that run.
    pub left_on: Option<String>,
    /// As found minus as left, with sign.
    pub drift: Option<String>,
    /// `"% of span"`, or unit id.
    pub unit: Option<String>,
    /// Days between the two readings, unrounded.
    pub days: Option<String>,
    /// Drift a year of 365.25 days, unrounded; none where it would say nothing.
    pub per_year: Option<String>,
    /// True for the largest drift of its quantity, which the page shows.
    pub largest: bool,
    /// All of it in words, or why nothing is compared.
    pub words: String,
}

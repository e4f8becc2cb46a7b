//! As found and as left: pairs, the track, runs.

use rust_decimal::Decimal;
use schemars::JsonSchema;
use serde::Serialize;

use crate::job::Stage;

/// One quantity as found and as left.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Pair {
    /// The quantity.
    pub measures: String,
    /// Before anything was adjusted.
    pub as_found: Side,
    /// As left behind.
    pub as_left: Side,
    /// As left minus as found, with sign and unit.
    pub change: Option<String>,
}

/// One side of a [`Pair`].
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Side {
    /// The reading with its unit, as said or typed; none if there is none.
    pub shown: Option<String>,
    /// Why there is none.
    pub missing: Option<String>,
    /// Expanded uncertainty from the meter's specification, with unit.
    pub uncertainty: Option<String>,
    /// Record of the reading.
    pub seq: Option<u64>,
    /// Values that it replaced, oldest first.
    pub replaced: Vec<String>,
    /// True if it replaced one after as-found readings were frozen.
    pub corrected_after_freeze: bool,
    /// Outside its plausible range, given twice and kept.
    pub out_of_range: bool,
}

/// Where the wiper stands on the track of the potentiometer.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Track {
    /// Least margin at each end, % of track, where the job has such a limit.
    pub margin_limit: Option<String>,
    /// Before anything was adjusted.
    pub as_found: Option<Wiper>,
    /// As left behind.
    pub as_left: Option<Wiper>,
}

/// One position of the wiper with the ends of its travel. All in % of the track, from A.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Wiper {
    /// Where the wiper was read.
    pub at: Option<String>,
    /// The end of travel nearer to A.
    pub low: Option<String>,
    /// The end of travel nearer to B.
    pub high: Option<String>,
    /// True if the ends were measured, false if they were predicted from one reading.
    pub ends_measured: bool,
    /// What is left of the track at the nearer end; below zero off the track.
    pub margin: Option<String>,
    /// True if an end of travel lies off the track.
    pub off_track: bool,
    /// Findings it comes from.
    pub from: Vec<u64>,
}

/// Stroke times, limit to limit.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Stroke {
    /// Record of the finding.
    pub seq: u64,
    /// Part of the work.
    pub stage: Option<Stage>,
    /// Opening, s.
    pub open: String,
    /// Closing, s.
    pub close: String,
    /// On the nameplate, s, where known.
    pub nameplate: Option<String>,
    /// Tolerance each way, % of the nameplate.
    pub tolerance: Option<String>,
}

/// Readings over points.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Run {
    /// Step id.
    pub step: String,
    /// Step title.
    pub title: String,
    /// Part of the work.
    pub stage: Stage,
    /// The quantity, by which runs are put side by side.
    pub measures: Option<String>,
    /// The limit of the deviation.
    pub limit: Option<RunLimit>,
    /// What was read at each point.
    pub columns: Vec<RunColumn>,
    /// The rows in the order in which they were read.
    pub rows: Vec<RunRow>,
    /// Number of readings of earlier attempts, which are among the answers only.
    pub earlier_readings: usize,
    /// True if a calculation gave a verdict on it.
    pub judged: bool,
}

/// The limit of the deviation of a run.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct RunLimit {
    /// Limit id.
    pub id: String,
    /// Each way, % of span.
    pub value: String,
    /// Where it comes from.
    pub source: String,
}

/// A column of a run.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct RunColumn {
    /// Column id.
    pub id: String,
    /// Name.
    pub title: String,
}

/// A row of a run.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct RunRow {
    /// Point, % of travel.
    pub point: String,
    /// True while going up.
    pub up: bool,
    /// Command for the point, with unit.
    pub command: String,
    /// One cell for each column.
    pub cells: Vec<RunCell>,
}

/// One reading of a run.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct RunCell {
    /// Record of the reading.
    pub seq: Option<u64>,
    /// The reading with its unit; none if there is none.
    pub shown: Option<String>,
    /// Why there is none.
    pub missing: Option<String>,
    /// Deviation from the point, % of span, with sign, where the unit allows it.
    pub deviation: Option<String>,
    /// The same unrounded, for what is worked out from it.
    #[serde(skip)]
    pub deviation_unrounded: Option<Decimal>,
    /// True if the deviation is beyond the limit.
    pub beyond: bool,
    /// Values that it replaced, oldest first.
    pub replaced: Vec<String>,
    /// Outside its plausible range, given twice and kept.
    pub out_of_range: bool,
}

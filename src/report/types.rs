//! The record as plain data: what the page shows and what the JSON holds.
//!
//! All numbers are text, with the digits as said or typed, or rounded for
//! display; `unrounded` holds a calculated number whole.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::calc::finding::Grade;
use crate::job::Stage;

/// Version of the shape of [`Report`].
pub const FORMAT: u32 = 1;

/// The record of one run.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// [`FORMAT`].
    pub format: u32,
    /// What, who, when.
    pub head: Head,
    /// What a reviewer must look at, the gravest first.
    pub exceptions: Vec<Exception>,
    /// As found and as left, side by side.
    pub pairs: Vec<Pair>,
    /// Where the wiper stands on its track.
    pub track: Option<Track>,
    /// Readings over points, one table for each reading set.
    pub runs: Vec<Run>,
    /// Results of the calculations, in order, repeated ones too.
    pub findings: Vec<FindingLine>,
    /// Results against limits with the uncertainty taken into account.
    pub decisions: Vec<Decision>,
    /// Answers to safety questions.
    pub gates: Vec<Answer>,
    /// What was left out or could not be done.
    pub skipped: Vec<Skip>,
    /// Values that were replaced.
    pub corrections: Vec<Correction>,
    /// Values outside their plausible range, given twice and kept.
    pub out_of_range: Vec<Answer>,
    /// Timed holds.
    pub holds: Vec<Hold>,
    /// Remarks, stops, resumptions, restorations.
    pub events: Vec<Event>,
    /// Things lifted and not said to be restored.
    pub outstanding: Vec<String>,
    /// All answers in order, those that no longer count too.
    pub answers: Vec<Answer>,
    /// Nameplate, order and instrument data.
    pub plate: Vec<PlateLine>,
    /// Instruments with a due date.
    pub instruments: Vec<Instrument>,
    /// Limits that applied.
    pub limits: Vec<LimitLine>,
    /// Specifications from which the uncertainty of readings is worked out.
    pub meters: Vec<Meter>,
    /// Cautions of the job.
    pub cautions: Vec<String>,
    /// What this record means and does not mean.
    pub statements: Vec<String>,
}

/// What, who, when.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Head {
    /// Tag of the actuator, where it is known.
    pub tag: Option<String>,
    /// Job id.
    pub job: String,
    /// Job title.
    pub title: String,
    /// What the job is for.
    pub purpose: String,
    /// BLAKE3 hash (hex) of the job file that was run.
    pub job_hash: String,
    /// Name and version of the program that started the run.
    pub program: String,
    /// Other versions that went on with it.
    pub resumed_with: Vec<String>,
    /// Who did it.
    pub by: Option<String>,
    /// Who relayed readings.
    pub relayed_by: Option<String>,
    /// True if the sound came from a recording and not from a microphone.
    pub from_recording: bool,
    /// Time of the first record.
    pub started: Time,
    /// Time of the last record.
    pub last: Time,
    /// How the run stands.
    pub state: State,
    /// Why it ended early, or where it stands.
    pub state_reason: Option<String>,
    /// Number of records in the journal.
    pub records: usize,
    /// Hash (hex) of the journal's last line: shows changes, signs nothing.
    pub journal_hash: String,
    /// Whether the journal is whole, in words.
    pub journal: String,
    /// True if it is whole.
    pub journal_whole: bool,
    /// Folder of the sound clips, relative to the page.
    pub clips_folder: String,
}

/// How a run stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Every step was gone through, everything lifted was said to be restored.
    Complete,
    /// Closed before the last step.
    EndedEarly,
    /// Not closed.
    Open,
}

impl State {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Complete => "closed, complete",
            Self::EndedEarly => "ENDED EARLY",
            Self::Open => "STILL OPEN",
        }
    }
}

/// One moment, to the second.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Time {
    /// UTC, RFC 3339.
    pub utc: String,
    /// Local time with its offset, RFC 3339.
    pub local: String,
}

/// How grave an exception is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Weight {
    /// Something is wrong.
    Bad,
    /// Something is to be looked at.
    Watch,
}

/// Something a reviewer must look at.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Exception {
    /// How grave it is.
    pub weight: Weight,
    /// In a few words.
    pub what: String,
    /// The rest of it.
    pub detail: String,
    /// Record it comes from.
    pub seq: Option<u64>,
}

/// One quantity as found and as left.
#[derive(Clone, Debug, PartialEq, Serialize)]
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
#[derive(Clone, Debug, PartialEq, Serialize)]
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
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Track {
    /// Least margin at each end, % of track, where the job has such a limit.
    pub margin_limit: Option<String>,
    /// Before anything was adjusted.
    pub as_found: Option<Wiper>,
    /// As left behind.
    pub as_left: Option<Wiper>,
}

/// One position of the wiper with the ends of its travel. All in % of the track, from A.
#[derive(Clone, Debug, PartialEq, Serialize)]
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

/// Readings over points.
#[derive(Clone, Debug, PartialEq, Serialize)]
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
}

/// The limit of the deviation of a run.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RunLimit {
    /// Limit id.
    pub id: String,
    /// Each way, % of span.
    pub value: String,
    /// Where it comes from.
    pub source: String,
}

/// A column of a run.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RunColumn {
    /// Column id.
    pub id: String,
    /// Name.
    pub title: String,
}

/// A row of a run.
#[derive(Clone, Debug, PartialEq, Serialize)]
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
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RunCell {
    /// Record of the reading.
    pub seq: Option<u64>,
    /// The reading with its unit; none if there is none.
    pub shown: Option<String>,
    /// Why there is none.
    pub missing: Option<String>,
    /// Deviation from the point, % of span, with sign, where the unit allows it.
    pub deviation: Option<String>,
    /// True if the deviation is beyond the limit.
    pub beyond: bool,
    /// Values that it replaced, oldest first.
    pub replaced: Vec<String>,
    /// Outside its plausible range, given twice and kept.
    pub out_of_range: bool,
}

/// The result of a calculation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FindingLine {
    /// Record.
    pub seq: u64,
    /// When.
    pub time: Time,
    /// Step id.
    pub step: String,
    /// Step title.
    pub title: String,
    /// Part of the work.
    pub stage: Option<Stage>,
    /// Name of the calculation.
    pub calculation: Option<String>,
    /// The rule's source.
    pub source: Option<String>,
    /// Verdict.
    pub verdict: String,
    /// How good it is.
    pub grade: Grade,
    /// Why, with the numbers.
    pub reason: String,
    /// What the calculation advises.
    pub advice: String,
    /// What was said.
    pub said: String,
    /// The numbers.
    pub figures: Vec<FigureLine>,
    /// What it was computed from.
    pub inputs: BTreeMap<String, String>,
    /// False if the same calculation was done again later.
    pub latest: bool,
}

/// One number of a finding.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FigureLine {
    /// Its name.
    pub name: String,
    /// Rounded for display, without unit; a text where it is no number.
    pub value: String,
    /// The number whole.
    pub unrounded: Option<String>,
    /// Unit id.
    pub unit: String,
}

/// A result against its limit, with the uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Decision {
    /// Record of the finding.
    pub seq: u64,
    /// What was judged.
    pub title: String,
    /// The result, with unit.
    pub value: String,
    /// The limit each way, with unit.
    pub limit: String,
    /// Expanded uncertainty, k = 2, with unit.
    pub uncertainty: String,
    /// Test uncertainty ratio.
    pub tur: Option<String>,
    /// Class with a guard band as wide as the uncertainty.
    pub class: String,
    /// True if the uncertainty is wider than the limit.
    pub cannot_prove: bool,
}

/// Whether an answer counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Counts {
    /// It does.
    Yes,
    /// A correction replaced it.
    Corrected,
    /// It was taken back.
    TakenBack,
    /// The job led back past it: an earlier attempt.
    EarlierAttempt,
}

impl Counts {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Yes => "counts",
            Self::Corrected => "corrected later",
            Self::TakenBack => "taken back",
            Self::EarlierAttempt => "earlier attempt",
        }
    }
}

/// One answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Answer {
    /// Record.
    pub seq: u64,
    /// When.
    pub time: Time,
    /// Part of the work.
    pub stage: Stage,
    /// Step id.
    pub step: String,
    /// What was asked, in a few words.
    pub title: String,
    /// What kind of step it was.
    pub kind: AnswerKind,
    /// Point of a reading set, % of travel.
    pub point: Option<String>,
    /// `"up"` or `"down"`, in a reading set.
    pub direction: Option<&'static str>,
    /// Column of a reading set.
    pub column: Option<String>,
    /// Digits as said or typed, or the word.
    pub value: String,
    /// Unit id, of a number.
    pub unit: Option<String>,
    /// Value and unit, as shown.
    pub shown: String,
    /// Expanded uncertainty from the meter's specification, with unit.
    pub uncertainty: Option<String>,
    /// Ids of limits that this answer was judged by.
    pub limits: Vec<String>,
    /// How it came in.
    pub how: HowLine,
    /// Outside its plausible range, given twice and kept.
    pub out_of_range: bool,
    /// Whether it counts.
    pub counts: Counts,
    /// Answer that it replaced.
    pub corrects: Option<u64>,
    /// Answer that replaced it.
    pub corrected_by: Option<u64>,
    /// Why, for a correction.
    pub reason: Option<String>,
    /// 1 for the first time that this step was done.
    pub attempt: u32,
}

/// What kind of step an answer belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum AnswerKind {
    /// A reading, or what the meter showed instead.
    Reading,
    /// One of a closed list.
    Choice,
    /// A safety question.
    Gate,
    /// Something done.
    Instruction,
    /// Anything else.
    Other,
}

/// How something came in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HowLine {
    /// `"voice"` or `"keypad"`.
    pub channel: &'static str,
    /// The words as heard, or the keys as typed.
    pub heard: String,
    /// What was doubtful and was affirmed.
    pub doubt: Option<String>,
    /// Who answered.
    pub by: Option<String>,
    /// Who relayed it.
    pub relayed_by: Option<String>,
    /// File of the sound, in the clips folder.
    pub clip: Option<String>,
    /// BLAKE3 hash (hex) of that file.
    pub clip_hash: Option<String>,
}

/// Something left out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Skip {
    /// Record.
    pub seq: u64,
    /// When.
    pub time: Time,
    /// Step id.
    pub step: String,
    /// What it was, in a few words.
    pub title: String,
    /// Part of the work.
    pub stage: Option<Stage>,
    /// Why.
    pub reason: String,
    /// True if it could not be done.
    pub unable: bool,
    /// True if it was done later after all.
    pub done_later: bool,
    /// How it came in.
    pub how: HowLine,
}

/// A value that was replaced.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Correction {
    /// Record of the new value.
    pub seq: u64,
    /// Record of the old value.
    pub old_seq: u64,
    /// When.
    pub time: Time,
    /// What was asked.
    pub title: String,
    /// Old value.
    pub old: String,
    /// New value.
    pub new: String,
    /// Why.
    pub reason: String,
    /// True if it came after as-found readings were frozen.
    pub after_freeze: bool,
    /// Who answered.
    pub by: Option<String>,
}

/// A timed hold.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hold {
    /// Record.
    pub seq: u64,
    /// When it ended.
    pub time: Time,
    /// Step title.
    pub title: String,
    /// Seconds held.
    pub seconds: String,
}

/// What an [`Event`] is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum EventKind {
    /// A remark.
    Note,
    /// A stop word or the stop key.
    Stop,
    /// The job was opened again.
    Resumed,
    /// As-found readings were frozen.
    Frozen,
    /// Something lifted was said to be restored.
    Restored,
    /// An answer was taken back.
    TakenBack,
    /// The microphone was lost or came back.
    Microphone,
    /// The job was closed.
    Closed,
}

impl EventKind {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Note => "Note",
            Self::Stop => "STOP",
            Self::Resumed => "Resumed",
            Self::Frozen => "As found frozen",
            Self::Restored => "Restored",
            Self::TakenBack => "Taken back",
            Self::Microphone => "Microphone",
            Self::Closed => "Closed",
        }
    }
}

/// Something that happened beside the answers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Event {
    /// Record.
    pub seq: u64,
    /// When.
    pub time: Time,
    /// What it is.
    pub kind: EventKind,
    /// At which step.
    pub at: Option<String>,
    /// The words.
    pub text: String,
    /// How it came in, where a person gave it.
    pub how: Option<HowLine>,
}

/// Where a plate item comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
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
#[derive(Clone, Debug, PartialEq, Serialize)]
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
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Instrument {
    /// Its name and number, as far as given.
    pub name: String,
    /// Due month, `YYYY-MM`, or "unknown".
    pub due: String,
    /// True if that was past when the job started.
    pub expired: bool,
    /// Its specification, as far as given.
    pub specification: Vec<String>,
}

/// A limit.
#[derive(Clone, Debug, PartialEq, Serialize)]
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
#[derive(Clone, Debug, PartialEq, Serialize)]
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

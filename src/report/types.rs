//! The record as plain data: what the page shows and what the JSON holds.
//!
//! All numbers are text, with the digits as said or typed, or rounded for
//! display; `unrounded` holds a calculated number whole.

mod ear;
mod judged;
mod measured;
mod plate;
mod since;
mod sound;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use self::ear::{EarKind, EarLine};
pub use self::judged::{Decision, FigureLine, FindingLine};
pub use self::measured::{
    Pair, Run, RunCell, RunColumn, RunLimit, RunRow, Side, Stroke, Track, Wiper,
};
pub use self::plate::{Instrument, LimitLine, Meter, PlateFrom, PlateLine};
pub use self::since::{Since, SinceLine};
pub use self::sound::{Sound, SoundFault, Sounds};
use crate::job::Stage;

/// Version of the shape of [`Report`].
pub const FORMAT: u32 = 1;

/// The record of one run.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Report {
    /// Version of this shape, [`FORMAT`].
    pub format: u32,
    /// What, who, when.
    pub head: Head,
    /// What a reviewer must look at, the gravest first.
    pub exceptions: Vec<Exception>,
    /// Found, done, left, each in a sentence.
    pub summary: Summary,
    /// As found and as left, side by side.
    pub pairs: Vec<Pair>,
    /// Where the wiper stands on its track.
    pub track: Option<Track>,
    /// Stroke times against the nameplate, the latest of each part of the work.
    pub strokes: Vec<Stroke>,
    /// Readings over points, one table for each reading set.
    pub runs: Vec<Run>,
    /// What became of the last as left, where earlier runs of the actuator stand beside this one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<Since>,
    /// Results of the calculations, in order, repeated ones too.
    pub findings: Vec<FindingLine>,
    /// Results against limits: simple acceptance, and with the uncertainty taken into account.
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
    /// Unit ids of readings for which no uncertainty is given, because no specification, or more than one, is for them.
    pub without_uncertainty: Vec<String>,
    /// Cautions of the job.
    pub cautions: Vec<String>,
    /// What this record means and does not mean.
    pub statements: Vec<String>,
    /// Signatures beside the run, as they were found when this record was made.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub signatures: Vec<SignatureLine>,
    /// Sounds that are missing or are not those that the journal names.
    pub sound_faults: Vec<SoundFault>,
    /// The sounds themselves, for the page.
    #[serde(skip)]
    pub sounds: Sounds,
}

impl Report {
    /// The limits that an answer stands against, by their numbers on the record, from 1.
    pub(super) fn limit_numbers(&self, answer: &Answer) -> Vec<usize> {
        let mut numbers: Vec<usize> = answer
            .limits
            .iter()
            .filter_map(|id| self.limits.iter().position(|limit| limit.id == *id))
            .map(|at| at + 1)
            .collect();
        numbers.sort_unstable();
        numbers
    }
}

/// A signature made with a key.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SignatureLine {
    /// File of the statement that was signed.
    pub file: String,
    /// True if the signature is good and nothing that was signed was changed since. Whose key it is,
    /// it does not prove.
    pub good: bool,
    /// With which key, when, and what was changed since.
    pub words: String,
}

/// What a supervisor reads first after the exceptions.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Summary {
    /// As found.
    pub found: String,
    /// What was adjusted, in order.
    pub done: String,
    /// As left.
    pub left: String,
}

/// What, who, when.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
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
    /// What listened, in order: an entry for the start, and for each time that another began to.
    pub ears: Vec<EarLine>,
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
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Every step was gone through, everything lifted was said to be restored.
    Complete,
    /// Closed before the last step.
    EndedEarly,
    /// To be closed before the last step, for the reason given, and not closed yet.
    Ending,
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
            Self::Ending => "ENDED EARLY, NOT CLOSED",
            Self::Open => "STILL OPEN",
        }
    }
}

/// One moment, to the second.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Time {
    /// UTC, RFC 3339, or "unknown".
    #[schemars(regex(pattern = r"^(unknown|-?\d{4,6}-\d\d-\d\dT\d\d:\d\d:\d\dZ)$"))]
    pub utc: String,
    /// Local time with its offset, RFC 3339, or "unknown".
    #[schemars(regex(pattern = r"^(unknown|-?\d{4,6}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d)$"))]
    pub local: String,
}

/// How grave an exception is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Weight {
    /// Something is wrong.
    Bad,
    /// Something is to be looked at.
    Watch,
}

/// Something a reviewer must look at.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
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

/// Whether an answer counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
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
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
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
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
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
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
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
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
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
    /// True for a remark, which nobody has to make.
    pub optional: bool,
    /// How it came in.
    pub how: HowLine,
}

/// A value that was replaced.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
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
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
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
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum EventKind {
    /// A remark.
    Note,
    /// The readings are exactly those of the jobs before, and each was measured, as was said.
    SameReadings,
    /// The readings are exactly those of the jobs before, and not each was measured, as was said.
    NotMeasured,
    /// A stop word or the stop key.
    Stop,
    /// The job was opened again.
    Resumed,
    /// As-found readings were frozen.
    Frozen,
    /// The job was to end before its last step.
    Ending,
    /// Something lifted was said to be restored.
    Restored,
    /// An answer was taken back.
    TakenBack,
    /// The microphone was lost or came back.
    Microphone,
    /// Another person relays the readings from here on, or nobody does.
    Relayed,
    /// The job was closed.
    Closed,
}

impl EventKind {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Note => "Note",
            Self::SameReadings => "Same readings",
            Self::NotMeasured => "Not measured",
            Self::Stop => "STOP",
            Self::Resumed => "Resumed",
            Self::Frozen => "As found frozen",
            Self::Ending => "Ends early",
            Self::Restored => "Restored",
            Self::TakenBack => "Taken back",
            Self::Microphone => "Microphone",
            Self::Relayed => "Relayed by",
            Self::Closed => "Closed",
        }
    }
}

/// Something that happened beside the answers.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
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

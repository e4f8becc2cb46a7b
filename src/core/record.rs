//! What the journal holds: one [`Record`] for each thing that happened.
//!
//! A record is made by `core::step`, written by the journal, and only then
//! applied to the run (`run::Saved::apply`). Records are never changed; a
//! correction is a new record that names the old one.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::calc::finding::Finding;
use crate::job::{Job, Limit, PlateValue, Stage};
use crate::mic_check::Measured;
use crate::route::RouteMark;

/// Version of the journal's records. A journal of a later one is refused.
pub const FORMAT: u32 = 1;

/// One line of the journal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// Wall time: a label, never an order.
    pub at: Wall,
    /// What happened.
    #[serde(flatten)]
    pub body: Body,
}

/// Wall time as the edge gave it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Wall {
    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub utc_ms: i64,
    /// Local time minus UTC, in minutes.
    pub offset_min: i32,
}

/// What happened: a closed set.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Body {
    /// The first record of every journal.
    Started(Started),
    /// A plate item was answered.
    Plate {
        /// Plate item id.
        item: String,
        /// The answer.
        value: PlateValue,
        /// How it came in.
        how: How,
    },
    /// The instrument that this item belongs to was out of its due date when the job started.
    InstrumentExpired {
        /// Plate item (a month).
        item: String,
        /// The due month, `YYYY-MM`.
        due: String,
    },
    /// An answer to a step.
    Answered(Answered),
    /// A step was passed over.
    Skipped {
        /// Step id.
        step: String,
        /// Row, in a reading set.
        row: Option<Row>,
        /// Why.
        reason: String,
        /// True if it could not be done, false if it was left out.
        unable: bool,
        /// How it came in.
        how: How,
        /// Where the job goes.
        then: Cursor,
    },
    /// A calculation was done.
    Found {
        /// Step id.
        step: String,
        /// The result.
        finding: Finding,
        /// What it was computed from, as text.
        inputs: BTreeMap<String, String>,
        /// What is said: the job's own words, or the calculation's advice.
        said: String,
        /// Where the job goes once it was heard.
        then: Cursor,
    },
    /// A hold was counted down to its end.
    Held {
        /// Step id.
        step: String,
        /// Seconds held.
        seconds: Decimal,
        /// Where the job goes.
        then: Cursor,
    },
    /// Who relays the readings from here on.
    Relayed {
        /// The name or initials, as spelled or typed; None where nobody does.
        by: Option<String>,
        /// How it came in.
        how: How,
    },
    /// A remark.
    Noted {
        /// Step it was made at.
        step: Option<String>,
        /// The words, as heard or typed.
        text: String,
        /// How it came in.
        how: How,
    },
    /// These readings are exactly those of the jobs before, and it was asked whether each was measured.
    Alike {
        /// Names of the runs, this one last.
        runs: Vec<String>,
        /// The answer.
        measured: bool,
        /// How it came in.
        how: How,
    },
    /// The last answer was taken back.
    Withdrawn {
        /// Sequence number of the answer.
        seq: u64,
        /// Where the job goes.
        then: Cursor,
    },
    /// The technician went to another step without changing an answer.
    Moved {
        /// Why: "back", "next", "kept".
        why: String,
        /// Where the job goes.
        then: Cursor,
    },
    /// The first adjusting step was reached; as-found readings are frozen from here on.
    AsFoundFrozen {
        /// The adjusting step.
        step: String,
    },
    /// A stop word or the stop key.
    Stopped {
        /// Where it happened.
        step: Option<String>,
        /// How it came in.
        how: How,
    },
    /// The job was opened again.
    Resumed {
        /// Program version.
        program: String,
        /// What listens from here on. Not in journals of before this was written down.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ear: Option<EarMark>,
    },
    /// The technician ends the job before its last step; it closes once all that was lifted is restored.
    Ending {
        /// Why.
        reason: String,
    },
    /// Something that was lifted was said to be restored when the job ended.
    Restored {
        /// The thing.
        item: String,
        /// How it came in.
        how: How,
    },
    /// A remark about the microphone: lost, back.
    Microphone {
        /// What was said about it.
        state: String,
    },
    /// The microphone was checked before the job.
    MicrophoneChecked {
        /// When: milliseconds since 1970-01-01T00:00:00Z.
        checked_utc_ms: i64,
        /// What was measured.
        measured: Measured,
    },
    /// The job is closed.
    Closed {
        /// True if every step was gone through.
        complete: bool,
        /// Why, where it ended early.
        reason: Option<String>,
    },
}

impl Body {
    /// How it came in, where a person gave it.
    #[must_use]
    pub fn how(&self) -> Option<&How> {
        match self {
            Self::Plate { how, .. }
            | Self::Skipped { how, .. }
            | Self::Noted { how, .. }
            | Self::Alike { how, .. }
            | Self::Relayed { how, .. }
            | Self::Stopped { how, .. }
            | Self::Restored { how, .. } => Some(how),
            Self::Answered(answer) => Some(&answer.how),
            _ => None,
        }
    }

    /// The sound that belongs to it.
    #[must_use]
    pub fn clip(&self) -> Option<&Clip> {
        self.how().and_then(|how| how.clip.as_ref())
    }
}

/// How a run was closed, if it was: whether every step was gone through, and why not. Behind the closing
/// stands at most what was asked about the readings afterwards.
pub fn closing<'b>(
    mut bodies: impl DoubleEndedIterator<Item = &'b Body>,
) -> Option<(bool, Option<&'b str>)> {
    match bodies.rfind(|body| !matches!(body, Body::Alike { .. })) {
        Some(Body::Closed { complete, reason }) => Some((*complete, reason.as_deref())),
        _ => None,
    }
}

/// The head of a journal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Started {
    /// [`FORMAT`].
    pub format: u32,
    /// Name and version of the program.
    pub program: String,
    /// Job id.
    pub job: String,
    /// Job title.
    pub title: String,
    /// BLAKE3 hash (hex) of the job file.
    pub job_hash: String,
    /// Limits that apply to this run: those of the job, with what the job sheet replaced.
    pub limits: BTreeMap<String, Limit>,
    /// Plate items that the job sheet gave.
    pub plate: BTreeMap<String, PlateValue>,
    /// Who does the job, as given on the command line or the sheet.
    pub by: Option<String>,
    /// Who relays readings at first, where a partner does; [`Body::Relayed`] changes it.
    pub relayed_by: Option<String>,
    /// True if the sound comes from a recording and not from a microphone.
    pub from_recording: bool,
    /// The route that it came from. Not in journals of before there were routes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub route: Option<RouteMark>,
    /// What listens, until [`Body::Resumed`] says otherwise. Not in journals of before this was written down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ear: Option<EarMark>,
}

impl Started {
    /// The head of a run of this job, with the job's own limits and nobody named.
    #[must_use]
    pub fn of(job: &Job, program: &str, plate: BTreeMap<String, PlateValue>) -> Self {
        Self {
            format: FORMAT,
            program: program.to_owned(),
            job: job.id.clone(),
            title: job.title.clone(),
            job_hash: job.hash.clone(),
            limits: job.limits.clone(),
            plate,
            by: None,
            relayed_by: None,
            from_recording: false,
            route: None,
            ear: None,
        }
    }
}

/// What a session listens with. A hash of weights is BLAKE3 (hex) over the model's `am/final.mdl`, of
/// two models one after the other.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "which", rename_all = "kebab-case")]
pub enum EarMark {
    /// Nothing: the keypad alone.
    Nothing,
    /// The ears inside the program, the same for everybody.
    Common {
        /// Hash of their weights.
        weights: String,
    },
    /// Those ears, fitted to how one person speaks.
    Fitted {
        /// Whose voice.
        to: String,
        /// When they were fitted: milliseconds since 1970-01-01T00:00:00Z.
        made_utc_ms: i64,
        /// Hash of their weights.
        weights: String,
    },
    /// A voice model that was given on the command line.
    Given {
        /// Name of its folder, without the way to it.
        folder: String,
        /// Hash of its weights; none where they could not be read.
        weights: Option<String>,
    },
}

/// What tells people apart by their names: names that differ in capitals or spaces only are one person.
#[must_use]
pub fn same_name(name: &str) -> String {
    let words: Vec<String> = name.split_whitespace().map(str::to_lowercase).collect();
    words.join(" ")
}

/// An answer to a step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answered {
    /// Step id.
    pub step: String,
    /// Row, in a reading set.
    pub row: Option<Row>,
    /// Part of the work when it was given.
    pub stage: Stage,
    /// The answer.
    pub value: Value,
    /// Outside the plausible range; said or typed twice and affirmed.
    pub out_of_range: bool,
    /// Answer that this one replaces.
    pub corrects: Option<u64>,
    /// Why, for a correction.
    pub reason: Option<String>,
    /// True for a correction that left the run where it was: it puts the record right, and is no
    /// new reading of what has been adjusted since. Not in journals of before this was told apart.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub stays: bool,
    /// 1 for the first time this step was done; counts up when the job leads back to it.
    pub attempt: u32,
    /// How it came in.
    pub how: How,
    /// Where the job goes.
    pub then: Cursor,
}

/// Row of a reading set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Row {
    /// Index in the set's order of rows, from 0.
    pub index: usize,
    /// Point, % of travel.
    pub point: Decimal,
    /// True while going up.
    pub up: bool,
    /// Column id.
    pub column: String,
}

/// The answer to a step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Value {
    /// A reading: the digits as said or typed, and the unit id.
    Number {
        /// Digits as given; trailing zeros kept.
        value: Decimal,
        /// Unit id.
        unit: String,
    },
    /// What the meter showed instead of a number (`spoken::Status` code).
    Status(String),
    /// Id of an option.
    Choice(String),
    /// Spelled text.
    Tag(String),
    /// A gate's yes.
    Yes,
    /// A gate's no.
    No,
    /// An instruction was done.
    Done,
}

/// How an answer came in.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct How {
    /// Spoken or typed.
    pub channel: Channel,
    /// The words as the ear gave them, or the keys as typed.
    pub heard: String,
    /// What was doubtful about it and was affirmed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub doubt: Option<String>,
    /// The sound of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clip: Option<Clip>,
    /// Who relayed it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub relayed_by: Option<String>,
}

/// Spoken or typed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Channel {
    /// Typed on a keypad or keyboard.
    #[default]
    Keypad,
    /// Heard, read back, and affirmed.
    Voice,
}

/// The sound of one spoken answer, kept beside the journal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Clip {
    /// File name inside the run's `clips` folder.
    pub file: String,
    /// BLAKE3 hash (hex) of that file.
    pub hash: String,
}

/// Where a run stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cursor {
    /// At a plate item (its id).
    Plate(String),
    /// At a step.
    Step {
        /// Step id.
        id: String,
        /// Row and column of a reading set, counted through in order; 0 otherwise.
        #[serde(default)]
        cell: usize,
    },
    /// Past the last step: everything lifted must be said to be restored.
    Ending,
    /// Closed.
    Closed,
}

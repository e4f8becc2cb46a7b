//! Two versions of a run beside each other: whether one is the other, goes on from it, or
//! contradicts it. Pure, and no state.
//!
//! Every record carries the hash of the record before it, so the hash of one record stands for
//! everything up to it: two journals that have it in common are the same up to there.

use crate::core::record::{Answered, Body, Record, Value};
use crate::job::PlateValue;
use crate::journal::ChainHash;

/// What makes two folders versions of one run.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct RunId {
    /// Job id.
    pub job: String,
    /// Who does it, as far as the first record says.
    pub by: Option<String>,
    /// Time of the first record, milliseconds since 1970-01-01T00:00:00Z.
    pub start_ms: i64,
}

/// How two versions of a run stand to each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relation {
    /// The same records.
    Same,
    /// The one here goes on where the one there ends.
    HereLonger,
    /// The one there goes on where the one here ends.
    ThereLonger,
    /// They are the same for so many records, and then differ.
    Differ {
        /// Number of records in common.
        common: usize,
    },
}

/// How two chains stand to each other; each is the hashes of its records, in order, never empty.
#[must_use]
pub fn relation(here: &[ChainHash], there: &[ChainHash]) -> Relation {
    let common = here
        .iter()
        .zip(there)
        .take_while(|(here, there)| here == there)
        .count();
    match (common == here.len(), common == there.len()) {
        (true, true) => Relation::Same,
        (false, true) => Relation::HereLonger,
        (true, false) => Relation::ThereLonger,
        (false, false) => Relation::Differ { common },
    }
}

impl RunId {
    /// What the first record of a journal says; none if it is not the start of a run.
    #[must_use]
    pub fn of(first: &Record) -> Option<Self> {
        let Body::Started(started) = &first.body else {
            return None;
        };
        let by = started
            .by
            .clone()
            .or_else(|| started.plate.get("by").map(PlateValue::words));
        Some(Self {
            job: started.job.clone(),
            by,
            start_ms: first.at.utc_ms,
        })
    }
}

/// A record in a few words, for the one who has to compare two.
#[must_use]
pub fn words(record: &Record) -> String {
    let at = record.at.rfc3339();
    let clock = at.get(..16).unwrap_or_default().replace('T', " ");
    format!("{} at {clock}", body_words(&record.body))
}

fn body_words(body: &Body) -> String {
    match body {
        Body::Started(started) => format!("start of {}", started.job),
        Body::Plate { item, value, .. } => format!("{item}: {}", value.words()),
        Body::Answered(answer) => answered(answer),
        Body::Skipped { step, reason, .. } => format!("{step} left out: {reason}"),
        Body::Found { step, finding, .. } => {
            format!("{step}: {}", finding.verdict.replace('-', " "))
        }
        Body::Held { step, seconds, .. } => format!("{step} held {seconds} s"),
        Body::Noted { text, .. } => format!("note \u{201C}{text}\u{201D}"),
        Body::Alike { runs, measured, .. } => format!(
            "readings exactly as in {}; each measured: {}",
            runs.join(", "),
            if *measured { "yes" } else { "no" }
        ),
        Body::Relayed { by: Some(by), .. } => format!("relayed by {by} from here on"),
        Body::Relayed { by: None, .. } => "relayed by nobody from here on".to_owned(),
        Body::Withdrawn { seq, .. } => format!("record {seq} taken back"),
        Body::Moved { why, .. } => format!("moved: {why}"),
        Body::AsFoundFrozen { step } => format!("as found frozen at {step}"),
        Body::Stopped { .. } => "stop".to_owned(),
        Body::Resumed { .. } => "opened again".to_owned(),
        Body::Ending { reason } => format!("ends early: {reason}"),
        Body::Restored { item, .. } => format!("restored: {item}"),
        Body::Closed { complete, .. } => {
            format!(
                "closed, {}",
                if *complete { "complete" } else { "ended early" }
            )
        }
        Body::InstrumentExpired { item, due } => format!("{item} was due {due}"),
        Body::Microphone { .. } | Body::MicrophoneChecked { .. } => "microphone".to_owned(),
    }
}

fn answered(answer: &Answered) -> String {
    let row = answer.row.as_ref().map_or_else(String::new, |row| {
        format!(
            " at {} % {}",
            row.point.normalize(),
            if row.up { "up" } else { "down" }
        )
    });
    let value = match &answer.value {
        Value::Number { value, unit } => crate::core::question::with_unit(&value.to_string(), unit),
        Value::Status(word) | Value::Choice(word) | Value::Tag(word) => word.clone(),
        Value::Yes => "yes".to_owned(),
        Value::No => "no".to_owned(),
        Value::Done => "done".to_owned(),
    };
    let corrects = answer
        .corrects
        .map_or_else(String::new, |old| format!(", correcting record {old}"));
    format!("{}{row}: {value}{corrects}", answer.step)
}

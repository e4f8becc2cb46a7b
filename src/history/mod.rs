//! Past jobs: what one journal tells about its actuator, and what several tell together.
//!
//! Pure, and no state. A [`PastJob`] is made from one journal and nothing else; it is what the
//! index keeps, and it can be thrown away and made again. [`tag`] puts the past jobs of one
//! actuator beside each other. Nothing here ever becomes a reading of a new job.

pub mod tag;
mod told;
pub mod words;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::calc::finding::Grade;
use crate::core::record::{Body, Wall};
use crate::job::Stage;
use crate::report::{self, Report, Source, State};
use crate::route::RunFacts;

/// Version of the shape of [`PastJob`]; an index of another one is built again.
pub const FORMAT: u32 = 1;

/// What one journal tells. All of it stands in the journal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PastJob {
    /// Name of the folder of the run.
    pub run: String,
    /// Hash (hex) of the journal's last line.
    pub chain_hash: String,
    /// Number of records.
    pub records: usize,
    /// Tag of the actuator, as spelled.
    pub tag: Option<String>,
    /// Job id.
    pub job: String,
    /// Job title.
    pub title: String,
    /// Who did it.
    pub by: Option<String>,
    /// Time of the first record.
    pub start: Wall,
    /// Time of the last record.
    pub last: Wall,
    /// How it stands.
    pub state: State,
    /// Why it ended early, or where it stands.
    pub state_reason: Option<String>,
    /// When an adjusting step was reached.
    pub adjusted: Option<Wall>,
    /// Readings as found and as left that count, in order.
    pub readings: Vec<PastReading>,
    /// The latest result of each calculation.
    pub verdicts: Vec<PastVerdict>,
    /// As-found runs with a deviation beyond the limit that no finding judged, by title.
    pub beyond_unjudged: Vec<String>,
    /// Instruments, with their due dates.
    pub instruments: Vec<PastInstrument>,
    /// What a route needs to know of it; without nameplate data and readings, which stand above or
    /// in the journal alone.
    pub facts: RunFacts,
    /// Parts said to be repaired or replaced.
    pub parts: Vec<PastPart>,
    /// Number of corrections.
    pub corrections: usize,
    /// What was left out, could not be done, or was answered no, and was not done later.
    pub left_out: Vec<LeftOut>,
    /// Everything that can be searched for: notes, reasons, findings.
    pub texts: Vec<PastText>,
}

/// A reading as found or as left.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PastReading {
    /// As found or as left.
    pub stage: Stage,
    /// The quantity.
    pub what: String,
    /// Point of a run, % of travel.
    pub point: Option<Decimal>,
    /// True while going up, in a run.
    pub up: Option<bool>,
    /// Column of a run.
    pub column: Option<String>,
    /// The reading; none where the meter showed no number.
    pub number: Option<Decimal>,
    /// Unit id.
    pub unit: Option<String>,
    /// As said or typed, with its unit.
    pub shown: String,
    /// Deviation from the point, % of span, unrounded.
    pub deviation: Option<Decimal>,
    /// Limit of the deviation, each way, % of span.
    pub limit: Option<Decimal>,
    /// Where the limit comes from.
    pub limit_from: Option<String>,
    /// When.
    pub at: Wall,
    /// Record.
    pub seq: u64,
}

impl PastReading {
    /// True if the other is the same quantity at the same point, approached from the same side.
    #[must_use]
    pub fn is_same_quantity(&self, other: &Self) -> bool {
        self.what == other.what
            && self.point == other.point
            && self.up == other.up
            && self.column == other.column
    }

    /// Where in its quantity it was read: `"50 % up"`; empty for a single reading.
    #[must_use]
    pub fn place(&self) -> String {
        match (self.point, self.up) {
            (Some(point), Some(up)) => {
                let direction = if up { "up" } else { "down" };
                format!("{} % {direction}", point.normalize())
            }
            _ => String::new(),
        }
    }
}

/// The latest result of a calculation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PastVerdict {
    /// Step title.
    pub title: String,
    /// Part of the work.
    pub stage: Option<Stage>,
    /// Verdict.
    pub verdict: String,
    /// How good it is.
    pub grade: Grade,
    /// Why, with the numbers.
    pub reason: String,
    /// True if it stands on a value that was replaced afterwards.
    pub outdated: bool,
    /// True if the figures were beyond a limit.
    pub beyond_limit: bool,
    /// Record.
    pub seq: u64,
}

/// An instrument.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PastInstrument {
    /// Number, as spelled; none if it was not given.
    pub id: Option<String>,
    /// What it is.
    pub name: String,
    /// Due month, `YYYY-MM`, or "unknown".
    pub due: String,
    /// True if that was past when the job started.
    pub expired: bool,
}

/// A part said to be repaired or replaced.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PastPart {
    /// The part.
    pub part: String,
    /// What was said to be done, the words of the job file.
    pub done: String,
    /// Record.
    pub seq: u64,
}

/// Something left out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftOut {
    /// What it was.
    pub title: String,
    /// `"skipped"`, `"could not be done"`, or `"answered no"`.
    pub how: String,
    /// Why.
    pub reason: String,
    /// Record.
    pub seq: u64,
}

/// A text that can be searched for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PastText {
    /// `"note"`, `"reason"`, or `"finding"`.
    pub kind: String,
    /// Where in the job it stands.
    pub at: String,
    /// The text.
    pub text: String,
    /// Record.
    pub seq: u64,
}

impl PastJob {
    /// What the records of this run tell.
    #[must_use]
    pub fn of(run: &str, source: &Source) -> Self {
        Self::from_report(run, source, &report::build(source))
    }

    /// The same, where the record of these records is made already.
    #[must_use]
    pub fn from_report(run: &str, source: &Source, report: &Report) -> Self {
        let unknown = Wall {
            utc_ms: 0,
            offset_min: 0,
        };
        Self {
            run: run.to_owned(),
            chain_hash: source.chain_hash.to_owned(),
            records: source.records.len(),
            tag: report.head.tag.clone(),
            job: report.head.job.clone(),
            title: report.head.title.clone(),
            by: report.head.by.clone(),
            start: source
                .records
                .first()
                .map_or(unknown, |(_, record)| record.at),
            last: source
                .records
                .last()
                .map_or(unknown, |(_, record)| record.at),
            state: report.head.state,
            state_reason: report.head.state_reason.clone(),
            adjusted: source
                .records
                .iter()
                .find(|(_, record)| matches!(record.body, Body::AsFoundFrozen { .. }))
                .map(|(_, record)| record.at),
            readings: told::readings(source, report),
            verdicts: told::verdicts(report),
            beyond_unjudged: told::beyond_unjudged(report),
            instruments: told::instruments(report),
            facts: told::facts(run, source),
            parts: told::parts(source, report),
            corrections: report.corrections.len(),
            left_out: told::left_out(report),
            texts: told::texts(report),
        }
    }

    /// Local date of the start, `YYYY-MM-DD`.
    #[must_use]
    pub fn date(&self) -> String {
        date(self.start)
    }

    /// True if both are versions of one run: same job, same author, same start.
    #[must_use]
    pub fn is_same_run(&self, other: &Self) -> bool {
        self.job == other.job && self.by == other.by && self.start.utc_ms == other.start.utc_ms
    }

    /// How it stands, in words.
    #[must_use]
    pub fn stands(&self) -> String {
        let words = self.state.words().to_lowercase();
        match &self.state_reason {
            Some(reason) => format!("{words}: {reason}"),
            None => words,
        }
    }

    /// Its readings of a part of the work.
    pub fn of_stage(&self, stage: Stage) -> impl Iterator<Item = &PastReading> {
        self.readings
            .iter()
            .filter(move |reading| reading.stage == stage)
    }

    /// Whether a limit was not kept as found; none where nothing was judged as found.
    ///
    /// It was not kept if a finding of as found is a fault or a figure of one is beyond its limit, or
    /// if a deviation that no finding judged is.
    #[must_use]
    pub fn found_out(&self) -> Option<bool> {
        let judged: Vec<&PastVerdict> = self
            .verdicts
            .iter()
            .filter(|verdict| {
                verdict.stage == Some(Stage::AsFound)
                    && verdict.grade != Grade::CannotTell
                    && !verdict.outdated
            })
            .collect();
        let out = !self.beyond_unjudged.is_empty()
            || judged
                .iter()
                .any(|verdict| verdict.grade == Grade::Bad || verdict.beyond_limit);
        (out || !judged.is_empty()).then_some(out)
    }
}

/// A tag as it is compared: the case of a letter makes no other actuator; everything else does.
#[must_use]
pub fn tag_key(tag: &str) -> String {
    tag.trim().to_uppercase()
}

/// Local date, `YYYY-MM-DD`.
#[must_use]
pub fn date(at: Wall) -> String {
    at.day()
}

//! The saved part of a run: the fold of [`Saved::apply`] over its records.
//!
//! Only `apply` changes a [`Saved`]. Live runs, resumed runs and replays all
//! go through it, so what is not in the journal did not happen.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use super::record::{Answered, Body, Cursor, Record, Row, Started, Value};
use crate::calc::finding::Finding;
use crate::job::{
    Condition, ConditionOf, Job, PlateKind, PlateValue, ReadingSet, Stage, Step, StepKind,
};

/// Everything about a run that is in its journal.
#[derive(Clone, Debug, PartialEq)]
pub struct Saved {
    /// Head of the journal.
    pub started: Started,
    /// Number of records applied; the next one has this sequence number.
    pub records: u64,
    /// Plate items that are known, from the sheet or by answer.
    pub plate: BTreeMap<String, PlateValue>,
    /// Every answer in order, with its sequence number.
    pub answers: Vec<Kept>,
    /// Latest finding of each finding step.
    pub findings: BTreeMap<String, Finding>,
    /// Sequence number of the record of each of them.
    pub found_at: BTreeMap<String, u64>,
    /// Steps that were skipped, with the reason.
    pub skipped: BTreeMap<String, String>,
    /// Things lifted and not yet said to be restored.
    pub outstanding: BTreeSet<String>,
    /// Instruments past their due month when the job started, by plate item.
    pub expired: BTreeMap<String, String>,
    /// Who relays the readings now, if somebody does.
    pub relayed_by: Option<String>,
    /// Why the job ends before its last step, if it does.
    pub ending: Option<String>,
    /// As-found readings are frozen.
    pub frozen: bool,
    /// Sequence number of the record by which an adjusting step was done last.
    pub adjusted_at: Option<u64>,
    /// Where the run stands.
    pub cursor: Cursor,
    /// Where it has been, newest last, for going back.
    pub trail: Vec<Cursor>,
}

/// An answer that is in the journal.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// Sequence number of its record.
    pub seq: u64,
    /// The answer.
    pub answer: Answered,
    /// Taken back, or replaced by a later correction.
    pub withdrawn: bool,
    /// The record that led the job back past it: since then it counts as an earlier attempt.
    pub stale: Option<u64>,
}

impl Saved {
    /// A run of this job that holds just its first record.
    #[must_use]
    pub fn new(job: &Job, started: Started) -> Self {
        let plate = started.plate.clone();
        let mut saved = Self {
            relayed_by: started.relayed_by.clone(),
            started,
            records: 1,
            plate,
            answers: Vec::new(),
            findings: BTreeMap::new(),
            found_at: BTreeMap::new(),
            skipped: BTreeMap::new(),
            outstanding: BTreeSet::new(),
            expired: BTreeMap::new(),
            ending: None,
            frozen: false,
            adjusted_at: None,
            cursor: Cursor::Ending,
            trail: Vec::new(),
        };
        saved.cursor = saved.plate_after(job, None);
        saved
    }

    /// Takes in one record. The only way a `Saved` changes.
    pub fn apply(&mut self, job: &Job, record: &Record) {
        let seq = self.records;
        self.records += 1;
        match &record.body {
            Body::Plate { item, value, .. } => {
                self.plate.insert(item.clone(), value.clone());
                self.settle_others(job, item, value);
                let next = self.plate_after(job, Some(item));
                self.go(job, seq, next);
            }
            Body::Answered(answer) => self.take(job, seq, answer),
            Body::Skipped {
                step,
                row,
                reason,
                then,
                ..
            } => {
                if row.is_none() {
                    self.skipped.insert(step.clone(), reason.clone());
                }
                self.go(job, seq, then.clone());
            }
            Body::Found {
                step,
                finding,
                then,
                ..
            } => {
                self.findings.insert(step.clone(), finding.clone());
                self.found_at.insert(step.clone(), seq);
                self.go(job, seq, then.clone());
            }
            Body::Held { step, then, .. } => {
                self.skipped.remove(step);
                self.note_adjusted(job, seq, step);
                self.go(job, seq, then.clone());
            }
            Body::Withdrawn { seq: old, then } => {
                let mut lifted_by = None;
                if let Some(kept) = self.answers.iter_mut().find(|kept| kept.seq == *old) {
                    kept.withdrawn = true;
                    lifted_by = Some(kept.answer.step.clone());
                }
                // What that step lifted stays on the list: better restored twice than forgotten.
                if let Some(step) = lifted_by
                    .and_then(|id| job.index_of(&id))
                    .map(|at| &job.steps[at])
                {
                    self.outstanding.extend(step.restores.iter().cloned());
                }
                self.trail.pop();
                self.cursor = then.clone();
            }
            Body::Moved { why, then } => {
                if why == "back" {
                    self.trail.pop();
                    self.cursor = then.clone();
                } else {
                    self.go(job, seq, then.clone());
                }
            }
            Body::AsFoundFrozen { .. } => self.frozen = true,
            Body::Relayed { by, .. } => self.relayed_by.clone_from(by),
            Body::Restored { item, .. } => {
                self.outstanding.remove(item);
            }
            Body::Ending { reason } => {
                self.ending = Some(reason.clone());
                self.go(job, seq, Cursor::Ending);
            }
            Body::Closed { .. } => self.cursor = Cursor::Closed,
            Body::InstrumentExpired { item, due } => {
                self.expired.insert(item.clone(), due.clone());
            }
            Body::Started(_)
            | Body::Noted { .. }
            | Body::Alike { .. }
            | Body::Stopped { .. }
            | Body::Resumed { .. }
            | Body::Microphone { .. }
            | Body::MicrophoneChecked { .. } => {}
        }
    }

    fn take(&mut self, job: &Job, seq: u64, answer: &Answered) {
        let mut stale = None;
        for kept in &mut self.answers {
            if answer.corrects == Some(kept.seq) {
                kept.withdrawn = true;
                stale = kept.stale.filter(|_| answer.stays);
            }
        }
        if answer.corrects.is_none() {
            self.note_adjusted(job, seq, &answer.step);
        }
        self.skipped.remove(&answer.step);
        if (answer.value == Value::Done || answer.value == Value::Yes)
            && let Some(at) = job.index_of(&answer.step)
        {
            self.outstanding.extend(job.steps[at].lifts.iter().cloned());
            for item in &job.steps[at].restores {
                self.outstanding.remove(item);
            }
        }
        self.answers.push(Kept {
            seq,
            answer: answer.clone(),
            withdrawn: false,
            // What was put right in the record alone belongs to the attempt that it was read in.
            stale,
        });
        self.go(job, seq, answer.then.clone());
    }

    fn note_adjusted(&mut self, job: &Job, seq: u64, step: &str) {
        if job.index_of(step).is_some_and(|at| job.steps[at].adjusts) {
            self.adjusted_at = Some(seq);
        }
    }

    /// Moves on; a move to an earlier step makes what lies between an earlier attempt.
    fn go(&mut self, job: &Job, seq: u64, then: Cursor) {
        if let (Cursor::Step { id: from, .. }, Cursor::Step { id: to, cell: 0 }) =
            (&self.cursor, &then)
            && let (Some(from), Some(to)) = (job.index_of(from), job.index_of(to))
            && to <= from
            && self.cursor != then
        {
            for kept in &mut self.answers {
                if job
                    .index_of(&kept.answer.step)
                    .is_some_and(|at| (to..=from).contains(&at))
                {
                    kept.stale.get_or_insert(seq);
                }
            }
            for step in &job.steps[to..=from] {
                self.skipped.remove(&step.id);
            }
        }
        if self.cursor != then {
            self.trail.push(self.cursor.clone());
        }
        self.cursor = then;
    }

    fn settle_others(&mut self, job: &Job, item: &str, value: &PlateValue) {
        if let (Some(PlateKind::Choice(options)), PlateValue::Text(chosen)) =
            (job.plate_item(item).map(|item| &item.kind), value)
            && let Some(option) = options.iter().find(|option| option.id == *chosen)
        {
            for (other, value) in &option.sets {
                self.plate.insert(other.clone(), value.clone());
            }
        }
    }

    /// The latest answer to a step that counts.
    #[must_use]
    pub fn answer(&self, step: &str) -> Option<&Kept> {
        self.answers
            .iter()
            .rev()
            .find(|kept| kept.answer.step == step && !kept.withdrawn && kept.answer.row.is_none())
    }

    /// The answers to a reading set that count, in row order.
    #[must_use]
    pub fn rows(&self, step: &str) -> Vec<&Kept> {
        self.rows_of(step, None)
    }

    /// The same of the attempt that ended when record `past` led the job back past it; None is the attempt that counts.
    #[must_use]
    pub fn rows_of(&self, step: &str, past: Option<u64>) -> Vec<&Kept> {
        let mut rows: Vec<&Kept> = self
            .answers
            .iter()
            .filter(|kept| {
                kept.answer.step == step
                    && !kept.withdrawn
                    && kept.stale == past
                    && kept.answer.row.is_some()
            })
            .collect();
        rows.sort_by_key(|kept| kept.answer.row.as_ref().map(|row| row.index));
        rows
    }

    /// The answer at exactly this cell of a reading set.
    #[must_use]
    pub fn cell(&self, step: &str, row: &Row) -> Option<&Kept> {
        self.answers.iter().rev().find(|kept| {
            kept.answer.step == step
                && kept.answer.row.as_ref() == Some(row)
                && !kept.withdrawn
                && kept.stale.is_none()
        })
    }

    /// How often this step has been answered before, not counting corrections.
    #[must_use]
    pub fn attempts(&self, step: &str) -> u32 {
        let mut seen = 0;
        for kept in &self.answers {
            if kept.answer.step == step
                && kept.answer.row.is_none()
                && kept.answer.corrects.is_none()
            {
                seen += 1;
            }
        }
        seen
    }

    /// A plate number, if it is known.
    #[must_use]
    pub fn plate_number(&self, item: &str) -> Option<Decimal> {
        match self.plate.get(item) {
            Some(PlateValue::Number(number)) => Some(*number),
            _ => None,
        }
    }

    /// A plate word, if it is known.
    #[must_use]
    pub fn plate_word(&self, item: &str) -> Option<&str> {
        match self.plate.get(item) {
            Some(PlateValue::Text(word)) => Some(word),
            _ => None,
        }
    }

    /// Where the run goes from this step if nothing says otherwise.
    #[must_use]
    pub fn step_after(&self, job: &Job, step: &Step, next: Option<&str>) -> Cursor {
        let wanted = next.or(step.next.as_deref());
        let from = match wanted {
            Some("end") => return Cursor::Ending,
            Some(id) => job.index_of(id),
            None => job.index_of(&step.id).map(|at| at + 1),
        };
        self.first_step(job, from.unwrap_or(job.steps.len()))
    }

    /// The first step at or after `from` whose conditions hold.
    #[must_use]
    pub fn first_step(&self, job: &Job, from: usize) -> Cursor {
        job.steps
            .iter()
            .skip(from)
            .find(|step| self.all_hold(&step.when))
            .map_or(Cursor::Ending, |step| Cursor::Step {
                id: step.id.clone(),
                cell: 0,
            })
    }

    /// The first plate item after `item` that is still to be asked; else the first step.
    fn plate_after(&self, job: &Job, item: Option<&str>) -> Cursor {
        let from = item
            .and_then(|id| job.plate.iter().position(|other| other.id == id))
            .map_or(0, |at| at + 1);
        job.plate
            .iter()
            .skip(from)
            .find(|item| !self.plate.contains_key(&item.id) && self.all_hold(&item.when))
            .map_or_else(
                || self.first_step(job, 0),
                |item| Cursor::Plate(item.id.clone()),
            )
    }

    /// True if all conditions hold now.
    #[must_use]
    pub fn all_hold(&self, conditions: &[Condition]) -> bool {
        conditions.iter().all(|condition| {
            let word = match &condition.of {
                ConditionOf::Step(step) => self.word_of(step),
                ConditionOf::Plate(item) => match self.plate.get(item) {
                    Some(PlateValue::Text(word)) => Some(word.clone()),
                    Some(PlateValue::Number(number)) => Some(number.to_string()),
                    Some(PlateValue::Unknown) => Some("unknown".to_owned()),
                    None => None,
                },
            };
            let found = word.is_some_and(|word| condition.is.contains(&word));
            found != condition.negated
        })
    }

    /// A step's outcome as one word: verdict, choice, yes, no, done, skipped, a status code, or "number".
    fn word_of(&self, step: &str) -> Option<String> {
        if let Some(finding) = self.findings.get(step) {
            return Some(finding.verdict.to_string());
        }
        if self.skipped.contains_key(step) {
            return Some("skipped".to_owned());
        }
        self.answer(step).map(|kept| match &kept.answer.value {
            Value::Number { .. } => "number".to_owned(),
            Value::Status(code) => code.clone(),
            Value::Choice(id) => id.clone(),
            Value::Tag(_) => "tag".to_owned(),
            Value::Yes => "yes".to_owned(),
            Value::No => "no".to_owned(),
            Value::Done => "done".to_owned(),
        })
    }

    /// The last answer that holds a value or a choice, for a correction.
    #[must_use]
    pub fn last_value(&self) -> Option<&Kept> {
        self.answers
            .iter()
            .rev()
            .find(|kept| !kept.withdrawn && !matches!(kept.answer.value, Value::Done))
    }

    /// True if an as-found answer may no longer be replaced.
    #[must_use]
    pub fn is_frozen(&self, answer: &Answered) -> bool {
        self.frozen && matches!(answer.stage, Stage::AsFound | Stage::Safety)
    }

    /// The cell that a cursor stands on, in a reading set.
    #[must_use]
    pub fn row_at(set: &ReadingSet, cell: usize) -> Option<Row> {
        let columns = set.columns.len();
        let index = cell / columns;
        let column = &set.columns[cell % columns];
        let count = set.points.len();
        let (point, up) = if index < count {
            (set.points[index], true)
        } else if set.both_ways && index < 2 * count {
            (set.points[2 * count - 1 - index], false)
        } else {
            return None;
        };
        Some(Row {
            index,
            point,
            up,
            column: column.id.clone(),
        })
    }

    /// The cursor at which this answer was given.
    #[must_use]
    pub fn cursor_of(job: &Job, answer: &Answered) -> Cursor {
        let kind = job.index_of(&answer.step).map(|at| &job.steps[at].kind);
        let cell = match (&answer.row, kind) {
            (Some(row), Some(StepKind::ReadingSet(set))) => {
                let column = set
                    .columns
                    .iter()
                    .position(|column| column.id == row.column);
                row.index * set.columns.len() + column.unwrap_or(0)
            }
            _ => 0,
        };
        Cursor::Step {
            id: answer.step.clone(),
            cell,
        }
    }

    /// The step at the cursor.
    #[must_use]
    pub fn step<'job>(&self, job: &'job Job) -> Option<(&'job Step, usize)> {
        match &self.cursor {
            Cursor::Step { id, cell } => job.index_of(id).map(|at| (&job.steps[at], *cell)),
            _ => None,
        }
    }

    /// Where the run goes after this cell of a reading set, or after this step.
    #[must_use]
    pub fn after_cell(&self, job: &Job, step: &Step, cell: usize) -> Cursor {
        if let StepKind::ReadingSet(set) = &step.kind
            && Self::row_at(set, cell + 1).is_some()
        {
            return Cursor::Step {
                id: step.id.clone(),
                cell: cell + 1,
            };
        }
        self.step_after(job, step, None)
    }
}

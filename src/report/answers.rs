//! Answers, what replaced them, and what was left out.

use std::collections::BTreeMap;

use super::build::{Folded, direction};
use super::types::{Answer, AnswerKind, Correction, Counts, Skip};
use super::{time, uncertainty};
use crate::core::finding::corrections_since;
use crate::core::record::{Answered, Body, Row, Value, Wall};
use crate::core::run::Kept;
use crate::job::{self, Job, Stage, StepKind};

impl Folded<'_> {
    pub(super) fn answers(&self) -> Vec<Answer> {
        let bearing = limits_by_step(self.job);
        let mut times: BTreeMap<u64, Wall> = BTreeMap::new();
        times.extend(self.bodies().map(|(seq, at, _)| (seq, at)));
        self.saved
            .answers
            .iter()
            .map(|kept| {
                let answer = &kept.answer;
                let corrected_by = self.replacement(kept.seq);
                let counts = match (
                    kept.withdrawn,
                    corrected_by,
                    kept.stale.is_some() || self.is_repeated(kept),
                ) {
                    (true, Some(_), _) => Counts::Corrected,
                    (true, None, _) => Counts::TakenBack,
                    (false, _, true) => Counts::EarlierAttempt,
                    (false, _, false) => Counts::Yes,
                };
                let (value, unit) = match &answer.value {
                    Value::Number { value, unit } => (value.to_string(), Some(unit.clone())),
                    Value::Status(word) | Value::Choice(word) | Value::Tag(word) => {
                        (word.clone(), None)
                    }
                    Value::Yes => ("yes".to_owned(), None),
                    Value::No => ("no".to_owned(), None),
                    Value::Done => ("done".to_owned(), None),
                };
                Answer {
                    seq: kept.seq,
                    time: time::time(times.get(&kept.seq).copied().unwrap_or(Wall {
                        utc_ms: i64::MIN,
                        offset_min: 0,
                    })),
                    stage: answer.stage,
                    step: answer.step.clone(),
                    title: self.title(&answer.step, answer.row.as_ref()),
                    kind: self.kind(answer),
                    point: answer.row.as_ref().map(|row| row.point.to_string()),
                    direction: answer.row.as_ref().map(direction),
                    column: answer.row.as_ref().map(|row| row.column.clone()),
                    value,
                    unit,
                    shown: self.shown(answer),
                    uncertainty: uncertainty::of_reading(self, answer),
                    limits: bearing
                        .get(answer.step.as_str())
                        .cloned()
                        .unwrap_or_default(),
                    how: self.how(&answer.how),
                    out_of_range: answer.out_of_range,
                    counts,
                    corrects: answer.corrects,
                    corrected_by,
                    reason: answer.reason.clone(),
                    attempt: answer.attempt,
                }
            })
            .collect()
    }

    fn replacement(&self, seq: u64) -> Option<u64> {
        self.saved
            .answers
            .iter()
            .find(|later| later.answer.corrects == Some(seq))
            .map(|later| later.seq)
    }

    /// The record that corrected an answer or took it back.
    fn removed_at(&self, seq: u64) -> Option<u64> {
        self.replacement(seq).or_else(|| {
            self.bodies().find_map(|(at, _, body)| match body {
                Body::Withdrawn { seq: old, .. } if *old == seq => Some(at),
                _ => None,
            })
        })
    }

    /// In words, what the finding of record `seq` was worked out from and was replaced or taken back after it.
    pub(super) fn outdated(&self, seq: u64, step: &str) -> Option<String> {
        let StepKind::Finding(wanted) = &self.step(step)?.kind else {
            return None;
        };
        let mut changes: Vec<String> = Vec::new();
        for input in wanted.inputs.values() {
            match input {
                job::Source::Step(read) | job::Source::Rows(read) => changes.extend(
                    self.saved
                        .answers
                        .iter()
                        .filter(|kept| kept.answer.step == *read && self.is_used_by(kept, seq))
                        .filter_map(|kept| self.change_after(kept, seq)),
                ),
                // A figure of an earlier finding: that one's inputs count too. It has a smaller number, so this ends.
                job::Source::Figure { step, .. } => changes.extend(
                    self.bodies()
                        .filter(|(at, _, body)| {
                            *at < seq && matches!(body, Body::Found { step: id, .. } if id == step)
                        })
                        .last()
                        .and_then(|(at, ..)| self.outdated(at, step)),
                ),
                _ => {}
            }
        }
        // One reading can be two inputs.
        changes.sort();
        changes.dedup();
        (!changes.is_empty()).then(|| changes.join("; "))
    }

    /// In words, the corrections between two findings of a step because of which it was worked out again.
    pub(super) fn put_right(&self, step: &str, seq: u64, again: u64) -> Option<String> {
        let made: Vec<String> = corrections_since(self.job, &self.saved, step, seq)
            .filter(|kept| kept.seq < again)
            .filter_map(|kept| {
                let old = self.kept(kept.answer.corrects?)?;
                Some(format!(
                    "{}: {} was corrected to {} [{}]",
                    self.title(&kept.answer.step, kept.answer.row.as_ref()),
                    self.shown(&old.answer),
                    self.shown(&kept.answer),
                    kept.seq
                ))
            })
            .collect();
        (!made.is_empty()).then(|| made.join("; "))
    }

    /// The answer that counted for its question when record `seq` was written.
    fn is_used_by(&self, kept: &Kept, seq: u64) -> bool {
        let counted = |other: &Kept| {
            other.seq < seq
                && self
                    .removed_at(other.seq)
                    .is_none_or(|removed| removed > seq)
        };
        counted(kept)
            && !self.saved.answers.iter().any(|other| {
                other.seq > kept.seq
                    && other.answer.step == kept.answer.step
                    && other.answer.row == kept.answer.row
                    && counted(other)
            })
    }

    /// What became of an answer after record `seq`: replaced, by a correction or by doing the step again, or taken back.
    fn change_after(&self, kept: &Kept, seq: u64) -> Option<String> {
        let what = self.title(&kept.answer.step, kept.answer.row.as_ref());
        let old = self.shown(&kept.answer);
        let new = self.saved.answers.iter().rfind(|other| {
            other.seq > seq
                && other.answer.step == kept.answer.step
                && other.answer.row == kept.answer.row
                && self.removed_at(other.seq).is_none()
        });
        match new {
            Some(new) => Some(format!(
                "{what}: {old} was replaced by {} [{}]",
                self.shown(&new.answer),
                new.seq
            )),
            None => self
                .removed_at(kept.seq)
                .map(|_| format!("{what}: {old} was taken back")),
        }
    }

    /// The same question was answered again later, as after a "no" to a safety question.
    fn is_repeated(&self, kept: &Kept) -> bool {
        self.saved.answers.iter().any(|later| {
            later.seq > kept.seq
                && !later.withdrawn
                && later.answer.step == kept.answer.step
                && later.answer.row == kept.answer.row
        })
    }

    fn kind(&self, answer: &Answered) -> AnswerKind {
        match self.step(&answer.step).map(|step| &step.kind) {
            Some(StepKind::Reading(_) | StepKind::ReadingSet(_)) => AnswerKind::Reading,
            Some(StepKind::Choice(_)) => AnswerKind::Choice,
            Some(StepKind::Gate { .. }) => AnswerKind::Gate,
            Some(StepKind::Instruction) => AnswerKind::Instruction,
            _ => AnswerKind::Other,
        }
    }

    /// The values that an answer replaced, oldest first.
    pub(super) fn replaced_by(&self, answer: &Answered) -> Vec<String> {
        let mut replaced = Vec::new();
        let mut next = answer.corrects;
        while let Some(old) = next.and_then(|seq| self.kept(seq)) {
            replaced.push(self.shown(&old.answer));
            // A record names only earlier ones, so this ends; a damaged one must not go round.
            next = old.answer.corrects.filter(|earlier| *earlier < old.seq);
        }
        replaced.reverse();
        replaced
    }

    pub(super) fn is_after_freeze(&self, seq: u64, answer: &Answered) -> bool {
        answer.corrects.is_some()
            && matches!(answer.stage, Stage::AsFound | Stage::Safety)
            && self.frozen_at.is_some_and(|frozen| seq > frozen)
    }

    pub(super) fn corrections(&self) -> Vec<Correction> {
        self.bodies()
            .filter_map(|(seq, at, body)| match body {
                Body::Answered(answer) => answer.corrects.map(|old_seq| Correction {
                    seq,
                    old_seq,
                    time: time::time(at),
                    title: self.title(&answer.step, answer.row.as_ref()),
                    old: self.kept(old_seq).map_or_else(
                        || "not in this journal".to_owned(),
                        |old| self.shown(&old.answer),
                    ),
                    new: self.shown(answer),
                    reason: answer
                        .reason
                        .clone()
                        .unwrap_or_else(|| "no reason was given".to_owned()),
                    after_freeze: self.is_after_freeze(seq, answer),
                    by: self.by(),
                }),
                _ => None,
            })
            .collect()
    }

    pub(super) fn skipped(&self) -> Vec<Skip> {
        self.bodies()
            .filter_map(|(seq, at, body)| match body {
                Body::Skipped {
                    step,
                    row,
                    reason,
                    unable,
                    how,
                    ..
                } => Some(Skip {
                    seq,
                    time: time::time(at),
                    step: step.clone(),
                    title: self.title(step, row.as_ref()),
                    stage: self.step(step).map(|step| step.stage),
                    reason: if reason.trim().is_empty() {
                        "no reason was given".to_owned()
                    } else {
                        reason.clone()
                    },
                    unable: *unable,
                    done_later: self.saved.answers.iter().any(|kept| {
                        kept.seq > seq
                            && !kept.withdrawn
                            && kept.answer.step == *step
                            && kept.answer.row == *row
                    }),
                    optional: self
                        .step(step)
                        .is_some_and(|step| step.kind == StepKind::Memo),
                    how: self.how(how),
                }),
                _ => None,
            })
            .collect()
    }

    /// The reason why a step, or a cell of one, has no answer.
    pub(super) fn why_missing(&self, step: &str, row: Option<&Row>) -> Option<String> {
        self.bodies()
            .filter_map(|(.., body)| match body {
                Body::Skipped {
                    step: id,
                    row: at,
                    reason,
                    unable,
                    ..
                } if id == step && (at.as_ref() == row || at.is_none()) => Some(format!(
                    "{}: {reason}",
                    if *unable { "unable" } else { "skipped" }
                )),
                _ => None,
            })
            .last()
    }
}

/// For each step that is read, the limits of the findings that are worked out from it.
fn limits_by_step(job: &Job) -> BTreeMap<&str, Vec<String>> {
    let mut bearing: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for step in &job.steps {
        let StepKind::Finding(wanted) = &step.kind else {
            continue;
        };
        let limits: Vec<&String> = wanted
            .inputs
            .values()
            .filter_map(|input| match input {
                job::Source::Limit(id) => Some(id),
                _ => None,
            })
            .collect();
        for input in wanted.inputs.values() {
            if let job::Source::Step(read) | job::Source::Rows(read) = input {
                let entry = bearing.entry(read.as_str()).or_default();
                for id in &limits {
                    if !entry.contains(id) {
                        entry.push((*id).clone());
                    }
                }
            }
        }
    }
    bearing
}

//! The fold from records to a [`Report`].

use std::collections::BTreeMap;

use super::types::{
    AnswerKind, Event, EventKind, FigureLine, FindingLine, Head, Hold, HowLine, Report, State,
};
use super::{
    Source, decisions, ears, exceptions, measured, sound, strokes, summary, time, track, types,
    uncertainty,
};
use crate::calc::finding::{self as calculation, Finding};
use crate::calc::rounding;
use crate::core::question::value_text;
use crate::core::record::{Answered, Body, Channel, How, Record, Row, Started, Wall, closing};
use crate::core::run::{Kept, Saved};
use crate::job::{Job, PlateValue, Step, StepKind};

/// Makes the record of a run from its journal.
///
/// It never fails: what the journal does not hold is left out or said to be
/// missing, and a journal that does not begin as one of Sayback's is an exception on the page.
#[must_use]
pub fn build(source: &Source) -> Report {
    let folded = Folded::of(source);
    let answers = folded.answers();
    let findings = folded.findings();
    let limits = folded.limits();
    let meters = uncertainty::meters(&folded);
    let mut report = Report {
        format: types::FORMAT,
        head: folded.head(),
        exceptions: Vec::new(),
        summary: summary::summary(&findings, &answers, folded.frozen_at.is_some()),
        pairs: measured::pairs(&folded, &answers),
        track: track::track(&findings, &limits, folded.job),
        runs: measured::runs(&folded, &answers),
        strokes: strokes::strokes(&findings),
        since: None,
        decisions: decisions::decisions(&findings, &limits, &meters, folded.job),
        without_uncertainty: uncertainty::units_without(&answers),
        gates: answers
            .iter()
            .filter(|answer| answer.kind == AnswerKind::Gate)
            .cloned()
            .collect(),
        skipped: folded.skipped(),
        corrections: folded.corrections(),
        out_of_range: answers
            .iter()
            .filter(|answer| answer.out_of_range)
            .cloned()
            .collect(),
        holds: folded.holds(),
        events: folded.events(),
        outstanding: folded.saved.outstanding.iter().cloned().collect(),
        answers,
        findings,
        plate: folded.plate(),
        instruments: folded.instruments(),
        limits,
        meters,
        cautions: folded.job.cautions.clone(),
        statements: statements(),
        signatures: Vec::new(),
        sound_faults: sound::faults(&folded, source.sounds),
        sounds: source.sounds.clone(),
    };
    report.exceptions = exceptions::exceptions(
        &report,
        folded.foreign,
        folded.saved.started.job_hash != folded.job.hash,
        source.doubts,
    );
    report
}

fn statements() -> Vec<String> {
    [
        "Sayback does not move the actuator and does not state that anything is safe.",
        "Values stand as said or typed. A corrected value stays in the record beside the one that replaced it.",
        "Order of authority for limits: site permit and procedure; job order and data sheet; the actuator's manual and nameplate; standard; common practice.",
        "U is the expanded uncertainty (k = 2) from the meter's specification alone: a = % of reading + counts, u = a/\u{221A}3 (GUM 4.3.7), U = 2u. Verdicts were decided before rounding.",
        "The hash of the journal shows whether it was changed. It is not a signature.",
    ]
    .map(str::to_owned)
    .to_vec()
}

/// A run, folded, with what the pages need beside it.
pub(super) struct Folded<'a> {
    pub(super) job: &'a Job,
    pub(super) saved: Saved,
    /// Sequence number of the record that froze the as-found readings.
    pub(super) frozen_at: Option<u64>,
    source: &'a Source<'a>,
    /// The journal does not begin with the start of a run.
    foreign: bool,
}

impl<'a> Folded<'a> {
    fn of(source: &'a Source<'a>) -> Self {
        let job = source.job;
        let (started, foreign) = match source.records.first().map(|(_, record)| &record.body) {
            Some(Body::Started(started)) => (started.clone(), false),
            _ => (unknown_start(job), true),
        };
        let mut saved = Saved::new(job, started);
        // The fold numbers its records itself, beginning after the first.
        for (_, record) in source.records.iter().skip(1) {
            saved.apply(job, record);
        }
        let frozen_at = source
            .records
            .iter()
            .find(|(_, record)| matches!(record.body, Body::AsFoundFrozen { .. }))
            .map(|(seq, _)| *seq);
        Self {
            job,
            saved,
            frozen_at,
            source,
            foreign,
        }
    }

    pub(super) fn bodies(&self) -> impl Iterator<Item = (u64, Wall, &'a Body)> {
        self.source
            .records
            .iter()
            .map(|(seq, record)| (*seq, record.at, &record.body))
    }

    pub(super) fn step(&self, id: &str) -> Option<&'a Step> {
        self.job.index_of(id).map(|at| &self.job.steps[at])
    }

    pub(super) fn title(&self, step: &str, row: Option<&Row>) -> String {
        let Some(found) = self.step(step) else {
            return step.to_owned();
        };
        let Some(row) = row else {
            return found.title.clone();
        };
        let column = match &found.kind {
            StepKind::ReadingSet(set) => set.columns.iter().find(|column| column.id == row.column),
            _ => None,
        };
        let column = column.map_or(row.column.as_str(), |column| column.title.as_str());
        format!(
            "{}: {column} at {} % {}",
            found.title,
            row.point,
            direction(row)
        )
    }

    pub(super) fn shown(&self, answer: &Answered) -> String {
        value_text(self.job, &answer.step, &answer.value)
    }

    pub(super) fn by(&self) -> Option<String> {
        self.saved
            .started
            .by
            .clone()
            .or_else(|| self.saved.plate_word("by").map(str::to_owned))
    }

    pub(super) fn how(&self, how: &How) -> HowLine {
        HowLine {
            channel: match how.channel {
                Channel::Voice => "voice",
                Channel::Keypad => "keypad",
            },
            heard: how.heard.clone(),
            doubt: how.doubt.clone(),
            by: self.by(),
            relayed_by: how.relayed_by.clone(),
            clip: how.clip.as_ref().map(|clip| clip.file.clone()),
            clip_hash: how.clip.as_ref().map(|clip| clip.hash.clone()),
        }
    }

    fn head(&self) -> Head {
        let started = &self.saved.started;
        let at = |record: Option<&(u64, Record)>| {
            time::time(record.map_or(
                Wall {
                    utc_ms: i64::MIN,
                    offset_min: 0,
                },
                |(_, record)| record.at,
            ))
        };
        let closed = closing(self.source.records.iter().map(|(_, record)| &record.body));
        let (state, state_reason) = match closed {
            Some((true, _)) => (State::Complete, None),
            Some((false, reason)) => (
                State::EndedEarly,
                Some(reason.unwrap_or("no reason was given").to_owned()),
            ),
            None => self.open_state(),
        };
        let mut resumed_with: Vec<String> = Vec::new();
        for (.., body) in self.bodies() {
            if let Body::Resumed { program, .. } = body
                && *program != started.program
                && !resumed_with.contains(program)
            {
                resumed_with.push(program.clone());
            }
        }
        Head {
            tag: match self.saved.plate.get("tag") {
                Some(PlateValue::Text(tag)) => Some(tag.clone()),
                _ => None,
            },
            job: started.job.clone(),
            title: started.title.clone(),
            purpose: self.job.purpose.clone(),
            job_hash: started.job_hash.clone(),
            program: started.program.clone(),
            resumed_with,
            by: self.by(),
            relayed_by: self.relayed_by(),
            from_recording: started.from_recording,
            ears: ears::ears(self.bodies()),
            started: at(self.source.records.first()),
            last: at(self.source.records.last()),
            state,
            state_reason,
            records: self.source.records.len(),
            journal_hash: self.source.chain_hash.to_owned(),
            journal: self.source.whole.to_owned(),
            journal_whole: matches!(self.source.whole, "whole" | "clean"),
            clips_folder: self.source.clips_folder.to_owned(),
        }
    }

    /// Everybody who relayed readings, in their order; which reading by whom stands with it.
    fn relayed_by(&self) -> Option<String> {
        let changed = self.bodies().filter_map(|(.., body)| match body {
            Body::Relayed { by, .. } => by.as_ref(),
            _ => None,
        });
        let mut all: Vec<&str> = Vec::new();
        for by in self.saved.started.relayed_by.iter().chain(changed) {
            if !all.contains(&by.as_str()) {
                all.push(by);
            }
        }
        (!all.is_empty()).then(|| all.join(", then "))
    }

    /// State of a run that is not closed: its reason stands on the record as soon as it is in the journal.
    fn open_state(&self) -> (State, Option<String>) {
        let stands = self
            .saved
            .step(self.job)
            .map(|(step, _)| format!("stands at: {}", step.title));
        match (&self.saved.ending, stands) {
            (Some(reason), None) => (State::Ending, Some(reason.clone())),
            // It was called off and gone on with.
            (Some(reason), Some(stands)) => (
                State::Open,
                Some(format!("{stands}; it was to end early: {reason}")),
            ),
            (None, stands) => (State::Open, stands),
        }
    }

    pub(super) fn kept(&self, seq: u64) -> Option<&Kept> {
        self.saved.answers.iter().find(|kept| kept.seq == seq)
    }

    fn findings(&self) -> Vec<FindingLine> {
        let mut lines: Vec<FindingLine> = self
            .bodies()
            .filter_map(|(seq, at, body)| match body {
                Body::Found {
                    step,
                    finding,
                    inputs,
                    said,
                    ..
                } => Some(self.finding(seq, at, step, finding, inputs, said)),
                _ => None,
            })
            .collect();
        for at in 0..lines.len() {
            let (seq, step) = (lines[at].seq, lines[at].step.clone());
            let again = (at + 1..lines.len()).find(|later| lines[*later].step == step);
            lines[at].latest = again.is_none();
            match again {
                None => lines[at].outdated = self.outdated(seq, &step),
                Some(later) => {
                    lines[at].put_right = self.put_right(&step, seq, lines[later].seq);
                    if lines[at].put_right.is_some() {
                        lines[later].was = Some(lines[at].verdict.clone());
                    }
                }
            }
        }
        lines
    }

    fn finding(
        &self,
        seq: u64,
        at: Wall,
        step: &str,
        finding: &Finding,
        inputs: &BTreeMap<String, String>,
        said: &str,
    ) -> FindingLine {
        let name = match self.step(step).map(|step| &step.kind) {
            Some(StepKind::Finding(wanted)) => Some(wanted.calculation.clone()),
            _ => None,
        };
        FindingLine {
            seq,
            time: time::time(at),
            step: step.to_owned(),
            title: self.title(step, None),
            stage: self.step(step).map(|step| step.stage),
            source: name
                .as_deref()
                .and_then(calculation::spec)
                .map(|spec| spec.source.to_owned()),
            calculation: name,
            verdict: finding.verdict.to_string(),
            grade: finding.grade,
            reason: finding.reason.clone(),
            advice: finding.advice.clone(),
            said: said.to_owned(),
            figures: finding
                .figures
                .iter()
                .map(|figure| FigureLine {
                    name: figure.name.to_string(),
                    value: match (figure.value, &figure.text) {
                        (Some(value), _) => rounding::fixed(value, u32::from(figure.places)),
                        (None, Some(text)) => text.clone(),
                        (None, None) => "unknown".to_owned(),
                    },
                    unrounded: figure.value.map(|value| value.to_string()),
                    unit: figure.unit.to_string(),
                })
                .collect(),
            inputs: inputs.clone(),
            latest: true,
            put_right: None,
            was: None,
            outdated: None,
        }
    }

    fn holds(&self) -> Vec<Hold> {
        self.bodies()
            .filter_map(|(seq, at, body)| match body {
                Body::Held { step, seconds, .. } => Some(Hold {
                    seq,
                    time: time::time(at),
                    title: self.title(step, None),
                    seconds: seconds.to_string(),
                }),
                _ => None,
            })
            .collect()
    }

    fn events(&self) -> Vec<Event> {
        self.bodies()
            .filter_map(|(seq, at, body)| {
                let (kind, step, text) = match body {
                    Body::Noted { step, text, .. } => {
                        (EventKind::Note, step.as_deref(), text.clone())
                    }
                    Body::Alike { runs, measured, .. } => {
                        let (kind, answer) = if *measured {
                            (EventKind::SameReadings, "each was measured")
                        } else {
                            (EventKind::NotMeasured, "not each was measured")
                        };
                        let text = format!("the same in {}: {answer}", runs.join(", "));
                        (kind, None, text)
                    }
                    Body::Stopped { step, how } => {
                        (EventKind::Stop, step.as_deref(), how.heard.clone())
                    }
                    Body::Resumed { program, .. } => (EventKind::Resumed, None, program.clone()),
                    Body::AsFoundFrozen { step } => {
                        (EventKind::Frozen, Some(step.as_str()), String::new())
                    }
                    Body::Ending { reason } => (EventKind::Ending, None, reason.clone()),
                    Body::Restored { item, .. } => (EventKind::Restored, None, item.clone()),
                    Body::Withdrawn { seq: old, .. } => {
                        let old = self.kept(*old);
                        let text = old.map_or_else(String::new, |old| self.shown(&old.answer));
                        (
                            EventKind::TakenBack,
                            old.map(|old| old.answer.step.as_str()),
                            text,
                        )
                    }
                    Body::Relayed { by, .. } => {
                        let by = by.as_deref().unwrap_or("nobody, from here on");
                        (EventKind::Relayed, None, by.to_owned())
                    }
                    Body::Microphone { state } => (EventKind::Microphone, None, state.clone()),
                    Body::MicrophoneChecked { measured, .. } => {
                        (EventKind::Microphone, None, measured.line())
                    }
                    Body::Closed { complete, reason } => {
                        let state = if *complete { "complete" } else { "ended early" };
                        let text = reason.as_ref().map_or_else(
                            || state.to_owned(),
                            |reason| format!("{state}: {reason}"),
                        );
                        (EventKind::Closed, None, text)
                    }
                    _ => return None,
                };
                Some(Event {
                    seq,
                    time: time::time(at),
                    kind,
                    at: step.map(|step| self.title(step, None)),
                    text,
                    how: body.how().map(|how| self.how(how)),
                })
            })
            .collect()
    }
}

pub(super) fn direction(row: &Row) -> &'static str {
    if row.up { "up" } else { "down" }
}

/// The head of a run whose own head is not there.
fn unknown_start(job: &Job) -> Started {
    Started {
        format: 0,
        program: "unknown".to_owned(),
        job: job.id.clone(),
        title: job.title.clone(),
        job_hash: "unknown".to_owned(),
        limits: BTreeMap::new(),
        plate: BTreeMap::new(),
        by: None,
        relayed_by: None,
        from_recording: false,
        route: None,
        ear: None,
    }
}

//! The fold from records to a [`Report`].

use std::collections::BTreeMap;

use super::types::{
    Answer, AnswerKind, Correction, Counts, Event, EventKind, FigureLine, FindingLine, HowLine, Head, Hold, Instrument,
    LimitLine, PlateFrom, PlateLine, Report, Skip, State,
};
use super::{Source, exceptions, measured, time, track, types, uncertainty};
use crate::calc::finding::{self as calculation, Finding};
use crate::calc::rounding;
use crate::core::question::{plate_text, range_unit, value_text, with_unit};
use crate::core::record::{Answered, Body, Channel, How, Record, Row, Started, Value, Wall};
use crate::core::run::{Kept, Saved};
use crate::job::{self, Job, PlateKind, PlateValue, Stage, Step, StepKind};

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
        pairs: measured::pairs(&folded, &answers),
        track: track::track(&findings, &limits, folded.job),
        runs: measured::runs(&folded, &answers),
        decisions: uncertainty::decisions(&findings),
        gates: answers.iter().filter(|answer| answer.kind == AnswerKind::Gate).cloned().collect(),
        skipped: folded.skipped(),
        corrections: folded.corrections(),
        out_of_range: answers.iter().filter(|answer| answer.out_of_range).cloned().collect(),
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
    };
    report.exceptions = exceptions::exceptions(&report, folded.foreign);
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
        Self { job, saved, frozen_at, source, foreign }
    }

    fn bodies(&self) -> impl Iterator<Item = (u64, Wall, &'a Body)> {
        self.source.records.iter().map(|(seq, record)| (*seq, record.at, &record.body))
    }

    pub(super) fn step(&self, id: &str) -> Option<&'a Step> {
        self.job.index_of(id).map(|at| &self.job.steps[at])
    }

    fn title(&self, step: &str, row: Option<&Row>) -> String {
        let Some(found) = self.step(step) else { return step.to_owned() };
        let Some(row) = row else { return found.title.clone() };
        let column = match &found.kind {
            StepKind::ReadingSet(set) => set.columns.iter().find(|column| column.id == row.column),
            _ => None,
        };
        let column = column.map_or(row.column.as_str(), |column| column.title.as_str());
        format!("{}: {column} at {} % {}", found.title, row.point, direction(row))
    }

    pub(super) fn shown(&self, answer: &Answered) -> String {
        value_text(self.job, &answer.step, &answer.value)
    }

    fn by(&self) -> Option<String> {
        self.saved.started.by.clone().or_else(|| self.saved.plate_word("by").map(str::to_owned))
    }

    fn how(&self, how: &How) -> HowLine {
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
        let at = |record: Option<&(u64, Record)>| time::time(record.map_or(Wall { utc_ms: i64::MIN, offset_min: 0 }, |(_, record)| record.at));
        let (state, state_reason) = match self.bodies().last().map(|(.., body)| body) {
            Some(Body::Closed { complete: true, .. }) => (State::Complete, None),
            Some(Body::Closed { complete: false, reason }) => {
                (State::EndedEarly, Some(reason.clone().unwrap_or_else(|| "no reason was given".to_owned())))
            }
            _ => (State::Open, self.saved.step(self.job).map(|(step, _)| format!("stands at: {}", step.title))),
        };
        let mut resumed_with: Vec<String> = Vec::new();
        for (.., body) in self.bodies() {
            if let Body::Resumed { program } = body
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
            relayed_by: started.relayed_by.clone(),
            from_recording: started.from_recording,
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

    fn answers(&self) -> Vec<Answer> {
        let bearing = limits_by_step(self.job);
        let mut times: BTreeMap<u64, Wall> = BTreeMap::new();
        times.extend(self.bodies().map(|(seq, at, _)| (seq, at)));
        self.saved
            .answers
            .iter()
            .map(|kept| {
                let answer = &kept.answer;
                let corrected_by = self.replacement(kept.seq);
                let counts = match (kept.withdrawn, corrected_by, kept.stale || self.is_repeated(kept)) {
                    (true, Some(_), _) => Counts::Corrected,
                    (true, None, _) => Counts::TakenBack,
                    (false, _, true) => Counts::EarlierAttempt,
                    (false, _, false) => Counts::Yes,
                };
                let (value, unit) = match &answer.value {
                    Value::Number { value, unit } => (value.to_string(), Some(unit.clone())),
                    Value::Status(word) | Value::Choice(word) | Value::Tag(word) => (word.clone(), None),
                    Value::Yes => ("yes".to_owned(), None),
                    Value::No => ("no".to_owned(), None),
                    Value::Done => ("done".to_owned(), None),
                };
                Answer {
                    seq: kept.seq,
                    time: time::time(times.get(&kept.seq).copied().unwrap_or(Wall { utc_ms: i64::MIN, offset_min: 0 })),
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
                    limits: bearing.get(answer.step.as_str()).cloned().unwrap_or_default(),
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
        self.saved.answers.iter().find(|later| later.answer.corrects == Some(seq)).map(|later| later.seq)
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

    pub(super) fn kept(&self, seq: u64) -> Option<&Kept> {
        self.saved.answers.iter().find(|kept| kept.seq == seq)
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

    fn corrections(&self) -> Vec<Correction> {
        self.bodies()
            .filter_map(|(seq, at, body)| match body {
                Body::Answered(answer) => answer.corrects.map(|old_seq| Correction {
                    seq,
                    old_seq,
                    time: time::time(at),
                    title: self.title(&answer.step, answer.row.as_ref()),
                    old: self.kept(old_seq).map_or_else(|| "not in this journal".to_owned(), |old| self.shown(&old.answer)),
                    new: self.shown(answer),
                    reason: answer.reason.clone().unwrap_or_else(|| "no reason was given".to_owned()),
                    after_freeze: self.is_after_freeze(seq, answer),
                    by: self.by(),
                }),
                _ => None,
            })
            .collect()
    }

    fn findings(&self) -> Vec<FindingLine> {
        let mut lines: Vec<FindingLine> = self
            .bodies()
            .filter_map(|(seq, at, body)| match body {
                Body::Found { step, finding, inputs, said, .. } => Some(self.finding(seq, at, step, finding, inputs, said)),
                _ => None,
            })
            .collect();
        for at in 0..lines.len() {
            lines[at].latest = !lines[at + 1..].iter().any(|later| later.step == lines[at].step);
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
        }
    }

    fn skipped(&self) -> Vec<Skip> {
        self.bodies()
            .filter_map(|(seq, at, body)| match body {
                Body::Skipped { step, row, reason, unable, how, .. } => Some(Skip {
                    seq,
                    time: time::time(at),
                    step: step.clone(),
                    title: self.title(step, row.as_ref()),
                    stage: self.step(step).map(|step| step.stage),
                    reason: if reason.trim().is_empty() { "no reason was given".to_owned() } else { reason.clone() },
                    unable: *unable,
                    done_later: self.saved.answers.iter().any(|kept| {
                        kept.seq > seq && !kept.withdrawn && kept.answer.step == *step && kept.answer.row == *row
                    }),
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
                Body::Skipped { step: id, row: at, reason, unable, .. }
                    if id == step && (at.as_ref() == row || at.is_none()) =>
                {
                    Some(format!("{}: {reason}", if *unable { "unable" } else { "skipped" }))
                }
                _ => None,
            })
            .last()
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
                    Body::Noted { step, text, .. } => (EventKind::Note, step.as_deref(), text.clone()),
                    Body::Stopped { step, how } => (EventKind::Stop, step.as_deref(), how.heard.clone()),
                    Body::Resumed { program } => (EventKind::Resumed, None, program.clone()),
                    Body::AsFoundFrozen { step } => (EventKind::Frozen, Some(step.as_str()), String::new()),
                    Body::Restored { item, .. } => (EventKind::Restored, None, item.clone()),
                    Body::Withdrawn { seq: old, .. } => {
                        let old = self.kept(*old);
                        let text = old.map_or_else(String::new, |old| self.shown(&old.answer));
                        (EventKind::TakenBack, old.map(|old| old.answer.step.as_str()), text)
                    }
                    Body::Microphone { state } => (EventKind::Microphone, None, state.clone()),
                    Body::Closed { complete, reason } => {
                        let state = if *complete { "complete" } else { "ended early" };
                        let text = reason.as_ref().map_or_else(|| state.to_owned(), |reason| format!("{state}: {reason}"));
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
                    how: body_how(body).map(|how| self.how(how)),
                })
            })
            .collect()
    }

    fn plate(&self) -> Vec<PlateLine> {
        let mut lines = Vec::new();
        for (id, value) in &self.saved.plate {
            let item = self.job.plate_item(id);
            let answers: Vec<(u64, Wall, &PlateValue, &How)> = self
                .bodies()
                .filter_map(|(seq, at, body)| match body {
                    Body::Plate { item, value, how } if item == id => Some((seq, at, value, how)),
                    _ => None,
                })
                .collect();
            let last = answers.last().filter(|(.., answered, _)| *answered == value);
            let on_sheet = self.saved.started.plate.get(id);
            let mut earlier: Vec<&PlateValue> = on_sheet.into_iter().chain(answers.iter().map(|(.., value, _)| *value)).collect();
            if earlier.last() == Some(&value) {
                earlier.pop();
            }
            let unit = match (value, item.map(|item| &item.kind)) {
                (PlateValue::Number(_), Some(PlateKind::Number(range))) => Some(range_unit(range, &self.saved).to_owned()),
                _ => None,
            };
            lines.push(PlateLine {
                id: id.clone(),
                group: item.map_or_else(|| "Other".to_owned(), |item| item.group.clone()),
                title: item.map_or_else(|| id.clone(), |item| item.title.clone()),
                shown: plate_text(self.job, &self.saved, id),
                value: plain_value(value),
                from: match (last, on_sheet) {
                    (Some(_), _) => PlateFrom::Asked,
                    (None, Some(sheet)) if sheet == value => PlateFrom::Sheet,
                    _ => PlateFrom::Follows,
                },
                seq: last.map(|(seq, ..)| *seq),
                time: last.map(|(_, at, ..)| time::time(*at)),
                how: last.map(|(.., how)| self.how(how)),
                replaced: earlier
                    .into_iter()
                    .map(|value| unit.as_deref().map_or_else(|| plain_value(value), |unit| with_unit(&plain_value(value), unit)))
                    .collect(),
                expired: self.saved.expired.contains_key(id),
                unit,
            });
        }
        // In the job's own order; what it does not know comes last.
        lines.sort_by_key(|line| self.job.plate.iter().position(|item| item.id == line.id).unwrap_or(usize::MAX));
        lines
    }

    fn instruments(&self) -> Vec<Instrument> {
        let plate = self.plate();
        let known = |line: &&PlateLine| self.job.plate_item(&line.id).is_some_and(|item| item.kind == PlateKind::Month);
        plate
            .iter()
            .filter(known)
            .map(|due| {
                let stem = due.id.strip_suffix("-due").unwrap_or(&due.id);
                // What belongs to an instrument begins with its name: meter-id, meter-percent, meter-due.
                let own = |line: &&PlateLine| {
                    line.id != due.id
                        && (line.id == stem || line.id.strip_prefix(stem).is_some_and(|rest| rest.starts_with('-')))
                };
                let (names, rest): (Vec<&PlateLine>, Vec<&PlateLine>) =
                    plate.iter().filter(own).partition(|line| line.id == stem || line.id.ends_with("-id"));
                let name: Vec<String> = names.iter().map(|line| format!("{} {}", line.title, line.shown)).collect();
                Instrument {
                    name: if name.is_empty() { due.title.clone() } else { name.join(", ") },
                    due: due.shown.clone(),
                    expired: due.expired,
                    specification: rest.iter().map(|line| format!("{}: {}", line.title, line.shown)).collect(),
                }
            })
            .collect()
    }

    fn limits(&self) -> Vec<LimitLine> {
        let shown = |limit: &job::Limit| with_unit(&limit.value.to_string(), &limit.unit);
        self.saved
            .started
            .limits
            .iter()
            .map(|(id, limit)| LimitLine {
                id: id.clone(),
                about: limit.about.clone(),
                shown: shown(limit),
                value: limit.value.to_string(),
                unit: limit.unit.clone(),
                source: limit.source.clone(),
                replaced: self
                    .job
                    .limits
                    .get(id)
                    .filter(|own| *own != limit)
                    .map(|own| format!("{} ({})", shown(own), own.source)),
                bears_on: self
                    .job
                    .steps
                    .iter()
                    .filter(|step| match &step.kind {
                        StepKind::Finding(wanted) => {
                            wanted.inputs.values().any(|input| *input == job::Source::Limit(id.clone()))
                        }
                        _ => false,
                    })
                    .map(|step| step.title.clone())
                    .collect(),
            })
            .collect()
    }
}

fn body_how(body: &Body) -> Option<&How> {
    match body {
        Body::Noted { how, .. } | Body::Stopped { how, .. } | Body::Restored { how, .. } => Some(how),
        _ => None,
    }
}

fn direction(row: &Row) -> &'static str {
    if row.up { "up" } else { "down" }
}

fn plain_value(value: &PlateValue) -> String {
    match value {
        PlateValue::Number(number) => number.to_string(),
        PlateValue::Text(text) => text.clone(),
        PlateValue::Unknown => "unknown".to_owned(),
    }
}

/// For each step that is read, the limits of the findings that are worked out from it.
fn limits_by_step(job: &Job) -> BTreeMap<&str, Vec<String>> {
    let mut bearing: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for step in &job.steps {
        let StepKind::Finding(wanted) = &step.kind else { continue };
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
    }
}

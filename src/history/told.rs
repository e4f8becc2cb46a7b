//! What the records of one run tell, part by part. No state.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::{LeftOut, PastInstrument, PastPart, PastReading, PastText, PastVerdict};
use crate::core::record::{Answered, Body, Record, Value};
use crate::job::{Stage, StepKind};
use crate::report::{Counts, Decision, EventKind, Report, RunLimit, Source};
use crate::route::RunFacts;

pub(super) fn facts(run: &str, source: &Source) -> RunFacts {
    let records: Vec<Record> = source
        .records
        .iter()
        .map(|(_, record)| record.clone())
        .collect();
    match RunFacts::of(run, source.job, &records) {
        Some(facts) => RunFacts {
            plate: BTreeMap::new(),
            readings: BTreeMap::new(),
            ..facts
        },
        None => RunFacts::unreadable(run, "it does not begin as a run does".to_owned()),
    }
}

fn record_of<'a>(source: &Source<'a>, seq: u64) -> Option<&'a Record> {
    let at = source
        .records
        .binary_search_by_key(&seq, |(seq, _)| *seq)
        .ok()?;
    Some(&source.records[at].1)
}

pub(super) fn readings(source: &Source, report: &Report) -> Vec<PastReading> {
    let cells: Vec<(u64, Option<Decimal>, Option<&RunLimit>)> = report
        .runs
        .iter()
        .flat_map(|run| {
            run.rows
                .iter()
                .flat_map(|row| &row.cells)
                .filter_map(|cell| Some((cell.seq?, cell.deviation_unrounded, run.limit.as_ref())))
        })
        .collect();
    report
        .answers
        .iter()
        .filter(|answer| {
            answer.counts == Counts::Yes && matches!(answer.stage, Stage::AsFound | Stage::AsLeft)
        })
        .filter_map(|answer| {
            let step = &source.job.steps[source.job.index_of(&answer.step)?];
            let what = step.measures.clone()?;
            let is_reading = matches!(step.kind, StepKind::Reading(_) | StepKind::ReadingSet(_));
            let record = record_of(source, answer.seq)?;
            let number = match &record.body {
                Body::Answered(Answered {
                    value: Value::Number { value, .. },
                    ..
                }) => Some(*value),
                Body::Answered(Answered {
                    value: Value::Status(_),
                    ..
                }) => None,
                _ => return None,
            };
            let cell = cells.iter().find(|(seq, ..)| *seq == answer.seq);
            let limit = cell.and_then(|(.., limit)| *limit);
            is_reading.then(|| PastReading {
                stage: answer.stage,
                what,
                point: answer.point.as_deref().and_then(|point| point.parse().ok()),
                up: answer.direction.map(|direction| direction == "up"),
                column: answer.column.clone(),
                number,
                unit: answer.unit.clone(),
                shown: answer.shown.clone(),
                deviation: cell.and_then(|(_, deviation, _)| *deviation),
                limit: limit.and_then(|limit| limit.value.parse().ok()),
                limit_from: limit.map(|limit| limit.source.clone()),
                at: record.at,
                seq: answer.seq,
            })
        })
        .collect()
}

pub(super) fn verdicts(report: &Report) -> Vec<PastVerdict> {
    let beyond = |seq| {
        report
            .decisions
            .iter()
            .any(|decision: &Decision| decision.seq == seq && !decision.accepted)
    };
    report
        .findings
        .iter()
        .filter(|finding| finding.latest)
        .map(|finding| PastVerdict {
            title: finding.title.clone(),
            stage: finding.stage,
            verdict: finding.verdict.clone(),
            grade: finding.grade,
            reason: finding.reason.clone(),
            outdated: finding.outdated.is_some(),
            beyond_limit: beyond(finding.seq),
            seq: finding.seq,
        })
        .collect()
}

pub(super) fn beyond_unjudged(report: &Report) -> Vec<String> {
    report
        .runs
        .iter()
        .filter(|run| {
            run.stage == Stage::AsFound
                && !run.judged
                && run
                    .rows
                    .iter()
                    .flat_map(|row| &row.cells)
                    .any(|cell| cell.beyond)
        })
        .map(|run| run.title.clone())
        .collect()
}

pub(super) fn instruments(report: &Report) -> Vec<PastInstrument> {
    report
        .instruments
        .iter()
        .map(|instrument| PastInstrument {
            id: instrument
                .items
                .iter()
                .filter(|item| item.ends_with("-id"))
                .find_map(|item| report.plate.iter().find(|line| line.id == *item))
                .filter(|line| line.value != "unknown")
                .map(|line| line.value.clone()),
            name: instrument.name.clone(),
            due: instrument.due.clone(),
            expired: instrument.expired,
        })
        .collect()
}

/// Every time that a step which repairs or replaces a part was said to be done, earlier attempts too:
/// a part that was fitted twice was used twice.
pub(super) fn parts(source: &Source, report: &Report) -> Vec<PastPart> {
    report
        .answers
        .iter()
        .filter(|answer| {
            answer.value == "done" && matches!(answer.counts, Counts::Yes | Counts::EarlierAttempt)
        })
        .filter_map(|answer| {
            let step = &source.job.steps[source.job.index_of(&answer.step)?];
            Some(PastPart {
                part: step.part.clone()?,
                done: step.title.clone(),
                seq: answer.seq,
            })
        })
        .collect()
}

pub(super) fn left_out(report: &Report) -> Vec<LeftOut> {
    let skipped = report
        .skipped
        .iter()
        .filter(|skip| !skip.done_later && !skip.optional)
        .map(|skip| LeftOut {
            title: skip.title.clone(),
            how: if skip.unable {
                "could not be done"
            } else {
                "skipped"
            }
            .to_owned(),
            reason: skip.reason.clone(),
            seq: skip.seq,
        });
    let refused = report
        .gates
        .iter()
        .filter(|gate| {
            gate.value == "no"
                && gate.counts != Counts::Corrected
                && !report.gates.iter().any(|later| {
                    later.seq > gate.seq && later.step == gate.step && later.value == "yes"
                })
        })
        .map(|gate| LeftOut {
            title: gate.title.clone(),
            how: "answered no".to_owned(),
            reason: "no yes followed".to_owned(),
            seq: gate.seq,
        });
    let mut all: Vec<LeftOut> = skipped.chain(refused).collect();
    all.sort_by_key(|one| one.seq);
    all
}

pub(super) fn texts(report: &Report) -> Vec<PastText> {
    let text = |kind: &str, at: &str, text: String, seq| PastText {
        kind: kind.to_owned(),
        at: at.to_owned(),
        text,
        seq,
    };
    let mut texts: Vec<PastText> = Vec::new();
    for event in &report.events {
        let at = event.at.as_deref().unwrap_or_default();
        match event.kind {
            EventKind::Note => texts.push(text("note", at, event.text.clone(), event.seq)),
            EventKind::Ending | EventKind::Closed if !event.text.is_empty() => {
                texts.push(text(
                    "reason",
                    event.kind.words(),
                    event.text.clone(),
                    event.seq,
                ));
            }
            _ => {}
        }
    }
    for skip in &report.skipped {
        texts.push(text("reason", &skip.title, skip.reason.clone(), skip.seq));
    }
    for correction in &report.corrections {
        texts.push(text(
            "reason",
            &correction.title,
            format!(
                "{} corrected to {}: {}",
                correction.old, correction.new, correction.reason
            ),
            correction.seq,
        ));
    }
    for finding in report.findings.iter().filter(|finding| finding.latest) {
        texts.push(text(
            "finding",
            &finding.title,
            format!(
                "{}. {} {}",
                finding.verdict.replace('-', " "),
                finding.reason,
                finding.said
            ),
            finding.seq,
        ));
    }
    texts.sort_by_key(|text| text.seq);
    texts
}

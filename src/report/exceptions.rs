//! What a reviewer must look at, the gravest first.

use super::types::{Counts, EventKind, Exception, FindingLine, Report, State, Weight};
use crate::calc::finding::Grade;
use crate::core::record::same_name;
use crate::job::Stage;
use crate::route::Doubt;

/// Gathers the exceptions of a report that is otherwise whole.
pub(super) fn exceptions(
    report: &Report,
    foreign: bool,
    other_job: bool,
    doubts: &[Doubt],
) -> Vec<Exception> {
    let mut list = Gathered(Vec::new());
    about_the_journal(report, foreign, other_job, &mut list);
    about_the_state(report, &mut list);
    about_gates_and_stops(report, &mut list);
    about_findings(report, &mut list);
    about_readings(report, &mut list);
    about_same_readings(report, &mut list);
    about_the_means(report, &mut list);
    for doubt in doubts {
        let (weight, what) = if doubt.failed {
            (
                Weight::Bad,
                "The readings are in doubt: a meter failed its check",
            )
        } else {
            (Weight::Watch, "A check of the meter is missing")
        };
        list.add(weight, None, what, doubt.why.clone());
    }
    let mut list = list.0;
    list.sort_by_key(|exception| exception.weight);
    list
}

struct Gathered(Vec<Exception>);

impl Gathered {
    fn add(
        &mut self,
        weight: Weight,
        seq: Option<u64>,
        what: impl Into<String>,
        detail: impl Into<String>,
    ) {
        self.0.push(Exception {
            weight,
            what: what.into(),
            detail: detail.into(),
            seq,
        });
    }
}

fn about_the_journal(report: &Report, foreign: bool, other_job: bool, list: &mut Gathered) {
    if foreign {
        list.add(
            Weight::Bad,
            None,
            "The journal does not begin with the start of a run",
            "Nothing on this page can be relied on.",
        );
    }
    if other_job && !foreign {
        list.add(
            Weight::Bad,
            None,
            "The job file is not the one that was run",
            "Titles, limits and calculations on this page may be those of another job. Put the right copy beside the journal and make the record again.",
        );
    }
    if !report.head.journal_whole {
        list.add(
            Weight::Bad,
            None,
            "The journal is not whole",
            report.head.journal.clone(),
        );
    }
}

fn about_same_readings(report: &Report, list: &mut Gathered) {
    for event in &report.events {
        let (weight, what) = match event.kind {
            EventKind::NotMeasured => (Weight::Bad, "Not each reading was measured, as was said"),
            EventKind::SameReadings => (
                Weight::Watch,
                "The readings are exactly those of the jobs before",
            ),
            _ => continue,
        };
        list.add(weight, Some(event.seq), what, event.text.clone());
    }
}

fn about_the_state(report: &Report, list: &mut Gathered) {
    let reason = report.head.state_reason.clone().unwrap_or_default();
    match report.head.state {
        State::Complete => {}
        State::EndedEarly => list.add(Weight::Bad, None, "The job was ended early", reason),
        State::Ending => list.add(
            Weight::Bad,
            None,
            "The job was ended early and is not closed",
            reason,
        ),
        State::Open => list.add(Weight::Bad, None, "The job is still open", reason),
    }
    if !report.outstanding.is_empty() {
        list.add(
            Weight::Bad,
            None,
            "Not said to be restored",
            report.outstanding.join("; "),
        );
    }
}

fn about_gates_and_stops(report: &Report, list: &mut Gathered) {
    for gate in report
        .gates
        .iter()
        .filter(|gate| gate.value == "no" && gate.counts != Counts::Corrected)
    {
        let later = report
            .gates
            .iter()
            .find(|other| other.seq > gate.seq && other.step == gate.step && other.value == "yes");
        let detail = later.map_or_else(
            || format!("at {}; no yes followed", gate.time.clock()),
            |later| {
                format!(
                    "at {}; answered yes at {}",
                    gate.time.clock(),
                    later.time.clock()
                )
            },
        );
        let weight = if later.is_some() {
            Weight::Watch
        } else {
            Weight::Bad
        };
        list.add(
            weight,
            Some(gate.seq),
            format!("Safety question answered NO: {}", gate.title),
            detail,
        );
    }
    for stop in report
        .events
        .iter()
        .filter(|event| event.kind == EventKind::Stop)
    {
        let at = stop.at.as_deref().unwrap_or("between steps");
        list.add(
            Weight::Watch,
            Some(stop.seq),
            "Stop was called",
            format!("at {}, {at}", stop.time.clock()),
        );
    }
}

fn about_findings(report: &Report, list: &mut Gathered) {
    let mut found_bad = false;
    for finding in report
        .findings
        .iter()
        .filter(|finding| finding.latest && finding.grade != Grade::Good)
    {
        let as_found = finding.stage == Some(Stage::AsFound);
        found_bad |= as_found && finding.grade == Grade::Bad;
        let (what, weight) = finding_words(finding, as_found);
        list.add(weight, Some(finding.seq), what, finding.reason.clone());
    }
    for finding in &report.findings {
        if let Some(outdated) = &finding.outdated {
            list.add(
                Weight::Bad,
                Some(finding.seq),
                format!(
                    "Worked out from a value that was replaced afterwards: {}",
                    finding.title
                ),
                format!("{outdated}. The result was not worked out again; do not rely on it."),
            );
        }
    }
    for finding in report.findings.iter().filter(|finding| finding.latest) {
        if let Some(was) = finding.was.as_ref().filter(|was| **was != finding.verdict) {
            list.add(
                Weight::Watch,
                Some(finding.seq),
                format!("Worked out again after a correction: {}", finding.title),
                format!(
                    "was \u{201C}{}\u{201D}, is \u{201C}{}\u{201D}",
                    was.replace('-', " "),
                    finding.verdict.replace('-', " ")
                ),
            );
        }
    }
    found_bad |= deviations_beyond(report, list);
    if found_bad {
        list.add(
            Weight::Watch,
            None,
            "As found, a limit was not kept",
            "Consider what that meant for the process since the last good record.",
        );
    }
    for decision in report
        .decisions
        .iter()
        .filter(|decision| decision.cannot_prove)
    {
        list.add(
            Weight::Watch,
            Some(decision.seq),
            format!("{}: the meter cannot prove it", decision.title),
            format!(
                "U {} is wider than the limit {}.",
                decision.uncertainty.as_deref().unwrap_or("unknown"),
                decision.limit
            ),
        );
    }
}

/// As-found deviations beyond the limit that no finding judged, as when the job ended before it.
fn deviations_beyond(report: &Report, list: &mut Gathered) -> bool {
    let mut any = false;
    for run in report
        .runs
        .iter()
        .filter(|run| run.stage == Stage::AsFound && !run.judged)
    {
        let read = run.rows.iter().flat_map(|row| &row.cells);
        let all = read.clone().filter(|cell| cell.deviation.is_some()).count();
        let beyond = read.filter(|cell| cell.beyond).count();
        if beyond > 0 {
            any = true;
            let limit = run.limit.as_ref().map_or("", |limit| limit.value.as_str());
            list.add(
                Weight::Bad,
                None,
                format!("As found, beyond the limit: {}", run.title),
                format!("{beyond} of {all} deviations are beyond \u{B1}{limit} % of span; no finding judged them."),
            );
        }
    }
    any
}

fn finding_words(finding: &FindingLine, as_found: bool) -> (String, Weight) {
    let verdict = finding.verdict.replace('-', " ");
    let when = if as_found { "As found, " } else { "" };
    let weight = match finding.grade {
        Grade::Bad => Weight::Bad,
        _ => Weight::Watch,
    };
    (format!("{when}{}: {verdict}", finding.title), weight)
}

fn about_readings(report: &Report, list: &mut Gathered) {
    for answer in report
        .out_of_range
        .iter()
        .filter(|answer| answer.counts == Counts::Yes)
    {
        list.add(
            Weight::Watch,
            Some(answer.seq),
            format!(
                "Outside the plausible range, given twice and kept: {}",
                answer.shown
            ),
            answer.title.clone(),
        );
    }
    for correction in &report.corrections {
        let when = if correction.after_freeze {
            " after as-found readings were frozen"
        } else {
            ""
        };
        list.add(
            Weight::Watch,
            Some(correction.seq),
            format!("Corrected{when}: {} to {}", correction.old, correction.new),
            format!("{}. Reason: {}", correction.title, correction.reason),
        );
    }
    for skip in report
        .skipped
        .iter()
        .filter(|skip| !skip.done_later && !skip.optional)
    {
        let how = if skip.unable {
            "Could not be done"
        } else {
            "Skipped"
        };
        list.add(
            Weight::Watch,
            Some(skip.seq),
            format!("{how}: {}", skip.title),
            skip.reason.clone(),
        );
    }
}

fn about_the_means(report: &Report, list: &mut Gathered) {
    for instrument in report
        .instruments
        .iter()
        .filter(|instrument| instrument.expired)
    {
        list.add(
            Weight::Watch,
            None,
            format!("Instrument past its due date: {}", instrument.name),
            format!(
                "was due {}; its specification, and U, are not assured",
                instrument.due
            ),
        );
    }
    for instrument in report
        .instruments
        .iter()
        .filter(|instrument| instrument.due == "unknown")
    {
        list.add(
            Weight::Watch,
            None,
            format!("Instrument without a due date: {}", instrument.name),
            "nobody knows whether it was within its time; its specification, and U, are not assured",
        );
    }
    for limit in &report.limits {
        if let Some(own) = &limit.replaced {
            list.add(
                Weight::Watch,
                None,
                format!("Limit replaced by the job sheet: {}", limit.about),
                format!("{} ({}) instead of {own}", limit.shown, limit.source),
            );
        }
    }
    for fault in &report.sound_faults {
        let what = if fault.changed {
            "Sound was changed"
        } else {
            "Sound is missing"
        };
        list.add(
            if fault.changed {
                Weight::Bad
            } else {
                Weight::Watch
            },
            Some(fault.seq),
            format!("{what}: {}", fault.file),
            fault.detail.clone(),
        );
    }
    if report.head.from_recording {
        list.add(
            Weight::Watch,
            None,
            "The sound came from a recording",
            "Answers were not given to a microphone while the job was done.",
        );
    }
    for ear in &report.head.ears {
        if let (Some(to), Some(by)) = (&ear.fitted_to, &report.head.by)
            && same_name(to) != same_name(by)
        {
            list.add(
                Weight::Watch,
                Some(ear.seq),
                "The ear was fitted to another person",
                format!("It was fitted to {to}; the job was done by {by}. It hears others worse: more was asked again, or misheard and put right."),
            );
        }
    }
}

//! Meters: which runs used them, how their checks came out, and what the checks put in doubt.

use super::WeekSource;
use crate::history::PastJob;
use crate::route::{self, Check, Doubt};

/// A meter, or another instrument with a due date.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MeterLine {
    /// Its number, or its name where no number was given.
    pub name: String,
    /// Due month as given last, or "unknown".
    pub due: String,
    /// True if it was past its due date in one of the runs.
    pub expired: bool,
    /// Runs that used it.
    pub runs: Vec<String>,
    /// Its checks with their runs, oldest first.
    pub checks: Vec<(String, Check)>,
    /// Which of its checks are missing, each in a sentence.
    pub unchecked: Vec<String>,
}

/// The doubts about each run. Of the checks that are missing only those of meters that are checked at
/// all: where nobody checks, no single day is worse than the others.
pub(super) fn doubts<'a>(source: &WeekSource<'a>) -> Vec<(&'a PastJob, Doubt)> {
    source
        .jobs
        .iter()
        .flat_map(|job| {
            route::doubts(&job.facts, source.checks, source.now)
                .into_iter()
                .filter(|doubt| {
                    doubt.failed || source.checks.iter().any(|check| check.meter == doubt.meter)
                })
                .map(move |doubt| (job, doubt))
        })
        .collect()
}

pub(super) fn meters(jobs: &[PastJob], doubts: &[(&PastJob, Doubt)]) -> Vec<MeterLine> {
    let mut meters: Vec<MeterLine> = Vec::new();
    for job in jobs {
        for instrument in &job.instruments {
            let name = instrument
                .id
                .clone()
                .unwrap_or_else(|| format!("{} without a number", instrument.name));
            let at = meters
                .iter()
                .position(|meter| meter.name == name)
                .unwrap_or_else(|| {
                    meters.push(MeterLine {
                        name: name.clone(),
                        due: instrument.due.clone(),
                        expired: false,
                        runs: Vec::new(),
                        checks: Vec::new(),
                        unchecked: Vec::new(),
                    });
                    meters.len() - 1
                });
            let meter = &mut meters[at];
            meter.due.clone_from(&instrument.due);
            meter.expired |= instrument.expired;
            match &job.facts.check {
                Some(check) => meter.checks.push((job.run.clone(), check.clone())),
                None if !meter.runs.contains(&job.run) => meter.runs.push(job.run.clone()),
                None => {}
            }
        }
    }
    for (_, doubt) in doubts.iter().filter(|(_, doubt)| !doubt.failed) {
        if let Some(meter) = meters.iter_mut().find(|meter| meter.name == doubt.meter)
            && !meter.unchecked.contains(&doubt.why)
        {
            meter.unchecked.push(doubt.why.clone());
        }
    }
    meters.sort_by(|one, other| one.name.cmp(&other.name));
    meters
}

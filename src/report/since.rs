//! What stands beside a run and not in its journal: the earlier jobs of the actuator, and the
//! signatures. No state.

use super::Source;
use super::types::{Exception, Report, SignatureLine, Since, SinceLine, Weight};
use crate::history::tag::{Compared, TagHistory};
use crate::history::{PastJob, words};

impl Report {
    /// The same record with what became of the last as left. `run` is the name of its folder,
    /// `earlier` are the past jobs of the actuator, oldest first; those that began after this run,
    /// and this run itself, are left out.
    #[must_use]
    pub fn with_earlier(mut self, run: &str, source: &Source, earlier: Vec<PastJob>) -> Self {
        let this = PastJob::from_report(run, source, &self);
        let mut jobs: Vec<PastJob> = earlier
            .into_iter()
            .filter(|job| job.run != run && job.start.utc_ms <= this.start.utc_ms)
            .collect();
        if jobs.is_empty() {
            return self;
        }
        let (number, today) = (jobs.len(), this.last.day());
        jobs.push(this);
        let history = TagHistory::of(&jobs);
        let compared: Vec<&Compared> = history
            .compared
            .iter()
            .filter(|one| one.job.run == run)
            .collect();
        self.since = Some(Since {
            earlier: number,
            lines: compared.iter().map(|one| line(one, &compared)).collect(),
            next: match &history.next {
                Ok(suggestion) => words::suggested(suggestion, &today),
                Err(why) => vec![format!("Next check, a suggestion: {why}")],
            },
        });
        self
    }
}

impl Report {
    /// The same record with the signatures beside the run. One that is not good is an exception.
    #[must_use]
    pub fn with_signatures(mut self, signatures: Vec<SignatureLine>) -> Self {
        for signature in signatures.iter().filter(|signature| !signature.good) {
            self.exceptions.push(Exception {
                weight: Weight::Bad,
                what: format!("A signature is not good: {}", signature.file),
                detail: signature.words.clone(),
                seq: None,
            });
        }
        self.exceptions.sort_by_key(|exception| exception.weight);
        self.signatures = signatures;
        self
    }
}

fn line(one: &Compared, all: &[&Compared]) -> SinceLine {
    let found = one.found;
    let since = one.since.as_ref().ok();
    SinceLine {
        seq: found.seq,
        measures: found.what.clone(),
        point: found.point.map(|point| point.to_string()),
        direction: found.up.map(|up| if up { "up" } else { "down" }),
        left_run: since.map(|since| since.job.run.clone()),
        left_on: since.map(|since| since.job.date()),
        drift: since.map(|since| since.drift.to_string()),
        unit: since.map(|since| since.unit.clone()),
        days: since.map(|since| since.days.to_string()),
        per_year: since
            .and_then(|since| since.per_year)
            .map(|rate| rate.to_string()),
        largest: is_largest(one, all),
        words: words::compared(one),
    }
}

/// True for the first of the largest drift of its quantity, or the first of all where none has one.
fn is_largest(one: &Compared, all: &[&Compared]) -> bool {
    let size = |one: &Compared| one.since.as_ref().ok().map(|since| since.drift.abs());
    let of_quantity = || {
        all.iter().filter(|other| {
            other.found.what == one.found.what && other.found.column == one.found.column
        })
    };
    let largest = of_quantity().filter_map(|other| size(other)).max();
    of_quantity()
        .find(|other| size(other) == largest)
        .is_some_and(|first| first.found.seq == one.found.seq)
}

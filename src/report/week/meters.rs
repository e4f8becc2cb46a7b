//! Meters: which runs used them, their checks, and which runs a failed check puts in doubt.

use crate::calc::finding::Grade;
use crate::history::PastJob;

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
    /// Its checks, oldest first.
    pub checks: Vec<Check>,
    /// Local dates on which it was used without a check at the start, or at the end, each in words.
    pub unchecked: Vec<String>,
    /// Runs in doubt, each with why.
    pub doubtful: Vec<(String, String)>,
}

/// A check of a meter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Check {
    /// Folder of the run.
    pub run: String,
    /// Local date.
    pub date: String,
    /// `"start"` or `"end"` of the day.
    pub day_end: String,
    /// True if it was within its limits; none if that cannot be told.
    pub good: Option<bool>,
    /// Its verdicts, in words.
    pub words: String,
    /// Start, milliseconds since 1970-01-01T00:00:00Z.
    start_ms: i64,
}

pub(super) fn meters(jobs: &[PastJob]) -> Vec<MeterLine> {
    let mut meters: Vec<MeterLine> = Vec::new();
    for job in jobs {
        for instrument in &job.instruments {
            let name = instrument.id.as_deref().map_or_else(
                || format!("{} without a number", instrument.name),
                str::to_uppercase,
            );
            let at = meters
                .iter()
                .position(|meter| meter.name == name)
                .unwrap_or_else(|| {
                    meters.push(MeterLine {
                        name,
                        due: instrument.due.clone(),
                        expired: false,
                        runs: Vec::new(),
                        checks: Vec::new(),
                        unchecked: Vec::new(),
                        doubtful: Vec::new(),
                    });
                    meters.len() - 1
                });
            let meter = &mut meters[at];
            meter.due.clone_from(&instrument.due);
            meter.expired |= instrument.expired;
            match &job.day_end {
                Some(day_end) => meter.checks.push(check(job, day_end)),
                None if !meter.runs.contains(&job.run) => meter.runs.push(job.run.clone()),
                None => {}
            }
        }
    }
    for meter in &mut meters {
        doubt(meter, jobs);
        unchecked(meter, jobs);
    }
    meters.sort_by(|one, other| one.name.cmp(&other.name));
    meters
}

fn check(job: &PastJob, day_end: &str) -> Check {
    let grades = || job.verdicts.iter().map(|verdict| verdict.grade);
    let good = if grades().any(|grade| matches!(grade, Grade::Bad | Grade::Watch)) {
        Some(false)
    } else if job.verdicts.is_empty() || grades().any(|grade| grade == Grade::CannotTell) {
        None
    } else {
        Some(true)
    };
    Check {
        run: job.run.clone(),
        date: job.date(),
        day_end: day_end.to_owned(),
        good,
        words: job
            .verdicts
            .iter()
            .map(|verdict| format!("{}: {}", verdict.title, verdict.verdict.replace('-', " ")))
            .collect::<Vec<_>>()
            .join(", "),
        start_ms: job.start.utc_ms,
    }
}

/// Every run since the last good check of its meter is in doubt where a check fails (common practice).
fn doubt(meter: &mut MeterLine, jobs: &[PastJob]) {
    for failed in meter
        .checks
        .iter()
        .filter(|check| check.good == Some(false))
    {
        let good_before = meter
            .checks
            .iter()
            .filter(|check| check.good == Some(true) && check.start_ms < failed.start_ms)
            .map(|check| check.start_ms)
            .max()
            .unwrap_or(i64::MIN);
        for job in jobs.iter().filter(|job| {
            (meter.runs.contains(&job.run) || names_none(job))
                && job.last.utc_ms > good_before
                && job.start.utc_ms < failed.start_ms
        }) {
            if !meter.doubtful.iter().any(|(run, _)| *run == job.run) {
                meter.doubtful.push((
                    job.run.clone(),
                    format!(
                        "meter {} failed its check at the {} of {} ({}), and had no good one between",
                        meter.name, failed.day_end, failed.date, failed.words
                    ),
                ));
            }
        }
    }
}

/// True if an instrument of the run has no number: which one it was cannot be told, so it may have been this one.
fn names_none(job: &PastJob) -> bool {
    job.day_end.is_none()
        && job
            .instruments
            .iter()
            .any(|instrument| instrument.id.is_none())
}

fn unchecked(meter: &mut MeterLine, jobs: &[PastJob]) {
    // An instrument that was never checked with a meter check is no meter of that kind.
    if meter.checks.is_empty() {
        return;
    }
    let mut dates: Vec<String> = jobs
        .iter()
        .filter(|job| meter.runs.contains(&job.run))
        .map(PastJob::date)
        .collect();
    dates.dedup();
    for date in dates {
        for day_end in ["start", "end"] {
            if !meter
                .checks
                .iter()
                .any(|check| check.date == date && check.day_end == day_end)
            {
                meter
                    .unchecked
                    .push(format!("{date}, {day_end} of the day"));
            }
        }
    }
}

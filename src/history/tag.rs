//! The past jobs of one actuator beside each other: as found against the last as left, drift,
//! what repeats, when to look again. No state.
//!
//! Two readings are compared only if nothing was adjusted between them without a reading as left,
//! and never across two versions of one run: what would have to be guessed is said instead.

use jiff::ToSpan as _;
use rust_decimal::Decimal;

use super::{PastJob, PastReading, date};
use crate::calc::finding::Grade;
use crate::calc::{history, rounding};
use crate::core::record::Wall;
use crate::job::Stage;

/// Fewest days from which a drift a year is worked out (house rule): of less, the clock and the
/// reading would be multiplied more than the drift.
pub const FEWEST_DAYS: f64 = 30.0;

/// The history of one actuator.
#[derive(Clone, Debug, PartialEq)]
pub struct TagHistory<'a> {
    /// Its jobs, oldest first.
    pub jobs: &'a [PastJob],
    /// Runs of which there is another version: same job, author and start, other journal.
    pub versions: Vec<&'a str>,
    /// Every as-found reading of every job, against the last as left; oldest job first.
    pub compared: Vec<Compared<'a>>,
    /// What came again.
    pub repeats: Vec<Repeat<'a>>,
    /// When the next check is due.
    pub next: Result<Suggestion<'a>, String>,
}

/// An as-found reading against the last as-left one of the same quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared<'a> {
    /// The job that it was found in.
    pub job: &'a PastJob,
    /// As found.
    pub found: &'a PastReading,
    /// The last as left, or why there is none to compare with.
    pub since: Result<Since<'a>, WhyNot<'a>>,
}

/// The last as-left reading and what became of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Since<'a> {
    /// The job that it was left in.
    pub job: &'a PastJob,
    /// As left.
    pub left: &'a PastReading,
    /// Days from as left to as found.
    pub days: f64,
    /// As found minus as left, in [`Since::unit`].
    pub drift: Decimal,
    /// `"% of span"`, where both have a deviation; else the unit of the readings.
    pub unit: String,
    /// True for a single position or signal, which stands where the command had it that day: it
    /// differs, and says nothing about drift.
    pub follows_command: bool,
    /// Drift a year of 365.25 days; none where it would say nothing.
    pub per_year: Option<f64>,
}

/// Why an as-found reading is compared with nothing.
#[derive(Clone, Debug, PartialEq)]
pub enum WhyNot<'a> {
    /// Nothing was left before.
    NoneLeft,
    /// It was adjusted in this job, and this quantity was not read as left there.
    Adjusted(&'a PastJob),
    /// One of the two is no number.
    NoNumber(&'a PastJob),
    /// They are in different units.
    OtherUnit(&'a PastJob),
    /// There are two versions of the run.
    TwoVersions(&'a PastJob),
    /// By the clock, it was left after it was found.
    Clock(&'a PastJob),
}

/// Something that came in more than one job.
#[derive(Clone, Debug, PartialEq)]
pub struct Repeat<'a> {
    /// What came again, in words.
    pub what: String,
    /// The jobs, oldest first.
    pub jobs: Vec<&'a PastJob>,
    /// True for a fault.
    pub bad: bool,
}

/// When to look again: a suggestion of the house rule, [`history::interval_suggest`].
#[derive(Clone, Debug, PartialEq)]
pub struct Suggestion<'a> {
    /// The comparison that the shortest interval comes from.
    pub from: Compared<'a>,
    /// Its drift, % of span.
    pub drift: f64,
    /// Days that it took.
    pub days: f64,
    /// Deviation that it was left with, % of span.
    pub left: f64,
    /// True if nothing was adjusted and nothing read as left: it was left as it was found.
    pub left_as_found: bool,
    /// When that was read.
    pub left_at: Wall,
    /// Limit, each way, % of span.
    pub limit: f64,
    /// Days that the rule would suggest without its bounds; infinite where nothing drifted.
    pub until_limit: f64,
    /// Suggested days.
    pub interval: f64,
    /// Suggested date, `YYYY-MM-DD`.
    pub due: String,
    /// Number of drift values at that point; the rule takes the last.
    pub n: usize,
    /// True if it was found beyond the limit.
    pub found_beyond: bool,
}

impl<'a> TagHistory<'a> {
    /// The history of these jobs of one actuator, which stand oldest first.
    #[must_use]
    pub fn of(jobs: &'a [PastJob]) -> Self {
        let compared: Vec<Compared> = (0..jobs.len()).flat_map(|at| compared(jobs, at)).collect();
        Self {
            jobs,
            versions: jobs
                .iter()
                .filter(|job| has_other_version(jobs, job))
                .map(|job| job.run.as_str())
                .collect(),
            next: next(jobs, &compared),
            repeats: repeats(jobs),
            compared,
        }
    }

    /// The comparisons of the newest job that has any.
    #[must_use]
    pub fn newest(&self) -> Vec<&Compared<'a>> {
        let newest = self.compared.last().map(|last| &last.job.run);
        self.compared
            .iter()
            .filter(|one| Some(&one.job.run) == newest)
            .collect()
    }

    /// The drifts a year of the same quantity at the same point, oldest first.
    #[must_use]
    pub fn rates(&self, of: &PastReading) -> Vec<f64> {
        rates(&self.compared, of)
    }
}

fn rates(compared: &[Compared], of: &PastReading) -> Vec<f64> {
    compared
        .iter()
        .filter(|one| one.found.is_same_quantity(of))
        .filter_map(|one| one.since.as_ref().ok()?.per_year)
        .collect()
}

/// Mean and standard deviation (n - 1) of at least two numbers.
#[must_use]
pub fn mean_and_deviation(numbers: &[f64]) -> Option<(f64, f64)> {
    if numbers.len() < 2 {
        return None;
    }
    let n = numbers.len() as f64;
    let mean = numbers.iter().sum::<f64>() / n;
    let squares: f64 = numbers.iter().map(|number| (number - mean).powi(2)).sum();
    Some((mean, (squares / (n - 1.0)).sqrt()))
}

fn has_other_version(jobs: &[PastJob], job: &PastJob) -> bool {
    jobs.iter()
        .any(|other| other.run != job.run && other.is_same_run(job))
}

fn compared(jobs: &[PastJob], at: usize) -> Vec<Compared<'_>> {
    let job = &jobs[at];
    job.of_stage(Stage::AsFound)
        .map(|found| Compared {
            job,
            found,
            since: since(jobs, at, found),
        })
        .collect()
}

fn since<'a>(jobs: &'a [PastJob], at: usize, found: &PastReading) -> Result<Since<'a>, WhyNot<'a>> {
    if has_other_version(jobs, &jobs[at]) {
        return Err(WhyNot::TwoVersions(&jobs[at]));
    }
    for job in jobs[..at].iter().rev() {
        let left = job
            .of_stage(Stage::AsLeft)
            .filter(|left| left.is_same_quantity(found))
            .last();
        match left {
            _ if (left.is_some() || job.adjusted.is_some()) && has_other_version(jobs, job) => {
                return Err(WhyNot::TwoVersions(job));
            }
            Some(left) => return drifted(job, left, found),
            None if job.adjusted.is_some() => return Err(WhyNot::Adjusted(job)),
            None => {}
        }
    }
    Err(WhyNot::NoneLeft)
}

fn drifted<'a>(
    job: &'a PastJob,
    left: &'a PastReading,
    found: &PastReading,
) -> Result<Since<'a>, WhyNot<'a>> {
    let (drift, unit) = match (found.deviation, left.deviation) {
        (Some(now), Some(then)) => (now.checked_sub(then), "% of span".to_owned()),
        _ => match (found.number, left.number, &found.unit) {
            (Some(now), Some(then), Some(unit)) if found.unit == left.unit => {
                (now.checked_sub(then), unit.clone())
            }
            (Some(_), Some(_), _) => return Err(WhyNot::OtherUnit(job)),
            _ => return Err(WhyNot::NoNumber(job)),
        },
    };
    let drift = drift.ok_or(WhyNot::NoNumber(job))?;
    let days = days_between(left.at, found.at);
    if days <= 0.0 {
        return Err(WhyNot::Clock(job));
    }
    let follows_command = found.deviation.is_none() && matches!(unit.as_str(), "%" | "mA" | "V");
    let per_year = (days >= FEWEST_DAYS && !follows_command)
        .then(|| {
            let number = |decimal: Decimal| f64::try_from(decimal).ok();
            history::drift_pct_span(number(drift)?, 0.0, days).ok()
        })
        .flatten()
        .map(|(_, per_year)| per_year);
    Ok(Since {
        job,
        left,
        days,
        drift,
        unit,
        follows_command,
        per_year,
    })
}

/// Days, with their parts.
fn days_between(from: Wall, to: Wall) -> f64 {
    to.utc_ms.saturating_sub(from.utc_ms) as f64 / 86_400_000.0
}

fn next<'a>(jobs: &'a [PastJob], compared: &[Compared<'a>]) -> Result<Suggestion<'a>, String> {
    let usable = |one: &&Compared| {
        one.found.limit.is_some()
            && one
                .since
                .as_ref()
                .is_ok_and(|since| since.unit == "% of span" && since.days >= FEWEST_DAYS)
    };
    let Some(newest) = compared.iter().rfind(usable) else {
        return Err(format!(
            "none, n = 0: it takes a run as left and a later one as found, at the same points, at least {FEWEST_DAYS} days apart, with a limit"
        ));
    };
    let at = jobs
        .iter()
        .position(|job| job.run == newest.job.run)
        .unwrap_or_default();
    let mut shortest: Option<Suggestion> = None;
    for one in compared
        .iter()
        .filter(usable)
        .filter(|one| one.job.run == newest.job.run)
    {
        let made = suggestion(jobs, at, one, rates(compared, one.found).len())?;
        // By the time until the limit itself: the bounds of the rule make many points equal.
        if shortest
            .as_ref()
            .is_none_or(|other| made.until_limit < other.until_limit)
        {
            shortest = Some(made);
        }
    }
    shortest.ok_or_else(|| "none: there is no limit to reckon with".to_owned())
}

fn suggestion<'a>(
    jobs: &'a [PastJob],
    at: usize,
    one: &Compared<'a>,
    n: usize,
) -> Result<Suggestion<'a>, String> {
    let fault = || "none: its numbers cannot be worked with".to_owned();
    let since = one.since.as_ref().map_err(|_| fault())?;
    let number = |decimal: Option<Decimal>| decimal.and_then(|decimal| f64::try_from(decimal).ok());
    // What it was left with last: read as left in that job or later, or as found if nothing was adjusted.
    let left = jobs[at..]
        .iter()
        .flat_map(|job| job.of_stage(Stage::AsLeft).map(move |left| (job, left)))
        .filter(|(_, left)| left.is_same_quantity(one.found))
        .last();
    let from = left.map_or(one.job, |(job, _)| job);
    let adjusted = jobs[at..]
        .iter()
        .skip_while(|job| job.run != from.run)
        .skip(usize::from(left.is_some()))
        .find(|job| job.adjusted.is_some());
    if let Some(job) = adjusted {
        return Err(format!(
            "none: it was adjusted on {} ({}), and the run was not read as left after it",
            job.date(),
            job.run
        ));
    }
    let kept = left.map_or(one.found, |(_, left)| left);
    let (drift, left_with, limit) = (
        number(Some(since.drift)).ok_or_else(fault)?,
        number(kept.deviation).ok_or_else(fault)?,
        number(one.found.limit).ok_or_else(fault)?,
    );
    let within = |clamp, bounds| {
        history::interval_suggest(
            drift,
            left_with,
            since.days,
            limit,
            history::K,
            clamp,
            bounds,
        )
        .map_err(|fault| format!("none: {fault}"))
    };
    let interval = within(history::CLAMP, history::BOUNDS_DAYS)?;
    let due = days_after(&date(kept.at), interval).ok_or_else(fault)?;
    Ok(Suggestion {
        drift,
        days: since.days,
        left: left_with,
        left_as_found: left.is_none(),
        left_at: kept.at,
        limit,
        until_limit: within((0.0, f64::INFINITY), (0.0, f64::INFINITY))?,
        interval,
        due: due.to_string(),
        n,
        found_beyond: one
            .found
            .deviation
            .zip(one.found.limit)
            .is_some_and(|(deviation, limit)| deviation.abs() > limit),
        from: one.clone(),
    })
}

/// The date so many whole days later.
fn days_after(date: &str, days: f64) -> Option<jiff::civil::Date> {
    let whole: i32 = rounding::fixed(days.floor(), 0).parse().ok()?;
    date.parse::<jiff::civil::Date>()
        .ok()?
        .checked_add(whole.days())
        .ok()
}

fn repeats<'a>(jobs: &'a [PastJob]) -> Vec<Repeat<'a>> {
    let mut repeats: Vec<Repeat> = Vec::new();
    let mut add = |what: String, job: &'a PastJob, bad: bool| {
        let known = repeats.iter_mut().find(|repeat| repeat.what == what);
        match known {
            // Twice in one job, or in another version of it, is once.
            Some(repeat) => {
                if !repeat
                    .jobs
                    .iter()
                    .any(|other| other.run == job.run || other.is_same_run(job))
                {
                    repeat.jobs.push(job);
                }
            }
            None => repeats.push(Repeat {
                what,
                jobs: vec![job],
                bad,
            }),
        }
    };
    for job in jobs {
        for verdict in job.verdicts.iter().filter(|verdict| {
            matches!(verdict.grade, Grade::Bad | Grade::Watch) && !verdict.outdated
        }) {
            let stage = verdict
                .stage
                .map_or_else(String::new, |stage| format!(", {}", stage.words()));
            add(
                format!(
                    "{}{stage}: {}",
                    verdict.title,
                    verdict.verdict.replace('-', " ")
                ),
                job,
                verdict.grade == Grade::Bad,
            );
        }
        for part in &job.parts {
            add(
                format!("{} ({})", part.part, part.done.to_lowercase()),
                job,
                false,
            );
        }
        for left in &job.left_out {
            add(format!("{}: {}", left.title, left.how), job, false);
        }
    }
    repeats.retain(|repeat| repeat.jobs.len() > 1);
    repeats.sort_by_key(|repeat| (!repeat.bad, std::cmp::Reverse(repeat.jobs.len())));
    repeats
}

//! Which jobs are in doubt because of their meter: common practice is a check at the
//! start and at the end of a day, and when one fails, every job since the last good
//! one is in doubt. Pure; holds nothing.

use super::facts::{Check, CheckResult, RunFacts};
use crate::core::record::Wall;

/// Why the readings of a run are in doubt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Doubt {
    /// What is written on the meter; empty where the job does not name its meter.
    pub meter: String,
    /// A check failed: true. One is missing: false.
    pub failed: bool,
    /// Why, in a sentence.
    pub why: String,
}

/// The doubts about a run, from all meter checks (in any order), as of `now`.
///
/// A job that names no meter is in doubt by the check of any meter: which one it was
/// cannot be told. A day that is not over is not yet without its check at the end.
#[must_use]
pub fn doubts(run: &RunFacts, checks: &[Check], now: Wall) -> Vec<Doubt> {
    if run.check.is_some() || run.read_at.is_empty() {
        return Vec::new();
    }
    let meters: Vec<Option<&str>> = if run.meters.is_empty() {
        vec![None]
    } else {
        run.meters
            .iter()
            .map(|meter| Some(meter.as_str()))
            .collect()
    };
    let mut doubts = Vec::new();
    for meter in meters {
        let mut of_meter: Vec<&Check> = checks
            .iter()
            .filter(|check| meter.is_none_or(|meter| meter == check.meter))
            .collect();
        of_meter.sort_by_key(|check| check.at.utc_ms);
        for doubt in of_one_meter(run, meter, &of_meter, now) {
            if !doubts.contains(&doubt) {
                doubts.push(doubt);
            }
        }
    }
    doubts
}

fn of_one_meter(run: &RunFacts, meter: Option<&str>, checks: &[&Check], now: Wall) -> Vec<Doubt> {
    let name = meter.map_or_else(|| "a meter".to_owned(), |meter| format!("meter {meter}"));
    let doubt = |failed, why| Doubt {
        meter: meter.unwrap_or_default().to_owned(),
        failed,
        why,
    };
    let mut doubts = Vec::new();
    for read in &run.read_at {
        // The first check after the reading that came to something decides for it.
        let next = checks
            .iter()
            .find(|check| check.at.utc_ms >= read.utc_ms && is_conclusive(check));
        if let Some(check) = next
            && let CheckResult::Failed(what) = &check.result
        {
            let found = doubt(
                true,
                format!(
                    "{} failed its check of {} ({what}); there was no good check of it between this job and then",
                    check_name(&name, check),
                    check.at.minute()
                ),
            );
            if !doubts.contains(&found) {
                doubts.push(found);
            }
        }
    }
    let mut days: Vec<String> = run.read_at.iter().map(|at| at.day()).collect();
    days.dedup();
    for day in days {
        let of_day: Vec<&Wall> = run.read_at.iter().filter(|at| at.day() == day).collect();
        let (Some(first), Some(last)) = (of_day.first(), of_day.last()) else {
            continue;
        };
        let good = |check: &&&Check| check.result == CheckResult::Good && check.at.day() == day;
        let before = checks
            .iter()
            .filter(good)
            .any(|check| check.at.utc_ms <= first.utc_ms);
        if !before {
            doubts.push(doubt(
                false,
                format!("{name} has no good check of {day} before this job"),
            ));
        }
        let after = checks.iter().any(|check| {
            is_conclusive(check) && check.at.day() == day && check.at.utc_ms >= last.utc_ms
        });
        if !after && day < now.day() {
            let later = checks
                .iter()
                .find(|check| is_conclusive(check) && check.at.utc_ms >= last.utc_ms);
            let later = match later {
                Some(check) if check.result == CheckResult::Good => {
                    format!("; the next one, of {}, was good", check.at.minute())
                }
                _ => String::new(),
            };
            doubts.push(doubt(
                false,
                format!("{name} has no check of {day} after this job{later}"),
            ));
        }
    }
    doubts
}

fn check_name(name: &str, check: &Check) -> String {
    if name == "a meter" && !check.meter.is_empty() {
        format!("this job names no meter, and meter {}", check.meter)
    } else {
        name.to_owned()
    }
}

fn is_conclusive(check: &Check) -> bool {
    !matches!(check.result, CheckResult::CannotTell(_))
}

/// Which check of the day is wanted before a job begins, or before the day ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// None was done today.
    Start,
    /// Readings were taken since the last one of today.
    End,
}

/// The check that is wanted at the start of a job today.
#[must_use]
pub fn wanted_at_start(runs: &[RunFacts], now: Wall) -> Option<Wanted> {
    let done = runs
        .iter()
        .filter_map(|run| run.check.as_ref())
        .any(|check| check.at.day() == now.day() && is_conclusive(check));
    (!done).then_some(Wanted::Start)
}

/// The check that is wanted when the work of today ends.
#[must_use]
pub fn wanted_at_end(runs: &[RunFacts], now: Wall) -> Option<Wanted> {
    let today = |at: &&Wall| at.day() == now.day();
    let last_read = runs
        .iter()
        .filter(|run| run.check.is_none())
        .flat_map(|run| &run.read_at)
        .filter(today)
        .map(|at| at.utc_ms)
        .max()?;
    let done = runs
        .iter()
        .filter_map(|run| run.check.as_ref())
        .any(|check| is_conclusive(check) && check.at.utc_ms >= last_read);
    (!done).then_some(Wanted::End)
}

//! The summary of a week: what the runs of some days tell together. Pure, and no state; built from
//! [`PastJob`]s, which hold no more than their journals. Every figure names the runs it comes from.

mod across;
mod html;
mod meters;
mod table;

pub use self::html::html;
pub use self::meters::MeterLine;
pub use self::table::csv;

use std::collections::BTreeMap;

use statrs::distribution::{Beta, ContinuousCDF as _};

use crate::calc::finding::Grade;
use crate::core::record::Wall;
use crate::history::words::count;
use crate::history::{PastJob, tag_key};
use crate::job::Stage;
use crate::report::State;
use crate::route::{Check, Doubt, Progress, Route, State as Standing};

/// What a summary is made from.
#[derive(Clone, Copy, Debug)]
pub struct WeekSource<'a> {
    /// First local date, `YYYY-MM-DD`.
    pub from: &'a str,
    /// Last local date.
    pub to: &'a str,
    /// The runs begun on these dates, oldest first.
    pub jobs: &'a [PastJob],
    /// All past jobs of each actuator among them, oldest first.
    pub pasts: &'a [Vec<PastJob>],
    /// The route of these dates and where it stands, if it is known.
    pub route: Option<(&'a Route, &'a Progress<'a>)>,
    /// All meter checks about these dates.
    pub checks: &'a [Check],
    /// Now: a day that is not over is not yet without its check at the end.
    pub now: Wall,
    /// Runs that could not be read, each with why.
    pub unread: &'a [(String, String)],
}

/// One run, as a line of a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunLine {
    /// Folder of the run; empty for what has none.
    pub run: String,
    /// Tag, or "no tag".
    pub tag: String,
    /// Local date.
    pub date: String,
    /// What there is to say.
    pub detail: String,
}

/// A figure with the runs that it comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Figure {
    /// What it counts.
    pub name: &'static str,
    /// Its value, with n where it is a share.
    pub value: String,
    /// How it was counted.
    pub how: String,
    /// The runs.
    pub runs: Vec<RunLine>,
}

/// The summary.
#[derive(Clone, Debug, PartialEq)]
pub struct Week {
    /// First local date.
    pub from: String,
    /// Last local date.
    pub to: String,
    /// Title of the plan.
    pub plan: Option<String>,
    /// Number of runs, and of actuators.
    pub counts: (usize, usize),
    /// The figures, most important first.
    pub figures: Vec<Figure>,
    /// Meters and their checks.
    pub meters: Vec<MeterLine>,
    /// What the page means and does not mean.
    pub statements: Vec<String>,
}

/// Makes the summary.
#[must_use]
pub fn build(source: &WeekSource) -> Week {
    let doubts = meters::doubts(source);
    let meters = meters::meters(source.jobs, &doubts);
    let tags: std::collections::BTreeSet<String> = source
        .jobs
        .iter()
        .filter_map(|job| job.tag.as_deref().map(tag_key))
        .collect();
    let mut figures = vec![
        found_out(source.jobs),
        not_done(source),
        doubtful(&doubts),
        across::worst_drift(source),
        across::same_finding(source),
        parts(source.jobs),
        left_out(source.jobs),
        corrections(source.jobs),
    ];
    let versions = versions(source.jobs);
    if !versions.runs.is_empty() {
        figures.insert(0, versions);
    }
    if !source.unread.is_empty() {
        figures.insert(0, unread(source.unread));
    }
    Week {
        from: source.from.to_owned(),
        to: source.to.to_owned(),
        plan: source.route.map(|(route, _)| route.title.clone()),
        counts: (source.jobs.len(), tags.len()),
        figures,
        meters,
        statements: [
            "Counted from the journals of the runs; each figure names its runs, whose records hold the readings. A run belongs to the local date of its start.",
            "Sayback does not move the actuator and does not state that anything is safe.",
        ]
        .map(str::to_owned)
        .to_vec(),
    }
}

fn line(job: &PastJob, detail: impl Into<String>) -> RunLine {
    RunLine {
        run: job.run.clone(),
        tag: job.tag.clone().unwrap_or_else(|| "no tag".to_owned()),
        date: job.date(),
        detail: detail.into(),
    }
}

/// Share of the runs judged as found in which a limit was not kept.
fn found_out(jobs: &[PastJob]) -> Figure {
    let judged: Vec<(&PastJob, bool)> = jobs
        .iter()
        .filter(|job| job.tag.is_some())
        .filter_map(|job| Some((job, job.found_out()?)))
        .collect();
    let out: Vec<RunLine> = judged
        .iter()
        .filter(|(_, out)| *out)
        .map(|(job, _)| line(job, why_out(job)))
        .collect();
    let without = jobs
        .iter()
        .filter(|job| job.tag.is_some() && job.found_out().is_none())
        .count();
    Figure {
        name: "Found out of tolerance",
        value: share(out.len(), judged.len()),
        how: format!(
            "Runs with a finding of as found that is a fault, or a figure of one beyond its limit, of those that have a finding of as found; {} had none.",
            count(without, "run", "runs")
        ),
        runs: out,
    }
}

fn why_out(job: &PastJob) -> String {
    job.verdicts
        .iter()
        .filter(|verdict| {
            verdict.stage == Some(Stage::AsFound)
                && !verdict.outdated
                && verdict.grade != Grade::CannotTell
                && (verdict.grade == Grade::Bad || verdict.beyond_limit)
        })
        .map(|verdict| {
            format!(
                "{}: {}. {}",
                verdict.title,
                verdict.verdict.replace('-', " "),
                verdict.reason
            )
        })
        .chain(
            job.beyond_unjudged
                .iter()
                .map(|title| format!("{title}: beyond the limit, not judged")),
        )
        .collect::<Vec<_>>()
        .join(" ")
}

/// A share with its n and the exact 95 % interval. Source: Clopper and Pearson, Biometrika 26 (1934).
#[must_use]
pub fn share(part: usize, n: usize) -> String {
    if n == 0 {
        return "none of 0".to_owned();
    }
    let (low, high) = interval(part, n);
    let percent = |share: f64| crate::calc::rounding::fixed(100.0 * share, 0);
    format!(
        "{part} of {n} ({} %; 95 % interval {} to {} %)",
        percent(part as f64 / n as f64),
        percent(low),
        percent(high)
    )
}

/// The exact 95 % interval of a share, both ends from 0 to 1. `n` is not 0, `part` not above it.
#[must_use]
pub fn interval(part: usize, n: usize) -> (f64, f64) {
    let quantile = |a: usize, b: usize, at: f64| {
        Beta::new(a as f64, b as f64).map_or(f64::NAN, |beta| beta.inverse_cdf(at))
    };
    let low = if part == 0 {
        0.0
    } else {
        quantile(part, n - part + 1, 0.025)
    };
    let high = if part >= n {
        1.0
    } else {
        quantile(part + 1, n - part, 0.975)
    };
    (low, high)
}

/// Runs that are not closed complete; of a route, every actuator that is not done.
fn not_done(source: &WeekSource) -> Figure {
    let mut runs: Vec<RunLine> = Vec::new();
    let mut of = String::new();
    if let Some((route, progress)) = source.route {
        for standing in &progress.standings {
            if matches!(standing.state, Standing::Done { .. }) {
                continue;
            }
            let item = standing.item;
            let note = item
                .note
                .as_ref()
                .map_or_else(String::new, |note| format!(" ({note})"));
            // The reason that its journal gives, where the state of the route does not hold it.
            let why = standing
                .deciding
                .and_then(|run| source.jobs.iter().find(|job| job.run == run.name))
                .filter(|job| {
                    job.state_reason
                        .as_ref()
                        .is_some_and(|reason| !standing.state.words().contains(reason))
                })
                .map_or_else(String::new, |job| format!("; {}", job.stands()));
            runs.push(RunLine {
                run: standing
                    .deciding
                    .map(|run| run.name.clone())
                    .unwrap_or_default(),
                tag: item.tag.clone(),
                date: standing
                    .deciding
                    .map(|run| run.began.day())
                    .unwrap_or_default(),
                detail: format!("{}: {}{why}{note}", item.job_id, standing.state.words()),
            });
        }
        of = format!(
            "; {} of {} on the route are done",
            progress.standings.len() - runs.len(),
            route.items.len()
        );
    }
    for job in source
        .jobs
        .iter()
        .filter(|job| job.state != State::Complete)
    {
        if !runs.iter().any(|known| known.run == job.run) {
            runs.push(line(job, format!("{}: {}", job.title, job.stands())));
        }
    }
    Figure {
        name: "Not done",
        value: format!("{}{of}", runs.len()),
        how: if source.route.is_some() {
            "Actuators of the route that are not done, and other runs of these dates that are not closed complete.".to_owned()
        } else {
            "Runs of these dates that are not closed complete. What was planned is not known here: --route FILE names the route.".to_owned()
        },
        runs,
    }
}

/// Runs whose meter failed its check after them.
fn doubtful(doubts: &[(&PastJob, Doubt)]) -> Figure {
    let runs: Vec<RunLine> = doubts
        .iter()
        .filter(|(_, doubt)| doubt.failed)
        .map(|(job, doubt)| line(job, doubt.why.clone()))
        .collect();
    Figure {
        name: "In doubt because of a meter",
        value: runs.len().to_string(),
        how: "Runs between the last good check of their meter and a check that it failed (common practice); a run that names no meter is in doubt by the check of any.".to_owned(),
        runs,
    }
}

fn parts(jobs: &[PastJob]) -> Figure {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let mut runs = Vec::new();
    for job in jobs {
        for part in &job.parts {
            *counts.entry(&part.part).or_default() += 1;
            runs.push(line(
                job,
                format!("{}: {} [{}]", part.part, part.done.to_lowercase(), part.seq),
            ));
        }
    }
    let all: Vec<String> = counts
        .iter()
        .map(|(part, number)| format!("{number} {part}"))
        .collect();
    Figure {
        name: "Parts repaired or replaced",
        value: if all.is_empty() {
            "0".to_owned()
        } else {
            all.join(", ")
        },
        how: "Each time that a step which repairs or replaces a part was said to be done. Whether a repair used a part, the job does not ask.".to_owned(),
        runs,
    }
}

fn left_out(jobs: &[PastJob]) -> Figure {
    let runs: Vec<RunLine> = jobs
        .iter()
        .flat_map(|job| {
            job.left_out.iter().map(move |left| {
                line(
                    job,
                    format!(
                        "{}, {}: {} [{}]",
                        left.title, left.how, left.reason, left.seq
                    ),
                )
            })
        })
        .collect();
    Figure {
        name: "Left out or refused",
        value: runs.len().to_string(),
        how: "Steps that were skipped, could not be done, or whose safety question was answered no, and that were not done later.".to_owned(),
        runs,
    }
}

fn corrections(jobs: &[PastJob]) -> Figure {
    let runs: Vec<RunLine> = jobs
        .iter()
        .filter(|job| job.corrections > 0)
        .map(|job| line(job, count(job.corrections, "correction", "corrections")))
        .collect();
    let all: usize = jobs.iter().map(|job| job.corrections).sum();
    Figure {
        name: "Corrections",
        value: format!(
            "{all} in {} of {}",
            runs.len(),
            count(jobs.len(), "run", "runs")
        ),
        how: "Values that were replaced; both stand in the record with the reason.".to_owned(),
        runs,
    }
}

fn versions(jobs: &[PastJob]) -> Figure {
    let runs: Vec<RunLine> = jobs
        .iter()
        .filter(|job| {
            jobs.iter()
                .any(|other| other.run != job.run && other.is_same_run(job))
        })
        .map(|job| line(job, "another version of this run is here too"))
        .collect();
    Figure {
        name: "Runs of which two versions are kept",
        value: runs.len().to_string(),
        how: "Same job, author and start, other journal. Both are counted below until one is moved out of the folder of runs.".to_owned(),
        runs,
    }
}

fn unread(unread: &[(String, String)]) -> Figure {
    Figure {
        name: "Journals that could not be read",
        value: unread.len().to_string(),
        how: "They are in no figure below, whatever their dates.".to_owned(),
        runs: unread
            .iter()
            .map(|(run, why)| RunLine {
                run: run.clone(),
                tag: String::new(),
                date: String::new(),
                detail: why.clone(),
            })
            .collect(),
    }
}

//! `summary`: the week on one page.

use std::path::Path;

use jiff::ToSpan as _;
use jiff::civil::Date;

use super::{DONE, Failure, NOT_DONE};
use crate::args::SummaryArgs;
use crate::edge::runs::{self, RunFolder};
use crate::edge::{clock, tell};
use crate::history::tag_key;
use crate::report::week::{self, WeekSource};
use crate::route::{self, Check, Route, RunFacts};
use crate::spoken::EarWords;

/// Writes the page and the table into the folder of the runs.
///
/// # Errors
/// If a date is none, or nothing can be read or written.
pub fn summary(args: &SummaryArgs) -> Result<u8, Failure> {
    let runs = runs::runs_folder(args.folder.runs.as_deref()).map_err(Failure::wrong)?;
    let (from, to) = dates(args)?;
    let plan = args.route.as_deref().map(read_route).transpose()?;
    let month_before = later(&from, -31);
    let earliest = match plan.as_ref().and_then(|route| route.from.clone()) {
        Some(began) => began.min(month_before),
        None => month_before,
    };
    let (answer, unread) = super::history::ask_with_left_out(&runs, &|index| {
        let jobs = index.between(&from, &to)?;
        let tags: std::collections::BTreeSet<String> = jobs
            .iter()
            .filter_map(|job| job.tag.as_deref().map(tag_key))
            .collect();
        let pasts = tags
            .iter()
            .map(|tag| index.of_tag(tag))
            .collect::<Result<Vec<_>, _>>()?;
        // A check of the week before or after decides too; of a route every run since it began.
        let mut about = index.between(&earliest, &later(&to, 31))?;
        if plan.is_none() {
            about.retain(|job| job.facts.check.is_some());
        }
        Ok((jobs, pasts, about, index.newest_date()?))
    })?;
    let (jobs, pasts, about, newest) = answer;
    if jobs.is_empty() {
        let newest = newest.map_or_else(
            || "There is none in the folder at all".to_owned(),
            |newest| format!("The newest is of {newest}: name other dates with --from and --to"),
        );
        tell(&format!(
            "no run from {from} to {to} in {}. {newest}; --runs names another folder",
            runs.display()
        ));
        return Ok(NOT_DONE);
    }
    // What the page leads to has to be there.
    for job in &jobs {
        let folder = RunFolder {
            path: runs.join(&job.run),
        };
        if !folder.path.join("record.html").is_file()
            && let Err(failure) = super::write_pages(&folder)
        {
            tell(&format!(
                "the record of {} could not be made, and the summary leads to nothing there: {}",
                job.run, failure.text
            ));
        }
    }
    let facts: Vec<RunFacts> = about.iter().map(|job| job.facts.clone()).collect();
    let checks: Vec<Check> = facts.iter().filter_map(|run| run.check.clone()).collect();
    let progress = plan
        .as_ref()
        .map(|route| route::progress(route, &facts, clock::wall()));
    let week = week::build(&WeekSource {
        from: &from,
        to: &to,
        jobs: &jobs,
        pasts: &pasts,
        route: plan.as_ref().zip(progress.as_ref()),
        checks: &checks,
        now: clock::wall(),
        unread: &unread,
    });
    let name = format!("summary-{from}-to-{to}");
    let (page, table) = (format!("{name}.html"), format!("{name}.csv"));
    RunFolder { path: runs.clone() }
        .write_record(&[
            (&page, week::html(&week).as_bytes()),
            (&table, &week::csv(&week).map_err(Failure::not_saved)?),
        ])
        .map_err(Failure::not_saved)?;
    for figure in &week.figures {
        super::print(&format!("{}: {}\n", figure.name, figure.value))?;
    }
    super::print(&format!("{}\n", runs.join(page).display()))?;
    Ok(DONE)
}

/// A route from its file; job files are looked for from its folder.
fn read_route(file: &Path) -> Result<Route, Failure> {
    super::route::read(file, &EarWords::any()).map(|(_, route)| route)
}

/// So many days later.
fn later(date: &str, days: i64) -> String {
    date.parse::<Date>()
        .ok()
        .and_then(|date| date.checked_add(days.days()).ok())
        .map_or_else(|| date.to_owned(), |date| date.to_string())
}

/// The first and the last date; by default the week, Monday to Sunday, that today lies in.
fn dates(args: &SummaryArgs) -> Result<(String, String), Failure> {
    let monday = |day: Date| {
        day.checked_sub(i64::from(day.weekday().to_monday_zero_offset()).days())
            .unwrap_or(day)
    };
    let week = |day: Date| day.checked_add(6.days()).unwrap_or(day);
    let (from, to) = match (args.from, args.to) {
        (Some(from), Some(to)) => (from, to),
        (Some(from), None) => (from, week(from)),
        (None, Some(to)) => (monday(to), to),
        (None, None) => {
            let from = monday(clock::today());
            (from, week(from))
        }
    };
    if from > to {
        return Err(Failure::wrong(format!(
            "--from {from} is after --to {to}. The earlier date comes first"
        )));
    }
    Ok((from.to_string(), to.to_string()))
}

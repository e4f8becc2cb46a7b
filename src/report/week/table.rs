//! The summary of a week as CSV (RFC 4180): one row for each figure, and one for each run that it comes from.

use super::{MeterLine, RunLine, Week};
use crate::report::CsvError;
use crate::report::csv::safe_text;
use crate::route::{Check, CheckResult};

const COLUMNS: [&str; 8] = [
    "row", "figure", "value", "tag", "date", "run", "detail", "how",
];

/// The summary as CSV in UTF-8.
///
/// # Errors
/// If a row cannot be written, which would be a fault of Sayback.
pub fn csv(week: &Week) -> Result<Vec<u8>, CsvError> {
    let mut writer = ::csv::WriterBuilder::new()
        .terminator(::csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    let mut row = |cells: [&str; 8]| writer.write_record(cells.map(safe_text));
    let (runs, tags) = week.counts;
    row([
        "figure",
        "Runs",
        &runs.to_string(),
        "",
        "",
        "",
        &format!("{} to {}", week.from, week.to),
        "",
    ])?;
    row(["figure", "Actuators", &tags.to_string(), "", "", "", "", ""])?;
    for figure in &week.figures {
        row([
            "figure",
            figure.name,
            &figure.value,
            "",
            "",
            "",
            "",
            &figure.how,
        ])?;
        for RunLine {
            run,
            tag,
            date,
            detail,
        } in &figure.runs
        {
            row(["run", figure.name, "", tag, date, run, detail, ""])?;
        }
    }
    for meter in &week.meters {
        let MeterLine {
            name,
            due,
            expired,
            runs,
            checks,
            unchecked,
            ..
        } = meter;
        let past = if *expired { "past its due date" } else { "" };
        row([
            "meter",
            name,
            &runs.len().to_string(),
            "",
            "",
            "",
            &format!("due {due}"),
            past,
        ])?;
        for run in runs {
            row(["meter used", name, "", "", "", run, "", ""])?;
        }
        for (run, check) in checks {
            row([
                "meter check",
                name,
                good(&check.result),
                "",
                &check.at.day(),
                run,
                &what(&check.result),
                day_end(check),
            ])?;
        }
        for day in unchecked {
            row(["meter not checked", name, "", "", "", "", day, ""])?;
        }
    }
    writer
        .into_inner()
        .map_err(|error| CsvError::Finish(error.to_string()))
}

/// The outcome of a check in a word.
pub(super) fn good(result: &CheckResult) -> &'static str {
    match result {
        CheckResult::Good => "good",
        CheckResult::Failed(_) => "FAILED",
        CheckResult::CannotTell(_) => "cannot tell",
    }
}

/// What is behind that word.
pub(super) fn what(result: &CheckResult) -> String {
    match result {
        CheckResult::Good => String::new(),
        CheckResult::Failed(what) | CheckResult::CannotTell(what) => what.clone(),
    }
}

/// Which check of the day it was.
pub(super) fn day_end(check: &Check) -> &'static str {
    if check.at_end {
        "end of the day"
    } else {
        "start of the day"
    }
}

//! The history of an actuator in plain lines. No state.

use rust_decimal::Decimal;

use super::tag::{
    Compared, FEWEST_DAYS, Since, Suggestion, TagHistory, WhyNot, mean_and_deviation,
};
use super::{PastJob, date};
use crate::calc::{history, rounding};
use crate::core::question::with_unit;

/// The history of a tag in lines, most important first. `today` is the local date, `YYYY-MM-DD`.
#[must_use]
pub fn lines(tag: &str, history: &TagHistory, today: &str) -> Vec<String> {
    let jobs = history.jobs;
    let mut lines = vec![format!("{tag}: {}", count(jobs.len(), "job", "jobs"))];
    next(history, today, &mut lines);
    if !history.repeats.is_empty() {
        lines.push("What repeats:".to_owned());
    }
    for repeat in &history.repeats {
        let dates: Vec<String> = repeat.jobs.iter().map(|job| job.date()).collect();
        lines.push(format!(
            "  {}{}, in {} of {} jobs: {}",
            if repeat.bad { "!! " } else { "" },
            repeat.what,
            repeat.jobs.len(),
            jobs.len(),
            dates.join(", ")
        ));
    }
    newest(history, &mut lines);
    lines.push("Jobs, oldest first:".to_owned());
    for job in jobs {
        lines.push(job_line(job));
        if history.versions.contains(&job.run.as_str()) {
            lines.push(
                "      there is another version of this run; nothing is worked out from either. Compare them, and move one out of the folder of runs"
                    .to_owned(),
            );
        }
    }
    lines
        .push("No value of an earlier job is ever taken into a new one: read it again.".to_owned());
    lines
}

fn job_line(job: &PastJob) -> String {
    let by = job
        .by
        .as_ref()
        .map_or_else(String::new, |by| format!(", by {by}"));
    format!(
        "  {} {}: {}{by}  [{}]",
        job.date(),
        job.title,
        job.stands(),
        job.run
    )
}

fn next(history: &TagHistory, today: &str, lines: &mut Vec<String>) {
    match &history.next {
        Ok(suggestion) => {
            lines.extend(suggested(suggestion, today));
        }
        Err(why) => lines.push(format!("Next check, a suggestion: {why}")),
    }
}

/// The suggestion with its rule, its numbers and its n.
#[must_use]
pub fn suggested(suggestion: &Suggestion, today: &str) -> Vec<String> {
    let found = suggestion.from.found;
    let overdue = if suggestion.due.as_str() < today {
        "; that is past"
    } else {
        ""
    };
    let weak = if suggestion.n == 1 {
        ": one drift value is weak evidence"
    } else {
        "; the rule takes the last"
    };
    let left = if suggestion.left_as_found {
        "left as found, nothing was adjusted"
    } else {
        "as left"
    };
    let mut lines = vec![
        format!(
            "Next check, a suggestion (n = {}{weak}): by {}, {} days after {}{overdue}",
            suggestion.n,
            suggestion.due,
            rounding::fixed(suggestion.interval.floor(), 0),
            date(suggestion.left_at)
        ),
        format!(
            "  from {} at {}: drift {} % of span in {} days; {left} {} %; limit \u{B1}{} % ({})",
            found.what,
            found.place(),
            signed(suggestion.drift, 3),
            rounding::fixed(suggestion.days, 0),
            signed(suggestion.left, 3),
            found.limit.unwrap_or_default().normalize(),
            found.limit_from.as_deref().unwrap_or("source unknown")
        ),
        format!(
            "  rule: {} of the time until that drift would reach the limit, within {} and {} times the last interval and {} to {} days (house rule in the spirit of the reactive methods of ILAC-G24; common practice)",
            history::K,
            history::CLAMP.0,
            history::CLAMP.1,
            history::BOUNDS_DAYS.0,
            history::BOUNDS_DAYS.1
        ),
    ];
    if suggestion.found_beyond {
        lines.push(
            "  as found it was beyond the limit: the last interval was too long; tell those whom it concerns"
                .to_owned(),
        );
    }
    lines
}

fn newest(history: &TagHistory, lines: &mut Vec<String>) {
    let newest = history.newest();
    let Some(first) = newest.first() else {
        lines.push(
            "Since last as left: no job has a reading as found that could be compared".to_owned(),
        );
        return;
    };
    lines.push(format!(
        "Since last as left, as found on {} [{}]:",
        first.job.date(),
        first.job.run
    ));
    for one in &newest {
        lines.push(format!("  {}", compared(one)));
    }
    let Some(worst) = worst(&newest) else {
        return;
    };
    let rates = history.rates(worst.found);
    if let (Some((mean, deviation)), Ok(since)) = (mean_and_deviation(&rates), &worst.since) {
        let all: Vec<String> = rates.iter().map(|rate| signed(*rate, 3)).collect();
        lines.push(format!(
            "  drift a year at the worst, {}, oldest first: {} {} (n = {}, mean {}, standard deviation {})",
            name(worst),
            all.join(", "),
            since.unit,
            rates.len(),
            signed(mean, 3),
            rounding::fixed(deviation, 3)
        ));
    }
}

/// The comparison of the largest drift in % of span.
#[must_use]
pub fn worst<'h, 'a>(compared: &[&'h Compared<'a>]) -> Option<&'h Compared<'a>> {
    compared
        .iter()
        .filter_map(|one| {
            let since = one.since.as_ref().ok()?;
            (since.unit == "% of span").then_some((since.drift.abs(), *one))
        })
        // Of equal ones the first.
        .fold(
            None,
            |worst: Option<(Decimal, &Compared)>, one| match worst {
                Some(worst) if worst.0 >= one.0 => Some(worst),
                _ => Some(one),
            },
        )
        .map(|(_, one)| one)
}

/// Quantity and point.
#[must_use]
pub fn name(one: &Compared) -> String {
    let place = one.found.place();
    if place.is_empty() {
        one.found.what.clone()
    } else {
        format!("{} at {place}", one.found.what)
    }
}

/// One comparison in a line.
#[must_use]
pub fn compared(one: &Compared) -> String {
    let name = name(one);
    match &one.since {
        Ok(since) => format!("{name}: {}", drift(one, since)),
        Err(why) => format!("{name}: as found {}; {}", shown(one), why_not(why)),
    }
}

fn shown(one: &Compared) -> String {
    match one.found.deviation {
        Some(deviation) => format!("{} ({} % of span)", one.found.shown, decimal(deviation)),
        None => one.found.shown.clone(),
    }
}

fn drift(one: &Compared, since: &Since) -> String {
    let left = match since.left.deviation {
        Some(deviation) if since.unit == "% of span" => {
            format!("{} ({} % of span)", since.left.shown, decimal(deviation))
        }
        _ => since.left.shown.clone(),
    };
    let drift = if since.unit == "% of span" {
        format!("{} % of span", decimal(since.drift))
    } else {
        with_unit(&decimal(since.drift), &since.unit)
    };
    if since.follows_command {
        return format!(
            "left {left} on {} [{}], found {}: differs by {drift}; it stands where the command has it, so this is no drift",
            since.job.date(),
            since.job.run,
            shown(one)
        );
    }
    let per_year = match since.per_year {
        Some(rate) => format!(", {} a year", signed(rate, 3)),
        None => format!(", no figure a year from less than {FEWEST_DAYS} days"),
    };
    format!(
        "left {left} on {} [{}], found {}: drift {drift} in {} days{per_year}",
        since.job.date(),
        since.job.run,
        shown(one),
        rounding::fixed(since.days, 0)
    )
}

fn why_not(why: &WhyNot) -> String {
    let run = |job: &PastJob| format!("{} [{}]", job.date(), job.run);
    match why {
        WhyNot::NoneLeft => "never read as left before".to_owned(),
        WhyNot::Adjusted(job) => format!(
            "no drift: it was adjusted on {} and this was not read as left after it",
            run(job)
        ),
        WhyNot::NoNumber(job) => format!(
            "no drift: one of the two is no number, left on {}",
            run(job)
        ),
        WhyNot::OtherUnit(job) => format!("no drift: left in another unit on {}", run(job)),
        WhyNot::TwoVersions(job) => format!(
            "no drift: there are two versions of the run of {}",
            run(job)
        ),
        WhyNot::Clock(job) => format!(
            "no drift: by the clock it was left after it was found, on {}; check the clocks",
            run(job)
        ),
    }
}

/// A count with its noun.
#[must_use]
pub fn count(number: usize, one: &str, more: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { more })
}

/// At most three decimals, with sign.
fn decimal(number: Decimal) -> String {
    if number.scale() > 3 {
        return f64::try_from(number)
            .map_or_else(|_| number.to_string(), |number| signed(number, 3));
    }
    let sign = if number.is_sign_positive() && !number.is_zero() {
        "+"
    } else {
        ""
    };
    format!("{sign}{number}")
}

/// Rounded half to even, with sign; never minus zero.
#[must_use]
pub fn signed(number: f64, decimals: u32) -> String {
    let text = rounding::fixed(number, decimals);
    if number > 0.0 && text.bytes().any(|byte| matches!(byte, b'1'..=b'9')) {
        format!("+{text}")
    } else {
        text
    }
}

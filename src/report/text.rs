//! The record in short, for a terminal.

use super::plain::plain;
use super::types::{Report, Side, Weight};
use super::{csv, ears, plot};
use crate::calc::finding::Grade;

/// A short summary in plain lines: what, exceptions, as found and as left, latest findings.
#[must_use]
pub fn text(report: &Report) -> String {
    let head = &report.head;
    let mut lines = vec![
        format!(
            "{}  {}",
            head.tag.as_deref().unwrap_or("no tag"),
            head.title
        ),
        format!("{} to {}", head.started.to_read(), head.last.to_read()),
        format!("By: {}", head.by.as_deref().unwrap_or("nobody named")),
        format!("State: {}", head.state.words()),
        format!("Found: {}", report.summary.found),
        format!("Done: {}", report.summary.done),
        format!("Left: {}", report.summary.left),
        String::new(),
    ];
    if report.exceptions.is_empty() {
        lines.push("No exceptions.".to_owned());
    } else {
        lines.push(format!("Exceptions: {}", report.exceptions.len()));
        for exception in &report.exceptions {
            let sign = match exception.weight {
                Weight::Bad => "!!",
                Weight::Watch => " !",
            };
            let detail = if exception.detail.is_empty() {
                String::new()
            } else {
                format!(" \u{2013} {}", exception.detail)
            };
            lines.push(format!("{sign} {}{detail}", exception.what));
        }
    }
    if !report.pairs.is_empty() {
        lines.push(String::new());
        lines.push("As found | as left | change".to_owned());
        for pair in &report.pairs {
            let change = pair
                .change
                .as_deref()
                .map_or_else(String::new, |change| format!(" | {change}"));
            lines.push(format!(
                "  {}: {} | {}{change}",
                pair.measures,
                side(&pair.as_found),
                side(&pair.as_left)
            ));
        }
    }
    if let Some(track) = &report.track {
        for (name, wiper) in [("as found", &track.as_found), ("as left", &track.as_left)] {
            if let Some(wiper) = wiper {
                lines.push(format!("  Track, {name}: {}", plot::words(wiper)));
            }
        }
    }
    let latest: Vec<_> = report
        .findings
        .iter()
        .filter(|finding| finding.latest)
        .collect();
    if !latest.is_empty() {
        lines.push(String::new());
        for finding in latest {
            let sign = match finding.grade {
                Grade::Good => "  ",
                Grade::Watch | Grade::CannotTell => " !",
                Grade::Bad => "!!",
            };
            let verdict = finding.verdict.replace('-', " ");
            let was = finding.was.as_deref().map_or_else(String::new, |was| {
                format!(", before a correction: {}", was.replace('-', " "))
            });
            lines.push(format!(
                "{sign} {}: {verdict} ({}{}{was}). {}",
                finding.title,
                csv::grade(finding.grade),
                if finding.outdated.is_some() {
                    ", from a value that was replaced afterwards"
                } else {
                    ""
                },
                finding.reason
            ));
        }
    }
    for decision in &report.decisions {
        lines.push(format!(
            "   {}, {}: {} against {} ({}): {}",
            decision.title,
            decision.what,
            decision.value,
            decision.limit,
            decision.limit_from,
            decision.words()
        ));
    }
    lines.push(String::new());
    lines.push(format!(
        "Journal: {}, {} records, hash {}",
        head.journal, head.records, head.journal_hash
    ));
    lines.push(ears::sentence(&head.ears));
    lines.extend(report.statements.first().cloned());
    let mut text = String::new();
    for line in lines {
        text.push_str(plain(&line).trim_end());
        text.push('\n');
    }
    text
}

fn side(side: &Side) -> String {
    let shown = side
        .shown
        .as_deref()
        .or(side.missing.as_deref())
        .unwrap_or("not measured");
    let uncertainty = side
        .uncertainty
        .as_deref()
        .map_or_else(String::new, |u| format!(" (U {u})"));
    let replaced = if side.replaced.is_empty() {
        String::new()
    } else {
        format!(", before: {}", side.replaced.join(", "))
    };
    format!("{shown}{uncertainty}{replaced}")
}

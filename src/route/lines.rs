//! A route in plain lines. Pure; holds nothing.

use super::Route;
use super::alike::alike;
use super::facts::RunFacts;
use super::state::{Progress, Standing};

/// The whole list: each actuator with where it stands, what is in doubt, and what comes next.
#[must_use]
pub fn lines(route: &Route, progress: &Progress, runs: &[RunFacts]) -> Vec<String> {
    let mut lines = vec![format!("{}: {}", route.title, progress.left())];
    for standing in &progress.standings {
        lines.push(line(standing));
        for doubt in &standing.doubts {
            lines.push(format!("   IN DOUBT: {}", doubt.why));
        }
        for changed in &standing.plate_changed {
            lines.push(format!(
                "   CHANGED: {changed}; its run goes on with what it began with"
            ));
        }
    }
    for run in &progress.taken_out {
        let tag = run.tag.as_deref().unwrap_or("no tag");
        lines.push(format!(
            "no longer on the route: {tag}, {} ({}); its run is kept",
            run.job, run.name
        ));
    }
    for run in &progress.unreadable {
        if let super::Stands::Unreadable { why } = &run.stands {
            lines.push(format!("cannot be read: {}: {why}", run.name));
        }
    }
    lines.extend(progress.old_words().map(|old| format!("OLD: {old}")));
    for alike in alike(runs) {
        lines.push(format!("QUESTION: {}", alike.answered()));
    }
    lines.push(match progress.next() {
        Some(next) => format!("next: {}", next.item.tag),
        None => "next: nothing to begin or to go on with".to_owned(),
    });
    lines
}

fn line(standing: &Standing) -> String {
    let item = standing.item;
    let mut about = vec![item.job_id.clone()];
    if item.critical {
        about.push("critical".to_owned());
    }
    about.extend(item.area.clone());
    about.extend(item.group.as_ref().map(|group| format!("group {group}")));
    about.extend(item.sheet.by.as_ref().map(|by| format!("by {by}")));
    let run = standing.deciding.map_or_else(String::new, |run| {
        format!(" ({}, {})", run.name, run.last.minute())
    });
    let note = item
        .note
        .as_ref()
        .map_or_else(String::new, |note| format!(" [{note}]"));
    format!(
        "{} {}, {}: {}{run}{note}",
        item.number,
        item.tag,
        about.join(", "),
        standing.state.words()
    )
}

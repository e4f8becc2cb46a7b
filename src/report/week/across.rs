//! Figures that hold jobs against each other: the worst drift of a tag, and the same finding on several
//! actuators. Pure; holds nothing.

use std::collections::BTreeMap;

use super::{Figure, WeekSource, line};
use crate::calc::finding::Grade;
use crate::history::tag::{Compared, TagHistory};
use crate::history::words;
use crate::history::{PastJob, tag_key};
use crate::job::Stage;

/// Most drifts that are listed.
const MOST_DRIFTS: usize = 5;

pub(super) fn worst_drift(source: &WeekSource) -> Figure {
    let histories: Vec<TagHistory> = source
        .pasts
        .iter()
        .map(|jobs| TagHistory::of(jobs))
        .collect();
    // Of each run the worst point.
    let mut worst: Vec<&Compared> = Vec::new();
    for history in &histories {
        for job in source.jobs {
            let of_run: Vec<&Compared> = history
                .compared
                .iter()
                .filter(|one| one.job.run == job.run)
                .collect();
            worst.extend(words::worst(&of_run));
        }
    }
    let size = |one: &&Compared| one.since.as_ref().map(|since| since.drift.abs()).ok();
    worst.sort_by_key(|one| std::cmp::Reverse(size(one)));
    let n = worst.len();
    let value = worst.first().map_or_else(
        || "none: no run was read as found at points that were left before".to_owned(),
        |one| {
            let since = one.since.as_ref().ok();
            format!(
                "{} % of span, {} (n = {n})",
                since.map_or_else(String::new, |since| signed(since.drift)),
                one.job.tag.as_deref().unwrap_or("no tag")
            )
        },
    );
    Figure {
        name: "Worst drift since the last as left",
        value,
        how: format!(
            "Of each run the point that drifted most; the {} largest.",
            MOST_DRIFTS.min(n)
        ),
        runs: worst
            .iter()
            .take(MOST_DRIFTS)
            .map(|one| line(one.job, words::compared(one)))
            .collect(),
    }
}

fn signed(number: rust_decimal::Decimal) -> String {
    let sign = if number.is_sign_positive() && !number.is_zero() {
        "+"
    } else {
        ""
    };
    format!("{sign}{}", number.normalize())
}

/// The same finding as found on more than one actuator: of one group, where groups are known.
pub(super) fn same_finding(source: &WeekSource) -> Figure {
    let group = |job: &PastJob| -> Option<String> {
        let tag = tag_key(job.tag.as_deref()?);
        let items = &source.route?.0.items;
        items
            .iter()
            .find(|item| tag_key(&item.tag) == tag && item.job_id == job.job)
            .or_else(|| items.iter().find(|item| tag_key(&item.tag) == tag))?
            .group
            .clone()
    };
    let mut found: BTreeMap<(String, Option<String>), Vec<&PastJob>> = BTreeMap::new();
    for job in source.jobs.iter().filter(|job| job.tag.is_some()) {
        for verdict in job
            .verdicts
            .iter()
            .filter(|verdict| verdict.grade == Grade::Bad && !verdict.outdated)
        {
            let stage = verdict.stage.map_or("", Stage::words);
            let what = format!(
                "{}, {stage}: {}",
                verdict.title,
                verdict.verdict.replace('-', " ")
            );
            let group = group(job);
            let known = found.entry((what.clone(), group.clone())).or_default();
            if !known.iter().any(|other| other.tag == job.tag) {
                known.push(job);
            }
            // Beside its group it counts among all.
            if group.is_some() {
                let all = found.entry((what, None)).or_default();
                if !all.iter().any(|other| other.tag == job.tag) {
                    all.push(job);
                }
            }
        }
    }
    // Those of one group alone are told once, with their group.
    let told = |what: &str, jobs: &[&PastJob]| {
        found.iter().any(|((other, group), of_group)| {
            group.is_some() && other == what && of_group.len() == jobs.len()
        })
    };
    let mut several: Vec<_> = found
        .iter()
        .filter(|((what, group), jobs)| jobs.len() > 1 && (group.is_some() || !told(what, jobs)))
        .collect();
    // A shared cause first, then what came most often.
    several.sort_by_key(|((_, group), jobs)| (group.is_none(), std::cmp::Reverse(jobs.len())));
    Figure {
        name: "Same fault on several actuators",
        value: several.len().to_string(),
        how: if source.route.is_some() {
            "A finding that is a fault on more than one actuator; first those of one group, which may share a cause: look at the cabinet, the supply.".to_owned()
        } else {
            "A finding that is a fault on more than one actuator. Groups are not known here: --route FILE names them.".to_owned()
        },
        runs: several
            .iter()
            .flat_map(|((what, group), jobs)| {
                let group = group
                    .as_ref()
                    .map_or_else(String::new, |group| format!("group {group}: "));
                let number = jobs.len();
                jobs.iter()
                    .map(move |job| line(job, format!("{group}{what} ({number} actuators)")))
            })
            .collect(),
    }
}

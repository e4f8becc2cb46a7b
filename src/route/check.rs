//! From what stands in the file to a checked [`Route`], whichever form the file
//! has: the jobs are found, and each line is checked as a job sheet would be.
//! Holds nothing.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::sync::Arc;

use super::{FindJob, Item, Route, RouteJob};
use crate::job::load::fault::{Faults, Span, shown};
use crate::job::load::table::Text;
use crate::job::sheet::{self, GivenLimit, Sheet};
use crate::job::{Job, PlateKind, PlateValue, built_in};

/// A route as it stands in the file, each part with its place.
pub(super) struct Draft {
    pub(super) id: String,
    pub(super) title: String,
    pub(super) from: Option<String>,
    pub(super) rows: Vec<Row>,
    /// What stands before the id in a fault: a table has columns.
    pub(super) head: &'static str,
}

/// One actuator as it stands in the file.
#[derive(Clone, Default)]
pub(super) struct Row {
    /// The whole of it, for what is missing.
    pub(super) span: Span,
    pub(super) tag: Option<Text>,
    pub(super) job: Option<Text>,
    pub(super) by: Option<Text>,
    pub(super) relayed_by: Option<Text>,
    pub(super) area: Option<Text>,
    pub(super) group: Option<Text>,
    pub(super) critical: bool,
    pub(super) note: Option<Text>,
    /// Nameplate data by item; not the tag.
    pub(super) plate: Vec<(Text, Text)>,
    /// Data that hold for every actuator whose job takes them, unless it has its own.
    pub(super) common: Vec<(Text, Text)>,
    pub(super) limits: Vec<GivenLimit>,
}

pub(super) fn check(
    draft: Draft,
    hash: String,
    faults: &mut Faults,
    find: &mut FindJob,
) -> Option<Route> {
    let jobs = jobs(&draft.rows, faults, find);
    let mut items: Vec<Item> = Vec::new();
    let mut taken: BTreeMap<(String, String), usize> = BTreeMap::new();
    for row in &draft.rows {
        let Some(name) = &row.job else {
            faults.add(
                &row.span,
                "this actuator has no job",
                format!("name one: {}", built_in_names().join(", ")),
            );
            continue;
        };
        let Some(Some(found)) = jobs.get(&name.text) else {
            continue;
        };
        let row = &only_of_this_job(row, &found.job, &jobs, faults);
        let number = items.len() + 1;
        let Some(item) = item(row, number, name, &found.job, draft.head, faults) else {
            continue;
        };
        if let Some(line) = taken.insert((item.tag.clone(), item.job_id.clone()), item.line)
            && let Some(tag) = &row.tag
        {
            faults.add(
                &tag.span,
                format!(
                    "the tag {} with the job {} stands in line {line} already",
                    item.tag, item.job_id
                ),
                "one of the two is another actuator, or is there twice: put its tag right, or take the line out",
            );
        }
        items.push(item);
    }
    if draft.rows.is_empty() {
        faults.add(
            &(0..0),
            "the route has no actuator",
            "add one line, or one [[actuator]], for each",
        );
    }
    unused_common(&draft.rows, &jobs, faults);
    faults.is_empty().then(|| Route {
        id: draft.id,
        title: draft.title,
        from: draft.from,
        hash,
        items,
        jobs: jobs
            .into_iter()
            .filter_map(|(name, job)| job.map(|job| (name, job)))
            .collect(),
    })
}

/// Every job that the rows name, once.
fn jobs(
    rows: &[Row],
    faults: &mut Faults,
    find: &mut FindJob,
) -> BTreeMap<String, Option<RouteJob>> {
    let mut jobs = BTreeMap::new();
    for name in rows.iter().filter_map(|row| row.job.as_ref()) {
        if let Entry::Vacant(new) = jobs.entry(name.text.clone()) {
            new.insert(job(name, faults, find));
        }
    }
    jobs
}

/// The row without what only another job of the route takes, which is told: in a table, every
/// line has every column.
fn only_of_this_job(
    row: &Row,
    job: &Job,
    jobs: &BTreeMap<String, Option<RouteJob>>,
    faults: &mut Faults,
) -> Row {
    let mut row = row.clone();
    let others = |id: &str| {
        jobs.values()
            .flatten()
            .any(|other| other.job.plate_item(id).is_some())
    };
    row.plate.retain(|(id, value)| {
        let strange = job.plate_item(&id.text).is_none() && others(&id.text);
        if strange {
            faults.add(
                &value.span,
                format!("the job {} takes no {}", job.id, id.text),
                "leave it out for this actuator: another job of the route takes it",
            );
        }
        !strange
    });
    row
}

fn job(name: &Text, faults: &mut Faults, find: &mut FindJob) -> Option<RouteJob> {
    let is_path = name.text.contains(['/', '\\', '.']);
    if !is_path && built_in::text(&name.text).is_none() {
        let known = built_in_names();
        faults.unknown(&name.span, "job", &name.text, known.iter().copied());
        return None;
    }
    match find(&name.text) {
        Err(why) => {
            let what = format!("the job \"{}\" cannot be used", shown(&name.text));
            let first = why.lines().next().unwrap_or_default();
            faults.add(
                &name.span,
                what,
                format!("put its file right: {}", shown(first)),
            );
            None
        }
        Ok((text, job)) => {
            let takes_tag = job
                .plate_item("tag")
                .is_some_and(|item| matches!(item.kind, PlateKind::Tag));
            if !takes_tag {
                faults.add(
                    &name.span,
                    format!(
                        "the job \"{}\" is not done on an actuator: it asks for no tag",
                        job.id
                    ),
                    "a route lists actuators; the route asks for the meter check by itself",
                );
                return None;
            }
            Some(RouteJob {
                job: Arc::new(job),
                text,
            })
        }
    }
}

fn item(
    row: &Row,
    number: usize,
    name: &Text,
    job: &Job,
    head: &str,
    faults: &mut Faults,
) -> Option<Item> {
    let Some(tag) = &row.tag else {
        faults.add(
            &row.span,
            "this actuator has no tag",
            "write the tag that stands on it",
        );
        return None;
    };
    let line = faults.line_of(&row.span);
    let named = |id: &str, value: &Text| {
        let id = Text {
            text: id.to_owned(),
            span: value.span.clone(),
        };
        (id, value.clone())
    };
    let mut given = vec![named("tag", tag)];
    for (id, value) in &row.plate {
        if id.text == "tag" {
            faults.add(
                &id.span,
                "the tag is given twice",
                "give it once, beside the job",
            );
        } else {
            given.push((id.clone(), value.clone()));
        }
    }
    for (id, value) in &row.common {
        let own = given.iter().any(|(other, _)| other.text == id.text);
        if !own && job.plate_item(&id.text).is_some() {
            given.push((id.clone(), value.clone()));
        }
    }
    let plate = sheet::plate_values(faults, job, &given, head);
    let limits = sheet::limits(faults, job, row.limits.clone(), head);
    let text = |text: &Option<Text>| text.as_ref().map(|text| text.text.clone());
    let Some(PlateValue::Text(tag)) = plate.get("tag").cloned() else {
        return None;
    };
    Some(Item {
        number,
        line,
        tag,
        job: name.text.clone(),
        job_id: job.id.clone(),
        sheet: Sheet {
            plate,
            limits,
            by: text(&row.by),
            relayed_by: text(&row.relayed_by),
        },
        area: text(&row.area),
        group: text(&row.group),
        critical: row.critical,
        note: text(&row.note),
    })
}

/// Data for every actuator that no job of the route takes: a name written wrongly.
fn unused_common(rows: &[Row], jobs: &BTreeMap<String, Option<RouteJob>>, faults: &mut Faults) {
    let Some(row) = rows.first() else { return };
    if jobs.is_empty() || jobs.values().any(Option::is_none) {
        return;
    }
    let known: Vec<&str> = jobs
        .values()
        .flatten()
        .flat_map(|job| job.job.plate.iter().map(|item| item.id.as_str()))
        .collect();
    for (id, _) in &row.common {
        if !known.contains(&id.text.as_str()) {
            faults.unknown(&id.span, "plate item", &id.text, known.iter().copied());
        }
    }
}

fn built_in_names() -> Vec<&'static str> {
    built_in::all()
        .iter()
        .map(|job| job.id)
        .filter(|id| *id != "meter-check")
        .collect()
}

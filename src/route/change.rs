//! What is different in a route file since a run began from it. Pure; holds nothing.

use super::state::shown;
use super::{Item, Route};

/// How `now` differs from `before`, one sentence an actuator, in the order of the files.
#[must_use]
pub fn changes(before: &Route, now: &Route) -> Vec<String> {
    let mut told = Vec::new();
    for item in &now.items {
        match before.items.iter().find(|other| other.key() == item.key()) {
            None => told.push(format!("{} ({}) was added", item.tag, item.job_id)),
            Some(was) => {
                let changed = changed(was, item);
                if !changed.is_empty() {
                    told.push(format!(
                        "{} ({}): {}",
                        item.tag,
                        item.job_id,
                        changed.join("; ")
                    ));
                }
            }
        }
    }
    for item in &before.items {
        if !now.items.iter().any(|other| other.key() == item.key()) {
            told.push(format!(
                "{} ({}) was taken out; what was kept of it stays",
                item.tag, item.job_id
            ));
        }
    }
    told
}

fn changed(was: &Item, now: &Item) -> Vec<String> {
    let mut told = Vec::new();
    let mut tell = |what: &str, was: Option<String>, now: Option<String>| {
        if was != now {
            let or_nothing = |text: Option<String>| text.unwrap_or_else(|| "not given".to_owned());
            told.push(format!(
                "{what} was {}, is {}",
                or_nothing(was),
                or_nothing(now)
            ));
        }
    };
    let both = |one: Vec<&String>, other: Vec<&String>| {
        let mut ids: Vec<String> = one.into_iter().chain(other).cloned().collect();
        ids.sort();
        ids.dedup();
        ids
    };
    let (one, other) = (&was.sheet.plate, &now.sheet.plate);
    for id in both(one.keys().collect(), other.keys().collect()) {
        tell(&id, one.get(&id).map(shown), other.get(&id).map(shown));
    }
    let (one, other) = (&was.sheet.limits, &now.sheet.limits);
    for id in both(one.keys().collect(), other.keys().collect()) {
        let limit = |limit: &crate::job::Limit| format!("{} ({})", limit.value, limit.source);
        tell(
            &format!("limit {id}"),
            one.get(&id).map(limit),
            other.get(&id).map(limit),
        );
    }
    let yes = |flag: bool| flag.then(|| "yes".to_owned());
    tell("critical", yes(was.critical), yes(now.critical));
    tell("area", was.area.clone(), now.area.clone());
    tell("group", was.group.clone(), now.group.clone());
    tell("by", was.sheet.by.clone(), now.sheet.by.clone());
    tell(
        "relayed-by",
        was.sheet.relayed_by.clone(),
        now.sheet.relayed_by.clone(),
    );
    tell("note", was.note.clone(), now.note.clone());
    told
}

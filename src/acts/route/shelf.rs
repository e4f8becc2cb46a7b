//! The runs of a folder, as a route needs to know of them.
//!
//! State: what was read so far, so that a journal is read again only when it has grown. It can be thrown away
//! at any time; the journals stay the truth.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::METER_CHECK;
use crate::acts::Failure;
use crate::core::record::Record;
use crate::edge::runs::RunFolder;
use crate::route::{self, Check, Route, RunFacts};
use crate::spoken::EarWords;

/// The runs that a route needs to know of, as read so far. A journal only grows: one of the same
/// length is the same.
pub(super) struct Shelf {
    pub(super) runs: PathBuf,
    /// How the names of their folders end.
    jobs: Vec<String>,
    from: Option<String>,
    known: BTreeMap<String, (u64, RunFacts)>,
}

impl Shelf {
    pub(super) fn new(runs: PathBuf, route: &Route) -> Self {
        let mut jobs: Vec<String> = route
            .jobs
            .values()
            .map(|job| format!("-{}", job.job.id))
            .collect();
        jobs.push(format!("-{METER_CHECK}"));
        Self {
            runs,
            jobs,
            from: route.from.clone(),
            known: BTreeMap::new(),
        }
    }

    pub(super) fn facts(&mut self) -> Result<Vec<RunFacts>, Failure> {
        let mut all = Vec::new();
        for folder in RunFolder::all(&self.runs).map_err(Failure::wrong)? {
            let name = folder.name();
            let of_route = self.jobs.iter().any(|job| name.ends_with(job));
            let too_old = self.from.as_ref().is_some_and(|from| {
                name.get(..from.len())
                    .is_some_and(|day| day < from.as_str())
            });
            if !of_route || too_old {
                continue;
            }
            let length = std::fs::metadata(folder.journal()).map_or(0, |about| about.len());
            let known = match self.known.get(&name) {
                Some((known, facts)) if *known == length => facts.clone(),
                _ => facts(&folder),
            };
            self.known.insert(name, (length, known.clone()));
            all.push(known);
        }
        Ok(all)
    }

    /// How the route differs from the copy that its newest run keeps.
    pub(super) fn changed(&self, route: &Route, facts: &[RunFacts], file: &Path) -> Vec<String> {
        let newest = facts
            .iter()
            .filter(|run| run.route.as_ref().is_some_and(|mark| mark.id == route.id))
            .max_by_key(|run| (run.began.utc_ms, run.name.clone()));
        let Some((run, mark)) = newest.and_then(|run| run.route.as_ref().map(|mark| (run, mark)))
        else {
            return Vec::new();
        };
        if mark.hash == route.hash {
            return Vec::new();
        }
        let folder = self.runs.join(&run.name);
        let copy = ["route.toml", "route.csv"].into_iter().find_map(|name| {
            std::fs::read(folder.join(name))
                .ok()
                .map(|bytes| (name, bytes))
        });
        let near = file.parent().unwrap_or(Path::new(""));
        let before = copy
            .filter(|(_, bytes)| blake3::hash(bytes).to_hex().as_str() == mark.hash)
            .and_then(|(name, bytes)| {
                route::from_bytes(&bytes, name, &mut |name| {
                    super::job(near, name, &EarWords::any())
                })
                .ok()
            });
        match before {
            None => vec![format!(
                "it is another file than when {} began, and the copy of that time cannot be read",
                run.name
            )],
            Some(before) => route::changes(&before, route),
        }
    }
}

/// The meter checks among the runs of a folder, from this day (`YYYY-MM-DD`) on. A run that cannot be
/// read is none: the list of the route tells of it.
pub(in crate::acts) fn checks(runs: &Path, from: &str) -> Vec<Check> {
    let end = format!("-{METER_CHECK}");
    RunFolder::all(runs)
        .unwrap_or_default()
        .iter()
        .filter(|folder| {
            let name = folder.name();
            name.ends_with(&end) && name.get(..from.len()).is_some_and(|day| day >= from)
        })
        .filter_map(|folder| facts(folder).check)
        .collect()
}

fn facts(folder: &RunFolder) -> RunFacts {
    let name = folder.name();
    let read = match crate::acts::record::read(folder) {
        Ok(read) => read,
        Err(failure) => return RunFacts::unreadable(&name, failure.text),
    };
    let job = match crate::acts::run::read_copy(folder) {
        Ok(job) => job,
        Err(failure) => {
            return RunFacts::unreadable(
                &name,
                format!(
                    "its job file: {}",
                    failure.text.lines().next().unwrap_or_default()
                ),
            );
        }
    };
    let damaged = read.damaged().map(str::to_owned);
    let records: Vec<Record> = read.entries.into_iter().map(|entry| entry.record).collect();
    let facts = RunFacts::of(&name, &job, &records);
    match (facts, damaged) {
        (None, _) => RunFacts::unreadable(
            &name,
            "its journal does not begin with the start of a run".to_owned(),
        ),
        (Some(facts), None) => facts,
        // What stands before the damage still says whose run it is.
        (Some(facts), Some(why)) => RunFacts {
            stands: route::Stands::Unreadable { why },
            ..facts
        },
    }
}

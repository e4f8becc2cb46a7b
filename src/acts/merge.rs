//! `merge`: two crews' folders of runs become one.

use std::collections::HashMap;
use std::path::Path;

use super::{DONE, Failure, NOT_DONE, NOT_SAVED};
use crate::args::MergeArgs;
use crate::edge::merging::{self, CopyFault, Filled, Held};
use crate::edge::runs::{self, RunFolder};
use crate::history::words::count;
use crate::merge::{self, Relation, RunId};
use crate::report;

/// What became of the runs of a folder.
#[derive(Default)]
struct Tally {
    copied: usize,
    same: usize,
    longer_here: usize,
    longer_there: usize,
    conflicts: usize,
    not_done: usize,
}

/// Why merging stops.
enum Stop {
    /// This run only.
    Run(String),
    /// Nothing more can be written here.
    All(String),
}

impl From<CopyFault> for Stop {
    fn from(fault: CopyFault) -> Self {
        match fault {
            CopyFault::Here { .. } => Self::All(fault.to_string()),
            _ => Self::Run(fault.to_string()),
        }
    }
}

/// Copies the runs of other folders into this one.
///
/// # Errors
/// If a folder cannot be read, is this one, or holds no runs.
pub fn merge(args: &MergeArgs) -> Result<u8, Failure> {
    let runs = runs::runs_folder(args.folder.runs.as_deref()).map_err(Failure::wrong)?;
    // All are looked at before the first is copied.
    let mut sources = Vec::new();
    for folder in &args.folders {
        sources.push((folder, runs_of(folder, &runs)?));
    }
    std::fs::create_dir_all(&runs).map_err(|error| {
        Failure::not_saved(format!(
            "cannot make the folder {}: {error}. Name another with --runs",
            runs.display()
        ))
    })?;
    let mut here = Here::of(&runs)?;
    let mut tally = Tally::default();
    for (folder, there) in sources {
        for run in there {
            match here.take(&run, &mut tally) {
                Ok(lines) => say(&run, &lines)?,
                Err(Stop::Run(why)) => {
                    tally.not_done += 1;
                    say(&run, &[format!("NOT MERGED: {why}")])?;
                }
                Err(Stop::All(why)) => {
                    say(&run, &[format!("NOT MERGED: {why}")])?;
                    return Ok(NOT_SAVED);
                }
            }
        }
        super::print(&format!(
            "{}: {} copied, {} already here, {} longer here, {} longer there, {} in conflict, {} not merged\n",
            folder.display(),
            tally.copied,
            tally.same,
            tally.longer_here,
            tally.longer_there,
            tally.conflicts,
            tally.not_done
        ))?;
        if tally.conflicts + tally.not_done > 0 {
            here.trouble = true;
        }
        tally = Tally::default();
    }
    Ok(if here.trouble { NOT_DONE } else { DONE })
}

fn say(run: &RunFolder, lines: &[String]) -> Result<(), Failure> {
    for line in lines {
        super::print(&format!("{}: {}\n", run.name(), report::one_line(line)))?;
    }
    Ok(())
}

fn runs_of(folder: &Path, runs: &Path) -> Result<Vec<RunFolder>, Failure> {
    let shown = folder.display();
    let about = std::fs::metadata(folder).map_err(|error| {
        Failure::wrong(format!(
            "{shown} cannot be read: {error}. Name the other crew's folder of runs"
        ))
    })?;
    if !about.is_dir() {
        return Err(Failure::wrong(format!(
            "{shown} is no folder. Name the other crew's folder of runs"
        )));
    }
    if let (Ok(one), Ok(other)) = (folder.canonicalize(), runs.canonicalize())
        && one == other
    {
        return Err(Failure::wrong(format!(
            "{shown} is the folder of runs itself. Name the other crew's"
        )));
    }
    let all = RunFolder::all(folder).map_err(Failure::wrong)?;
    if all.is_empty() {
        let fix = if (RunFolder {
            path: folder.to_owned(),
        })
        .journal()
        .is_file()
        {
            "It is one run; name the folder that it lies in"
        } else {
            "Name the folder that the run folders lie in"
        };
        return Err(Failure::wrong(format!("{shown} holds no runs. {fix}")));
    }
    Ok(all)
}

/// The folder that is merged into.
struct Here<'a> {
    runs: &'a Path,
    /// The versions of each run that stand here, and whether they were set aside.
    known: HashMap<RunId, Vec<(RunFolder, bool)>>,
    /// Those without a start that could be read.
    nameless: Vec<RunFolder>,
    trouble: bool,
}

impl<'a> Here<'a> {
    fn of(runs: &'a Path) -> Result<Self, Failure> {
        let mut here = Self {
            runs,
            known: HashMap::new(),
            nameless: Vec::new(),
            trouble: false,
        };
        for run in RunFolder::all(runs).map_err(Failure::wrong)? {
            here.learn(run, false);
        }
        for run in merging::set_aside(runs) {
            here.learn(run, true);
        }
        Ok(here)
    }

    fn learn(&mut self, run: RunFolder, aside: bool) {
        match merging::first_record(&run).as_ref().and_then(RunId::of) {
            Some(id) => self.known.entry(id).or_default().push((run, aside)),
            None => self.nameless.push(run),
        }
    }

    /// Takes one run over, as far as that is needed; returns what is to be said.
    fn take(&mut self, there: &RunFolder, tally: &mut Tally) -> Result<Vec<String>, Stop> {
        if merging::is_at_work(there) {
            return Err(Stop::Run(
                "a Sayback is at work in it. Close it there and merge again".to_owned(),
            ));
        }
        let held = merging::held(there).map_err(Stop::Run)?;
        let id = held.records.first().and_then(RunId::of);
        let versions: Vec<(RunFolder, bool)> = match &id {
            Some(id) => self.known.get(id).cloned().unwrap_or_default(),
            None => self
                .nameless
                .iter()
                .map(|run| (run.clone(), false))
                .collect(),
        };
        let mut contradicts: Option<(RunFolder, usize, Held)> = None;
        let mut shorter: Option<(RunFolder, Held)> = None;
        for (run, aside) in &versions {
            let Ok(other) = merging::held(run) else {
                continue;
            };
            // What is damaged is compared by its bytes: nobody knows what follows the damage.
            if held.damaged.is_some() || other.damaged.is_some() {
                if merging::same_bytes(run, there) {
                    return same(run, &other, there, *aside, tally);
                }
                if !aside && id.is_some() {
                    let common = common(&other, &held);
                    contradicts.get_or_insert((run.clone(), common, other));
                }
                continue;
            }
            match merge::relation(&other.hashes, &held.hashes) {
                Relation::Same => return same(run, &other, there, *aside, tally),
                Relation::HereLonger => {
                    tally.longer_here += 1;
                    let filled = merging::fill(run, &other, there, false)?;
                    let mut lines = vec![format!(
                        "the version here, {}, goes on from it: {} here, {} there. Nothing to copy",
                        run.name(),
                        count(other.records.len(), "record", "records"),
                        held.records.len()
                    )];
                    lines.extend(filled_words(&filled));
                    return Ok(lines);
                }
                Relation::ThereLonger if !aside => {
                    shorter = Some((run.clone(), other));
                }
                Relation::ThereLonger => {}
                Relation::Differ { common } if !aside && id.is_some() => {
                    contradicts.get_or_insert((run.clone(), common, other));
                }
                Relation::Differ { .. } => {}
            }
        }
        match (shorter, contradicts) {
            (Some((run, other)), _) => self.replace(&run, &other, there, &held, tally),
            (None, Some((run, common, other))) => {
                self.keep_both(&run, common, &other, there, &held, tally)
            }
            (None, None) => self.copy_new(there, &held, tally),
        }
    }

    fn copy_new(
        &mut self,
        there: &RunFolder,
        held: &Held,
        tally: &mut Tally,
    ) -> Result<Vec<String>, Stop> {
        let name = free_name(self.runs, &there.name());
        merging::copy(there, &held.hashes, self.runs, &name, false)?;
        tally.copied += 1;
        let mut lines = vec![if name == there.name() {
            "copied".to_owned()
        } else {
            format!("copied as {name}: its name is another run's here")
        }];
        lines.extend(damage(held));
        lines.extend(self.missing(&name, held, there)?);
        Ok(lines)
    }

    /// The longer version takes the name, the shorter one is kept aside.
    fn replace(
        &mut self,
        run: &RunFolder,
        other: &Held,
        there: &RunFolder,
        held: &Held,
        tally: &mut Tally,
    ) -> Result<Vec<String>, Stop> {
        let lock = merging::locked(run).map_err(|why| {
            Stop::Run(format!(
                "it goes on from the one here, {}, and: {why}",
                run.name()
            ))
        })?;
        let name = run.name();
        let aside = merging::copy(there, &held.hashes, self.runs, &name, true)?;
        drop(lock);
        tally.longer_there += 1;
        let mut lines = vec![format!(
            "it goes on from the one here: {} there, {} here. The longer one was copied; the shorter one is kept in {}",
            count(held.records.len(), "record", "records"),
            other.records.len(),
            aside
                .as_ref()
                .map_or_else(String::new, |path| path.display().to_string())
        )];
        // What was heard here belongs to the beginning that both have.
        if let Some(aside) = aside {
            let shorter = RunFolder { path: aside };
            let run = RunFolder {
                path: self.runs.join(&name),
            };
            lines.extend(filled_words(&merging::fill(&run, held, &shorter, false)?));
            self.learn(shorter, true);
        }
        Ok(lines)
    }

    fn keep_both(
        &mut self,
        run: &RunFolder,
        common: usize,
        other: &Held,
        there: &RunFolder,
        held: &Held,
        tally: &mut Tally,
    ) -> Result<Vec<String>, Stop> {
        let name = other_name(self.runs, &run.name());
        merging::copy(there, &held.hashes, self.runs, &name, false)?;
        tally.conflicts += 1;
        let side = |held: &Held| match (held.records.get(common), &held.damaged) {
            (Some(record), _) => merge::words(record),
            (None, Some(damaged)) => damaged.clone(),
            (None, None) => "its end".to_owned(),
        };
        let mut lines = vec![format!(
            "CONFLICT: same job, author and start as {} here, and they differ after {}. There: {} ({} in all). Here: {} ({} in all). Both are kept, this one as {name}; nothing was decided. Compare their records, sign the right one, and move the other out of the folder of runs",
            run.name(),
            count(common, "record", "records"),
            side(held),
            held.records.len(),
            side(other),
            other.records.len(),
        )];
        lines.extend(self.missing(&name, held, there)?);
        Ok(lines)
    }

    /// Tells clips that the journal names and that were not there; makes the run known.
    fn missing(&mut self, name: &str, held: &Held, there: &RunFolder) -> Result<Vec<String>, Stop> {
        let run = RunFolder {
            path: self.runs.join(name),
        };
        let filled = merging::fill(&run, held, there, true)?;
        self.learn(run, false);
        Ok(filled_words(&filled))
    }
}

fn same(
    run: &RunFolder,
    held: &Held,
    there: &RunFolder,
    aside: bool,
    tally: &mut Tally,
) -> Result<Vec<String>, Stop> {
    tally.same += 1;
    if aside {
        return Ok(vec![format!(
            "was set aside here, in {}; not copied again",
            run.path.display()
        )]);
    }
    let filled = merging::fill(run, held, there, true)?;
    Ok(filled_words(&filled))
}

fn filled_words(filled: &Filled) -> Vec<String> {
    let mut lines = Vec::new();
    let mut add = |number: usize, one: &str, more: &str| {
        if number > 0 {
            lines.push(format!(
                "{} missing here was taken over",
                count(number, one, more)
            ));
        }
    };
    add(filled.clips, "clip", "clips");
    add(usize::from(filled.job_file), "job file", "job files");
    add(filled.signatures, "signature", "signatures");
    if !filled.missing.is_empty() {
        lines.push(format!(
            "LOOK: its journal names {} that neither folder has as it was written: {}. If another machine has it, merge that folder too; the values stand as they were affirmed",
            count(filled.missing.len(), "clip", "clips"),
            filled.missing.join(", ")
        ));
    }
    lines
}

fn damage(held: &Held) -> Option<String> {
    let damaged = held.damaged.as_ref()?;
    Some(format!(
        "LOOK: it is {damaged}. It was copied as it is; merge a whole copy if there is one"
    ))
}

fn common(one: &Held, other: &Held) -> usize {
    one.hashes
        .iter()
        .zip(&other.hashes)
        .take_while(|(one, other)| one == other)
        .count()
}

/// The name, or where it is taken the same day's next free number: `2026-11-25-001-set-ends`.
fn free_name(runs: &Path, name: &str) -> String {
    let taken = |name: &str| runs.join(name).symlink_metadata().is_ok();
    if !taken(name) {
        return name.to_owned();
    }
    let numbered = name
        .get(10..15)
        .filter(|part| part.starts_with('-') && part.ends_with('-'))
        .is_some_and(|part| part[1..4].bytes().all(|byte| byte.is_ascii_digit()));
    if numbered {
        let (day, rest) = (&name[..10], &name[15..]);
        for number in 1..1000 {
            if !runs::number_taken(runs, day, number) {
                return format!("{day}-{number:03}-{rest}");
            }
        }
    }
    other_name(runs, name)
}

/// The name of another version of a run.
fn other_name(runs: &Path, name: &str) -> String {
    (1..u32::MAX)
        .map(|number| format!("{name}-other-{number}"))
        .find(|name| runs.join(name).symlink_metadata().is_err())
        .unwrap_or_else(|| format!("{name}-other"))
}

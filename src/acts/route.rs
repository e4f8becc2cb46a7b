//! `route`: one job after another, from a list of actuators.
//!
//! Nothing about the route is written anywhere but into the journals of its runs:
//! where each actuator stands is read from them anew before each question.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::run::{Beginning, Begun, Bench, Ear, Left};
use super::{DONE, Failure, NOT_DONE};
use crate::args::RouteArgs;
use crate::core::Run;
use crate::core::record::{Cursor, EarMark, Record, Started};
use crate::core::run::Saved;
use crate::drive::NotKept;
use crate::edge::clock;
use crate::edge::runs::{self, RunFolder};
use crate::edge::tell;
use crate::job::sheet::{self, Sheet};
use crate::job::{Job, PlateValue, built_in};
use crate::route::{
    self, Check, Chosen, Doubt, Item, Progress, Route, RouteMark, RunFacts, Standing, Wanted,
};

/// The built-in job by which a meter is checked.
const METER_CHECK: &str = "meter-check";

/// Shows a route, or works it off.
///
/// # Errors
/// If the route, the sheet of the meter, the recording or the runs folder is not right.
pub fn route(args: &RouteArgs) -> Result<u8, Failure> {
    let (bytes, route) = read(&args.file)?;
    let runs = runs::runs_folder(args.session.folder.runs.as_deref()).map_err(Failure::wrong)?;
    let mut shelf = Shelf::new(runs, &route);
    let (meter_text, meter_job) = super::run::read_job(METER_CHECK)?;
    let meter_sheet = match &args.meter {
        Some(path) => sheet::file(path, &meter_job).map_err(Failure::wrong)?,
        None => Sheet::default(),
    };
    let facts = shelf.facts()?;
    let changed = shelf.changed(&route, &facts, &args.file);
    if args.list {
        let mut lines = route::lines(
            &route,
            &route::progress(&route, &facts, clock::wall()),
            &facts,
        );
        lines.extend(changed.iter().map(|line| format!("route changed: {line}")));
        super::print(&(lines.join("\n") + "\n"))?;
        return Ok(DONE);
    }
    let ear = Ear::prepare(&args.session, args.by.as_deref())?;
    let from_recording = ear.is_recording();
    let checked = ear.check(&args.session);
    let mark = ear.mark();
    let mut told = Vec::new();
    if !changed.is_empty() {
        told.push(format!(
            "The route has changed since its last run began: {}.",
            changed.join(". ")
        ));
    }
    let bench = Bench::open(ear, &args.session)?;
    let mut work = Work {
        args,
        route: &route,
        bytes: &bytes,
        shelf,
        bench,
        meter: (meter_text, Arc::new(meter_job), meter_sheet),
        from_recording,
        ear: mark,
        checked,
        told,
    };
    let worked = work.all();
    let Work { bench, .. } = work;
    // The terminal is given back before anything is printed on it.
    bench.close();
    worked.and_then(|code| {
        let mut shelf = Shelf::new(
            runs::runs_folder(args.session.folder.runs.as_deref()).map_err(Failure::wrong)?,
            &route,
        );
        let facts = shelf.facts()?;
        let progress = route::progress(&route, &facts, clock::wall());
        let text = route::lines(&route, &progress, &facts).join("\n");
        match super::print(&format!("{text}\n")) {
            // A terminal that hung up cannot be printed on: the code still says that it did.
            Err(_) if code >= 128 => Ok(code),
            printed => printed.map(|()| code),
        }
    })
}

/// A route from its file; job files are looked for from its folder.
pub(super) fn read(file: &Path) -> Result<(Vec<u8>, Route), Failure> {
    let folder = file.parent().unwrap_or(Path::new(""));
    route::file(file, &mut |name| job(folder, name)).map_err(Failure::wrong)
}

fn job(folder: &Path, name: &str) -> Result<(String, Job), String> {
    let near = folder.join(name);
    let name = if built_in::text(name).is_none() && near.is_file() {
        near.to_string_lossy().into_owned()
    } else {
        name.to_owned()
    };
    super::run::read_job(&name).map_err(|failure| failure.text)
}

/// A route that is being worked off.
struct Work<'a> {
    args: &'a RouteArgs,
    route: &'a Route,
    bytes: &'a [u8],
    shelf: Shelf,
    bench: Bench,
    /// Text, job and sheet of the meter check.
    meter: (String, Arc<Job>, Sheet),
    from_recording: bool,
    ear: EarMark,
    checked: Option<Record>,
    /// What is to be said before the next question.
    told: Vec<String>,
}

/// How the work on a route ends.
enum Ends {
    /// With this code: left, hung up, or nobody can answer.
    With(u8),
}

impl Work<'_> {
    /// Asks and does until the route is left.
    fn all(&mut self) -> Result<u8, Failure> {
        loop {
            match self.once() {
                Ok(None) => {}
                Ok(Some(Ends::With(code))) => return Ok(code),
                Err(failure) => return Err(failure),
            }
        }
    }

    fn once(&mut self) -> Result<Option<Ends>, Failure> {
        let facts = self.shelf.facts()?;
        let now = clock::wall();
        let progress = route::progress(self.route, &facts, now);
        let told = std::mem::take(&mut self.told).join(" ");
        let left = self.ask(route::menu(&self.route.title, &progress, &told));
        if let Some(ends) = ended(&left) {
            return Ok(Some(ends));
        }
        let chosen = route::chosen(&left.saved);
        let standing = match chosen {
            None => return Ok(Some(Ends::With(code(&progress)))),
            Some(Chosen::Leave) => return self.leave(&facts, &progress).map(Some),
            Some(Chosen::Left) => {
                self.told.push(what_is_left(&progress));
                return Ok(None);
            }
            Some(Chosen::Check) => return self.check(None),
            Some(Chosen::Next) => progress.next(),
            Some(Chosen::Named(text)) => self.named(&progress, &text),
        };
        let Some(standing) = standing else {
            return Ok(None);
        };
        if let Some(wanted) = route::wanted_at_start(&facts, now) {
            let left = self.ask(route::check_first(&self.route.title, &progress, wanted));
            if let Some(ends) = ended(&left) {
                return Ok(Some(ends));
            }
            match route::checks_first(&left.saved) {
                None => return Ok(None),
                Some(true) => {
                    if let Some(ends) = self.check(Some(wanted))? {
                        return Ok(Some(ends));
                    }
                }
                Some(false) => {}
            }
        }
        self.actuator(standing)
    }

    /// Asks one list.
    fn ask(&mut self, list: Job) -> Left {
        let started = Started::of(&list, super::run::PROGRAM, BTreeMap::new());
        let saved = Saved::new(&list, started);
        let run = Run::new(Arc::new(list), saved);
        let nowhere = RunFolder {
            path: PathBuf::new(),
        };
        let ended = self.bench.drive(run, NotKept, &nowhere);
        self.bench.go_on(ended)
    }

    fn named<'p>(&mut self, progress: &'p Progress<'p>, text: &str) -> Option<&'p Standing<'p>> {
        let found = progress.find(text);
        // Of one tag with several jobs, what is left comes first, in the order of the file.
        let best = found
            .iter()
            .min_by_key(|standing| {
                (
                    standing.resumable().is_none(),
                    !standing.state.is_left(),
                    standing.item.number,
                )
            })
            .copied();
        let tags: Vec<&str> = found
            .iter()
            .map(|standing| standing.item.tag.as_str())
            .collect();
        match best {
            None => {
                self.told
                    .push(format!("{text} is not on this route. Nothing was begun."));
                None
            }
            Some(_) if tags.iter().any(|tag| *tag != tags[0]) => {
                self.told.push(format!(
                    "{text} could be {}. Give the number on the list. Nothing was begun.",
                    tags.join(" or ")
                ));
                None
            }
            best => best,
        }
    }

    /// Goes on with this actuator where it stopped, or begins it.
    fn actuator(&mut self, standing: &Standing) -> Result<Option<Ends>, Failure> {
        let item = standing.item;
        let begun = match standing.resumable() {
            Some(run) => self.reopen(&run.name),
            None => self.begin(item),
        };
        let begun = match begun {
            Ok(begun) => begun,
            Err(failure) => {
                // One actuator that cannot be opened does not end the work on the others.
                self.told.push(failure.text);
                return Ok(None);
            }
        };
        self.work(begun, Some(item))
    }

    fn reopen(&mut self, name: &str) -> Result<Begun, Failure> {
        let folder = RunFolder::open(&self.shelf.runs, name).map_err(Failure::wrong)?;
        let (begun, remarks) = super::run::reopen(folder, self.checked.as_ref(), self.ear.clone())?;
        self.told.extend(remarks);
        Ok(begun)
    }

    fn begin(&self, item: &Item) -> Result<Begun, Failure> {
        let Some(job) = self.route.jobs.get(&item.job) else {
            return Err(Failure::wrong(format!("no job {} on this route", item.job)));
        };
        let sheet = item.sheet.clone();
        self.begin_with(&job.text, &job.job, sheet)
    }

    fn begin_with(&self, text: &str, job: &Arc<Job>, sheet: Sheet) -> Result<Begun, Failure> {
        let mark = RouteMark {
            id: self.route.id.clone(),
            hash: self.route.hash.clone(),
        };
        super::run::begin(
            Beginning {
                text,
                job: job.clone(),
                by: sheet.by.clone().or(self.args.by.clone()),
                relayed_by: sheet.relayed_by.clone().or(self.args.relayed_by.clone()),
                sheet,
                from_recording: self.from_recording,
                route: Some((mark, route_copy(&self.args.file), self.bytes)),
                checked: self.checked.clone(),
                ear: self.ear.clone(),
            },
            Some(&self.shelf.runs),
        )
    }

    /// A meter check: at the start, at the end, or as its own question says.
    fn check(&mut self, wanted: Option<Wanted>) -> Result<Option<Ends>, Failure> {
        let (text, job, mut sheet) = self.meter.clone();
        sheet.plate.remove("when");
        if let Some(wanted) = wanted {
            let word = match wanted {
                Wanted::Start => "start",
                Wanted::End => "end",
            };
            sheet
                .plate
                .insert("when".to_owned(), PlateValue::Text(word.to_owned()));
        }
        let begun = self.begin_with(&text, &job, sheet)?;
        self.work(begun, None)
    }

    /// Works at one run until it is closed, left, or cut off; its record is made anew.
    fn work(&mut self, begun: Begun, item: Option<&Item>) -> Result<Option<Ends>, Failure> {
        let Begun {
            run,
            journal,
            folder,
        } = begun;
        let ended_run = self.bench.drive(run, journal, &folder);
        let left = self.bench.go_on(ended_run);
        // The journal is the evidence; a page that cannot be written now can be made again.
        if let Err(failure) = super::write_pages(&folder) {
            self.told.push(format!(
                "The record of {} could not be written: {} Make it again with: sayback record {}.",
                folder.name(),
                failure.text,
                folder.name()
            ));
        }
        if let Some(item) = item {
            let facts = self.shelf.facts()?;
            let name = folder.name();
            let questions: Vec<String> = route::alike(&facts)
                .iter()
                .filter(|alike| alike.runs.last() == Some(&name))
                .map(route::Alike::question)
                .collect();
            let state = route::progress(self.route, &facts, clock::wall())
                .standings
                .iter()
                .find(|standing| standing.item.key() == item.key())
                .map(|standing| standing.state.words());
            if let Some(state) = state {
                self.told.push(format!("{}: {state}.", item.tag));
            }
            self.told.extend(questions);
        } else {
            self.tell_doubts()?;
        }
        // Left by the menu, or ended: the route goes on. Anything else ends it as well.
        let is_closed = left.saved.cursor == Cursor::Closed;
        let left_by_person =
            left.code == NOT_DONE && left.unseen.is_none() && !self.bench.is_deserted();
        if is_closed || left_by_person {
            return Ok(ended_unseen(&left));
        }
        Ok(ended(&left).or(Some(Ends::With(left.code))))
    }

    /// After a meter check: which jobs are in doubt now. Their records say so as well.
    fn tell_doubts(&mut self) -> Result<(), Failure> {
        let facts = self.shelf.facts()?;
        let progress = route::progress(self.route, &facts, clock::wall());
        let failed: Vec<&Standing> = progress
            .standings
            .iter()
            .filter(|standing| standing.doubts.iter().any(|doubt: &Doubt| doubt.failed))
            .collect();
        if !failed.is_empty() {
            let tags: Vec<&str> = failed
                .iter()
                .map(|standing| standing.item.tag.as_str())
                .collect();
            self.told.push(format!(
                "A meter failed its check. In doubt since its last good one: {}.",
                tags.join(", ")
            ));
            for run in failed.iter().filter_map(|standing| standing.deciding) {
                let folder =
                    RunFolder::open(&self.shelf.runs, &run.name).map_err(Failure::wrong)?;
                if let Err(failure) = super::write_pages(&folder) {
                    self.told.push(failure.text);
                }
            }
        }
        Ok(())
    }

    /// Leaves the route, after the check of the meter where one is wanted.
    fn leave(&mut self, facts: &[RunFacts], progress: &Progress) -> Result<Ends, Failure> {
        if let Some(wanted) = route::wanted_at_end(facts, clock::wall()) {
            let left = self.ask(route::check_first(&self.route.title, progress, wanted));
            if let Some(ends) = ended(&left) {
                return Ok(ends);
            }
            if route::checks_first(&left.saved) == Some(true)
                && let Some(ends) = self.check(Some(wanted))?
            {
                return Ok(ends);
            }
        }
        Ok(Ends::With(code(progress)))
    }
}

/// Exit code of a route that is left: done where nothing is left to do.
fn code(progress: &Progress) -> u8 {
    let left = progress
        .standings
        .iter()
        .any(|standing| standing.state.is_left());
    if left { NOT_DONE } else { DONE }
}

/// Why the work ends with this session, if it does: nothing can be shown any more, or the program
/// was told to end.
fn ended_unseen(left: &Left) -> Option<Ends> {
    left.unseen.as_ref().map(|error| {
        tell(&format!("cannot show anything any more: {error}"));
        Ends::With(left.code)
    })
}

/// The same after a list: one that was not answered ends the route as well.
fn ended(left: &Left) -> Option<Ends> {
    ended_unseen(left)
        .or_else(|| (left.saved.cursor != Cursor::Closed).then_some(Ends::With(left.code)))
}

fn what_is_left(progress: &Progress) -> String {
    const MOST: usize = 6;
    let left: Vec<String> = progress
        .standings
        .iter()
        .filter(|standing| standing.state.is_left())
        .map(|standing| format!("{} {}", standing.item.number, standing.item.tag))
        .collect();
    let more = left.len().saturating_sub(MOST);
    let more = if more > 0 {
        format!(" and {more} more")
    } else {
        String::new()
    };
    let first = left[..left.len().min(MOST)].join(", ");
    if first.is_empty() {
        progress.left()
    } else {
        format!("{} {first}{more}.", progress.left())
    }
}

/// Name under which a run keeps the route as it was.
fn route_copy(file: &Path) -> &'static str {
    let toml = file
        .extension()
        .is_some_and(|end| end.eq_ignore_ascii_case("toml"));
    if toml { "route.toml" } else { "route.csv" }
}

/// The runs that a route needs to know of, as read so far. A journal only grows: one of the same
/// length is the same.
struct Shelf {
    runs: PathBuf,
    /// How the names of their folders end.
    jobs: Vec<String>,
    from: Option<String>,
    known: BTreeMap<String, (u64, RunFacts)>,
}

impl Shelf {
    fn new(runs: PathBuf, route: &Route) -> Self {
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

    fn facts(&mut self) -> Result<Vec<RunFacts>, Failure> {
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
    fn changed(&self, route: &Route, facts: &[RunFacts], file: &Path) -> Vec<String> {
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
                route::from_bytes(&bytes, name, &mut |name| job(near, name)).ok()
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
pub(super) fn checks(runs: &Path, from: &str) -> Vec<Check> {
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
    let read = match super::record::read(folder) {
        Ok(read) => read,
        Err(failure) => return RunFacts::unreadable(&name, failure.text),
    };
    let job = match super::run::read_job(&folder.job_file().to_string_lossy()) {
        Ok((_, job)) => job,
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

//! `route`: one job after another, from a list of actuators.
//!
//! Nothing about the route is written anywhere but into the journals of its runs:
//! where each actuator stands is read from them anew before each question.

mod shelf;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use self::shelf::Shelf;
pub(super) use self::shelf::checks;
use super::run::{Beginning, Begun, Bench, Ear, Left};
use super::{DONE, Failure, NOT_DONE};
use crate::args::RouteArgs;
use crate::core::Run;
use crate::core::record::{Body, Cursor, EarMark, How, Record, Started};
use crate::core::run::Saved;
use crate::drive::InMemory;
use crate::edge::clock;
use crate::edge::runs::{self, RunFolder};
use crate::edge::tell;
use crate::job::sheet::{self, Sheet};
use crate::job::{Job, PlateValue, built_in};
use crate::journal::{Journal, Opened};
use crate::route::{
    self, Chosen, Doubt, Item, Progress, Route, RouteMark, RunFacts, Standing, Wanted,
};
use crate::spoken::EarWords;
use crate::storage::FileStorage;

/// The built-in job by which a meter is checked.
const METER_CHECK: &str = "meter-check";

/// Shows a route, or works it off.
///
/// # Errors
/// If the route, the sheet of the meter, the recording or the runs folder is not right.
pub fn route(args: &RouteArgs) -> Result<u8, Failure> {
    let ears = super::run::words(&args.session)?;
    let (bytes, mut route) = read(&args.file, &ears)?;
    if let Some(from) = args.from {
        route.from = Some(from.to_string());
    }
    let runs = runs::runs_folder(args.session.folder.runs.as_deref()).map_err(Failure::wrong)?;
    let mut shelf = Shelf::new(runs, &route);
    let (meter_text, meter_job) = super::run::read_job(METER_CHECK, &ears)?;
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
    for of in route.jobs.values() {
        ear.has_words_of(&of.job)?;
    }
    let from_recording = ear.is_recording();
    let checked = ear.check(&args.session);
    let mark = ear.mark();
    let mut told = Vec::new();
    if !changed.is_empty() {
        told.push(route::route_changed(&changed));
    }
    told.extend(route::progress(&route, &facts, clock::wall()).old_words());
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

/// A route from its file; job files are looked for from its folder, and are for ears with these words.
pub(super) fn read(file: &Path, ears: &EarWords) -> Result<(Vec<u8>, Route), Failure> {
    let folder = file.parent().unwrap_or(Path::new(""));
    route::file(file, &mut |name| job(folder, name, ears)).map_err(Failure::wrong)
}

fn job(folder: &Path, name: &str, ears: &EarWords) -> Result<(String, Job), String> {
    let near = folder.join(name);
    let name = if built_in::text(name).is_none() && near.is_file() {
        near.to_string_lossy().into_owned()
    } else {
        name.to_owned()
    };
    super::run::read_job(&name, ears).map_err(|failure| failure.text)
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
                self.told.push(route::what_is_left(&progress));
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
        self.ask_and_hear(list).0
    }

    /// Asks one list; with how the last answer came in.
    fn ask_and_hear(&mut self, list: Job) -> (Left, Option<How>) {
        let started = Started::of(&list, super::run::PROGRAM, BTreeMap::new());
        let saved = Saved::new(&list, started);
        let run = Run::new(Arc::new(list), saved);
        let nowhere = RunFolder {
            path: PathBuf::new(),
        };
        let kept = InMemory::default();
        let ended = self.bench.drive(run, kept.clone(), &nowhere);
        let left = self.bench.go_on(ended);
        // A list keeps no sound: there is no folder that it would belong to.
        let how = kept.how().map(|how| How { clip: None, ..how });
        (left, how)
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
                self.told.push(route::not_on_route(text));
                None
            }
            Some(_) if tags.iter().any(|tag| *tag != tags[0]) => {
                self.told.push(route::could_be(text, &tags));
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
            self.told.extend(
                route::progress(self.route, &facts, clock::wall())
                    .standings
                    .iter()
                    .find(|standing| standing.item.key() == item.key())
                    .map(route::stands_now),
            );
            if let Some(ends) = self.question_alike(&folder, &facts)? {
                return Ok(Some(ends));
            }
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

    /// Readings that are exactly those of the jobs before are questioned; the answer goes into the journal
    /// of this run, and on its record.
    fn question_alike(
        &mut self,
        folder: &RunFolder,
        facts: &[RunFacts],
    ) -> Result<Option<Ends>, Failure> {
        let name = folder.name();
        let Some(alike) = route::alike(facts)
            .into_iter()
            .find(|alike| alike.runs.last() == Some(&name) && alike.measured.is_none())
        else {
            return Ok(None);
        };
        let progress = route::progress(self.route, facts, clock::wall());
        let (left, how) = self.ask_and_hear(route::ask_alike(&self.route.title, &progress, &alike));
        if let Some(ends) = ended(&left) {
            return Ok(Some(ends));
        }
        let (Some(measured), Some(how)) = (route::each_was_measured(&left.saved), how) else {
            self.told.push(alike.answered());
            return Ok(None);
        };
        let storage = FileStorage::open(&folder.journal()).map_err(Failure::not_saved)?;
        let opened: Opened<Record, FileStorage> =
            Journal::open(storage).map_err(|error| Failure::wrong(error.to_string()))?;
        let mut journal = opened.journal;
        journal
            .append(&Record {
                at: clock::wall(),
                body: Body::Alike {
                    runs: alike.runs,
                    measured,
                    how,
                },
            })
            .map_err(Failure::not_saved)?;
        drop(journal);
        if let Err(failure) = super::write_pages(folder) {
            self.told.push(failure.text);
        }
        Ok(None)
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
            self.told.push(route::meter_failed(&tags));
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

/// Name under which a run keeps the route as it was.
fn route_copy(file: &Path) -> &'static str {
    let toml = file
        .extension()
        .is_some_and(|end| end.eq_ignore_ascii_case("toml"));
    if toml { "route.toml" } else { "route.csv" }
}

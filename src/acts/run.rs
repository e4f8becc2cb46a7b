//! `run`, `resume`: one session at a job.

mod hearing;

use std::io::IsTerminal;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc;

use super::{Failure, HUNG_UP, NOT_DONE, NOT_SAVED};
use crate::args::{ResumeArgs, RunArgs, SessionArgs};
use crate::core::record::{Body, EarMark, Record, Started};
use crate::core::run::Saved;
use crate::core::{Live, Run};
use crate::drive::{Ended, FromWorld, Keeps, Output, Session, Silence, Sound};
use crate::edge::clock::{self, Clock};
use crate::edge::runs::{self, RunFolder, RunsError};
use crate::edge::{keys, plain, screen, signals, tell};
use crate::job::sheet::{self, Sheet};
use crate::job::{Job, built_in, load};
use crate::journal::{Ending, Journal, JournalError};
use crate::route::RouteMark;
use crate::spoken::EarWords;
use crate::storage::FileStorage;

#[cfg(feature = "voice")]
pub(super) use hearing::model_has_words_of;
pub(super) use hearing::{Ear, words};

/// Name and version, as written into journals.
pub const PROGRAM: &str = concat!("sayback ", env!("CARGO_PKG_VERSION"));

/// Starts a new run.
///
/// # Errors
/// If the job, the sheet, the recording or the runs folder is not right.
pub fn start(args: &RunArgs) -> Result<u8, Failure> {
    let (text, job) = read_job(&args.job, &hearing::words(&args.session)?)?;
    let sheet = match &args.sheet {
        Some(path) => Some(sheet::file(path, &job).map_err(Failure::wrong)?),
        None => None,
    };
    let sheet = sheet.unwrap_or_default();
    let by = args.by.clone().or(sheet.by.clone());
    let ear = Ear::prepare(&args.session, by.as_deref())?;
    ear.has_words_of(&job)?;
    let from_recording = ear.is_recording();
    let checked = ear.check(&args.session);
    let begun = begin(
        Beginning {
            text: &text,
            job: Arc::new(job),
            by,
            relayed_by: args.relayed_by.clone().or(sheet.relayed_by.clone()),
            sheet,
            from_recording,
            route: None,
            checked,
            ear: ear.mark(),
        },
        args.session.folder.runs.as_deref(),
    )?;
    let mut bench = Bench::open(ear, &args.session)?;
    let ended = bench.drive(begun.run, begun.journal, &begun.folder);
    let on_terminal = bench.close();
    finish(&begun.folder, &ended, on_terminal)
}

/// What a new run begins with.
pub(super) struct Beginning<'a> {
    /// Text of the job file.
    pub(super) text: &'a str,
    /// The job.
    pub(super) job: Arc<Job>,
    /// What is known of the actuator.
    pub(super) sheet: Sheet,
    /// Who does it.
    pub(super) by: Option<String>,
    /// Who relays the readings.
    pub(super) relayed_by: Option<String>,
    /// The sound comes from a recording.
    pub(super) from_recording: bool,
    /// The route that it comes from, and its file as it is now: name and bytes.
    pub(super) route: Option<(RouteMark, &'a str, &'a [u8])>,
    /// The last check of the microphone.
    pub(super) checked: Option<Record>,
    /// What listens.
    pub(super) ear: EarMark,
}

/// A run that can be driven.
pub(super) struct Begun {
    pub(super) run: Run,
    pub(super) journal: Journal<Record, FileStorage>,
    pub(super) folder: RunFolder,
}

/// Begins a run: its folder, its copy of the job file, and the first records of its journal.
///
/// # Errors
/// If the runs folder is not known or cannot be written.
pub(super) fn begin(of: Beginning, runs: Option<&Path>) -> Result<Begun, Failure> {
    let job = of.job;
    let mut limits = job.limits.clone();
    limits.extend(of.sheet.limits);
    let started = Started {
        limits,
        by: of.by,
        relayed_by: of.relayed_by,
        from_recording: of.from_recording,
        route: of.route.as_ref().map(|(mark, ..)| mark.clone()),
        ear: Some(of.ear),
        ..Started::of(&job, PROGRAM, of.sheet.plate)
    };
    let runs = runs::runs_folder(runs).map_err(Failure::wrong)?;
    let folder =
        RunFolder::create(&runs, &clock::day(), &job.id, of.text).map_err(Failure::not_saved)?;
    if let Some((_, name, bytes)) = of.route {
        folder.keep_route(name, bytes).map_err(Failure::not_saved)?;
    }
    let storage = FileStorage::create_new(&folder.journal()).map_err(Failure::not_saved)?;
    let first = Record {
        at: clock::wall(),
        body: Body::Started(started.clone()),
    };
    let mut journal = Journal::create(storage, &first).map_err(Failure::not_saved)?;
    let mut saved = Saved::new(&job, started);
    if let Some(check) = &of.checked {
        journal.append(check).map_err(Failure::not_saved)?;
        saved.apply(&job, check);
    }
    Ok(Begun {
        run: Run::new(job, saved),
        journal,
        folder,
    })
}

/// Goes on with a run.
///
/// # Errors
/// If there is no such run, it is open in another Sayback, or its journal is damaged.
pub fn resume(args: &ResumeArgs) -> Result<u8, Failure> {
    let runs = runs::runs_folder(args.session.folder.runs.as_deref()).map_err(Failure::wrong)?;
    let folder = match &args.run {
        Some(name) => RunFolder::open(&runs, name).map_err(Failure::wrong)?,
        None => newest_open(&runs)?,
    };
    let ear = Ear::prepare(&args.session, begun_by(&folder).as_deref())?;
    ear.has_words_of(&read_copy(&folder)?)?;
    let checked = ear.check(&args.session);
    let (begun, remarks) = reopen(folder, checked.as_ref(), ear.mark())?;
    for remark in remarks {
        tell(&remark);
    }
    let mut bench = Bench::open(ear, &args.session)?;
    let ended = bench.drive(begun.run, begun.journal, &begun.folder);
    let on_terminal = bench.close();
    finish(&begun.folder, &ended, on_terminal)
}

/// Who began a run. A journal that cannot be read says no name here, and what is wrong when it is opened.
fn begun_by(folder: &RunFolder) -> Option<String> {
    let read = super::record::read(folder).ok()?;
    read.entries
        .into_iter()
        .find_map(|entry| match entry.record.body {
            Body::Started(started) => started.by,
            _ => None,
        })
}

/// Opens the journal of a run to go on with it; with what is to be told about it.
///
/// # Errors
/// If it is open in another Sayback, or its journal or its job file is damaged.
pub(super) fn reopen(
    folder: RunFolder,
    checked: Option<&Record>,
    ear: EarMark,
) -> Result<(Begun, Vec<String>), Failure> {
    let job = read_copy(&folder)?;
    let storage = FileStorage::open(&folder.journal()).map_err(Failure::not_saved)?;
    let opened: crate::journal::Opened<Record, FileStorage> =
        Journal::open(storage).map_err(damaged)?;
    let mut remarks = Vec::new();
    if let Ending::Torn { .. } = &opened.ending {
        remarks.push(super::record::ending_words(&opened.ending));
    }
    let records: Vec<Record> = opened
        .records
        .into_iter()
        .map(|entry| entry.record)
        .collect();
    let saved = super::record::fold(&job, &records)?;
    if let Some(now) = built_in::find(&job.id).filter(|now| now.hash != job.hash) {
        remarks.push(format!(
            "the built-in job {} has changed since this run began; the run goes on with its own copy, {}",
            now.id,
            folder.job_file().display()
        ));
    }
    let mut journal = opened.journal;
    let mut run = Run::new(Arc::new(job), saved);
    let resumed = Record {
        at: clock::wall(),
        body: Body::Resumed {
            program: PROGRAM.to_owned(),
            ear: Some(ear),
        },
    };
    journal.append(&resumed).map_err(Failure::not_saved)?;
    let job = run.job.clone();
    run.saved.apply(&job, &resumed);
    if let Some(check) = checked
        && !records.iter().any(|known| known.body == check.body)
    {
        journal.append(check).map_err(Failure::not_saved)?;
        run.saved.apply(&job, check);
    }
    Ok((
        Begun {
            run,
            journal,
            folder,
        },
        remarks,
    ))
}

fn newest_open(runs: &Path) -> Result<RunFolder, Failure> {
    RunFolder::all(runs)
        .map_err(Failure::wrong)?
        .into_iter()
        .rev()
        .find(super::record::is_open)
        .ok_or_else(|| {
            Failure::wrong(RunsError::NoRuns {
                runs: runs.to_owned(),
            })
        })
}

fn damaged(error: JournalError<Record>) -> Failure {
    Failure::not_saved(error)
}

/// A job by the name of a built-in one, or by file, for ears that have these words; with its text.
///
/// # Errors
/// If there is none, or it has faults.
pub fn read_job(name: &str, ears: &EarWords) -> Result<(String, Job), Failure> {
    if let Some(text) = built_in::text(name) {
        return load::parse(text, &format!("{name}.toml"))
            .map(|job| (text.to_owned(), job))
            .map_err(Failure::wrong);
    }
    let path = Path::new(name);
    if !path.exists() && !name.contains(['/', '.']) {
        let names: Vec<&str> = built_in::all().iter().map(|job| job.id).collect();
        return Err(Failure::wrong(format!(
            "no job {name}. Built-in jobs: {}; or give the path of a job file",
            names.join(", ")
        )));
    }
    load::file(path, ears).map_err(Failure::wrong)
}

/// The job of a run, from the copy that it keeps.
///
/// # Errors
/// If it is not there, or has faults.
pub(super) fn read_copy(folder: &RunFolder) -> Result<Job, Failure> {
    load::file(&folder.job_file(), &EarWords::any())
        .map(|(_, job)| job)
        .map_err(Failure::wrong)
}

/// Whether there is a terminal to draw on, and lines were not asked for.
pub(super) fn on_screen(plain: bool) -> bool {
    !plain
        && std::io::stdout().is_terminal()
        && std::io::stdin().is_terminal()
        && std::env::var("TERM").map_or(true, |term| term != "dumb")
}

/// What a person works at: keys, screen or lines, ear and voice, for one run or for a whole route.
pub(super) struct Bench {
    output: Box<dyn Output>,
    sound: Box<dyn Sound>,
    /// Between two sessions; a session has them while it lasts.
    between: Option<(mpsc::Receiver<FromWorld>, Clock)>,
    keys_gone: bool,
    live: Live,
    on_terminal: bool,
}

impl Bench {
    /// Takes the terminal and opens the ear.
    ///
    /// # Errors
    /// If the keys, the signals or the terminal cannot be had.
    pub(super) fn open(ear: Ear, args: &SessionArgs) -> Result<Self, Failure> {
        let on_screen = on_screen(args.plain);
        let keymap = match &args.keys {
            Some(path) => keys::Keymap::read(path).map_err(Failure::wrong)?,
            None => keys::Keymap::default(),
        };
        let (sender, world) = mpsc::sync_channel(64);
        signals::listen(sender.clone())
            .map_err(|error| Failure::wrong(format!("cannot catch signals: {error}")))?;
        let clock = if ear.is_recording() {
            Clock::standing()
        } else {
            Clock::start()
        };
        let mut live = Live::default();
        let sound = ear.open(&mut live, args, &sender);
        let look = screen::Look::of_environment(args.contrast);
        // Asked now: a terminal that has hung up says that it is none.
        let on_terminal = std::io::stdout().is_terminal();
        let output: Box<dyn Output> = if on_screen {
            let shown = screen::Screen::enter(look).map_err(|error| {
                Failure::wrong(format!("cannot use this terminal: {error}. Try --plain"))
            })?;
            keys::listen(sender.clone(), keymap);
            Box::new(shown)
        } else {
            keys::listen_lines(sender.clone());
            Box::new(plain::Plain::new(look.unicode))
        };
        let output = with_voice(output, on_screen, &sender, args);
        Ok(Self {
            output,
            sound,
            between: Some((world, clock)),
            keys_gone: false,
            live,
            on_terminal,
        })
    }

    /// Runs one session on it: a run with its journal, or a list of which nothing is kept.
    pub(super) fn drive<J: Keeps>(&mut self, run: Run, journal: J, folder: &RunFolder) -> Ended {
        let run = run.after(&self.live);
        // A session gives both back, so that they are missing only where one ended in a panic.
        let (world, clock) = self
            .between
            .take()
            .unwrap_or_else(|| (mpsc::sync_channel(1).1, Clock::start()));
        let ended = Session {
            run,
            journal,
            folder: folder.clone(),
            output: self.output.as_mut(),
            sound: self.sound.as_mut(),
            world,
            clock,
            unsaved: Vec::new(),
            keys_gone: self.keys_gone,
            unseen: None,
            question: None,
            deaf: false,
        }
        .drive();
        if ended.recording_over {
            self.sound = Box::new(Silence);
        }
        self.live = ended.run.live.clone();
        self.keys_gone = ended.keys_gone;
        ended
    }

    /// Takes back what the session before had, for the next one.
    pub(super) fn go_on(&mut self, ended: Ended) -> Left {
        self.between = Some((ended.world, ended.clock));
        Left {
            code: ended.code,
            unseen: ended.unseen,
            saved: ended.run.saved,
        }
    }

    /// Nobody is at the keys, and nothing is left to listen to.
    pub(super) fn is_deserted(&self) -> bool {
        self.keys_gone
    }

    /// Gives the terminal back; whether it is one that can be printed on.
    pub(super) fn close(self) -> bool {
        self.on_terminal
    }
}

/// What is left of a session once the next one can begin.
pub(super) struct Left {
    /// Exit code, as far as the core decides it.
    pub(super) code: u8,
    /// Why nothing could be shown any more, if that ended it.
    pub(super) unseen: Option<std::io::Error>,
    /// The run as it stands.
    pub(super) saved: Saved,
}

/// The same output with a voice, where one is wanted: on a screen unless told to be quiet, in plain
/// lines only when asked for, since a screen reader is the voice there.
#[cfg(feature = "voice")]
fn with_voice(
    output: Box<dyn Output>,
    on_screen: bool,
    sender: &mpsc::SyncSender<FromWorld>,
    args: &SessionArgs,
) -> Box<dyn Output> {
    use crate::edge::voice::{Aloud, FromVoice, Manner, Voice};
    if args.quiet || args.fast || !(on_screen || args.aloud) {
        return output;
    }
    let manner = Manner {
        speed: args.speed,
        loudness: args.loudness,
        device: args.loudspeaker.clone(),
    };
    let to_loop = sender.clone();
    let voice = Voice::start(manner.clone(), move |news| {
        let event = match news {
            FromVoice::Silent(_) => FromWorld::Silent,
            FromVoice::Trouble(why) => FromWorld::Hint(why),
        };
        // The loop is gone: the session is over.
        let _ = to_loop.send(event);
    });
    Box::new(Aloud::new(output, voice, manner))
}

#[cfg(not(feature = "voice"))]
fn with_voice(
    output: Box<dyn Output>,
    _: bool,
    _: &mpsc::SyncSender<FromWorld>,
    _: &SessionArgs,
) -> Box<dyn Output> {
    output
}

fn finish(folder: &RunFolder, ended: &Ended, on_terminal: bool) -> Result<u8, Failure> {
    let page = super::write_pages(folder)?;
    let mut text = String::new();
    let saved = &ended.run.saved;
    if saved.cursor != crate::core::record::Cursor::Closed {
        let why = if ended.recording_over {
            "The recording is over before the job is. "
        } else {
            ""
        };
        text += &format!(
            "{why}Not done yet; everything kept is saved. Go on with: sayback resume {}\n",
            folder.path.display()
        );
    }
    text += &format!("Record: {}\n", page.display());
    if let Some(error) = &ended.unseen {
        return Ok(unseen(error, &text, on_terminal));
    }
    // A terminal that hung up cannot be printed on: the code still says that it did.
    match super::print(&text) {
        Err(_) if ended.code >= 128 => Ok(ended.code),
        printed => printed.map(|()| ended.code),
    }
}

/// The end of a session that nobody could see any more: what would have been printed is told beside.
fn unseen(error: &std::io::Error, text: &str, on_terminal: bool) -> u8 {
    let text = text.trim_end();
    if super::is_broken_pipe(error) {
        // The reader went away, which is no error; but the job is not done.
        tell(text);
        NOT_DONE
    } else if on_terminal {
        // It hung up, and the signal of that has not come yet.
        HUNG_UP
    } else {
        tell(&format!("{}\n{text}", Failure::from_output(error).text));
        NOT_SAVED
    }
}

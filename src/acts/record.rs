//! `runs`, `record`: reading journals back.

use std::path::PathBuf;

use super::{DONE, Failure};
use crate::args::{Form, RecordArgs, RunsFolder};
use crate::core::record::{Body, Cursor, Record, closing};
use crate::core::run::Saved;
use crate::edge::clock;
use crate::edge::index;
use crate::edge::runs::{self, RunFolder, RunsError};
use crate::edge::tell;
use crate::history::PastJob;
use crate::job::Job;
use crate::journal::{self, Ending, Entry, JournalError};
use crate::report::{self, Sounds};
use crate::route::{self, Doubt, RunFacts};
use crate::storage::ReadOnlyFile;

/// The record to be read by people.
const PAGE: &str = "record.html";

/// A journal as read, without touching it.
pub(super) struct Read {
    pub(super) entries: Vec<Entry<Record>>,
    pub(super) chain_hash: String,
    /// "whole", or what is wrong with it, in words.
    pub(super) whole: String,
}

impl Read {
    /// What is wrong with the journal, if it is damaged.
    pub(super) fn damaged(&self) -> Option<&str> {
        self.whole.starts_with("DAMAGED").then_some(&self.whole)
    }
}

pub(super) fn read(folder: &RunFolder) -> Result<Read, Failure> {
    let file = ReadOnlyFile::open(&folder.journal()).map_err(Failure::wrong)?;
    match journal::read::<Record>(&file) {
        Ok(contents) => {
            let whole = if contents.torn.is_empty() {
                "whole".to_owned()
            } else {
                format!(
                    "whole but for {} bytes of a last line that was never saved",
                    contents.torn.len()
                )
            };
            Ok(Read {
                chain_hash: contents.chain_hash().to_string(),
                entries: contents.entries,
                whole,
            })
        }
        Err(JournalError::Damaged {
            whole,
            at_line,
            why,
            later,
            name,
        }) => {
            let chain_hash = whole
                .last()
                .map_or_else(String::new, |entry| entry.hash.to_string());
            let words = format!(
                "DAMAGED: {name}, line {at_line}: {why}. This record shows what stands before it; {} whole records stand after it",
                later.len()
            );
            Ok(Read {
                entries: whole,
                chain_hash,
                whole: words,
            })
        }
        Err(error) => Err(Failure::wrong(error)),
    }
}

/// Makes the pages of a run's record in its folder; returns the page to read.
///
/// # Errors
/// If the journal cannot be read or a page cannot be written.
pub fn write_pages(folder: &RunFolder) -> Result<PathBuf, Failure> {
    let report = build(folder)?;
    folder
        .write_record(&[
            (PAGE, report::html(&report).as_bytes()),
            (
                "record.pdf",
                &report::pdf(&report).map_err(Failure::not_saved)?,
            ),
            (
                "record.csv",
                &report::csv(&report).map_err(Failure::not_saved)?,
            ),
            ("record.json", report::json(&report).as_bytes()),
        ])
        .map_err(Failure::not_saved)?;
    if !report.head.journal_whole {
        tell(&format!(
            "the record says so first: {}. Put the whole journal back from a copy of the run, if there is one; nothing in this one was changed",
            report.head.journal
        ));
    }
    for fault in &report.sound_faults {
        tell(&format!(
            "sound {} of record {}: {}",
            fault.file, fault.seq, fault.detail
        ));
    }
    Ok(folder.path.join(PAGE))
}

pub(super) fn build(folder: &RunFolder) -> Result<report::Report, Failure> {
    let read = read(folder)?;
    let job = super::run::read_copy(folder).map_err(|failure| {
        Failure {
            text: format!(
                "{}\nThe record is made with the run's own copy of the job file. Put it back from a copy of the run; the record that is there stays as it is",
                failure.text.trim_end()
            ),
            ..failure
        }
    })?;
    let records: Vec<(u64, Record)> = read
        .entries
        .into_iter()
        .map(|entry| (entry.seq.0, entry.record))
        .collect();
    let sounds = sounds(folder, &records);
    // Given as "." it has no name and nothing beside it.
    let placed = RunFolder {
        path: folder
            .path
            .canonicalize()
            .unwrap_or_else(|_| folder.path.clone()),
    };
    let doubts = doubts(&placed, &job, &records);
    let source = report::Source {
        job: &job,
        records: &records,
        chain_hash: &read.chain_hash,
        whole: &read.whole,
        clips_folder: "clips",
        sounds: &sounds,
        doubts: &doubts,
    };
    let report = report::build(&source);
    let earlier = earlier(&placed, report.head.tag.as_deref());
    Ok(report
        .with_earlier(&placed.name(), &source, earlier)
        .with_signatures(super::proof::signatures(folder)))
}

/// Most journals that are read for one record; a job must not wait for its page.
const MOST_EARLIER: usize = 200;

/// The past jobs of an actuator beside this run; none where that would take long.
fn earlier(folder: &RunFolder, tag: Option<&str>) -> Vec<PastJob> {
    let (Some(runs), Some(tag)) = (folder.path.parent(), tag) else {
        return Vec::new();
    };
    let jobs = super::history::JobFiles::default();
    index::ask_quickly(runs, MOST_EARLIER, &|run| jobs.past(run), &|index| {
        index.of_tag(tag)
    })
    .unwrap_or_else(|| {
        tell("the record does not tell what became of the last as left: the index of the history is not up to date. `sayback history` makes it; then make the record again with `sayback record`");
        Vec::new()
    })
}

/// Why its readings are in doubt, by the meter checks among the runs beside it. That a check is
/// missing is told where the run came from a route: that asks for them.
fn doubts(folder: &RunFolder, job: &Job, records: &[(u64, Record)]) -> Vec<Doubt> {
    let records: Vec<Record> = records.iter().map(|(_, record)| record.clone()).collect();
    let Some(facts) = RunFacts::of(&folder.name(), job, &records) else {
        return Vec::new();
    };
    let Some(runs) = folder.path.parent() else {
        return Vec::new();
    };
    let checks = super::route::checks(runs, &facts.began.day());
    let mut doubts = route::doubts(&facts, &checks, clock::wall());
    doubts.retain(|doubt| doubt.failed || facts.route.is_some());
    doubts
}

/// The sounds that the journal names, each checked against its hash.
fn sounds(folder: &RunFolder, records: &[(u64, Record)]) -> Sounds {
    records
        .iter()
        .filter_map(|(_, record)| record.body.clip())
        .map(|clip| (clip.file.clone(), folder.sound(clip)))
        .collect()
}

/// The saved run of these records.
///
/// # Errors
/// If the journal does not begin as one of ours does, or the job is another one.
pub fn fold(job: &Job, records: &[Record]) -> Result<Saved, Failure> {
    let Some(Record {
        body: Body::Started(started),
        ..
    }) = records.first()
    else {
        return Err(Failure::wrong(
            "this journal does not begin with the start of a run; it is not one of Sayback's",
        ));
    };
    if started.job_hash != job.hash {
        return Err(Failure::wrong(format!(
            "the job file beside this journal is not the one it began with (hash {} instead of {}). Put the right copy back; nothing was changed",
            job.hash, started.job_hash
        )));
    }
    let mut saved = Saved::new(job, started.clone());
    for record in &records[1..] {
        saved.apply(job, record);
    }
    Ok(saved)
}

/// True if the run is not closed, as far as its journal can be read.
#[must_use]
pub fn is_open(folder: &RunFolder) -> bool {
    read(folder).is_ok_and(|read| !closed(&read.entries))
}

fn closed(entries: &[Entry<Record>]) -> bool {
    closing(entries.iter().map(|entry| &entry.record.body)).is_some()
}

/// How a journal ended, for a person.
#[must_use]
pub fn ending_words(ending: &Ending) -> String {
    match ending {
        Ending::Clean => "the journal is whole".to_owned(),
        Ending::Torn { kept_aside, bytes } => format!(
            "the last line of the journal was never saved whole ({bytes} bytes); it is kept aside in {kept_aside}. Enter the last answer again"
        ),
    }
}

/// Lists the runs.
///
/// # Errors
/// If the folder cannot be read.
pub fn list(args: &RunsFolder) -> Result<u8, Failure> {
    let runs = runs::runs_folder(args.runs.as_deref()).map_err(Failure::wrong)?;
    let mut text = String::new();
    for folder in RunFolder::all(&runs).map_err(Failure::wrong)? {
        let state = match (read(&folder), super::run::read_copy(&folder)) {
            (Ok(read), _) if read.damaged().is_some() => "damaged".to_owned(),
            (Ok(read), Ok(job)) => state(&job, &read.entries),
            (Ok(_), Err(_)) => "job file missing or changed".to_owned(),
            (Err(failure), _) => failure.text,
        };
        text += &format!("{}\t{state}\n", folder.name());
    }
    if text.is_empty() {
        tell(&format!("no runs in {}", runs.display()));
    }
    super::print(&text)?;
    Ok(DONE)
}

fn state(job: &Job, entries: &[Entry<Record>]) -> String {
    let records: Vec<Record> = entries.iter().map(|entry| entry.record.clone()).collect();
    let Ok(saved) = fold(job, &records) else {
        return "not readable with its job file".to_owned();
    };
    let tag = saved.plate_word("tag").unwrap_or("no tag yet");
    let closed = closing(records.iter().map(|record| &record.body));
    let at = match (&saved.cursor, closed) {
        (Cursor::Closed, Some((false, reason))) => {
            format!("ended early: {}", reason.unwrap_or("no reason given"))
        }
        (Cursor::Closed, _) => "done".to_owned(),
        (Cursor::Step { id, .. }, _) => format!("open at step {id}"),
        (Cursor::Plate(id), _) => format!("open at {id}"),
        (Cursor::Ending, _) => "open at the close-out".to_owned(),
    };
    format!("{tag}\t{at}")
}

/// Makes a record again.
///
/// # Errors
/// If there is no such run, or it cannot be written.
pub fn make(args: &RecordArgs) -> Result<u8, Failure> {
    let runs = runs::runs_folder(args.folder.runs.as_deref()).map_err(Failure::wrong)?;
    let folder = match &args.run {
        Some(name) => RunFolder::open(&runs, name).map_err(Failure::wrong)?,
        None => RunFolder::all(&runs)
            .map_err(Failure::wrong)?
            .pop()
            .ok_or_else(|| Failure::wrong(RunsError::NoRuns { runs: runs.clone() }))?,
    };
    match args.print {
        None => super::print(&format!("{}\n", write_pages(&folder)?.display()))?,
        Some(form) => {
            let report = build(&folder)?;
            let bytes = match form {
                Form::Html => report::html(&report).into_bytes(),
                Form::Pdf => report::pdf(&report).map_err(Failure::not_saved)?,
                Form::Csv => report::csv(&report).map_err(Failure::not_saved)?,
                Form::Json => report::json(&report).into_bytes(),
                Form::Text => report::text(&report).into_bytes(),
            };
            super::print_bytes(&bytes)?;
        }
    }
    Ok(DONE)
}

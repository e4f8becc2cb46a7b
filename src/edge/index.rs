//! The index of the past jobs: a database beside the runs, made from their journals.
//!
//! The journals are the truth. The index holds nothing else, and whoever deletes it loses nothing:
//! it is built again. [`ask`] is the only way in: it brings the index up to date, asks, and where
//! the file is damaged, of another version, locked or cannot be written, throws it away or does
//! without it, in memory, with one sentence for the person. It never stops what was asked.
//!
//! A run is read again when its journal has another length or was changed since (its times); the
//! hash of its last line then says whether there is anything new. Each row carries a hash of its
//! own, so that a figure from a damaged file is not shown. Only this module touches the file.

mod questions;
mod rows;

use std::collections::HashMap;
use std::fs;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

use rusqlite::{Connection, params};

use super::runs::{RunFolder, RunsError};
use crate::history::{FORMAT, PastJob, PastText};

/// Name of the index, in the folder of the runs.
pub const FILE: &str = "sayback-history.sqlite";

/// "SayB": marks a database as ours.
const APPLICATION: i32 = 0x5361_7942;

/// Counts up with every change of the tables.
const TABLES: i32 = 1;

/// How long another Sayback that is writing is waited for.
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(3);

const SCHEMA: &str = "
CREATE TABLE run (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    bytes INTEGER NOT NULL,
    modified INTEGER NOT NULL,
    changed INTEGER NOT NULL,
    chain TEXT NOT NULL,
    tag TEXT NOT NULL,
    started INTEGER NOT NULL,
    date TEXT NOT NULL,
    line TEXT NOT NULL
);
CREATE INDEX run_by_tag ON run (tag, started);
CREATE INDEX run_by_date ON run (date);
CREATE TABLE past (run INTEGER PRIMARY KEY, body TEXT NOT NULL, seal BLOB NOT NULL);
CREATE TABLE said (id INTEGER PRIMARY KEY, run INTEGER NOT NULL, place INTEGER NOT NULL);
CREATE INDEX said_by_run ON said (run);
CREATE VIRTUAL TABLE words USING fts5 (text, content = '', contentless_delete = 1, tokenize = 'unicode61 remove_diacritics 2');
";

/// What was asked, and what the person has to know about it.
#[derive(Debug)]
pub struct Answer<T> {
    /// The answer.
    pub answer: T,
    /// Sentences about the index itself.
    pub told: Vec<String>,
    /// Runs that are not in it, each with why.
    pub left_out: Vec<(String, String)>,
}

/// A text that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Hit {
    /// Name of the run.
    pub run: String,
    /// Local date of the run.
    pub date: String,
    /// Tag, where there is one.
    pub tag: Option<String>,
    /// The text.
    pub text: PastText,
}

/// A tag with its last job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TagLine {
    /// The tag, as it is compared.
    pub tag: String,
    /// Number of jobs.
    pub jobs: usize,
    /// Local date of the last.
    pub date: String,
    /// The last job and how it stands.
    pub line: String,
}

/// An index that is up to date.
#[derive(Debug)]
pub struct Index {
    database: Connection,
}

/// Why the index could not be used. Nobody sees it: the index is made again, or done without.
#[derive(Debug, thiserror::Error)]
pub enum IndexFault {
    /// The database says so.
    #[error(transparent)]
    Database(#[from] rusqlite::Error),
    /// It is of another Sayback, or none of ours.
    #[error("it was made by another version")]
    OtherVersion,
    /// A row is not as it was written.
    #[error("a row of it is not as it was written")]
    Row,
    /// More would have to be read than was allowed.
    #[error("too much would have to be read")]
    TooMuch,
}

/// Where the index stands.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Place {
    File,
    Memory,
}

/// Brings the index of a folder of runs up to date and asks it.
///
/// `read` makes a past job from a run, or says why it cannot. It is called from several threads.
///
/// # Errors
/// If the folder of the runs cannot be read. Whatever is wrong with the index is no error.
pub fn ask<T>(
    runs: &Path,
    read: &(dyn Fn(&RunFolder) -> Result<PastJob, String> + Sync),
    question: &dyn Fn(&Index) -> Result<T, IndexFault>,
) -> Result<Answer<T>, RunsError> {
    let found = journals(runs)?;
    let path = runs.join(FILE);
    let mut told: Vec<String> = Vec::new();
    // A folder that is not there has no runs, and is not made for the sake of an index.
    let mut place = if runs.is_dir() {
        Place::File
    } else {
        Place::Memory
    };
    let mut tries = 0;
    loop {
        tries += 1;
        let mut left_out = Vec::new();
        let attempt = open(&path, place)
            .and_then(|mut index| {
                left_out = index.update(runs, &found, read, &told, usize::MAX)?;
                Ok(index)
            })
            .and_then(|index| question(&index));
        match attempt {
            Ok(answer) => {
                return Ok(Answer {
                    answer,
                    told,
                    left_out,
                });
            }
            // In memory nothing is damaged, locked or full; asking on would go round for ever.
            Err(fault) if place == Place::Memory => {
                return Err(RunsError::Io {
                    what: "search",
                    path,
                    source: std::io::Error::other(fault),
                    fix: "Ask again; if it stays, report it as a fault of Sayback. Nothing in the journals was changed",
                });
            }
            Err(fault) => {
                let (next, sentence) = after(&fault, &path, tries);
                told.push(sentence);
                place = next;
            }
        }
    }
}

/// The same where it must not take long: none where more than `most` journals would have to be read,
/// or the index is not good. It makes no file.
pub fn ask_quickly<T>(
    runs: &Path,
    most: usize,
    read: &(dyn Fn(&RunFolder) -> Result<PastJob, String> + Sync),
    question: &dyn Fn(&Index) -> Result<T, IndexFault>,
) -> Option<T> {
    let found = journals(runs).ok()?;
    let path = runs.join(FILE);
    let place = if path.is_file() {
        Place::File
    } else {
        Place::Memory
    };
    let mut index = open(&path, place).ok()?;
    index
        .database
        .busy_timeout(std::time::Duration::ZERO)
        .ok()?;
    index.update(runs, &found, read, &[], most).ok()?;
    question(&index).ok()
}

/// What is done about a fault, and the sentence about it.
fn after(fault: &IndexFault, path: &Path, tries: u32) -> (Place, String) {
    use rusqlite::ErrorCode;
    let code = match fault {
        IndexFault::Database(error) => error.sqlite_error_code(),
        _ => None,
    };
    let without = |why: &str| {
        (
            Place::Memory,
            format!(
                "{why}; this was worked out from the journals, which takes longer. Nothing is lost"
            ),
        )
    };
    let path_shown = path.display();
    match code {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => without(&format!(
            "the index {path_shown} is in use by another Sayback"
        )),
        Some(
            ErrorCode::ReadOnly
            | ErrorCode::CannotOpen
            | ErrorCode::PermissionDenied
            | ErrorCode::AuthorizationForStatementDenied,
        ) => without(&format!("the index {path_shown} cannot be written")),
        Some(ErrorCode::DiskFull) => {
            without(&format!("there is no room for the index {path_shown}"))
        }
        // Once is enough: what comes back new and damaged is a matter of the disk.
        _ if tries > 1 || !thrown_away(path) => {
            without(&format!("the index {path_shown} cannot be used ({fault})"))
        }
        _ => (
            Place::File,
            format!(
                "the index {path_shown} could not be used ({fault}); it was thrown away and built again from the journals. Nothing is lost"
            ),
        ),
    }
}

/// Removes the index with what the database keeps beside it; false where it cannot be removed.
fn thrown_away(path: &Path) -> bool {
    let beside = |end: &str| {
        let mut name = path.as_os_str().to_owned();
        name.push(end);
        PathBuf::from(name)
    };
    // First what could be played back into a new one.
    for path in [beside("-journal"), beside("-wal"), beside("-shm")] {
        if fs::remove_file(&path).is_err() && path.exists() {
            return false;
        }
    }
    fs::remove_file(path).is_ok()
}

/// The journal of a run as the folder lists it.
struct Journal {
    name: String,
    bytes: i64,
    modified: i64,
    changed: i64,
}

fn journals(runs: &Path) -> Result<Vec<Journal>, RunsError> {
    let nanoseconds = |seconds: i64, rest: i64| seconds.wrapping_mul(1_000_000_000) + rest;
    Ok(RunFolder::all(runs)?
        .into_iter()
        .filter_map(|run| {
            let about = fs::metadata(run.journal()).ok()?;
            Some(Journal {
                name: run.path.file_name()?.to_string_lossy().into_owned(),
                bytes: i64::try_from(about.len()).unwrap_or(i64::MAX),
                modified: nanoseconds(about.mtime(), about.mtime_nsec()),
                changed: nanoseconds(about.ctime(), about.ctime_nsec()),
            })
        })
        .collect())
}

fn open(path: &Path, place: Place) -> Result<Index, IndexFault> {
    let database = match place {
        Place::Memory => Connection::open_in_memory()?,
        Place::File => Connection::open(path)?,
    };
    database.busy_timeout(PATIENCE)?;
    let mark: i32 = database.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let version: i32 = database.pragma_query_value(None, "user_version", |row| row.get(0))?;
    let wanted = TABLES * 1000 + i32::try_from(FORMAT).unwrap_or(i32::MAX / 2000);
    let tables: i64 =
        database.query_row("SELECT count(*) FROM sqlite_master", [], |row| row.get(0))?;
    if tables == 0 {
        let make = format!(
            "BEGIN IMMEDIATE; {SCHEMA} PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {wanted}; COMMIT;"
        );
        match database.execute_batch(&make) {
            Ok(()) => {}
            // Another Sayback made it in the same moment.
            Err(_) if database.table_exists(None, "words")? => {}
            Err(error) => return Err(error.into()),
        }
    } else if mark != APPLICATION || version != wanted {
        return Err(IndexFault::OtherVersion);
    }
    Ok(Index { database })
}

impl Index {
    /// Takes in what is new, and drops what is gone. Returns what could not be taken in.
    fn update(
        &mut self,
        runs: &Path,
        found: &[Journal],
        read: &(dyn Fn(&RunFolder) -> Result<PastJob, String> + Sync),
        told: &[String],
        most: usize,
    ) -> Result<Vec<(String, String)>, IndexFault> {
        let mut known: HashMap<String, (i64, i64, i64, i64, String)> = HashMap::new();
        {
            let mut rows = self
                .database
                .prepare("SELECT name, id, bytes, modified, changed, chain FROM run")?;
            let mut rows = rows.query([])?;
            while let Some(row) = rows.next()? {
                known.insert(
                    row.get(0)?,
                    (
                        row.get(1)?,
                        row.get(2)?,
                        row.get(3)?,
                        row.get(4)?,
                        row.get(5)?,
                    ),
                );
            }
        }
        let mut stale: Vec<&Journal> = Vec::new();
        let mut same = 0_usize;
        for journal in found {
            match known.get(&journal.name) {
                Some((_, bytes, modified, changed, _))
                    if (*bytes, *modified, *changed)
                        == (journal.bytes, journal.modified, journal.changed) =>
                {
                    same += 1;
                }
                _ => stale.push(journal),
            }
        }
        let gone = known.len() - same;
        if stale.is_empty() && gone == 0 {
            return Ok(Vec::new());
        }
        if stale.len() > most {
            return Err(IndexFault::TooMuch);
        }
        let sentence = format!(
            "reading {} journals for the index of the history",
            stale.len()
        );
        if stale.len() > 500 && !told.contains(&sentence) {
            super::tell(&format!("{sentence}; this takes a moment, once"));
        }
        let read = in_parallel(runs, &stale, read);
        let mut left_out = Vec::new();
        let change = self
            .database
            .transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
        let mut names: Vec<(&str, i64)> = known
            .iter()
            .map(|(name, (id, ..))| (name.as_str(), *id))
            .collect();
        let here: std::collections::HashSet<&str> =
            found.iter().map(|journal| journal.name.as_str()).collect();
        names.retain(|(name, _)| !here.contains(name));
        for (_, id) in names {
            rows::remove(&change, id)?;
        }
        for (journal, past) in stale.into_iter().zip(read) {
            let old = known.get(&journal.name);
            match past {
                Ok(past) if old.is_some_and(|(.., chain)| *chain == past.chain_hash) => {
                    change.prepare_cached("UPDATE run SET bytes = ?2, modified = ?3, changed = ?4 WHERE name = ?1")?.execute(
                        params![journal.name, journal.bytes, journal.modified, journal.changed],
                    )?;
                }
                Ok(past) => {
                    if let Some((id, ..)) = old {
                        rows::remove(&change, *id)?;
                    }
                    rows::insert(&change, journal, &past)?;
                }
                Err(why) => {
                    if let Some((id, ..)) = old {
                        rows::remove(&change, *id)?;
                    }
                    left_out.push((journal.name.clone(), why));
                }
            }
        }
        change.commit()?;
        left_out.sort();
        Ok(left_out)
    }
}

/// The past jobs of these journals, on every core.
fn in_parallel(
    runs: &Path,
    stale: &[&Journal],
    read: &(dyn Fn(&RunFolder) -> Result<PastJob, String> + Sync),
) -> Vec<Result<PastJob, String>> {
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let part = stale.len().div_ceil(cores).max(1);
    let one = |journal: &&Journal| {
        read(&RunFolder {
            path: runs.join(&journal.name),
        })
    };
    if stale.len() < 32 {
        return stale.iter().map(one).collect();
    }
    std::thread::scope(|scope| {
        let parts: Vec<_> = stale
            .chunks(part)
            .map(|part| {
                (
                    part.len(),
                    scope.spawn(move || part.iter().map(one).collect::<Vec<_>>()),
                )
            })
            .collect();
        parts
            .into_iter()
            .flat_map(|(length, part)| {
                part.join().unwrap_or_else(|_| {
                    vec![
                        Err("reading it broke off; report this as a fault of Sayback".to_owned());
                        length
                    ]
                })
            })
            .collect()
    })
}

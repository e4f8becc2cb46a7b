//! The journal of a run: what was called saved is in it, whatever happens after.
//!
//! One append-only text file a run, one line a record (the form: [`FORMAT`] and
//! `line.rs`). State: the storage, how much of it is whole, and whether the disk
//! can still be believed. Only [`Journal::append`] adds to it; nothing is ever
//! rewritten; nothing that could be a record is ever dropped.
//!
//! The rules after trouble:
//! - a line could not be written: its beginning is removed before anything else;
//! - the disk did not confirm: the journal takes nothing more ([`Journal::is_poisoned`]),
//!   and the sync is not tried again, because a second one may succeed without
//!   the bytes (seen on Linux: "Fsync Errors" in the wiki of `PostgreSQL`);
//! - found at opening, the last line cut short: its bytes are moved to a file
//!   beside the journal, and the run goes on;
//! - found at opening, anything else: nothing is touched.

mod line;
mod read;
mod verify;

use std::fmt;
use std::marker::PhantomData;

use serde::Serialize;
use serde::de::DeserializeOwned;
use thiserror::Error;

use crate::storage::{Storage, StorageError};
use line::encode;

pub use line::{ChainHash, FORMAT, LONGEST_LINE, LineFault, NotAHash, Seq};
pub use read::{Contents, DamageReason, Entry, read};
pub use verify::{Fault, FaultKind, verify};

/// An open journal of records `T`.
#[derive(Debug)]
pub struct Journal<T, S> {
    storage: S,
    next: Seq,
    last_hash: ChainHash,
    /// Up to here the storage is whole lines.
    whole_bytes: u64,
    poisoned: bool,
    records: PhantomData<fn(&T)>,
}

/// A journal that was opened to go on with it.
#[derive(Debug)]
pub struct Opened<T, S> {
    /// The journal, ready for the next record.
    pub journal: Journal<T, S>,
    /// All records so far; never empty.
    pub records: Vec<Entry<T>>,
    /// How the file ended.
    pub ending: Ending,
}

/// How a journal ended when it was opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ending {
    /// With a whole record.
    Clean,
    /// With a record that was being written when the program or the power stopped.
    /// It had not been called saved. Tell the person once.
    Torn {
        /// Where its bytes are now.
        kept_aside: String,
        /// How many there are.
        bytes: u64,
    },
}

impl fmt::Display for Ending {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Clean => write!(out, "all records are whole"),
            Self::Torn { kept_aside, bytes } => write!(
                out,
                "the last record was cut off while it was being written, and was not saved. Enter it again. Its {bytes} bytes are in {kept_aside}"
            ),
        }
    }
}

/// Why a journal could not be opened. Nothing was changed by trying.
#[derive(Debug, Error)]
pub enum JournalError<T> {
    /// The file could not be reached, read or repaired.
    #[error(transparent)]
    Storage(#[from] StorageError),
    /// There is no whole first record, so no reading was ever saved in it.
    #[error(
        "{name} ends before its first record is whole, so nothing was saved in it. Begin the run again under another name"
    )]
    NotBegun {
        /// The journal.
        name: String,
    },
    /// A later Sayback wrote it.
    #[error(
        "{name} is of journal format {found}, and this Sayback knows formats up to {FORMAT}. Open it with a newer Sayback; it is left as it is"
    )]
    LaterFormat {
        /// The journal.
        name: String,
        /// The format it names.
        found: u32,
    },
    /// A line was changed, or lines are missing. Show what is whole, and offer to
    /// go on in a new journal.
    #[error(
        "{name} is damaged at line {at_line}: {why}. It is left as it is, and {} before that line can still be read. Go on in a new file, or put back a copy of this one", say_records(.whole.len())
    )]
    Damaged {
        /// The journal.
        name: String,
        /// The records before the damage.
        whole: Vec<Entry<T>>,
        /// The damaged line, from 1.
        at_line: u64,
        /// What is wrong with it.
        why: DamageReason,
        /// The records after the damage that are whole by themselves. Nothing
        /// shows that they follow: records between them may be missing.
        later: Vec<Entry<T>>,
    },
}

/// Why a record was not saved. It is not in the journal then, with one exception:
/// see [`AppendError::NotConfirmed`].
#[derive(Debug, Error)]
pub enum AppendError {
    /// The line would be longer than [`LONGEST_LINE`]. Nothing was written.
    #[error(
        "NOT SAVED: the record takes {bytes} bytes, and {LONGEST_LINE} is the most. Enter it in smaller parts"
    )]
    TooLong {
        /// The length of the line in bytes.
        bytes: usize,
    },
    /// The record cannot be written as text, or not be read back from it. Nothing
    /// was written. This is a fault of the program.
    #[error(
        "NOT SAVED: this record could not be read back from the journal ({0}). Write it on paper, and report this fault of Sayback"
    )]
    NotReadable(#[source] serde_json::Error),
    /// It could not be written, and the journal is as it was: once the cause is
    /// gone, the record can be entered again.
    #[error("NOT SAVED: {0}. Until then write it on paper")]
    NotWritten(#[source] StorageError),
    /// It could not be written, and what was written of it cannot be removed. The
    /// journal takes nothing more.
    #[error(
        "NOT SAVED: write it on paper. {write}{}. Close Sayback and open the run again, then enter it",
        say_removal(.removal.as_ref())
    )]
    NotRemoved {
        /// Why it could not be written.
        write: StorageError,
        /// Why its beginning is still there; `None` when it was left, because
        /// others had changed the file.
        removal: Option<StorageError>,
    },
    /// It was written, and the disk did not confirm. The journal takes nothing
    /// more. The line was removed again as far as the system says, but after a power
    /// cut it may be there all the same.
    #[error(
        "NOT SAVED: write it on paper. {0}. Close Sayback and open the run again, then enter it"
    )]
    NotConfirmed(#[source] StorageError),
    /// An earlier record already met with [`AppendError::NotRemoved`] or
    /// [`AppendError::NotConfirmed`].
    #[error(
        "NOT SAVED: write it on paper. {name} takes no more since the disk failed. Close Sayback and open the run again, then enter it"
    )]
    Poisoned {
        /// The journal.
        name: String,
    },
}

impl<T: Serialize + DeserializeOwned, S: Storage> Journal<T, S> {
    /// Begins a journal in an empty storage. `first` says what run this is.
    ///
    /// # Errors
    /// When `first` was not saved.
    pub fn create(storage: S, first: &T) -> Result<Self, AppendError> {
        let mut journal = Self {
            storage,
            next: Seq(0),
            last_hash: ChainHash::before_the_first(),
            whole_bytes: 0,
            poisoned: false,
            records: PhantomData,
        };
        journal.append(first)?;
        Ok(journal)
    }

    /// Opens a journal to go on with it. A last line that was cut short is moved
    /// aside first. What is returned is safe from a power cut.
    ///
    /// # Errors
    /// See [`JournalError`]; the bytes of the journal are then as they were, save
    /// that after [`JournalError::Storage`] a torn end may have been moved aside.
    pub fn open(mut storage: S) -> Result<Opened<T, S>, JournalError<T>> {
        let contents = read::<T>(&storage)?;
        let ending = if contents.torn.is_empty() {
            Ending::Clean
        } else {
            let kept_aside = storage.keep_aside(&contents.torn)?;
            storage.set_length(contents.whole_bytes)?;
            Ending::Torn {
                kept_aside,
                bytes: contents.torn.len() as u64,
            }
        };
        // The program before may have been killed between write and sync: its last
        // record would be read from memory here, and not yet be on the disk.
        storage.sync()?;
        Ok(Opened {
            journal: Self {
                storage,
                next: Seq(contents.entries.len() as u64),
                last_hash: contents.chain_hash(),
                whole_bytes: contents.whole_bytes,
                poisoned: false,
                records: PhantomData,
            },
            records: contents.entries,
            ending,
        })
    }

    /// Saves one record. When this returns `Ok`, the record survives a power cut:
    /// only then may anyone be told that it is saved.
    ///
    /// # Errors
    /// See [`AppendError`]: the record was not saved.
    pub fn append(&mut self, record: &T) -> Result<Seq, AppendError> {
        if self.poisoned {
            return Err(AppendError::Poisoned {
                name: self.storage.name(),
            });
        }
        let text = record_text(record).map_err(AppendError::NotReadable)?;
        let line = encode(self.next, self.last_hash, &text);
        if line.len() > LONGEST_LINE {
            return Err(AppendError::TooLong { bytes: line.len() });
        }
        self.write(&line)?;
        if let Err(error) = self.storage.sync() {
            self.poisoned = true;
            // What was called not saved should not be there when the run is opened
            // again. No promise hangs on it, so its own failure changes nothing.
            let _ = self.storage.set_length(self.whole_bytes);
            return Err(AppendError::NotConfirmed(error));
        }
        let seq = self.next;
        self.next = seq.next();
        self.last_hash = ChainHash::of(&line);
        self.whole_bytes += line.len() as u64;
        Ok(seq)
    }

    /// Writes the whole line, or leaves the storage as it was.
    fn write(&mut self, line: &[u8]) -> Result<(), AppendError> {
        let mut written = 0;
        while written < line.len() {
            let at = self.whole_bytes + written as u64;
            let error = match self.storage.append(at, &line[written..]) {
                Ok(0) => self.no_progress(),
                Ok(count) => {
                    written += count;
                    continue;
                }
                Err(error) if error.is_interruption() => continue,
                Err(error) => error,
            };
            if written == 0 && error.nothing_touched() {
                return Err(AppendError::NotWritten(error));
            }
            return Err(self.remove_beginning(error));
        }
        Ok(())
    }

    /// The next line must not be glued to half of this one.
    fn remove_beginning(&mut self, write: StorageError) -> AppendError {
        let removal = if write.nothing_touched() && !matches!(write, StorageError::Gone { .. }) {
            // Bytes of somebody else may stand behind ours: cutting would take them.
            Err(None)
        } else {
            self.storage
                .set_length(self.whole_bytes)
                .and_then(|()| self.storage.sync())
                .map_err(Some)
        };
        match removal {
            Ok(()) => AppendError::NotWritten(write),
            Err(removal) => {
                self.poisoned = true;
                AppendError::NotRemoved { write, removal }
            }
        }
    }

    fn no_progress(&self) -> StorageError {
        StorageError::Io {
            path: self.storage.name().into(),
            doing: "write",
            source: std::io::ErrorKind::WriteZero.into(),
        }
    }
}

impl<T, S: Storage> Journal<T, S> {
    /// The name of the storage: the path of the file.
    #[must_use]
    pub fn name(&self) -> String {
        self.storage.name()
    }

    /// How many records are saved.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.next.0
    }

    /// The hash of the last saved line, which stands for the whole journal: print
    /// it on the record.
    #[must_use]
    pub fn chain_hash(&self) -> ChainHash {
        self.last_hash
    }

    /// The disk failed in a way after which it cannot be believed; nothing more is
    /// taken. The way back is to open the run again.
    #[must_use]
    pub fn is_poisoned(&self) -> bool {
        self.poisoned
    }
}

/// The JSON of a record. One that cannot be read back is worse than none: it would
/// make the journal unreadable from there on.
fn record_text<T: Serialize + DeserializeOwned>(record: &T) -> Result<String, serde_json::Error> {
    let text = serde_json::to_string(record)?;
    serde_json::from_str::<T>(&text)?;
    Ok(text)
}

fn say_removal(removal: Option<&StorageError>) -> String {
    removal.map_or_else(String::new, |removal| {
        format!(", and its beginning could not be removed: {removal}")
    })
}

fn say_records(count: usize) -> String {
    if count == 1 {
        "1 record".to_owned()
    } else {
        format!("{count} records")
    }
}

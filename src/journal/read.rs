//! From bytes to records, line by line, and the judgement of how they end.
//! Nothing here writes.

use std::io::{self, BufRead as _, BufReader, Read};
use std::ops::Range;

use serde::de::DeserializeOwned;
use thiserror::Error;

use super::JournalError;
use super::line::{ChainHash, LONGEST_LINE, Line, LineFault, Seq, said_length};
use crate::storage::{Source, StorageError};

/// One record, and where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry<T> {
    /// Its place in the journal.
    pub seq: Seq,
    /// The hash of its whole line: what the next line carries.
    pub hash: ChainHash,
    /// The record itself.
    pub record: T,
}

/// What a journal holds.
#[derive(Debug)]
pub struct Contents<T> {
    /// All whole records in order; never empty.
    pub entries: Vec<Entry<T>>,
    /// How many bytes those records take.
    pub whole_bytes: u64,
    /// What stands after the last whole record: usually nothing. Bytes here are a
    /// line whose writing was cut short, and which was never called saved.
    pub torn: Vec<u8>,
}

impl<T> Contents<T> {
    /// The hash of the last line, which stands for the whole journal.
    #[must_use]
    pub fn chain_hash(&self) -> ChainHash {
        self.entries
            .last()
            .map_or_else(ChainHash::before_the_first, |last| last.hash)
    }
}

/// Why reading stopped at a line that was not simply cut short.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum DamageReason {
    /// The line by itself is not whole.
    #[error("{0}")]
    Line(#[from] LineFault),
    /// The number of the record does not follow.
    #[error("it is record {found}, and record {expected} should stand here")]
    Order {
        /// What should stand here.
        expected: Seq,
        /// What stands here.
        found: Seq,
    },
    /// The line before was changed after this one was written.
    #[error("it does not carry the hash of the line before it: one of the two was changed")]
    Chain,
    /// A record that this program does not know.
    #[error("it is whole, but this Sayback cannot understand its record: {0}")]
    Record(String),
}

/// Reads a journal without changing anything, also while a run is writing it.
///
/// # Errors
/// [`JournalError::Damaged`] when a line is neither whole nor simply cut short,
/// with all that can still be read; see [`JournalError`] for the rest.
pub fn read<T: DeserializeOwned>(source: &impl Source) -> Result<Contents<T>, JournalError<T>> {
    let mut lines = Lines::of(source);
    let mut contents = Contents {
        entries: Vec::new(),
        whole_bytes: 0,
        torn: Vec::new(),
    };
    let mut expected = Seq(0);
    let mut previous = ChainHash::before_the_first();
    while let Some(line) = lines.next_line()? {
        let entry = Line::parse(line)
            .map_err(DamageReason::from)
            .and_then(|line| {
                check_place(&line, expected, previous)?;
                decode(&line)
            });
        match entry {
            Ok(entry) => {
                expected = entry.seq.next();
                previous = entry.hash;
                contents.whole_bytes += line.len() as u64;
                contents.entries.push(entry);
            }
            Err(DamageReason::Line(LineFault::LaterFormat { found })) if expected == Seq(0) => {
                return Err(JournalError::LaterFormat {
                    name: source.name(),
                    found,
                });
            }
            Err(why) => {
                let rest = line.to_vec();
                let is_last = lines.at_end()?;
                if is_last && looks_torn(&rest, contents.whole_bytes) {
                    contents.torn = rest;
                    break;
                }
                return Err(JournalError::Damaged {
                    name: source.name(),
                    at_line: contents.entries.len() as u64 + 1,
                    why,
                    later: read_later(&mut lines)?,
                    whole: contents.entries,
                });
            }
        }
    }
    if contents.entries.is_empty() {
        return Err(JournalError::NotBegun {
            name: source.name(),
        });
    }
    Ok(contents)
}

/// Whether the rest of a file, which begins at byte `at` and holds no second line,
/// is a line whose writing was cut short. Anything else was changed later.
///
/// Only one line is ever unsynced, so only the last one can be cut short. It leaves
/// its beginning; or zeros where blocks never reached the disk.
fn looks_torn(rest: &[u8], at: u64) -> bool {
    if rest.len() > LONGEST_LINE {
        return false;
    }
    match zeros(rest) {
        // With all of its bytes there, it was a changed newline.
        None => !rest.ends_with(b"\n") && said_length(rest).is_none_or(|all| rest.len() < all),
        Some(_) if !rest.ends_with(b"\n") => true,
        // Blocks begin and end at multiples of 512 bytes; a single changed byte,
        // which would be a whole record lost, does not.
        Some(zeros) => {
            let on_a_block = |index: usize| (at + index as u64).is_multiple_of(512);
            zeros.start == 0 || (on_a_block(zeros.start) && on_a_block(zeros.end))
        }
    }
}

/// The first run of zeros.
fn zeros(bytes: &[u8]) -> Option<Range<usize>> {
    let start = bytes.iter().position(|&byte| byte == 0)?;
    let count = bytes[start..].iter().take_while(|byte| **byte == 0).count();
    Some(start..start + count)
}

fn check_place(line: &Line<'_>, expected: Seq, previous: ChainHash) -> Result<(), DamageReason> {
    if line.seq != expected {
        return Err(DamageReason::Order {
            expected,
            found: line.seq,
        });
    }
    if line.previous != previous {
        return Err(DamageReason::Chain);
    }
    Ok(())
}

fn decode<T: DeserializeOwned>(line: &Line<'_>) -> Result<Entry<T>, DamageReason> {
    match serde_json::from_slice(line.record) {
        Ok(record) => Ok(Entry {
            seq: line.seq,
            hash: line.hash,
            record,
        }),
        Err(why) => Err(DamageReason::Record(why.to_string())),
    }
}

/// After a damaged line, whatever is whole by itself is still worth showing.
fn read_later<T: DeserializeOwned, S: Source>(
    lines: &mut Lines<'_, S>,
) -> Result<Vec<Entry<T>>, StorageError> {
    let mut later = Vec::new();
    while let Some(line) = lines.next_line()? {
        if let Ok(entry) = Line::parse(line)
            .map_err(DamageReason::from)
            .and_then(|line| decode(&line))
        {
            later.push(entry);
        }
    }
    Ok(later)
}

/// Takes a source apart into lines, holding one line at a time.
pub(super) struct Lines<'a, S: Source> {
    reader: BufReader<AsRead<'a, S>>,
    line: Vec<u8>,
}

impl<'a, S: Source> Lines<'a, S> {
    pub(super) fn of(source: &'a S) -> Self {
        Self {
            reader: BufReader::with_capacity(1 << 16, AsRead { source, at: 0 }),
            line: Vec::new(),
        }
    }

    /// The next line with its newline, if it has one. Of a line that is longer than
    /// [`LONGEST_LINE`] only the beginning is given (longer than the limit, so that
    /// it shows), and the rest is passed over.
    pub(super) fn next_line(&mut self) -> Result<Option<&[u8]>, StorageError> {
        self.line.clear();
        let limit = LONGEST_LINE as u64 + 1;
        (&mut self.reader)
            .take(limit)
            .read_until(b'\n', &mut self.line)
            .map_err(storage_error)?;
        if self.line.len() > LONGEST_LINE && !self.line.ends_with(b"\n") {
            self.reader.skip_until(b'\n').map_err(storage_error)?;
        }
        Ok((!self.line.is_empty()).then_some(&self.line))
    }

    pub(super) fn at_end(&mut self) -> Result<bool, StorageError> {
        Ok(self.reader.fill_buf().map_err(storage_error)?.is_empty())
    }
}

struct AsRead<'a, S: Source> {
    source: &'a S,
    at: u64,
}

impl<S: Source> Read for AsRead<'_, S> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self
            .source
            .read_at(self.at, buffer)
            .map_err(io::Error::other)?;
        self.at += count as u64;
        Ok(count)
    }
}

/// The way back through [`io::Error`], which the standard reader speaks.
fn storage_error(error: io::Error) -> StorageError {
    match error.downcast::<StorageError>() {
        Ok(inner) => inner,
        Err(source) => StorageError::Io {
            path: std::path::PathBuf::new(),
            doing: "read",
            source,
        },
    }
}

//! Says in words what was changed in a journal, line by line. Unlike opening, it
//! goes on past a fault, and it needs not to know the records.

use std::fmt;

use serde::de::IgnoredAny;

use super::line::{ChainHash, Line, LineFault, Seq};
use super::read::Lines;
use crate::storage::{Source, StorageError};

/// One thing that does not fit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// The line it stands at, from 1; for a fault of the whole journal, its last.
    pub line: u64,
    /// What does not fit.
    pub kind: FaultKind,
}

/// What does not fit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FaultKind {
    /// There is nothing in it.
    Empty,
    /// The line by itself is not whole.
    Line(LineFault),
    /// The line is whole, and its record is not JSON.
    NotJson,
    /// The numbers do not follow one another.
    Order {
        /// What should stand here.
        expected: Seq,
        /// What stands here.
        found: Seq,
    },
    /// The line before is not the one that stood there when this was written.
    Chain,
    /// The last line is not the one whose hash was kept elsewhere.
    End {
        /// The hash that was kept.
        expected: ChainHash,
        /// The hash of the last line as it is.
        found: ChainHash,
    },
}

/// Checks each line by itself, the order of the lines and the chain of hashes, and
/// returns all that does not fit: nothing, when all is as it was written.
///
/// `kept` is the hash of the last record as it stands on the printed record.
/// Without it nobody can tell whether the *last* line was rewritten, or lines
/// after it taken away: there is no later line that would carry the hash.
///
/// # Errors
/// When the storage cannot be read.
pub fn verify(source: &impl Source, kept: Option<ChainHash>) -> Result<Vec<Fault>, StorageError> {
    let mut lines = Lines::of(source);
    let mut faults = Vec::new();
    let mut number = 0_u64;
    let mut expected = Some(Seq(0));
    let mut previous = ChainHash::before_the_first();
    while let Some(bytes) = lines.next_line()? {
        number += 1;
        let mut add = |kind| faults.push(Fault { line: number, kind });
        match Line::parse(bytes) {
            Ok(line) => {
                if let Some(expected) = expected
                    && line.seq != expected
                {
                    add(FaultKind::Order {
                        expected,
                        found: line.seq,
                    });
                }
                if line.previous != previous {
                    add(FaultKind::Chain);
                }
                if serde_json::from_slice::<IgnoredAny>(line.record).is_err() {
                    add(FaultKind::NotJson);
                }
                expected = Some(line.seq.next());
            }
            Err(fault) => {
                add(FaultKind::Line(fault));
                expected = expected.map(Seq::next);
            }
        }
        previous = ChainHash::of(bytes);
    }
    if number == 0 {
        faults.push(Fault {
            line: 1,
            kind: FaultKind::Empty,
        });
    }
    if let Some(expected) = kept
        && expected != previous
    {
        faults.push(Fault {
            line: number.max(1),
            kind: FaultKind::End {
                expected,
                found: previous,
            },
        });
    }
    Ok(faults)
}

impl fmt::Display for Fault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let line = self.line;
        match &self.kind {
            FaultKind::Empty => write!(out, "the journal is empty"),
            FaultKind::Line(fault) => write!(out, "line {line}: {fault}"),
            FaultKind::NotJson => {
                write!(
                    out,
                    "line {line}: its check sum fits, but its record is not JSON"
                )
            }
            FaultKind::Order { expected, found } if found > expected => write!(
                out,
                "line {line}: it is record {found}, and record {expected} should stand here: {} missing",
                records(found.0 - expected.0)
            ),
            FaultKind::Order { expected, found } => write!(
                out,
                "line {line}: it is record {found}, and record {expected} should stand here: it was copied or moved"
            ),
            FaultKind::Chain if line == 1 => write!(
                out,
                "line 1: it carries the hash of a line before it: what stood before it was taken away, or it was changed"
            ),
            FaultKind::Chain => write!(
                out,
                "line {line}: the line before it, line {}, is not the one that stood there when it was written: one of the two was changed, or lines between them were taken away",
                line - 1
            ),
            FaultKind::End { expected, found } => write!(
                out,
                "line {line}, the last: its hash is {found}, and {expected} was kept: it was changed, or lines were added or taken away after the hash was kept"
            ),
        }
    }
}

fn records(count: u64) -> String {
    if count == 1 {
        "1 record is".to_owned()
    } else {
        format!("{count} records are")
    }
}

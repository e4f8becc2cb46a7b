//! What another recogniser heard in the clips of a list, so that it is scored by the same rules.
//! No state between calls.

use std::path::{Path, PathBuf};

use super::{HearError, HeardAll};

/// What was heard of one clip, in the form that [`read`] gives.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Elsewhere {
    phrase: String,
    busy: f64,
    last: f64,
}

impl Elsewhere {
    /// As if the ear had heard it.
    pub(super) fn heard(&self) -> HeardAll {
        HeardAll {
            utterances: Vec::new(),
            phrase: self.phrase.clone(),
            busy: self.busy,
            last: self.last,
        }
    }
}

/// Reads what was heard: tab-separated, one line a clip in the order of the list, without a header:
/// path as it stands in the list, words (none if nothing was understood), computing time in seconds,
/// and the part of it after the last sample.
pub(super) fn read(path: &Path) -> Result<Vec<(PathBuf, Elsewhere)>, HearError> {
    let text = std::fs::read_to_string(path).map_err(|fault| HearError::Read {
        path: path.to_owned(),
        fault,
    })?;
    text.lines()
        .enumerate()
        .map(|(at, line)| {
            let cells: Vec<&str> = line.split('\t').map(str::trim).collect();
            let seconds = |cell: &str| cell.parse().ok().filter(|s: &f64| s.is_finite() && *s >= 0.0);
            let parsed = match cells.as_slice() {
                [clip, words, busy, last] => seconds(busy).zip(seconds(last)).map(|(busy, last)| {
                    let phrase = (*words).to_owned();
                    (PathBuf::from(clip), Elsewhere { phrase, busy, last })
                }),
                _ => None,
            };
            parsed.ok_or_else(|| HearError::Table {
                path: path.to_owned(),
                line: at + 1,
                fault: "not a line of what was heard. Write: path, words, seconds, seconds after the last sample, with tabs between.".to_owned(),
            })
        })
        .collect()
}

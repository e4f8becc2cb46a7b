//! From a journal to its record: one page for people, CSV and JSON for
//! machines, a short text for terminals.
//!
//! No state and no devices: [`build`] folds the records of one run into a
//! [`Report`], plain data that claims no more than the journal holds, and the
//! four writers only lay it out. Nobody changes a [`Report`] after it is built.

mod answers;
mod build;
mod csv;
mod decisions;
mod ears;
mod exceptions;
mod html;
mod json;
mod markup;
mod measured;
mod pdf;
mod plain;
mod plate;
mod plot;
mod schema;
mod since;
mod sound;
mod strokes;
mod summary;
mod text;
mod time;
mod track;
mod types;
mod uncertainty;
pub mod week;

pub use self::build::build;
pub use self::csv::{CsvError, csv};
pub use self::html::html;
pub use self::json::json;
pub use self::pdf::{PdfError, pdf};
pub use self::plain::plain as one_line;
pub use self::schema::schema;
pub use self::text::text;
pub use self::time::utc;
pub use self::types::*;

use crate::core::record::Record;
use crate::job::Job;
use crate::route::Doubt;

/// What a record is made from.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// The job as it was run.
    pub job: &'a Job,
    /// The whole records of the journal, in order, each with its sequence number.
    pub records: &'a [(u64, Record)],
    /// Hash (hex) of the journal's last whole line; it stands for the whole journal.
    pub chain_hash: &'a str,
    /// `"whole"` or `"clean"`; otherwise a sentence about what is torn or damaged.
    pub whole: &'a str,
    /// Folder of the sound clips, relative to the page.
    pub clips_folder: &'a str,
    /// The sounds that were looked for there; empty where none was.
    pub sounds: &'a Sounds,
    /// Why readings are in doubt that the journal itself cannot tell: the checks of the meter.
    pub doubts: &'a [Doubt],
}

/// Stem for file names: local date, job and tag, of `a-z`, `A-Z`, `0-9`, `-` and `_` only.
#[must_use]
pub fn name(report: &Report) -> String {
    let safe = |text: &str| -> String {
        let kept: String = text
            .chars()
            .map(|c| {
                if c.is_ascii_alphanumeric() || c == '_' {
                    c
                } else {
                    '-'
                }
            })
            .take(40)
            .collect();
        kept.trim_matches('-').to_owned()
    };
    let date = report.head.started.local.get(..10).unwrap_or("undated");
    [
        safe(date),
        safe(&report.head.job),
        report
            .head
            .tag
            .as_deref()
            .map_or_else(|| "no-tag".to_owned(), safe),
    ]
    .into_iter()
    .filter(|part| !part.is_empty())
    .collect::<Vec<_>>()
    .join("_")
}

impl Report {
    /// True for a plate item that is told with its instrument.
    pub(crate) fn is_of_instrument(&self, line: &PlateLine) -> bool {
        self.instruments
            .iter()
            .any(|instrument| instrument.items.contains(&line.id))
    }
}

//! From a TOML text to a checked [`Job`] or [`Sheet`]. `jobs/README.md` explains
//! the form of both.
//!
//! Reading never stops at the first fault: all that can be told apart are told,
//! each with line, column, the place marked, and a fix. First every table is read
//! key by key, then what refers to something else is looked up, and last, once
//! the parts are sound, the ways through the job are followed. No state.

mod check;
pub(super) mod draft;
pub(crate) mod fault;
mod flow;
pub(super) mod plate;
mod range;
mod step;
pub(crate) mod table;
mod words;

use std::path::Path;

use toml::de::{DeTable, DeValue};

pub use self::fault::{Fault, JobErrors};

use self::draft::Draft;
use self::fault::{Faults, is_hidden, whole_file};
use self::table::{NAME, PARAGRAPH, SENTENCE, Table};
use super::{Job, Limit, PlateItem, Step};
use crate::spoken::EarWords;

/// Largest job file or job sheet, in bytes.
pub const LARGEST: usize = 256 * 1024;
/// Version of the form of job files.
pub(crate) const FORMAT: &str = "1";

/// Reads and checks a job file for ears that have these words, and gives its text with it.
///
/// # Errors
/// If it is no plain file, cannot be read, or has faults.
pub fn file(path: &Path, ears: &EarWords) -> Result<(String, Job), JobErrors> {
    let name = path.display().to_string();
    let bytes = read(path)?;
    let text = decode(&bytes, &name)?;
    parse_for(text, &name, ears).map(|job| (text.to_owned(), job))
}

/// Bytes of a file that a person named: a plain file, and not too large.
pub(crate) fn read(path: &Path) -> Result<Vec<u8>, JobErrors> {
    let name = path.display().to_string();
    let failed = |error: std::io::Error| {
        whole_file(
            &name,
            &format!("the file cannot be read: {error}"),
            "check the path",
        )
    };
    // Looked at first: opening a pipe would wait for ever.
    let about = std::fs::metadata(path).map_err(failed)?;
    if !about.is_file() {
        return Err(whole_file(
            &name,
            "this is no plain file",
            "give the path of a file",
        ));
    }
    if about.len() > LARGEST as u64 {
        return Err(too_large(about.len(), &name));
    }
    std::fs::read(path).map_err(failed)
}

/// Reads the copy of a job file that a run keeps: UTF-8, with or without a byte order mark. Which
/// words an ear can listen for was looked at when the run began.
///
/// # Errors
/// Every other fault that can be told apart, see [`JobErrors`].
pub fn from_bytes(bytes: &[u8], file_name: &str) -> Result<Job, JobErrors> {
    let mut job = parse_for(decode(bytes, file_name)?, file_name, &EarWords::any())?;
    job.hash = blake3::hash(bytes).to_hex().to_string();
    Ok(job)
}

/// Reads and checks the text of a job file for the built-in ears. `file_name` is only for messages.
///
/// # Errors
/// Every fault that can be told apart, see [`JobErrors`].
pub fn parse(text: &str, file_name: &str) -> Result<Job, JobErrors> {
    parse_for(text, file_name, &EarWords::default())
}

/// The same for ears that have these words.
///
/// # Errors
/// Every fault that can be told apart, see [`JobErrors`].
pub fn parse_for(text: &str, file_name: &str, ears: &EarWords) -> Result<Job, JobErrors> {
    let hash = blake3::hash(text.as_bytes()).to_hex().to_string();
    let text = strip_mark(text);
    let document = document(text, file_name)?;
    let mut draft = Draft::new(text, ears);
    let mut table = Table::root(&document, "the head of the job");
    if let Some(format) = table.need("format", FORMAT, &mut draft.faults) {
        match format.get_ref() {
            DeValue::Integer(number) if number.as_str() == FORMAT => {}
            _ => draft.faults.add(
                &format.span(),
                "this form of job file is not known",
                format!("write format = {FORMAT}"),
            ),
        }
    }
    let id = table.need_id(&mut draft.faults);
    let title = table.need_text("title", NAME, "\"Set the ends\"", &mut draft.faults);
    let purpose = table.need_text(
        "purpose",
        PARAGRAPH,
        "\"What the job is for.\"",
        &mut draft.faults,
    );
    let applies_to = table.need_text(
        "applies-to",
        PARAGRAPH,
        "\"What it is done on.\"",
        &mut draft.faults,
    );
    let cautions = table.texts("cautions", SENTENCE, &mut draft.faults);
    for item in table.tables("plate", "a plate item", &mut draft.faults) {
        plate::read(&mut draft, item);
    }
    for limit in table.tables("limit", "a limit", &mut draft.faults) {
        plate::read_limit(&mut draft, limit);
    }
    for step in table.tables("step", "a step", &mut draft.faults) {
        step::read(&mut draft, step);
    }
    table.done(&mut draft.faults);
    if draft.steps.is_empty() && draft.faults.is_empty() {
        draft
            .faults
            .add(&(0..0), "the job has no step", "add at least one [[step]]");
    }
    check::references(&mut draft);
    if draft.faults.is_empty() {
        flow::follow(&mut draft);
    }
    if !draft.faults.is_empty() {
        return Err(draft.faults.into_errors(file_name));
    }
    Ok(Job {
        id: id.text,
        title: title.text,
        purpose: purpose.text,
        applies_to: applies_to.text,
        cautions: cautions.into_iter().map(|text| text.text).collect(),
        plate: draft.plate,
        limits: draft.limits,
        steps: draft.steps,
        hash,
    })
}

/// Bytes as text: not too many, and UTF-8.
pub(crate) fn decode<'b>(bytes: &'b [u8], file_name: &str) -> Result<&'b str, JobErrors> {
    if bytes.len() > LARGEST {
        return Err(too_large(bytes.len() as u64, file_name));
    }
    std::str::from_utf8(bytes).map_err(|error| {
        let good = std::str::from_utf8(&bytes[..error.valid_up_to()]).unwrap_or_default();
        let mut faults = Faults::new(good);
        let byte = bytes[error.valid_up_to()];
        faults.add(
            &(good.len()..good.len()),
            format!("the byte 0x{byte:02X} is not UTF-8"),
            "save the file as UTF-8 (plain text)",
        );
        faults.into_errors(file_name)
    })
}

/// Text as a TOML document: not too long, nothing hidden, sound syntax.
pub(crate) fn document<'t>(
    text: &'t str,
    file_name: &str,
) -> Result<toml::Spanned<DeTable<'t>>, JobErrors> {
    if text.len() > LARGEST {
        return Err(too_large(text.len() as u64, file_name));
    }
    let mut faults = Faults::new(text);
    all_visible(text, &mut faults);
    if !faults.is_empty() {
        return Err(faults.into_errors(file_name));
    }
    // Going on behind a fault of syntax is slow where everything is one: a large file gets its first.
    let (document, errors) = if text.len() <= LARGEST / 8 {
        DeTable::parse_recoverable(text)
    } else {
        match DeTable::parse(text) {
            Ok(document) => (document, Vec::new()),
            Err(error) => (toml::Spanned::new(0..0, DeTable::new()), vec![error]),
        }
    };
    for error in errors {
        let span = error.span().unwrap_or(0..0);
        let what = format!("this is not TOML: {}", fault::shown(error.message()));
        faults.add(
            &span,
            what,
            "put the line right; jobs/README.md shows the form",
        );
    }
    if faults.is_empty() {
        Ok(document)
    } else {
        Err(faults.into_errors(file_name))
    }
}

/// Every character that cannot be seen, but for tabs and the ends of lines, is a fault.
pub(crate) fn all_visible(text: &str, faults: &mut Faults) {
    for (at, c) in text.char_indices() {
        let line_end = c == '\n' || (c == '\r' && text[at + 1..].starts_with('\n'));
        if is_hidden(c) && !line_end && c != '\t' {
            let what = format!("the hidden character U+{:04X}", u32::from(c));
            faults.add(
                &(at..at + c.len_utf8()),
                what,
                "take it out: only visible text is read",
            );
        }
    }
}

fn too_large(bytes: u64, file_name: &str) -> JobErrors {
    let what = format!("the file has {bytes} bytes");
    whole_file(
        file_name,
        &what,
        &format!("at most {LARGEST} are read: split it"),
    )
}

pub(crate) fn strip_mark(text: &str) -> &str {
    text.strip_prefix('\u{FEFF}').unwrap_or(text)
}

//! The text that is signed.

use std::collections::BTreeMap;
use std::fmt::Write;

/// The first line; a statement of another form is refused.
const FIRST: &str = "# Sayback statement, format 1. Check the files in the folder of the run with: sha256sum --check";

/// What somebody says about a run by signing it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Statement {
    /// Name of the folder of the run.
    pub run: String,
    /// Tag of the actuator, or "no tag".
    pub tag: String,
    /// How the run stood, in words.
    pub state: String,
    /// Records in the journal.
    pub records: u64,
    /// Length of the journal, in bytes.
    pub journal_bytes: u64,
    /// Hash (BLAKE3, hex) of the journal's last line, as on the record.
    pub last_line: String,
    /// Who signed, as the key names them.
    pub by: String,
    /// When, by the clock of the machine that signed (UTC, RFC 3339).
    pub at: String,
    /// Name and version of the program that signed.
    pub program: String,
    /// SHA-256 (hex) of every file, by its name in the folder of the run.
    pub files: BTreeMap<String, String>,
}

/// Why a text is no statement.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StatementFault {
    /// The first line is another one.
    #[error(
        "this is no statement of Sayback, or one of a later version; get the file again, or a newer Sayback"
    )]
    NotOne,
    /// A line is missing.
    #[error(
        "the line \u{201C}{0}\u{201D} is missing in the statement; get the file again from the one who signed"
    )]
    Missing(&'static str),
    /// A line is not understood.
    #[error(
        "line {0} of the statement is not understood; get the file again from the one who signed"
    )]
    Line(usize),
}

impl Statement {
    /// The text that is signed, byte for byte.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = format!("{FIRST}\n");
        for (name, value) in [
            ("run", &self.run),
            ("tag", &self.tag),
            ("state", &self.state),
            ("records", &self.records.to_string()),
            ("journal bytes", &self.journal_bytes.to_string()),
            ("hash of the journal's last line", &self.last_line),
            ("signed by", &self.by),
            ("signed at", &self.at),
            ("signed with", &self.program),
        ] {
            let _ = writeln!(text, "# {name}: {}", one_line(value));
        }
        for (file, hash) in &self.files {
            let _ = writeln!(text, "{hash}  {file}");
        }
        text
    }

    /// Reads a text that [`Self::text`] made.
    ///
    /// # Errors
    /// If it is not one.
    pub fn parse(text: &str) -> Result<Self, StatementFault> {
        let mut lines = text.lines().enumerate();
        if lines.next().is_none_or(|(_, first)| first != FIRST) {
            return Err(StatementFault::NotOne);
        }
        let mut named: BTreeMap<&str, &str> = BTreeMap::new();
        let mut files = BTreeMap::new();
        for (at, line) in lines {
            if let Some((name, value)) = line
                .strip_prefix("# ")
                .and_then(|line| line.split_once(": "))
            {
                named.insert(name, value);
            } else if let Some((hash, file)) = line.split_once("  ")
                && hash.len() == 64
                && hash.bytes().all(|byte| byte.is_ascii_hexdigit())
                && is_plain(file)
            {
                files.insert(file.to_owned(), hash.to_owned());
            } else {
                return Err(StatementFault::Line(at + 1));
            }
        }
        let of = |name: &'static str| {
            named
                .get(name)
                .map(|value| (*value).to_owned())
                .ok_or(StatementFault::Missing(name))
        };
        let number =
            |name: &'static str| of(name)?.parse().map_err(|_| StatementFault::Missing(name));
        Ok(Self {
            run: of("run")?,
            tag: of("tag")?,
            state: of("state")?,
            records: number("records")?,
            journal_bytes: number("journal bytes")?,
            last_line: of("hash of the journal's last line")?,
            by: of("signed by")?,
            at: of("signed at")?,
            program: of("signed with")?,
            files,
        })
    }
}

/// A name that leads nowhere else: a file of the run, or one in its folder of clips.
fn is_plain(file: &str) -> bool {
    let name = file.strip_prefix("clips/").unwrap_or(file);
    !name.is_empty()
        && !name.starts_with('.')
        && name
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'-' | b'_'))
}

/// The text on one line, without what cannot be seen.
fn one_line(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect::<String>()
        .trim()
        .to_owned()
}

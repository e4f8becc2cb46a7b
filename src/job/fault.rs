//! Faults of a job file or a job sheet: where, what, and the fix.

use std::fmt;

/// One fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
    /// The line itself.
    pub text: String,
    /// What is wrong, and the fix.
    pub why: String,
}

/// All faults of one file; never empty.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Faults {
    /// Name of the file, for messages.
    pub file: String,
    /// The faults, in file order.
    pub faults: Vec<Fault>,
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let count = self.faults.len();
        write!(
            f,
            "{} has {count} fault{}",
            self.file,
            if count == 1 { "" } else { "s" }
        )?;
        for fault in &self.faults {
            write!(
                f,
                "\n{}:{}:{}: {}",
                self.file, fault.line, fault.column, fault.why
            )?;
            if !fault.text.is_empty() {
                write!(
                    f,
                    "\n    {}\n    {}^",
                    fault.text,
                    " ".repeat(fault.column.saturating_sub(1))
                )?;
            }
        }
        Ok(())
    }
}

impl std::error::Error for Faults {}

/// Gathers faults while a file is checked.
pub(super) struct Gather<'a> {
    pub(super) file: &'a str,
    pub(super) text: &'a str,
    pub(super) faults: Vec<Fault>,
}

impl<'a> Gather<'a> {
    pub(super) fn new(file: &'a str, text: &'a str) -> Self {
        Self {
            file,
            text,
            faults: Vec::new(),
        }
    }

    /// A fault at a byte of the text.
    pub(super) fn at(&mut self, byte: usize, why: impl Into<String>) {
        let mut byte = byte.min(self.text.len());
        while !self.text.is_char_boundary(byte) {
            byte -= 1;
        }
        let before = &self.text[..byte];
        let start = before.rfind('\n').map_or(0, |at| at + 1);
        let line = self.text[start..].lines().next().unwrap_or_default();
        self.faults.push(Fault {
            line: before.matches('\n').count() + 1,
            column: self.text[start..byte].chars().count() + 1,
            text: line.chars().take(160).collect(),
            why: why.into(),
        });
    }

    pub(super) fn done<T>(mut self, made: T) -> Result<T, Faults> {
        if self.faults.is_empty() {
            return Ok(made);
        }
        self.faults.sort_by_key(|fault| (fault.line, fault.column));
        self.faults.dedup();
        Err(Faults {
            file: self.file.to_owned(),
            faults: self.faults,
        })
    }
}

/// The nearest of some names, if one is near enough to be meant.
pub(super) fn nearest<'n>(name: &str, names: impl Iterator<Item = &'n str>) -> String {
    names
        .map(|other| (distance(name, other), other))
        .min()
        .filter(|(distance, _)| *distance <= 2.max(name.len() / 3))
        .map_or_else(String::new, |(_, other)| format!("; did you mean {other}?"))
}

/// Number of letters to change, put in or leave out.
fn distance(one: &str, other: &str) -> usize {
    let other: Vec<char> = other.chars().collect();
    let mut row: Vec<usize> = (0..=other.len()).collect();
    for (i, a) in one.chars().enumerate() {
        let mut before = row[0];
        row[0] = i + 1;
        for (j, b) in other.iter().enumerate() {
            let change = before + usize::from(a != *b);
            before = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(before + 1);
        }
    }
    row[other.len()]
}

//! Faults of a job file, a job sheet or a route: where, what, and what to do about it.
//!
//! Holds the list of faults of the text that is being read; the readers of
//! `load` add to it and nobody takes away.

use std::fmt;
use std::ops::Range;

/// Bytes of the text that a fault or a reference points to.
pub(crate) type Span = Range<usize>;

/// More faults than this are counted, not told.
const MOST: usize = 100;
/// Characters of a line that are shown around the fault.
const WINDOW: usize = 90;

/// Everything that is wrong with one file. Never empty.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct JobErrors {
    /// Name of the file, as given.
    pub file: String,
    /// The faults, in the order of the file.
    pub faults: Vec<Fault>,
    /// Further faults that are not listed.
    pub more: usize,
}

/// One fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What was found.
    pub what: String,
    /// What to write instead.
    pub fix: String,
    /// The line, or the part of it around the fault.
    excerpt: String,
    /// Characters of `excerpt` in front of the fault.
    indent: usize,
    /// Characters of the fault, at least 1.
    width: usize,
}

impl fmt::Display for JobErrors {
    fn fmt(&self, out: &mut fmt::Formatter) -> fmt::Result {
        for fault in &self.faults {
            let number = fault.line.to_string();
            let gutter = " ".repeat(number.len());
            writeln!(
                out,
                "{}:{}:{}: {}",
                self.file, fault.line, fault.column, fault.what
            )?;
            if !fault.excerpt.is_empty() {
                writeln!(out, "  {number} | {}", fault.excerpt)?;
                writeln!(
                    out,
                    "  {gutter} | {}{}",
                    " ".repeat(fault.indent),
                    "^".repeat(fault.width)
                )?;
            }
            writeln!(out, "  {gutter} = {}", fault.fix)?;
        }
        match (self.faults.len(), self.more) {
            (1, 0) => write!(out, "1 fault in {}", self.file),
            (listed, 0) => write!(out, "{listed} faults in {}", self.file),
            (listed, more) => write!(
                out,
                "{} faults in {}, the first {listed} are shown",
                listed + more,
                self.file
            ),
        }
    }
}

/// The faults found so far in one text.
#[derive(Debug)]
pub(crate) struct Faults<'t> {
    text: &'t str,
    list: Vec<(usize, Fault)>,
    more: usize,
}

impl<'t> Faults<'t> {
    pub(crate) fn new(text: &'t str) -> Self {
        Self {
            text,
            list: Vec::new(),
            more: 0,
        }
    }

    /// The text that is being read.
    pub(crate) fn text(&self) -> &'t str {
        self.text
    }

    /// Line of a place, from 1.
    pub(crate) fn line_of(&self, span: &Span) -> usize {
        self.text[..floor(self.text, span.start)]
            .matches('\n')
            .count()
            + 1
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// How many are listed.
    pub(crate) fn count(&self) -> usize {
        self.list.len()
    }

    /// True once so many faults are listed that looking for near names is not worth its time.
    pub(crate) fn is_full(&self) -> bool {
        self.list.len() >= MOST
    }

    pub(crate) fn add(&mut self, span: &Span, what: impl Into<String>, fix: impl Into<String>) {
        if self.is_full() {
            self.more += 1;
            return;
        }
        let fault = place(self.text, span, what.into(), fix.into());
        // What holds for every actuator of a route is read for each of them, and told once.
        if !self.list.iter().any(|(_, other)| *other == fault) {
            self.list.push((span.start, fault));
        }
    }

    /// An unknown name, with the nearest known one or the whole list as the fix.
    pub(crate) fn unknown<'n>(
        &mut self,
        span: &Span,
        what: &str,
        found: &str,
        known: impl Iterator<Item = &'n str> + Clone,
    ) {
        if self.is_full() {
            self.more += 1;
            return;
        }
        let fix = match near(found, known.clone()) {
            Some(name) => format!("did you mean \"{name}\"?"),
            None => among(known),
        };
        self.add(span, format!("unknown {what} \"{}\"", shown(found)), fix);
    }

    /// All of them, as an error of this file.
    pub(crate) fn into_errors(mut self, file: &str) -> JobErrors {
        self.list.sort_by_key(|(start, _)| *start);
        JobErrors {
            file: shown(file),
            faults: self.list.into_iter().map(|(_, fault)| fault).collect(),
            more: self.more,
        }
    }
}

/// A fault that has no place in the text: the file as a whole.
pub(crate) fn whole_file(file: &str, what: &str, fix: &str) -> JobErrors {
    let fault = Fault {
        line: 1,
        column: 1,
        what: what.to_owned(),
        fix: fix.to_owned(),
        excerpt: String::new(),
        indent: 0,
        width: 1,
    };
    JobErrors {
        file: shown(file),
        faults: vec![fault],
        more: 0,
    }
}

fn place(text: &str, span: &Span, what: String, fix: String) -> Fault {
    let start = floor(text, span.start);
    let end = floor(text, span.end).max(start);
    let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
    let line_end = text[start..].find('\n').map_or(text.len(), |at| start + at);
    let line = text[..line_start].matches('\n').count() + 1;
    let before = text[line_start..start].chars().count();
    let width = text[start..end.min(line_end)]
        .trim_end()
        .chars()
        .count()
        .max(1);
    // A long line is shown from a little in front of the fault.
    let skipped = if before > WINDOW - 30 { before - 30 } else { 0 };
    let mut excerpt: String = text[line_start..line_end]
        .chars()
        .skip(skipped)
        .take(WINDOW)
        .map(|c| if is_hidden(c) { ' ' } else { c })
        .collect();
    excerpt.truncate(excerpt.trim_end().len());
    let indent = before - skipped;
    let width = width.min((WINDOW - indent.min(WINDOW - 1)).max(1));
    Fault {
        line,
        column: before + 1,
        what,
        fix,
        excerpt,
        indent,
        width,
    }
}

fn floor(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// Control characters, characters that turn the direction of writing, and those that
/// cannot be seen: they could write on the terminal or hide text from the reader.
pub(crate) fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{00AD}' | '\u{061C}' | '\u{115F}' | '\u{1160}' | '\u{180E}' | '\u{200B}'..='\u{200F}'
            | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FE00}'..='\u{FE0F}' | '\u{FEFF}'
            | '\u{FFF9}'..='\u{FFFB}' | '\u{E0000}'..='\u{E0FFF}')
}

/// A found text as it can be shown in a message: on one line, not long, nothing hidden.
pub(crate) fn shown(text: &str) -> String {
    let mut short: String = text
        .chars()
        .take(60)
        .map(|c| if is_hidden(c) { '\u{FFFD}' } else { c })
        .collect();
    if text.chars().nth(60).is_some() {
        short.push('…');
    }
    short
}

/// "use one of a, b, c", at most a dozen.
pub(crate) fn among<'n>(known: impl Iterator<Item = &'n str>) -> String {
    let names: Vec<&str> = known.collect();
    match names.len() {
        0 => "there is none to choose from".to_owned(),
        count if count > 14 => format!("use one of {}, …", names[..14].join(", ")),
        _ => format!("use one of {}", names.join(", ")),
    }
}

/// The known name that was probably meant: the nearest; of several one with the same consonants,
/// which misspelled English words mostly keep ("seezed", "corodded"), and nearly as long.
pub(crate) fn near<'n>(found: &str, known: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    let found = found.to_lowercase();
    let wanted: Vec<char> = found.chars().take(60).collect();
    let sounds = consonants(&found);
    known
        .map(|name| {
            let lower = name.to_lowercase();
            let distance = crate::spelling::distance_of(&wanted, &lower);
            let longer = lower.chars().count().abs_diff(wanted.len());
            ((distance, consonants(&lower) != sounds, longer), name)
        })
        .min_by_key(|(key, _)| *key)
        .filter(|((distance, ..), name)| {
            *distance <= (name.chars().count().max(wanted.len()) / 3).max(1)
                && *distance < wanted.len().max(2)
        })
        .map(|(_, name)| name)
}

/// Without vowels, and doubled letters once.
fn consonants(name: &str) -> Vec<char> {
    let mut letters: Vec<char> = name.chars().filter(|c| !"aeiouy".contains(*c)).collect();
    letters.dedup();
    letters
}

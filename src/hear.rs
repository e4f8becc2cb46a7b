//! `sayback hear`: what the ear makes of recordings, and how often it is right.
//!
//! No state between calls. Nothing here decides anything in a job: it shows the
//! ear's words, the parser's reading of them, and the figures over a table of
//! clips, so that a person can judge whether the ear is good enough for them.

use std::collections::HashMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::edge::ear::{Ear, EarError, Heard, HeardWord, Listener, ModelChoice};
use crate::edge::sound::{self, Sound, SoundError};

mod interim;
use interim::{named, value};

/// The first line of the table of figures.
pub const TABLE_HEADER: &str = "group\tclips\twords\tword_errors\tsentence_errors\tvalue_errors\tempty\tfalse_accepts\tp50_ms\tp95_ms\trtf";

/// The block that the ear is given at a time, in seconds: what a microphone gives.
const BLOCK_SECONDS: f64 = 0.1;

/// How a table of clips is measured.
#[derive(Debug, Clone, Default)]
pub struct TableOptions {
    /// The voice model.
    pub model: ModelChoice,
    /// Whether each clip gets a line of its own before the figures.
    pub each: bool,
    /// Whether the engine's own word-list grammar is used in place of the strict
    /// grammar; for comparison only.
    pub word_list: bool,
}

/// Why recordings cannot be heard.
#[derive(Debug, thiserror::Error)]
pub enum HearError {
    /// The ear.
    #[error(transparent)]
    Ear(#[from] EarError),
    /// A sound file.
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// The list of clips cannot be read.
    #[error("{path}: cannot be read ({fault}). Check the name and the permissions.")]
    Read {
        /// The list.
        path: PathBuf,
        /// What the system said.
        fault: std::io::Error,
    },
    /// The list of clips has a faulty line.
    #[error("{path}, line {line}: {fault}")]
    Table {
        /// The list.
        path: PathBuf,
        /// The line, from 1.
        line: usize,
        /// What is wrong and what to do.
        fault: String,
    },
    /// The output cannot be written.
    #[error("the result cannot be written: {0}")]
    Output(#[from] std::io::Error),
}

/// One line of a list of clips.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Clip {
    path: PathBuf,
    transcript: String,
    group: String,
    grammar: String,
}

/// Hears every clip of a list and writes the figures.
///
/// # Errors
/// The first file or line that cannot be used.
pub fn run_table(
    table: &Path,
    options: &TableOptions,
    out: &mut impl Write,
) -> Result<(), HearError> {
    let ear = Ear::open(&options.model)?;
    run_table_with(ear, table, options, out)
}

/// The same with an ear of one's own.
///
/// # Errors
/// The first file or line that cannot be used.
pub fn run_table_with(
    mut ear: Ear,
    table: &Path,
    options: &TableOptions,
    out: &mut impl Write,
) -> Result<(), HearError> {
    let clips = read_table(table)?;
    let mut groups: Vec<(String, Figures)> = Vec::new();
    let mut total = Figures::default();
    for clip in &clips {
        let sound = sound::read(&clip.path)?;
        let graph = named(&clip.grammar).expect("read_table checked the name");
        let listener = if options.word_list {
            let mut words: Vec<String> = graph.arcs.into_iter().filter_map(|arc| arc.word).collect();
            words.sort();
            words.dedup();
            ear.listen_word_list(&words, sound.rate)?
        } else {
            ear.listen(&graph, sound.rate)?
        };
        let heard = hear(listener, &sound)?;
        let score = Score::of(clip, &heard);
        if options.each {
            writeln!(
                out,
                "clip\t{}\t{}\t{}\t{}\t{}\t{}\t{}",
                clip.path.display(),
                clip.group,
                clip.grammar,
                clip.transcript,
                heard.phrase,
                score.verdict(),
                heard.words.iter().map(|w| format!("{}:{:.2}-{:.2}:{:.2}", w.word, w.start_s, w.end_s, w.confidence)).collect::<Vec<_>>().join(" ")
            )?;
        }
        let place = groups
            .iter()
            .position(|(name, _)| *name == clip.group)
            .unwrap_or_else(|| {
                groups.push((clip.group.clone(), Figures::default()));
                groups.len() - 1
            });
        groups[place].1.add(&score, &heard, &sound);
        total.add(&score, &heard, &sound);
    }
    writeln!(out, "{TABLE_HEADER}")?;
    for (name, figures) in &groups {
        figures.write(name, out)?;
    }
    total.write("total", out)?;
    Ok(())
}

/// A whole recording as it was heard.
#[derive(Debug, Clone, Default)]
struct HeardAll {
    /// The words of all its utterances.
    words: Vec<HeardWord>,
    phrase: String,
    /// Computing time for everything, in seconds.
    busy: f64,
    /// From the last sample to the result, in seconds.
    last: f64,
}

/// Gives a recording to the ear block by block, as a microphone would.
fn hear(mut listener: Listener, sound: &Sound) -> Result<HeardAll, HearError> {
    let mut all = HeardAll::default();
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a tenth of a sampling rate"
    )]
    let block = (BLOCK_SECONDS * f64::from(sound.rate)) as usize;
    let began = now();
    let mut keep = |heard: Heard| {
        all.words.extend(heard.words);
        all.last = heard.seconds_taken;
    };
    for samples in sound.samples.chunks(block) {
        if let Some(heard) = listener.accept(samples)? {
            keep(heard);
        }
    }
    keep(listener.finish()?);
    all.busy = began.elapsed().as_secs_f64();
    all.phrase = all
        .words
        .iter()
        .map(|heard| heard.word.as_str())
        .collect::<Vec<_>>()
        .join(" ");
    Ok(all)
}

/// What is counted for one clip.
#[derive(Debug, Clone, Copy, Default)]
struct Score {
    words: usize,
    word_errors: usize,
    sentence_error: bool,
    value_error: bool,
    empty: bool,
    false_accept: bool,
}

impl Score {
    fn of(clip: &Clip, heard: &HeardAll) -> Self {
        let said = spelled(&clip.transcript);
        let got = spelled(&heard.phrase);
        if said.is_empty() {
            return Self {
                false_accept: !got.is_empty(),
                ..Self::default()
            };
        }
        let word_errors = word_errors(&said, &got);
        let values = value(&said.join(" ")).zip(value(&got.join(" ")));
        Self {
            words: said.len(),
            word_errors,
            sentence_error: word_errors > 0,
            value_error: values.is_some_and(|(said, got)| said != got),
            empty: got.is_empty(),
            false_accept: false,
        }
    }

    fn verdict(&self) -> &'static str {
        match self {
            Self { false_accept: true, .. } => "false_accept",
            Self { empty: true, .. } => "empty",
            Self { value_error: true, .. } => "value_error",
            Self { sentence_error: true, .. } => "sentence_error",
            _ => "right",
        }
    }
}

/// Words as they are compared: lower case, hyphens as spaces, no punctuation.
fn spelled(text: &str) -> Vec<String> {
    text.to_lowercase()
        .split(|c: char| c.is_whitespace() || c == '-')
        .map(|word| {
            word.chars()
                .filter(|c| c.is_alphanumeric() || *c == '\'')
                .collect::<String>()
        })
        .filter(|word| !word.is_empty())
        .collect()
}

/// The least number of words to replace, leave out or put in (Levenshtein, 1965).
fn word_errors(said: &[String], got: &[String]) -> usize {
    let mut row: Vec<usize> = (0..=got.len()).collect();
    for (i, a) in said.iter().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, b) in got.iter().enumerate() {
            let replaced = diagonal + usize::from(a != b);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(row[j + 1] + 1);
        }
    }
    row[got.len()]
}

/// The sums over a group.
#[derive(Debug, Clone, Default)]
struct Figures {
    clips: usize,
    words: usize,
    word_errors: usize,
    sentence_errors: usize,
    value_errors: usize,
    empty: usize,
    false_accepts: usize,
    waits: Vec<f64>,
    busy: f64,
    sound: f64,
}

impl Figures {
    fn add(&mut self, score: &Score, heard: &HeardAll, sound: &Sound) {
        self.clips += 1;
        self.words += score.words;
        self.word_errors += score.word_errors;
        self.sentence_errors += usize::from(score.sentence_error);
        self.value_errors += usize::from(score.value_error);
        self.empty += usize::from(score.empty);
        self.false_accepts += usize::from(score.false_accept);
        self.waits.push(heard.last);
        self.busy += heard.busy;
        self.sound += sound.seconds();
    }

    fn write(&self, name: &str, out: &mut impl Write) -> std::io::Result<()> {
        let mut waits = self.waits.clone();
        waits.sort_by(f64::total_cmp);
        writeln!(
            out,
            "{name}\t{}\t{}\t{}\t{}\t{}\t{}\t{}\t{:.1}\t{:.1}\t{:.4}",
            self.clips,
            self.words,
            self.word_errors,
            self.sentence_errors,
            self.value_errors,
            self.empty,
            self.false_accepts,
            1000.0 * nearest_rank(&waits, 50),
            1000.0 * nearest_rank(&waits, 95),
            if self.sound > 0.0 { self.busy / self.sound } else { 0.0 },
        )
    }
}

/// The percentile by the nearest-rank method; 0 of nothing.
fn nearest_rank(sorted: &[f64], percent: usize) -> f64 {
    let rank = (sorted.len() * percent).div_ceil(100);
    sorted.get(rank.saturating_sub(1)).copied().unwrap_or(0.0)
}

/// Reads a list of clips: tab-separated, with a header that names the columns.
fn read_table(table: &Path) -> Result<Vec<Clip>, HearError> {
    let text = std::fs::read_to_string(table).map_err(|fault| HearError::Read {
        path: table.to_owned(),
        fault,
    })?;
    let faulty = |line: usize, fault: String| HearError::Table {
        path: table.to_owned(),
        line,
        fault,
    };
    let folder = table.parent().unwrap_or(Path::new(""));
    let mut lines = text
        .lines()
        .enumerate()
        .map(|(at, line)| (at + 1, line.trim_end_matches('\r')))
        .filter(|(_, line)| !line.trim().is_empty() && !line.starts_with("# "));
    let (header_line, header) = lines.next().ok_or_else(|| {
        faulty(1, "the list is empty. Give it a header: path, transcript, group and optionally grammar, with tabs between.".to_owned())
    })?;
    let columns: HashMap<&str, usize> = header
        .split('\t')
        .enumerate()
        .map(|(at, name)| (name.trim(), at))
        .collect();
    let column = |name: &str| {
        columns.get(name).copied().ok_or_else(|| {
            faulty(header_line, format!("the header has no column '{name}'. Write: path, transcript, group and optionally grammar, with tabs between."))
        })
    };
    let (path, transcript, group) = (column("path")?, column("transcript")?, column("group")?);
    let grammar = columns.get("grammar").copied();
    lines
        .map(|(at, line)| {
            let cells: Vec<&str> = line.split('\t').map(str::trim).collect();
            let cell = |column: usize| cells.get(column).copied().unwrap_or("");
            if cell(path).is_empty() || cell(group).is_empty() {
                return Err(faulty(at, "the path or the group is missing. Fill both in; only the transcript may be empty (nothing to be heard).".to_owned()));
            }
            let grammar = grammar.map(cell).filter(|name| !name.is_empty()).unwrap_or("all");
            if named(grammar).is_none() {
                return Err(faulty(at, format!("there is no grammar '{grammar}'. Use all, numbers, digits, yes-no, tag or commands.")));
            }
            Ok(Clip {
                path: folder.join(cell(path)),
                transcript: cell(transcript).to_owned(),
                group: cell(group).to_owned(),
                grammar: grammar.to_owned(),
            })
        })
        .collect()
}

#[expect(clippy::disallowed_methods, reason = "the edge reads the clock")]
fn now() -> std::time::Instant {
    std::time::Instant::now()
}

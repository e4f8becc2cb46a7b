//! `sayback hear`: what the ear makes of recordings, and how often it is right.
//!
//! No state between calls. Nothing here decides anything in a job: it shows the
//! ear's words, the parser's reading of them, and the figures over a table of
//! clips, so that a person can judge whether the ear is good enough for them.

use std::collections::HashMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::edge::ear::{Ear, EarError, Heard, Listener, ModelChoice, rate_warning};
use crate::edge::sound::{self, Sound, SoundError};

mod interim;
use interim::{named, value};

/// The first line of the table of figures.
pub const TABLE_HEADER: &str = "group\tclips\twords\tword_errors\tsentence_errors\tvalue_errors\tempty\tfalse_accepts\tp50_ms\tp95_ms\trtf";

/// The block that the ear is given at a time, in seconds: what a microphone gives.
const BLOCK_SECONDS: f64 = 0.1;

/// How single recordings are heard.
#[derive(Debug, Clone)]
pub struct FileOptions {
    /// The voice model.
    pub model: ModelChoice,
    /// The name of the grammar to listen with: all, numbers, digits, yes-no, tag
    /// or commands.
    pub grammar: String,
    /// Whether to write one JSON object a line in place of text.
    pub json: bool,
}

impl Default for FileOptions {
    fn default() -> Self {
        Self {
            model: ModelChoice::default(),
            grammar: "all".to_owned(),
            json: false,
        }
    }
}

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
    /// There is no grammar of that name.
    #[error("there is no grammar '{0}'. Use all, numbers, digits, yes-no, tag or commands.")]
    Grammar(String),
    /// The output cannot be written.
    #[error("the result cannot be written: {0}")]
    Output(#[from] std::io::Error),
}

/// Hears each recording and writes its words with their times, and what the
/// parser makes of each utterance.
///
/// # Errors
/// The first file that cannot be used, or a grammar name that is not known.
pub fn run_files(
    files: &[PathBuf],
    options: &FileOptions,
    out: &mut impl Write,
) -> Result<(), HearError> {
    let graph =
        named(&options.grammar).ok_or_else(|| HearError::Grammar(options.grammar.clone()))?;
    let mut ear = Ear::open(&options.model)?;
    for file in files {
        let sound = sound::read(file)?;
        let heard = hear(ear.listen(&graph, sound.rate)?, &sound)?;
        if options.json {
            writeln!(out, "{}", as_json(file, &sound, &heard))?;
        } else {
            write_plain(file, &sound, &heard, out)?;
        }
    }
    Ok(())
}

fn as_json(file: &Path, sound: &Sound, heard: &HeardAll) -> serde_json::Value {
    let rounded = |value: f64| (value * 1000.0).round() / 1000.0;
    let utterances: Vec<_> = heard
        .utterances
        .iter()
        .map(|utterance| {
            let words: Vec<_> = utterance
                .words
                .iter()
                .map(|word| {
                    serde_json::json!({
                        "word": word.word,
                        "start_s": rounded(word.start_s),
                        "end_s": rounded(word.end_s),
                        "confidence": rounded(word.confidence),
                    })
                })
                .collect();
            serde_json::json!({
                "phrase": utterance.phrase(),
                "unclear": utterance.unclear,
                "value": value(&utterance.phrase()),
                "seconds_taken": rounded(utterance.seconds_taken),
                "words": words,
            })
        })
        .collect();
    serde_json::json!({
        "file": file.display().to_string(),
        "rate": sound.rate,
        "seconds": rounded(sound.seconds()),
        "decode_seconds": rounded(heard.busy),
        "warning": rate_warning(sound.rate),
        "utterances": utterances,
    })
}

fn write_plain(
    file: &Path,
    sound: &Sound,
    heard: &HeardAll,
    out: &mut impl Write,
) -> std::io::Result<()> {
    writeln!(
        out,
        "{}: {:.2} s at {} Hz, decoded in {:.3} s",
        file.display(),
        sound.seconds(),
        sound.rate,
        heard.busy
    )?;
    if let Some(warning) = rate_warning(sound.rate) {
        writeln!(out, "  careful: {warning}")?;
    }
    let mut nothing = true;
    for utterance in &heard.utterances {
        if utterance.words.is_empty() {
            if utterance.unclear {
                nothing = false;
                writeln!(out, "  not understood")?;
            }
            continue;
        }
        nothing = false;
        writeln!(out, "  {}", utterance.phrase())?;
        for word in &utterance.words {
            writeln!(
                out,
                "    {:>7.2} {:>7.2}  {:.2}  {}",
                word.start_s, word.end_s, word.confidence, word.word
            )?;
        }
        match value(&utterance.phrase()) {
            Some(value) => writeln!(out, "    value: {value}")?,
            None => writeln!(out, "    value: none")?,
        }
    }
    if nothing {
        writeln!(out, "  nothing heard")?;
    }
    Ok(())
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
/// The list is tab-separated with a header: `path` (absolute, or from the list's
/// folder), `transcript` (empty where nothing is to be heard), `group`, and
/// optionally `grammar` (all, numbers, digits, yes-no, tag, commands). The
/// figures have one row a group in the order of first appearance and a row
/// `total`:
///
/// - `words`, `word_errors`: of clips with a transcript; a word error is a word
///   replaced, left out or put in (Levenshtein distance), after hyphens have
///   become spaces and capitals small letters.
/// - `sentence_errors`: clips with a transcript and at least one word error.
/// - `value_errors`: clips whose transcript and whose heard words both have a
///   value, and not the same one. What was not understood is no value error.
/// - `empty`: clips with a transcript of which nothing was understood. They are
///   sentence errors too, and all their words are word errors.
/// - `false_accepts`: clips without a transcript in which words were heard. They
///   count nowhere else.
/// - `p50_ms`, `p95_ms`: computing time from a clip's last sample to its result,
///   nearest-rank percentiles. `rtf`: computing time by duration of sound.
///
/// With `each`, a line for each clip comes first: `clip`, path, group, grammar,
/// transcript, heard words, verdict (`right`, `empty`, `value_error`,
/// `sentence_error`, `false_accept`), and the words as `word:start-end:confidence`.
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
        let graph = named(&clip.grammar).ok_or_else(|| HearError::Grammar(clip.grammar.clone()))?;
        let listener = if options.word_list {
            let mut words: Vec<String> =
                graph.arcs.into_iter().filter_map(|arc| arc.word).collect();
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
                heard.timed_words()
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
    /// Its utterances.
    utterances: Vec<Heard>,
    /// The words of all of them, joined.
    phrase: String,
    /// Computing time for everything, in seconds.
    busy: f64,
    /// From the last sample to the result, in seconds.
    last: f64,
}

impl HeardAll {
    /// Each word with its times and its confidence, for `--each`.
    fn timed_words(&self) -> String {
        self.utterances
            .iter()
            .flat_map(|utterance| &utterance.words)
            .map(|word| {
                format!(
                    "{}:{:.2}-{:.2}:{:.2}",
                    word.word, word.start_s, word.end_s, word.confidence
                )
            })
            .collect::<Vec<_>>()
            .join(" ")
    }
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
        all.last = heard.seconds_taken;
        all.utterances.push(heard);
    };
    for samples in sound.samples.chunks(block) {
        if let Some(heard) = listener.accept(samples)? {
            keep(heard);
        }
    }
    keep(listener.finish()?);
    all.busy = began.elapsed().as_secs_f64();
    all.phrase = all
        .utterances
        .iter()
        .map(Heard::phrase)
        .filter(|phrase| !phrase.is_empty())
        .collect::<Vec<_>>()
        .join(" ");
    Ok(all)
}

/// What is counted for one clip.
#[derive(Debug, Clone, Copy, Default)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "one for each column that is counted"
)]
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
            Self {
                false_accept: true, ..
            } => "false_accept",
            Self { empty: true, .. } => "empty",
            Self {
                value_error: true, ..
            } => "value_error",
            Self {
                sentence_error: true,
                ..
            } => "sentence_error",
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
            if self.sound > 0.0 {
                self.busy / self.sound
            } else {
                0.0
            },
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

//! `sayback hear`: what the ear makes of recordings, and how often it is right.
//!
//! No state between calls. Nothing here decides anything in a job: it shows the
//! ear's words, the parser's reading of them, and the figures over a table of
//! clips, so that a person can judge whether the ear is good enough for them.

use std::io::Write;
use std::path::{Path, PathBuf};

use crate::edge::ear::{Ear, EarError, Heard, Listener, ModelChoice, rate_warning};
use crate::edge::sound::{self, Sound, SoundError};

mod elsewhere;
mod table;

pub use table::{TABLE_HEADER, TableOptions, run_table};

use crate::spoken::named_listening as named;

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

/// Writes a grammar as other recognisers read it, so that they can be compared under the same one.
///
/// # Errors
/// A name that is not known.
pub fn write_fsg(name: &str, out: &mut impl Write) -> Result<(), HearError> {
    let graph = named(name).ok_or_else(|| HearError::Grammar(name.to_owned()))?;
    out.write_all(graph.fsg(name).as_bytes())?;
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

#[expect(clippy::disallowed_methods, reason = "the edge reads the clock")]
fn now() -> std::time::Instant {
    std::time::Instant::now()
}

/// What a phrase comes to without a question: value and unit, status or command; none if it is refused or doubtful.
fn value(phrase: &str) -> Option<String> {
    let any = crate::spoken::named_slot("ANY")?;
    let decision = crate::spoken::parse(&any, phrase);
    decision.meaning.as_ref()?;
    Some(
        format!(
            "{} {}",
            decision.value(),
            decision.unit.map_or("", |unit| unit.symbol())
        )
        .trim()
        .to_owned(),
    )
}

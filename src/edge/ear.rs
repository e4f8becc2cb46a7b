//! The ear: sound → the words of an answer, as far as they were understood.
//!
//! State: the loaded models, with the grammar of one question ([`Ear`]); and the
//! decoder with the sound of the utterance that is being heard ([`Listener`]).
//! Only the thread that owns them changes them. What comes out is a guess at
//! words: the strict parser gives it meaning, and a person's yes makes it a
//! reading.
//!
//! What libvosk 0.3.45 and the `vosk` crate 0.3.1 do on bad input decides some
//! of what is here: a model folder with a fault gives no reason, so the folder
//! is checked first; words without a sound are dropped with a log line only, so
//! they are refused by name; an empty grammar or a quotation mark in it ends the
//! process, so no JSON grammar is ever built from input; a result that is not
//! JSON (a decimal comma from the C locale makes one) panics, so that is caught.

mod agreement;
mod decoding;
mod doubt;
mod grammar;
mod listener;
mod model;
mod model_hash;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use vosk::{LogLevel, Model, Recognizer};

pub use crate::spoken::{Arc as WordArc, WordGraph};
pub use grammar::GARBAGE;
pub use listener::Listener;
pub use model::{
    ModelChoice, ModelFolder, Words, built_in_hash, built_in_weights, cache_folder, ear_words,
    lacking, weights_hash,
};

/// Hears answers. One a program; each question's grammar gives a [`Listener`].
pub struct Ear {
    /// One model, or two that listen together.
    folders: Vec<ModelFolder>,
    /// What was asked for last. Only one is kept: each takes the memory of the whole acoustic
    /// models (libvosk cannot share them), and loading takes a tenth of a second, in which what
    /// is said waits in the ring.
    loaded: Option<Loaded>,
}

/// The models with a grammar, ready to decode.
struct Loaded {
    key: Grammar,
    models: Vec<Arc<Model>>,
}

#[derive(PartialEq)]
enum Grammar {
    Strict(WordGraph),
    WordList(Vec<String>),
}

/// What an utterance was heard to be.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Heard {
    /// The words in their order; empty when nothing was said, or when what was
    /// said was no answer to the question.
    pub words: Vec<HeardWord>,
    /// Whether there was sound that was no answer: other speech, or noise.
    pub unclear: bool,
    /// Computing time from the last sample to this result, in seconds.
    pub seconds_taken: f64,
    /// The sound of the utterance, with a little of what was around it.
    pub samples: Vec<i16>,
    /// Samples a second in `samples`.
    pub rate: u32,
}

/// One word of a [`Heard`].
#[derive(Debug, Clone, PartialEq)]
pub struct HeardWord {
    /// As the grammar spells it.
    pub word: String,
    /// Seconds from the first sample that the listener was given.
    pub start_s: f64,
    /// Seconds from the first sample that the listener was given.
    pub end_s: f64,
    /// The decoder's own posterior, 0 to 1. It is overconfident: shown, never
    /// used to accept. 0 for a stop that was given before its pause: not known yet.
    pub confidence: f64,
}

impl Heard {
    /// The words, joined by spaces.
    #[must_use]
    pub fn phrase(&self) -> String {
        let words: Vec<&str> = self.words.iter().map(|heard| heard.word.as_str()).collect();
        words.join(" ")
    }
}

/// Why the ear cannot hear.
#[derive(Debug, thiserror::Error)]
pub enum EarError {
    /// The model folder lacks something.
    #[error(
        "voice model {folder}: missing or empty: {missing}. Give a complete model folder, or leave the option out to use the built-in one."
    )]
    ModelIncomplete {
        /// The folder.
        folder: PathBuf,
        /// What is missing.
        missing: String,
    },
    /// The model has no word for other sounds.
    #[error(
        "voice model {folder}: its words.txt has no [unk], so it takes every noise for a word. Use a model that has it."
    )]
    NoGarbageWord {
        /// The folder.
        folder: PathBuf,
    },
    /// The model's lexicon is not in order.
    #[error("voice model {folder}: {fault}. Make the lexicon again, or use another model.")]
    BadLexicon {
        /// The folder.
        folder: PathBuf,
        /// What is wrong, and where.
        fault: String,
    },
    /// libvosk did not load the model.
    #[error(
        "voice model {folder}: its files are there, but libvosk cannot load them; one is damaged or of another version. Copy the model again."
    )]
    ModelRefused {
        /// The folder.
        folder: PathBuf,
    },
    /// A question's words are not in the model.
    #[error("the voice model has no sound for: {}. Use other words, or a model that has them.", .0.join(", "))]
    UnknownWords(Vec<String>),
    /// A question's grammar is no grammar.
    #[error("the words to listen for form no grammar: {0}. Correct the grammar of this question.")]
    BadGraph(String),
    /// The sound has a rate that is not heard.
    #[error("sound at {0} samples a second; the ear takes 8000 to 48000. Record at 16000.")]
    Rate(u32),
    /// The decoder failed while decoding.
    #[error("the speech decoder failed ({0}). Say it again, or go on by keypad.")]
    Decoder(String),
    /// A file cannot be read.
    #[error("{path}: cannot be read ({fault}). Check the name and the permissions.")]
    Read {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        fault: std::io::Error,
    },
    /// A file cannot be written.
    #[error(
        "{path}: cannot be written ({fault}). The voice model is unpacked there: make room, or set XDG_CACHE_HOME to a folder that can be written."
    )]
    Write {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        fault: std::io::Error,
    },
}

impl Ear {
    /// Opens the model; the built-in one is unpacked to [`cache_folder`] first.
    ///
    /// # Errors
    /// What [`ModelFolder::open`] reports.
    pub fn open(model: &ModelChoice) -> Result<Self, EarError> {
        Self::open_in(model, &cache_folder())
    }

    /// The same with a cache folder of one's own.
    ///
    /// # Errors
    /// What [`ModelFolder::open`] reports.
    pub fn open_in(model: &ModelChoice, cache: &Path) -> Result<Self, EarError> {
        vosk::set_log_level(LogLevel::Error);
        Ok(Self {
            folders: ModelFolder::open(model, cache)?,
            loaded: None,
        })
    }

    /// Keeps the first of its models only, for measuring.
    pub fn keep_one_model(&mut self) {
        self.folders.truncate(1);
        self.loaded = None;
    }

    /// How many models listen together.
    #[must_use]
    pub fn models(&self) -> usize {
        self.folders.len()
    }

    /// The words that can be listened for.
    #[must_use]
    pub fn words(&self) -> &Words {
        self.folders[0].words()
    }

    /// Listens for the utterances of `graph` in sound of `rate` samples a second.
    ///
    /// Where another grammar was asked for last, the models are loaded anew, which
    /// takes about a tenth of a second.
    ///
    /// # Errors
    /// [`EarError::Rate`], [`EarError::UnknownWords`], [`EarError::BadGraph`], or
    /// that the model cannot be loaded.
    pub fn listen(&mut self, graph: &WordGraph, rate: u32) -> Result<Listener, EarError> {
        let models = self.load(Grammar::Strict(graph.clone()))?;
        Listener::new(rate, Some(graph.clone()), |rate| {
            models
                .iter()
                .map(|model| Recognizer::new(model, rate))
                .collect()
        })
    }

    /// Listens for single words, in any order, and [`GARBAGE`]: with libvosk's own
    /// grammar where the model takes one. Only for comparison: it is measurably worse than
    /// [`Ear::listen`].
    ///
    /// # Errors
    /// As [`Ear::listen`].
    pub fn listen_word_list(&mut self, words: &[String], rate: u32) -> Result<Listener, EarError> {
        let unknown: Vec<String> = words
            .iter()
            .filter(|word| self.words().number(word).is_none())
            .cloned()
            .collect();
        if !unknown.is_empty() {
            return Err(EarError::UnknownWords(unknown));
        }
        let mut list = words.to_vec();
        list.push(GARBAGE.to_owned());
        let own_grammar = self.folders[0].lexicon().is_none();
        let models = self.load(Grammar::WordList(list.clone()))?;
        Listener::new(rate, None, |rate| {
            models
                .iter()
                .map(|model| {
                    if own_grammar {
                        Recognizer::new_with_grammar(model, rate, &list)
                    } else {
                        Recognizer::new(model, rate)
                    }
                })
                .collect()
        })
    }

    fn load(&mut self, key: Grammar) -> Result<Vec<Arc<Model>>, EarError> {
        if let Some(loaded) = self.loaded.as_ref().filter(|loaded| loaded.key == key) {
            return Ok(loaded.models.clone());
        }
        // Let go first, so that there are never two at a time.
        self.loaded = None;
        let any_word;
        let graph = match &key {
            Grammar::Strict(graph) => graph,
            Grammar::WordList(list) => {
                any_word = any_of(list);
                &any_word
            }
        };
        let models = self
            .folders
            .iter()
            .map(|folder| load_one(folder, graph))
            .collect::<Result<Vec<_>, _>>()?;
        self.loaded = Some(Loaded {
            key,
            models: models.clone(),
        });
        Ok(models)
    }
}

/// Loads one model with a grammar. Words that its lexicon lacks are said as the
/// dictionary has them, where the model leaves the decoding graph to us.
fn load_one(folder: &ModelFolder, graph: &WordGraph) -> Result<Arc<Model>, EarError> {
    let mut lacking: Vec<&str> = graph
        .arcs
        .iter()
        .filter_map(|arc| arc.word.as_deref())
        .filter(|word| folder.words().number(word).is_none())
        .collect();
    lacking.sort_unstable();
    lacking.dedup();
    let wider = folder
        .lexicon()
        .filter(|_| !lacking.is_empty())
        .map(|lexicon| {
            lexicon.with(lacking.into_iter(), |word| {
                crate::spoken::pronunciations(word).collect()
            })
        });
    let words = wider.as_ref().map(Words::of);
    folder
        .with_grammar(
            |graphs| {
                grammar::compile(
                    graph,
                    words.as_ref().unwrap_or(folder.words()),
                    wider.as_ref().or(folder.lexicon()),
                    graphs,
                )
            },
            |made| made.to_str().and_then(Model::new),
        )?
        .map(Arc::new)
        .ok_or_else(|| EarError::ModelRefused {
            folder: folder.folder().to_owned(),
        })
}

/// Any of these words in any order; where libvosk has a grammar of its own for
/// that, it replaces this one.
fn any_of(list: &[String]) -> WordGraph {
    let arc = |from, word: &String| WordArc {
        from,
        to: 1,
        word: Some(word.clone()),
    };
    WordGraph {
        states: 2,
        start: 0,
        finals: vec![1],
        arcs: list
            .iter()
            .flat_map(|word| [arc(0, word), arc(1, word)])
            .collect(),
    }
}

/// What to tell the person about a sampling rate that is heard, but badly: the
/// model was trained on speech up to 7600 hertz.
#[must_use]
pub fn rate_warning(rate: u32) -> Option<String> {
    (rate < 16_000).then(|| {
        format!("sound at {rate} samples a second lacks the high tones that tell six from fix; record at 16000 or more")
    })
}

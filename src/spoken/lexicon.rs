//! The embedded grammars, and what words mean by themselves.
//!
//! State: grammars and tables, compiled once and never changed.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::LazyLock;

use super::jsgf::{Grammar, GrammarError};

const FILES: [&str; 5] = [
    include_str!("../../grammars/numbers.jsgf"),
    include_str!("../../grammars/commands.jsgf"),
    include_str!("../../grammars/statuses.jsgf"),
    include_str!("../../grammars/spelling.jsgf"),
    include_str!("../../grammars/listening.jsgf"),
];

/// More sentences than any rule of the lexicon has.
const MOST: usize = 20_000;

/// Reads the embedded grammar files.
///
/// # Errors
/// The first fault; a test reads them, so that a built program has none.
pub fn embedded() -> Result<Grammar, GrammarError> {
    Grammar::parse(&FILES)
}

/// Every grammar file in one name space.
pub(crate) static GRAMMAR: LazyLock<Grammar> =
    LazyLock::new(|| embedded().expect("the embedded grammars are read by a test"));

/// The words of the voice model.
pub(crate) static VOCABULARY: LazyLock<BTreeSet<&'static str>> = LazyLock::new(|| {
    include_str!("../../grammars/vocabulary.txt")
        .split_whitespace()
        .collect()
});

/// The letter or mark → the word said for it.
pub(crate) static SPELLING: LazyLock<BTreeMap<char, String>> = LazyLock::new(|| {
    let mut words = BTreeMap::new();
    for rule in ["letter-word", "tag-mark"] {
        for sentence in GRAMMAR.every(rule, MOST) {
            let letter = sentence.tags.first().and_then(|tag| tag.chars().next());
            if let Some(letter) = letter {
                words
                    .entry(letter)
                    .or_insert_with(|| sentence.words.join("-"));
            }
        }
    }
    words
});

/// Phrases and what they mean, longest match first.
#[derive(Debug, Default)]
pub(crate) struct Phrases {
    by_first: HashMap<String, Vec<(Vec<String>, String)>>,
}

impl Phrases {
    /// Every sentence of these rules; a sentence without a tag means itself.
    pub(crate) fn of(rules: &[&str]) -> Self {
        let mut all = Phrases::default();
        for rule in rules {
            for sentence in GRAMMAR.every(rule, MOST) {
                let tag = sentence
                    .tags
                    .last()
                    .cloned()
                    .unwrap_or_else(|| sentence.words.join(" "));
                all.add(sentence.words, tag);
            }
        }
        all.sort();
        all
    }

    pub(crate) fn add(&mut self, words: Vec<String>, tag: String) {
        if let Some(first) = words.first() {
            self.by_first
                .entry(first.clone())
                .or_default()
                .push((words, tag));
        }
    }

    pub(crate) fn sort(&mut self) {
        for list in self.by_first.values_mut() {
            list.sort_by(|a, b| b.0.len().cmp(&a.0.len()).then_with(|| a.cmp(b)));
            list.dedup();
        }
    }

    /// The longest phrase at the start of `words`: its length and meaning.
    pub(crate) fn at<'a>(&'a self, words: &[&str]) -> Option<(usize, &'a str)> {
        let list = self.by_first.get(*words.first()?)?;
        list.iter()
            .find(|(phrase, _)| {
                phrase.len() <= words.len() && phrase.iter().zip(words).all(|(a, b)| a == b)
            })
            .map(|(phrase, tag)| (phrase.len(), tag.as_str()))
    }

    /// What exactly these words mean.
    pub(crate) fn whole(&self, words: &[&str]) -> Option<&str> {
        self.at(words)
            .filter(|(length, _)| *length == words.len())
            .map(|(_, tag)| tag)
    }
}

/// The words that the ear knows.
pub fn vocabulary() -> impl Iterator<Item = &'static str> {
    VOCABULARY.iter().copied()
}

//! A documented subset of JSGF (`JSpeech` Grammar Format, W3C Note, June 2000).
//!
//! Read: the header `#JSGF V1.0 …;`, `grammar name;`, `[public] <rule> = …;`,
//! words, `<rule>`, `<NULL>`, `|`, `[ ]`, `( )`, `*`, `+`, `{tag}`, and both
//! kinds of comment. Refused with a reason: imports, weights, quoted words,
//! recursion, `<VOID>`, and repeats of something that may be empty (they would
//! make a graph that loops without a word).
//!
//! No state: text in, [`Grammar`] out.

mod reader;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use reader::Reader;

/// How deep brackets and rules may nest; far beyond any grammar written by hand.
pub(super) const DEEPEST: usize = 64;

/// A fault in a grammar's text: where it is, what was found, how to mend it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct GrammarError {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// The line itself, for the caret.
    pub text: String,
    /// What was found.
    pub found: String,
    /// What to write instead.
    pub fix: String,
}

impl fmt::Display for GrammarError {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            out,
            "line {}, column {}: {}",
            self.line, self.column, self.found
        )?;
        writeln!(out, "  {}", self.text)?;
        writeln!(out, "  {}^", " ".repeat(self.column.saturating_sub(1)))?;
        write!(out, "  {}", self.fix)
    }
}

/// The right-hand side of a rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Expansion {
    /// Nothing is said (`<NULL>`).
    Empty,
    /// One word.
    Word(String),
    /// Another rule, by name.
    Rule(String),
    /// One after the other.
    Sequence(Vec<Expansion>),
    /// One of several.
    Choice(Vec<Expansion>),
    /// May be left out.
    Optional(Box<Expansion>),
    /// Any number of times.
    Star(Box<Expansion>),
    /// Once or more.
    Plus(Box<Expansion>),
    /// What it means when it was said.
    Tagged(Box<Expansion>, String),
}

/// One rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rule {
    /// Written with `public`.
    pub public: bool,
    /// What may be said.
    pub body: Expansion,
}

/// A checked set of rules: every name is defined, nothing recurses.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Grammar {
    rules: BTreeMap<String, Rule>,
}

/// One sentence of a finite rule with the tags met on the way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sentence {
    /// The words in order.
    pub words: Vec<String>,
    /// The tags in order.
    pub tags: Vec<String>,
}

impl Grammar {
    /// Reads several files as one name space.
    ///
    /// # Errors
    /// The first fault, with line, column and a fix.
    pub fn parse(texts: &[&str]) -> Result<Self, GrammarError> {
        let mut rules = BTreeMap::new();
        let (mut uses, mut defined) = (Vec::new(), Vec::new());
        for text in texts {
            let mut reader = Reader::of(text)?;
            reader.file(&mut rules)?;
            let at = |(name, place)| (*text, name, place);
            defined.extend(reader.defined.into_iter().map(at));
            uses.extend(reader.uses.into_iter().map(at));
        }
        for (text, name, place) in &uses {
            if !rules.contains_key(name) {
                return Err(fault(
                    text,
                    *place,
                    format!("<{name}> is not defined"),
                    "define it, or mend the name",
                ));
            }
        }
        let grammar = Grammar { rules };
        let mut sound = BTreeSet::new();
        for (text, name, place) in &uses {
            if grammar.recurses(name, &mut Vec::new(), &mut sound) {
                return Err(fault(
                    text,
                    *place,
                    format!(
                        "<{name}> is reached again from itself, or rules nest deeper than {DEEPEST}"
                    ),
                    "recursion is not in this subset: write the repeat with * or +",
                ));
            }
        }
        for (text, name, place) in &defined {
            if grammar
                .rule(name)
                .is_some_and(|rule| grammar.loops_empty(&rule.body))
            {
                return Err(fault(
                    text,
                    *place,
                    format!("in <{name}> a * or + stands on something that may be empty"),
                    "make the inner part say at least one word",
                ));
            }
        }
        Ok(grammar)
    }

    /// A rule by its name without the angle brackets.
    #[must_use]
    pub fn rule(&self, name: &str) -> Option<&Rule> {
        self.rules.get(name)
    }

    /// The names of the public rules.
    pub fn public(&self) -> impl Iterator<Item = &str> {
        self.rules
            .iter()
            .filter(|(_, rule)| rule.public)
            .map(|(name, _)| name.as_str())
    }

    /// Every sentence of a finite rule, up to `most`; repeats are taken once.
    #[must_use]
    pub fn every(&self, name: &str, most: usize) -> Vec<Sentence> {
        let mut all = self
            .rules
            .get(name)
            .map_or_else(Vec::new, |rule| self.expand(&rule.body, most));
        all.truncate(most);
        all
    }

    /// `n` sentences of a rule, the same ones for the same seed.
    #[must_use]
    pub fn sentences(&self, name: &str, n: usize, seed: u64) -> Vec<String> {
        let Some(rule) = self.rules.get(name) else {
            return Vec::new();
        };
        let mut dice = Dice(seed);
        (0..n)
            .map(|_| {
                let mut words = Vec::new();
                self.say(&rule.body, &mut dice, &mut words);
                words.join(" ")
            })
            .collect()
    }

    fn say(&self, body: &Expansion, dice: &mut Dice, words: &mut Vec<String>) {
        match body {
            Expansion::Empty => {}
            Expansion::Word(word) => words.push(word.clone()),
            Expansion::Rule(name) => {
                if let Some(rule) = self.rules.get(name) {
                    self.say(&rule.body, dice, words);
                }
            }
            Expansion::Sequence(parts) => parts.iter().for_each(|part| self.say(part, dice, words)),
            Expansion::Choice(parts) => {
                if let Some(part) = parts.get(dice.below(parts.len())) {
                    self.say(part, dice, words);
                }
            }
            Expansion::Optional(part) => {
                if dice.below(2) == 1 {
                    self.say(part, dice, words);
                }
            }
            Expansion::Star(part) => (0..dice.below(4)).for_each(|_| self.say(part, dice, words)),
            Expansion::Plus(part) => (0..=dice.below(3)).for_each(|_| self.say(part, dice, words)),
            Expansion::Tagged(part, _) => self.say(part, dice, words),
        }
    }

    fn expand(&self, body: &Expansion, most: usize) -> Vec<Sentence> {
        let nothing = || Sentence {
            words: Vec::new(),
            tags: Vec::new(),
        };
        match body {
            Expansion::Empty => vec![nothing()],
            Expansion::Word(word) => vec![Sentence {
                words: vec![word.clone()],
                tags: Vec::new(),
            }],
            Expansion::Rule(name) => self.every(name, most),
            Expansion::Sequence(parts) => {
                let mut all = vec![nothing()];
                for part in parts {
                    let next = self.expand(part, most);
                    let mut longer = Vec::new();
                    for head in &all {
                        for tail in &next {
                            if longer.len() < most {
                                let mut both = head.clone();
                                both.words.extend(tail.words.iter().cloned());
                                both.tags.extend(tail.tags.iter().cloned());
                                longer.push(both);
                            }
                        }
                    }
                    all = longer;
                }
                all
            }
            Expansion::Choice(parts) => parts
                .iter()
                .flat_map(|part| self.expand(part, most))
                .collect(),
            Expansion::Optional(part) | Expansion::Star(part) => {
                let mut all = vec![nothing()];
                all.extend(self.expand(part, most));
                all
            }
            Expansion::Plus(part) => self.expand(part, most),
            Expansion::Tagged(part, tag) => {
                let mut all = self.expand(part, most);
                for one in &mut all {
                    one.tags.push(tag.clone());
                }
                all
            }
        }
    }

    /// Whether a rule reaches itself, or nests too deep; `sound` holds those known not to.
    fn recurses(&self, name: &str, above: &mut Vec<String>, sound: &mut BTreeSet<String>) -> bool {
        if sound.contains(name) {
            return false;
        }
        if above.iter().any(|one| one == name) || above.len() > DEEPEST {
            return true;
        }
        above.push(name.to_owned());
        let mut named = Vec::new();
        if let Some(rule) = self.rules.get(name) {
            names(&rule.body, &mut named);
        }
        let found = named.iter().any(|below| self.recurses(below, above, sound));
        above.pop();
        if !found {
            sound.insert(name.to_owned());
        }
        found
    }

    fn may_be_empty(&self, body: &Expansion) -> bool {
        match body {
            Expansion::Empty | Expansion::Optional(_) | Expansion::Star(_) => true,
            Expansion::Word(_) => false,
            Expansion::Rule(name) => self
                .rules
                .get(name)
                .is_some_and(|rule| self.may_be_empty(&rule.body)),
            Expansion::Sequence(parts) => parts.iter().all(|part| self.may_be_empty(part)),
            Expansion::Choice(parts) => parts.iter().any(|part| self.may_be_empty(part)),
            Expansion::Plus(part) | Expansion::Tagged(part, _) => self.may_be_empty(part),
        }
    }

    fn loops_empty(&self, body: &Expansion) -> bool {
        match body {
            Expansion::Empty | Expansion::Word(_) | Expansion::Rule(_) => false,
            Expansion::Sequence(parts) | Expansion::Choice(parts) => {
                parts.iter().any(|part| self.loops_empty(part))
            }
            Expansion::Optional(part) | Expansion::Tagged(part, _) => self.loops_empty(part),
            Expansion::Star(part) | Expansion::Plus(part) => {
                self.may_be_empty(part) || self.loops_empty(part)
            }
        }
    }
}

/// A small fixed generator (`SplitMix64`, public domain algorithm), so that the same
/// seed gives the same sentences on every machine.
#[derive(Debug, Clone)]
pub struct Dice(pub u64);

impl Dice {
    /// A number from 0 to `n - 1`; 0 when `n` is 0.
    pub fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^= z >> 31;
        usize::try_from((z >> 33) % (n.max(1) as u64)).unwrap_or(0)
    }
}

fn names(body: &Expansion, found: &mut Vec<String>) {
    match body {
        Expansion::Empty | Expansion::Word(_) => {}
        Expansion::Rule(name) => found.push(name.clone()),
        Expansion::Sequence(parts) | Expansion::Choice(parts) => {
            for part in parts {
                names(part, found);
            }
        }
        Expansion::Optional(part)
        | Expansion::Star(part)
        | Expansion::Plus(part)
        | Expansion::Tagged(part, _) => {
            names(part, found);
        }
    }
}

pub(super) fn fault(text: &str, place: usize, found: String, fix: &str) -> GrammarError {
    let before = text.get(..place).unwrap_or(text);
    let start = before.rfind('\n').map_or(0, |end| end + 1);
    GrammarError {
        line: before.matches('\n').count() + 1,
        column: before[start..].chars().count() + 1,
        text: text[start..].lines().next().unwrap_or_default().to_owned(),
        found,
        fix: fix.to_owned(),
    }
}

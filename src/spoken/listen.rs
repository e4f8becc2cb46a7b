//! What the recogniser listens for: the narrowest grammar that can answer a
//! question, with the commands that are always live, as a graph of words.

use super::jsgf::{Expansion, Grammar};
use super::phrase::{COMMANDS, NUMBERS, STATUSES};
use super::slot::{Slot, SlotKind};

/// A graph of words: every path from the start to a final state is a sentence.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct WordGraph {
    /// Number of states.
    pub states: usize,
    /// The start.
    pub start: usize,
    /// Where a sentence may end.
    pub finals: Vec<usize>,
    /// The arcs.
    pub arcs: Vec<Arc>,
}

/// An arc of a [`WordGraph`]; no word: it is passed in silence.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Arc {
    /// From this state.
    pub from: usize,
    /// To this state.
    pub to: usize,
    /// With this word.
    pub word: Option<String>,
}

/// Which commands are live.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CommandSet {
    /// All that are heard.
    All,
    /// Those that can answer a read-back, and stop.
    Few,
}

/// Words that the ear knows.
pub fn vocabulary() -> impl Iterator<Item = &'static str> {
    include_str!("../../grammars/vocabulary.txt").lines().map(str::trim).filter(|word| !word.is_empty())
}

fn known(word: &str) -> bool {
    vocabulary().any(|known| known == word)
}

/// What is listened for when this question is open.
#[must_use]
pub fn listening(slot: &Slot, commands: CommandSet) -> WordGraph {
    let mut graph = Builder::new();
    match &slot.kind {
        SlotKind::Number(range) => {
            if range.set.is_empty() {
                graph.add(&NUMBERS, range.unit.listening_rule());
            } else {
                for value in &range.set {
                    graph.phrase(&super::read_back(value, &range.unit));
                    for words in cardinals(&value.to_string()) {
                        graph.phrase(&words);
                        graph.phrase(&format!("{words} {}", range.unit.spoken(value)));
                    }
                }
            }
            graph.add(&STATUSES, "any");
            if range.unit.dimension() == "resistance" {
                graph.add(&STATUSES, "resistance");
            }
        }
        SlotKind::YesNo => {}
        SlotKind::Position => graph.add(&STATUSES, "position"),
        SlotKind::Tag => graph.add(&NUMBERS, "tag"),
        SlotKind::Choice(options) => {
            for phrase in options.iter().flat_map(|option| &option.phrases) {
                graph.phrase(phrase);
            }
        }
        SlotKind::Any => return named_listening("all").unwrap_or_default(),
    }
    graph.add(&COMMANDS, "few");
    if commands == CommandSet::All {
        graph.add(&COMMANDS, "more");
    }
    graph.finish()
}

/// Round percentages as they are said.
fn cardinals(value: &str) -> Vec<String> {
    match value {
        "0" => vec!["zero".to_owned()],
        "25" => vec!["twenty five".to_owned()],
        "50" => vec!["fifty".to_owned()],
        "75" => vec!["seventy five".to_owned()],
        "100" => vec!["one hundred".to_owned()],
        _ => Vec::new(),
    }
}

/// A graph by name, for `hear`: all, numbers, digits, yes-no, tag, commands.
#[must_use]
pub fn named_listening(name: &str) -> Option<WordGraph> {
    const NUMBER_RULES: [&str; 9] =
        ["current", "resistance", "insulation", "percent", "degrees", "seconds", "volts", "amps", "plain"];
    let mut graph = Builder::new();
    match name {
        "numbers" => NUMBER_RULES.iter().for_each(|rule| graph.add(&NUMBERS, rule)),
        "digits" => graph.add(&NUMBERS, "digits"),
        "yes-no" => {
            graph.phrase("yes");
            graph.phrase("no");
        }
        "tag" => graph.add(&NUMBERS, "tag"),
        "commands" => {
            graph.add(&COMMANDS, "few");
            graph.add(&COMMANDS, "more");
        }
        "all" => {
            NUMBER_RULES.iter().for_each(|rule| graph.add(&NUMBERS, rule));
            graph.add(&NUMBERS, "tag");
            graph.add(&COMMANDS, "few");
            graph.add(&COMMANDS, "more");
            for rule in ["any", "resistance", "position"] {
                graph.add(&STATUSES, rule);
            }
            vocabulary().for_each(|word| graph.phrase(word));
        }
        _ => return None,
    }
    Some(graph.finish())
}

/// Sentences of what is listened for, chosen by a seed: for tests.
#[must_use]
pub fn sentences(rule: &str, count: usize, seed: u64) -> Vec<String> {
    let grammar: &Grammar = [&*NUMBERS, &*COMMANDS, &*STATUSES]
        .into_iter()
        .find(|grammar| grammar.rule(rule).is_some())
        .unwrap_or(&NUMBERS);
    let expansion = Expansion::Rule(rule.to_owned());
    let mut state = seed.wrapping_mul(2).wrapping_add(1);
    let mut choose = |below: usize| {
        // A linear congruential generator: the same sentences on every machine.
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(state >> 33).unwrap_or(0) % below.max(1)
    };
    (0..count)
        .map(|_| {
            let mut words = Vec::new();
            grammar.sample(&expansion, &mut choose, &mut words);
            words.join(" ")
        })
        .collect()
}

struct Builder {
    graph: WordGraph,
    end: usize,
}

impl Builder {
    fn new() -> Self {
        Self { graph: WordGraph { states: 2, start: 0, finals: vec![1], arcs: Vec::new() }, end: 1 }
    }

    fn state(&mut self) -> usize {
        self.graph.states += 1;
        self.graph.states - 1
    }

    fn arc(&mut self, from: usize, to: usize, word: Option<&str>) {
        self.graph.arcs.push(Arc { from, to, word: word.map(str::to_owned) });
    }

    fn add(&mut self, grammar: &Grammar, rule: &str) {
        self.add_expansion(grammar, &Expansion::Rule(rule.to_owned()));
    }

    fn add_expansion(&mut self, grammar: &Grammar, expansion: &Expansion) {
        let (start, end) = (self.graph.start, self.end);
        self.between(grammar, expansion, start, end);
    }

    /// A phrase of a job's own; words that the ear does not know cannot be listened for.
    fn phrase(&mut self, phrase: &str) {
        let words: Vec<&str> = phrase.split_whitespace().collect();
        if words.is_empty() || !words.iter().all(|word| known(word)) {
            return;
        }
        let mut from = self.graph.start;
        for (at, word) in words.iter().enumerate() {
            let to = if at + 1 == words.len() { self.end } else { self.state() };
            self.arc(from, to, Some(word));
            from = to;
        }
    }

    fn between(&mut self, grammar: &Grammar, expansion: &Expansion, from: usize, to: usize) {
        match expansion {
            Expansion::Word(word) => self.arc(from, to, Some(word)),
            Expansion::Rule(name) => {
                let inner = grammar.own(name);
                self.between(grammar, &inner, from, to);
            }
            Expansion::Choice(list) => list.iter().for_each(|one| self.between(grammar, one, from, to)),
            Expansion::Optional(inner) => {
                self.arc(from, to, None);
                self.between(grammar, inner, from, to);
            }
            Expansion::Tagged(inner, _) => self.between(grammar, inner, from, to),
            Expansion::Sequence(list) => {
                let mut at = from;
                for (index, one) in list.iter().enumerate() {
                    let next = if index + 1 == list.len() { to } else { self.state() };
                    self.between(grammar, one, at, next);
                    at = next;
                }
            }
            Expansion::Repeat(inner, at_least_once) => {
                // The loop has a state of its own, so that it cannot be entered from outside.
                let state = self.state();
                if *at_least_once {
                    self.between(grammar, inner, from, state);
                } else {
                    self.arc(from, state, None);
                }
                let back = self.state();
                self.between(grammar, inner, state, back);
                self.arc(back, state, None);
                self.arc(state, to, None);
            }
        }
    }

    fn finish(self) -> WordGraph {
        self.graph
    }
}

//! A grammar over words, and how each word sounds → the graph that libvosk decodes with. No state.
//!
//! A model of our own form has no graph, only `lexicon.txt`: the phones of each
//! word. The graph of a question is small, so it is written out whole: between
//! words an optional silence, each word as the chain of its phones, words of one
//! place that begin alike sharing their beginning. Each phone is entered with
//! its forward transition and stayed in with its self-loop (Kaldi's chain
//! topology). [`GARBAGE`](super::GARBAGE) is a loop over all phones.
//!
//! Transition numbers of phone p, from 1: self-loop 2p - 1, forward 2p.

use std::collections::{BTreeMap, HashMap};

use rustfst::prelude::*;

/// The probability of a silence between two words, and of none.
const SILENCE: f32 = 0.5;

/// The phones of each word, and the numbers of phones.
#[derive(Debug, Clone)]
pub struct Lexicon {
    /// Of each word, in alphabetical order, its pronunciations.
    words: Vec<(String, Vec<Vec<Phone>>)>,
    silence: u32,
    /// Every phone of speech, in its four places, by its name.
    speech: BTreeMap<String, Phone>,
}

/// The numbers of one phone at the beginning, inside, at the end of a word and alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Phone {
    begin: u32,
    inside: u32,
    end: u32,
    alone: u32,
}

impl Lexicon {
    /// Reads `lexicon.txt` (a word and its phones on each line; more lines for
    /// more ways to say it) and `phones.txt` (a phone with its place and its
    /// number on each line).
    ///
    /// # Errors
    /// A sentence that names the line that cannot be used.
    pub fn parse(lexicon: &str, phones: &str) -> Result<Self, String> {
        let numbers: HashMap<&str, u32> = phones
            .lines()
            .filter_map(|line| {
                let (name, number) = line.split_once(char::is_whitespace)?;
                Some((name, number.trim().parse().ok()?))
            })
            .collect();
        let of = |name: &str| {
            let at = |place: &str| numbers.get(format!("{name}_{place}").as_str()).copied();
            Some(Phone {
                begin: at("B")?,
                inside: at("I")?,
                end: at("E")?,
                alone: at("S")?,
            })
        };
        let silence = *numbers
            .get("SIL")
            .ok_or("phones.txt has no SIL (silence)")?;
        let speech: BTreeMap<String, Phone> = numbers
            .keys()
            .filter_map(|name| name.strip_suffix("_B"))
            .filter(|name| *name != "SPN")
            .filter_map(|name| Some((name.to_owned(), of(name)?)))
            .collect();
        let mut words: BTreeMap<String, Vec<Vec<Phone>>> = BTreeMap::new();
        for (line, text) in lexicon.lines().enumerate() {
            let mut parts = text.split_whitespace();
            let Some(word) = parts.next() else { continue };
            let ways = parts
                .map(|name| {
                    of(name).ok_or_else(|| {
                        format!(
                            "lexicon.txt, line {}: {name} is not in phones.txt with its four places",
                            line + 1
                        )
                    })
                })
                .collect::<Result<Vec<_>, _>>()?;
            if ways.is_empty() {
                return Err(format!(
                    "lexicon.txt, line {}: {word} has no phones",
                    line + 1
                ));
            }
            words.entry(word.to_owned()).or_default().push(ways);
        }
        if words.is_empty() || speech.is_empty() {
            return Err("lexicon.txt holds no word".to_owned());
        }
        Ok(Self {
            words: words.into_iter().collect(),
            silence,
            speech,
        })
    }

    /// The same with words of one's own, each with every way that `ways` knows
    /// to say it, as names of phones divided by spaces. A way with a phone that
    /// the model does not have is left out, and so is a word without any.
    pub fn with<'w>(
        &self,
        words: impl Iterator<Item = &'w str>,
        ways: impl Fn(&str) -> Vec<&'static str>,
    ) -> Self {
        let mut all: BTreeMap<String, Vec<Vec<Phone>>> = self.words.iter().cloned().collect();
        for word in words {
            let phones = |way: &str| {
                way.split(' ')
                    .map(|name| self.speech.get(name).copied())
                    .collect::<Option<Vec<Phone>>>()
            };
            let said: Vec<Vec<Phone>> = ways(word).into_iter().filter_map(phones).collect();
            if !said.is_empty() {
                all.insert(word.to_owned(), said);
            }
        }
        Self {
            words: all.into_iter().collect(),
            ..self.clone()
        }
    }

    /// Every word, in alphabetical order: the first has number 1.
    pub fn words(&self) -> impl Iterator<Item = &str> {
        self.words.iter().map(|(word, _)| word.as_str())
    }

    /// Every word with each way to say it, as names of phones divided by spaces.
    pub fn said(&self) -> impl Iterator<Item = (&str, Vec<String>)> {
        let names: HashMap<u32, &str> = self
            .speech
            .iter()
            .map(|(name, phone)| (phone.begin, name.as_str()))
            .collect();
        self.words.iter().map(move |(word, ways)| {
            let names_of = |phones: &Vec<Phone>| {
                let names = phones.iter().filter_map(|phone| names.get(&phone.begin));
                names.copied().collect::<Vec<_>>().join(" ")
            };
            (word.as_str(), ways.iter().map(names_of).collect())
        })
    }

    /// The graph over transitions of a grammar over words. Words are numbered
    /// from 1 in the order of [`Lexicon::words`]; the next number is garbage,
    /// each phone of which costs `garbage_phone`.
    ///
    /// # Errors
    /// Only if the grammar has no start.
    pub fn expand(
        &self,
        grammar: &VectorFst<TropicalWeight>,
        garbage_phone: f32,
    ) -> anyhow::Result<VectorFst<TropicalWeight>> {
        let mut graph = Expansion::new(self, grammar.num_states());
        let start = grammar
            .start()
            .ok_or_else(|| anyhow::anyhow!("the grammar has no start"))?;
        graph.fst.set_start(pause(start))?;
        for state in grammar.states_iter() {
            graph.optional_silence(state)?;
            if let Some(cost) = grammar.final_weight(state)? {
                let here = ready(state);
                graph.fst.set_final(here, cost)?;
            }
            graph.words_from(state, grammar, garbage_phone)?;
        }
        Ok(graph.fst)
    }
}

/// A graph while it is written.
struct Expansion<'a> {
    lexicon: &'a Lexicon,
    fst: VectorFst<TropicalWeight>,
    /// (grammar state, phone) → the state of that phone as the last of a word.
    endings: HashMap<(StateId, u32), StateId>,
    /// Grammar state → where the loop of phones that leads to it begins.
    loops: HashMap<StateId, StateId>,
}

/// Words that begin alike, as a tree of phones: phone, then what follows it.
#[derive(Default)]
struct Tree {
    /// (phone, whether a word ends with it, word, grammar state after it) → cost and what follows.
    /// Word and state are 0 inside a word.
    branches: BTreeMap<(u32, bool, Label, StateId), Branch>,
}

#[derive(Default)]
struct Branch {
    cost: f32,
    rest: Tree,
}

impl Tree {
    fn add(&mut self, phones: &[Phone], word: Label, cost: f32, to: StateId, first: bool) {
        let Some((phone, rest)) = phones.split_first() else {
            return;
        };
        let last = rest.is_empty();
        let number = match (first, last) {
            (true, true) => phone.alone,
            (true, false) => phone.begin,
            (false, true) => phone.end,
            (false, false) => phone.inside,
        };
        let key = if last {
            (number, true, word, to)
        } else {
            (number, false, 0, 0)
        };
        let branch = self.branches.entry(key).or_insert(Branch {
            cost,
            rest: Self::default(),
        });
        branch.cost = branch.cost.min(cost);
        branch.rest.add(rest, word, cost, to, false);
    }
}

/// Where a state of the grammar is before the pause that follows a word.
fn pause(state: StateId) -> StateId {
    2 * state
}

/// Where it is ready for the next word.
fn ready(state: StateId) -> StateId {
    2 * state + 1
}

impl<'a> Expansion<'a> {
    /// Two states for each state of the grammar: before the pause (even) and
    /// ready for a word (odd).
    fn new(lexicon: &'a Lexicon, grammar_states: usize) -> Self {
        let mut fst = VectorFst::new();
        fst.add_states(2 * grammar_states);
        Self {
            lexicon,
            fst,
            endings: HashMap::new(),
            loops: HashMap::new(),
        }
    }

    fn arc(
        &mut self,
        from: StateId,
        label: (Label, Label),
        cost: f32,
        to: StateId,
    ) -> anyhow::Result<()> {
        self.fst.add_tr(
            from,
            Tr::new(label.0, label.1, TropicalWeight::new(cost), to),
        )
    }

    /// A state in which a phone goes on: it has the phone's self-loop.
    fn lasting(&mut self, phone: u32) -> anyhow::Result<StateId> {
        let state = self.fst.add_state();
        self.arc(state, (2 * phone - 1, EPS_LABEL), 0.0, state)?;
        Ok(state)
    }

    fn optional_silence(&mut self, state: StateId) -> anyhow::Result<()> {
        let (before, after) = (pause(state), ready(state));
        let silence = self.lexicon.silence;
        let quiet = self.lasting(silence)?;
        self.arc(before, (EPS_LABEL, EPS_LABEL), -(1.0 - SILENCE).ln(), after)?;
        self.arc(before, (2 * silence, EPS_LABEL), -SILENCE.ln(), quiet)?;
        self.arc(quiet, (EPS_LABEL, EPS_LABEL), 0.0, after)
    }

    fn words_from(
        &mut self,
        state: StateId,
        grammar: &VectorFst<TropicalWeight>,
        garbage_phone: f32,
    ) -> anyhow::Result<()> {
        let here = ready(state);
        let lexicon = self.lexicon;
        let mut tree = Tree::default();
        for tr in grammar.get_trs(state)?.trs() {
            let cost = *tr.weight.value();
            if tr.ilabel == EPS_LABEL {
                // No word, so no pause either: straight to where the next word is awaited.
                let there = ready(tr.nextstate);
                self.arc(here, (EPS_LABEL, EPS_LABEL), cost, there)?;
            } else if let Some((_, ways)) = lexicon.words.get(tr.ilabel as usize - 1) {
                for phones in ways {
                    tree.add(phones, tr.ilabel, cost, tr.nextstate, true);
                }
            } else {
                let begin = self.loop_to(tr.nextstate, garbage_phone)?;
                self.arc(here, (EPS_LABEL, tr.ilabel), cost, begin)?;
            }
        }
        self.plant(&tree, here, 0.0)
    }

    /// Writes a tree out; a word's cost is paid as early as its beginning is its own.
    fn plant(&mut self, tree: &Tree, from: StateId, paid: f32) -> anyhow::Result<()> {
        for (&(phone, ends, word, to), branch) in &tree.branches {
            let label = (2 * phone, if ends { word } else { EPS_LABEL });
            let state = if ends {
                self.ending(phone, to)?
            } else {
                self.lasting(phone)?
            };
            self.arc(from, label, branch.cost - paid, state)?;
            if !ends {
                self.plant(&branch.rest, state, branch.cost)?;
            }
        }
        Ok(())
    }

    fn ending(&mut self, phone: u32, to: StateId) -> anyhow::Result<StateId> {
        if let Some(&state) = self.endings.get(&(to, phone)) {
            return Ok(state);
        }
        let state = self.lasting(phone)?;
        let over = pause(to);
        self.arc(state, (EPS_LABEL, EPS_LABEL), 0.0, over)?;
        self.endings.insert((to, phone), state);
        Ok(state)
    }

    /// Any phones, one at least, on the way to a state of the grammar.
    fn loop_to(&mut self, to: StateId, each: f32) -> anyhow::Result<StateId> {
        if let Some(&begin) = self.loops.get(&to) {
            return Ok(begin);
        }
        let (begin, within) = (self.fst.add_state(), self.fst.add_state());
        for phone in self.lexicon.speech.values() {
            for (from, number) in [(begin, phone.begin), (within, phone.inside)] {
                let state = self.lasting(number)?;
                self.arc(from, (2 * number, EPS_LABEL), each, state)?;
                self.arc(state, (EPS_LABEL, EPS_LABEL), 0.0, within)?;
            }
            for (from, number) in [(begin, phone.alone), (within, phone.end)] {
                let state = self.ending(number, to)?;
                self.arc(from, (2 * number, EPS_LABEL), each, state)?;
            }
        }
        self.loops.insert(to, begin);
        Ok(begin)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PHONES: &str = "<eps> 0\nSIL 1\nA_B 2\nA_E 3\nA_I 4\nA_S 5\nB_B 6\nB_E 7\nB_I 8\nB_S 9\n";

    fn lexicon() -> Lexicon {
        Lexicon::parse("ab A B\naba A B A\na A\n", PHONES).expect("a lexicon")
    }

    /// A grammar of one word, at a cost.
    fn one(word: Label, cost: f32) -> VectorFst<TropicalWeight> {
        let mut fst = VectorFst::new();
        fst.add_states(2);
        fst.set_start(0).expect("there");
        fst.set_final(1, TropicalWeight::one()).expect("there");
        fst.add_tr(0, Tr::new(word, word, TropicalWeight::new(cost), 1))
            .expect("there");
        fst
    }

    /// The cheapest way through a graph that takes these transitions: its words and its cost.
    fn decode(
        graph: &VectorFst<TropicalWeight>,
        transitions: &[Label],
    ) -> Option<(Vec<Label>, f32)> {
        let mut at: HashMap<StateId, (f32, Vec<Label>)> = HashMap::new();
        at.insert(graph.start().expect("a start"), (0.0, Vec::new()));
        let step = |at: &HashMap<StateId, (f32, Vec<Label>)>, take: Label| {
            let mut next: HashMap<StateId, (f32, Vec<Label>)> = HashMap::new();
            for (&state, (cost, words)) in at {
                for tr in graph.get_trs(state).expect("a state").trs() {
                    if tr.ilabel == take {
                        let cost = cost + tr.weight.value();
                        let mut words = words.clone();
                        words.extend((tr.olabel != EPS_LABEL).then_some(tr.olabel));
                        if next
                            .get(&tr.nextstate)
                            .is_none_or(|(least, _)| cost < *least)
                        {
                            next.insert(tr.nextstate, (cost, words));
                        }
                    }
                }
            }
            next
        };
        let free = |mut at: HashMap<StateId, (f32, Vec<Label>)>| {
            loop {
                let mut better = false;
                for (state, (cost, words)) in step(&at, EPS_LABEL) {
                    if at.get(&state).is_none_or(|(least, _)| cost < *least) {
                        at.insert(state, (cost, words));
                        better = true;
                    }
                }
                if !better {
                    return at;
                }
            }
        };
        at = free(at);
        for &transition in transitions {
            at = free(step(&at, transition));
        }
        at.into_iter()
            .filter_map(|(state, (cost, words))| {
                let last = graph.final_weight(state).expect("a state")?;
                Some((words, cost + last.value()))
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))
    }

    fn close(a: f32, b: f32) -> bool {
        (a - b).abs() < 1e-5
    }

    #[test]
    fn a_word_is_its_phones_in_their_places_each_lasting_as_long_as_it_likes() {
        let graph = lexicon().expand(&one(2, 1.5), 3.0).expect("expands");
        // "ab": A at the beginning (2), twice; B at the end (7).
        let (words, cost) = decode(&graph, &[4, 3, 3, 14]).expect("a way");
        assert_eq!(words, [2]);
        assert!(close(cost, 1.5 - 2.0 * 0.5_f32.ln()), "{cost}");
        assert!(decode(&graph, &[4, 14, 5]).is_none(), "a foreign self-loop");
        assert!(decode(&graph, &[4, 16]).is_none(), "B inside is no end");
        assert!(decode(&graph, &[10]).is_none(), "another word");
    }

    #[test]
    fn silence_may_stand_before_and_after_a_word() {
        let graph = lexicon().expand(&one(1, 0.0), 3.0).expect("expands");
        let (words, cost) = decode(&graph, &[2, 1, 10, 2, 1, 1]).expect("a way");
        assert_eq!(words, [1]);
        assert!(close(cost, -2.0 * 0.5_f32.ln()), "{cost}");
    }

    #[test]
    fn words_that_begin_alike_keep_their_own_costs() {
        let mut both = one(2, 1.0);
        both.add_tr(0, Tr::new(3, 3, TropicalWeight::new(4.0), 1))
            .expect("there");
        let graph = lexicon().expand(&both, 3.0).expect("expands");
        let pauses = -2.0 * 0.5_f32.ln();
        let (words, cost) = decode(&graph, &[4, 14]).expect("ab");
        assert_eq!(words, [2]);
        assert!(close(cost, 1.0 + pauses), "{cost}");
        let (words, cost) = decode(&graph, &[4, 16, 6]).expect("aba");
        assert_eq!(words, [3]);
        assert!(close(cost, 4.0 + pauses), "{cost}");
    }

    #[test]
    fn garbage_is_any_phones_each_at_its_cost() {
        let graph = lexicon().expand(&one(4, 2.0), 3.0).expect("expands");
        let pauses = -2.0 * 0.5_f32.ln();
        // B alone; then B A A B.
        let (words, cost) = decode(&graph, &[18]).expect("a way");
        assert_eq!(words, [4]);
        assert!(close(cost, 5.0 + pauses), "{cost}");
        let (words, cost) = decode(&graph, &[12, 8, 7, 8, 14]).expect("a way");
        assert_eq!(words, [4]);
        assert!(close(cost, 2.0 + 4.0 * 3.0 + pauses), "{cost}");
    }

    #[test]
    fn a_step_without_a_word_has_no_pause_of_its_own() {
        let mut grammar = one(EPS_LABEL, 0.5);
        grammar.add_state();
        grammar
            .add_tr(1, Tr::new(1, 1, TropicalWeight::one(), 2))
            .expect("there");
        grammar.set_final(2, TropicalWeight::one()).expect("there");
        let graph = lexicon().expand(&grammar, 3.0).expect("expands");
        let (words, cost) = decode(&graph, &[10]).expect("a way");
        assert_eq!(words, [1]);
        assert!(close(cost, 0.5 - 2.0 * 0.5_f32.ln()), "{cost}");
    }

    #[test]
    fn what_cannot_be_read_is_named() {
        let fault = |text| Lexicon::parse(text, PHONES).expect_err("a fault");
        assert_eq!(
            fault("a A\nq Q\n"),
            "lexicon.txt, line 2: Q is not in phones.txt with its four places"
        );
        assert_eq!(fault("a\n"), "lexicon.txt, line 1: a has no phones");
        assert_eq!(fault(""), "lexicon.txt holds no word");
        assert_eq!(
            Lexicon::parse("a A\n", "A_B 2\n").expect_err("a fault"),
            "phones.txt has no SIL (silence)"
        );
    }
}

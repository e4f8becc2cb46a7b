//! A graph of words: what a recogniser may hear at one place. No state.

use std::collections::BTreeSet;

use super::jsgf::Dice;

/// A graph of words: each path from `start` to one of `finals` is a sentence.
/// No loop goes without a word.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WordGraph {
    /// States are 0 to `states - 1`.
    pub states: usize,
    /// Where every sentence starts.
    pub start: usize,
    /// Where a sentence may end.
    pub finals: Vec<usize>,
    /// The words between.
    pub arcs: Vec<Arc>,
}

/// One step of a [`WordGraph`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Arc {
    /// State before.
    pub from: usize,
    /// State after.
    pub to: usize,
    /// The word said; None for a step without a word.
    pub word: Option<String>,
}

impl WordGraph {
    /// Whether these words are one of the graph's sentences.
    #[must_use]
    pub fn accepts(&self, words: &[&str]) -> bool {
        let mut here = self.without_words(&BTreeSet::from([self.start]));
        for word in words {
            let next = self.after(&here, word);
            here = self.without_words(&next);
        }
        here.iter().any(|state| self.finals.contains(state))
    }

    /// `n` sentences, the same ones for the same seed; long ones are cut off by giving up
    /// and starting anew.
    #[must_use]
    pub fn sentences(&self, n: usize, seed: u64) -> Vec<String> {
        let mut out: Vec<Vec<&Arc>> = vec![Vec::new(); self.states];
        for arc in &self.arcs {
            if let Some(list) = out.get_mut(arc.from) {
                list.push(arc);
            }
        }
        let mut dice = Dice(seed);
        let mut all = Vec::with_capacity(n);
        let mut tries = 0;
        while all.len() < n && tries < n.saturating_mul(20) {
            tries += 1;
            let mut words: Vec<&str> = Vec::new();
            let mut at = self.start;
            loop {
                let ways = &out[at];
                let may_end = self.finals.contains(&at);
                if may_end && (ways.is_empty() || dice.below(2) == 0) {
                    all.push(words.join(" "));
                    break;
                }
                if ways.is_empty() || words.len() > 40 {
                    break;
                }
                let arc = ways[dice.below(ways.len())];
                words.extend(arc.word.as_deref());
                at = arc.to;
            }
        }
        all
    }

    /// The same as a finite state grammar in the text form of the Sphinx recognisers, which is what
    /// they make of JSGF, so that another recogniser can be compared under the same sentences.
    #[must_use]
    pub fn fsg(&self, name: &str) -> String {
        // That form has one end.
        let end = self.states;
        let mut text = format!(
            "FSG_BEGIN {name}\nNUM_STATES {}\nSTART_STATE {}\nFINAL_STATE {end}\n",
            self.states + 1,
            self.start
        );
        for Arc { from, to, word } in &self.arcs {
            let word = word.as_deref().map(|word| format!(" {word}"));
            text += &format!("TRANSITION {from} {to} 1.0{}\n", word.unwrap_or_default());
        }
        for state in &self.finals {
            text += &format!("TRANSITION {state} {end} 1.0\n");
        }
        text + "FSG_END\n"
    }

    /// Every word of the graph.
    #[must_use]
    pub fn words(&self) -> BTreeSet<&str> {
        self.arcs
            .iter()
            .filter_map(|arc| arc.word.as_deref())
            .collect()
    }

    /// The sets of words that are open at one place, over every place a sentence can reach.
    #[must_use]
    pub fn open_together(&self) -> Vec<BTreeSet<&str>> {
        let mut seen = BTreeSet::new();
        let mut waiting = vec![self.without_words(&BTreeSet::from([self.start]))];
        let mut places = Vec::new();
        while let Some(here) = waiting.pop() {
            if !seen.insert(here.clone()) {
                continue;
            }
            let open: BTreeSet<&str> = self
                .arcs
                .iter()
                .filter(|arc| here.contains(&arc.from))
                .filter_map(|arc| arc.word.as_deref())
                .collect();
            for word in &open {
                waiting.push(self.without_words(&self.after(&here, word)));
            }
            places.push(open);
        }
        places
    }

    fn after(&self, here: &BTreeSet<usize>, word: &str) -> BTreeSet<usize> {
        self.arcs
            .iter()
            .filter(|arc| arc.word.as_deref() == Some(word) && here.contains(&arc.from))
            .map(|arc| arc.to)
            .collect()
    }

    fn without_words(&self, here: &BTreeSet<usize>) -> BTreeSet<usize> {
        let mut all = here.clone();
        let mut waiting: Vec<usize> = here.iter().copied().collect();
        while let Some(state) = waiting.pop() {
            for arc in self
                .arcs
                .iter()
                .filter(|arc| arc.word.is_none() && arc.from == state)
            {
                if all.insert(arc.to) {
                    waiting.push(arc.to);
                }
            }
        }
        all
    }
}

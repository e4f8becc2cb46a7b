//! The words that may answer a question, as a graph. No state.

/// A finite automaton over words: every path from `start` to one of `finals` is
/// an utterance that the question allows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WordGraph {
    /// How many states there are; states are numbered from 0.
    pub states: usize,
    /// Where every utterance begins.
    pub start: usize,
    /// Where an utterance may end.
    pub finals: Vec<usize>,
    /// The steps between states.
    pub arcs: Vec<Arc>,
}

/// One step of a [`WordGraph`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Arc {
    /// The state it leaves.
    pub from: usize,
    /// The state it enters.
    pub to: usize,
    /// The word that is said on the way; none for a free step.
    pub word: Option<String>,
}

impl WordGraph {
    /// Whether these words, in this order, are one of the graph's utterances.
    #[must_use]
    pub fn allows<'a>(&self, words: impl IntoIterator<Item = &'a str>) -> bool {
        let mut at = vec![false; self.states];
        if let Some(start) = at.get_mut(self.start) {
            *start = true;
        }
        self.take_free_steps(&mut at);
        for word in words {
            let mut next = vec![false; self.states];
            for arc in &self.arcs {
                if arc.word.as_deref() == Some(word) && at[arc.from] {
                    next[arc.to] = true;
                }
            }
            self.take_free_steps(&mut next);
            at = next;
        }
        self.finals.iter().any(|&state| at[state])
    }

    fn take_free_steps(&self, at: &mut [bool]) {
        loop {
            let mut more = false;
            for arc in &self.arcs {
                if arc.word.is_none() && at[arc.from] && !at[arc.to] {
                    at[arc.to] = true;
                    more = true;
                }
            }
            if !more {
                return;
            }
        }
    }
}

//! What a question allows, as a graph of words: whether it holds a given phrase. No state.

pub use crate::spoken::{Arc, WordGraph};

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

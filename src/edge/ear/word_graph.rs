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

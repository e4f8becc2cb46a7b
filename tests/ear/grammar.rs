//! What can be listened for, and what is refused.

use sayback::edge::ear::{EarError, WordArc, WordGraph};

use super::{DIGITS, any_number_of, ear, phrases};

#[test]
fn words_without_a_sound_are_named() {
    let fault = ear()
        .listen(&phrases(&["five flurbs", "yes", "xyzzy"]), 16_000)
        .err()
        .expect("refused");
    let EarError::UnknownWords(words) = &fault else {
        panic!("{fault}")
    };
    assert_eq!(words, &["flurbs", "xyzzy"]);
    assert_eq!(
        fault.to_string(),
        "the voice model has no sound for: flurbs, xyzzy. Use other words, or a model that has them."
    );
}

#[test]
fn marks_of_the_graph_are_no_words() {
    for mark in ["<eps>", "#0", "<s>", ""] {
        let fault = ear().listen(&phrases(&["yes"]).with(mark), 16_000).err();
        assert!(matches!(fault, Some(EarError::UnknownWords(_))), "{mark}");
    }
}

trait With {
    fn with(self, word: &str) -> Self;
}

impl With for WordGraph {
    fn with(mut self, word: &str) -> Self {
        self.arcs.push(WordArc {
            from: 0,
            to: 1,
            word: Some(word.to_owned()),
        });
        self
    }
}

#[test]
fn a_quotation_mark_is_refused_and_does_not_end_the_process() {
    let mut ear = ear();
    assert!(matches!(
        ear.listen(&phrases(&["yes \"no\""]), 16_000).err(),
        Some(EarError::UnknownWords(_))
    ));
    assert!(matches!(
        ear.listen_word_list(&["\"".to_owned()], 16_000).err(),
        Some(EarError::UnknownWords(_))
    ));
}

#[test]
fn a_grammar_without_an_utterance_is_refused() {
    let empty = WordGraph {
        states: 2,
        start: 0,
        finals: vec![1],
        arcs: Vec::new(),
    };
    let silent = WordGraph {
        arcs: vec![WordArc {
            from: 0,
            to: 1,
            word: None,
        }],
        ..empty.clone()
    };
    let endless = WordGraph {
        finals: Vec::new(),
        ..phrases(&["yes"])
    };
    let outside = WordGraph {
        finals: vec![7],
        ..phrases(&["yes"])
    };
    for graph in [empty, silent, endless, outside] {
        let fault = ear().listen(&graph, 16_000).err().expect("refused");
        assert!(matches!(fault, EarError::BadGraph(_)), "{graph:?}: {fault}");
    }
}

#[test]
fn a_graph_allows_its_utterances_and_no_others() {
    let graph = phrases(&["say again", "stop"]);
    assert!(graph.accepts(&["say", "again"]));
    assert!(graph.accepts(&["stop"]));
    for other in [&["say"][..], &["again", "say"], &["stop", "stop"], &[]] {
        assert!(!graph.accepts(other), "{other:?}");
    }
    let digits = any_number_of(&DIGITS);
    assert!(digits.accepts(&["one", "one", "two"]));
    assert!(!digits.accepts(&["one", "point"]));
}

#[test]
fn free_steps_are_taken() {
    let graph = WordGraph {
        states: 4,
        start: 0,
        finals: vec![3],
        arcs: vec![
            WordArc {
                from: 0,
                to: 1,
                word: None,
            },
            WordArc {
                from: 1,
                to: 2,
                word: Some("five".to_owned()),
            },
            WordArc {
                from: 2,
                to: 1,
                word: None,
            },
            WordArc {
                from: 2,
                to: 3,
                word: None,
            },
        ],
    };
    assert!(graph.accepts(&["five"]));
    assert!(graph.accepts(&["five", "five"]));
    assert!(!graph.accepts(&[]));
    assert!(ear().listen(&graph, 16_000).is_ok());
}

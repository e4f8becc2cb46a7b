//! The ear, with the model that is built in and the recordings of `audio-fixtures`.

mod clips;
mod grammar;
mod model;
mod own_words;
mod sound;

use std::path::{Path, PathBuf};

use sayback::edge::ear::{Ear, Heard, ModelChoice, WordArc, WordGraph};
use sayback::edge::sound::Sound;

/// The folder of the recordings.
fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures")
}

/// An ear whose cache is in the folder for test output, so that the user's own
/// is left alone.
fn ear() -> Ear {
    Ear::open_in(&ModelChoice::BuiltIn, &cache()).expect("the built-in model opens")
}

fn cache() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("ear")
}

/// The graph of a few phrases.
fn phrases(phrases: &[&str]) -> WordGraph {
    let mut graph = WordGraph {
        states: 2,
        start: 0,
        finals: vec![1],
        arcs: Vec::new(),
    };
    for phrase in phrases {
        let words: Vec<&str> = phrase.split_whitespace().collect();
        let mut from = 0;
        for (at, word) in words.iter().enumerate() {
            let to = if at + 1 == words.len() {
                1
            } else {
                graph.states += 1;
                graph.states - 1
            };
            graph.arcs.push(WordArc {
                from,
                to,
                word: Some((*word).to_owned()),
            });
            from = to;
        }
    }
    graph
}

/// One or more of these words.
fn any_number_of(words: &[&str]) -> WordGraph {
    WordGraph {
        states: 2,
        start: 0,
        finals: vec![1],
        arcs: [0, 1]
            .into_iter()
            .flat_map(|from| {
                words.iter().map(move |word| WordArc {
                    from,
                    to: 1,
                    word: Some((*word).to_owned()),
                })
            })
            .collect(),
    }
}

const DIGITS: [&str; 10] = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
];

/// Everything that is heard in a recording.
fn hear(ear: &mut Ear, graph: &WordGraph, sound: &Sound) -> Vec<Heard> {
    let mut listener = ear.listen(graph, sound.rate).expect("the grammar compiles");
    let block = (sound.rate / 10) as usize;
    let mut all = Vec::new();
    for samples in sound.samples.chunks(block) {
        all.extend(listener.accept(samples).expect("the decoder goes on"));
    }
    all.push(listener.finish().expect("the decoder ends"));
    all
}

/// The words of everything that is heard in a recording.
fn phrase(ear: &mut Ear, graph: &WordGraph, sound: &Sound) -> String {
    let heard = hear(ear, graph, sound);
    let phrases: Vec<String> = heard.iter().map(Heard::phrase).collect();
    phrases.join(" ").trim().to_owned()
}

//! What Sayback says, Sayback understands: planned and mixed as for the loudspeaker, given to the ear.

use std::path::Path;

use sayback::edge::ear::{Ear, ModelChoice};
use sayback::edge::voice::render::resample;
use sayback::spoken::{named_listening, read_back, units, vocabulary};

use super::said;

/// The least share of utterances that must be heard word for word.
const FLOOR: f64 = 0.97;

fn heard(ear: &mut Ear, text: &str, grammar: &str) -> String {
    // Through 48000 samples a second, as most loudspeakers play, and back to what a microphone gives.
    let sound = resample(&said(text, 48_000), 48_000, 16_000);
    let mut samples = vec![0_i16; 8_000];
    #[expect(
        clippy::cast_possible_truncation,
        reason = "within plus and minus 20000"
    )]
    samples.extend(sound.iter().map(|s| (s * 20_000.0) as i16));
    samples.extend(vec![0; 16_000]);
    let graph = named_listening(grammar).unwrap();
    let mut listener = ear.listen(&graph, 16_000).unwrap();
    for piece in samples.chunks(1_600) {
        if let Some(heard) = listener.accept(piece).unwrap() {
            return heard.phrase();
        }
    }
    listener.finish().unwrap().phrase()
}

/// Values over every unit, with signs, points and zeros; then the prowords.
fn utterances() -> Vec<(String, &'static str)> {
    let values = [
        "0", "4.02", "12.00", "-3.5", "512", "1869", "0.57", "7.1", "19.99", "100", "-40", "63.8",
    ];
    let mut all = Vec::new();
    for (at, unit) in units().enumerate() {
        let word = unit.spoken(&"2".parse().unwrap());
        if !word
            .split(' ')
            .all(|word| vocabulary().any(|known| known == word))
        {
            println!(
                "SKIPPED: {word}: not heard again, since it is no word of the ear's vocabulary"
            );
            continue;
        }
        // What a technician says for kilohms and megohms is "k" and "meg", and only that is in the strict grammar.
        let grammar = if unit.heard().is_empty() || unit.heard() == word {
            "numbers"
        } else {
            "all"
        };
        let takes_sign = ["degC", "%", "V", "mV", "deg", "none"].contains(&unit.id());
        let many = if std::env::var_os("SAYBACK_LONG").is_some() {
            values.len()
        } else {
            3
        };
        for step in 0..many {
            let value = values[(at * 5 + step) % values.len()];
            if value.starts_with('-') && !takes_sign {
                continue;
            }
            all.push((read_back(&value.parse().unwrap(), &unit), grammar));
        }
    }
    for proword in [
        "affirm",
        "negative",
        "say again",
        "stand by",
        "correction",
        "go ahead",
        "disregard",
        "read back",
        "stop",
        "roger",
        "unable",
    ] {
        all.push((proword.to_owned(), "commands"));
    }
    all
}

#[test]
fn what_sayback_says_sayback_understands() {
    let cache = Path::new(env!("CARGO_TARGET_TMPDIR")).join("ear");
    let mut ear = Ear::open_in(&ModelChoice::BuiltIn, &cache).expect("the built-in model opens");
    let all = utterances();
    let mut wrong = Vec::new();
    for (text, grammar) in &all {
        let heard = heard(&mut ear, &format!("{text}."), grammar);
        if heard != *text {
            wrong.push(format!("{text} -> {heard}"));
        }
    }
    let rate = 1.0 - wrong.len() as f64 / all.len() as f64;
    println!(
        "HEARD {} of {} ({:.1} %): {wrong:#?}",
        all.len() - wrong.len(),
        all.len(),
        rate * 100.0
    );
    assert!(all.len() > 35 && rate >= FLOOR, "{rate}: {wrong:#?}");
}

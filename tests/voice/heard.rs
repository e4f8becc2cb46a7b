//! What Sayback says, Sayback understands: planned and mixed as for the loudspeaker, given to the ear.

use std::path::Path;

use sayback::edge::ear::{Ear, ModelChoice};
use sayback::edge::voice::render::resample;
use sayback::spoken::{
    CommandSet, Slot, WordGraph, can_be_heard, listening, named_listening, named_slot, number_slot,
    parse, read_back, units,
};

use super::said;

/// The least share of utterances that must be heard; of the long form 140 of 141 are (99.3 %), of
/// the short one 38 of 39 were with the ears before these. A wrong one is never allowed.
const FLOOR: f64 = 0.97;

fn heard(ear: &mut Ear, text: &str, graph: &WordGraph) -> String {
    // Through 48000 samples a second, as most loudspeakers play, and back to what a microphone gives.
    let sound = resample(&said(text, 48_000), 48_000, 16_000);
    let mut samples = vec![0_i16; 8_000];
    #[expect(
        clippy::cast_possible_truncation,
        reason = "within plus and minus 20000"
    )]
    samples.extend(sound.iter().map(|s| (s * 20_000.0) as i16));
    samples.extend(vec![0; 16_000]);
    let mut listener = ear.listen(graph, 16_000).unwrap();
    for piece in samples.chunks(1_600) {
        if let Some(heard) = listener.accept(piece).unwrap() {
            return heard.phrase();
        }
    }
    listener.finish().unwrap().phrase()
}

/// Values over every unit, each with what a question with that unit listens for; then the prowords.
fn utterances() -> Vec<(String, WordGraph, Slot)> {
    let values = [
        "0", "4.02", "12.00", "-3.5", "512", "1869", "0.57", "7.1", "19.99", "100", "-40", "63.8",
        "1", "-1",
    ];
    let mut all = Vec::new();
    for (at, unit) in units().enumerate() {
        let word = unit.spoken(&"2".parse().unwrap());
        if !word.split(' ').all(can_be_heard) {
            println!("SKIPPED: {word}: not heard again, since the ear has no sound for it");
            continue;
        }
        let takes_sign = ["degC", "%", "V", "mV", "deg", "none"].contains(&unit.id());
        let low = if takes_sign { -2_000 } else { 0 };
        let slot = number_slot("said", &unit, low.into(), 2_000.into(), &[]);
        let graph = listening(&slot, CommandSet::All);
        let many = if std::env::var_os("SAYBACK_LONG").is_some() {
            values.len()
        } else {
            3
        };
        for step in 0..many {
            let value = values[(at * 5 + step) % values.len()];
            let text = read_back(&value.parse().unwrap(), &unit);
            // The single form is heard as the other: "one volt" as "one volts".
            let one = unit.spoken(&"1".parse().unwrap());
            let listened = match text.strip_suffix(one) {
                Some(digits) if !one.is_empty() => format!("{digits}{word}"),
                _ => text.clone(),
            };
            // What no question listens for is not asked of the ear: a sign where none can be, more
            // decimals than the display has, one digit and "ohms" (tests/spoken/listening.rs).
            if word.is_empty() || graph.accepts(&listened.split(' ').collect::<Vec<_>>()) {
                all.push((text, graph.clone(), slot.clone()));
            }
        }
    }
    let commands = named_listening("commands").unwrap();
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
        let slot = named_slot("YN").unwrap();
        all.push((proword.to_owned(), commands.clone(), slot));
    }
    all
}

#[test]
fn what_sayback_says_sayback_understands() {
    let cache = Path::new(env!("CARGO_TARGET_TMPDIR")).join("ear");
    let mut ear = Ear::open_in(&ModelChoice::BuiltIn, &cache).expect("the built-in model opens");
    let all = utterances();
    let (mut asked_again, mut wrong) = (Vec::new(), Vec::new());
    for (text, graph, slot) in &all {
        let heard = heard(&mut ear, &format!("{text}."), graph);
        if heard.is_empty() {
            asked_again.push(text.clone());
        } else if parse(slot, &heard).meaning != parse(slot, text).meaning {
            wrong.push(format!("{text} -> {heard}"));
        }
    }
    let right = all.len() - wrong.len() - asked_again.len();
    let rate = right as f64 / all.len() as f64;
    println!(
        "HEARD {right} of {} ({:.1} %); not understood {asked_again:#?}; wrong {wrong:#?}",
        all.len(),
        rate * 100.0
    );
    assert!(
        all.len() > 35 && rate >= FLOOR && wrong.is_empty(),
        "{rate}: not understood {asked_again:#?}, wrong {wrong:#?}"
    );
}

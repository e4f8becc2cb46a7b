//! What the recogniser listens for.

use std::collections::BTreeSet;

use rust_decimal::Decimal;
use sayback::spoken::{
    ChoiceOption, CommandSet, Expect, Slot, SlotKind, WordGraph, can_be_heard, listening,
    named_listening, named_slot, named_slots, number_slot, parse, read_back, units,
};

const VOCABULARY: &str = include_str!("../../grammars/vocabulary.txt");
const NAMED: [&str; 6] = ["all", "numbers", "digits", "yes-no", "tag", "commands"];

fn every_graph() -> Vec<(String, WordGraph)> {
    let mut graphs: Vec<(String, WordGraph)> = NAMED
        .iter()
        .map(|name| ((*name).to_owned(), named_listening(name).unwrap()))
        .collect();
    for slot in named_slots() {
        for commands in [CommandSet::All, CommandSet::Few] {
            graphs.push((slot.name.clone(), listening(slot, commands)));
        }
    }
    graphs
}

#[test]
fn only_words_of_the_vocabulary() {
    let vocabulary: BTreeSet<&str> = VOCABULARY.split_whitespace().collect();
    for (name, graph) in every_graph() {
        let strange: Vec<&str> = graph
            .words()
            .into_iter()
            // What Sayback says back, and the dictionary has a sound for.
            .filter(|word| !vocabulary.contains(word))
            .filter(|word| *word != "celsius")
            .collect();
        assert!(strange.is_empty(), "{name}: {strange:?}");
        assert!(graph.words().len() >= 2, "{name} hears nothing");
    }
}

#[test]
fn no_loop_without_a_word_and_no_state_out_of_bounds() {
    for (name, graph) in every_graph() {
        assert!(
            graph
                .arcs
                .iter()
                .all(|arc| arc.from < graph.states && arc.to < graph.states),
            "{name}"
        );
        assert!(
            graph.finals.iter().all(|state| *state < graph.states) && graph.start < graph.states,
            "{name}"
        );
        for first in 0..graph.states {
            let (mut seen, mut waiting) = (BTreeSet::new(), vec![first]);
            while let Some(state) = waiting.pop() {
                for arc in graph
                    .arcs
                    .iter()
                    .filter(|arc| arc.word.is_none() && arc.from == state)
                {
                    assert_ne!(arc.to, first, "{name}: a loop without a word at {first}");
                    if seen.insert(arc.to) {
                        waiting.push(arc.to);
                    }
                }
            }
        }
        assert!(!graph.accepts(&[]), "{name} accepts silence");
    }
}

#[test]
fn oh_and_ohms_are_never_open_at_the_same_place() {
    for (name, graph) in every_graph() {
        if name == "all" {
            continue; // every word is open there on purpose
        }
        for open in graph.open_together() {
            assert!(
                !(open.contains("oh") && (open.contains("ohm") || open.contains("ohms"))),
                "{name}: {open:?}"
            );
            assert!(
                !(open.contains("oh") && open.contains("no")),
                "{name}: {open:?}"
            );
        }
    }
}

#[test]
fn every_sentence_heard_has_a_meaning_for_its_slot() {
    for slot in named_slots() {
        let graph = listening(slot, CommandSet::All);
        let sentences = graph.sentences(1500, 7);
        assert_eq!(sentences.len(), 1500, "{}", slot.name);
        for sentence in sentences {
            let decision = parse(slot, &sentence);
            // A number outside the slot, or one that only fits with a point, is understood and asked again.
            let understood = decision.expect != Expect::Reject || !decision.candidates.is_empty();
            assert!(understood, "{}: {sentence:?} {}", slot.name, decision.why);
            assert!(
                graph.accepts(&sentence.split(' ').collect::<Vec<_>>()),
                "{}: {sentence}",
                slot.name
            );
        }
    }
}

#[test]
fn every_live_command_is_a_command_everywhere() {
    for sentence in named_listening("commands").unwrap().sentences(2000, 3) {
        for slot in named_slots() {
            assert_eq!(
                parse(slot, &sentence).expect,
                Expect::Command,
                "{}: {sentence}",
                slot.name
            );
        }
    }
}

#[test]
fn what_is_taught_is_heard() {
    let heard = |slot: &str, phrase: &str| {
        let graph = listening(&named_slot(slot).unwrap(), CommandSet::Few);
        graph.accepts(&phrase.split(' ').collect::<Vec<_>>())
    };
    for (slot, phrase) in [
        ("MA", "four point zero two"),
        ("MA", "one two decimal zero one milliamps"),
        ("MA", "four point oh two"),
        ("MA", "twelve point double zero"),
        ("MA", "no reading"),
        ("MA", "correction"),
        ("R1K", "five one two ohms"),
        ("R1K", "five oh two"),
        ("R1K", "five double oh"),
        ("R1K", "five hundred and twelve"),
        ("R1K", "zero point five one two k"),
        ("R1K", "one point zero four k"),
        ("R1K", "zero ohms"),
        ("R1K", "open circuit"),
        ("R10K", "ten k"),
        ("R10K", "one zero point one k"),
        ("R10K", "nine thousand eight hundred and sixty one ohms"),
        ("R135", "sixty seven point five"),
        ("TC", "minus five degrees"),
        ("SEC", "one five point two seconds"),
        ("SEC", "two minutes"),
        ("IR", "two hundred meg"),
        ("IR", "infinity"),
        ("PSET", "fifty percent"),
        ("PSET", "seven five"),
        ("PSET", "fifteen percent"),
        ("YN", "affirm"),
        ("POS", "closed"),
        ("TAG", "foxtrot victor two zero one bravo"),
        ("VAC", "one one five volts"),
        ("AMP", "one point two amps"),
        ("VDC", "stop"),
    ] {
        assert!(heard(slot, phrase), "{slot}: {phrase}");
    }
    for (slot, phrase) in [
        ("MA", "five ohms"),
        ("MA", "one point zero four k"),
        ("MA", "minus four"),
        ("MA", "one two three four"),
        ("R135", "one zero zero zero"),
        ("R1K", "open"),
        ("DEG", "open circuit"),
        ("YN", "five"),
        ("MA", "oh"),
        ("PSET", "thirty percent"),
        ("MA", "help"),
    ] {
        assert!(!heard(slot, phrase), "{slot}: {phrase}");
    }
}

/// What Sayback says back, a question with that unit understands, word for word.
#[test]
fn what_is_said_back_is_listened_for_and_means_the_same() {
    let mut no_sound = BTreeSet::new();
    let mut checked = 0;
    for unit in units() {
        let slot = number_slot(
            "said back",
            &unit,
            Decimal::from(-20_000),
            Decimal::from(20_000),
            &[],
        );
        let graph = listening(&slot, CommandSet::All);
        for text in ["0", "1", "-1", "4", "-3.5", "12", "100", "512.5", "19999"] {
            let value: Decimal = text.parse().unwrap();
            let words = read_back(&value, &unit);
            let decision = parse(&slot, &words);
            assert_eq!(decision.value(), text, "{words}: {}", decision.why);
            // The single form is not listened for: the ear hears "one volt" as "one volts".
            let words = words.replace(unit.spoken(&Decimal::ONE), unit.spoken(&Decimal::TWO));
            let words = if unit.id() == "none" || text.trim_start_matches('-') != "1" {
                read_back(&value, &unit)
            } else {
                words
            };
            let words: Vec<&str> = words.split(' ').collect();
            let strange: Vec<&str> = words
                .iter()
                .copied()
                .filter(|word| !can_be_heard(word))
                .collect();
            if !strange.is_empty() {
                no_sound.extend(strange.into_iter().map(str::to_owned));
                continue;
            }
            // One digit and "ohms" sounds like one digit and "oh", the beginning of more digits:
            // there the digit alone is listened for.
            let one_digit = text.trim_start_matches('-').len() == 1 && text != "0";
            let wanted = if unit.id() == "ohm" && one_digit {
                assert!(!graph.accepts(&words), "{words:?}");
                &words[..words.len() - 1]
            } else {
                &words[..]
            };
            assert!(graph.accepts(wanted), "{} {words:?}", unit.id());
            checked += 1;
        }
    }
    assert!(checked > 100, "{checked}");
    // Neither the models nor the dictionary know how these are said.
    assert_eq!(
        no_sound.iter().map(String::as_str).collect::<Vec<_>>(),
        ["gigohms"]
    );
}

#[test]
fn the_named_graphs_are_what_they_say() {
    let accepts = |name: &str, phrase: &str| {
        named_listening(name)
            .unwrap()
            .accepts(&phrase.split(' ').collect::<Vec<_>>())
    };
    assert_eq!(
        named_listening("yes-no").unwrap().words(),
        BTreeSet::from(["yes", "no"])
    );
    for (name, phrase) in [
        (
            "digits",
            "one two three four five six seven eight nine oh zero",
        ),
        ("digits", "oh"),
        ("digits", "three point one four"),
        ("numbers", "four point zero two milliamps"),
        ("numbers", "minus twelve percent"),
        ("numbers", "one point zero four k"),
        ("numbers", "five hundred and twelve ohms"),
        ("tag", "mike oscar victor one zero four alpha"),
        ("commands", "radio check"),
        ("all", "wiper resistance papa nine drifting"),
        ("R1K", "five one two"),
    ] {
        assert!(accepts(name, phrase), "{name}: {phrase}");
    }
    assert!(!accepts("numbers", "yes") && !accepts("digits", "ten"));
    assert!(named_listening("no such graph").is_none());
    // The loose graph has every word of the vocabulary.
    assert_eq!(
        named_listening("all").unwrap().words(),
        VOCABULARY.split_whitespace().collect()
    );
}

#[test]
fn a_choice_hears_its_own_phrases() {
    let option = |id: &str, phrases: &[&str]| ChoiceOption {
        id: id.into(),
        phrases: phrases.iter().map(|p| (*p).to_owned()).collect(),
    };
    let slot = Slot {
        name: "side".into(),
        kind: SlotKind::Choice(vec![
            option("left", &["left"]),
            option("track", &["Wiper track", "nonsenseword"]),
        ]),
    };
    let graph = listening(&slot, CommandSet::Few);
    assert!(
        graph.accepts(&["wiper", "track"])
            && graph.accepts(&["left"])
            // The loader holds the words against the ear; here none is left out in silence.
            && graph.accepts(&["nonsenseword"])
    );
    let decision = parse(&slot, "wiper track");
    assert_eq!(
        (decision.expect, decision.value().as_str()),
        (Expect::Value, "track")
    );
    assert_eq!(parse(&slot, "right").expect, Expect::Ambiguous);
    assert_eq!(parse(&slot, "stop").value(), "STOP");
}

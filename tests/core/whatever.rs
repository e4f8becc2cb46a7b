//! Any sequence of events at all: what holds after each of them.

use proptest::prelude::*;
use sayback::core::record::{Body, Record};
use sayback::core::run::Saved;
use sayback::core::{Event, Key, Phase};
use sayback::job::Stage;

use super::{World, corrections};

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), ..ProptestConfig::default() })]

    #[test]
    fn whatever_happens(list in prop::collection::vec(acts(), 1..90)) {
        let mut world = World::new();
        for act in list {
            match act {
                Act::Hear(words) => world.hear(&words),
                Act::Key(key) => { world.now_ms += 300; world.give(Event::Key(key)); }
                Act::Line(text) => world.give(Event::Line(text)),
                Act::Late => world.give(Event::Heard { words: "affirm".into(), listen: 0, clip: None, damaged: false, level_db: None }),
                Act::Tick(ms) => { world.now_ms += ms; world.give(Event::Tick); }
                Act::Ear(true) => world.give(Event::EarBack),
                Act::Ear(false) => world.give(Event::EarLost { why: "gone".into() }),
                Act::Full(full) => world.disk_full = full,
            }
        }
        // The run is the fold of its records.
        let job = world.job();
        let Body::Started(started) = world.records[0].body.clone() else { unreachable!() };
        let mut folded = Saved::new(&job, started);
        for record in &world.records[1..] {
            folded.apply(&job, record);
        }
        prop_assert_eq!(&folded, &world.run.saved);
        // As found is frozen: after that only corrections that name what they correct.
        let frozen = world.records.iter().position(|record| matches!(record.body, Body::AsFoundFrozen { .. }));
        for record in world.records.iter().skip(frozen.unwrap_or(world.records.len())) {
            if let Body::Answered(answer) = &record.body {
                prop_assert!(answer.stage != Stage::AsFound || answer.corrects.is_some());
            }
        }
        // No question stands while a finding that the run is past was worked out from a value put right since.
        if world.run.live.phase == Phase::Asking {
            prop_assert!(corrections::left_standing(&world).is_none());
        }
        // What was lifted must be restored before the job closes as complete.
        if world.records.iter().any(|record| matches!(record.body, Body::Closed { .. })) {
            prop_assert!(world.run.saved.outstanding.is_empty());
        }
        // Records survive the journal.
        for record in &world.records {
            let text = serde_json::to_string(record).unwrap();
            let back: Record = serde_json::from_str(&text).unwrap();
            prop_assert_eq!(&back, record);
        }
    }
}

fn phrases() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("affirm".to_owned()),
        Just("yes".to_owned()),
        Just("negative".to_owned()),
        prop::sample::select(vec![
            "done",
            "next",
            "roger",
            "correction",
            "go back",
            "skip",
            "undo",
            "stop",
            "go ahead",
            "stand by",
            "note",
            "one",
            "two",
            "three",
            "five one two",
            "one zero one three ohms",
            "five zero six",
            "zero",
            "o l",
            "five hundred and fifteen",
            "twelve",
            "one two point zero",
            "fifty percent",
            "unable",
            "say again",
            "",
        ])
        .prop_map(str::to_owned),
    ]
}

#[derive(Clone, Debug)]
enum Act {
    Hear(String),
    Key(Key),
    Line(String),
    Late,
    Tick(u64),
    Full(bool),
    Ear(bool),
}

fn acts() -> impl Strategy<Value = Act> {
    prop_oneof![
        4 => phrases().prop_map(Act::Hear),
        4 => prop::sample::select(vec![
            Key::Enter, Key::Enter, Key::Digit(1), Key::Digit(5), Key::Digit(0), Key::Point, Key::Minus, Key::Plus,
            Key::Star, Key::Slash, Key::Erase, Key::Stop, Key::Letter('k'),
        ]).prop_map(Act::Key),
        2 => prop::sample::select(vec!["5l2", "512", "nope", "1", "0.0", "zz", "yes"]).prop_map(|text| Act::Line(text.to_owned())),
        1 => Just(Act::Late),
        1 => (0..9000_u64).prop_map(Act::Tick),
        1 => any::<bool>().prop_map(Act::Full),
        1 => any::<bool>().prop_map(Act::Ear),
    ]
}

fn cases() -> u32 {
    if std::env::var_os("SAYBACK_LONG").is_some() {
        100_000
    } else {
        120
    }
}

#[test]
fn the_core_and_the_calculations_name_no_edge() {
    let forbidden = [
        "std::fs",
        "std::net",
        "std::thread",
        "std::env",
        "Instant::now",
        "SystemTime",
        "crate::edge",
        "println!",
    ];
    for folder in [
        "src/core",
        "src/calc",
        "src/calc/finding",
        "src/spoken",
        "src/report",
        "src/history",
    ] {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
        for entry in std::fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_some_and(|end| end == "rs") {
                let text = std::fs::read_to_string(&path).unwrap();
                for word in forbidden {
                    assert!(!text.contains(word), "{} names {word}", path.display());
                }
            }
        }
    }
}

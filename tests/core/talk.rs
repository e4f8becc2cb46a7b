//! A yes among the talk of others.

use sayback::core::{Event, Phase};

use super::World;

const WANTED: &str = "Affirm or negative is wanted. Enter keeps it.";

/// Somebody who says that nobody else talks near the microphone.
fn alone() -> World {
    let mut world = World::new();
    world.run.live.microphone.alone = true;
    world
}

fn read_back() -> World {
    let mut world = alone();
    world.keys("yes");
    world.hear("three one percent");
    assert!(matches!(world.run.live.phase, Phase::Confirming(_)));
    world
}

/// Sound that is speech, and no answer.
fn talk(world: &mut World) {
    let listen = world.run.live.listen;
    world.give(Event::Heard {
        words: String::new(),
        listen,
        clip: None,
        damaged: false,
        level_db: None,
    });
}

#[test]
fn once_talk_was_heard_a_yes_keeps_nothing_and_affirm_does() {
    for (yes, kept) in [("yes", false), ("affirm", true), ("affirmative", true)] {
        let mut world = read_back();
        talk(&mut world);
        world.hear(yes);
        assert_eq!(world.kept().len(), if kept { 2 } else { 1 }, "{yes}");
        if !kept {
            assert_eq!(world.said.last().unwrap(), WANTED);
            assert!(matches!(world.run.live.phase, Phase::Confirming(_)));
            // It stays so until the value is kept or dropped; Enter and affirm keep it.
            world.hear("yes");
            assert_eq!(world.kept().len(), 1);
            world.hear("affirm");
            assert_eq!(world.kept().len(), 2);
        }
    }
}

#[test]
fn talk_before_a_value_is_read_back_does_not_count_against_its_yes() {
    let mut world = alone();
    world.keys("yes");
    talk(&mut world);
    world.hear("three one percent");
    world.hear("yes");
    assert_eq!(world.kept().len(), 2);
}

#[test]
fn a_no_and_the_enter_key_need_no_affirm() {
    let mut world = read_back();
    talk(&mut world);
    world.hear("no");
    assert_eq!(world.run.live.phase, Phase::Asking);
    let mut world = read_back();
    talk(&mut world);
    world.keys("yes");
    assert_eq!(world.kept().len(), 2);
}

#[test]
fn a_yes_keeps_no_value_unless_somebody_is_alone() {
    let mut world = read_back();
    world.run.live.microphone.alone = false;
    world.hear("yes");
    assert_eq!(world.said.last().unwrap(), WANTED);
    assert_eq!(world.kept().len(), 1);
    world.hear("affirm");
    assert_eq!(world.kept().len(), 2);
}

const INSTRUCTION: &str = r#"
format = 1
id = "talk"
title = "Talk"
purpose = "Has one thing done."
applies-to = "Tests."

[[step]]
id = "pull"
title = "Pull"
ask = "Pull the plug of the potentiometer."
stage = "as-found"
kind = "instruction"
"#;

#[test]
fn an_instruction_ends_by_affirm_and_by_done_where_somebody_is_alone() {
    for (alone, words, done) in [
        (true, "done", true),
        (true, "next", true),
        (true, "yes", true),
        (false, "done", false),
        (false, "next", false),
        (false, "yes", false),
        (false, "affirm", true),
    ] {
        let mut world = World::of(INSTRUCTION, "");
        world.run.live.microphone.alone = alone;
        world.hear(words);
        assert_eq!(world.kept().len(), usize::from(done), "{words}");
        if !done {
            assert_eq!(world.said.last().unwrap(), "Done: affirm or negative?");
            world.hear("negative");
            assert_eq!(world.said.last().unwrap(), "Nothing was stored.");
            assert_eq!(world.kept().len(), 0);
            world.hear(words);
            world.hear("affirm");
            assert_eq!(world.kept().len(), 1);
        }
    }
}

#[test]
fn a_finding_that_wants_attention_is_passed_by_affirm() {
    for word in ["next", "yes", "go ahead"] {
        for alone in [false, true] {
            let mut world = World::new();
            world.run.live.microphone.alone = alone;
            for line in [
                "yes", "31", "12.02", "", "yes", "yes", "yes", "yes", "yes", "", "24.1", "0.00",
                "24.1",
            ] {
                world.keys(line);
            }
            let told = world.run.live.message.text.clone();
            world.hear(word);
            assert_eq!(world.run.live.phase == Phase::Telling, !alone, "{word}");
            if !alone {
                assert_eq!(world.said.last().unwrap(), "Next: affirm or negative?");
                assert_eq!(world.run.live.message.text, told);
                world.hear("affirm");
                assert_ne!(world.run.live.phase, Phase::Telling, "{word}");
            }
        }
    }
}

const OTHERS: &str = r#"
format = 1
id = "talk"
title = "Talk"
purpose = "Has a memo, a hold and a reading that is kept."
applies-to = "Tests."

[[step]]
id = "look"
title = "Look"
ask = "Look at the plate."
stage = "as-found"
kind = "memo"

[[step]]
id = "see"
title = "See"
ask = "What does the meter show?"
stage = "as-found"
kind = "reading"
unit = "ohm"
expect = ["0", "1000"]

[[step]]
id = "hold-it"
title = "Hold"
ask = "Hold it."
stage = "as-found"
kind = "hold"
seconds = "4"
"#;

#[test]
fn a_memo_a_hold_and_a_value_that_is_known_are_passed_by_affirm() {
    let mut world = World::of(OTHERS, "");
    let at = |world: &World| serde_json::to_string(&world.run.saved.cursor).unwrap();
    let passes = |world: &mut World, word: &str, asked: &str, moved: fn(&World, &str) -> bool| {
        let before = at(world);
        world.hear(word);
        assert_eq!(world.said.last().unwrap(), asked);
        assert!(!moved(world, &before), "{asked}");
        world.hear("affirm");
        assert!(moved(world, &before), "{asked}");
    };
    let elsewhere: fn(&World, &str) -> bool =
        |world, before| serde_json::to_string(&world.run.saved.cursor).unwrap() != before;
    passes(&mut world, "next", "Next: affirm or negative?", elsewhere);
    world.hear("five one two");
    world.hear("affirm");
    world.hear("go back");
    assert_eq!(world.kept().len(), 1);
    passes(&mut world, "yes", "Keep it: affirm or negative?", elsewhere);
    passes(
        &mut world,
        "yes",
        "Hold: affirm or negative?",
        |world, _| matches!(world.run.live.phase, Phase::Holding { .. }),
    );
}

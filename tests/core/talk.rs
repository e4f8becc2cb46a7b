//! A yes among the talk of others.

use sayback::core::{Event, Phase};

use super::World;

const WANTED: &str = "Affirm or negative is wanted. Enter keeps it.";

fn read_back() -> World {
    let mut world = World::new();
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
    let mut world = World::new();
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
fn where_others_are_known_to_talk_a_yes_never_keeps_a_value() {
    let mut world = read_back();
    world.run.live.microphone.others_talk = true;
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
fn where_others_are_known_to_talk_an_instruction_ends_by_affirm() {
    for (others_talk, words, done) in [
        (false, "done", true),
        (true, "done", false),
        (true, "next", false),
        (true, "yes", false),
        (true, "affirm", true),
    ] {
        let mut world = World::of(INSTRUCTION, "");
        world.run.live.microphone.others_talk = others_talk;
        world.hear(words);
        assert_eq!(world.kept().len(), usize::from(done), "{words}");
    }
}

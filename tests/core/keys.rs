//! Keys and typed lines.

use sayback::core::record::{Body, Channel, Value};
use sayback::core::{Effect, Event, Key, Phase, Stamp, step, view};
use sayback::job::built_in;

use super::{SHEET, World, wall};

#[test]
fn a_bounce_is_dropped() {
    let mut world = World::new();
    world.give(Event::Key(Key::Enter));
    world.now_ms += 60;
    world.give(Event::Key(Key::Enter));
    assert_eq!(world.kept().len(), 1);
}

#[test]
fn no_sign_of_a_typed_answer_is_dropped() {
    for text in [
        "5l2.3", "5O.3", "5 2", "5+2", "5*2", "5/2", "1e1", "3x1", "5..2", "-", "3-1", "31 V",
    ] {
        let mut world = World::new();
        world.keys("yes");
        world.keys(text);
        assert_eq!(world.kept().len(), 1, "line {text}");
    }
    for text in ["5l2.3", "5O.3", "5 2", "5+2", "3x1", "3-1"] {
        let mut world = World::new();
        world.keys("yes");
        world.press(text);
        assert_eq!(world.kept().len(), 1, "keys {text}");
    }
}

#[test]
fn a_line_is_no_yes_to_a_read_back_and_no_number_of_a_list_by_its_last_figure() {
    let mut world = World::new();
    world.keys("yes");
    world.hear("three one percent");
    world.keys("nope");
    assert_eq!(world.kept().len(), 1);
    for line in [
        "31", "12.02", "", "yes", "yes", "yes", "yes", "yes", "", "0.00", "0.00", "0.00", "", "0.3",
    ] {
        world.keys(line);
    }
    let before = world.kept().len();
    world.keys("12");
    world.keys("9");
    assert_eq!(world.kept().len(), before);
    world.keys("2");
    assert_eq!(
        world.kept().last(),
        Some(&("valve-at".to_owned(), Value::Choice("mid".to_owned())))
    );
}

#[test]
fn the_channel_is_the_one_it_came_in_by() {
    let mut world = World::new();
    world.hear("note");
    world.hear("check wiper");
    let noted = world.records.iter().find_map(|record| match &record.body {
        Body::Noted { how, .. } => Some(how.channel),
        _ => None,
    });
    assert_eq!(noted, Some(Channel::Voice));
    let mut world = World::with_sheet(&SHEET.replace("ohm-meter-id = \"M7\"\n", ""));
    world.hear("skip");
    let plate = world.records.iter().find_map(|record| match &record.body {
        Body::Plate { how, .. } => Some(how.clone()),
        _ => None,
    });
    let how = plate.expect("the meter's number is unknown now");
    assert_eq!((how.channel, how.heard.as_str()), (Channel::Voice, "skip"));
}

#[test]
fn go_ahead_leaves_the_menu() {
    let mut world = World::new();
    world.keys("/");
    assert_eq!(world.run.live.phase, Phase::Menu);
    world.hear("go ahead");
    assert_eq!(world.run.live.phase, Phase::Asking);
}

/// The talk key: one press opens, one closes; what was said before the close is still an answer,
/// and while it is closed nothing is listened for, whatever is asked.
#[test]
fn the_talk_key_opens_and_closes_the_microphone() {
    let mut world = World::of(built_in::text("meter-check").unwrap(), "");
    let press = |world: &mut World, key: Key| {
        world.now_ms += 400;
        let at = Stamp {
            mono_ms: world.now_ms,
            wall: wall(world.now_ms),
        };
        step(&mut world.run, Event::Key(key), at)
    };
    let listens = |effects: &[Effect]| {
        effects
            .iter()
            .any(|one| matches!(one, Effect::Listen { .. }))
    };
    // Without an ear there is nothing to open, and it is said.
    assert!(!listens(&press(&mut world, Key::Talk)));
    assert!(view(&world.run).message.contains("by keypad"));
    world.run.live.ear = sayback::core::EarState::Open;
    assert_eq!(view(&world.run).ear, "mic: OPEN");
    let number = world.run.live.listen;
    assert_eq!(press(&mut world, Key::Talk), [Effect::CloseEar]);
    assert_eq!(
        world.run.live.listen, number,
        "the utterance that it ends is still an answer"
    );
    assert_eq!(view(&world.run).ear, "mic: CLOSED, Tab opens it");
    // Another question: a new number, and nobody listens for it.
    let effects = press(&mut world, Key::Slash);
    assert!(!listens(&effects) && world.run.live.listen > number);
    let opened = press(&mut world, Key::Talk);
    assert!(listens(&opened));
    assert_eq!(view(&world.run).ear, "mic: OPEN");
    // Pressed twice within the time of a bounce it is pressed once.
    world.now_ms += 400;
    let at = Stamp {
        mono_ms: world.now_ms,
        wall: wall(world.now_ms),
    };
    let _ = step(&mut world.run, Event::Key(Key::Talk), at);
    let _ = step(&mut world.run, Event::Key(Key::Talk), at);
    assert!(world.run.live.microphone.closed);
}

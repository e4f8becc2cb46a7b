//! Who relays the readings, said or typed while the job runs.

use sayback::core::record::{Body, Channel, Value};
use sayback::core::{Event, Key, Phase, view};

use super::World;

/// Each kept reading with who relayed it.
fn relayed(world: &World) -> Vec<(String, Option<String>)> {
    let answers = world
        .records
        .iter()
        .filter_map(|record| match &record.body {
            Body::Answered(answer) if matches!(answer.value, Value::Number { .. }) => {
                Some((answer.step.clone(), answer.how.relayed_by.clone()))
            }
            _ => None,
        });
    answers.collect()
}

fn said_by(world: &World) -> Vec<Option<String>> {
    relayed(world).into_iter().map(|(_, by)| by).collect()
}

#[test]
fn by_voice_it_is_spelled_read_back_and_holds_from_then_on() {
    let mut world = World::new();
    world.keys("yes");
    world.hear("reading by radio");
    assert_eq!(world.run.live.phase, Phase::Relaying(None));
    world.hear("golf romeo");
    assert_eq!(
        world.said.last().unwrap(),
        "Relayed by golf romeo. Affirm or negative?"
    );
    world.hear("negative");
    assert_eq!(world.run.saved.relayed_by, None, "not without a yes");
    world.hear("golf romeo");
    for no_yes in ["roger", "", "five one"] {
        world.hear(no_yes);
        assert_eq!(world.run.saved.relayed_by, None, "{no_yes} is no yes");
    }
    world.hear("golf romeo");
    world.hear("affirm");
    assert_eq!(world.run.saved.relayed_by.as_deref(), Some("GR"));
    assert!(view(&world.run).place.ends_with(", relayed by GR"));
    // The question that was open is asked again. Typed or said, it is the partner's reading.
    world.keys("31");
    world.hear("four point zero zero milliamps");
    world.hear("affirm");
    let by = Some("GR".to_owned());
    assert_eq!(said_by(&world), [by.clone(), by]);
    let kept = world.records.iter().find_map(|record| match &record.body {
        Body::Relayed { by, how } => Some((by.clone(), how.channel, how.heard.clone())),
        _ => None,
    });
    assert_eq!(
        kept,
        Some((
            Some("GR".to_owned()),
            Channel::Voice,
            "golf romeo".to_owned()
        ))
    );
}

#[test]
fn by_key_it_is_typed_and_taken_back() {
    let mut world = World::new();
    world.keys("yes");
    // The menu, its plus key, 07 and 18: G and R.
    world.give(Event::Key(Key::Slash));
    world.now_ms += 400;
    world.give(Event::Key(Key::Plus));
    assert_eq!(world.run.live.phase, Phase::Relaying(None));
    for digit in [0, 7, 1, 8] {
        world.now_ms += 400;
        world.give(Event::Key(Key::Digit(digit)));
    }
    assert_eq!(view(&world.run).big, "GR");
    world.now_ms += 400;
    world.give(Event::Key(Key::Enter));
    assert_eq!(world.run.saved.relayed_by.as_deref(), Some("GR"));
    world.keys("31");
    assert_eq!(said_by(&world), [Some("GR".to_owned())]);
    // A menu that is left by its own key changes nothing.
    for key in [Key::Slash, Key::Plus, Key::Slash] {
        world.now_ms += 400;
        world.give(Event::Key(key));
    }
    assert_eq!(world.run.saved.relayed_by.as_deref(), Some("GR"));
    for key in [Key::Slash, Key::Plus, Key::Minus] {
        world.now_ms += 400;
        world.give(Event::Key(key));
    }
    assert_eq!(world.run.saved.relayed_by, None);
    world.hear("four point zero zero milliamps");
    world.hear("affirm");
    assert_eq!(said_by(&world), [Some("GR".to_owned()), None]);
}

#[test]
fn a_line_gives_a_whole_name_and_half_a_letter_is_none() {
    let mut world = World::new();
    world.keys("yes");
    world.give(Event::Key(Key::Slash));
    world.give(Event::Line("+".to_owned()));
    assert_eq!(world.run.live.phase, Phase::Relaying(None));
    world.give(Event::Line("G. R.".to_owned()));
    assert_eq!(world.run.saved.relayed_by.as_deref(), Some("G. R."));
    for key in [Key::Slash, Key::Plus, Key::Digit(0), Key::Enter] {
        world.now_ms += 400;
        world.give(Event::Key(key));
    }
    assert_eq!(
        world.run.live.phase,
        Phase::Relaying(None),
        "the second figure is wanted"
    );
    assert_eq!(world.run.saved.relayed_by.as_deref(), Some("G. R."));
}

/// Saying yes or no to a gate is the technician's own word, whoever relays the readings.
#[test]
fn a_gate_is_nobody_elses_word() {
    let mut world = World::new();
    world.hear("reading by radio");
    world.hear("golf romeo");
    world.hear("affirm");
    world.hear("yes");
    world.hear("affirm");
    let gate = world.records.iter().find_map(|record| match &record.body {
        Body::Answered(answer) if answer.value == Value::Yes => Some(answer.how.clone()),
        _ => None,
    });
    assert_eq!(gate.expect("the gate is answered").relayed_by, None);
}

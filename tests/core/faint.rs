//! A yes that is much fainter than the value: somebody else may have said it, from further away.

use sayback::core::Phase;

use super::World;

fn read_back(value_db: Option<f32>) -> World {
    let mut world = World::new();
    world.keys("yes");
    world.hear_at("three one percent", value_db);
    assert!(matches!(world.run.live.phase, Phase::Confirming(_)));
    world
}

#[test]
fn a_yes_far_fainter_than_the_value_keeps_nothing_and_is_asked_for_again() {
    let mut world = read_back(Some(-20.0));
    for stranger in [-30.1, -45.0, -96.0] {
        world.hear_at("affirm", Some(stranger));
        assert_eq!(world.kept().len(), 1, "{stranger} dB");
        assert!(matches!(world.run.live.phase, Phase::Confirming(_)));
        assert_eq!(
            world.said.last().unwrap(),
            "Fainter than the value. Affirm or negative?"
        );
    }
    // The value still stands there, and the one who said it can still affirm it.
    world.hear_at("affirm", Some(-27.0));
    assert_eq!(world.kept().len(), 2);
}

#[test]
fn a_faint_no_is_a_no_and_enter_needs_no_level() {
    let mut world = read_back(Some(-20.0));
    world.hear_at("negative", Some(-60.0));
    assert_eq!(world.run.live.phase, Phase::Asking);
    assert_eq!(world.kept().len(), 1);
    let mut world = read_back(Some(-20.0));
    world.hear_at("affirm", Some(-60.0));
    world.keys("yes");
    assert_eq!(world.kept().len(), 2, "Enter keeps it");
}

#[test]
fn where_a_level_is_not_known_the_words_alone_count() {
    for (value, yes) in [(None, Some(-60.0)), (Some(-20.0), None), (None, None)] {
        let mut world = read_back(value);
        world.hear_at("affirm", yes);
        assert_eq!(world.kept().len(), 2, "{value:?} {yes:?}");
    }
}

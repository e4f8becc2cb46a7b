//! A whole day on one question: nothing grows, and silence and noise decide nothing.

use sayback::core::record::Body;
use sayback::core::{Event, Key, Phase, view};

use super::{World, open_step};

#[test]
fn eight_hours_of_noise_and_wrong_keys_leave_the_run_as_it_was() {
    let mut world = World::new();
    world.keys("yes");
    let mut sizes = Vec::new();
    for hour in 0..8 {
        for minute in 0..60 {
            for words in ["", "roger", "five five five", "negative", "say again"] {
                world.hear(words);
            }
            world.keys("nope");
            for key in [Key::Plus, Key::Letter('x'), Key::Star, Key::Slash] {
                world.now_ms += 400;
                world.give(Event::Key(key));
            }
            world.hear("go ahead");
            world.give(Event::Tick);
            world.now_ms = 60_000 * (hour * 60 + minute + 1);
        }
        world.give(Event::EarLost { why: "gone".into() });
        world.give(Event::EarBack);
        assert_eq!(world.run.live.phase, Phase::Asking);
        assert_eq!(open_step(&world), "position-found");
        assert_eq!(world.kept().len(), 1);
        // All that is held in memory beside the saved records, written out.
        sizes.push(format!("{:?}{:?}", world.run.live, view(&world.run)).len());
    }
    let (least, most) = (sizes.iter().min().unwrap(), sizes.iter().max().unwrap());
    assert!(most - least < 64, "{sizes:?}");
    let trail = world.run.saved.trail.len();
    assert!(trail <= 2, "{trail}");
    // Two records an hour, of the microphone, and nothing else but the start and the yes.
    let others = world.records.iter().skip(2);
    assert!(
        others
            .clone()
            .all(|record| matches!(record.body, Body::Microphone { .. }))
    );
    assert_eq!(others.count(), 16);
}

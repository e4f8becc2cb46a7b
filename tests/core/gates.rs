//! Gates, options and early ends: where a job leads, and what blocks it.

use sayback::core::record::{Body, Value};
use sayback::core::{Event, Phase, Run, view};

use super::{World, at_the_resistances, open_step, proved_dead};

#[test]
fn a_gate_is_never_skipped_and_no_blocks() {
    let mut world = World::new();
    world.hear("skip");
    assert!(matches!(world.run.live.phase, Phase::Asking));
    world.keys("no");
    world.keys("");
    let gates: Vec<_> = world
        .kept()
        .into_iter()
        .filter(|(step, _)| step == "permit-open")
        .collect();
    assert_eq!(
        gates
            .iter()
            .map(|(_, value)| value.clone())
            .collect::<Vec<_>>(),
        [Value::No, Value::Yes]
    );
}

#[test]
fn what_is_no_answer_is_never_a_yes_to_a_gate() {
    for text in [
        "nope", "no way", "5", "yes no", "maybe", "512", "y e s", "-no", "n o",
    ] {
        let mut world = World::new();
        world.keys(text);
        assert_eq!(world.kept(), [], "line {text}");
    }
    for text in ["nope", "5", "x", "yes"] {
        let mut world = World::new();
        world.press(text);
        assert_eq!(world.kept(), [], "keys {text}");
    }
}

#[test]
fn live_volts_lead_back_to_isolation() {
    let mut world = World::new();
    for line in [
        "yes", "31", "12.02", "", "yes", "yes", "yes", "yes", "yes", "", "24.1", "0.00", "24.1",
    ] {
        world.keys(line);
    }
    assert!(matches!(world.run.live.phase, Phase::Telling));
    world.keys("");
    assert_eq!(
        world
            .run
            .saved
            .step(&world.job())
            .map(|(step, _)| step.id.as_str()),
        Some("isolated")
    );
}

#[test]
fn a_gate_that_is_corrected_to_no_blocks_there() {
    let mut world = proved_dead();
    assert_eq!(open_step(&world), "stored");
    world.keys("*");
    world.keys("no");
    world.keys("1");
    assert_eq!(world.kept().last(), Some(&("proved".to_owned(), Value::No)));
    assert_eq!(open_step(&world), "proved");
    world.keys("yes");
    assert_eq!(open_step(&world), "stored");
}

#[test]
fn waiting_for_a_part_leaves_it_isolated_and_begins_there_again() {
    let mut world = at_the_resistances();
    for line in ["OL", "512", "OL"] {
        if line == "OL" {
            for key in ["/ 4", "1"] {
                world.keys(key);
            }
            world.keys("");
        } else {
            world.keys(line);
        }
    }
    assert!(matches!(world.run.live.phase, Phase::Telling));
    world.keys("");
    assert_eq!(open_step(&world), "part");
    world.keys("2");
    assert_eq!(open_step(&world), "waiting");
    assert!(world.run.saved.outstanding.contains("potentiometer plug"));
    // Power is not given back on the way; when the part is here, isolation is asked again.
    world.keys("");
    assert_eq!(open_step(&world), "isolated");
    assert!(!world.kept().iter().any(|(step, _)| step == "power-back"));
}

#[test]
fn the_closed_end_method_has_its_own_way_to_the_end() {
    let mut world = at_the_resistances();
    for line in [
        "1013", "140.2", "873.1", "", "yes", "140.2", "873.1", "", "2",
    ] {
        world.keys(line);
    }
    assert_eq!(open_step(&world), "ce-closed");
    for line in ["", "", "", "12", "", "", "806", "", "12.5"] {
        world.keys(line);
    }
    assert_eq!(world.run.saved.findings["ce-judged"].verdict, "set");
    // Sweep, small move, and everything put back.
    for line in [
        "", "12", "806", "0", "", "410", "", "490", "", "", "yes", "", "12.01", "50.2", "yes", "",
    ] {
        world.keys(line);
    }
    assert_eq!(world.run.live.phase, Phase::Done, "{}", open_step(&world));
    assert_eq!(world.quit, Some(0));
    assert!(world.run.saved.outstanding.is_empty());
}

#[test]
fn an_option_leads_where_the_job_says() {
    let mut world = at_the_resistances();
    for line in [
        "1013", "140.2", "873.1", "", "yes", "140.2", "873.1", "", "2",
    ] {
        world.keys(line);
    }
    for line in [
        "", "", "", "12", "", "", "806", "", "12.5", "", "12", "806", "90", "",
    ] {
        world.keys(line);
    }
    assert_eq!(world.run.saved.findings["sweep"].verdict, "worn-spot");
    assert_eq!(open_step(&world), "worn");
    // "Leave it" goes on past waiting and replacing.
    world.keys("3");
    assert_eq!(open_step(&world), "move-to-mid");
}

#[test]
fn a_job_that_ends_early_closes_only_when_all_is_said_to_be_restored() {
    let mut world = at_the_resistances();
    for line in ["/ 8", "", "5"] {
        world.keys(line);
    }
    let lifted = world.run.saved.outstanding.clone();
    assert!(
        lifted.contains("potentiometer plug") && lifted.contains("cover"),
        "{lifted:?}"
    );
    assert!(
        !world
            .records
            .iter()
            .any(|record| matches!(record.body, Body::Closed { .. }))
    );
    // A no leaves it open, to be resumed.
    world.keys("no");
    assert_eq!(world.quit, Some(1));
    assert!(
        !world
            .records
            .iter()
            .any(|record| matches!(record.body, Body::Closed { .. }))
    );
    let mut world = World {
        run: Run::new(world.job(), world.run.saved.clone()),
        quit: None,
        ..world
    };
    world.give(Event::Begin);
    for _ in &lifted {
        assert!(view(&world.run).question.starts_with("Is it restored"));
        world.keys("yes");
    }
    let closed = world.records.last().map(|record| record.body.clone());
    assert_eq!(
        closed,
        Some(Body::Closed {
            complete: false,
            reason: Some("waiting for a part".into())
        })
    );
    assert!(world.run.saved.outstanding.is_empty());
}

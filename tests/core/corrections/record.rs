//! What the record says of a value put right and of an early end.

use sayback::core::record::Value;
use sayback::report::{self, State, Weight};

use super::super::{at_the_resistances, open_step};
use super::{at_loosen, put_right, record_of, told};

#[test]
fn the_record_shows_the_finding_from_the_value_put_right_and_what_it_was_before() {
    let mut world = at_loosen("410", "603");
    world.keys("");
    put_right(&mut world, "1013", "1");
    told(&mut world);
    let made = record_of(&world);
    let lines: Vec<_> = made
        .findings
        .iter()
        .filter(|finding| finding.step == "diagnosis")
        .collect();
    let [old, new] = lines.as_slice() else {
        panic!("{lines:#?}")
    };
    let correction = made.corrections.last().unwrap();
    assert_eq!(
        old.put_right.as_deref(),
        Some(
            format!(
                "Wiper to B, mid travel: 603 Ω was corrected to 1013 Ω [{}]",
                correction.seq
            )
            .as_str()
        )
    );
    assert_eq!(new.was.as_deref(), Some(old.verdict.as_str()));
    assert_ne!(new.verdict, old.verdict);
    assert!(made.findings.iter().all(|line| line.outdated.is_none()));
    let exception = |what: &str| made.exceptions.iter().find(|line| line.what == what);
    let again = exception("Worked out again after a correction: Track and wiper").unwrap();
    assert_eq!(again.weight, Weight::Watch);
    assert!(again.detail.contains(&old.verdict.replace('-', " ")));
    assert!(exception("Corrected after as-found readings were frozen: 603 Ω to 1013 Ω").is_some());
    let html = report::html(&made);
    assert!(html.contains("before a correction") && html.contains("before the correction: "));
    let csv = String::from_utf8(report::csv(&made).unwrap()).unwrap();
    assert!(csv.contains("before a correction"));
    assert!(report::text(&made).contains("before a correction: "));
    // Put right a second time: each result names the correction that came after it.
    put_right(&mut world, "612", "1");
    told(&mut world);
    let twice = record_of(&world);
    let named: Vec<&str> = twice
        .findings
        .iter()
        .filter(|finding| finding.step == "diagnosis")
        .filter_map(|finding| finding.put_right.as_deref())
        .collect();
    assert_eq!(
        named.len(),
        2,
        "{:#?}",
        world.records.iter().rev().take(6).collect::<Vec<_>>()
    );
    assert_eq!(open_step(&world), "turned");
    assert!(named[0].contains("603 Ω was corrected to 1013 Ω") && !named[0].contains("612"));
    assert!(named[1].contains("1013 Ω was corrected to 612 Ω") && !named[1].contains("603"));
    // An attempt that was done again for another reason is not called that.
    world.keys("300");
    world.keys("");
    world.keys("507");
    let made = record_of(&world);
    let turned: Vec<_> = made
        .findings
        .iter()
        .filter(|finding| finding.step == "centre-turned")
        .collect();
    assert_eq!(turned.len(), 2);
    assert!(
        turned
            .iter()
            .all(|line| line.put_right.is_none() && line.was.is_none())
    );
}

#[test]
fn an_early_end_stands_on_the_record_before_it_is_closed() {
    let mut world = at_the_resistances();
    for line in ["/ 8", "", "5"] {
        world.keys(line);
    }
    let made = record_of(&world);
    assert_eq!(
        (made.head.state, made.head.state_reason.as_deref()),
        (State::Ending, Some("waiting for a part"))
    );
    let told = |what: &str| {
        made.exceptions
            .iter()
            .find(|exception| exception.what == what)
            .map(|exception| (exception.weight, exception.detail.clone()))
    };
    assert_eq!(
        told("The job was ended early and is not closed"),
        Some((Weight::Bad, "waiting for a part".to_owned()))
    );
    assert_eq!(
        told("Not said to be restored"),
        Some((Weight::Bad, "cover; potentiometer plug; power".to_owned()))
    );
    let html = report::html(&made);
    assert!(html.contains("ENDED EARLY, NOT CLOSED") && html.contains("waiting for a part"));
    let text = report::text(&made);
    assert!(text.contains("ENDED EARLY, NOT CLOSED") && text.contains("waiting for a part"));
    for _ in 0..3 {
        world.keys("yes");
    }
    let made = record_of(&world);
    assert_eq!(
        (made.head.state, made.head.state_reason.as_deref()),
        (State::EndedEarly, Some("waiting for a part"))
    );
}

/// The value that a correction puts right is only ever the one that was given for it.
#[test]
fn the_old_value_and_the_reason_stay_in_the_journal() {
    let mut world = at_loosen("410", "603");
    put_right(&mut world, "612", "3");
    let values: Vec<String> = world
        .kept()
        .into_iter()
        .filter_map(|(step, value)| match value {
            Value::Number { value, .. } if step == "r-wb" => Some(value.to_string()),
            _ => None,
        })
        .collect();
    assert_eq!(values, ["603", "612"]);
    let side = record_of(&world);
    let pair = side
        .pairs
        .iter()
        .find(|pair| pair.measures == "wiper to B at mid travel")
        .unwrap();
    assert_eq!(pair.as_found.shown.as_deref(), Some("612 Ω"));
    assert_eq!(pair.as_found.replaced, ["603 Ω"]);
    assert!(pair.as_found.corrected_after_freeze);
}

//! Typed answers.

use sayback::spoken::{Expect, Meaning, named_slot, parse_keyed};

fn keyed(slot: &str, text: &str) -> String {
    let decision = parse_keyed(&named_slot(slot).unwrap(), text);
    assert!(!decision.why.is_empty());
    [
        decision.expect.code(),
        &decision.value(),
        decision.unit_id(),
    ]
    .into_iter()
    .filter(|part| !part.is_empty())
    .collect::<Vec<_>>()
    .join(" ")
}

#[test]
fn numbers_are_taken_exactly() {
    for (slot, text, want) in [
        ("MA", "4.02", "VALUE 4.02 mA"),
        ("MA", "4,00", "VALUE 4.00 mA"),
        ("MA", " 12 ", "VALUE 12 mA"),
        ("MA", "12.01 mA", "VALUE 12.01 mA"),
        ("MA", "0.012A", "VALUE 12 mA"),
        ("R1K", "512", "VALUE 512 ohm"),
        ("R1K", "1.04k", "VALUE 1040 ohm"),
        ("R1K", "0.512K", "VALUE 512 ohm"),
        ("R1K", "15", "VALUE 15 ohm"),
        ("R10K", "10.0805k", "VALUE 10080.5 ohm"),
        ("IR", "500", "VALUE 500 Mohm"),
        ("IR", "500k", "VALUE 0.500 Mohm"),
        ("TC", "-5", "VALUE -5 degC"),
        ("DEG", "90.0°", "VALUE 90.0 deg"),
        ("PSET", "75", "VALUE 75 %"),
        ("PCT", "99.8%", "VALUE 99.8 %"),
        ("SEC", "1.5min", "VALUE 90.0 s"),
        ("TAG", "fv-201b", "VALUE FV-201B"),
        ("ANY", "512.0", "VALUE 512.0"),
    ] {
        assert_eq!(keyed(slot, text), want, "{slot} {text}");
    }
}

#[test]
fn statuses_and_commands_are_typed_as_words() {
    for (slot, text, want) in [
        ("R1K", "OL", "STATUS OL"),
        ("R1K", "open", "STATUS OPEN"),
        ("R1K", "no reading", "STATUS NO_READING"),
        ("IR", ">200", "STATUS GT 200 Mohm"),
        ("IR", ">2 M", "STATUS GT 2 Mohm"),
        ("POS", "OPEN", "STATUS POS_OPEN"),
        ("YN", "yes", "COMMAND YES"),
        ("YN", "NO", "COMMAND NO"),
        ("MA", "stop", "COMMAND STOP"),
        ("MA", "say again", "COMMAND REPEAT_PROMPT"),
        ("MA", "correction", "COMMAND CORRECTION"),
    ] {
        assert_eq!(keyed(slot, text), want, "{slot} {text}");
    }
}

#[test]
fn everything_else_is_refused_with_a_fix() {
    let slots = ["MA", "R1K", "TC"];
    for text in [
        "",
        " ",
        "4..02",
        "4.0.2",
        "1,000.5",
        "1e3",
        "1E3",
        "4 02",
        "٤.٠٢",
        "４.０２",
        ".5",
        "5.",
        "-",
        "+4",
        "--4",
        "0x1F",
        "NaN",
        "inf",
        "4.02V",
        "4.02 volts",
        "½",
        "4.02 mA mA",
        "99999999999999999999999999999999",
        "1_000",
        "−5",
        "4\u{a0}02",
        "1/2",
        "k",
        "512Q",
        "4'02",
    ] {
        for slot in slots {
            let decision = parse_keyed(&named_slot(slot).unwrap(), text);
            assert_eq!(
                decision.expect,
                Expect::Reject,
                "{slot} {text:?} {}",
                decision.value()
            );
            assert!(
                decision.meaning.is_none()
                    && !decision.ask.is_empty()
                    && decision.outside.is_none(),
                "{slot} {text:?}"
            );
        }
    }
    assert_eq!(keyed("MA", "-4.00"), "REJECT");
    assert_eq!(keyed("MA", "open"), "REJECT");
    assert_eq!(keyed("MA", "1k"), "REJECT");
    assert_eq!(keyed("TAG", "FV 201"), "REJECT");
}

#[test]
fn out_of_range_may_be_kept_when_it_is_typed_again() {
    let decision = parse_keyed(&named_slot("R1K").unwrap(), "4.92k");
    assert_eq!(decision.expect, Expect::Reject);
    assert_eq!(
        decision.outside.map(|value| value.to_string()).as_deref(),
        Some("4920")
    );
    let decision = parse_keyed(&named_slot("PSET").unwrap(), "15");
    assert_eq!((decision.expect, decision.unit_id()), (Expect::Reject, "%"));
    assert!(!matches!(decision.meaning, Some(Meaning::Number(_))));
}

//! Rules that hold for every phrase and every value.

use proptest::prelude::*;
use rust_decimal::Decimal;
use sayback::spoken::{
    Command, Expect, Meaning, Slot, Status, Unit, named_slot, named_slots, number_slot, parse,
    parse_guesses, parse_keyed, read_back, spell, units,
};

fn wide(unit: Unit) -> Slot {
    number_slot(
        "wide",
        &unit,
        Decimal::from(-10_000_000_000_i64),
        Decimal::from(10_000_000_000_i64),
        &[],
    )
}

fn number(meaning: Option<&Meaning>) -> Option<String> {
    match meaning {
        Some(Meaning::Number(value)) => Some(value.to_string()),
        _ => None,
    }
}

#[test]
fn every_whole_number_below_100000_comes_back() {
    let ohm = sayback::spoken::unit("ohm").unwrap();
    let slot = wide(ohm);
    for whole in 0..100_000_u32 {
        let value = Decimal::from(whole);
        let words = read_back(&value, &ohm);
        let decision = parse(&slot, &words);
        assert_eq!(
            (decision.expect, decision.value()),
            (Expect::Value, whole.to_string()),
            "{words}"
        );
    }
}

#[test]
fn every_cardinal_below_10000_is_the_number_it_names() {
    const ONES: [&str; 20] = [
        "zero",
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
        "thirteen",
        "fourteen",
        "fifteen",
        "sixteen",
        "seventeen",
        "eighteen",
        "nineteen",
    ];
    const TENS: [&str; 10] = [
        "", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety",
    ];
    fn name(n: usize) -> String {
        match n {
            0..20 => ONES[n].to_owned(),
            20..100 if n.is_multiple_of(10) => TENS[n / 10].to_owned(),
            20..100 => format!("{} {}", TENS[n / 10], ONES[n % 10]),
            100..1000 if n.is_multiple_of(100) => format!("{} hundred", ONES[n / 100]),
            100..1000 => format!("{} hundred and {}", ONES[n / 100], name(n % 100)),
            _ if n.is_multiple_of(1000) => format!("{} thousand", name(n / 1000)),
            _ if n % 1000 < 100 => format!("{} thousand and {}", name(n / 1000), name(n % 1000)),
            _ => format!("{} thousand {}", name(n / 1000), name(n % 1000)),
        }
    }
    let ohm = sayback::spoken::unit("ohm").unwrap();
    let slot = wide(ohm);
    for n in 0..10_000 {
        let words = name(n);
        let decision = parse(&slot, &words);
        let last = words.rsplit(' ').next().unwrap();
        let twin = (last.ends_with("teen") || last.ends_with("ty")) && last != "twenty";
        let twin = twin || (n % 1000 == 0 && (n >= 13_000));
        let want = if twin { Expect::Confirm } else { Expect::Value };
        assert_eq!(
            (decision.expect, decision.value()),
            (want, n.to_string()),
            "{words}: {}",
            decision.why
        );
    }
}

#[test]
fn codes_read_back() {
    for command in Command::ALL {
        assert_eq!(Command::from_code(&command.code()), Some(*command));
    }
    for code in [
        "OL",
        "OPEN",
        "NO_READING",
        "SHORT",
        "UNSTABLE",
        "NOT_APPLICABLE",
        "UNABLE",
        "POS_OPEN",
        "POS_CLOSED",
        "POS_MID",
        "GT 200",
        "LT 0.50",
    ] {
        assert_eq!(Status::from_code(code).unwrap().code(), code);
    }
    assert_eq!(Status::from_code("GT x"), None);
}

#[test]
fn values_are_said_digit_by_digit() {
    let say = |text: &str, id: &str| {
        read_back(
            &Decimal::from_str_exact(text).unwrap(),
            &sayback::spoken::unit(id).unwrap(),
        )
    };
    assert_eq!(say("4.02", "mA"), "four point zero two milliamps");
    assert_eq!(say("1", "A"), "one amp");
    assert_eq!(say("1.0", "A"), "one point zero amps");
    assert_eq!(say("-12", "degC"), "minus one two degrees celsius");
    assert_eq!(say("100", "%"), "one zero zero percent");
    assert_eq!(say("0.00", "mA"), "zero point zero zero milliamps");
    assert_eq!(spell("FV-201B"), "foxtrot victor dash two zero one bravo");
}

#[test]
fn an_out_of_slot_reading_may_be_kept_only_when_nothing_else_was_meant() {
    let kept = |slot: &str, phrase: &str| {
        parse(&named_slot(slot).unwrap(), phrase)
            .outside
            .map(|value| value.to_string())
    };
    assert_eq!(
        kept("R1K", "four point nine two K").as_deref(),
        Some("4920")
    );
    assert_eq!(kept("R1K", "thirteen hundred").as_deref(), Some("1300"));
    assert_eq!(kept("MA", "four oh two").as_deref(), Some("402"));
    assert_eq!(
        kept("IR", "greater than thirty thousand meg"),
        None,
        "a bound"
    );
    assert_eq!(
        kept("R1K", "one two three four I say again one two three four").as_deref(),
        Some("1234")
    );
    assert_eq!(kept("PSET", "fifteen percent"), None, "50 sounds like it");
    assert_eq!(kept("MA", "one forty"), None, "a pair");
    assert_eq!(kept("MA", "four point zero two"), None, "it fits");
}

#[test]
fn guesses_that_differ_are_asked() {
    let slot = named_slot("MA").unwrap();
    assert_eq!(
        parse_guesses(&slot, &["four point five", "four point nine"], true).expect,
        Expect::Confirm
    );
    assert_eq!(
        parse_guesses(&slot, &["four point five", "four decimal fife"], true).expect,
        Expect::Value
    );
    assert_eq!(
        parse_guesses(&slot, &["four point five"], false).expect,
        Expect::Confirm
    );
    assert_eq!(
        parse_guesses(&slot, &["stop", "four"], false).value(),
        "STOP"
    );
    assert_eq!(parse_guesses(&slot, &[], true).expect, Expect::Reject);
}

#[test]
fn a_decision_is_json_for_the_command_line() {
    let decision = parse(&named_slot("MA").unwrap(), "four point fifty");
    let json = serde_json::to_value(&decision).unwrap();
    assert_eq!(json["expect"], "CONFIRM");
    assert_eq!(json["value"], "4.50");
    assert_eq!(json["unit"], "mA");
    assert_eq!(json["candidates"], serde_json::json!(["4.50", "4.15"]));
}

/// Phrases near real ones: number words, commands and strangers in any order.
fn phrases() -> impl Strategy<Value = String> {
    let words = [
        "zero",
        "oh",
        "one",
        "two",
        "to",
        "three",
        "four",
        "for",
        "five",
        "nine",
        "ten",
        "thirteen",
        "fifteen",
        "twenty",
        "thirty",
        "fifty",
        "ninety",
        "hundred",
        "thousand",
        "and",
        "a",
        "double",
        "triple",
        "point",
        "decimal",
        "comma",
        "minus",
        "negative",
        "plus",
        "half",
        "quarter",
        "three quarters",
        "k",
        "ohms",
        "meg",
        "milliamps",
        "mil",
        "seconds",
        "minute",
        "minutes",
        "percent",
        "degrees",
        "volts",
        "over",
        "figures",
        "correction",
        "i say again",
        "words twice",
        "sorry",
        "roger",
        "okay",
        "yes",
        "disregard",
        "greater than",
        "about",
        "x",
        "open",
        "gig",
        "amps",
        "of",
        "mistake",
        "copy",
    ];
    proptest::collection::vec(proptest::sample::select(words.to_vec()), 0..9)
        .prop_map(|list| list.join(" "))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3000))]

    #[test]
    fn every_decimal_of_every_unit_comes_back(mantissa in -999_999_999_i64..=999_999_999, scale in 0_u32..=9) {
        let value = Decimal::new(mantissa, scale);
        // Minus zero is zero.
        prop_assume!(!(value.is_zero() && value.is_sign_negative()));
        for unit in units() {
            let words = read_back(&value, &unit);
            let decision = parse(&wide(unit), &words);
            prop_assert_eq!(decision.expect, Expect::Value, "{} {}", words, decision.why);
            prop_assert_eq!(decision.value(), value.to_string(), "{}", words);
            prop_assert_eq!(decision.unit, Some(unit));
            let typed = parse_keyed(&wide(unit), &value.to_string());
            prop_assert_eq!(typed.value(), value.to_string());
        }
    }

    #[test]
    fn no_text_breaks_anything(text in "\\PC*") {
        for slot in named_slots() {
            let spoken = parse(slot, &text);
            prop_assert!(!spoken.why.is_empty());
            let _ = parse_keyed(slot, &text);
        }
        let _ = spell(&text);
    }

    #[test]
    fn no_near_phrase_breaks_a_rule(phrase in phrases()) {
        for slot in named_slots() {
            let decision = parse(slot, &phrase);
            prop_assert_eq!(&decision, &parse(slot, &phrase), "not deterministic");
            let has = |word: &str| phrase.split(' ').any(|one| one == word);
            let value = number(decision.meaning.as_ref());
            if let Some(value) = &value {
                prop_assert!(matches!(decision.expect, Expect::Value | Expect::Confirm), "{phrase}");
                let SlotKindNumber(fits) = fits(slot, value);
                prop_assert!(fits, "{}: {phrase} gave {value}", slot.name);
                // A point only where one was said, or a word that scales or divides.
                let pointed = ["point", "decimal", "comma", "half", "quarter", "quarters", "k", "meg", "gig", "milliamps", "mil", "ohms", "minute", "minutes"].iter().any(|word| has(word));
                prop_assert!(pointed || !value.contains('.'), "{}: {phrase} gave {value}", slot.name);
                prop_assert!(has("minus") || !value.starts_with('-'), "{}: {phrase} gave {value}", slot.name);
            }
            if decision.meaning == Some(Meaning::Command(Command::Yes)) {
                prop_assert!(has("yes"), "{phrase} is no yes");
            }
            if decision.expect == Expect::Reject || decision.expect == Expect::Ambiguous {
                prop_assert!(decision.meaning.is_none() && !decision.ask.is_empty(), "{phrase}");
            } else {
                prop_assert!(decision.meaning.is_some(), "{phrase}");
            }
        }
    }
}

struct SlotKindNumber(bool);

fn fits(slot: &Slot, value: &str) -> SlotKindNumber {
    let value = Decimal::from_str_exact(value).unwrap();
    SlotKindNumber(match &slot.kind {
        sayback::spoken::SlotKind::Number(room) => room.fits(value),
        _ => true,
    })
}

#[test]
fn roger_copy_and_okay_are_never_yes() {
    for slot in named_slots() {
        for word in [
            "roger",
            "copy",
            "okay",
            "wilco",
            "roger that",
            "copied",
            "received",
            "sure",
            "yeah",
            "uh huh",
            "mm",
            "",
        ] {
            assert_ne!(
                parse(slot, word).meaning,
                Some(Meaning::Command(Command::Yes)),
                "{word}"
            );
        }
    }
}

//! The microphone check, in virtual time.
#![allow(
    clippy::float_cmp,
    clippy::unnecessary_wraps,
    clippy::manual_is_multiple_of,
    reason = "levels are told apart as they were given, and answers have one type"
)]

use sayback::mic_check::{Check, Fit, Now, PROMPT_TENTHS, PROMPTS, QUIET_TENTHS, Tenth, WORDS};

/// A check in a room of `noise`, by a voice of `speech` decibels, that is answered by `said`.
fn check(
    noise: f32,
    speech: f32,
    clipping: bool,
    said: impl Fn(usize, &str) -> Option<String>,
) -> Check {
    let mut check = Check::default();
    let tenth = |db| Tenth {
        db,
        clipping: clipping && db == speech,
    };
    let mut at = 0;
    loop {
        match check.now() {
            Now::Quiet(_) => check.tenth(tenth(noise)),
            Now::Read(prompt) => {
                check.tenth(tenth(noise));
                (0..5).for_each(|_| check.tenth(tenth(speech)));
                match said(at, prompt) {
                    Some(words) => check.heard(&words),
                    None => (0..PROMPT_TENTHS).for_each(|_| {
                        if check.now() == Now::Read(prompt) {
                            check.tenth(tenth(noise));
                        }
                    }),
                }
                at += 1;
            }
            Now::Over => return check,
        }
    }
}

fn right(_: usize, prompt: &str) -> Option<String> {
    Some(prompt.to_owned())
}

#[test]
fn a_good_room_is_good_and_its_figures_are_those_of_the_sound() {
    let measured = check(-60.0, -25.0, false, right).measured("mic");
    assert_eq!(
        (measured.words_right, measured.numbers_right, measured.asked),
        (WORDS, 4, 16)
    );
    assert!((measured.noise_db + 60.0).abs() < 0.1 && (measured.speech_db + 25.0).abs() < 0.1);
    let verdict = measured.judge();
    assert_eq!(verdict.fit, Fit::Good);
    assert_eq!(
        verdict.sentences,
        ["Voice works here: 12 of 12 words and 4 of 4 numbers were understood."]
    );
}

#[test]
fn what_is_wrong_is_said_with_what_to_change() {
    let says = |check: Check, fit: Fit, part: &str| {
        let verdict = check.measured("mic").judge();
        let all = verdict.sentences.join(" ");
        assert_eq!(verdict.fit, fit, "{all}");
        assert!(all.contains(part), "{all}");
    };
    says(
        check(-30.0, -26.0, false, right),
        Fit::Keypad,
        "Wear a headset",
    );
    says(check(-40.0, -31.0, false, right), Fit::WithCare, "closer");
    says(check(-60.0, -3.0, true, right), Fit::WithCare, "gain down");
    says(
        check(-80.0, -55.0, false, right),
        Fit::WithCare,
        "arrives weak",
    );
    says(
        check(-60.0, -25.0, false, |_, _| None),
        Fit::Keypad,
        "Nothing was understood",
    );
    says(
        check(-60.0, -25.0, false, unclear),
        Fit::Keypad,
        "Nothing was understood",
    );
    let half = |at: usize, prompt: &str| (at % 2 == 0).then(|| prompt.to_owned());
    says(
        check(-60.0, -25.0, false, half),
        Fit::Keypad,
        "8 of 16 answers were not understood; at 8 of them nothing was heard at all",
    );
    let some = |at: usize, prompt: &str| (at % 5 != 0).then(|| prompt.to_owned());
    says(
        check(-60.0, -25.0, false, some),
        Fit::WithCare,
        "4 of 16 answers",
    );
    let wrong = |at: usize, prompt: &str| {
        Some(if at == 13 {
            "four point zero three".to_owned()
        } else {
            prompt.to_owned()
        })
    };
    says(
        check(-60.0, -25.0, false, wrong),
        Fit::Keypad,
        "1 of 4 numbers were understood as another number",
    );
}

fn unclear(_: usize, _: &str) -> Option<String> {
    Some(String::new())
}

/// What was not understood is no wrong word: it is read again, and the result says so.
#[test]
fn what_was_not_understood_is_read_again_and_counted_as_what_it_is() {
    let mut first = std::collections::BTreeSet::new();
    let first = std::cell::RefCell::new(&mut first);
    let second_go = |_: usize, prompt: &str| {
        let is_first = first.borrow_mut().insert(prompt.to_owned());
        Some(if is_first {
            String::new()
        } else {
            prompt.to_owned()
        })
    };
    let measured = check(-60.0, -25.0, false, second_go).measured("mic");
    assert_eq!(
        (
            measured.words_right,
            measured.numbers_right,
            measured.numbers_wrong,
            measured.again,
            measured.unheard
        ),
        (WORDS, 4, 0, 16, 0)
    );
    let verdict = measured.judge();
    assert_eq!(verdict.fit, Fit::WithCare);
    assert_eq!(
        verdict.sentences,
        ["16 of 16 had to be read again. Expect to repeat."]
    );
    // Never understood is something else than never heard, and neither is a wrong number.
    let never = check(-60.0, -25.0, false, unclear).measured("mic");
    assert_eq!(
        (never.unheard, never.numbers_wrong, never.asked),
        (0, 0, 16)
    );
    let silent = check(-60.0, -25.0, false, |_, _| None).measured("mic");
    assert_eq!((silent.unheard, silent.again), (16, 0));
    let one = check(-60.0, -25.0, false, |at, prompt| {
        (at != 3).then(|| prompt.to_owned())
    });
    let said = one.measured("mic").judge().sentences;
    assert_eq!(
        said,
        ["11 of 12 words and 4 of 4 numbers were understood; 1 got no answer: nothing was heard."]
    );
}

/// In a recording nobody reads it again: the next sound answers the next prompt.
#[test]
fn a_prompt_that_is_passed_is_not_understood_if_something_was_heard() {
    let mut check = Check::default();
    let quiet = Tenth {
        db: -60.0,
        clipping: false,
    };
    (0..QUIET_TENTHS).for_each(|_| check.tenth(quiet));
    check.heard("");
    assert!(check.is_again() && check.now() == Now::Read(PROMPTS[0]));
    check.pass();
    assert!(!check.is_again() && check.now() == Now::Read(PROMPTS[1]));
    check.pass();
    check.heard(PROMPTS[2]);
    let measured = check.measured("mic");
    assert_eq!(
        (
            measured.asked,
            measured.words_right,
            measured.unheard,
            measured.again
        ),
        (3, 1, 1, 0)
    );
}

#[test]
fn too_loud_is_said_in_parts_of_the_time() {
    let line = |clipped: usize| {
        let mut check = Check::default();
        for at in 0..1000 {
            check.tenth(Tenth {
                db: -30.0,
                clipping: at < clipped,
            });
        }
        check.measured("mic").line()
    };
    assert!(line(0).contains(", never too loud,"));
    assert!(
        line(3).contains(", too loud 0.3 % of the time,"),
        "{}",
        line(3)
    );
    assert!(line(120).contains(", too loud 12 % of the time,"));
}

#[test]
fn another_word_for_the_same_is_right_and_another_word_is_not() {
    let other =
        |_: usize, prompt: &str| Some(if prompt == "yes" { "affirm" } else { "stop" }.to_owned());
    let measured = check(-60.0, -25.0, false, other).measured("mic");
    assert_eq!(
        (
            measured.words_right,
            measured.numbers_right,
            measured.numbers_wrong
        ),
        (2, 0, 4)
    );
}

#[test]
fn it_takes_about_two_minutes_at_most() {
    let longest = QUIET_TENTHS + PROMPTS.len() * PROMPT_TENTHS;
    assert!(longest <= 1200, "{longest} tenths of a second");
}

#[test]
fn fitting_is_offered_where_the_voice_arrives_well_however_little_was_understood() {
    let worth = |noise, speech, clipping, said: fn(usize, &str) -> Option<String>| {
        check(noise, speech, clipping, said)
            .measured("mic")
            .is_worth_fitting()
    };
    let other = |at: usize, _: &str| Some(if at % 2 == 0 { "seven" } else { "" }.to_owned());
    assert!(worth(-60.0, -25.0, false, right));
    assert!(worth(-60.0, -25.0, false, other), "that is whom it is for");
    // Half of it got no answer: whether that is somebody's voice is not known.
    assert!(!worth(-60.0, -25.0, false, |at, prompt| (at % 3 == 0)
        .then(|| prompt.to_owned())));
    assert!(!worth(-30.0, -25.0, false, right), "too much noise");
    assert!(!worth(-70.0, -55.0, false, right), "too weak");
    assert!(!worth(-60.0, -1.0, true, right), "too loud");
    let broken_off = Check::default().measured("mic");
    assert!(!broken_off.is_worth_fitting());
}

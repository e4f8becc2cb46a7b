//! Plain lines.

use sayback::core::{Mark, View};
use sayback::edge::plain::lines;

use super::samples;

fn sample(name: &str) -> View {
    samples::all()
        .into_iter()
        .find(|(other, _)| *other == name)
        .unwrap()
        .1
}

#[test]
fn the_samples_as_first_lines() {
    let mut all = String::new();
    for (name, view) in samples::all() {
        all += &format!("== {name}\n{}\n", lines(None, &view).join("\n"));
    }
    insta::assert_snapshot!("plain_samples", all);
}

#[test]
fn nothing_is_said_twice() {
    for (name, view) in samples::all() {
        assert_eq!(lines(Some(&view), &view), Vec::<String>::new(), "{name}");
    }
}

#[test]
fn only_what_changed_and_the_question_last() {
    let before = sample("asking");
    let now = View {
        message: "Not understood. Say it again, or type it.".to_owned(),
        mark: Mark::Watch,
        ..before.clone()
    };
    assert_eq!(
        lines(Some(&before), &now),
        [
            "WATCH: Not understood. Say it again, or type it.",
            "Resistance from end to end?"
        ]
    );
}

#[test]
fn a_value_that_was_heard_is_asked_for_last() {
    let lines = lines(Some(&sample("asking")), &sample("right"));
    assert_eq!(
        lines.last().unwrap(),
        "Right: 512.3 Ω? Resistance from end to end?"
    );
}

#[test]
fn a_hold_is_told_once() {
    let four = sample("hold");
    let three = View {
        big: "3".to_owned(),
        ..four.clone()
    };
    assert!(!lines(Some(&sample("asking")), &four).is_empty());
    assert_eq!(lines(Some(&four), &three), Vec::<String>::new());
}

#[test]
fn no_escape_gets_through() {
    let view = View {
        title: "a\u{1b}[2Jb\u{7}".to_owned(),
        question: "c\rd\ne".to_owned(),
        state: "ASK",
        ..View::default()
    };
    for line in lines(None, &view) {
        assert!(!line.contains(char::is_control), "{line:?}");
    }
}

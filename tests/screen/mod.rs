//! The screen and the plain lines.

use proptest::prelude::*;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use sayback::core::{Mark, View};
use sayback::edge::keys::Keymap;
use sayback::edge::plain;
use sayback::edge::screen::{Look, draw};

fn look() -> Look {
    Look {
        colour: false,
        small_blocks: true,
    }
}

fn drawn(view: &View, width: u16, height: u16) -> String {
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    terminal.draw(|frame| draw(frame, view, look())).unwrap();
    let buffer = terminal.backend().buffer().clone();
    (0..height)
        .map(|y| {
            (0..width)
                .map(|x| buffer[(x, y)].symbol())
                .collect::<String>()
                .trim_end()
                .to_owned()
        })
        .collect::<Vec<_>>()
        .join("\n")
}

fn confirm() -> View {
    View {
        title: "FV-118 · Feedback potentiometer".into(),
        place: "step 18 of 76, as found".into(),
        question: "Resistance A to wiper?".into(),
        big: "512.3 Ω".into(),
        state: "RIGHT?",
        message: "five one two point three ohms.".into(),
        keys: vec![
            ("Enter", "yes, keep"),
            ("-", "no"),
            ("+", "say again"),
            ("/", "menu"),
        ],
        ear: "ear: open".into(),
        last: "1013 Ω".into(),
        ..View::default()
    }
}

fn gate() -> View {
    View {
        title: "FV-118 · Feedback potentiometer".into(),
        place: "step 8 of 76, safety".into(),
        caution: Some(
            "Test, prove, test again: a tester that has failed shows nothing too.".into(),
        ),
        question: "Is it proved dead, with the tester proved before and after?".into(),
        big: "Proved dead".into(),
        state: "ASK",
        keys: vec![
            ("Enter", "yes"),
            ("-", "no"),
            ("+", "say again"),
            ("/", "menu"),
        ],
        ear: "ear: LOST, use the keypad".into(),
        ..View::default()
    }
}

fn bad() -> View {
    View {
        title: "FV-118 · Feedback potentiometer".into(),
        place: "step 20 of 76, as found".into(),
        question: "Next goes on.".into(),
        big: "wiper at end".into(),
        state: "BAD",
        mark: Mark::Bad,
        message: "The wiper is at the end of the track: look for a slipped gear or set screw, then centre it.".into(),
        keys: vec![("Enter", "next"), ("+", "say again"), ("/", "menu")],
        ear: "keypad only".into(),
        ..View::default()
    }
}

#[test]
fn looks_at_three_sizes() {
    for (name, view) in [("confirm", confirm()), ("gate", gate()), ("bad", bad())] {
        for (width, height) in [(40, 10), (80, 24), (200, 60)] {
            insta::assert_snapshot!(
                format!("{name}_{width}x{height}"),
                drawn(&view, width, height)
            );
        }
    }
}

#[test]
fn no_size_panics() {
    for width in 0..=90 {
        for height in 0..=30 {
            let _ = drawn(&gate(), width, height);
        }
    }
    let _ = drawn(&bad(), 500, 200);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    /// Where the value is in plain letters it is whole; where it is in blocks, each sign has its room.
    #[test]
    fn a_value_is_never_clipped(digits in "[0-9]{1,12}(\\.[0-9]{1,4})?", width in 20_u16..120, height in 8_u16..40) {
        let view = View { big: digits.clone(), ..confirm() };
        let shown = drawn(&view, width, height);
        let signs = digits.chars().count();
        let plain = shown.lines().any(|line| line.contains(&digits));
        let blocks = shown.lines().filter(|line| line.contains(['█', '▀', '▄', '▌', '▐', '▘', '▝', '▖', '▗'])).count() >= 3;
        let fits = signs * 4 <= usize::from(width);
        prop_assert!(plain || (blocks && fits), "{shown}");
    }
}

#[test]
fn plain_lines_end_with_the_question_and_say_only_what_is_new() {
    let first = plain::lines(None, &gate());
    assert_eq!(
        first.last().map(String::as_str),
        Some("Is it proved dead, with the tester proved before and after?")
    );
    assert!(first.iter().any(|line| line.starts_with("CAUTION: ")));
    assert!(plain::lines(Some(&gate()), &gate()).is_empty());
    let after = plain::lines(Some(&gate()), &confirm());
    assert_eq!(after.last().map(String::as_str), Some("RIGHT? 512.3 Ω"));
    assert!(after.iter().all(|line| !line.contains('\u{1b}')));
}

#[test]
fn faults_of_a_keymap_name_the_fix() {
    assert!(Keymap::parse("[keys]\nenter = [\"y\", \"F5\"]\n").is_ok());
    assert!(
        Keymap::parse("[keys]\nentre = [\"y\"]\n")
            .unwrap_err()
            .contains("there are enter")
    );
    assert!(
        Keymap::parse("[keys]\nenter = [\"Hyper\"]\n")
            .unwrap_err()
            .contains("use one sign")
    );
    assert!(
        Keymap::parse("[keys]\nenter = [\"y\"]\nno = [\"y\"]\n")
            .unwrap_err()
            .contains("twice")
    );
}

#[test]
fn a_line_is_an_act_or_a_whole_answer() {
    use sayback::core::Key;
    use sayback::edge::keys::{Line, read_line};
    assert_eq!(read_line(""), Line::Keys(vec![Key::Enter]));
    assert_eq!(
        read_line("/ 2"),
        Line::Keys(vec![Key::Slash, Key::Digit(2)])
    );
    for text in ["1.5", "5l2.3", "5+2", "nope", "5 / 2"] {
        assert_eq!(read_line(text), Line::Text(text.to_owned()));
    }
}

//! Keys of a terminal and what they mean.

use std::path::Path;

use ratatui::crossterm::event::{Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use sayback::core::Key;
use sayback::drive::FromWorld;
use sayback::edge::keys::{Keymap, Line, is_num_lock_off, map, read_line};
use sayback::edge::signals;

fn press(code: KeyCode) -> Event {
    Event::Key(KeyEvent::new(code, KeyModifiers::NONE))
}

fn control(letter: char) -> Event {
    Event::Key(KeyEvent::new(KeyCode::Char(letter), KeyModifiers::CONTROL))
}

fn key(event: &Event, keymap: &Keymap) -> Option<Key> {
    match map(event, keymap) {
        Some(FromWorld::Key(key)) => Some(key),
        _ => None,
    }
}

#[test]
fn the_keypad_with_num_lock_on() {
    let keymap = Keymap::default();
    for digit in 0..=9 {
        let event = press(KeyCode::Char(char::from(b'0' + digit)));
        assert_eq!(key(&event, &keymap), Some(Key::Digit(digit)));
        assert!(!is_num_lock_off(&event, &keymap));
    }
    for (code, meaning) in [
        (KeyCode::Char('.'), Key::Point),
        (KeyCode::Char(','), Key::Point),
        (KeyCode::Char('+'), Key::Plus),
        (KeyCode::Char('-'), Key::Minus),
        (KeyCode::Char('*'), Key::Star),
        (KeyCode::Char('/'), Key::Slash),
        (KeyCode::Enter, Key::Enter),
        (KeyCode::Backspace, Key::Erase),
        (KeyCode::Esc, Key::Stop),
        (KeyCode::Char('k'), Key::Letter('k')),
        (KeyCode::Char(' '), Key::Letter(' ')),
    ] {
        assert_eq!(key(&press(code), &keymap), Some(meaning), "{code:?}");
    }
}

#[test]
fn the_keypad_with_num_lock_off_still_types_figures() {
    let keymap = Keymap::default();
    for (code, meaning) in [
        (KeyCode::Home, Key::Digit(7)),
        (KeyCode::Up, Key::Digit(8)),
        (KeyCode::PageUp, Key::Digit(9)),
        (KeyCode::Left, Key::Digit(4)),
        (KeyCode::KeypadBegin, Key::Digit(5)),
        (KeyCode::Right, Key::Digit(6)),
        (KeyCode::End, Key::Digit(1)),
        (KeyCode::Down, Key::Digit(2)),
        (KeyCode::PageDown, Key::Digit(3)),
        (KeyCode::Insert, Key::Digit(0)),
        (KeyCode::Delete, Key::Point),
    ] {
        assert_eq!(key(&press(code), &keymap), Some(meaning), "{code:?}");
        assert!(is_num_lock_off(&press(code), &keymap), "{code:?}");
    }
}

#[test]
fn control_keys() {
    let keymap = Keymap::default();
    assert!(matches!(
        map(&control('c'), &keymap),
        Some(FromWorld::End(130))
    ));
    assert!(matches!(
        map(&control('z'), &keymap),
        Some(FromWorld::Suspend)
    ));
    assert_eq!(key(&control('j'), &keymap), Some(Key::Enter));
    assert_eq!(key(&control('m'), &keymap), Some(Key::Enter));
    assert!(map(&control('1'), &keymap).is_none());
}

#[test]
fn what_is_no_answer_is_not_taken_as_one() {
    let keymap = Keymap::default();
    assert!(map(&Event::Paste("512\n".to_owned()), &keymap).is_none());
    assert!(map(&Event::FocusGained, &keymap).is_none());
    for kind in [KeyEventKind::Release, KeyEventKind::Repeat] {
        let event = Event::Key(KeyEvent::new_with_kind(
            KeyCode::Enter,
            KeyModifiers::NONE,
            kind,
        ));
        assert!(map(&event, &keymap).is_none(), "{kind:?}");
    }
    assert!(
        map(
            &Event::Key(KeyEvent::new(KeyCode::Char('1'), KeyModifiers::ALT)),
            &keymap
        )
        .is_none()
    );
    assert!(map(&press(KeyCode::F(5)), &keymap).is_none());
    assert!(matches!(
        map(&Event::Resize(1, 1), &keymap),
        Some(FromWorld::Redraw)
    ));
}

fn parse(text: &str) -> Result<Keymap, String> {
    Keymap::parse(text, Path::new("keys.toml")).map_err(|error| error.to_string())
}

#[test]
fn a_file_of_keys() {
    let keymap = parse("[keys]\nenter = [\"y\", \"F5\", \"pageup\"]\nstar = [\"c\"]\n").unwrap();
    assert_eq!(key(&press(KeyCode::Char('y')), &keymap), Some(Key::Enter));
    assert_eq!(key(&press(KeyCode::F(5)), &keymap), Some(Key::Enter));
    assert_eq!(key(&press(KeyCode::PageUp), &keymap), Some(Key::Enter));
    assert!(!is_num_lock_off(&press(KeyCode::PageUp), &keymap));
    // What is not named keeps its meaning.
    assert_eq!(key(&press(KeyCode::Enter), &keymap), Some(Key::Enter));
    assert_eq!(
        key(&press(KeyCode::Char('9')), &keymap),
        Some(Key::Digit(9))
    );
}

#[test]
fn faults_in_a_file_of_keys_say_what_and_how_to_put_it_right() {
    for (text, wanted) in [
        (
            "[keys]\nenterr = [\"y\"]",
            "names an act \"enterr\", which does not exist. Acts: enter, plus,",
        ),
        (
            "[keys]\nenter = [\"F25\"]",
            "gives enter a key \"F25\", which is not known. Write one character, F1 to F24",
        ),
        ("[keys]\nenter = [\"\"]", "gives enter a key \"\""),
        (
            "[keys]\nenter = [\"y\"]\nstop = [\"y\"]",
            "names the key \"y\" twice: for enter and for stop. Leave one",
        ),
        (
            "[keys]\nenter = [\"y\", \"y\"]",
            "names the key \"y\" twice: for enter and for enter.",
        ),
        (
            "[keys]\nstop = [\"Enter\"]",
            "leaves no key for enter: \"Enter\" now means stop. Give enter another key",
        ),
        ("[keys]\nenter = \"y\"", "cannot be understood"),
        ("[key]\nenter = [\"y\"]", "unknown field `key`"),
        ("", "needs a table [keys]"),
    ] {
        let error = parse(text).unwrap_err();
        assert!(
            error.contains(wanted) && error.contains("keys.toml"),
            "{text:?}: {error}"
        );
    }
    let error = Keymap::read(Path::new("no such file.toml"))
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("cannot read the keys file no such file.toml"),
        "{error}"
    );
}

#[test]
fn a_line_is_an_act_or_a_whole_answer() {
    use Key::{Digit, Enter, Minus, Plus, Slash, Star, Stop};
    for (text, keys) in [
        ("", vec![Enter]),
        ("  \r\n", vec![Enter]),
        ("yes", vec![Enter]),
        ("Y", vec![Enter]),
        ("done", vec![Enter]),
        ("no", vec![Minus]),
        ("n\n", vec![Minus]),
        ("STOP", vec![Stop]),
        ("+", vec![Plus]),
        ("-", vec![Minus]),
        ("*", vec![Star]),
        ("/", vec![Slash]),
        ("/ 2", vec![Slash, Digit(2)]),
    ] {
        assert_eq!(read_line(text), Line::Keys(keys), "{text:?}");
    }
    for text in [
        "512,3", "-1.5k", "a b", "5 / 2", "nope", "yes no", "/ 12", "- x", "5+2",
    ] {
        assert_eq!(read_line(text), Line::Text(text.to_owned()), "{text:?}");
    }
}

#[test]
fn signals_end_with_the_codes_of_shells() {
    use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM, SIGTSTP};
    for (signal, code) in [(SIGHUP, 129), (SIGINT, 130), (SIGTERM, 143)] {
        assert!(
            matches!(signals::meaning(signal), FromWorld::End(found) if found == code),
            "{signal}"
        );
    }
    assert!(matches!(signals::meaning(SIGCONT), FromWorld::Redraw));
    assert!(matches!(signals::meaning(SIGTSTP), FromWorld::Suspend));
}

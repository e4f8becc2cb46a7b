//! Whole screens at three sizes.

use ratatui::Terminal;
use ratatui::backend::TestBackend;
use sayback::core::View;
use sayback::edge::screen::{Look, draw};

use super::samples;

/// A terminal that shows everything, without colour.
pub const PLAIN_LOOK: Look = Look {
    colour: false,
    contrast: false,
    unicode: true,
    half_blocks: true,
};

/// The Linux console, in UTF-8.
pub const CONSOLE_LOOK: Look = Look {
    half_blocks: false,
    ..PLAIN_LOOK
};

/// A terminal in a locale without UTF-8.
pub const ASCII_LOOK: Look = Look {
    unicode: false,
    half_blocks: false,
    ..PLAIN_LOOK
};

/// The screen after drawing.
pub fn drawn(view: &View, look: Look, width: u16, height: u16) -> Terminal<TestBackend> {
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    terminal.draw(|frame| draw(frame, view, &look)).unwrap();
    terminal
}

#[test]
fn samples_at_three_sizes() {
    for (name, view) in samples::all() {
        for (width, height) in [(40, 10), (80, 24), (200, 60)] {
            let terminal = drawn(&view, PLAIN_LOOK, width, height);
            insta::assert_snapshot!(format!("{name}_{width}x{height}"), terminal.backend());
        }
    }
}

#[test]
fn without_unicode_everything_is_ascii() {
    for (name, view) in samples::all() {
        for (width, height) in [(40, 10), (80, 24), (200, 60)] {
            let terminal = drawn(&view, ASCII_LOOK, width, height);
            let buffer = terminal.backend().buffer();
            let odd = buffer
                .content()
                .iter()
                .find(|cell| !cell.symbol().is_ascii());
            assert_eq!(odd, None, "{name} at {width}x{height}");
        }
    }
}

#[test]
fn the_linux_console_gets_whole_blocks_only() {
    for (name, view) in samples::all() {
        let terminal = drawn(&view, CONSOLE_LOOK, 80, 24);
        let halves = terminal.backend().buffer().content().iter().filter(|cell| {
            matches!(cell.symbol().chars().next(), Some('▀'..='▟')) && cell.symbol() != "█"
        });
        assert_eq!(halves.count(), 0, "{name}");
    }
}

#[test]
fn colour_is_never_alone_and_only_from_those_that_can_be_read_on_black() {
    use ratatui::style::Color;
    let coloured = Look {
        colour: true,
        ..PLAIN_LOOK
    };
    for (name, view) in samples::all() {
        let with = drawn(&view, coloured, 80, 24);
        let without = drawn(&view, PLAIN_LOOK, 80, 24);
        for (one, other) in with
            .backend()
            .buffer()
            .content()
            .iter()
            .zip(without.backend().buffer().content())
        {
            assert_eq!(
                (one.symbol(), one.modifier),
                (other.symbol(), other.modifier),
                "{name}"
            );
            assert!(
                matches!(
                    one.fg,
                    Color::Reset
                        | Color::Green
                        | Color::Cyan
                        | Color::Yellow
                        | Color::White
                        | Color::LightYellow
                ),
                "{name}: {:?}",
                one.fg
            );
            assert_eq!(other.fg, Color::Reset, "{name}");
        }
    }
}

#[test]
fn the_environment_decides_the_look() {
    let look = |variables: &[(&str, &str)]| {
        Look::from_variables(false, |name| {
            variables
                .iter()
                .find(|(other, _)| *other == name)
                .map(|(_, value)| (*value).to_owned())
        })
    };
    let usual = look(&[("LANG", "en_GB.UTF-8"), ("TERM", "xterm")]);
    assert_eq!(
        usual,
        Look {
            colour: true,
            contrast: false,
            unicode: true,
            half_blocks: true
        }
    );
    assert!(!look(&[("LANG", "en_GB.UTF-8"), ("NO_COLOR", "1")]).colour);
    // An empty NO_COLOR counts as not set (no-color.org).
    assert!(look(&[("LANG", "en_GB.UTF-8"), ("NO_COLOR", "")]).colour);
    assert!(!look(&[("LANG", "en_GB.UTF-8"), ("LC_ALL", "C")]).unicode);
    assert!(look(&[("LANG", "C"), ("LC_ALL", ""), ("LC_CTYPE", "C.utf8")]).unicode);
    let console = look(&[("LANG", "de_DE.UTF-8"), ("TERM", "linux")]);
    assert!(console.unicode && !console.half_blocks);
    assert!(!look(&[]).unicode);
}

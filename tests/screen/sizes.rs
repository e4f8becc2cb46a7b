//! No size of a screen breaks anything, and a value stands whole or not at all.

use proptest::prelude::*;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::text::Line;
use ratatui::widgets::Widget;
use sayback::core::View;
use sayback::edge::screen::{Look, draw};
use tui_big_text::{BigText, PixelSize};

use super::samples;
use super::screens::{ASCII_LOOK, CONSOLE_LOOK, PLAIN_LOOK, drawn};

#[test]
fn no_size_panics() {
    for look in [PLAIN_LOOK, ASCII_LOOK] {
        for (_, view) in samples::all() {
            for width in (0..=90).step_by(3).chain([500]) {
                for height in (0..=30).chain([200]) {
                    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
                    terminal.draw(|frame| draw(frame, &view, &look)).unwrap();
                }
            }
        }
    }
}

#[test]
fn small_screens_show_the_state_the_value_the_question_and_the_keys() {
    for (name, view) in samples::all() {
        let text = text_of(drawn(&view, PLAIN_LOOK, 40, 10).backend().buffer());
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(view.state), "{name}: {flat}");
        assert!(
            name == "menu" || flat.contains(&view.question),
            "{name}: {flat}"
        );
        let caution = view.caution.as_deref().unwrap_or_default();
        assert!(flat.contains(caution), "{name}: {flat}");
        for choice in &view.list {
            assert!(flat.contains(choice), "{name}: {choice} in {flat}");
        }
        for (key, act) in &view.keys {
            assert!(
                flat.contains(&format!("[{key}] {act}")),
                "{name}: [{key}] {act} in {flat}"
            );
        }
    }
}

#[test]
fn a_question_that_cannot_fit_is_said_to() {
    let view = samples::all()
        .into_iter()
        .find(|(name, _)| *name == "long_question")
        .unwrap()
        .1;
    let view = View {
        big: "512.3 Ω".to_owned(),
        ..view
    };
    let text = text_of(drawn(&view, PLAIN_LOOK, 30, 4).backend().buffer());
    assert!(
        text.contains("SCREEN TOO SMALL") && text.contains("512.3 Ω"),
        "{text}"
    );
}

/// True if the number stands on the screen whole: in plain letters, or in large ones at some place and size.
fn stands_whole(buffer: &Buffer, value: &str, look: Look) -> bool {
    let text = text_of(buffer);
    let bounded = |found: usize, length: usize| {
        let is_edge = |one: Option<char>| one.is_none_or(|one| !one.is_ascii_digit() && one != '.');
        is_edge(text[..found].chars().next_back()) && is_edge(text[found + length..].chars().next())
    };
    if text
        .match_indices(value)
        .any(|(at, found)| bounded(at, found.len()))
    {
        return true;
    }
    let sizes = [
        (PixelSize::Full, 3),
        (PixelSize::Full, 2),
        (PixelSize::Full, 1),
        (PixelSize::HalfHeight, 1),
        (PixelSize::Quadrant, 1),
    ];
    sizes.iter().any(|(pixel, scale)| {
        let glyphs = glyphs(value, *pixel, *scale);
        (0..buffer.area.height).any(|y| stands_at(buffer, &glyphs, y, look))
    })
}

fn glyphs(value: &str, pixel: PixelSize, scale: u16) -> Vec<String> {
    let letters = u16::try_from(value.chars().count()).unwrap();
    let (wide, high) = match pixel {
        PixelSize::Full => (8, 8),
        PixelSize::HalfHeight => (8, 4),
        _ => (4, 4),
    };
    let area = Rect::new(0, 0, wide * letters, high);
    let mut buffer = Buffer::empty(area);
    BigText::builder()
        .pixel_size(pixel)
        .lines(vec![Line::raw(value.to_owned())])
        .build()
        .render(area, &mut buffer);
    (0..high * scale)
        .map(|y| {
            (0..area.width * scale)
                .map(|x| buffer[(x / scale, y / scale)].symbol())
                .collect()
        })
        .collect()
}

fn stands_at(buffer: &Buffer, glyphs: &[String], top: u16, look: Look) -> bool {
    glyphs.iter().zip(top..).all(|(row, y)| {
        y < buffer.area.height
            && row.chars().count() <= usize::from(buffer.area.width)
            && row.chars().zip(0_u16..).all(|(wanted, x)| {
                let cell = &buffer[(x, y)];
                let shown = if !look.unicode
                    && cell.modifier.contains(ratatui::style::Modifier::REVERSED)
                {
                    "█"
                } else {
                    cell.symbol()
                };
                shown.chars().eq([wanted])
            })
    })
}

fn text_of(buffer: &Buffer) -> String {
    let width = usize::from(buffer.area.width.max(1));
    buffer
        .content()
        .chunks(width)
        .map(|row| {
            row.iter()
                .map(ratatui::buffer::Cell::symbol)
                .collect::<String>()
                + "\n"
        })
        .collect()
}

proptest! {
    #[test]
    fn a_number_is_never_clipped(
        value in "-?[0-9]{1,9}(\\.[0-9]{1,6})?",
        unit in prop::sample::select(vec!["", "Ω", "kΩ", "mA", "°", "°C", "N m", "%"]),
        joined in any::<bool>(),
        width in 1_u16..=210,
        height in 1_u16..=64,
        look in prop::sample::select(vec![PLAIN_LOOK, CONSOLE_LOOK, ASCII_LOOK]),
    ) {
        let (big, unit) = if joined { (format!("{value} {unit}").trim().to_owned(), "") } else { (value.clone(), unit) };
        let sample = samples::all().into_iter().find(|(name, _)| *name == "right").unwrap().1;
        let view = View { big, unit: unit.to_owned(), message: String::new(), last: String::new(), ..sample };
        let terminal = drawn(&view, look, width, height);
        let buffer = terminal.backend().buffer();
        let text = text_of(buffer);
        if !stands_whole(buffer, &value, look) {
            let flat: String = text.split_whitespace().collect();
            // Then nothing of it may stand there, and the screen says why, if there is room for even that.
            prop_assert!("SCREENTOOSMALL".contains(&flat) || flat.starts_with("SCREENTOOSMALL"), "{text}");
            let digits = flat.chars().any(|one| one.is_ascii_digit());
            prop_assert!(!digits, "{text}");
        }
    }

    #[test]
    fn any_view_can_be_drawn(
        big in "\\PC{0,40}",
        question in "\\PC{0,200}",
        message in "\\PC{0,200}",
        list in prop::collection::vec("\\PC{0,60}", 0..12),
        width in 0_u16..=120,
        height in 0_u16..=40,
        look in prop::sample::select(vec![PLAIN_LOOK, ASCII_LOOK]),
    ) {
        let view = View { big, question, message, list, state: "ASK", ..View::default() };
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        terminal.draw(|frame| draw(frame, &view, &look)).unwrap();
    }
}

#[test]
#[ignore = "a measurement: cargo test --release -- --ignored p99_of_a_draw --nocapture"]
#[allow(clippy::disallowed_methods, reason = "it measures time")]
fn p99_of_a_draw() {
    use std::time::{Duration, Instant};
    let mut terminal = Terminal::new(TestBackend::new(80, 24)).unwrap();
    let desk = super::lines::Desk::new();
    let (mut draws, mut views) = (Vec::new(), Vec::new());
    for _ in 0..500 {
        for (_, view) in samples::all() {
            let begun = Instant::now();
            terminal
                .draw(|frame| draw(frame, &view, &PLAIN_LOOK))
                .unwrap();
            draws.push(begun.elapsed());
            let begun = Instant::now();
            let shown = sayback::core::view(&desk.run);
            terminal
                .draw(|frame| draw(frame, &shown, &PLAIN_LOOK))
                .unwrap();
            views.push(begun.elapsed());
        }
    }
    for (name, times) in [("draw", &mut draws), ("view and draw", &mut views)] {
        times.sort();
        let (half, p99) = (times[times.len() / 2], times[times.len() * 99 / 100]);
        println!(
            "{name}: n {}, median {half:?}, p99 {p99:?}, worst {:?}",
            times.len(),
            times[times.len() - 1]
        );
        assert!(p99 < Duration::from_millis(5));
    }
}

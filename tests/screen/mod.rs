//! The screen, the plain lines and the keys.

mod keys;
mod lines;
mod lost;
mod plain;
mod samples;
mod screens;
mod sizes;
mod terminal;

/// The level beside the state of the ear: a bar and a word, whole on the smallest screen.
#[test]
fn the_level_is_a_bar_and_a_word() {
    use sayback::drive::Level;
    use sayback::edge::screen::Meter;
    let mut meter = Meter::default();
    assert_eq!(meter.beside("mic: OPEN"), "mic: OPEN");
    let level = |db, clipping| Level { db, clipping };
    assert!(meter.take(level(-70.0, false)));
    assert_eq!(meter.beside("mic: OPEN"), "mic: OPEN [-----], quiet");
    assert!(meter.take(level(-25.0, false)));
    assert_eq!(
        meter.beside("mic: OPEN, Tab closes it"),
        "mic: OPEN [####-], good, Tab closes it"
    );
    assert!(
        !meter.take(level(-25.5, false)),
        "the same picture is not drawn again"
    );
    meter.take(level(-3.0, true));
    let loud = meter.beside("mic: OPEN");
    assert_eq!(loud, "mic: OPEN [#####] TOO LOUD");
    // It stays long enough to be read, and falls slowly enough to be followed.
    meter.take(level(-70.0, false));
    assert!(meter.beside("mic: OPEN").ends_with("TOO LOUD"));
    for _ in 0..40 {
        meter.take(level(-70.0, false));
    }
    assert_eq!(meter.beside("mic: OPEN"), "mic: OPEN [-----], quiet");
    // A bar beside a closed microphone would say that it listens.
    assert_eq!(
        meter.beside("mic: CLOSED, Tab opens it"),
        "mic: CLOSED, Tab opens it"
    );
    let view = sayback::core::View {
        big: "512.3".to_owned(),
        state: "RIGHT?",
        question: "End to end?".to_owned(),
        ear: loud,
        ..Default::default()
    };
    let mut terminal = ratatui::Terminal::new(ratatui::backend::TestBackend::new(40, 10)).unwrap();
    let look = sayback::edge::screen::Look {
        colour: false,
        contrast: true,
        unicode: false,
        half_blocks: false,
    };
    terminal
        .draw(|frame| sayback::edge::screen::draw(frame, &view, &look))
        .unwrap();
    let text: String = terminal
        .backend()
        .buffer()
        .content
        .iter()
        .map(ratatui::buffer::Cell::symbol)
        .collect();
    assert!(text.contains("mic: OPEN [#####] TOO LOUD"), "{text}");
}

//! The screen: one question in the largest print that holds it whole.
//!
//! A terminal cannot choose its letters' size, so large print is drawn with
//! blocks. State: the terminal, which is given back when this is dropped, on a
//! panic, and before the program is put aside.

use std::io::{self, Write};

use ratatui::Frame;
use ratatui::crossterm::event::{DisableBracketedPaste, EnableBracketedPaste};
use ratatui::crossterm::execute;
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier, Style};
use ratatui::text::Line;
use ratatui::widgets::{Paragraph, Wrap};
use tui_big_text::{BigText, PixelSize};

use crate::core::{Mark, View};
use crate::drive::Output;

/// How it is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Colour as an ornament; a word always says the same.
    pub colour: bool,
    /// Which blocks the terminal's letters have: false leaves the full block only.
    pub small_blocks: bool,
}

impl Look {
    /// As the environment says: `NO_COLOR`, `TERM`, and the locale.
    #[must_use]
    pub fn of_environment(contrast: bool) -> Self {
        let has = |name: &str| std::env::var_os(name).is_some_and(|value| !value.is_empty());
        let console = std::env::var("TERM").is_ok_and(|term| term == "linux");
        Self {
            colour: !contrast && !has("NO_COLOR"),
            small_blocks: !console,
        }
    }
}

/// The terminal while a job runs.
pub struct Screen {
    terminal: ratatui::DefaultTerminal,
    look: Look,
    /// What libraries write to standard error goes to a log while the screen is up;
    /// the sound library writes eight lines for each try. Dropped after the screen.
    _errors: Option<gag::Redirect<std::fs::File>>,
}

impl Screen {
    /// Takes the terminal.
    ///
    /// # Errors
    /// If it cannot be used.
    pub fn enter(look: Look) -> io::Result<Self> {
        let terminal = ratatui::try_init()?;
        let mut out = io::stdout();
        // ESC > : the keypad sends plain digits. A paste comes as one event and is not read as keys.
        out.write_all(b"\x1b>")?;
        execute!(out, EnableBracketedPaste)?;
        Ok(Self {
            terminal,
            look,
            _errors: errors_to_log(),
        })
    }
}

impl Output for Screen {
    fn show(&mut self, view: &View) -> io::Result<()> {
        let look = self.look;
        self.terminal
            .draw(|frame| draw(frame, view, look))
            .map(|_| ())
    }

    /// There is no voice yet: the sentence stands on the screen.
    fn say(&mut self, _text: &str) {}

    fn hush(&mut self) {}

    fn suspend(&mut self) {
        leave();
        // If the system will not stop us, the screen simply comes back.
        let _ = signal_hook::low_level::emulate_default_handler(signal_hook::consts::SIGTSTP);
        if let Ok(terminal) = ratatui::try_init() {
            self.terminal = terminal;
            let _ = self.terminal.clear();
        }
    }
}

/// Sends standard error to a log in the temporary folder; without one the screen is only less tidy.
fn errors_to_log() -> Option<gag::Redirect<std::fs::File>> {
    let path = std::env::temp_dir().join(format!("sayback-{}.log", std::process::id()));
    let log = std::fs::File::create_new(path).ok()?;
    gag::Redirect::stderr(log).ok()
}

fn leave() {
    // Nothing better can be done if the terminal is already gone.
    let _ = execute!(io::stdout(), DisableBracketedPaste);
    ratatui::restore();
}

impl Drop for Screen {
    fn drop(&mut self) {
        leave();
    }
}

/// Rows that a text takes when it is wrapped at words.
fn wrapped_rows(text: &str, width: u16) -> u16 {
    if text.is_empty() || width == 0 {
        return 0;
    }
    let rows: usize = break_words(text, usize::from(width))
        .iter()
        // A word that is longer than the screen goes on in the next row.
        .map(|line| line.chars().count().div_ceil(usize::from(width)).max(1))
        .sum();
    u16::try_from(rows).unwrap_or(u16::MAX)
}

/// One piece of large print: its lines and the size of their signs.
struct Large {
    lines: Vec<String>,
    size: Option<PixelSize>,
    rows: u16,
}

/// True if every sign has a picture in the large letters.
fn drawable(text: &str) -> bool {
    text.chars().all(|sign| sign.is_ascii() || sign == '°')
}

/// Signs that the large letters lack, as words.
fn plain_signs(text: &str) -> String {
    text.replace("kΩ", "kohm")
        .replace("MΩ", "Mohm")
        .replace('Ω', "ohm")
        .replace('·', "-")
}

/// The largest print that shows the text whole: words may be broken over lines, never a number.
fn large(text: &str, width: u16, rows: u16, small_blocks: bool) -> Large {
    let text = plain_signs(text);
    let sizes: &[(PixelSize, u16, u16)] = if small_blocks {
        &[
            (PixelSize::Full, 8, 8),
            (PixelSize::HalfHeight, 8, 4),
            (PixelSize::Quadrant, 4, 4),
        ]
    } else {
        &[(PixelSize::Full, 8, 8)]
    };
    if drawable(&text) {
        for (size, wide, high) in sizes {
            let lines = break_words(&text, usize::from(width / wide));
            let needed = u16::try_from(lines.len())
                .unwrap_or(u16::MAX)
                .saturating_mul(*high);
            if lines
                .iter()
                .all(|line| line.chars().count() <= usize::from(width / wide))
                && needed <= rows
            {
                return Large {
                    lines,
                    size: Some(*size),
                    rows: needed,
                };
            }
        }
    }
    let lines = break_words(&text, usize::from(width));
    let needed = u16::try_from(lines.len()).unwrap_or(u16::MAX);
    Large {
        lines,
        size: None,
        rows: needed,
    }
}

fn break_words(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.last_mut().expect("there is always one line");
        let needed = last.chars().count() + usize::from(!last.is_empty()) + word.chars().count();
        if last.is_empty() || needed <= width {
            if !last.is_empty() {
                last.push(' ');
            }
            last.push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

fn mark_word(mark: Mark) -> &'static str {
    match mark {
        Mark::Plain => "",
        Mark::Good => "OK: ",
        Mark::Watch => "WATCH: ",
        Mark::Bad => "BAD: ",
    }
}

/// Draws a view. Pure over the frame.
pub fn draw(frame: &mut Frame, view: &View, look: Look) {
    let area = frame.area();
    if area.width == 0 || area.height == 0 {
        return;
    }
    let width = area.width;
    let value = if view.unit.is_empty() {
        view.big.clone()
    } else {
        format!("{} {}", view.big, view.unit)
    };
    let keys = view
        .keys
        .iter()
        .map(|(key, act)| format!("{key} {act}"))
        .collect::<Vec<_>>()
        .join("   ");
    let message = if view.message.is_empty() {
        String::new()
    } else {
        format!("{}{}", mark_word(view.mark), view.message)
    };
    let caution = view
        .caution
        .as_ref()
        .map_or_else(String::new, |caution| format!("CAUTION: {caution}"));
    let roomy = area.height >= 16;
    let status = if roomy {
        format!("{}  {}", view.state, view.place)
    } else {
        let ear = if view.ear.contains("open") {
            "ear"
        } else if view.ear.contains("LOST") {
            "EAR LOST"
        } else {
            ""
        };
        format!("{} {ear}", view.state)
    };
    // Bottom up: what must be there first, what may go last.
    let mut left = area.height.saturating_sub(1);
    let mut take = |wanted: u16, left_for_value: u16| -> u16 {
        let given = if left.saturating_sub(wanted) >= left_for_value {
            wanted
        } else {
            0
        };
        left -= given;
        given
    };
    let question_rows = take(wrapped_rows(&view.question, width), 1);
    let keys_rows = take(wrapped_rows(&keys, width), 1);
    let list_rows = take(u16::try_from(view.list.len()).unwrap_or(0), 1);
    let message_rows = take(wrapped_rows(&message, width), 1);
    let caution_rows = take(wrapped_rows(&caution, width), 1);
    let title_rows = take(u16::from(roomy), 4);
    let foot = if view.last.is_empty() {
        view.ear.clone()
    } else {
        format!("{}   last kept: {}", view.ear, view.last)
    };
    let foot_rows = take(u16::from(roomy), 4);
    let print = large(&value, width, left, look.small_blocks);
    let too_small =
        print.rows > left || (question_rows == 0 && !view.question.is_empty() && list_rows == 0);

    let bold = Style::new().add_modifier(Modifier::BOLD);
    let tint = |mark: Mark| match (look.colour, mark) {
        (true, Mark::Good) => bold.fg(Color::Green),
        (true, Mark::Watch | Mark::Bad) => bold.fg(Color::Yellow),
        _ => bold,
    };
    let mut y = area.y;
    let mut put = |frame: &mut Frame, text: &str, rows: u16, style: Style| {
        let rows = rows.min((area.y + area.height).saturating_sub(y));
        if rows > 0 {
            let place = Rect {
                x: area.x,
                y,
                width,
                height: rows,
            };
            frame.render_widget(
                Paragraph::new(text).wrap(Wrap { trim: true }).style(style),
                place,
            );
            y += rows;
        }
    };
    if title_rows > 0 {
        put(frame, &view.title, title_rows, Style::new());
    }
    put(frame, &status, 1, bold.add_modifier(Modifier::REVERSED));
    if too_small {
        put(frame, &value, print.rows.min(left.max(1)), bold);
        put(frame, "screen too small", 1, Style::new());
        return;
    }
    let high = left.max(print.rows);
    let place = Rect {
        x: area.x,
        y,
        width,
        height: high.min((area.y + area.height).saturating_sub(y)),
    };
    match print.size {
        Some(size) => {
            let text = BigText::builder()
                .pixel_size(size)
                .style(tint(view.mark))
                .lines(print.lines.into_iter().map(Line::from).collect::<Vec<_>>())
                .build();
            frame.render_widget(text, place);
        }
        None => frame.render_widget(Paragraph::new(print.lines.join("\n")).style(bold), place),
    }
    y += high;
    let mut put = |frame: &mut Frame, text: &str, rows: u16, style: Style| {
        let rows = rows.min((area.y + area.height).saturating_sub(y));
        if rows > 0 {
            let place = Rect {
                x: area.x,
                y,
                width,
                height: rows,
            };
            frame.render_widget(
                Paragraph::new(text).wrap(Wrap { trim: true }).style(style),
                place,
            );
            y += rows;
        }
    };
    put(frame, &caution, caution_rows, bold);
    put(frame, &message, message_rows, tint(view.mark));
    put(frame, &view.list.join("\n"), list_rows, Style::new());
    put(frame, &view.question, question_rows, bold);
    put(
        frame,
        &keys,
        keys_rows,
        Style::new().add_modifier(Modifier::REVERSED),
    );
    put(frame, &foot, foot_rows, Style::new());
}

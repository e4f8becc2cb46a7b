//! Very large print: letters of 8 by 8 points, in the largest form in which the
//! whole text fits. A number is never broken and never clipped.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use ratatui::widgets::Widget;
use tui_big_text::{BigText, PixelSize};

use super::Look;

/// A size of print; the larger first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Print {
    /// A point is this many cells wide and high.
    Full(u16),
    /// A point is one cell wide and half a cell high.
    HalfHeight,
    /// A point is half a cell wide and half a cell high.
    Quadrant,
    /// Plain letters, bold.
    Bold,
}

impl Print {
    /// Cells a letter, wide and high.
    #[must_use]
    pub fn cells(self) -> (u16, u16) {
        match self {
            Self::Full(scale) => (8 * scale, 8 * scale),
            Self::HalfHeight => (8, 4),
            Self::Quadrant => (4, 4),
            Self::Bold => (1, 1),
        }
    }
}

/// A text set in a print: its lines, and what stands in plain letters beside the last of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Set {
    pub print: Print,
    pub lines: Vec<String>,
    pub beside: String,
}

impl Set {
    pub fn height(&self) -> u16 {
        u16::try_from(self.lines.len())
            .unwrap_or(u16::MAX)
            .saturating_mul(self.print.cells().1)
    }

    pub fn render(&self, area: Rect, buffer: &mut Buffer, style: Style, look: Look) {
        let (wide, high) = self.print.cells();
        for (at, line) in (0_u16..).zip(&self.lines) {
            let y = area.y.saturating_add(high.saturating_mul(at));
            if y >= area.bottom() {
                return;
            }
            let row = Rect {
                y,
                height: high.min(area.bottom() - y),
                ..area
            };
            if self.print == Print::Bold {
                Line::styled(line.clone(), style).render(row, buffer);
            } else {
                big(line, self.print, row, buffer, style, look);
            }
            if usize::from(at) + 1 == self.lines.len() && !self.beside.is_empty() {
                let x = row
                    .x
                    .saturating_add(wide.saturating_mul(width_in_letters(line)));
                // On the foot of the large letters.
                let foot = row.y + high.saturating_sub(2).min(row.height.saturating_sub(1));
                if x < row.right() {
                    let place = Rect {
                        x,
                        y: foot,
                        width: row.right() - x,
                        height: 1,
                    };
                    Line::styled(self.beside.clone(), style).render(place, buffer);
                }
            }
        }
    }
}

fn big(text: &str, print: Print, area: Rect, buffer: &mut Buffer, style: Style, look: Look) {
    let (pixel, scale) = match print {
        Print::Full(scale) => (PixelSize::Full, scale.max(1)),
        Print::HalfHeight => (PixelSize::HalfHeight, 1),
        Print::Quadrant | Print::Bold => (PixelSize::Quadrant, 1),
    };
    let letters = width_in_letters(text);
    let (wide, high) = print.cells();
    let small = Rect::new(0, 0, (wide / scale).saturating_mul(letters), high / scale);
    if small.is_empty() {
        return;
    }
    let mut points = Buffer::empty(small);
    BigText::builder()
        .pixel_size(pixel)
        .lines(vec![Line::raw(text.to_owned())])
        .build()
        .render(small, &mut points);
    for row in 0..small.height * scale {
        for column in 0..small.width * scale {
            let (x, y) = (area.x.saturating_add(column), area.y.saturating_add(row));
            if x >= area.right() || y >= area.bottom() {
                continue;
            }
            let Some(point) = points.cell((column / scale, row / scale)) else {
                continue;
            };
            let Some(cell) = buffer.cell_mut((x, y)) else {
                continue;
            };
            if point.symbol() == " " {
                cell.set_symbol(" ");
            } else if look.unicode {
                cell.set_symbol(point.symbol()).set_style(style);
            } else {
                // A full block without any letter beyond ASCII.
                cell.set_symbol(" ")
                    .set_style(style.add_modifier(ratatui::style::Modifier::REVERSED));
            }
        }
    }
}

/// The size in which this text stands in a place of this size; `None` if not even plain letters fit.
#[must_use]
pub fn print_of(text: &str, unit: &str, width: u16, height: u16, look: Look) -> Option<Print> {
    set(text, unit, width, height, look).map(|set| set.print)
}

/// Sets a text in the largest print in which it fits whole.
pub fn set(text: &str, unit: &str, width: u16, height: u16, look: Look) -> Option<Set> {
    let (value, unit) = split(text, unit);
    let prints: &[Print] = if look.half_blocks {
        &[
            Print::Full(3),
            Print::Full(2),
            Print::Full(1),
            Print::HalfHeight,
            Print::Quadrant,
        ]
    } else {
        &[Print::Full(3), Print::Full(2), Print::Full(1)]
    };
    prints
        .iter()
        .find_map(|print| set_in(&value, &unit, *print, width, height))
        .or_else(|| set_bold(&value, &unit, width, height, look))
}

fn set_in(value: &str, unit: &str, print: Print, width: u16, height: u16) -> Option<Set> {
    let value = drawable(value)?;
    let (wide, high) = print.cells();
    let (columns, rows) = (width / wide, height / high);
    if columns == 0 || rows == 0 {
        return None;
    }
    if !is_number(&value) {
        let lines = break_at_spaces(&join(&value, unit), usize::from(columns))?;
        let lines: Option<Vec<String>> = lines.iter().map(|line| drawable(line)).collect();
        return lines
            .filter(|lines| lines.len() <= usize::from(rows))
            .map(|lines| Set {
                print,
                lines,
                beside: String::new(),
            });
    }
    let whole = drawable(&join(&value, unit)).filter(|_| has_all_letters(unit));
    if let Some(whole) = whole.filter(|whole| width_in_letters(whole) <= columns) {
        return Some(Set {
            print,
            lines: vec![whole],
            beside: String::new(),
        });
    }
    let beside = if unit.is_empty() {
        String::new()
    } else {
        format!(" {}", unit_words(unit))
    };
    let left = width.checked_sub(width_in_letters(&value).checked_mul(wide)?)?;
    (Span::raw(&beside).width() <= usize::from(left)).then(|| Set {
        print,
        lines: vec![value],
        beside,
    })
}

/// Sets words, such as a question, in one given print, broken at spaces.
pub fn set_words(text: &str, print: Print, width: u16, height: u16, look: Look) -> Option<Set> {
    if text.is_empty() || !look.half_blocks {
        return None;
    }
    let (wide, high) = print.cells();
    let lines = break_at_spaces(&drawable(text)?, usize::from(width / wide))?;
    (lines.len() <= usize::from(height / high)).then_some(Set {
        print,
        lines,
        beside: String::new(),
    })
}

fn set_bold(value: &str, unit: &str, width: u16, height: u16, look: Look) -> Option<Set> {
    let unit = if look.unicode {
        unit.to_owned()
    } else {
        unit_words(unit)
    };
    let text = join(value, &unit);
    let text = if look.unicode { text } else { ascii(&text) };
    let lines = if is_number(value) {
        (Span::raw(&text).width() <= usize::from(width)).then(|| vec![text])?
    } else {
        break_at_spaces(&text, usize::from(width))?
    };
    (lines.len() <= usize::from(height)).then_some(Set {
        print: Print::Bold,
        lines,
        beside: String::new(),
    })
}

/// The number and its unit, from a text such as `512.3 Ω`; words stay as they are.
fn split(text: &str, unit: &str) -> (String, String) {
    let text = text.trim();
    if unit.is_empty()
        && is_number(text)
        && let Some((value, unit)) = text.split_once(' ')
        && !unit.chars().any(|character| character.is_ascii_digit())
    {
        return (value.to_owned(), unit.trim().to_owned());
    }
    (text.to_owned(), unit.trim().to_owned())
}

/// What must stay in one piece: anything that begins as a number does, or is one word with a figure in it.
#[must_use]
pub fn is_number(text: &str) -> bool {
    let text = text.trim();
    let begins = text
        .trim_start_matches(['+', '-', '−', '.'])
        .starts_with(|first: char| first.is_ascii_digit());
    begins || (!text.contains(' ') && text.contains(|one: char| one.is_ascii_digit()))
}

fn join(value: &str, unit: &str) -> String {
    format!("{value} {unit}").trim().to_owned()
}

/// Symbols that the large letters lack, or that a plain terminal cannot show, as words.
#[must_use]
pub fn unit_words(unit: &str) -> String {
    let mut words = String::new();
    for character in unit.chars() {
        match character {
            'Ω' | '\u{2126}' => words.push_str("ohm"),
            '°' if unit.len() > '°'.len_utf8() => words.push_str("deg "),
            '°' => words.push_str("deg"),
            'µ' | 'μ' => words.push('u'),
            other => words.push(other),
        }
    }
    words
}

/// The same text in ASCII; what has no ASCII form is a question mark.
#[must_use]
pub fn ascii(text: &str) -> String {
    let mut plain = String::new();
    for character in text.chars() {
        match character {
            'Ω' | '\u{2126}' => plain.push_str("ohm"),
            '°' => plain.push_str("deg"),
            'µ' | 'μ' => plain.push('u'),
            '±' => plain.push_str("+/-"),
            '·' | '–' | '—' | '−' | '•' => plain.push('-'),
            '’' | '‘' => plain.push('\''),
            '“' | '”' => plain.push('"'),
            '…' => plain.push_str("..."),
            '×' => plain.push('x'),
            '≤' => plain.push_str("<="),
            '≥' => plain.push_str(">="),
            '→' => plain.push_str("->"),
            '\u{a0}' | '\u{202f}' => plain.push(' '),
            other if other.is_ascii() => plain.push(other),
            _ => plain.push('?'),
        }
    }
    plain
}

/// The text if the large font has every letter of it.
fn drawable(text: &str) -> Option<String> {
    has_all_letters(text).then(|| text.to_owned())
}

fn has_all_letters(text: &str) -> bool {
    text.chars().all(has_letter)
}

/// True if the font draws something for this letter: for one it lacks it draws nothing, without a word.
#[must_use]
pub fn has_letter(letter: char) -> bool {
    if letter == ' ' || letter.is_ascii_graphic() {
        return true;
    }
    let area = Rect::new(0, 0, 8, 8);
    let mut points = Buffer::empty(area);
    BigText::builder()
        .pixel_size(PixelSize::Full)
        .lines(vec![Line::raw(letter.to_string())])
        .build()
        .render(area, &mut points);
    points.content().iter().any(|cell| cell.symbol() == "█")
}

fn width_in_letters(text: &str) -> u16 {
    u16::try_from(Line::raw(text).styled_graphemes(Style::default()).count()).unwrap_or(u16::MAX)
}

/// Breaks at spaces only; `None` if a word is wider than a line.
pub fn break_at_spaces(text: &str, width: usize) -> Option<Vec<String>> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let long = Span::raw(word).width();
        if long > width {
            return None;
        }
        match lines.last_mut() {
            Some(line) if Span::raw(line.as_str()).width() + 1 + long <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    Some(lines)
}

/// Breaks at spaces, and a word that is wider than a line wherever it must. For sentences, never for values.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut pieces = String::new();
    for word in text.split_whitespace() {
        let mut filled = 0;
        for character in word.chars() {
            let wide = Span::raw(character.to_string()).width();
            if filled + wide > width {
                pieces.push(' ');
                filled = 0;
            }
            pieces.push(character);
            filled += wide;
        }
        pieces.push(' ');
    }
    break_at_spaces(&pieces, width.max(2)).unwrap_or_default()
}

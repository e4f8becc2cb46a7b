//! What stands on the page, in which print and broken where. Most wanted first: the
//! state, the value, the question, the caution, the choices, the keys, the message;
//! only then the rest. `paint` puts it onto the cells.

use ratatui::Frame;
use ratatui::text::Span;

use super::letters::{self, Print, Set, ascii, break_at_spaces, is_number, set, wrap};
use super::paint::too_small;
use super::{Look, mark_word};
use crate::core::{Mark, View};

/// Draws the view: one question on the screen. Pure.
///
/// What does not fit whole is left out, the least wanted first; a value is shown
/// whole or in smaller print. If the question itself does not fit, the screen
/// says that it is too small.
pub fn draw(frame: &mut Frame, view: &View, look: &Look) {
    let area = frame.area();
    if area.is_empty() {
        return;
    }
    let look = *look;
    let buffer = frame.buffer_mut();
    match Page::plan(view, look, area.width, area.height) {
        Some(page) => page.render(view, look, area, buffer),
        None => too_small(view, look, area, buffer),
    }
}

/// What stands on the page, already broken into lines.
pub(super) struct Page {
    pub(super) head: Vec<String>,
    pub(super) ear: String,
    pub(super) value: Set,
    pub(super) question: Block,
    pub(super) caution: Block,
    pub(super) message: Block,
    pub(super) list: Vec<String>,
    pub(super) keys: Vec<String>,
    pub(super) last: Vec<String>,
    /// Empty rows to be spread.
    pub(super) spare: u16,
}

/// A sentence: in large letters where there is room to spare.
pub(super) enum Block {
    Lines(Vec<String>),
    Large(Set),
}

impl Block {
    pub(super) fn height(&self) -> u16 {
        match self {
            Self::Lines(lines) => rows(lines),
            Self::Large(set) => set.height(),
        }
    }
}

impl Page {
    fn plan(view: &View, look: Look, width: u16, height: u16) -> Option<Self> {
        let columns = usize::from(width);
        let text = |text: &str| {
            if look.unicode {
                text.to_owned()
            } else {
                ascii(text)
            }
        };
        // The state, and the value in any print at all.
        if state_text(view).len() > columns {
            return None;
        }
        let mut room = Room {
            left: height.checked_sub(1)?,
        };
        let least = set(
            &view.big,
            &view.unit,
            width,
            room.left.min(least_rows(view, width)),
            look,
        )?;
        room.left = room.left.checked_sub(least.height())?;
        let question = wrap(&text(&view.question), columns);
        // While a list of the program itself is open, the list is what is asked.
        let list_asks = matches!(view.state, "MENU" | "METER" | "WHY?") && !view.list.is_empty();
        if !list_asks {
            room.left = room.left.checked_sub(rows(&question))?;
        }
        let caution = view
            .caution
            .as_deref()
            .filter(|caution| !caution.is_empty());
        let caution = caution.map(|caution| wrap(&text(&format!("CAUTION: {caution}")), columns));
        let caution = room.take(&caution.into_iter().collect::<Vec<_>>());
        let choices: Vec<String> = view.list.iter().map(|choice| text(choice)).collect();
        let (keys, message) = (key_lines(view, columns), message_lines(view, look, columns));
        // The choices in their most compact form first; they grow when all else is placed.
        let forms = list_forms(&choices, columns);
        let mut list = room.take(&forms[forms.len().saturating_sub(1)..]);
        let keys = room.take(&[keys]);
        // While a value is typed, its print comes before "Kept." of the value before it.
        let message_waits = view.state == "TYPED" && matches!(view.mark, Mark::Plain | Mark::Good);
        let message_forms = vec![message];
        let mut message = if message_waits {
            Vec::new()
        } else {
            room.take(&message_forms)
        };
        let question = if list_asks {
            room.take(&[question])
        } else {
            question
        };
        // The value first, unless it is only the name of a list.
        let list_leads = !list.is_empty() && !is_number(&view.big);
        if list_leads {
            room.grow(&mut list, &forms);
        }
        let most = least.height() + room.left;
        // A value takes what it can get; words only name what is asked, and leave room for the question.
        let most = if is_number(&view.big) {
            most
        } else {
            most.min((height / 3).max(4)).max(least.height())
        };
        let value = set(&view.big, &view.unit, width, most, look).unwrap_or(least.clone());
        room.left = (room.left + least.height()).saturating_sub(value.height());
        if message_waits {
            message = room.take(&message_forms);
        }
        if !list_leads {
            room.grow(&mut list, &forms);
        }
        let head = room.take(&head_forms(&text(&view.title), &text(&view.place), columns));
        let last = if view.last.is_empty() {
            Vec::new()
        } else {
            wrap(&text(&format!("Last kept: {}", view.last)), columns)
        };
        let last = room.take(&[last]);
        let mut louder = |lines: Vec<String>, is_wanted: bool| {
            let before = rows(&lines);
            let block = if is_wanted {
                large(lines, &value, width, room.left, look)
            } else {
                Block::Lines(lines)
            };
            room.left = (room.left + before).saturating_sub(block.height());
            block
        };
        let message = louder(message, message_leads(view));
        let question = louder(question, !message_leads(view));
        // The question is never in smaller print than the caution beside it.
        let is_question_large = matches!(question, Block::Large(_));
        let caution = louder(caution, is_question_large);
        let ear = ear_text(
            &text(&view.ear),
            columns.saturating_sub(state_text(view).len() + 1),
        );
        Some(Self {
            head,
            ear,
            value,
            question,
            caution,
            message,
            list,
            keys,
            last,
            spare: room.left,
        })
    }
}

/// Rows that are left.
struct Room {
    left: u16,
}

impl Room {
    /// The first form that fits, or nothing.
    fn take(&mut self, forms: &[Vec<String>]) -> Vec<String> {
        for form in forms {
            if let Some(left) = self.left.checked_sub(rows(form)) {
                self.left = left;
                return form.clone();
            }
        }
        Vec::new()
    }

    /// A roomier form in place of the one that was taken.
    fn grow(&mut self, taken: &mut Vec<String>, forms: &[Vec<String>]) {
        if taken.is_empty() {
            return;
        }
        self.left += rows(taken);
        *taken = self.take(forms);
    }
}

pub(super) fn rows(lines: &[String]) -> u16 {
    u16::try_from(lines.len()).unwrap_or(u16::MAX)
}

pub(super) fn state_text(view: &View) -> String {
    format!(" {} ", view.state)
}

/// Rows of the smallest print of the value: one, or more for words that must be broken.
fn least_rows(view: &View, width: u16) -> u16 {
    if is_number(&view.big) || view.big.is_empty() {
        return 1;
    }
    break_at_spaces(&format!("{} {}", view.big, view.unit), usize::from(width))
        .map_or(1, |lines| rows(&lines))
}

/// True where something has happened that matters more than the question.
pub(super) fn message_leads(view: &View) -> bool {
    matches!(
        view.state,
        "GOOD" | "WATCH" | "BAD" | "STOPPED" | "NOT SAVED"
    ) && !view.message.is_empty()
}

/// A sentence in large letters, where that costs nothing else and it stays smaller than the value.
fn large(lines: Vec<String>, value: &Set, width: u16, spare: u16, look: Look) -> Block {
    if lines.is_empty() || value.print >= Print::Quadrant {
        return Block::Lines(lines);
    }
    // A row above and one below stay free.
    let room = (spare + rows(&lines)).saturating_sub(2);
    letters::set_words(&lines.join(" "), Print::Quadrant, width, room, look)
        .map_or(Block::Lines(lines), Block::Large)
}

/// The list: one choice a row, in columns, or run together.
fn list_forms(choices: &[String], columns: usize) -> Vec<Vec<String>> {
    if choices.is_empty() {
        return vec![Vec::new()];
    }
    let each: Vec<String> = choices
        .iter()
        .flat_map(|choice| wrap(choice, columns))
        .collect();
    let widest = choices
        .iter()
        .map(|choice| Span::raw(choice).width())
        .max()
        .unwrap_or(0);
    let mut forms = vec![each];
    for across in 2..=3 {
        if across * (widest + 3) <= columns + 3 {
            let down = choices.len().div_ceil(across);
            let lines = (0..down).map(|row| {
                let cells = (0..across).filter_map(|column| choices.get(column * down + row));
                let mut line = String::new();
                for choice in cells {
                    line.push_str(choice);
                    let left = (widest + 3).saturating_sub(Span::raw(choice).width());
                    line.extend(std::iter::repeat_n(' ', left));
                }
                line.trim_end().to_owned()
            });
            forms.push(lines.collect());
        }
    }
    forms.push(joined(choices, columns));
    forms
}

/// Items side by side, broken between them only, where that can be.
fn joined(items: &[String], columns: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for item in items {
        let wide = Span::raw(item.as_str()).width();
        match lines.last_mut() {
            Some(line) if Span::raw(line.as_str()).width() + 2 + wide <= columns => {
                line.push_str("  ");
                line.push_str(item);
            }
            _ => lines.extend(wrap(item, columns)),
        }
    }
    lines
}

fn key_lines(view: &View, columns: usize) -> Vec<String> {
    let keys: Vec<String> = view
        .keys
        .iter()
        .map(|(key, act)| format!("[{key}] {act}"))
        .collect();
    joined(&keys, columns)
}

fn message_lines(view: &View, look: Look, columns: usize) -> Vec<String> {
    if view.message.is_empty() {
        return Vec::new();
    }
    let text = match mark_word(view.mark) {
        Some(word) => format!("{word}: {}", view.message),
        None => view.message.clone(),
    };
    wrap(&if look.unicode { text } else { ascii(&text) }, columns)
}

/// Title and place: on one row, or on two, or the place alone.
fn head_forms(title: &str, place: &str, columns: usize) -> Vec<Vec<String>> {
    let (left, right) = (Span::raw(title).width(), Span::raw(place).width());
    let mut forms = Vec::new();
    if left + right + 2 <= columns {
        forms.push(vec![format!(
            "{title}{}{place}",
            " ".repeat(columns - left - right)
        )]);
    } else {
        forms.push([wrap(title, columns), wrap(place, columns)].concat());
    }
    forms.push(wrap(place, columns));
    forms
}

/// The ear in words, or in its first words, as far as they fit whole.
fn ear_text(ear: &str, columns: usize) -> String {
    let short = ear.split(',').next().unwrap_or_default();
    let shortest = short.rsplit(": ").next().unwrap_or_default();
    [ear, short, shortest]
        .into_iter()
        .find(|text| Span::raw(*text).width() <= columns)
        .unwrap_or_default()
        .to_owned()
}

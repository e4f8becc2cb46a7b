//! A planned page, or that the screen is too small, onto the cells: empty rows,
//! styles and colour. What stands there is settled before, in `layout`.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::Widget;

use super::Look;
use super::layout::{Block, Page, message_leads, rows, state_text};
use super::letters::{Set, set, wrap};
use crate::core::{Mark, View};

impl Page {
    /// Draws it from top to bottom; the keys stand at the foot.
    pub(super) fn render(&self, view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
        let bold = Style::new().add_modifier(Modifier::BOLD);
        let colour = |wanted: Color| {
            if look.colour {
                Style::new().fg(wanted)
            } else {
                Style::new()
            }
        };
        let mark = match view.mark {
            Mark::Plain => Style::new(),
            Mark::Good => colour(Color::Green),
            Mark::Watch => colour(Color::Yellow),
            Mark::Bad => colour(Color::LightYellow),
        };
        let mut pen = Pen {
            at: area.y,
            area,
            buffer,
        };
        let gaps = self.gaps();
        pen.lines(&self.head, Style::new());
        pen.at += gaps.after_head;
        pen.state(&state_text(view), &self.ear, state_style(view, look));
        pen.at += gaps.after_state;
        pen.set(&self.value, bold, look);
        let message = |pen: &mut Pen| {
            pen.at += gaps.before_message;
            pen.block(&self.message, bold.patch(mark), look);
        };
        if message_leads(view) {
            message(&mut pen);
        }
        pen.at += gaps.before_question;
        pen.block(&self.question, bold, look);
        pen.at += gaps.before_caution;
        pen.block(&self.caution, bold.patch(colour(Color::Yellow)), look);
        if !message_leads(view) {
            message(&mut pen);
        }
        pen.at += gaps.before_list;
        pen.lines(&self.list, Style::new());
        // The keys are always at the foot: the eye finds them without looking for them.
        let foot = rows(&self.keys) + rows(&self.last);
        pen.at = pen.at.max(area.bottom().saturating_sub(foot));
        pen.lines(&self.last, Style::new());
        pen.lines(&self.keys, bold.patch(colour(Color::Cyan)));
    }

    /// Deals out the empty rows, the most useful first.
    fn gaps(&self) -> Gaps {
        let mut gaps = Gaps::default();
        let wanted = [
            (&mut gaps.before_caution, self.caution.height() > 0),
            (&mut gaps.before_message, self.message.height() > 0),
            (&mut gaps.before_list, !self.list.is_empty()),
            (&mut gaps.before_question, true),
            (&mut gaps.after_state, true),
            (&mut gaps.after_head, !self.head.is_empty()),
        ];
        let mut spare = self.spare;
        for (gap, is_wanted) in wanted {
            if is_wanted && spare > 0 {
                spare -= 1;
                *gap = 1;
            }
        }
        gaps
    }
}

/// The value if it fits at all, and that the rest does not.
pub(super) fn too_small(view: &View, look: Look, area: Rect, buffer: &mut Buffer) {
    let value = set(
        &view.big,
        &view.unit,
        area.width,
        area.height.saturating_sub(1),
        look,
    );
    let words = wrap("SCREEN TOO SMALL", usize::from(area.width));
    let mut pen = Pen {
        at: area.y,
        area,
        buffer,
    };
    match value {
        Some(value) if value.height() + rows(&words) <= area.height => {
            pen.lines(&words, Style::new().add_modifier(Modifier::BOLD));
            pen.set(&value, Style::new().add_modifier(Modifier::BOLD), look);
        }
        _ => pen.lines(&words, Style::new().add_modifier(Modifier::BOLD)),
    }
}

/// Empty rows, 0 or 1 each.
#[derive(Default)]
struct Gaps {
    after_head: u16,
    after_state: u16,
    before_question: u16,
    before_caution: u16,
    before_message: u16,
    before_list: u16,
}

/// Writes from top to bottom.
struct Pen<'a> {
    at: u16,
    area: Rect,
    buffer: &'a mut Buffer,
}

impl Pen<'_> {
    fn row(&self) -> Option<Rect> {
        (self.at < self.area.bottom()).then_some(Rect {
            y: self.at,
            height: 1,
            ..self.area
        })
    }

    fn lines(&mut self, lines: &[String], style: Style) {
        for line in lines {
            if let Some(row) = self.row() {
                Line::styled(line.as_str(), style).render(row, self.buffer);
            }
            self.at += 1;
        }
    }

    fn set(&mut self, set: &Set, style: Style, look: Look) {
        let left = self.area.bottom().saturating_sub(self.at);
        set.render(
            Rect {
                y: self.at,
                height: left,
                ..self.area
            },
            self.buffer,
            style,
            look,
        );
        self.at += set.height();
    }

    fn block(&mut self, block: &Block, style: Style, look: Look) {
        match block {
            Block::Lines(lines) => self.lines(lines, style),
            Block::Large(set) => self.set(set, style, look),
        }
    }

    fn state(&mut self, state: &str, ear: &str, style: Style) {
        if let Some(row) = self.row() {
            Line::raw(ear).right_aligned().render(row, self.buffer);
            Span::styled(state, style).render(row, self.buffer);
        }
        self.at += 1;
    }
}

fn state_style(view: &View, look: Look) -> Style {
    let style = Style::new().add_modifier(Modifier::BOLD | Modifier::REVERSED);
    let colour = match view.state {
        "GOOD" | "KEPT" | "DONE" => Color::Green,
        "WATCH" | "BAD" | "STOPPED" | "NOT SAVED" => Color::Yellow,
        "RIGHT?" | "HOLD" => Color::Cyan,
        _ => return style,
    };
    if look.colour { style.fg(colour) } else { style }
}

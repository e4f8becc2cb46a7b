//! Words into lines: broken where they must be, each look in its own run of letters.

use super::super::blocks::{Mark, Span};
use super::{Ink, Op, Strip, Work, moved};

/// A run of letters in one look, in a line.
struct Piece<'s> {
    text: String,
    span: &'s Span,
}

impl Work<'_> {
    /// The lines of a text.
    pub(super) fn lines(
        &mut self,
        spans: &[Span],
        width: f32,
        node: usize,
        right: bool,
    ) -> Vec<Strip> {
        let mut lines: Vec<Vec<Piece>> = vec![Vec::new()];
        let mut used = 0.0;
        for span in spans {
            let size = self.size_of(span);
            for word in self.words(span, size, width) {
                let whole = size * self.letters.shape(&word, span.bold).width;
                let seen = size * self.letters.shape(word.trim_end(), span.bold).width;
                if used > 0.0 && used + seen > width {
                    lines.push(Vec::new());
                    used = 0.0;
                }
                used += whole;
                let Some(line) = lines.last_mut() else {
                    continue;
                };
                match line.last_mut() {
                    Some(piece) if std::ptr::eq(piece.span, span) => piece.text.push_str(&word),
                    _ => line.push(Piece { text: word, span }),
                }
            }
        }
        lines
            .into_iter()
            .map(|line| self.line(line, width, node, right))
            .collect()
    }

    fn size_of(&self, span: &Span) -> f32 {
        self.size * span.times.unwrap_or(if span.small { 0.87 } else { 1.0 })
    }

    /// The words of a span with the blanks behind them; one that is wider than the line is broken.
    fn words(&self, span: &Span, size: f32, width: f32) -> Vec<String> {
        let writable = self
            .letters
            .writable(&crate::report::plain::plain(&span.text));
        let mut words: Vec<String> = Vec::new();
        for word in writable.split_inclusive(' ') {
            if size * self.letters.shape(word.trim_end(), span.bold).width <= width {
                words.push(word.to_owned());
                continue;
            }
            let mut part = String::new();
            for c in word.chars() {
                part.push(c);
                if part.chars().count() > 1
                    && size * self.letters.shape(&part, span.bold).width > width
                {
                    part.pop();
                    words.push(std::mem::take(&mut part));
                    part.push(c);
                }
            }
            words.push(part);
        }
        words
    }

    fn line(&self, line: Vec<Piece>, width: f32, node: usize, right: bool) -> Strip {
        let largest = line
            .iter()
            .map(|piece| self.size_of(piece.span))
            .fold(0.0, f32::max)
            .max(self.size * 0.87);
        let mut made = Strip {
            height: 1.24 * largest,
            ..Strip::default()
        };
        let y = 0.98 * largest;
        let mut x = 0.0;
        let mut marks = Vec::new();
        let mut words = Vec::new();
        for piece in line {
            let (span, size) = (piece.span, self.size_of(piece.span));
            let width_of = |text: &str| size * self.letters.shape(text, span.bold).width;
            let inset = if span.mark.is_some() {
                0.25 * size
            } else {
                0.0
            };
            let seen = width_of(piece.text.trim_end());
            if let Some(mark) = span.mark {
                marks.push(Op::Box {
                    x,
                    y: y - 0.88 * size,
                    width: seen + 2.0 * inset,
                    height: 1.1 * size,
                    line: (mark == Mark::Framed).then_some(0.7),
                });
            }
            if span.struck {
                marks.push(Op::Line {
                    from: (x, y - 0.3 * size),
                    to: (x + seen, y - 0.3 * size),
                    width: 0.6,
                    ink: Ink::Black,
                });
            }
            let ink = match (span.mark, span.small) {
                (Some(Mark::Reversed), _) => Ink::White,
                (_, true) => Ink::Grey,
                _ => Ink::Black,
            };
            let advance = width_of(&piece.text) + 2.0 * inset;
            words.push(Op::Text {
                x: x + inset,
                y,
                size,
                bold: span.bold,
                ink,
                text: piece.text,
                node,
            });
            x += advance;
        }
        // A blank at the end of the line is not seen.
        let seen = x - words.last().map_or(0.0, |op| match op {
            Op::Text {
                text, size, bold, ..
            } => {
                let all = self.letters.shape(text, *bold).width;
                size * (all - self.letters.shape(text.trim_end(), *bold).width)
            }
            _ => 0.0,
        });
        let shift = if right { (width - seen).max(0.0) } else { 0.0 };
        made.ops = moved(marks, shift, 0.0);
        made.ops.extend(moved(words, shift, 0.0));
        made
    }
}

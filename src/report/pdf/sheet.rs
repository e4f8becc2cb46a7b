//! Where everything stands: blocks become strips of a known height, strips are
//! stacked on sheets. All lengths in points, from the upper left corner.

mod lines;

use super::blocks::{Block, Span, Table};
use super::letters::Letters;

/// A4, ISO 216.
pub(super) const WIDTH: f32 = 595.28;
/// A4, ISO 216.
pub(super) const HEIGHT: f32 = 841.89;
/// To each side.
pub(super) const MARGIN: f32 = 30.0;
/// Above and below what is written; the foot stands in it.
const EDGE: f32 = 28.0;
/// Between columns.
const GAP: f32 = 14.0;

/// What a part of the page is, for those who do not see it.
#[derive(Clone, Debug)]
pub(super) enum Role {
    Document,
    Heading(u16, String),
    Paragraph,
    List,
    Item,
    ItemBody,
    Table,
    Row,
    HeadCell,
    Cell,
    Figure(String),
}

/// A part of the page in the order of reading.
pub(super) struct Node {
    pub(super) role: Role,
    pub(super) parent: usize,
}

/// Something drawn.
pub(super) enum Op {
    Text {
        x: f32,
        /// Of the line that the letters stand on.
        y: f32,
        size: f32,
        bold: bool,
        ink: Ink,
        text: String,
        node: usize,
    },
    Line {
        from: (f32, f32),
        to: (f32, f32),
        width: f32,
        ink: Ink,
    },
    Box {
        x: f32,
        y: f32,
        width: f32,
        height: f32,
        /// None: filled.
        line: Option<f32>,
    },
    Picture {
        x: f32,
        y: f32,
        width: f32,
        height: f32,
        svg: String,
        node: usize,
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ink {
    Black,
    Grey,
    White,
}

impl Op {
    fn moved(mut self, right: f32, down: f32) -> Self {
        match &mut self {
            Self::Text { x, y, .. } | Self::Box { x, y, .. } | Self::Picture { x, y, .. } => {
                *x += right;
                *y += down;
            }
            Self::Line { from, to, .. } => {
                for place in [from, to] {
                    place.0 += right;
                    place.1 += down;
                }
            }
        }
        self
    }
}

/// A piece of the page that is not broken.
#[derive(Default)]
struct Strip {
    height: f32,
    ops: Vec<Op>,
    /// Not the last thing on a sheet.
    keep_with_next: bool,
    /// A heading, for the outline.
    heading: Option<String>,
    new_sheet: bool,
}

/// A finished sheet.
#[derive(Default)]
pub(super) struct Sheet {
    pub(super) ops: Vec<Op>,
    pub(super) headings: Vec<(String, f32)>,
}

/// The sheets and the order of reading.
pub(super) struct Laid {
    pub(super) sheets: Vec<Sheet>,
    pub(super) nodes: Vec<Node>,
}

/// Lays blocks out with letters of this size.
pub(super) fn lay(letters: &Letters, blocks: &[Block], size: f32) -> Laid {
    let mut work = Work {
        letters,
        size,
        nodes: vec![Node {
            role: Role::Document,
            parent: 0,
        }],
    };
    let strips = work.blocks(blocks, WIDTH - 2.0 * MARGIN);
    Laid {
        sheets: stack(strips),
        nodes: work.nodes,
    }
}

fn stack(strips: Vec<Strip>) -> Vec<Sheet> {
    let room = HEIGHT - 2.0 * EDGE;
    let mut sheets = vec![Sheet::default()];
    let mut used = 0.0;
    let mut waiting = strips.into_iter().peekable();
    while let Some(strip) = waiting.next() {
        let with_next = match waiting.peek() {
            Some(next) if strip.keep_with_next => strip.height + next.height,
            _ => strip.height,
        };
        if used > 0.0 && (strip.new_sheet || used + with_next > room) {
            sheets.push(Sheet::default());
            used = 0.0;
        }
        let Some(sheet) = sheets.last_mut() else {
            break;
        };
        let top = EDGE + used;
        if let Some(heading) = strip.heading {
            sheet.headings.push((heading, top));
        }
        sheet
            .ops
            .extend(strip.ops.into_iter().map(|op| op.moved(MARGIN, top)));
        used += strip.height;
    }
    sheets
}

struct Work<'a> {
    letters: &'a Letters,
    size: f32,
    nodes: Vec<Node>,
}

impl Work<'_> {
    fn node(&mut self, role: Role, parent: usize) -> usize {
        self.nodes.push(Node { role, parent });
        self.nodes.len() - 1
    }

    fn blocks(&mut self, blocks: &[Block], width: f32) -> Vec<Strip> {
        blocks
            .iter()
            .flat_map(|block| self.block(block, width))
            .collect()
    }

    fn block(&mut self, block: &Block, width: f32) -> Vec<Strip> {
        match block {
            Block::Heading(level, words) => vec![self.heading(*level, words, width)],
            Block::Paragraph(spans) => {
                let node = self.node(Role::Paragraph, 0);
                self.lines(spans, width, node, false)
            }
            Block::List(items) => {
                let list = self.node(Role::List, 0);
                items
                    .iter()
                    .map(|item| self.item(item, width, list))
                    .collect()
            }
            Block::Table(table) => self.table(table, width),
            Block::Picture { svg, alt } => vec![self.picture(svg, alt, width)],
            Block::Beside(left, right, part) => {
                let first = (width - GAP) * part;
                let left = self.blocks(left, first);
                let right = self.blocks(right, width - GAP - first);
                beside(left, right, first + GAP)
            }
            Block::Boxed(blocks) => {
                let inset = 0.6 * self.size;
                let inside = self.blocks(blocks, width - 2.0 * inset);
                boxed(inside, inset, width)
            }
            Block::Columns(items) => self.columns(items, width),
            Block::Signatures(names) => vec![self.signatures(names, width)],
            Block::NewSheet => vec![Strip {
                new_sheet: true,
                keep_with_next: true,
                ..Strip::default()
            }],
        }
    }

    fn heading(&mut self, level: u16, words: &str, width: f32) -> Strip {
        // A heading without a title is refused by PDF/UA: a tag can be empty, or of letters that are not seen.
        let mut words = crate::report::plain::plain(words);
        if words.trim().is_empty() {
            words = "\u{2013}".to_owned();
        }
        let node = self.node(Role::Heading(level, words.clone()), 0);
        let times = if level == 1 { 2.0 } else { 1.1 };
        let span = Span {
            times: Some(times),
            ..super::blocks::bold(words.as_str())
        };
        let above = if level == 1 { 0.0 } else { 0.55 * self.size };
        let mut strip = one_strip(self.lines(std::slice::from_ref(&span), width, node, false));
        strip.ops = moved(strip.ops, 0.0, above);
        strip.height += above;
        if level > 1 {
            strip.ops.push(Op::Line {
                from: (0.0, strip.height),
                to: (width, strip.height),
                width: 0.9,
                ink: Ink::Black,
            });
            strip.height += 0.25 * self.size;
        }
        strip.keep_with_next = true;
        strip.heading = Some(words);
        strip
    }

    fn item(&mut self, item: &[Span], width: f32, list: usize) -> Strip {
        let parent = self.node(Role::Item, list);
        let node = self.node(Role::ItemBody, parent);
        let indent = 0.9 * self.size;
        let mut strip = one_strip(self.lines(item, width - indent, node, false));
        strip.ops = moved(strip.ops, indent, 0.0);
        // A short stroke in front; it says nothing, so it is not read out.
        strip.ops.push(Op::Line {
            from: (0.15 * self.size, 0.72 * self.size),
            to: (0.55 * self.size, 0.72 * self.size),
            width: 0.8,
            ink: Ink::Black,
        });
        strip
    }

    fn picture(&mut self, svg: &str, alt: &str, width: f32) -> Strip {
        let node = self.node(Role::Figure(alt.to_owned()), 0);
        let (across, down) = view_box(svg).unwrap_or((360.0, 176.0));
        let width = width.min(330.0);
        let height = width * down / across;
        Strip {
            height: height + 0.3 * self.size,
            ops: vec![Op::Picture {
                x: 0.0,
                y: 0.0,
                width,
                height,
                svg: svg.to_owned(),
                node,
            }],
            ..Strip::default()
        }
    }

    fn table(&mut self, table: &Table, width: f32) -> Vec<Strip> {
        let node = self.node(Role::Table, 0);
        let mut strips = Vec::new();
        if !table.head.is_empty() {
            let head: Vec<Vec<Span>> = table
                .head
                .iter()
                .map(|name| {
                    vec![Span {
                        times: Some(0.88),
                        ..super::blocks::bold(*name)
                    }]
                })
                .collect();
            let mut strip = self.row(&head, table, width, node, true);
            strip.keep_with_next = true;
            strips.push(strip);
        }
        for row in &table.rows {
            strips.push(self.row(row, table, width, node, false));
        }
        strips
    }

    fn row(
        &mut self,
        row: &[Vec<Span>],
        table: &Table,
        width: f32,
        parent: usize,
        head: bool,
    ) -> Strip {
        let parent = self.node(Role::Row, parent);
        let mut made = Strip::default();
        let mut x = 0.0;
        for (at, cell) in row.iter().enumerate() {
            let room = width * table.widths.get(at).copied().unwrap_or(0.0);
            let role = if head { Role::HeadCell } else { Role::Cell };
            let node = self.node(role, parent);
            let right = table.numbers.contains(&at);
            let between = 0.5 * self.size;
            let cell = one_strip(self.lines(cell, room - between, node, right));
            made.ops.extend(moved(cell.ops, x, 0.12 * self.size));
            made.height = made.height.max(cell.height);
            x += room;
        }
        made.height += 0.24 * self.size;
        made.ops.push(Op::Line {
            from: (0.0, made.height),
            to: (width, made.height),
            width: if head { 0.9 } else { 0.3 },
            ink: if head { Ink::Black } else { Ink::Grey },
        });
        made
    }

    /// Items in two columns, sheet by sheet; the last sheet has both columns about equally long.
    fn columns(&mut self, items: &[Vec<Span>], width: f32) -> Vec<Strip> {
        let column = (width - GAP) / 2.0;
        let list = self.node(Role::List, 0);
        let mut strips: Vec<Strip> = items
            .iter()
            .map(|item| self.item(item, column, list))
            .collect();
        let mut made = Vec::new();
        // The heading and the note stand on the first of these sheets too.
        let full = HEIGHT - 2.0 * EDGE - 7.0 * self.size;
        while !strips.is_empty() {
            let all: f32 = strips.iter().map(|strip| strip.height).sum();
            let goal = full.min(all / 2.0 + 1.5 * self.size);
            let mut take = || {
                let mut height = 0.0;
                let fits = strips
                    .iter()
                    .take_while(|strip| {
                        height += strip.height;
                        height <= goal
                    })
                    .count()
                    .max(1)
                    .min(strips.len());
                one_strip(strips.drain(..fits).collect())
            };
            let (left, right) = (take(), take());
            made.extend(beside(vec![left], vec![right], column + GAP));
        }
        made
    }

    fn signatures(&mut self, names: &[&str; 3], width: f32) -> Strip {
        let part = (width - 2.0 * GAP) / 3.0;
        let mut made = Strip::default();
        let above = 3.4 * self.size;
        for (at, name) in names.iter().enumerate() {
            // Three places, counted in a byte: exact in a float.
            let x = f32::from(u8::try_from(at).unwrap_or(0)) * (part + GAP);
            let node = self.node(Role::Paragraph, 0);
            let span = super::blocks::text(*name);
            let strip = one_strip(self.lines(std::slice::from_ref(&span), part, node, false));
            made.ops.push(Op::Line {
                from: (x, above),
                to: (x + part, above),
                width: 0.6,
                ink: Ink::Black,
            });
            made.height = made.height.max(above + strip.height);
            made.ops.extend(moved(strip.ops, x, above));
        }
        made
    }
}

fn moved(ops: Vec<Op>, right: f32, down: f32) -> Vec<Op> {
    ops.into_iter().map(|op| op.moved(right, down)).collect()
}

/// Strips one under the other as one that is not broken.
fn one_strip(strips: Vec<Strip>) -> Strip {
    let mut made = Strip::default();
    for strip in strips {
        made.ops.extend(moved(strip.ops, 0.0, made.height));
        made.height += strip.height;
    }
    made
}

/// Two columns. What does not fit on a sheet side by side is put one under the other.
fn beside(left: Vec<Strip>, right: Vec<Strip>, second: f32) -> Vec<Strip> {
    let height = |strips: &[Strip]| strips.iter().map(|strip| strip.height).sum::<f32>();
    if height(&left).max(height(&right)) > HEIGHT - 2.0 * EDGE {
        return left.into_iter().chain(right).collect();
    }
    let (mut made, right) = (one_strip(left), one_strip(right));
    made.height = made.height.max(right.height);
    made.ops.extend(moved(right.ops, second, 0.0));
    vec![made]
}

/// Strips in a frame; a frame that would be higher than a sheet is left out.
fn boxed(inside: Vec<Strip>, inset: f32, width: f32) -> Vec<Strip> {
    let inside = inside.into_iter().map(|mut strip| {
        strip.ops = moved(strip.ops, inset, 0.0);
        strip
    });
    let whole: Vec<Strip> = inside.collect();
    let height: f32 = whole.iter().map(|strip| strip.height).sum();
    if height > HEIGHT - 2.0 * EDGE - 6.0 * inset {
        return whole;
    }
    let inner = one_strip(whole);
    let mut made = Strip {
        height: inner.height + 3.0 * inset,
        ops: vec![Op::Box {
            x: 0.0,
            y: inset,
            width,
            height: inner.height + inset,
            line: Some(1.6),
        }],
        ..Strip::default()
    };
    made.ops.extend(moved(inner.ops, 0.0, 1.4 * inset));
    vec![made]
}

/// Width and height from `viewBox="0 0 W H"`.
fn view_box(svg: &str) -> Option<(f32, f32)> {
    let (_, rest) = svg.split_once("viewBox=\"")?;
    let (numbers, _) = rest.split_once('"')?;
    let numbers: Vec<f32> = numbers
        .split(' ')
        .filter_map(|number| number.parse().ok())
        .collect();
    match numbers[..] {
        [_, _, width, height] if width > 0.0 && height > 0.0 => Some((width, height)),
        _ => None,
    }
}

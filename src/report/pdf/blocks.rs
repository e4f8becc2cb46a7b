//! What a page is made of, before anybody knows where it stands.

/// A piece of text in one look.
#[derive(Clone, Debug, Default)]
pub(super) struct Span {
    pub(super) text: String,
    pub(super) bold: bool,
    /// Smaller and grey: where something comes from, numbers of records.
    pub(super) small: bool,
    /// Struck through: a value that was replaced.
    pub(super) struck: bool,
    /// In a frame, or white on black.
    pub(super) mark: Option<Mark>,
    /// Size against that of the page.
    pub(super) times: Option<f32>,
}

/// How a word is set off, so that it is seen without colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mark {
    /// In a frame.
    Framed,
    /// White on black.
    Reversed,
}

pub(super) fn text(text: impl Into<String>) -> Span {
    Span {
        text: text.into(),
        ..Span::default()
    }
}

pub(super) fn bold(words: impl Into<String>) -> Span {
    Span {
        bold: true,
        ..text(words)
    }
}

pub(super) fn small(words: impl Into<String>) -> Span {
    Span {
        small: true,
        ..text(words)
    }
}

pub(super) fn struck(words: impl Into<String>) -> Span {
    Span {
        struck: true,
        ..text(words)
    }
}

pub(super) fn mark(words: impl Into<String>, mark: Mark) -> Span {
    Span {
        bold: true,
        mark: Some(mark),
        ..text(words)
    }
}

/// A part of the page.
#[derive(Clone, Debug)]
pub(super) enum Block {
    /// Level 1 is the tag, 2 a section.
    Heading(u16, String),
    Paragraph(Vec<Span>),
    List(Vec<Vec<Span>>),
    Table(Table),
    Picture {
        svg: String,
        alt: String,
    },
    /// Two columns; the number is the part of the width that the first takes.
    Beside(Vec<Block>, Vec<Block>, f32),
    /// In a frame.
    Boxed(Vec<Block>),
    /// A list in two columns, as many sheets as it takes.
    Columns(Vec<Vec<Span>>),
    /// Lines to sign on.
    Signatures([&'static str; 3]),
    /// Goes on a new sheet.
    NewSheet,
}

/// A table.
#[derive(Clone, Debug)]
pub(super) struct Table {
    /// Parts of the width.
    pub(super) widths: Vec<f32>,
    /// Names of the columns.
    pub(super) head: Vec<&'static str>,
    /// Columns that hold numbers: to the right.
    pub(super) numbers: Vec<usize>,
    pub(super) rows: Vec<Vec<Vec<Span>>>,
}

//! The record as PDF: one sheet where it fits and all answers behind it, tagged
//! for screen readers (PDF/UA-1, ISO 14289-1, as far as the writer checks it),
//! with its letters inside.
//!
//! No state, no clock: the same record gives the same bytes.

mod blocks;
mod content;
mod draw;
mod letters;
mod sheet;

use self::letters::Letters;
use super::types::Report;

/// Why no PDF could be made.
#[derive(Debug, thiserror::Error)]
pub enum PdfError {
    /// The letters inside the program cannot be read.
    #[error("the letters inside the program cannot be read. Build it again from clean sources")]
    Letters,
    /// A picture cannot be drawn.
    #[error(
        "a picture of the record cannot be drawn: {0}. The page (HTML) has it; report this as a fault of Sayback"
    )]
    Picture(String),
    /// A part has no size.
    #[error(
        "a part of the PDF would have no size. The page (HTML) has it; report this as a fault of Sayback"
    )]
    Size,
    /// What was laid out does not keep to PDF/UA.
    #[error(
        "the PDF would not be readable for everybody: {0}. The page (HTML) is whole; report this as a fault of Sayback"
    )]
    Refused(String),
}

/// Sizes of the letters, in points, the largest that keeps the front to one sheet first.
const SIZES: [f32; 5] = [8.4, 8.0, 7.6, 7.2, 6.8];

/// The size where the front takes more than one sheet anyhow.
const USUAL: f32 = 8.0;

/// The record as PDF.
///
/// # Errors
/// If a picture cannot be drawn or the document would not be tagged as it must be; each is a fault of Sayback.
pub fn pdf(report: &Report) -> Result<Vec<u8>, PdfError> {
    let letters = Letters::new().ok_or(PdfError::Letters)?;
    let unwritable = super::json(report)
        .chars()
        .any(|c| c != '\n' && !letters.have(c));
    let front = content::front(report, unwritable);
    let size = SIZES
        .into_iter()
        .find(|size| sheet::lay(&letters, &front, *size).sheets.len() == 1)
        .unwrap_or(USUAL);
    let mut blocks = front;
    blocks.extend(content::behind(report));
    let laid = sheet::lay(&letters, &blocks, size);
    let head = &report.head;
    let tag = head.tag.as_deref().unwrap_or("no tag");
    let about = draw::About {
        title: super::plain::plain(&format!("{tag} {}", head.title)),
        author: head.by.as_deref().map(super::plain::plain),
        program: super::plain::plain(&head.program),
        made: head.last.utc.clone(),
        foot: format!("{tag}, {}", head.started.to_read()),
    };
    draw::draw(&letters, &laid, &about)
}

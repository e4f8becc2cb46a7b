//! The letters of the PDF: two cuts inside the program, shaped and measured.
//!
//! No state: what a text looks like depends on the text alone.

use krilla::text::{Font, GlyphId, KrillaGlyph};
use rustybuzz::ttf_parser::Tag;
use rustybuzz::{Face, Feature, UnicodeBuffer};

const REGULAR: &[u8] = include_bytes!("../../../fonts/DejaVuSansCondensed.ttf");
const BOLD: &[u8] = include_bytes!("../../../fonts/DejaVuSansCondensed-Bold.ttf");

/// Shown for a character that the letters do not have (Unicode: replacement character).
const NOT_THERE: char = '\u{FFFD}';

/// Regular and bold.
pub(super) struct Letters {
    regular: Cut,
    bold: Cut,
}

struct Cut {
    font: Font,
    face: Face<'static>,
}

/// A text with its glyphs.
pub(super) struct Shaped {
    pub(super) text: String,
    pub(super) glyphs: Vec<KrillaGlyph>,
    /// Width in parts of the size.
    pub(super) width: f32,
}

impl Letters {
    /// None only if the program was built with broken fonts.
    pub(super) fn new() -> Option<Self> {
        let cut = |bytes: &'static [u8]| {
            Some(Cut {
                font: Font::new(bytes.into(), 0)?,
                face: Face::from_slice(bytes, 0)?,
            })
        };
        Some(Self {
            regular: cut(REGULAR)?,
            bold: cut(BOLD)?,
        })
    }

    /// The fonts, for the pictures.
    pub(super) fn bytes() -> [&'static [u8]; 2] {
        [REGULAR, BOLD]
    }

    fn cut(&self, bold: bool) -> &Cut {
        if bold { &self.bold } else { &self.regular }
    }

    pub(super) fn font(&self, bold: bool) -> Font {
        self.cut(bold).font.clone()
    }

    /// True if both cuts have this character.
    pub(super) fn have(&self, c: char) -> bool {
        [&self.regular, &self.bold]
            .iter()
            .all(|cut| cut.face.glyph_index(c).is_some_and(|glyph| glyph.0 != 0))
    }

    /// The text with a sign for each character that is not there.
    pub(super) fn writable(&self, text: &str) -> String {
        text.chars()
            .map(|c| if self.have(c) { c } else { NOT_THERE })
            .collect()
    }

    /// Glyphs and width of a text that [`Self::writable`] gave.
    pub(super) fn shape(&self, text: &str, bold: bool) -> Shaped {
        let face = &self.cut(bold).face;
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(text);
        // Letters joined into one glyph are harder to copy from a page than they are worth.
        let apart = Feature::new(Tag::from_bytes(b"liga"), 0, ..);
        let shaped = rustybuzz::shape(face, &[apart], buffer);
        // The size of a letter is far below what a 32-bit float holds exactly.
        #[allow(clippy::cast_precision_loss)]
        let em = |length: i32| length as f32 / face.units_per_em() as f32;
        let mut starts: Vec<usize> = shaped
            .glyph_infos()
            .iter()
            .map(|info| info.cluster as usize)
            .collect();
        starts.sort_unstable();
        starts.dedup();
        let end_of = |start: usize| {
            starts
                .iter()
                .find(|next| **next > start)
                .map_or(text.len(), |next| *next)
        };
        let glyphs: Vec<KrillaGlyph> = shaped
            .glyph_infos()
            .iter()
            .zip(shaped.glyph_positions())
            .map(|(info, at)| {
                let start = info.cluster as usize;
                KrillaGlyph::new(
                    GlyphId::new(info.glyph_id),
                    em(at.x_advance),
                    em(at.x_offset),
                    em(at.y_offset),
                    em(at.y_advance),
                    start..end_of(start),
                    None,
                )
            })
            .collect();
        Shaped {
            width: glyphs.iter().map(|glyph| glyph.x_advance).sum(),
            text: text.to_owned(),
            glyphs,
        }
    }
}

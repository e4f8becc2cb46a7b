//! Sheets to PDF: drawn in the order of reading, each part tagged for those who
//! do not see it. What is only decoration is marked as that.

use std::num::NonZeroU16;
use std::sync::Arc;

use krilla::Document;
use krilla::SerializeSettings;
use krilla::color::rgb;
use krilla::configure::{Configuration, Validator};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::metadata::{DateTime, Metadata};
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::tagging::{
    ArtifactType, ContentTag, Identifier, ListNumbering, Node as Branch, SpanTag, TableHeaderScope,
    Tag, TagGroup, TagTree,
};
use krilla_svg::{SurfaceExt, SvgSettings};

use super::PdfError;
use super::letters::Letters;
use super::sheet::{HEIGHT, Ink, Laid, MARGIN, Node, Op, Role, Sheet, WIDTH};
use crate::report::plot;

/// What is said about the document as a whole.
pub(super) struct About {
    pub(super) title: String,
    pub(super) author: Option<String>,
    pub(super) program: String,
    /// RFC 3339, UTC.
    pub(super) made: String,
    /// At the foot of each sheet.
    pub(super) foot: String,
}

pub(super) fn draw(letters: &Letters, laid: &Laid, about: &About) -> Result<Vec<u8>, PdfError> {
    let settings = SerializeSettings {
        configuration: Configuration::new_with_validator(Validator::UA1),
        enable_tagging: true,
        ..SerializeSettings::default()
    };
    let mut document = Document::new_with(settings);
    let pictures = Pictures::new();
    let mut found: Vec<Vec<Identifier>> = laid.nodes.iter().map(|_| Vec::new()).collect();
    let mut outline = Outline::new();
    for (at, sheet) in laid.sheets.iter().enumerate() {
        for (words, top) in &sheet.headings {
            let place = XyzDestination::new(at, Point::from_xy(MARGIN, *top));
            outline.push_child(OutlineNode::new(words.clone(), place));
        }
        let size = PageSettings::from_wh(WIDTH, HEIGHT).ok_or(PdfError::Size)?;
        let mut page = document.start_page_with(size);
        let mut surface = page.surface();
        draw_sheet(&mut surface, letters, &pictures, sheet, &mut found)?;
        let foot = format!("{}, sheet {} of {}", about.foot, at + 1, laid.sheets.len());
        draw_foot(&mut surface, letters, &foot);
        surface.finish();
        page.finish();
    }
    document.set_outline(outline);
    document.set_metadata(metadata(about));
    document.set_tag_tree(tree(&laid.nodes, found));
    document
        .finish()
        .map_err(|error| PdfError::Refused(format!("{error:?}")))
}

fn metadata(about: &About) -> Metadata {
    let mut metadata = Metadata::new()
        .title(about.title.clone())
        .language("en".to_owned())
        .creator(about.program.clone())
        .producer("krilla".to_owned());
    if let Some(author) = &about.author {
        metadata = metadata.authors(vec![author.clone()]);
    }
    if let Some(made) = date(&about.made) {
        metadata = metadata.creation_date(made);
    }
    metadata
}

/// The date of an RFC 3339 time in UTC.
fn date(utc: &str) -> Option<DateTime> {
    let number = |from: usize, to: usize| utc.get(from..to)?.parse::<u8>().ok();
    Some(
        DateTime::new(utc.get(..4)?.parse().ok()?)
            .month(number(5, 7)?)
            .day(number(8, 10)?)
            .hour(number(11, 13)?)
            .minute(number(14, 16)?)
            .second(number(17, 19)?)
            .utc_offset_hour(0)
            .utc_offset_minute(0),
    )
}

fn draw_sheet(
    surface: &mut Surface,
    letters: &Letters,
    pictures: &Pictures,
    sheet: &Sheet,
    found: &mut [Vec<Identifier>],
) -> Result<(), PdfError> {
    for op in &sheet.ops {
        match op {
            Op::Text {
                x,
                y,
                size,
                bold,
                ink,
                text,
                node,
            } => {
                let tag = surface.start_tagged(ContentTag::Span(SpanTag::empty()));
                write(surface, letters, (*x, *y), *size, *bold, *ink, text);
                surface.end_tagged();
                found[*node].push(tag);
            }
            Op::Line {
                from,
                to,
                width,
                ink,
            } => {
                let mut path = PathBuilder::new();
                path.move_to(from.0, from.1);
                path.line_to(to.0, to.1);
                decorate(surface, path, Some(*width), *ink);
            }
            Op::Box {
                x,
                y,
                width,
                height,
                line,
            } => {
                let mut path = PathBuilder::new();
                if let Some(rect) = Rect::from_xywh(*x, *y, *width, *height) {
                    path.push_rect(rect);
                }
                decorate(surface, path, *line, Ink::Black);
            }
            Op::Picture {
                x,
                y,
                width,
                height,
                svg,
                node,
            } => {
                let tree = pictures.read(svg)?;
                let size = Size::from_wh(*width, *height).ok_or(PdfError::Size)?;
                let tag = surface.start_tagged(ContentTag::Other);
                surface.push_transform(&Transform::from_translate(*x, *y));
                surface.draw_svg(&tree, size, SvgSettings::default());
                surface.pop();
                surface.end_tagged();
                found[*node].push(tag);
            }
        }
    }
    Ok(())
}

fn draw_foot(surface: &mut Surface, letters: &Letters, foot: &str) {
    const SIZE: f32 = 6.5;
    surface.start_tagged(ContentTag::Artifact(ArtifactType::Footer));
    let foot = letters.writable(&super::super::plain::plain(foot));
    let width = SIZE * letters.shape(&foot, false).width;
    let place = ((WIDTH - MARGIN - width).max(MARGIN), HEIGHT - 14.0);
    write(surface, letters, place, SIZE, false, Ink::Grey, &foot);
    surface.end_tagged();
}

fn write(
    surface: &mut Surface,
    letters: &Letters,
    place: (f32, f32),
    size: f32,
    bold: bool,
    ink: Ink,
    text: &str,
) {
    let shaped = letters.shape(text, bold);
    surface.set_stroke(None);
    surface.set_fill(Some(Fill {
        paint: colour(ink).into(),
        opacity: NormalizedF32::ONE,
        ..Fill::default()
    }));
    surface.draw_glyphs(
        Point::from_xy(place.0, place.1),
        &shaped.glyphs,
        letters.font(bold),
        &shaped.text,
        size,
        false,
    );
}

fn decorate(surface: &mut Surface, path: PathBuilder, line: Option<f32>, ink: Ink) {
    let Some(path) = path.finish() else { return };
    surface.start_tagged(ContentTag::Artifact(ArtifactType::Other));
    if let Some(width) = line {
        surface.set_fill(None);
        surface.set_stroke(Some(Stroke {
            paint: colour(ink).into(),
            width,
            ..Stroke::default()
        }));
    } else {
        surface.set_stroke(None);
        surface.set_fill(Some(Fill {
            paint: colour(ink).into(),
            ..Fill::default()
        }));
    }
    surface.draw_path(&path);
    surface.end_tagged();
}

fn colour(ink: Ink) -> rgb::Color {
    match ink {
        Ink::Black => rgb::Color::new(0, 0, 0),
        Ink::Grey => rgb::Color::new(64, 64, 64),
        Ink::White => rgb::Color::new(255, 255, 255),
    }
}

/// The pictures of the page, read with the letters of the PDF.
struct Pictures {
    options: usvg::Options<'static>,
}

impl Pictures {
    fn new() -> Self {
        let mut fonts = usvg::fontdb::Database::new();
        for bytes in Letters::bytes() {
            fonts.load_font_data(bytes.to_vec());
        }
        let family = fonts
            .faces()
            .next()
            .and_then(|face| face.families.first())
            .map_or_else(String::new, |(name, _)| name.clone());
        Self {
            options: usvg::Options {
                font_family: family,
                style_sheet: Some(plot::STYLE.to_owned()),
                fontdb: Arc::new(fonts),
                ..usvg::Options::default()
            },
        }
    }

    fn read(&self, svg: &str) -> Result<usvg::Tree, PdfError> {
        // On the page the name space is that of HTML; on its own the picture must name it.
        let alone = svg.replacen("<svg ", "<svg xmlns=\"http://www.w3.org/2000/svg\" ", 1);
        usvg::Tree::from_str(&alone, &self.options)
            .map_err(|error| PdfError::Picture(error.to_string()))
    }
}

fn tree(nodes: &[Node], found: Vec<Vec<Identifier>>) -> TagTree {
    let mut children: Vec<Vec<usize>> = nodes.iter().map(|_| Vec::new()).collect();
    for (at, node) in nodes.iter().enumerate().skip(1) {
        children[node.parent].push(at);
    }
    let mut found: Vec<Option<Vec<Identifier>>> = found.into_iter().map(Some).collect();
    let mut tree = TagTree::new();
    for at in &children[0] {
        tree.push(branch(*at, nodes, &children, &mut found));
    }
    tree
}

fn branch(
    at: usize,
    nodes: &[Node],
    children: &[Vec<usize>],
    found: &mut [Option<Vec<Identifier>>],
) -> TagGroup {
    let mut inside: Vec<Branch> = found[at]
        .take()
        .unwrap_or_default()
        .into_iter()
        .map(Branch::from)
        .collect();
    for child in &children[at] {
        inside.push(branch(*child, nodes, children, found).into());
    }
    let level = |level: u16| NonZeroU16::new(level).unwrap_or(NonZeroU16::MIN);
    match &nodes[at].role {
        Role::Document => TagGroup::with_children(Tag::Div, inside),
        Role::Heading(depth, words) => {
            TagGroup::with_children(Tag::Hn(level(*depth), Some(words.clone())), inside)
        }
        Role::Paragraph => TagGroup::with_children(Tag::P, inside),
        Role::List => TagGroup::with_children(Tag::L(ListNumbering::None), inside),
        Role::Item => TagGroup::with_children(Tag::LI, inside),
        Role::ItemBody => TagGroup::with_children(Tag::LBody, inside),
        Role::Table => TagGroup::with_children(Tag::Table, inside),
        Role::Row => TagGroup::with_children(Tag::TR, inside),
        Role::HeadCell => TagGroup::with_children(Tag::TH(TableHeaderScope::Column), inside),
        Role::Cell => TagGroup::with_children(Tag::TD, inside),
        Role::Figure(alt) => TagGroup::with_children(Tag::Figure(Some(alt.clone())), inside),
    }
}

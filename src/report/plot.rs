//! The pictures of the record, as inline SVG: deviation over travel, the wiper
//! on its track, and the stroke times. Marks differ in shape and filling, not in
//! colour alone.

mod deviation;
mod stroke;
mod track;

pub(super) use self::deviation::deviations;
pub(super) use self::stroke::strokes;
pub(super) use self::track::{track, words};

use super::markup::Markup;
use crate::calc::rounding::fixed;

/// How the pictures look, for whatever holds them.
pub(super) const STYLE: &str = include_str!("plot.css");

struct Line {
    ends: [String; 4],
    class: &'static str,
}

impl Line {
    fn each(&self) -> [(&'static str, &str); 5] {
        let [x1, y1, x2, y2] = &self.ends;
        [
            ("x1", x1),
            ("y1", y1),
            ("x2", x2),
            ("y2", y2),
            ("class", self.class),
        ]
    }
}

fn line(x1: f64, y1: f64, x2: f64, y2: f64, class: &'static str) -> Line {
    Line {
        ends: [x1, y1, x2, y2].map(px),
        class,
    }
}

struct Box4 {
    x: String,
    y: String,
    width: String,
    height: String,
    class: &'static str,
}

impl Box4 {
    fn each(&self) -> [(&'static str, &str); 5] {
        [
            ("x", &self.x),
            ("y", &self.y),
            ("width", &self.width),
            ("height", &self.height),
            ("class", self.class),
        ]
    }
}

fn label(page: &mut Markup, x: f64, y: f64, anchor: &str, text: &str) {
    page.element(
        "text",
        &[("x", &px(x)), ("y", &px(y)), ("text-anchor", anchor)],
        |page| {
            page.text(text);
        },
    );
}

/// A length of the picture, to a tenth.
fn px(length: f64) -> String {
    fixed(length, 1)
}

//! HTML and SVG, written so that text from people cannot become markup: tags
//! and attribute names are literals of this program, everything else is escaped.

use std::fmt::Write;

use super::plain::plain;

/// A page being written.
#[derive(Default)]
pub(super) struct Markup {
    written: String,
}

/// An attribute: its name is a literal, its value is escaped.
pub(super) type Attribute<'a> = (&'static str, &'a str);

impl Markup {
    /// The beginning of a page that needs nothing but itself, up to where its content begins.
    pub(super) fn page(title: &str, styles: &[&'static str]) -> Self {
        let mut page = Self::default();
        page.literal("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
        page.literal("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n");
        page.leaf("title", "", title);
        page.literal("\n<style>\n");
        for style in styles {
            page.literal(style);
        }
        page.literal("</style>\n</head>\n<body>\n<main>\n");
        page
    }

    /// The finished page.
    pub(super) fn finish(self) -> String {
        self.written
    }

    /// A literal of this program, as it is.
    pub(super) fn literal(&mut self, markup: &'static str) -> &mut Self {
        self.written.push_str(markup);
        self
    }

    /// Text from anywhere, escaped.
    pub(super) fn text(&mut self, text: &str) -> &mut Self {
        escape(&plain(text), &mut self.written);
        self
    }

    /// An element with what `inside` writes into it.
    pub(super) fn element(
        &mut self,
        name: &'static str,
        attributes: &[Attribute],
        inside: impl FnOnce(&mut Self),
    ) -> &mut Self {
        self.open(name, attributes);
        self.written.push('>');
        inside(self);
        self.written.push_str("</");
        self.written.push_str(name);
        self.written.push('>');
        // A line end would be seen as a blank after what stands in a line.
        if !matches!(name, "a" | "span" | "b") {
            self.written.push('\n');
        }
        self
    }

    /// An element that holds a text.
    pub(super) fn leaf(
        &mut self,
        name: &'static str,
        class: &'static str,
        text: &str,
    ) -> &mut Self {
        let attributes: &[Attribute] = if class.is_empty() {
            &[]
        } else {
            &[("class", class)]
        };
        self.open(name, attributes);
        self.written.push('>');
        self.text(text);
        let _ = write!(self.written, "</{name}>");
        self
    }

    /// An SVG element without content.
    pub(super) fn shape(&mut self, name: &'static str, attributes: &[Attribute]) -> &mut Self {
        self.open(name, attributes);
        self.written.push_str("/>\n");
        self
    }

    fn open(&mut self, name: &'static str, attributes: &[Attribute]) {
        self.written.push('<');
        self.written.push_str(name);
        for (name, value) in attributes {
            self.written.push(' ');
            self.written.push_str(name);
            self.written.push_str("=\"");
            escape(&plain(value), &mut self.written);
            self.written.push('"');
        }
    }
}

fn escape(text: &str, into: &mut String) {
    for c in text.chars() {
        match c {
            '&' => into.push_str("&amp;"),
            '<' => into.push_str("&lt;"),
            '>' => into.push_str("&gt;"),
            '"' => into.push_str("&quot;"),
            '\'' => into.push_str("&#39;"),
            c => into.push(c),
        }
    }
}

/// The text that was escaped.
pub(super) fn unescaped(text: &str) -> String {
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&#39;", "'")
        .replace("&amp;", "&")
}

/// A file in a folder beside the page, as a relative address: what is not a
/// letter, digit, `.`, `-` or `_` is percent-encoded, so it cannot lead elsewhere.
pub(super) fn beside(folder: &str, file: &str) -> String {
    // Begins with "./", so that nothing in it can be read as a scheme.
    format!("./{}/{}", encoded(folder), encoded(file))
}

fn encoded(part: &str) -> String {
    let mut text = String::new();
    for byte in part.bytes() {
        if byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_' | b'.') {
            text.push(char::from(byte));
        } else {
            let _ = write!(text, "%{byte:02X}");
        }
    }
    // A name of dots only would lead out of the folder.
    if text.bytes().all(|byte| byte == b'.') {
        "%2E".to_owned()
    } else {
        text
    }
}

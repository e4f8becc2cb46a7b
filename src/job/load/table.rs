//! One TOML table, read key by key: what is missing, of the wrong kind, or not
//! known becomes a fault with its place. Holds which keys have been read.

use std::collections::BTreeSet;

use rust_decimal::Decimal;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::fault::{Faults, Span, is_hidden, shown};

/// Characters of a sentence that is spoken: longer ones cannot be kept in mind.
pub(crate) const SENTENCE: usize = 200;
/// Characters of a name for the big print and the record.
pub(crate) const NAME: usize = 60;
/// Characters of a paragraph.
pub(crate) const PARAGRAPH: usize = 600;

/// A table and the keys of it that have been asked for.
pub(crate) struct Table<'a, 't> {
    entries: &'a DeTable<'t>,
    /// Where it stands.
    pub(crate) span: Span,
    /// What it is, for messages: "step \"isolated\"".
    pub(crate) name: String,
    used: BTreeSet<&'static str>,
}

/// A text and its place.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Text {
    pub(crate) text: String,
    pub(crate) span: Span,
}

impl<'a, 't> Table<'a, 't> {
    pub(crate) fn new(
        value: &'a Spanned<DeValue<'t>>,
        name: impl Into<String>,
        faults: &mut Faults,
    ) -> Option<Self> {
        let name = name.into();
        match value.get_ref() {
            DeValue::Table(entries) => Some(Self {
                entries,
                span: value.span(),
                name,
                used: BTreeSet::new(),
            }),
            other => {
                faults.add(
                    &value.span(),
                    format!("{name} is {}", kind_of(other)),
                    "write it as a table",
                );
                None
            }
        }
    }

    pub(crate) fn root(document: &'a Spanned<DeTable<'t>>, name: &str) -> Self {
        Self {
            entries: document.get_ref(),
            span: 0..0,
            name: name.to_owned(),
            used: BTreeSet::new(),
        }
    }

    /// The value of a key, if it is there.
    pub(crate) fn take(&mut self, key: &'static str) -> Option<&'a Spanned<DeValue<'t>>> {
        self.used.insert(key);
        self.entries.get(key)
    }

    /// The value of a key that must be there.
    pub(crate) fn need(
        &mut self,
        key: &'static str,
        example: &str,
        faults: &mut Faults,
    ) -> Option<&'a Spanned<DeValue<'t>>> {
        let found = self.take(key);
        if found.is_none() {
            faults.add(
                &self.span,
                format!("{} has no `{key}`", self.name),
                format!("add {key} = {example}"),
            );
        }
        found
    }

    /// A text that may be left out.
    pub(crate) fn text(
        &mut self,
        key: &'static str,
        most: usize,
        faults: &mut Faults,
    ) -> Option<Text> {
        let value = self.take(key)?;
        text(value, &format!("`{key}`"), most, faults)
    }

    /// A text that must be there; empty after a fault.
    pub(crate) fn need_text(
        &mut self,
        key: &'static str,
        most: usize,
        example: &str,
        faults: &mut Faults,
    ) -> Text {
        self.need(key, example, faults)
            .and_then(|value| text(value, &format!("`{key}`"), most, faults))
            .unwrap_or_else(|| Text {
                text: String::new(),
                span: self.span.clone(),
            })
    }

    /// An id that must be there; empty after a fault.
    pub(crate) fn need_id(&mut self, faults: &mut Faults) -> Text {
        let id = self.need_text("id", 200, "\"a-name\"", faults);
        if !id.text.is_empty() {
            check_id(&id, faults);
        }
        id
    }

    /// True or false; false where it is left out.
    pub(crate) fn flag(&mut self, key: &'static str, faults: &mut Faults) -> bool {
        let Some(value) = self.take(key) else {
            return false;
        };
        match value.get_ref() {
            DeValue::Boolean(flag) => *flag,
            other => {
                faults.add(
                    &value.span(),
                    format!("`{key}` is {}", kind_of(other)),
                    "write true or false, without quotes",
                );
                false
            }
        }
    }

    /// A list of texts; empty where it is left out.
    pub(crate) fn texts(
        &mut self,
        key: &'static str,
        most: usize,
        faults: &mut Faults,
    ) -> Vec<Text> {
        self.take(key)
            .map(|value| texts(value, key, most, faults))
            .unwrap_or_default()
    }

    /// The tables of a list; empty where it is left out.
    pub(crate) fn tables(
        &mut self,
        key: &'static str,
        name: &str,
        faults: &mut Faults,
    ) -> Vec<Table<'a, 't>> {
        let Some(value) = self.take(key) else {
            return Vec::new();
        };
        match value.get_ref() {
            DeValue::Array(list) => list
                .iter()
                .filter_map(|item| Table::new(item, name, faults))
                .collect(),
            other => {
                faults.add(
                    &value.span(),
                    format!("`{key}` is {}", kind_of(other)),
                    format!("write a list of tables, each under its own [[…{key}]]"),
                );
                Vec::new()
            }
        }
    }

    /// Every entry, in the order of the file, for a table whose keys are names.
    pub(crate) fn entries(&self) -> Vec<(Text, &'a Spanned<DeValue<'t>>)> {
        let mut list: Vec<_> = self
            .entries
            .iter()
            .map(|(key, value)| {
                (
                    Text {
                        text: key.get_ref().to_string(),
                        span: key.span(),
                    },
                    value,
                )
            })
            .collect();
        list.sort_by_key(|(key, _)| key.span.start);
        list
    }

    /// Every key that nobody asked for is a fault.
    pub(crate) fn done(self, faults: &mut Faults) {
        for (key, _) in self.entries() {
            if !self.used.contains(key.text.as_str()) {
                let name = format!("key in {}:", self.name);
                faults.unknown(&key.span, &name, &key.text, self.used.iter().copied());
            }
        }
    }
}

/// A string with something in it, nothing hidden, on one line, and not too long.
pub(crate) fn text(
    value: &Spanned<DeValue>,
    what: &str,
    most: usize,
    faults: &mut Faults,
) -> Option<Text> {
    let span = value.span();
    let text = match value.get_ref() {
        DeValue::String(text) => text.as_ref(),
        other => {
            let fix = if matches!(other, DeValue::Integer(_) | DeValue::Float(_)) {
                "write it in quotes: numbers keep their zeros that way"
            } else {
                "write it as text in quotes"
            };
            faults.add(&span, format!("{what} is {}", kind_of(other)), fix);
            return None;
        }
    };
    if let Some(hidden) = text.chars().find(|c| is_hidden(*c)) {
        faults.add(
            &span,
            format!(
                "{what} holds the hidden character U+{:04X}",
                u32::from(hidden)
            ),
            "write one line of visible text",
        );
        return None;
    }
    if text.trim().is_empty() {
        faults.add(
            &span,
            format!("{what} is empty"),
            "write something, or leave the key out",
        );
        return None;
    }
    let length = text.chars().count();
    if length > most {
        faults.add(
            &span,
            format!("{what} has {length} characters"),
            format!("use at most {most}"),
        );
        return None;
    }
    Some(Text {
        text: text.to_owned(),
        span,
    })
}

pub(crate) fn texts(
    value: &Spanned<DeValue>,
    key: &str,
    most: usize,
    faults: &mut Faults,
) -> Vec<Text> {
    match value.get_ref() {
        DeValue::Array(list) => list
            .iter()
            .filter_map(|item| text(item, &format!("an entry of `{key}`"), most, faults))
            .collect(),
        other => {
            faults.add(
                &value.span(),
                format!("`{key}` is {}", kind_of(other)),
                "write a list: [\"…\", \"…\"]",
            );
            Vec::new()
        }
    }
}

/// Checks `[a-z0-9-]{1,40}`.
pub(crate) fn check_id(id: &Text, faults: &mut Faults) {
    if !is_id(&id.text) {
        let better: String = id
            .text
            .to_lowercase()
            .chars()
            .map(|c| {
                if c.is_ascii_lowercase() || c.is_ascii_digit() {
                    c
                } else {
                    '-'
                }
            })
            .take(40)
            .collect();
        faults.add(
            &id.span,
            format!("\"{}\" is no id", shown(&id.text)),
            format!("use 1 to 40 of a-z, 0-9 and -, for example \"{better}\""),
        );
    }
}

pub(crate) fn is_id(text: &str) -> bool {
    (1..=40).contains(&text.len())
        && text
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

/// A decimal as text: digits, at most one point, a minus in front.
pub(crate) fn decimal(text: &Text, faults: &mut Faults) -> Option<Decimal> {
    number(&text.text)
        .map_err(|fix| {
            faults.add(
                &text.span,
                format!("\"{}\" is no number", shown(&text.text)),
                fix,
            );
        })
        .ok()
}

/// A decimal as text, or what to write instead.
pub(crate) fn number(text: &str) -> Result<Decimal, String> {
    let digits = text.strip_prefix('-').unwrap_or(text);
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, "0"));
    let all_digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    if all_digits(whole)
        && all_digits(fraction)
        && text.len() <= 30
        && let Ok(number) = Decimal::from_str_exact(text)
    {
        return Ok(number);
    }
    if let Some((whole, fraction)) = digits.split_once(',')
        && all_digits(whole)
        && all_digits(fraction)
    {
        return Err(format!(
            "write the decimal with a point: \"{}\"",
            text.replace(',', ".")
        ));
    }
    Err("write digits with at most one point, for example \"12.50\"".to_owned())
}

/// A decimal in quotes.
pub(crate) fn decimal_value(
    value: &Spanned<DeValue>,
    what: &str,
    faults: &mut Faults,
) -> Option<Decimal> {
    decimal_text(value, what, faults).and_then(|text| decimal(&text, faults))
}

/// The same, not read yet.
pub(crate) fn decimal_text(
    value: &Spanned<DeValue>,
    what: &str,
    faults: &mut Faults,
) -> Option<Text> {
    if let DeValue::Integer(_) | DeValue::Float(_) = value.get_ref() {
        let found = faults.text().get(value.span()).unwrap_or_default();
        let fix = format!(
            "write numbers in quotes, so that their zeros are kept: \"{}\"",
            shown(found)
        );
        faults.add(
            &value.span(),
            format!("{what} is {}", kind_of(value.get_ref())),
            fix,
        );
        return None;
    }
    text(value, what, 30, faults)
}

/// What a TOML value is, in words.
pub(crate) fn kind_of(value: &DeValue) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) => "a bare whole number",
        DeValue::Float(_) => "a bare decimal number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a bare date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

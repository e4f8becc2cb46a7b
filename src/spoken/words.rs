//! A phrase to plain words, and words to the parts of a number. No state beyond
//! the compiled lexicon.

use std::sync::LazyLock;

use super::lexicon::Phrases;
use super::unit::{Unit, units};

/// Lower-case words without hyphens or punctuation. A sign that could change a
/// number's meaning (`-`, `.`, `+`, `<`, …) is never dropped: it stays as a word of
/// its own, which nothing understands.
pub(crate) fn plain_words(phrase: &str) -> Vec<String> {
    let characters: Vec<char> = phrase.chars().collect();
    let mut text = String::with_capacity(phrase.len());
    for (at, &c) in characters.iter().enumerate() {
        let before = at
            .checked_sub(1)
            .and_then(|at| characters.get(at))
            .copied()
            .unwrap_or(' ');
        let after = characters.get(at + 1).copied().unwrap_or(' ');
        match c {
            '\'' | '\u{2019}' if before.is_alphabetic() => text.push('\''),
            '-' | '\u{2010}' | '\u{2011}'
                if before.is_alphanumeric() && after.is_alphanumeric() =>
            {
                text.push(' ');
            }
            ',' | '.' | '?' | '!' | ';' | ':'
                if before.is_alphanumeric() && after.is_whitespace() =>
            {
                text.push(' ');
            }
            c if c.is_whitespace() => text.push(' '),
            c if c.is_alphanumeric() => text.extend(c.to_lowercase()),
            c => {
                text.push(' ');
                text.push(c);
                text.push(' ');
            }
        }
    }
    text.split_whitespace()
        .map(|word| word.trim_end_matches('\'').to_owned())
        .collect()
}

/// A part of a spoken number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Token {
    Digit(u8),
    Oh,
    /// "to" and "for": 2 and 4 only beside a decimal word.
    Loose(u8),
    Teen(u8),
    Ty(u8),
    Hundred,
    Thousand,
    And,
    A,
    Double,
    Triple,
    Point,
    Comma,
    Minus,
    Plus,
    Negative,
    Half,
    Quarter,
    Unit(UnitWord),
}

/// A unit as it was said; one word may stand for several units ("degrees").
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct UnitWord(pub String);

impl UnitWord {
    /// The units it may stand for, and whether it says so only loosely.
    pub(crate) fn units(&self) -> impl Iterator<Item = (Unit, bool)> + '_ {
        units().filter_map(|unit| {
            if unit.says().contains(&self.0) {
                Some((unit, false))
            } else if unit.soft_says().contains(&self.0) {
                Some((unit, true))
            } else {
                None
            }
        })
    }
}

static LEXICON: LazyLock<Phrases> = LazyLock::new(|| {
    let mut phrases = Phrases::of(&["number-word"]);
    for unit in units() {
        for said in unit.says().iter().chain(unit.soft_says()) {
            phrases.add(
                said.split(' ').map(str::to_owned).collect(),
                format!("unit {said}"),
            );
        }
    }
    phrases.sort();
    phrases
});

/// The parts of a number, or the first word that is none.
pub(crate) fn tokens(words: &[&str]) -> Result<Vec<Token>, String> {
    let mut found = Vec::with_capacity(words.len());
    let mut rest = words;
    while let Some(&first) = rest.first() {
        let Some((length, tag)) = LEXICON.at(rest) else {
            return Err(first.to_owned());
        };
        let Some(token) = token(tag) else {
            return Err(first.to_owned());
        };
        found.push(token);
        rest = rest.get(length..).unwrap_or_default();
    }
    Ok(found)
}

fn token(tag: &str) -> Option<Token> {
    Some(match tag {
        "oh" => Token::Oh,
        "to" => Token::Loose(2),
        "for" => Token::Loose(4),
        "hundred" => Token::Hundred,
        "thousand" => Token::Thousand,
        "and" => Token::And,
        "a" => Token::A,
        "double" => Token::Double,
        "triple" => Token::Triple,
        "point" => Token::Point,
        "comma" => Token::Comma,
        "minus" => Token::Minus,
        "plus" => Token::Plus,
        "negative" => Token::Negative,
        "half" => Token::Half,
        "quarter" => Token::Quarter,
        _ => {
            if let Some(said) = tag.strip_prefix("unit ") {
                return Some(Token::Unit(UnitWord(said.to_owned())));
            }
            match tag.parse::<u8>().ok()? {
                digit @ 0..=9 => Token::Digit(digit),
                teen @ 10..=19 => Token::Teen(teen),
                ty => Token::Ty(ty),
            }
        }
    })
}

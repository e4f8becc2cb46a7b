//! Tags: spelled with the alphabet of ITU and ICAO, letter by letter.

use super::meaning::{Decision, Expect, Meaning};
use super::slot::Slot;
use super::{ambiguous, plain, reject};

const LETTERS: [&str; 26] = [
    "alpha", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india", "juliet", "kilo", "lima", "mike",
    "november", "oscar", "papa", "quebec", "romeo", "sierra", "tango", "uniform", "victor", "whiskey", "xray", "yankee",
    "zulu",
];

const DIGITS: [&str; 10] = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];

/// The longest tag.
const LONGEST: usize = 32;

/// Reads a spelled tag.
pub(super) fn parse(slot: &Slot, words: &[&str]) -> Decision {
    let (mut text, mut other) = (String::new(), String::new());
    let mut repeat = 1;
    for (at, word) in words.iter().enumerate() {
        let next = match *word {
            "double" => {
                repeat = 2;
                continue;
            }
            "triple" => {
                repeat = 3;
                continue;
            }
            // A letter or the figure: the person must say which.
            "oh" | "o" => ('0', Some('O')),
            "dash" | "hyphen" => ('-', None),
            "slash" | "stroke" => ('/', None),
            "point" => ('.', None),
            word => match letter(word).or_else(|| digit(word)) {
                Some(character) => (character, None),
                None => {
                    let why = format!("{word} is no letter of the spelling alphabet and no figure");
                    return reject(slot, why, "Spell it: alpha, bravo, one, two.");
                }
            },
        };
        for _ in 0..repeat {
            text.push(next.0);
            other.push(next.1.unwrap_or(next.0));
        }
        repeat = 1;
        if text.len() > LONGEST {
            return reject(slot, "too long for a tag", "Spell it in one go, up to thirty-two signs.");
        }
        let _ = at;
    }
    if text.is_empty() || repeat > 1 {
        return reject(slot, "incomplete", "Spell it: alpha, bravo, one, two.");
    }
    if text != other {
        return ambiguous(slot, vec![text, other], "oh is a letter or a figure", "Say zero or Oscar.".to_owned());
    }
    let said = super::spell(&text);
    Decision { ask: format!("{said}."), ..plain(Expect::Value, Meaning::Tag(text), None, "spelled") }
}

fn letter(word: &str) -> Option<char> {
    if word.len() == 1 && word.as_bytes()[0].is_ascii_lowercase() {
        return word.chars().next().map(|letter| letter.to_ascii_uppercase());
    }
    let at = LETTERS.iter().position(|letter| *letter == word)?;
    u8::try_from(at).ok().map(|at| char::from(b'A' + at))
}

fn digit(word: &str) -> Option<char> {
    if word.len() == 1 && word.as_bytes()[0].is_ascii_digit() {
        return word.chars().next();
    }
    let at = DIGITS.iter().position(|digit| *digit == word)?;
    u8::try_from(at).ok().map(|at| char::from(b'0' + at))
}

/// A sign as it is spelled.
pub(super) fn sign(character: char) -> String {
    let upper = character.to_ascii_uppercase();
    if upper.is_ascii_uppercase() {
        let word = LETTERS[usize::from(upper as u8 - b'A')];
        return if word == "xray" { "x-ray".to_owned() } else { word.to_owned() };
    }
    match character {
        '0'..='9' => DIGITS[usize::from(character as u8 - b'0')].to_owned(),
        '-' => "dash".to_owned(),
        '/' => "slash".to_owned(),
        '.' => "point".to_owned(),
        other => other.to_string(),
    }
}

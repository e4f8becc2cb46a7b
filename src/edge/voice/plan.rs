//! What is said, as clips and pauses. Pure: a text and the names of the clips in, a plan out.
//!
//! A sentence that has a clip of its own is that clip. Any other is put together from
//! the longest clips that fit, numbers digit by digit and units in full. A sentence
//! with a word that has no clip is [`Piece::Other`]: it is for the synthesiser, and
//! where there is none, what can be said of it is said: its values and verdicts.

use super::clips::Clips;
use crate::spoken;

/// Between two words that belong together, in milliseconds. The clips carry 60 ms of their own.
const JOIN: u32 = 10;
/// Between a number and its unit: run together, the ear was unsure of the last digit
/// ("two amps", "two degrees"; `tests/voice/heard.rs`).
const UNIT: u32 = 40;
/// Where a comma stands.
const COMMA: u32 = 120;
/// Between two sentences.
const SENTENCE: u32 = 260;

/// One part of what is said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Piece {
    /// A clip, by its number.
    Clip(usize),
    /// A clip of one word among others. It was spoken alone, and so slower than in a sentence.
    Word(usize),
    /// Silence, in milliseconds.
    Gap(u32),
    /// A sentence that there are no clips for.
    Other {
        /// The sentence.
        sentence: String,
        /// What of it there are clips for: values with their units, verdicts, prowords.
        rest: Vec<Piece>,
    },
}

/// The parts of a text, in their order.
#[must_use]
pub fn plan(text: &str, clips: &Clips) -> Vec<Piece> {
    let mut pieces = Vec::new();
    for sentence in sentences(text) {
        if !pieces.is_empty() {
            pieces.push(Piece::Gap(SENTENCE));
        }
        pieces.extend(self::sentence(sentence, clips));
    }
    pieces
}

/// The name that a text is found by: as `key` in `voice/render.py` does it.
#[must_use]
pub fn name(text: &str) -> String {
    let words: Vec<String> = text
        .split_whitespace()
        .map(bare)
        .filter(|word| !word.is_empty())
        .collect();
    words.join(" ") + mark(text)
}

/// What `text` closes with, as far as it is heard.
fn mark(text: &str) -> &'static str {
    match text.trim_end().chars().last() {
        Some('?') => "?",
        Some('.' | '!') => ".",
        _ => "",
    }
}

fn bare(word: &str) -> String {
    let lower = word.to_lowercase().replace('\u{2019}', "'");
    let bare = lower.trim_matches(|c: char| !(c.is_alphanumeric() || c == '%' || c == '_'));
    if bare == "%" {
        "percent".to_owned()
    } else {
        bare.to_owned()
    }
}

fn sentences(text: &str) -> Vec<&str> {
    let mut found = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        let end = rest
            .char_indices()
            .find(|&(at, c)| {
                let behind = &rest[at + c.len_utf8()..];
                matches!(c, '.' | '?' | '!')
                    && (behind.is_empty() || behind.starts_with(char::is_whitespace))
            })
            .map_or(rest.len(), |(at, c)| at + c.len_utf8());
        let (sentence, behind) = rest.split_at(end);
        if sentence.contains(char::is_alphanumeric) {
            found.push(sentence.trim());
        }
        rest = behind.trim_start();
    }
    found
}

/// A word as it is said, and whether a pause follows it.
struct Word {
    said: String,
    pause: bool,
}

fn sentence(text: &str, clips: &Clips) -> Vec<Piece> {
    if let Some(clip) = clips.find(&name(text)) {
        return vec![Piece::Clip(clip)];
    }
    let end = mark(text);
    let words = words(text, clips);
    let (pieces, all) = joined(&words, end, clips, |_| true);
    if all {
        return pieces;
    }
    let (rest, _) = joined(&words, end, clips, says_a_value);
    vec![Piece::Other {
        sentence: text.to_owned(),
        rest,
    }]
}

/// The longest clips that fit, one after another; and whether nothing was left over.
fn joined(
    words: &[Word],
    end: &str,
    clips: &Clips,
    wanted: impl Fn(&str) -> bool,
) -> (Vec<Piece>, bool) {
    let (mut pieces, mut all, mut at) = (Vec::new(), true, 0);
    while at < words.len() {
        let most = clips.longest().min(words.len() - at);
        let found = (1..=most).rev().find_map(|count| {
            let parts = &words[at..at + count];
            let said: Vec<&str> = parts.iter().map(|word| word.said.as_str()).collect();
            let said = said.join(" ");
            let last = at + count == words.len();
            // Inside, the form that goes on; at the end, the one that closes as the sentence does.
            let order: [&str; 3] = match (last, end) {
                (true, "?") => ["?", "", "."],
                (true, ".") => [".", "", "?"],
                _ => ["", ".", "?"],
            };
            if !wanted(&said) {
                return None;
            }
            order
                .iter()
                .find_map(|form| clips.find(&format!("{said}{form}")))
                .map(|clip| (clip, count))
        });
        if let Some((clip, count)) = found {
            pieces.push(if count == 1 {
                Piece::Word(clip)
            } else {
                Piece::Clip(clip)
            });
            at += count;
            if at < words.len() {
                let (word, next) = (&words[at - 1], &words[at]);
                let number_ends =
                    is_digit(&word.said) && !is_digit(&next.said) && next.said != "point";
                pieces.push(Piece::Gap(match (word.pause, number_ends) {
                    (true, _) => COMMA,
                    (false, true) => UNIT,
                    (false, false) => JOIN,
                }));
            }
        } else {
            all = false;
            at += 1;
        }
    }
    if matches!(pieces.last(), Some(Piece::Gap(_))) {
        pieces.pop();
    }
    (pieces, all)
}

/// The words of a sentence, numbers and symbols written out.
fn words(text: &str, clips: &Clips) -> Vec<Word> {
    let mut words: Vec<Word> = Vec::new();
    for token in text.split_whitespace() {
        let pause = token.ends_with([',', ';', ':', '.', '?', '!']);
        let behind_number = words.last().is_some_and(|word| is_digit(&word.said));
        let said = written_out(token, behind_number, clips);
        let last = said.len().saturating_sub(1);
        for (at, said) in said.into_iter().enumerate() {
            words.push(Word {
                said,
                pause: pause && at == last,
            });
        }
        if pause && let Some(word) = words.last_mut() {
            word.pause = true;
        }
    }
    words
}

/// One token in words. `A` and `V` alone are letters, and units behind a number.
fn written_out(token: &str, behind_number: bool, clips: &Clips) -> Vec<String> {
    let symbol =
        token.trim_matches(|c: char| matches!(c, ',' | ';' | ':' | '?' | '!' | '"' | '(' | ')'));
    let symbol = symbol.strip_suffix('.').unwrap_or(symbol);
    if let Some(unit) = spoken::units().find(|unit| {
        let is_letter = symbol.len() == 1 && symbol.contains(char::is_alphabetic);
        unit.symbol() == symbol && !symbol.is_empty() && (behind_number || !is_letter)
    }) {
        return unit
            .spoken(&rust_decimal::Decimal::TWO)
            .split(' ')
            .map(str::to_owned)
            .collect();
    }
    let is_number = symbol.parse::<rust_decimal::Decimal>();
    if let Ok(value) = is_number {
        return spoken::digit_words(&value);
    }
    let word = bare(token);
    let is_known = word.is_empty()
        || clips.names().any(|name| {
            name.split(' ')
                .any(|part| part.trim_end_matches(['.', '?']) == word)
        });
    let is_code = symbol.contains(|c: char| c.is_ascii_digit())
        || (symbol.len() > 1 && !symbol.contains(|c: char| c.is_lowercase()));
    if is_known || !is_code {
        return if word.is_empty() {
            Vec::new()
        } else {
            vec![word]
        };
    }
    spoken::spell(symbol)
        .split(' ')
        .map(str::to_owned)
        .collect()
}

/// Whether a clip is part of a value, a verdict or a proword: what is said even where the rest is not.
fn says_a_value(name: &str) -> bool {
    const SAID: &str =
        "minus point affirm negative yes no kept correction refused healthy good bad watch";
    const WHOLE: [&str; 14] = [
        "not stored",
        "cannot tell",
        "over limit",
        "open circuit",
        "no reading",
        "short circuit",
        "not stable",
        "not applicable",
        "mid travel",
        "say again",
        "microphone lost",
        "affirm or negative",
        "greater than",
        "less than",
    ];
    let is_unit = || {
        spoken::units().any(|unit| {
            !name.is_empty()
                && (unit.spoken(&rust_decimal::Decimal::ONE) == name
                    || unit.spoken(&rust_decimal::Decimal::TWO) == name)
        })
    };
    SAID.split(' ').any(|word| word == name) || WHOLE.contains(&name) || is_digit(name) || is_unit()
}

fn is_digit(name: &str) -> bool {
    (0..10).any(|digit| spoken::digit_words(&digit.into()) == [name])
}

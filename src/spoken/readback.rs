//! Values to words: digit by digit, as they are said back.

use rust_decimal::Decimal;

use super::lexicon::SPELLING;
use super::unit::Unit;

const DIGITS: [&str; 10] = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
];
const TEENS: [&str; 10] = [
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
const TYS: [&str; 10] = [
    "", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety",
];

/// A value digit by digit with its unit: "four point zero two milliamps".
///
/// Every digit that the value has is said, zeros at the end too. What is said parses
/// back to the same value with the same decimals.
#[must_use]
pub fn read_back(value: &Decimal, unit: &Unit) -> String {
    let mut words = digit_words(value).join(" ");
    let unit = unit.spoken(value);
    if !unit.is_empty() {
        words.push(' ');
        words.push_str(unit);
    }
    words
}

/// A tag in the spelling alphabet (ICAO Annex 10 Vol. II 5.2.1.3): "foxtrot victor dash two zero one".
/// A character without a word stands for itself.
#[must_use]
pub fn spell(tag: &str) -> String {
    let words: Vec<String> = tag
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| {
            let upper = c.to_ascii_uppercase();
            match upper.to_digit(10) {
                Some(digit) => DIGITS[digit as usize].to_owned(),
                None => SPELLING
                    .get(&upper)
                    .cloned()
                    .unwrap_or_else(|| c.to_string()),
            }
        })
        .collect();
    words.join(" ")
}

/// The words of a value's digits, sign and point, without a unit.
#[must_use]
pub fn digit_words(value: &Decimal) -> Vec<String> {
    let text = value.to_string();
    text.chars()
        .map(|c| match c {
            '-' => "minus".to_owned(),
            '.' => "point".to_owned(),
            _ => c
                .to_digit(10)
                .map_or_else(String::new, |digit| DIGITS[digit as usize].to_owned()),
        })
        .collect()
}

/// A whole number from 10 to 100 as a cardinal, and the teen that a -ty word is easily taken for.
pub(crate) fn cardinal_words(value: &Decimal) -> Vec<String> {
    let Ok(number) = usize::try_from(value.normalize().mantissa()) else {
        return Vec::new();
    };
    if value.normalize().scale() > 0 {
        return Vec::new();
    }
    match number {
        10..=19 => vec![TEENS[number - 10].to_owned()],
        20..=99 if number % 10 == 0 => {
            let mut both = vec![TYS[number / 10].to_owned()];
            if number >= 30 {
                both.push(TEENS[number / 10].to_owned());
            }
            both
        }
        20..=99 => vec![format!("{} {}", TYS[number / 10], DIGITS[number % 10])],
        100 => vec!["one hundred".to_owned()],
        _ => Vec::new(),
    }
}

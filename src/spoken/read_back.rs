//! Saying back: value first, digit by digit, unit last. What is said here always
//! parses back to the same value.

use rust_decimal::Decimal;

use super::tag::sign;
use super::unit::Unit;

/// A value as it is said: "four point zero two milliamps".
#[must_use]
pub fn read_back(value: &Decimal, unit: &Unit) -> String {
    let mut words: Vec<String> = Vec::new();
    for character in value.to_string().chars() {
        words.push(match character {
            '-' => "minus".to_owned(),
            '.' => "point".to_owned(),
            digit => sign(digit),
        });
    }
    let unit = unit.spoken(value);
    if !unit.is_empty() {
        words.push(unit.to_owned());
    }
    words.join(" ")
}

/// A tag as it is spelled.
#[must_use]
pub fn spell(tag: &str) -> String {
    tag.chars().map(sign).collect::<Vec<_>>().join(" ")
}

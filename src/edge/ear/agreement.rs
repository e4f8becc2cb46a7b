//! Whether two ears heard the same. No state.
//!
//! They need not have heard the same sounds, only the same meaning: a unit in
//! the singular or the plural, the radio operator's "niner", and the "and"
//! after a hundred say nothing else. Everything else that differs is a
//! difference: "oh" is not always zero, and "K" is not always a thousand.

use super::HeardWord;

/// Whether the words of two ears mean the same.
pub(super) fn same(one: &[HeardWord], other: &[HeardWord]) -> bool {
    plain(one).eq(plain(other))
}

/// The words that carry meaning, each in one spelling.
fn plain(words: &[HeardWord]) -> impl Iterator<Item = &str> {
    words
        .iter()
        .map(|heard| match heard.word.as_str() {
            "ohm" => "ohms",
            "kilohm" => "kilohms",
            "milliamp" => "milliamps",
            "amp" => "amps",
            "volt" => "volts",
            "degree" => "degrees",
            "second" => "seconds",
            "minute" => "minutes",
            "niner" => "nine",
            "decimal" => "point",
            word => word,
        })
        .filter(|word| *word != "and")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(phrase: &str) -> Vec<HeardWord> {
        phrase
            .split_whitespace()
            .map(|word| HeardWord {
                word: word.to_owned(),
                start_s: 0.0,
                end_s: 0.0,
                confidence: 1.0,
            })
            .collect()
    }

    #[test]
    fn only_what_means_nothing_may_differ() {
        for (one, other, alike) in [
            ("five one two ohms", "five one two ohm", true),
            ("niner point two", "nine decimal two", true),
            ("one hundred and six", "one hundred six", true),
            ("five", "nine", false),
            ("fifteen ohms", "fifty ohms", false),
            ("five zero", "five oh", false),
            ("four k", "four kilohms", false),
            ("minus five", "five", false),
            ("yes", "", false),
            ("", "", true),
        ] {
            assert_eq!(same(&heard(one), &heard(other)), alike, "{one} | {other}");
        }
    }
}

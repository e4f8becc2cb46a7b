//! Whether two ears heard the same. No state.
//!
//! They need not have heard the same sounds, only the same meaning: the radio
//! operator's "niner" and "decimal", and the "and" after a hundred, say nothing
//! else; nor does it matter which of its spellings a unit was heard in ("k" or
//! "kilohms"). Everything else that differs is a difference: "oh" is not always zero.

use super::HeardWord;

/// What all ears together heard.
#[derive(Debug, PartialEq)]
pub(super) struct Settled {
    /// The words; each is as sure as the ear that was less sure of it.
    pub words: Vec<HeardWord>,
    /// Whether they can stand.
    pub agreed: bool,
    /// Whether they are a stop.
    pub stop: bool,
}

/// What was heard, of what each ear heard, and whether that can stand.
///
/// Two that were trained apart seldom take the same wrong thing for an answer.
/// Where one hears an answer and another hears none or a different one, it
/// cannot stand and is asked for again. A stop is not put to the vote: one ear
/// that hears it is enough, for a stop not heard is worse than one too many.
pub(super) fn settle(
    all: Vec<Vec<HeardWord>>,
    is_answer: impl Fn(&[HeardWord]) -> bool,
) -> Settled {
    let answer = |words: &[HeardWord]| !words.is_empty() && is_answer(words);
    let is_stop =
        |words: &Vec<HeardWord>| answer(words) && crate::spoken::begins_with_stop(&words[0].word);
    if let Some(stop) = all.iter().find(|words| is_stop(words)) {
        return Settled {
            words: stop.clone(),
            agreed: true,
            stop: true,
        };
    }
    let mut all = all.into_iter();
    let mut words = all.next().unwrap_or_default();
    let mut agreed = true;
    for other in all {
        if same(&words, &other) {
            less_sure(&mut words, &other);
        } else {
            agreed &= !(answer(&words) || answer(&other));
        }
    }
    Settled {
        words,
        agreed,
        stop: false,
    }
}

/// Lowers the confidence of each word to that of an ear which heard the same;
/// where a word that carries no meaning was heard by one only, the doubt about
/// any of them counts for all.
fn less_sure(words: &mut [HeardWord], other: &[HeardWord]) {
    let least = other
        .iter()
        .fold(1.0_f64, |least, heard| least.min(heard.confidence));
    let in_step = words.len() == other.len();
    for (place, heard) in words.iter_mut().enumerate() {
        let doubt = if in_step {
            other[place].confidence
        } else {
            least
        };
        heard.confidence = heard.confidence.min(doubt);
    }
}

/// Whether the words of two ears mean the same.
fn same(one: &[HeardWord], other: &[HeardWord]) -> bool {
    plain(one).eq(plain(other))
}

/// The words that carry meaning, each in one spelling.
fn plain(words: &[HeardWord]) -> impl Iterator<Item = &str> {
    words
        .iter()
        .map(|heard| match heard.word.as_str() {
            "niner" => "nine",
            "decimal" => "point",
            word => crate::spoken::units()
                .find(|unit| !unit.heard().is_empty() && unit.said_back().contains(&word))
                .map_or(word, |unit| unit.heard()),
        })
        .filter(|word| !matches!(*word, "and" | "celsius"))
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
    fn an_answer_stands_only_if_every_ear_heard_it_but_a_stop_needs_one() {
        let settled = |heard_by: &[&str]| {
            let all = heard_by.iter().map(|phrase| heard(phrase)).collect();
            let settled = settle(all, |words| words.iter().all(|w| w.word != "[unk]"));
            let words: Vec<String> = settled.words.into_iter().map(|heard| heard.word).collect();
            assert_eq!(
                settled.stop,
                settled.agreed && words[0] == "stop",
                "{words:?}"
            );
            (words.join(" "), settled.agreed)
        };
        let is = |phrase: &str, stands| (phrase.to_owned(), stands);
        assert_eq!(settled(&["five ohms"]), is("five ohms", true));
        assert_eq!(settled(&["nine ohms", "niner ohms"]), is("nine ohms", true));
        assert_eq!(settled(&["five", "nine"]), is("five", false));
        assert_eq!(settled(&["yes", ""]), is("yes", false));
        assert_eq!(settled(&["", "yes"]), is("", false));
        assert_eq!(settled(&["[unk]", "yes"]), is("[unk]", false));
        assert_eq!(
            settled(&["[unk]", ""]),
            is("[unk]", true),
            "no answer at all"
        );
        assert_eq!(settled(&["[unk]", "stop"]), is("stop", true));
        assert_eq!(
            settled(&["go back", "stop stop stop"]),
            is("stop stop stop", true)
        );
        assert_eq!(settled(&["stop [unk]", "no"]), is("stop [unk]", false));
    }

    #[test]
    fn a_word_is_as_sure_as_the_less_sure_ear() {
        let sure = |phrase: &str, confidences: &[f64]| {
            let mut words = heard(phrase);
            for (word, confidence) in words.iter_mut().zip(confidences) {
                word.confidence = *confidence;
            }
            words
        };
        let settled = |one, other| {
            let settled = settle(vec![one, other], |_| true);
            let sure: Vec<f64> = settled.words.iter().map(|w| w.confidence).collect();
            sure
        };
        assert_eq!(
            settled(sure("five six", &[0.9, 0.6]), sure("five six", &[0.7, 0.8])),
            [0.7, 0.6]
        );
        assert_eq!(
            settled(
                sure("one hundred six", &[0.9, 0.9, 0.9]),
                sure("one hundred and six", &[1.0, 1.0, 0.4, 1.0])
            ),
            [0.4, 0.4, 0.4]
        );
        assert_eq!(
            settled(sure("stop", &[0.6]), sure("six", &[0.2])),
            [0.6],
            "a stop is as sure as the ear that heard it"
        );
    }

    #[test]
    fn only_what_means_nothing_may_differ() {
        for (one, other, alike) in [
            ("five one two ohms", "five one two", false),
            ("niner point two", "nine decimal two", true),
            ("one hundred and six", "one hundred six", true),
            ("five", "nine", false),
            ("fifteen ohms", "fifty ohms", false),
            ("five zero", "five oh", false),
            ("four k", "four kilohms", true),
            ("one ohm", "one ohms", true),
            ("five degrees celsius", "five degrees", true),
            ("five kilohms", "five ohms", false),
            ("five milliamps", "five amps", false),
            ("five seconds", "five minutes", false),
            ("minus five", "five", false),
            ("yes", "", false),
            ("", "", true),
        ] {
            assert_eq!(same(&heard(one), &heard(other)), alike, "{one} | {other}");
        }
    }
}

//! Whether two ears heard the same. No state.
//!
//! They need not have heard the same sounds, only the same meaning: the radio
//! operator's "niner" and "decimal", and the "and" after a hundred, say nothing
//! else. Everything else that differs is a difference: "oh" is not always zero.
//! (A unit is listened for in one spelling only, so none needs a word here.)

use super::HeardWord;

/// What was heard, of what each ear heard, and whether that can stand.
///
/// Two that were trained apart seldom take the same wrong thing for an answer.
/// Where one hears an answer and another hears none or a different one, it
/// cannot stand and is asked for again. A stop is not put to the vote: one ear
/// that hears it is enough, for a stop not heard is worse than one too many.
pub(super) fn settle(
    all: Vec<Vec<HeardWord>>,
    is_answer: impl Fn(&[HeardWord]) -> bool,
) -> (Vec<HeardWord>, bool) {
    let answer = |words: &[HeardWord]| !words.is_empty() && is_answer(words);
    let stop =
        |words: &Vec<HeardWord>| answer(words) && crate::spoken::begins_with_stop(&words[0].word);
    if let Some(stop) = all.iter().find(|words| stop(words)) {
        return (stop.clone(), true);
    }
    let mut all = all.into_iter();
    let first = all.next().unwrap_or_default();
    let agreed = all.all(|other| same(&first, &other) || !(answer(&first) || answer(&other)));
    (first, agreed)
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
    fn an_answer_stands_only_if_every_ear_heard_it_but_a_stop_needs_one() {
        let settled = |heard_by: &[&str]| {
            let all = heard_by.iter().map(|phrase| heard(phrase)).collect();
            let (words, stands) = settle(all, |words| words.iter().all(|w| w.word != "[unk]"));
            let words: Vec<String> = words.into_iter().map(|heard| heard.word).collect();
            (words.join(" "), stands)
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
    fn only_what_means_nothing_may_differ() {
        for (one, other, alike) in [
            ("five one two ohms", "five one two", false),
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

//! How common English words are said: the CMU pronouncing dictionary, built in.
//!
//! State: the dictionary, unpacked once, at the first word that is not in the
//! ear's own vocabulary, and never changed. A job that uses none does not pay.

use std::sync::LazyLock;

use super::lexicon::VOCABULARY;

/// A word and its phones (`ARPAbet`, no stress) on each line, in byte order,
/// zlib. CMU pronouncing dictionary, BSD-like licence
/// (`model/licences/CMUdict.txt`), written by `model/pipeline/words.py`.
const PACKED: &[u8] = include_bytes!("../../grammars/pronunciations.zz");

static LINES: LazyLock<Vec<&'static str>> = LazyLock::new(|| {
    let bytes = miniz_oxide::inflate::decompress_to_vec_zlib(PACKED)
        .expect("the built-in dictionary is unpacked by a test");
    let text = String::from_utf8(bytes).expect("the built-in dictionary is read by a test");
    let text: &'static str = Box::leak(text.into());
    text.lines().collect()
});

/// Every way to say a word, as phones divided by spaces; none if the dictionary
/// lacks it. The word is in small letters.
pub fn pronunciations(word: &str) -> impl Iterator<Item = &'static str> {
    let of_line = |line: &'static str| line.split_once(' ').unwrap_or((line, ""));
    let first = LINES.partition_point(|line| of_line(line).0 < word);
    LINES[first..]
        .iter()
        .map(move |line| of_line(line))
        .take_while(move |(head, _)| *head == word)
        .map(|(_, phones)| phones)
}

/// Whether the built-in ears can listen for a word: it is in their vocabulary,
/// or the dictionary says how it is said.
#[must_use]
pub fn can_be_heard(word: &str) -> bool {
    VOCABULARY.contains(word) || pronunciations(word).next().is_some()
}

/// Whether two phrases sound the same, word by word, though they are written
/// differently: "won" and "one", "brake" and "break".
#[must_use]
pub fn sound_alike(one: &str, other: &str) -> bool {
    let (one, other): (Vec<&str>, Vec<&str>) =
        (one.split(' ').collect(), other.split(' ').collect());
    one.len() == other.len()
        && one.iter().zip(&other).all(|(one, other)| {
            one == other
                || pronunciations(one).any(|way| pronunciations(other).any(|like| like == way))
        })
}

/// The word of the vocabulary that a word outside it sounds like, if there is one.
#[must_use]
pub fn sounds_like_vocabulary(word: &str) -> Option<&'static str> {
    if VOCABULARY.contains(word) {
        return None;
    }
    VOCABULARY
        .iter()
        .copied()
        .find(|known| sound_alike(word, known))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Entries as the CMU pronouncing dictionary 0.7b publishes them, without stress.
    #[test]
    fn words_are_said_as_the_dictionary_has_them() {
        let ways = |word| pronunciations(word).collect::<Vec<_>>();
        assert_eq!(ways("gasket"), ["G AE S K AH T"]);
        assert_eq!(ways("seized"), ["S IY Z D"]);
        assert_eq!(ways("either"), ["AY DH ER", "IY DH ER"]);
        assert_eq!(ways("a"), ["AH", "EY"], "the first line is found");
        assert!(ways("zzzz").is_empty() && ways("").is_empty() && ways("gaske").is_empty());
    }

    #[test]
    fn homophones_are_found() {
        assert_eq!(sounds_like_vocabulary("won"), Some("one"));
        assert_eq!(sounds_like_vocabulary("know"), Some("no"));
        assert_eq!(sounds_like_vocabulary("ate"), Some("eight"));
        assert_eq!(sounds_like_vocabulary("gasket"), None);
        assert_eq!(sounds_like_vocabulary("one"), None, "itself");
        assert!(sound_alike("brake worn", "break worn"));
        assert!(!sound_alike("brake worn", "brake"));
    }

    #[test]
    fn the_dictionary_is_in_order_and_has_phones_for_every_word() {
        assert!(LINES.len() > 100_000, "{}", LINES.len());
        // In the order of words: the search needs it.
        let words: Vec<&str> = LINES
            .iter()
            .filter_map(|line| Some(line.split_once(' ')?.0))
            .collect();
        assert_eq!(words.len(), LINES.len());
        assert!(words.is_sorted());
    }
}

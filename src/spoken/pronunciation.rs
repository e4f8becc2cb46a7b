//! How common English words are said: the CMU pronouncing dictionary, built in.
//!
//! State: the dictionary, unpacked once, at the first word that is not in the
//! ear's own vocabulary, and never changed. A job that uses none does not pay.

use std::collections::BTreeMap;
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

/// Which words an ear can listen for. By default those of the built-in ears, and
/// with the dictionary nearly every English word.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct EarWords {
    own: BTreeMap<String, Vec<String>>,
    any: bool,
}

impl EarWords {
    /// Those too that a voice model has of its own, each with the ways to say it as
    /// phones divided by spaces; without a way where the model does not tell it.
    #[must_use]
    pub fn of_model(own: BTreeMap<String, Vec<String>>) -> Self {
        Self { own, any: false }
    }

    /// Every word: for the copy that a run keeps of its job, which was held against
    /// the ear of its day and is read with any ear, or none.
    #[must_use]
    pub fn any() -> Self {
        Self {
            any: true,
            ..Self::default()
        }
    }

    /// Whether it can listen for a word, in small letters.
    #[must_use]
    pub fn has(&self, word: &str) -> bool {
        self.any || self.own.contains_key(word) || can_be_heard(word)
    }

    /// Whether two phrases sound the same, word by word, though they are written
    /// differently: "won" and "one", "brake" and "break".
    #[must_use]
    pub fn sound_alike(&self, one: &str, other: &str) -> bool {
        let (one, other): (Vec<&str>, Vec<&str>) =
            (one.split(' ').collect(), other.split(' ').collect());
        one.len() == other.len()
            && one.iter().zip(&other).all(|(one, other)| {
                one == other || !both_of_vocabulary(one, other) && self.share_a_way(one, other)
            })
    }

    /// The word of the vocabulary that a word outside it sounds like, if there is one.
    #[must_use]
    pub fn sounds_like_vocabulary(&self, word: &str) -> Option<&'static str> {
        if self.any || VOCABULARY.contains(word) {
            return None;
        }
        VOCABULARY
            .iter()
            .copied()
            .find(|known| self.sound_alike(word, known))
    }

    /// Every word that it can listen for, the vocabulary first; some come twice.
    pub fn every(&self) -> impl Iterator<Item = &str> {
        let dictionary = LINES
            .iter()
            .filter_map(|line| Some(line.split_once(' ')?.0));
        VOCABULARY
            .iter()
            .copied()
            .chain(self.own.keys().map(String::as_str))
            .chain(dictionary)
    }

    fn share_a_way(&self, one: &str, other: &str) -> bool {
        self.ways(one)
            .any(|way| self.ways(other).any(|like| like == way))
    }

    fn ways<'a>(&'a self, word: &'a str) -> impl Iterator<Item = &'a str> {
        let own = self.own.get(word).into_iter().flatten().map(String::as_str);
        own.chain(pronunciations(word).map(|way| -> &'a str { way }))
    }
}

/// No two of them sound alike, so that the dictionary need not be unpacked for them.
fn both_of_vocabulary(one: &str, other: &str) -> bool {
    VOCABULARY.contains(one) && VOCABULARY.contains(other)
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
        let ears = EarWords::default();
        assert_eq!(ears.sounds_like_vocabulary("won"), Some("one"));
        assert_eq!(ears.sounds_like_vocabulary("know"), Some("no"));
        assert_eq!(ears.sounds_like_vocabulary("ate"), Some("eight"));
        assert_eq!(ears.sounds_like_vocabulary("gasket"), None);
        assert_eq!(ears.sounds_like_vocabulary("one"), None, "itself");
        assert!(ears.sound_alike("brake worn", "break worn"));
        assert!(!ears.sound_alike("brake worn", "brake"));
    }

    #[test]
    fn no_two_words_of_the_vocabulary_sound_alike() {
        let ears = EarWords::default();
        for one in VOCABULARY.iter() {
            for other in VOCABULARY.iter().filter(|other| *other != one) {
                assert!(!ears.share_a_way(one, other), "{one}, {other}");
            }
        }
        assert!(ears.share_a_way("four", "for"), "it would be found");
    }

    #[test]
    fn a_models_own_words_are_known_with_their_sound() {
        let own = [("qzyn", "N AY N"), ("wvxy", "W IH V")]
            .map(|(word, way)| (word.to_owned(), vec![way.to_owned()]));
        let ears = EarWords::of_model(own.into());
        assert!(ears.has("wvxy") && ears.has("gasket") && !ears.has("wvxyz"));
        assert!(!EarWords::default().has("wvxy"));
        assert_eq!(ears.sounds_like_vocabulary("qzyn"), Some("nine"));
        assert_eq!(ears.sounds_like_vocabulary("wvxy"), None);
        assert!(EarWords::any().has("wvxyz"));
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

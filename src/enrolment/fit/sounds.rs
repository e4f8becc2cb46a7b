//! How the words of a model sound: its lexicon and phones → the places that a clip goes through. No
//! state beyond what was read.

use std::collections::BTreeMap;

use ndarray::Array2;

use super::super::objective::{Following, Place, said};

/// A phone as the network has it: the outputs with which it is entered and stayed in.
pub(super) type Phone = (usize, usize);

/// How words sound, and which phone follows which.
pub(super) struct Sounds {
    pub(super) words: BTreeMap<String, Vec<Vec<Phone>>>,
    silence: Phone,
    pub(super) following: Following,
}

impl Sounds {
    pub(super) fn read(lexicon: &str, phones: &str, outputs: &[Phone]) -> Result<Self, String> {
        let numbers: BTreeMap<&str, Phone> = phones
            .lines()
            .filter_map(|line| {
                let (name, number) = line.split_once(char::is_whitespace)?;
                let number = number.trim().parse::<usize>().ok()?.checked_sub(1)?;
                Some((name, *outputs.get(number)?))
            })
            .collect();
        // The places of a phone in a word share its outputs.
        let phone = |name: &str| {
            let place = numbers.get(format!("{name}_B").as_str());
            place
                .copied()
                .ok_or_else(|| format!("lexicon.txt: no phone {name} in phones.txt"))
        };
        let silence = *numbers
            .get("SIL")
            .ok_or("phones.txt has no SIL (silence)")?;
        let mut words: BTreeMap<String, Vec<Vec<Phone>>> = BTreeMap::new();
        for line in lexicon.lines() {
            let mut parts = line.split_whitespace();
            if let Some(word) = parts.next() {
                let way = parts.map(phone).collect::<Result<Vec<_>, _>>()?;
                if !way.is_empty() {
                    words.entry(word.to_owned()).or_default().push(way);
                }
            }
        }
        if words.is_empty() {
            return Err("lexicon.txt holds no word".to_owned());
        }
        let following = following(&words, silence, &numbers);
        Ok(Self {
            words,
            silence,
            following,
        })
    }

    /// The phones of what was said, with silences between that may be left out; of each word the
    /// way of saying it that fits best. None if a word is unknown or the sound too short.
    pub(super) fn best_places(
        &self,
        words: &[String],
        scores: &Array2<f32>,
    ) -> Option<(f64, Vec<Place>)> {
        let mut ways = vec![0; words.len()];
        let mut best = None;
        for place in 0..words.len() {
            for way in 0..self.words.get(&words[place])?.len() {
                if way == 0 && place > 0 {
                    continue;
                }
                let before = std::mem::replace(&mut ways[place], way);
                let places = self.places(words, &ways);
                let fit = said(scores, &places).map(|(fit, _)| fit);
                match (&best, fit) {
                    (Some((known, _)), Some(fit)) if fit <= *known => ways[place] = before,
                    (_, None) => ways[place] = before,
                    (_, Some(fit)) => best = Some((fit, places)),
                }
            }
        }
        best
    }

    fn places(&self, words: &[String], ways: &[usize]) -> Vec<Place> {
        let place = |(enter, stay): Phone, optional| Place {
            enter,
            stay,
            optional,
        };
        let mut places = vec![place(self.silence, true)];
        for (word, way) in words.iter().zip(ways) {
            places.extend(
                self.words[word][*way]
                    .iter()
                    .map(|phone| place(*phone, false)),
            );
            places.push(place(self.silence, true));
        }
        places
    }
}

/// Which phone follows which where every word of the lexicon is as likely as another, and half of
/// the words are followed by silence.
fn following(
    words: &BTreeMap<String, Vec<Vec<Phone>>>,
    silence: Phone,
    numbers: &BTreeMap<&str, Phone>,
) -> Following {
    let mut outputs: Vec<Phone> = numbers.values().copied().collect();
    outputs.sort_unstable();
    outputs.dedup();
    let at = |phone: Phone| outputs.binary_search(&phone).unwrap_or_default();
    let count = outputs.len();
    let (mut begin, mut next) = (vec![0.1; count], vec![vec![0.02; count]; count]);
    let ways: Vec<&Vec<Phone>> = words.values().flatten().collect();
    #[expect(clippy::cast_precision_loss, reason = "words of a lexicon")]
    let all = ways.len() as f64;
    for way in &ways {
        begin[at(way[0])] += 1.0;
        next[at(silence)][at(way[0])] += 1.0;
        for pair in way.windows(2) {
            next[at(pair[0])][at(pair[1])] += 1.0;
        }
        let end = at(way[way.len() - 1]);
        next[end][at(silence)] += 0.5;
        for other in &ways {
            next[end][at(other[0])] += 0.5 / all;
        }
    }
    begin[at(silence)] += all;
    next[at(silence)][at(silence)] += 1.0;
    let to_one = |chances: &mut Vec<f64>| {
        let sum: f64 = chances.iter().sum();
        for chance in chances.iter_mut() {
            *chance /= sum;
        }
    };
    to_one(&mut begin);
    next.iter_mut().for_each(to_one);
    Following {
        outputs,
        begin,
        next,
    }
}

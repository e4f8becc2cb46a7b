//! Fits the last two layers of a network to one person. No state; the same clips give the same layers.
//!
//! What comes before those layers is worked out once for each clip; then they are
//! moved in small steps (Adam: Kingma and Ba, ICLR 2015) so that what was said fits
//! better than anything else ([`objective`](super::objective)). Beside the person's own
//! clips the network goes on hearing words in another voice, and is held near its
//! old answers, so that words that the person did not say are not forgotten: without
//! that, fitted to the digits 0 to 4 alone, it took three times as many of the other
//! digits for something else as before (six speakers, 230 words).

use std::collections::BTreeMap;

use ndarray::{Array1, Array2, Axis};

use super::cepstra::{self, Cepstra};
use super::network::{Affine, FITTED, Network, NetworkError};
use super::objective::{Following, Place, anything, said};

/// How often each own clip is gone through, and how.
const ROUNDS: usize = 12;
const BATCH: usize = 16;
const STEP: f32 = 5.0e-4;
/// How strongly the old answers are held to.
const HOLD: f32 = 0.3;
/// Each own clip is heard at three speeds, in three noises (steps of 16 bits).
const MANNERS: [(f32, f32); 3] = [(1.0, 3.0), (0.94, 40.0), (1.06, 120.0)];
/// Lower than this, each 30 ms, a clip is not what it should be: see [`Acoustics::fits`]. Of 180 clips
/// (120 single digits of six people, 60 synthetic phrases) none fitted its own words less well, and 13
/// fitted another clip's words better, most of them digits that sound alike.
const LEAST_FIT: f64 = -0.15;

/// A clip: sound at [`cepstra::RATE`] in steps of 16-bit integers, and the words said in it.
#[derive(Clone, Debug)]
pub struct Clip {
    /// The sound.
    pub samples: Vec<f32>,
    /// The words, each one that the model knows.
    pub words: Vec<String>,
}

/// The parts of a model that fitting needs, read from its files.
pub struct Acoustics {
    network: Network,
    cepstra: Cepstra,
    overall: Option<Array1<f32>>,
    sounds: Sounds,
}

/// The files of a model: what is in them.
pub struct Files {
    /// `am/final.mdl`.
    pub network: Vec<u8>,
    /// `am/global_cmvn.stats`, where there is one.
    pub statistics: Option<Vec<u8>>,
    /// `conf/mfcc.conf`.
    pub options: String,
    /// `lexicon.txt`.
    pub lexicon: String,
    /// `graph/phones.txt`.
    pub phones: String,
}

/// Why a model cannot be fitted.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// Its network is of another form.
    #[error(transparent)]
    Network(#[from] NetworkError),
    /// Another of its files is.
    #[error("{0}")]
    File(String),
    /// There is too little to learn from.
    #[error(
        "{0} clips are too few to learn a voice from; at least {1} are needed. Enrol again, in a quieter place"
    )]
    TooFew(usize, usize),
}

/// The fewest clips that are worth it.
pub const FEWEST: usize = 16;

/// A phone as the network has it: the outputs with which it is entered and stayed in.
type Phone = (usize, usize);

/// How words sound, and which phone follows which.
struct Sounds {
    words: BTreeMap<String, Vec<Vec<Phone>>>,
    silence: Phone,
    following: Following,
}

impl Acoustics {
    /// Reads a model.
    ///
    /// # Errors
    /// [`FitError`] says which file is of a form that cannot be fitted.
    pub fn read(files: Files) -> Result<Self, FitError> {
        let network = Network::read(files.network)?;
        let sounds = Sounds::read(&files.lexicon, &files.phones, network.outputs())
            .map_err(FitError::File)?;
        let overall = files.statistics.map(|stats| cepstra::overall_mean(&stats));
        Ok(Self {
            cepstra: Cepstra::of_options(&files.options).map_err(FitError::File)?,
            overall: overall.transpose().map_err(FitError::File)?,
            network,
            sounds,
        })
    }

    /// Whether the model knows every one of these words.
    #[must_use]
    pub fn knows(&self, words: &[String]) -> bool {
        words
            .iter()
            .all(|word| self.sounds.words.contains_key(word))
    }

    /// What the fitted layers hear of a sound; none for less than 25 ms.
    fn heard(&self, samples: &[f32]) -> Result<Array2<f32>, FitError> {
        let mut cepstra = self.cepstra.of(samples);
        if let Some(overall) = &self.overall {
            if overall.len() != cepstra.ncols() {
                return Err(FitError::File(
                    "am/global_cmvn.stats and conf/mfcc.conf have different sizes".to_owned(),
                ));
            }
            cepstra::take_mean_away(&mut cepstra, overall);
        }
        Ok(self.network.before_fitted(&cepstra)?)
    }

    fn layers(&self) -> Result<[Affine; 2], FitError> {
        Ok([
            self.network.layer(FITTED[0])?.clone(),
            self.network.layer(FITTED[1])?.clone(),
        ])
    }

    /// How well the words fit the sound, against any phones in any order, in logs each 30 ms: the
    /// higher the better. None where the sound is too short for the words.
    ///
    /// # Errors
    /// [`FitError`] where the model's parts do not fit together.
    pub fn fit_of(&self, clip: &Clip) -> Result<Option<f64>, FitError> {
        let heard = self.heard(&padded(&clip.samples, 0.2, 0.2))?;
        let scores = Scores::of(&self.layers()?, &heard);
        let Some((fit, _)) = self.sounds.best_places(&clip.words, &scores.out) else {
            return Ok(None);
        };
        let (any, _) = anything(&scores.out, &self.sounds.following);
        #[expect(clippy::cast_precision_loss, reason = "frames of one clip")]
        Ok(Some((fit - any) / scores.out.nrows() as f64))
    }

    /// Whether a clip may well be what it should be: a guard against learning from another word,
    /// a cough, or half of it. No judgement of who speaks.
    ///
    /// # Errors
    /// As [`Acoustics::fit_of`].
    pub fn fits(&self, clip: &Clip) -> Result<bool, FitError> {
        Ok(self.fit_of(clip)?.is_some_and(|fit| fit > LEAST_FIT))
    }

    /// Fits the network to a person, and gives the bytes of the new `am/final.mdl`. `others` are
    /// clips of many words in another voice. `tell` hears how far it is, from 0 to 1.
    ///
    /// # Errors
    /// [`FitError::TooFew`], or where the model's parts do not fit together.
    pub fn fitted(
        &self,
        own: &[Clip],
        others: &[Clip],
        mut tell: impl FnMut(f32),
    ) -> Result<Vec<u8>, FitError> {
        if own.len() < FEWEST {
            return Err(FitError::TooFew(own.len(), FEWEST));
        }
        let mut dice = fastrand::Rng::with_seed(7);
        let old = self.layers()?;
        let mut lessons = [Vec::new(), Vec::new()];
        for (number, clip) in own.iter().enumerate() {
            for (speed, noise) in MANNERS {
                let sound = varied(&clip.samples, speed, noise, &mut dice);
                lessons[0].extend(self.lesson(&sound, &clip.words, &old)?);
            }
            tell(0.3 * part(number, own.len()));
        }
        for (number, clip) in others.iter().enumerate() {
            let sound = varied(&clip.samples, 1.0, 3.0, &mut dice);
            lessons[1].extend(self.lesson(&sound, &clip.words, &old)?);
            tell(0.3 + 0.2 * part(number, others.len()));
        }
        let halves = if lessons[1].is_empty() { 1 } else { 2 };
        let steps = ROUNDS * lessons[0].len().div_ceil(BATCH / halves);
        let mut layers = old;
        let mut adam = Adam::new(&layers);
        for step in 0..steps {
            let mut change = Change::none(&layers);
            let mut frames = 0;
            for place in 0..BATCH {
                let kind = &lessons[if halves == 2 { place % 2 } else { 0 }];
                let lesson = &kind[dice.usize(..kind.len())];
                frames += lesson.heard.nrows();
                change.add(lesson, &layers, &self.sounds.following);
            }
            let done = part(step, steps);
            let speed = STEP * (part(step + 1, 5)).min(1.0) * (1.0 - 0.9 * done);
            #[expect(clippy::cast_precision_loss, reason = "frames of sixteen clips")]
            adam.step(&mut layers, change, 1.0 / frames as f32, speed);
            tell(0.5 + 0.5 * done);
        }
        Ok(self.network.with(&layers))
    }

    /// One sound to learn from; none where it is too short for its words.
    fn lesson(
        &self,
        sound: &[f32],
        words: &[String],
        layers: &[Affine; 2],
    ) -> Result<Option<Lesson>, FitError> {
        let heard = self.heard(sound)?;
        let old = Scores::of(layers, &heard).out;
        let places = self.sounds.best_places(words, &old);
        Ok(places.map(|(_, places)| Lesson { heard, old, places }))
    }
}

#[expect(clippy::cast_precision_loss, reason = "small counts")]
fn part(of: usize, all: usize) -> f32 {
    of as f32 / all.max(1) as f32
}

/// A sound to learn from.
struct Lesson {
    heard: Array2<f32>,
    /// The scores before anything was changed.
    old: Array2<f32>,
    places: Vec<Place>,
}

/// What the fitted layers make of a sound.
struct Scores {
    head: Array2<f32>,
    out: Array2<f32>,
}

impl Scores {
    fn of(layers: &[Affine; 2], heard: &Array2<f32>) -> Self {
        let head = layers[0].of(heard).mapv_into(|value| value.max(0.0));
        let out = layers[1].of(&head);
        Self { head, out }
    }
}

/// In which way the layers are to be moved, summed over sounds.
struct Change([Affine; 2]);

impl Change {
    fn none(layers: &[Affine; 2]) -> Self {
        Self(layers.each_ref().map(|layer| Affine {
            weights: Array2::zeros(layer.weights.raw_dim()),
            bias: Array1::zeros(layer.bias.raw_dim()),
        }))
    }

    fn add(&mut self, lesson: &Lesson, layers: &[Affine; 2], following: &Following) {
        let scores = Scores::of(layers, &lesson.heard);
        let Some((_, wanted)) = said(&scores.out, &lesson.places) else {
            return;
        };
        let (_, any) = anything(&scores.out, following);
        #[expect(clippy::cast_precision_loss, reason = "80 outputs")]
        let hold = 2.0 * HOLD / scores.out.ncols() as f32;
        let by_score = &any - &wanted + (&scores.out - &lesson.old) * hold;
        let mut by_head = by_score.dot(&layers[1].weights);
        by_head.zip_mut_with(&scores.head, |change, value| {
            if *value <= 0.0 {
                *change = 0.0;
            }
        });
        for (layer, (change, input)) in self
            .0
            .iter_mut()
            .zip([(&by_head, &lesson.heard), (&by_score, &scores.head)])
        {
            layer.weights += &change.t().dot(input);
            layer.bias += &change.sum_axis(Axis(0));
        }
    }
}

/// Adam's running means of changes and of their squares.
struct Adam {
    mean: Change,
    square: Change,
    steps: i32,
}

impl Adam {
    fn new(layers: &[Affine; 2]) -> Self {
        Self {
            mean: Change::none(layers),
            square: Change::none(layers),
            steps: 0,
        }
    }

    fn step(&mut self, layers: &mut [Affine; 2], change: Change, scale: f32, speed: f32) {
        const A: f32 = 0.9;
        const B: f32 = 0.999;
        self.steps += 1;
        let (mean_by, square_by) = (1.0 - A.powi(self.steps), 1.0 - B.powi(self.steps));
        // A change that is far too large says that a clip is odd: it is cut to a length of 3.
        let length: f32 = change
            .0
            .iter()
            .map(|layer| {
                let squares = |sum: f32, value: &f32| sum + value * value;
                layer.weights.iter().fold(0.0, squares) + layer.bias.iter().fold(0.0, squares)
            })
            .sum::<f32>()
            .sqrt()
            * scale;
        let scale = scale * (3.0 / length.max(3.0));
        let one = |value: &mut f32, change: f32, mean: &mut f32, square: &mut f32| {
            let change = change * scale;
            *mean = A * *mean + (1.0 - A) * change;
            *square = B * *square + (1.0 - B) * change * change;
            *value -= speed * (*mean / mean_by) / ((*square / square_by).sqrt() + 1.0e-8);
        };
        for (place, layer) in layers.iter_mut().enumerate() {
            let (change, mean, square) = (
                &change.0[place],
                &mut self.mean.0[place],
                &mut self.square.0[place],
            );
            ndarray::Zip::from(&mut layer.weights)
                .and(&change.weights)
                .and(&mut mean.weights)
                .and(&mut square.weights)
                .for_each(|value, change, mean, square| one(value, *change, mean, square));
            ndarray::Zip::from(&mut layer.bias)
                .and(&change.bias)
                .and(&mut mean.bias)
                .and(&mut square.bias)
                .for_each(|value, change, mean, square| one(value, *change, mean, square));
        }
    }
}

impl Sounds {
    fn read(lexicon: &str, phones: &str, outputs: &[Phone]) -> Result<Self, String> {
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
    fn best_places(&self, words: &[String], scores: &Array2<f32>) -> Option<(f64, Vec<Place>)> {
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

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "parts of a second"
)]
fn padded(samples: &[f32], before: f32, after: f32) -> Vec<f32> {
    let count = |seconds: f32| (seconds * cepstra::RATE as f32) as usize;
    let mut out = vec![0.0; count(before)];
    out.extend_from_slice(samples);
    out.resize(out.len() + count(after), 0.0);
    out
}

/// The sound faster or slower, in a silence of a little noise.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "places in a short clip"
)]
fn varied(samples: &[f32], speed: f32, noise: f32, dice: &mut fastrand::Rng) -> Vec<f32> {
    let length = (samples.len() as f32 / speed) as usize;
    let at = |place: usize| {
        let exact = place as f32 * speed;
        let low = exact as usize;
        let first = samples[low.min(samples.len() - 1)];
        let second = samples[(low + 1).min(samples.len() - 1)];
        first + (second - first) * (exact - low as f32)
    };
    let stretched: Vec<f32> = (0..length).map(at).collect();
    let (before, after) = (0.1 + 0.3 * dice.f32(), 0.2 + 0.2 * dice.f32());
    let mut out = padded(&stretched, before, after);
    for sample in &mut out {
        // The sum of twelve even chances is nearly a normal one.
        let normal: f32 = (0..12).map(|_| dice.f32()).sum::<f32>() - 6.0;
        *sample += normal * noise;
    }
    out
}

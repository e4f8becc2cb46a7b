//! Fits the last two layers of a network to one person. No state; the same clips give the same layers.
//!
//! What comes before those layers is worked out once for each clip; then they are
//! moved in small steps (Adam: Kingma and Ba, ICLR 2015) so that what was said fits
//! better than anything else ([`objective`](super::objective)). Beside the person's own
//! clips the network goes on hearing words in another voice, and is held near its
//! old answers, so that words that the person did not say are not forgotten: without
//! that, fitted to the digits 0 to 4 alone, it took three times as many of the other
//! digits for something else as before (six speakers, 230 words).

mod sounds;
mod steps;

use std::ops::ControlFlow;

use ndarray::{Array1, Array2};

use self::sounds::Sounds;
use self::steps::{Adam, Change, Lesson, Scores};
use super::cepstra::{self, Cepstra};
use super::network::{Affine, FITTED, Network, NetworkError};
use super::objective::anything;

/// How often each own clip is gone through, and how.
const ROUNDS: usize = 12;
const BATCH: usize = 16;
const STEP: f32 = 5.0e-4;
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
    /// It was broken off.
    #[error("learning was broken off; nothing of it is kept")]
    BrokenOff,
}

/// The fewest clips that are worth it.
pub const FEWEST: usize = 16;

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
    /// clips of many words in another voice. `tell` hears how far it is, from 0 to 1, and says whether
    /// to go on.
    ///
    /// # Errors
    /// [`FitError::TooFew`], [`FitError::BrokenOff`], or where the model's parts do not fit together.
    pub fn fitted(
        &self,
        own: &[Clip],
        others: &[Clip],
        mut tell: impl FnMut(f32) -> ControlFlow<()>,
    ) -> Result<Vec<u8>, FitError> {
        if own.len() < FEWEST {
            return Err(FitError::TooFew(own.len(), FEWEST));
        }
        let mut going = |done| match tell(done) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(FitError::BrokenOff),
        };
        let mut dice = fastrand::Rng::with_seed(7);
        let old = self.layers()?;
        let mut lessons = [Vec::new(), Vec::new()];
        for (number, clip) in own.iter().enumerate() {
            let said = said_in(&clip.samples);
            for (speed, noise) in MANNERS {
                let sound = varied(said, speed, noise, &mut dice);
                lessons[0].extend(self.lesson(&sound, &clip.words, &old)?);
            }
            going(0.3 * part(number, own.len()))?;
        }
        for (number, clip) in others.iter().enumerate() {
            let sound = varied(&clip.samples, 1.0, 3.0, &mut dice);
            lessons[1].extend(self.lesson(&sound, &clip.words, &old)?);
            going(0.3 + 0.2 * part(number, others.len()))?;
        }
        let halves = if lessons[1].is_empty() { 1 } else { 2 };
        let steps = ROUNDS * lessons[0].len().div_ceil(BATCH / halves);
        let mut layers = old;
        let mut adam = Adam::new(&layers);
        for step in 0..steps {
            let batch: Vec<&Lesson> = (0..BATCH)
                .map(|place| {
                    let kind = &lessons[if halves == 2 { place % 2 } else { 0 }];
                    &kind[dice.usize(..kind.len())]
                })
                .collect();
            let frames: usize = batch.iter().map(|lesson| lesson.heard.nrows()).sum();
            let change = Change::of(&batch, &layers, &self.sounds.following);
            let done = part(step, steps);
            let speed = STEP * (part(step + 1, 5)).min(1.0) * (1.0 - 0.9 * done);
            #[expect(clippy::cast_precision_loss, reason = "frames of sixteen clips")]
            adam.step(&mut layers, change, 1.0 / frames as f32, speed);
            going(0.5 + 0.5 * done)?;
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

/// The part of a clip in which something is said, with 80 ms around it: silence teaches nothing, and
/// takes its share of each step. What is 30 dB below the loudest 10 ms, or at most 20 dB where the
/// place is noisy, is taken for silence.
fn said_in(samples: &[f32]) -> &[f32] {
    const WINDOW: usize = cepstra::RATE as usize / 100;
    const AROUND: usize = 8;
    let levels: Vec<f32> = samples
        .chunks(WINDOW)
        .map(|window| {
            window
                .iter()
                .fold(0.0, |sum: f32, sample| sum.max(sample.abs()))
        })
        .collect();
    let mut in_order = levels.clone();
    in_order.sort_unstable_by(f32::total_cmp);
    let (Some(loudest), Some(quiet)) = (in_order.last(), in_order.get(levels.len() / 10)) else {
        return samples;
    };
    let limit = (loudest * 0.0316).max(quiet * 2.0).min(loudest * 0.1);
    let is_said = |level: &f32| *level >= limit;
    let first = levels.iter().position(is_said).unwrap_or(0);
    let last = levels.iter().rposition(is_said).unwrap_or(0);
    let from = first.saturating_sub(AROUND) * WINDOW;
    let to = (last + 1 + AROUND) * WINDOW;
    &samples[from..to.min(samples.len())]
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

#[cfg(test)]
mod tests {
    use super::*;

    /// A tone of 0.3 s in a room of this loudness, with this much of it before and behind.
    fn clip(room: f32, before: usize, behind: usize) -> Vec<f32> {
        let mut dice = fastrand::Rng::with_seed(1);
        let mut noise = |count: usize| -> Vec<f32> {
            (0..count)
                .map(|_| room * (2.0 * dice.f32() - 1.0))
                .collect()
        };
        let (lead, trail) = (noise(before), noise(behind));
        let tone = (0..4_800u16).map(|at| 8_000.0 * (f32::from(at) * 0.2).sin());
        lead.into_iter().chain(tone).chain(trail).collect()
    }

    #[test]
    fn silence_around_what_is_said_is_left_out_but_for_80_ms() {
        for room in [0.0, 30.0, 200.0, 600.0] {
            let long = clip(room, 16_000, 8_000);
            let said = said_in(&long);
            assert_eq!(said.len(), 4_800 + 2 * 1_280, "{room}");
            assert_eq!(said, &long[16_000 - 1_280..16_000 + 4_800 + 1_280]);
        }
        // Where there is none, or the room is as loud, all of it stays.
        let tight = clip(30.0, 160, 160);
        assert_eq!(said_in(&tight), &tight[..]);
        let loud = clip(2_000.0, 16_000, 8_000);
        assert_eq!(said_in(&loud), &loud[..]);
        assert_eq!(said_in(&[0.0; 500]).len(), 500);
        assert_eq!(said_in(&[]).len(), 0);
    }
}

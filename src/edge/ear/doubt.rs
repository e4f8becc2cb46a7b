//! Signs that the decoder took something else for words. No state.
//!
//! A strict grammar has no better answer than its own words for a rattle or a
//! stranger's sentence. Three plain measurements tell most of those from an
//! answer. Each can only turn an answer into "not understood", never the other
//! way. The limits lie at about the first hundredth of right answers of the
//! clips that the costs were tuned on (speakers an earlier model was trained on).

use super::HeardWord;

/// The least posterior of a word, that of the less sure ear. Lower, a decoder
/// had another answer that it could not rule out. Of 261 answers of speakers set
/// aside from the training 28 are asked again and 1 is wrong, against 24 and 3
/// without a limit; of 690 hard recordings (telephone band, noise at 10 dB,
/// joined digits) 87 and 12, against 59 and 18.
const LEAST_CONFIDENCE: f64 = 0.8;

/// The least posterior of a stop: one too many is better than one not heard.
const LEAST_CONFIDENCE_OF_STOP: f64 = 0.55;

/// The least duration of all words together, in seconds for each letter. The
/// quickest right answers took 0.054; "wrong" found in a motor's noise took 0.03.
const LEAST_SECONDS_A_LETTER: f64 = 0.035;

/// The least duration of one word among others, in seconds.
const LEAST_SECONDS_A_WORD: f64 = 0.05;

/// How far the words must stand above what is around them, in decibels.
const LEAST_DECIBELS: f64 = 3.0;

/// Half-open air around the words that is counted neither to them nor to the
/// background, in seconds.
const SKIRT_SECONDS: f64 = 0.1;

/// How much background is needed to say anything, in seconds.
const ENOUGH_BACKGROUND_SECONDS: f64 = 0.16;

const FRAME_SECONDS: f64 = 0.02;

/// Whether an ear had another answer that it could not rule out.
pub(super) fn unsure(words: &[HeardWord], stop: bool) -> bool {
    let least = if stop {
        LEAST_CONFIDENCE_OF_STOP
    } else {
        LEAST_CONFIDENCE
    };
    words.iter().any(|heard| heard.confidence < least)
}

/// Whether the sound is such that no mouth near the microphone said these words.
///
/// `samples` is the sound around them at `rate` samples a second; its first
/// sample stands at `from_s` on the clock of the words.
pub(super) fn unlike_speech(words: &[HeardWord], samples: &[i16], rate: u32, from_s: f64) -> bool {
    let seconds = |heard: &HeardWord| heard.end_s - heard.start_s;
    let letters: usize = words.iter().map(|heard| heard.word.chars().count()).sum();
    words
        .iter()
        .any(|heard| seconds(heard) < LEAST_SECONDS_A_WORD)
        || words.iter().map(seconds).sum::<f64>() < LEAST_SECONDS_A_LETTER * letters as f64
        || prominence(words, samples, rate, from_s).is_some_and(|level| level < LEAST_DECIBELS)
}

/// How far the louder part of the words stands above the middle of what is
/// around them, in decibels; none when there is too little around them.
fn prominence(words: &[HeardWord], samples: &[i16], rate: u32, from_s: f64) -> Option<f64> {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a fiftieth of a sampling rate"
    )]
    let frame = (FRAME_SECONDS * f64::from(rate)) as usize;
    let (mut inside, mut around) = (Vec::new(), Vec::new());
    for (at, samples) in samples.chunks_exact(frame).enumerate() {
        let time = from_s + (at as f64 + 0.5) * FRAME_SECONDS;
        let within = |skirt: f64| {
            words
                .iter()
                .any(|heard| time >= heard.start_s - skirt && time <= heard.end_s + skirt)
        };
        if within(0.0) {
            inside.push(decibels(samples));
        } else if !within(SKIRT_SECONDS) {
            around.push(decibels(samples));
        }
    }
    if inside.is_empty() || (around.len() as f64) * FRAME_SECONDS < ENOUGH_BACKGROUND_SECONDS {
        return None;
    }
    Some(quantile(&mut inside, 0.7) - quantile(&mut around, 0.5))
}

/// The level of a frame in decibels below full scale, at least -90.
fn decibels(samples: &[i16]) -> f64 {
    let power: f64 = samples
        .iter()
        .map(|&sample| (f64::from(sample) / 32768.0).powi(2))
        .sum::<f64>()
        / samples.len() as f64;
    10.0 * (power + 1e-9).log10()
}

fn quantile(values: &mut [f64], part: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "part is between 0 and 1"
    )]
    let at = (part * (values.len() - 1) as f64).round() as usize;
    values[at]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn word(word: &str, start_s: f64, end_s: f64, confidence: f64) -> HeardWord {
        HeardWord {
            word: word.to_owned(),
            start_s,
            end_s,
            confidence,
        }
    }

    /// One second of a steady tone, `loud` times as high between 0.4 and 0.7 s.
    fn tone(loud: i16) -> Vec<i16> {
        (0..16_000_u16)
            .map(|at| {
                let level = if (6_400..11_200).contains(&at) {
                    100 * loud
                } else {
                    100
                };
                if at % 20 < 10 { level } else { -level }
            })
            .collect()
    }

    #[test]
    fn a_clear_word_is_not_doubted() {
        assert!(!unlike_speech(
            &[word("yes", 0.4, 0.7, 1.0)],
            &tone(10),
            16_000,
            0.0
        ));
    }

    #[test]
    fn a_word_no_louder_than_what_is_around_it_is_doubted() {
        assert!(unlike_speech(
            &[word("yes", 0.4, 0.7, 1.0)],
            &tone(1),
            16_000,
            0.0
        ));
    }

    #[test]
    fn a_word_that_no_mouth_could_say_so_quickly_is_doubted() {
        assert!(unlike_speech(
            &[word("affirmative", 0.4, 0.6, 1.0)],
            &tone(10),
            16_000,
            0.0
        ));
    }

    #[test]
    fn a_word_with_a_rival_is_doubted_and_a_stop_only_with_an_equal_one() {
        let with = |confidence| [word("yes", 0.4, 0.7, confidence)];
        assert!(!unsure(&with(0.8), false));
        assert!(unsure(&with(0.79), false));
        assert!(!unsure(&with(0.55), true));
        assert!(unsure(&with(0.5), true));
    }

    #[test]
    fn the_clock_of_the_words_may_start_before_the_sound() {
        let late = [word("yes", 60.4, 60.7, 1.0)];
        assert!(!unlike_speech(&late, &tone(10), 16_000, 60.0));
        assert!(unlike_speech(&late, &tone(1), 16_000, 60.0));
    }

    #[test]
    fn nothing_around_the_words_says_nothing() {
        assert_eq!(
            prominence(&[word("yes", 0.0, 1.0, 1.0)], &tone(1), 16_000, 0.0),
            None
        );
    }
}

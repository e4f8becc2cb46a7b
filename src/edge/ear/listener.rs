//! One question being listened for: sound in, what was heard out.
//!
//! State: the decoders and the sound of the utterance that is being heard. Only
//! the thread that owns a [`Listener`] changes them.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Instant;

use vosk::{CompleteResult, DecodingState, Recognizer};

use super::agreement::{self, Settled};
use super::{EarError, GARBAGE, Heard, HeardWord, WordGraph, doubt};

/// Quiet room noise is put before and after what is heard, so that a word cut
/// close by the key or by the start of a recording stands as it did in training.
const LEAD_SECONDS: f64 = 0.25;

/// How much sound is kept before the first and after the last word of a clip.
const MARGIN_SECONDS: f64 = 0.3;

/// The longest utterance whose sound is kept, in seconds.
const LONGEST_SECONDS: u32 = 30;

/// What begins so soon after an utterance that was not understood is the rest of it, in seconds: nobody
/// can have been asked again by then. "One zero zero one", said with pauses, is then not taken for its last
/// "one". Of 2,014 recordings (most groups of `model/README.md`) 18 instead of 24 were taken for something else, and as
/// many were right. Less than what the gate before the ear stays open for.
const GOES_ON_SECONDS: f64 = 0.5;

/// One question being listened for.
pub struct Listener {
    /// One for each model; the first says when an utterance has ended.
    decoders: Vec<Recognizer>,
    answers: Option<WordGraph>,
    rate: u32,
    /// Samples of lead-in that the decoder was given before the first sample.
    lead: usize,
    /// Samples that `accept` was given so far.
    taken: usize,
    /// The last of them, from the last result on.
    kept: Vec<i16>,
    /// The stop that is being said has been given: the rest of the utterance counts for nothing.
    stopped: bool,
    /// What begins before this, in seconds of what was taken, goes on with what was not understood.
    goes_on_until_s: f64,
}

impl Listener {
    pub(super) fn new(
        rate: u32,
        answers: Option<WordGraph>,
        decoders: impl FnOnce(f32) -> Option<Vec<Recognizer>>,
    ) -> Result<Self, EarError> {
        if !crate::edge::sound::RATES.contains(&rate) {
            return Err(EarError::Rate(rate));
        }
        let mut decoders = decoders(rate as f32)
            .ok_or_else(|| EarError::Decoder("it gave no recognizer".to_owned()))?;
        for decoder in &mut decoders {
            decoder.set_words(true);
        }
        let lead = quiet(rate);
        let mut listener = Self {
            decoders,
            answers,
            rate,
            lead: lead.len(),
            taken: 0,
            kept: Vec::new(),
            stopped: false,
            goes_on_until_s: 0.0,
        };
        listener.decode(&lead)?;
        Ok(listener)
    }

    /// Hears the next samples; blocks of 0.05 to 0.2 s give the quickest answer.
    ///
    /// Gives what was heard once the speaker has paused after something that
    /// can be an answer, or after sound that was none. Silence gives nothing. A
    /// stop that every ear has understood does not wait for the pause.
    ///
    /// # Errors
    /// [`EarError::Decoder`].
    pub fn accept(&mut self, samples: &[i16]) -> Result<Option<Heard>, EarError> {
        let began = now();
        self.taken += samples.len();
        self.kept.extend_from_slice(samples);
        let most = (self.rate * LONGEST_SECONDS) as usize;
        if self.kept.len() > most {
            self.kept.drain(..self.kept.len() - most);
        }
        if self.decode(samples)? != DecodingState::Finalized {
            return self.stop_so_far(began);
        }
        let heard = self.heard(began, Recognizer::result)?;
        let given = std::mem::take(&mut self.stopped);
        Ok((!given && (!heard.words.is_empty() || heard.unclear)).then_some(heard))
    }

    /// Ends the utterance now and gives what was heard, perhaps nothing.
    ///
    /// # Errors
    /// [`EarError::Decoder`].
    pub fn finish(&mut self) -> Result<Heard, EarError> {
        let began = now();
        let tail = quiet(self.rate);
        self.decode(&tail)?;
        let heard = self.heard(began, Recognizer::final_result)?;
        Ok(if std::mem::take(&mut self.stopped) {
            Heard {
                words: Vec::new(),
                unclear: false,
                ..heard
            }
        } else {
            heard
        })
    }

    /// The stop that is being said, once every ear has understood it and nothing else so far.
    ///
    /// What is understood before the pause may still change, so nothing but a stop is taken from
    /// it: it keeps no reading and says no yes. Of 98 real recordings of "stop" all are given so,
    /// 0.4 s after their end (median; 0.5 s is the 95th percentile) where the pause takes 1.0 s
    /// (1.2 s); what it costs is in `model/README.md`.
    fn stop_so_far(&mut self, began: Instant) -> Result<Option<Heard>, EarError> {
        let Some(answers) = self.answers.as_ref().filter(|_| !self.stopped) else {
            return Ok(None);
        };
        let mut said = String::new();
        for decoder in &mut self.decoders {
            said = words_so_far(decoder)?;
            let words: Vec<&str> = said.split_whitespace().collect();
            let stops = |first: &&str| crate::spoken::begins_with_stop(first);
            if !words.first().is_some_and(stops) || !answers.accepts(&words) {
                return Ok(None);
            }
        }
        self.stopped = true;
        let now_s = self.taken as f64 / f64::from(self.rate);
        let kept_s = self.kept.len() as f64 / f64::from(self.rate);
        Ok(Some(Heard {
            words: said
                .split_whitespace()
                .map(|word| HeardWord {
                    word: word.to_owned(),
                    start_s: now_s - kept_s,
                    end_s: now_s,
                    confidence: 0.0,
                })
                .collect(),
            unclear: false,
            seconds_taken: began.elapsed().as_secs_f64(),
            samples: self.kept.clone(),
            rate: self.rate,
        }))
    }

    fn decode(&mut self, samples: &[i16]) -> Result<DecodingState, EarError> {
        let mut first = None;
        for decoder in &mut self.decoders {
            match decoder.accept_waveform(samples) {
                Ok(DecodingState::Failed) => {
                    return Err(EarError::Decoder("it stopped".to_owned()));
                }
                Ok(state) => first = first.or(Some(state)),
                Err(fault) => return Err(EarError::Decoder(fault.to_string())),
            }
        }
        first.ok_or_else(|| EarError::Decoder("there is none".to_owned()))
    }

    fn heard(
        &mut self,
        began: Instant,
        result: impl Fn(&mut Recognizer) -> CompleteResult<'_>,
    ) -> Result<Heard, EarError> {
        let lead_s = self.lead as f64 / f64::from(self.rate);
        let all = self
            .decoders
            .iter_mut()
            .map(|decoder| words_of(decoder, &result, lead_s))
            .collect::<Result<Vec<_>, _>>()?;
        let answers = self.answers.as_ref();
        let is_answer = |words: &[HeardWord]| {
            let said: Vec<&str> = words.iter().map(|heard| heard.word.as_str()).collect();
            match answers {
                Some(graph) => graph.accepts(&said),
                None => said.iter().all(|word| *word != GARBAGE),
            }
        };
        let settled = agreement::settle(all, is_answer);
        let from_s = (self.taken - self.kept.len()) as f64 / f64::from(self.rate);
        let doubtful = answers.is_some()
            && (doubt::unsure(&settled.words, settled.stop)
                || doubt::unlike_speech(&settled.words, &self.kept, self.rate, from_s));
        let goes_on = !settled.stop
            && settled
                .words
                .first()
                .is_some_and(|first| first.start_s < self.goes_on_until_s);
        let Settled { words, agreed, .. } = settled;
        let unclear = !agreed || (!words.is_empty() && (!is_answer(&words) || doubtful || goes_on));
        if unclear {
            self.goes_on_until_s = self.taken as f64 / f64::from(self.rate) + GOES_ON_SECONDS;
        }
        let samples = self.clip(&words);
        Ok(Heard {
            // Half an answer is no answer: what was not understood of it may
            // have been the "minus" or the "point".
            words: if unclear { Vec::new() } else { words },
            unclear,
            seconds_taken: began.elapsed().as_secs_f64(),
            samples,
            rate: self.rate,
        })
    }

    /// Takes the kept sound, cut to the words and a margin.
    fn clip(&mut self, words: &[HeardWord]) -> Vec<i16> {
        let kept = std::mem::take(&mut self.kept);
        let (Some(first), Some(last)) = (words.first(), words.last()) else {
            return kept;
        };
        let from = self.taken - kept.len();
        let place = |seconds: f64| {
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "not negative, and bounded by the length of the sound on the next line"
            )]
            let sample = (seconds.max(0.0) * f64::from(self.rate)) as usize;
            sample.saturating_sub(from).min(kept.len())
        };
        let begin = place(first.start_s - MARGIN_SECONDS);
        let end = place(last.end_s + MARGIN_SECONDS);
        kept[begin..end.max(begin)].to_vec()
    }
}

/// What one decoder has understood of an utterance that goes on.
fn words_so_far(decoder: &mut Recognizer) -> Result<String, EarError> {
    // As in `words_of`: the crate panics on JSON that it does not know.
    catch_unwind(AssertUnwindSafe(|| {
        decoder.partial_result().partial.to_owned()
    }))
    .map_err(|_panic| EarError::Decoder("what it has so far cannot be read".to_owned()))
}

/// What one decoder heard.
fn words_of(
    decoder: &mut Recognizer,
    result: impl FnOnce(&mut Recognizer) -> CompleteResult<'_>,
    lead_s: f64,
) -> Result<Vec<HeardWord>, EarError> {
    // The crate panics on a result that is not the JSON it knows.
    catch_unwind(AssertUnwindSafe(|| {
        let found = result(decoder).single()?;
        let words = found.result.iter().map(|word| HeardWord {
            word: word.word.to_owned(),
            start_s: (f64::from(word.start) - lead_s).max(0.0),
            end_s: (f64::from(word.end) - lead_s).max(0.0),
            confidence: f64::from(word.conf),
        });
        Some(words.collect::<Vec<_>>())
    }))
    .map_err(|_panic| {
        EarError::Decoder(
            "its result cannot be read; if LC_NUMERIC has a decimal comma, set LC_ALL=C".to_owned(),
        )
    })?
    .ok_or_else(|| EarError::Decoder("its result has no single best answer".to_owned()))
}

/// A quarter of a second of room noise, two or three steps high, the same each time.
fn quiet(rate: u32) -> Vec<i16> {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a small positive number"
    )]
    let length = (LEAD_SECONDS * f64::from(rate)) as usize;
    // Marsaglia's xorshift (2003): good enough for noise, and no dependency.
    let mut state = 0x2545_f491_u32;
    (0..length)
        .map(|_| {
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
            i16::try_from(state % 7).unwrap_or(0) - 3
        })
        .collect()
}

#[expect(clippy::disallowed_methods, reason = "the edge reads the clock")]
fn now() -> Instant {
    Instant::now()
}

//! A recording instead of a microphone: fed piece by piece, in step with the core.
//!
//! The same ear, the same grammars and the same core as with a microphone; only
//! the clock is that of the recording. State: where in the recording it stands,
//! and the listener of the open question.

use std::time::{Duration, Instant};

use super::ear::{Ear, Heard, Listener};
use super::listening::{Gate, Rule};
use super::sound::Sound as Samples;
use crate::drive::{Fed, Sound, Utterance};
use crate::spoken::{self, CommandSet, Slot};

/// Length of one piece, in milliseconds.
const PIECE_MS: u64 = 100;

/// A recording that is being played to the ear.
pub struct Recording {
    samples: Samples,
    at: usize,
    ear: Ear,
    open: Option<(Listener, u64)>,
    gate: Gate,
    /// The microphone was closed: the utterance ends here.
    closing: bool,
    failed: Option<String>,
    finished: bool,
    paced_since: Option<Instant>,
}

impl Recording {
    /// Plays these samples to this ear: at their own pace, or as fast as it can.
    #[must_use]
    #[allow(
        clippy::disallowed_methods,
        reason = "an edge: the pace of a recording is real time"
    )]
    pub fn new(samples: Samples, ear: Ear, fast: bool) -> Self {
        let gate = Gate::new(Rule::default(), samples.rate);
        Self {
            samples,
            at: 0,
            ear,
            open: None,
            gate,
            closing: false,
            failed: None,
            finished: false,
            paced_since: (!fast).then(Instant::now),
        }
    }

    fn at_ms(&self) -> u64 {
        self.at as u64 * 1000 / u64::from(self.samples.rate.max(1))
    }

    fn utterance(heard: &Heard, listen: u64) -> Utterance {
        Utterance {
            words: heard.phrase(),
            listen,
            samples: heard.samples.clone(),
            rate: heard.rate,
            damaged: false,
        }
    }

    fn keep_pace(&self) {
        if let Some(since) = self.paced_since {
            let due = Duration::from_millis(self.at_ms());
            std::thread::sleep(due.saturating_sub(since.elapsed()));
        }
    }
}

impl Sound for Recording {
    fn listen(&mut self, slot: &Slot, commands: CommandSet, listen: u64) {
        // Before the next is opened: each holds the whole models.
        self.open = None;
        match self
            .ear
            .listen(&spoken::listening(slot, commands), self.samples.rate)
        {
            Ok(listener) => {
                self.gate.close();
                self.open = Some((listener, listen));
            }
            Err(error) => self.failed = Some(error.to_string()),
        }
    }

    fn close(&mut self) {
        self.closing = true;
    }

    fn feed(&mut self) -> Option<Fed> {
        if let Some(why) = self.failed.take() {
            self.finished = true;
            return Some(Fed::Failed(why));
        }
        if self.finished {
            return None;
        }
        if std::mem::take(&mut self.closing)
            && let Some((mut listener, listen)) = self.open.take()
        {
            return Some(match listener.finish() {
                Ok(heard) => Fed::Time {
                    at_ms: self.at_ms(),
                    heard: Some(Self::utterance(&heard, listen)),
                },
                Err(error) => Fed::Failed(error.to_string()),
            });
        }
        if self.at >= self.samples.samples.len() {
            self.finished = true;
            return match self.open.take() {
                Some((mut listener, listen)) => match listener.finish() {
                    Ok(heard) if !heard.words.is_empty() || heard.unclear => {
                        self.finished = false;
                        Some(Fed::Time {
                            at_ms: self.at_ms(),
                            heard: Some(Self::utterance(&heard, listen)),
                        })
                    }
                    Ok(_) => Some(Fed::Over),
                    Err(error) => Some(Fed::Failed(error.to_string())),
                },
                None => Some(Fed::Over),
            };
        }
        let length = (u64::from(self.samples.rate) * PIECE_MS / 1000).max(1);
        let end = (self.at + usize::try_from(length).unwrap_or(1)).min(self.samples.samples.len());
        let mut passed = Vec::new();
        self.gate
            .pass(&self.samples.samples[self.at..end], &mut passed);
        let heard = match &mut self.open {
            Some(_) if passed.is_empty() => None,
            Some((listener, listen)) => match listener.accept(&passed) {
                Ok(heard) => heard.map(|heard| Self::utterance(&heard, *listen)),
                Err(error) => {
                    self.finished = true;
                    return Some(Fed::Failed(error.to_string()));
                }
            },
            None => None,
        };
        self.at = end;
        self.keep_pace();
        Some(Fed::Time {
            at_ms: self.at_ms(),
            heard,
        })
    }

    fn feed_is_never(&self) -> bool {
        false
    }
}

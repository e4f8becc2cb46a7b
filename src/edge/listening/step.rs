//! What the ear's thread does, step by step, with time as an input.
//!
//! State: [`Listening`], which the thread alone changes.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Duration;

use super::gate;
use super::{Engine, FromEar, Gate, HeardUtterance, OpenEar, Rule, WordGraph};
use crate::edge::mic::{Capture, LevelMeter, MicError, Source};

/// What the thread does, one step at a time.
pub struct Listening<E: Engine, O, S, T> {
    open_engine: O,
    source: S,
    tell: T,
    engine: Life<E>,
    mic: Mic,
    question: Option<Question<E::Open>>,
    lost: Lost,
    said_ready: bool,
    rule: Rule,
}

/// The silence after which a microphone counts as lost. Even a quiet room gives
/// samples.
pub const WATCHDOG: Duration = Duration::from_secs(1);

/// The pause before the first attempt to open a lost microphone again; it
/// doubles with each attempt.
pub const FIRST_PAUSE: Duration = Duration::from_millis(500);

/// The longest pause between attempts.
pub const LONGEST_PAUSE: Duration = Duration::from_secs(8);

/// Frames at the end of the range within a tenth of a second that count as
/// clipping; one or two may be a click (three in a row is common practice).
const CLIPPED_FRAMES: u64 = 3;

enum Life<E> {
    /// Not opened yet, or dropped after a failure: the next question opens it.
    Closed,
    Alive(E),
    /// It cannot be opened: off for good.
    Off,
}

enum Mic {
    Closed {
        retry_at: Duration,
        pause: Duration,
    },
    Open {
        capture: Box<Capture>,
        meter: LevelMeter,
        gate: Box<Gate>,
        heard_at: Duration,
        /// The pause before the next attempt, for as long as no sound has come.
        pause: Option<Duration>,
    },
}

struct Question<Open> {
    graph: WordGraph,
    number: u64,
    ear: Option<Open>,
    damaged: bool,
    /// Where sound was lost: the samples of silence since.
    gap: Option<usize>,
    /// Whether the ear has failed since the last result.
    failed: bool,
}

impl<Open> Question<Open> {
    /// Takes in a block of sound and whether some was lost in it. What was lost
    /// belongs to whatever is said before the pause that parts two utterances;
    /// after such a silence it belongs to nothing.
    fn note_gap(&mut self, gap: bool, silence: usize, pause: usize) {
        if gap {
            self.gap = Some(0);
        } else if let Some(since) = &mut self.gap {
            *since += silence;
            if *since >= pause {
                self.gap = None;
            }
        }
    }

    /// Whether the utterance that ends here is damaged; the next begins whole,
    /// unless sound was lost in this very block, which may be its beginning.
    fn take_damage(&mut self, gap_now: bool) -> bool {
        let damaged = std::mem::take(&mut self.damaged) || self.gap.take().is_some();
        self.gap = gap_now.then_some(0);
        damaged
    }
}

/// What is wrong and has been said.
#[derive(Default)]
struct Lost {
    mic: bool,
    ear: bool,
}

impl<E: Engine, O, S, T> Listening<E, O, S, T>
where
    O: FnMut() -> Result<E, String>,
    S: Source,
    T: Fn(FromEar),
{
    /// Nothing is opened before the first [`Listening::step`].
    pub fn new(open_engine: O, source: S, tell: T) -> Self {
        Self {
            open_engine,
            source,
            tell,
            engine: Life::Closed,
            mic: Mic::Closed {
                retry_at: Duration::ZERO,
                pause: FIRST_PAUSE,
            },
            question: None,
            lost: Lost::default(),
            said_ready: false,
            rule: Rule::default(),
        }
    }

    /// The same with another rule for what is let through to the ear.
    #[must_use]
    pub fn with_gate(self, rule: Rule) -> Self {
        Self { rule, ..self }
    }

    /// As [`Handle::listen`].
    pub fn listen(&mut self, graph: WordGraph, number: u64) {
        self.drop_sound();
        self.question = Some(Question {
            graph,
            number,
            ear: None,
            damaged: false,
            gap: None,
            failed: false,
        });
        self.open_ear();
        // Opening may take a while; what was said meanwhile is already an answer
        // to this question and stays in the ring.
    }

    /// As [`Handle::deaf`].
    pub fn deaf(&mut self) {
        self.question = None;
        self.drop_sound();
    }

    /// As [`Handle::end_utterance`].
    pub fn end_utterance(&mut self) {
        self.hear();
        if let Some(mut question) = self.question.take()
            && let Some(ear) = &mut question.ear
        {
            let heard = guarded(|| ear.finish());
            match heard {
                Ok(heard) => {
                    let damaged = question.take_damage(false);
                    (self.tell)(heard_from(heard, question.number, damaged));
                }
                Err(_why) => {
                    self.engine = Life::Closed;
                    let nothing = HeardUtterance::default();
                    (self.tell)(heard_from(nothing, question.number, true));
                }
            }
        }
    }

    /// Does what is due at `now`, the time since the start.
    pub fn step(&mut self, now: Duration) {
        if matches!(self.engine, Life::Closed) && !self.lost.ear {
            self.open_engine();
        }
        if matches!(self.engine, Life::Off) {
            // Nobody listens: the microphone is given back.
            self.mic = Mic::Closed {
                retry_at: Duration::MAX,
                pause: LONGEST_PAUSE,
            };
            return;
        }
        if let Mic::Closed { retry_at, pause } = self.mic
            && now >= retry_at
        {
            self.open_mic(now, pause);
        }
        let fault = match &mut self.mic {
            Mic::Closed { .. } => return,
            Mic::Open {
                capture, heard_at, ..
            } => {
                if capture.waiting() > 0 {
                    *heard_at = now;
                }
                if let Some(fault) = capture.fault() {
                    Some(MicError::Device {
                        device: capture.device().to_owned(),
                        fault,
                        said: String::new(),
                    })
                } else if now.saturating_sub(*heard_at) >= WATCHDOG {
                    Some(MicError::Silent {
                        device: capture.device().to_owned(),
                    })
                } else {
                    None
                }
            }
        };
        if let Some(fault) = fault {
            self.mic_lost(now, &fault);
        } else {
            self.hear();
        }
    }

    fn open_engine(&mut self) {
        let open = &mut self.open_engine;
        match guarded(open) {
            Ok(engine) => self.engine = Life::Alive(engine),
            Err(why) => {
                self.engine = Life::Off;
                self.question = None;
                self.lost.ear = true;
                (self.tell)(FromEar::Lost { why: off(&why) });
            }
        }
    }

    fn open_mic(&mut self, now: Duration, pause: Duration) {
        let source = &mut self.source;
        match catch_unwind(AssertUnwindSafe(|| source.open())) {
            Ok(Ok(capture)) => {
                self.mic = Mic::Open {
                    meter: LevelMeter::new(capture.rate()),
                    gate: Box::new(Gate::new(self.rule, capture.rate())),
                    capture: Box::new(capture),
                    heard_at: now,
                    pause: Some(pause),
                };
                self.open_ear();
            }
            Ok(Err(why)) => self.close_mic(now, pause, &why),
            Err(_panic) => self.close_mic(
                now,
                pause,
                &MicError::Library {
                    device: "(chosen)".to_owned(),
                },
            ),
        }
    }

    fn mic_lost(&mut self, now: Duration, why: &MicError) {
        let pause = match self.mic {
            Mic::Open {
                pause: Some(pause), ..
            }
            | Mic::Closed { pause, .. } => pause,
            Mic::Open { pause: None, .. } => FIRST_PAUSE,
        };
        self.close_mic(now, pause, why);
    }

    /// Closes the stream at once: a lost source burns a core while it is open.
    fn close_mic(&mut self, now: Duration, pause: Duration, why: &MicError) {
        self.mic = Mic::Closed {
            retry_at: now + pause,
            pause: (pause * 2).min(LONGEST_PAUSE),
        };
        // Words that were half heard are dropped with it, and what comes after
        // may be their other half.
        if let Some(question) = &mut self.question {
            question.damaged |= question.ear.take().is_some();
        }
        if !self.lost.mic {
            self.lost.mic = true;
            (self.tell)(FromEar::Lost {
                why: why.to_string(),
            });
        }
    }

    fn drop_sound(&mut self) {
        if let Mic::Open {
            capture,
            meter,
            gate,
            ..
        } = &mut self.mic
        {
            gate.close();
            let mut sound = Vec::new();
            capture.read(&mut sound, capture.waiting());
            meter.take(&sound);
        }
    }

    /// Opens the ear for the question that is asked, if there is one and there
    /// is a microphone.
    fn open_ear(&mut self) {
        let (Mic::Open { capture, .. }, Some(_)) = (&self.mic, &self.question) else {
            return;
        };
        let rate = capture.rate();
        if matches!(self.engine, Life::Closed) {
            self.open_engine();
        }
        let (Life::Alive(engine), Some(question)) = (&mut self.engine, &mut self.question) else {
            return;
        };
        match guarded(|| engine.listen(&question.graph, rate)) {
            Ok(ear) => {
                question.ear = Some(ear);
                if self.lost.ear {
                    self.lost.ear = false;
                    self.say_back();
                }
            }
            Err(why) => self.ear_failed(&why),
        }
    }

    /// The ear failed: it is opened anew once, and what it hears next is marked,
    /// since the first half of it may be gone. The second time the question is
    /// left to the keypad, and the next one tries anew.
    fn ear_failed(&mut self, why: &str) {
        self.engine = Life::Closed;
        let Some(question) = &mut self.question else {
            return;
        };
        question.ear = None;
        question.damaged = true;
        let again = std::mem::replace(&mut question.failed, true);
        if again {
            self.question = None;
            if !self.lost.ear {
                self.lost.ear = true;
                (self.tell)(FromEar::Lost { why: off(why) });
            }
        } else {
            self.open_ear();
        }
    }

    /// Gives the ear what the microphone has.
    fn hear(&mut self) {
        let Mic::Open {
            capture,
            meter,
            gate,
            pause,
            ..
        } = &mut self.mic
        else {
            return;
        };
        let mut left = capture.waiting();
        if left == 0 {
            return;
        }
        let first = pause.take().is_some();
        let block = (capture.rate() / 10) as usize;
        let between = gate::seconds(gate::AFTER_SECONDS, capture.rate());
        let mut level = None;
        let mut heard = Vec::new();
        let mut failed = None;
        let mut sound = Vec::with_capacity(block);
        let mut passed = Vec::new();
        while left > 0 && failed.is_none() {
            sound.clear();
            let taken = capture.read(&mut sound, block.min(left));
            left -= taken.samples.min(left);
            if taken.samples == 0 {
                break;
            }
            level = meter.take(&sound).or(level);
            if let Some(question) = &mut self.question
                && let Some(ear) = &mut question.ear
            {
                passed.clear();
                gate.pass(&sound, &mut passed);
                let accepted = (!passed.is_empty()).then(|| guarded(|| ear.accept(&passed)));
                let silence = if passed.is_empty() { sound.len() } else { 0 };
                question.note_gap(taken.gap, silence, between);
                let Some(accepted) = accepted else {
                    continue;
                };
                match accepted {
                    Ok(None) => {}
                    Ok(Some(utterance)) => {
                        let damaged = question.take_damage(taken.gap);
                        question.failed = false;
                        heard.push(heard_from(utterance, question.number, damaged));
                    }
                    Err(why) => failed = Some(why),
                }
            }
        }
        let level = level.map(|level| FromEar::Level {
            db: level.rms_db,
            clipping: capture.newly_clipped() >= CLIPPED_FRAMES,
        });
        if first {
            self.first_sound();
        }
        for news in level.into_iter().chain(heard) {
            (self.tell)(news);
        }
        if let Some(why) = failed {
            self.ear_failed(&why);
        }
    }

    fn first_sound(&mut self) {
        let Mic::Open { capture, .. } = &self.mic else {
            return;
        };
        if !self.said_ready {
            self.said_ready = true;
            self.lost.mic = false;
            (self.tell)(FromEar::Ready {
                device: capture.device().to_owned(),
                rate: capture.rate(),
            });
        } else if self.lost.mic {
            self.lost.mic = false;
            self.say_back();
        }
    }

    fn say_back(&self) {
        if !self.lost.mic && !self.lost.ear {
            (self.tell)(FromEar::Back);
        }
    }
}

fn heard_from(utterance: HeardUtterance, listen: u64, damaged: bool) -> FromEar {
    FromEar::Heard {
        words: utterance.words,
        listen,
        samples: utterance.samples,
        rate: utterance.rate,
        damaged,
    }
}

fn off(why: &str) -> String {
    format!("{} The keypad goes on.", why.trim_end())
}

/// Runs what belongs to the ear; its panic is a failure like another.
fn guarded<R>(work: impl FnOnce() -> Result<R, String>) -> Result<R, String> {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_panic| {
        Err("the ear stopped because of a fault in it. Say it again, or use the keypad.".to_owned())
    })
}

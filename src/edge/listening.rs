//! The thread that owns the ear and the microphone.
//!
//! State: [`Listening`] holds the opened ear, the open microphone, which
//! question is listened for, and what is wrong; only its own thread changes it.
//! The rest of the program posts into one mailbox ([`Handle`]) and gets
//! [`FromEar`]. Everything here is bounded: the mailbox holds the latest wish
//! only, the ring a few seconds, and the ear cuts its own sound.
//!
//! Time is an input of [`Listening::step`], so that the watchdog and the pauses
//! between attempts are tested without waiting.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use super::mic::{Capture, LevelMeter, MicChoice, MicError, Source};

/// What hears: the ear, or what a test puts in its place.
pub trait Engine {
    /// One question being listened for.
    type Open: OpenEar;

    /// Listens for the utterances of `graph` in sound of `rate` samples a second.
    ///
    /// # Errors
    /// Why it cannot, in words for the person at work.
    fn listen(&mut self, graph: &WordGraph, rate: u32) -> Result<Self::Open, String>;
}

/// One question being listened for.
pub trait OpenEar {
    /// Hears the next samples; gives an utterance when one has ended.
    ///
    /// # Errors
    /// Why it failed, in words for the person at work.
    fn accept(&mut self, samples: &[i16]) -> Result<Option<HeardUtterance>, String>;

    /// Ends the utterance now.
    ///
    /// # Errors
    /// Why it failed, in words for the person at work.
    fn finish(&mut self) -> Result<HeardUtterance, String>;
}

/// What an [`OpenEar`] heard.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct HeardUtterance {
    /// The words, with spaces; empty when it was no answer.
    pub words: String,
    /// The sound of the utterance.
    pub samples: Vec<i16>,
    /// Samples a second in `samples`.
    pub rate: u32,
}

/// What the ear's thread says.
#[derive(Debug, Clone, PartialEq)]
pub enum FromEar {
    /// The ear is open and the first sound has come.
    Ready {
        /// The microphone.
        device: String,
        /// Samples a second.
        rate: u32,
    },
    /// An utterance has ended.
    Heard {
        /// The words; empty when there was sound but no answer.
        words: String,
        /// The number of the question that it was listened for.
        listen: u64,
        /// Its sound.
        samples: Vec<i16>,
        /// Samples a second in `samples`.
        rate: u32,
        /// Whether some of its sound was lost: then the words are no answer,
        /// and the question is to be asked again.
        damaged: bool,
    },
    /// Nothing is heard from now on; said once, until [`FromEar::Back`].
    Lost {
        /// What happened and what to do.
        why: String,
    },
    /// It hears again. Ask the open question again: it is still listened for, but
    /// what is heard first is marked as damaged, since its beginning may be lost.
    Back,
    /// How loud the last tenth of a second was.
    Level {
        /// Decibels below full scale, root mean square.
        db: f32,
        /// Whether it was too loud for the microphone.
        clipping: bool,
    },
}

/// The silence after which a microphone counts as lost. Even a quiet room gives
/// samples.
pub const WATCHDOG: Duration = Duration::from_secs(1);

/// The pause before the first attempt to open a lost microphone again; it
/// doubles with each attempt.
pub const FIRST_PAUSE: Duration = Duration::from_millis(500);

/// The longest pause between attempts.
pub const LONGEST_PAUSE: Duration = Duration::from_secs(8);

/// How often the thread looks for sound.
const TICK: Duration = Duration::from_millis(20);

/// Frames at the end of the range within a tenth of a second that count as
/// clipping; one or two may be a click (three in a row is common practice).
const CLIPPED_FRAMES: u64 = 3;

/// What the program wishes the ear to do.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Wish {
    Listen { graph: WordGraph, number: u64 },
    Deaf,
}

/// What waits for the ear's thread: the latest wish replaces an older one.
#[derive(Debug, Default)]
struct Mailbox {
    wish: Option<Wish>,
    end_utterance: bool,
    stop: bool,
}

/// The program's hold on the ear's thread. Dropping it stops the thread.
pub struct Handle {
    mailbox: Arc<(Mutex<Mailbox>, Condvar)>,
    ended: Receiver<()>,
}

/// Starts the thread. `open` opens the ear, once now and once more after each
/// failure of it; `to_main` must not block, since sound is lost while it does.
pub fn start<E, O>(open: O, mic: MicChoice, to_main: impl Fn(FromEar) + Send + 'static) -> Handle
where
    E: Engine + 'static,
    O: FnMut() -> Result<E, String> + Send + 'static,
{
    let mailbox = Arc::new((Mutex::new(Mailbox::default()), Condvar::new()));
    let (alive, ended) = channel();
    let letters = Arc::clone(&mailbox);
    // The thread gets its way to speak once it runs; when it cannot run, it is
    // still here to say so.
    let (give, take) = channel();
    let begun = thread::Builder::new()
        .name("ear".to_owned())
        .spawn(move || {
            if let Ok(to_main) = take.recv() {
                run(Listening::new(open, mic, to_main), &letters, alive);
            }
        });
    match begun {
        Ok(_runs_by_itself) => {
            let _ended = give.send(to_main);
        }
        Err(fault) => to_main(FromEar::Lost {
            why: format!(
                "the ear's thread cannot start ({fault}); the keypad goes on. Close other programs and start Sayback again."
            ),
        }),
    }
    Handle { mailbox, ended }
}

impl Handle {
    /// Listens for `graph` from now on; `number` comes back with what is heard.
    /// Sound from before is dropped, and so is a question that was open.
    pub fn listen(&self, graph: WordGraph, number: u64) {
        self.post(|mail| {
            mail.wish = Some(Wish::Listen { graph, number });
            mail.end_utterance = false;
        });
    }

    /// Hears nothing until the next [`Handle::listen`].
    pub fn deaf(&self) {
        self.post(|mail| {
            mail.wish = Some(Wish::Deaf);
            mail.end_utterance = false;
        });
    }

    /// Ends the utterance now, as when a push-to-talk key is let go: what was
    /// said comes as [`FromEar::Heard`] (perhaps without words, and damaged when
    /// the ear failed), then it is deaf. Nothing comes while the microphone is
    /// lost. Sound is up to two tenths of a second late, so wait that long first.
    pub fn end_utterance(&self) {
        self.post(|mail| mail.end_utterance = true);
    }

    /// Stops the thread and closes the microphone. A sound system that hangs is
    /// waited for one second, then left behind.
    pub fn stop(self) {
        self.post(|mail| mail.stop = true);
        let _ended_or_hangs = self.ended.recv_timeout(Duration::from_secs(1));
    }

    fn post(&self, change: impl FnOnce(&mut Mailbox)) {
        let (mail, arrived) = &*self.mailbox;
        change(&mut held(mail));
        arrived.notify_one();
    }
}

impl Drop for Handle {
    fn drop(&mut self) {
        self.post(|mail| mail.stop = true);
    }
}

/// The mailbox is whole after every change, so a panic elsewhere does not spoil it.
fn held(mail: &Mutex<Mailbox>) -> MutexGuard<'_, Mailbox> {
    mail.lock().unwrap_or_else(PoisonError::into_inner)
}

fn run<E: Engine, O, S, T>(
    mut listening: Listening<E, O, S, T>,
    mailbox: &(Mutex<Mailbox>, Condvar),
    alive: Sender<()>,
) where
    O: FnMut() -> Result<E, String>,
    S: Source,
    T: Fn(FromEar),
{
    let began = now();
    loop {
        let (mail, arrived) = mailbox;
        let (mut letters, _) = arrived
            .wait_timeout_while(held(mail), TICK, |letters| {
                letters.wish.is_none() && !letters.end_utterance && !letters.stop
            })
            .unwrap_or_else(PoisonError::into_inner);
        let letters = std::mem::take(&mut *letters);
        if letters.stop {
            break;
        }
        match letters.wish {
            Some(Wish::Listen { graph, number }) => listening.listen(graph, number),
            Some(Wish::Deaf) => listening.deaf(),
            None => {}
        }
        if letters.end_utterance {
            listening.end_utterance();
        }
        listening.step(now() - began);
    }
    drop(listening);
    drop(alive);
}

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
}

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
    /// Whether the ear has failed since the last result.
    failed: bool,
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
        }
    }

    /// As [`Handle::listen`].
    pub fn listen(&mut self, graph: WordGraph, number: u64) {
        self.drop_sound();
        self.question = Some(Question {
            graph,
            number,
            ear: None,
            damaged: false,
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
            match guarded(|| ear.finish()) {
                Ok(heard) => (self.tell)(heard_from(heard, question.number, question.damaged)),
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
        if let Mic::Open { capture, meter, .. } = &mut self.mic {
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
            Err(why) => self.ear_failed(why),
        }
    }

    /// The ear failed: it is opened anew once, and what it hears next is marked,
    /// since the first half of it may be gone. The second time the question is
    /// left to the keypad, and the next one tries anew.
    fn ear_failed(&mut self, why: String) {
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
                (self.tell)(FromEar::Lost { why: off(&why) });
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
        let mut level = None;
        let mut heard = Vec::new();
        let mut failed = None;
        let mut sound = Vec::with_capacity(block);
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
                question.damaged |= taken.gap;
                match guarded(|| ear.accept(&sound)) {
                    Ok(None) => {}
                    Ok(Some(utterance)) => {
                        let damaged = std::mem::take(&mut question.damaged);
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
            self.ear_failed(why);
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

#[expect(clippy::disallowed_methods, reason = "the edge reads the clock")]
fn now() -> Instant {
    Instant::now()
}

/// A finite automaton over words, until the one of the spoken module is there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WordGraph {
    /// How many states there are; states are numbered from 0.
    pub states: usize,
    /// Where every utterance begins.
    pub start: usize,
    /// Where an utterance may end.
    pub finals: Vec<usize>,
    /// The steps between states.
    pub arcs: Vec<WordArc>,
}

/// One step of a [`WordGraph`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WordArc {
    /// The state it leaves.
    pub from: usize,
    /// The state it enters.
    pub to: usize,
    /// The word that is said on the way; none for a free step.
    pub word: Option<String>,
}

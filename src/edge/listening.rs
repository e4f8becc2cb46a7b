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

mod gate;
mod step;

use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use super::mic::{MicChoice, Source};
use crate::spoken::WordGraph;

pub use gate::{Gate, Rule};
pub use step::{FIRST_PAUSE, LONGEST_PAUSE, Listening, WATCHDOG};

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

/// How often the thread looks for sound.
const TICK: Duration = Duration::from_millis(20);

/// How late the sound of a microphone may be.
const ON_ITS_WAY: Duration = Duration::from_millis(250);

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
/// failure of it; `rule` says what is let through to it; `to_main` must not block, since sound is lost while it does.
pub fn start<E, O>(
    open: O,
    mic: MicChoice,
    rule: Rule,
    to_main: impl Fn(FromEar) + Send + 'static,
) -> Handle
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
                let listening = Listening::new(open, mic, to_main).with_gate(rule);
                run(listening, &letters, alive);
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
    /// lost. Sound is up to two tenths of a second late, and that is waited for.
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
    // When the utterance is to end that a key closed: its last sound is still on its way.
    let mut ends_at = None;
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
            Some(Wish::Listen { graph, number }) => {
                ends_at = None;
                listening.listen(graph, number);
            }
            Some(Wish::Deaf) => {
                ends_at = None;
                listening.deaf();
            }
            None => {}
        }
        if letters.end_utterance {
            ends_at = Some(now() + ON_ITS_WAY);
        }
        if ends_at.is_some_and(|at| at <= now()) {
            ends_at = None;
            listening.end_utterance();
        }
        listening.step(now() - began);
    }
    drop(listening);
    drop(alive);
}

#[expect(clippy::disallowed_methods, reason = "the edge reads the clock")]
fn now() -> Instant {
    Instant::now()
}

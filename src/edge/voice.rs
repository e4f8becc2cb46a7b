//! The voice: what is said aloud, and the tones.
//!
//! State: [`Voice`] is the program's hold on the voice's thread, which alone owns the
//! loudspeaker and what is being said. The latest utterance replaces the one before.
//! When an utterance is over, or was cut off, [`FromVoice::Silent`] comes
//! [`ECHO`] later with its number, so that the ear can open.

mod aloud;
pub mod clips;
pub mod plan;
pub mod render;
pub mod speaker;
pub mod synthesiser;
pub mod tones;

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread;
use std::time::{Duration, Instant};

pub use aloud::{Aloud, tone};
use clips::{Clips, RATE};
use speaker::{Speaker, SpeakerError};
use synthesiser::Synthesiser;
use tones::Tone;

/// How long the room goes on sounding after the last sample.
pub const ECHO: Duration = Duration::from_millis(200);

/// How often the thread looks.
const TICK: Duration = Duration::from_millis(10);

/// How long a loudspeaker may ask for nothing before it counts as stopped.
const STANDSTILL: Duration = Duration::from_millis(1_500);

/// How long it may take until it asks for the first time: a sound server on a busy machine takes its time.
const FIRST_ASKS: Duration = Duration::from_secs(4);

/// How long a loudspeaker that cannot be opened is left alone.
const TRY_AGAIN: Duration = Duration::from_secs(5);

/// How it sounds.
#[derive(Debug, Clone, PartialEq)]
pub struct Manner {
    /// Speed; 1.0 as rendered, 0.7 to 1.6.
    pub speed: f32,
    /// Loudness; 1.0 as rendered, 0.0 to 2.0. What would be too loud for the device is held back.
    pub loudness: f32,
    /// Loudspeaker by name; the system's own if none is given.
    pub device: Option<String>,
}

impl Default for Manner {
    fn default() -> Self {
        Self {
            speed: 1.0,
            loudness: 1.0,
            device: None,
        }
    }
}

impl Manner {
    /// Speeds that can be chosen.
    pub const SPEEDS: (f32, f32) = (0.7, 1.6);
    /// Loudnesses that can be chosen.
    pub const LOUDNESSES: (f32, f32) = (0.1, 2.0);
}

/// What the voice's thread says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FromVoice {
    /// The utterance of this number is over, and its echo too.
    Silent(u64),
    /// Something went wrong; said once until sound comes again.
    Trouble(String),
}

/// An utterance: tones and a text.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Utterance {
    /// Before the text.
    pub before: Option<Tone>,
    /// The text.
    pub text: String,
    /// After it.
    pub after: Option<Tone>,
}

enum Order {
    Say(u64, Utterance),
    Hush(u64),
    Manner(Manner),
}

/// The program's hold on the voice's thread. Dropping it ends the thread.
pub struct Voice {
    orders: Sender<Order>,
    last: u64,
    asked_at: Option<Instant>,
    /// The number of the last utterance that the thread has begun.
    begun: Arc<AtomicU64>,
    /// The number of the last one that is over, with its echo.
    over: Arc<AtomicU64>,
}

/// How long the thread may take to begin before an utterance no longer keeps the ear closed.
const BEGINS: Duration = Duration::from_secs(3);

impl Voice {
    /// Starts the thread. `to_main` must not block.
    #[must_use]
    pub fn start(manner: Manner, to_main: impl Fn(FromVoice) + Send + 'static) -> Self {
        let (orders, taken) = channel();
        let (begun, over) = (Arc::new(AtomicU64::new(0)), Arc::new(AtomicU64::new(0)));
        let mouth = Mouth {
            manner,
            speaker: None,
            failed_at: None,
            troubled: false,
            synthesiser: std::env::var_os("PATH").and_then(|path| Synthesiser::find(&path)),
            begun: Arc::clone(&begun),
            over: Arc::clone(&over),
            to_main,
        };
        // A thread that cannot start says nothing, and `is_speaking` opens the ear by itself.
        let _runs_by_itself = thread::Builder::new()
            .name("voice".to_owned())
            .spawn(move || mouth.run(&taken));
        Self {
            orders,
            last: 0,
            asked_at: None,
            begun,
            over,
        }
    }

    /// Says this instead of whatever is being said; gives its number.
    pub fn say(&mut self, utterance: Utterance) -> u64 {
        self.last += 1;
        self.asked_at = Some(now());
        let _ = self.orders.send(Order::Say(self.last, utterance));
        self.last
    }

    /// Is silent at once. Nothing happens where nothing is being said.
    pub fn hush(&mut self) {
        if self.is_speaking() {
            let _ = self.orders.send(Order::Hush(self.last));
        }
    }

    /// Changes how it sounds, from the next utterance on.
    pub fn set(&self, manner: Manner) {
        let _ = self.orders.send(Order::Manner(manner));
    }

    /// True while something is being said, and [`ECHO`] after.
    #[must_use]
    pub fn is_speaking(&self) -> bool {
        let begun = self.begun.load(Ordering::Acquire) >= self.last;
        let may_begin = self.asked_at.is_some_and(|at| now() - at < BEGINS);
        self.over.load(Ordering::Acquire) < self.last && (begun || may_begin)
    }
}

/// What is being played.
struct Playing {
    number: u64,
    sound: Vec<f32>,
    at: usize,
    /// It is said from its beginning for the second time: the loudspeaker had stopped taking sound.
    again: bool,
}

/// The voice's thread.
struct Mouth<T> {
    manner: Manner,
    speaker: Option<Speaker>,
    failed_at: Option<Instant>,
    troubled: bool,
    synthesiser: Option<Synthesiser>,
    begun: Arc<AtomicU64>,
    over: Arc<AtomicU64>,
    to_main: T,
}

impl<T: Fn(FromVoice)> Mouth<T> {
    fn run(mut self, orders: &Receiver<Order>) {
        let mut waiting: VecDeque<Order> = VecDeque::new();
        let mut playing: Option<Playing> = None;
        // When the echo of which utterance is over.
        let mut silent_at: Option<(Instant, u64)> = None;
        let mut moved = (0, now());
        loop {
            let next = if let Some(order) = waiting.pop_front() {
                Some(order)
            } else if playing.is_none() && silent_at.is_none() {
                match orders.recv() {
                    Ok(order) => Some(order),
                    Err(_) => return,
                }
            } else {
                match orders.recv_timeout(TICK) {
                    Ok(order) => Some(order),
                    Err(RecvTimeoutError::Timeout) => None,
                    Err(RecvTimeoutError::Disconnected) => return,
                }
            };
            match next {
                Some(Order::Say(number, utterance)) => {
                    self.begun.store(number, Ordering::Release);
                    self.cut();
                    silent_at = None;
                    let sound = self.sound(&utterance, orders, &mut waiting);
                    moved = (self.speaker.as_ref().map_or(0, Speaker::calls), now());
                    playing = Some(Playing {
                        number,
                        sound,
                        at: 0,
                        again: false,
                    });
                }
                Some(Order::Hush(number)) => {
                    self.cut();
                    playing = None;
                    silent_at = Some((now() + ECHO, number));
                }
                Some(Order::Manner(manner)) => {
                    if manner.device != self.manner.device {
                        self.speaker = None;
                    }
                    self.manner = manner;
                }
                None => {}
            }
            if let Some(speech) = &mut playing {
                let mut stopped = false;
                let mut over = match &mut self.speaker {
                    None => Some(Duration::ZERO),
                    Some(speaker) => {
                        if speaker.calls() != moved.0 {
                            moved = (speaker.calls(), now());
                        }
                        // What was cut off before leaves the ring first.
                        if !speaker.is_cutting() {
                            speech.at += speaker.give(&speech.sound[speech.at..]);
                        }
                        let patience = if moved.0 == 0 { FIRST_ASKS } else { STANDSTILL };
                        stopped = speaker.has_failed() || now() - moved.1 > patience;
                        (speech.at == speech.sound.len() && speaker.is_done()).then_some(ECHO)
                    }
                };
                if stopped {
                    if self.say_again(speech) {
                        moved = (0, now());
                    } else {
                        over = Some(Duration::ZERO);
                    }
                }
                if let Some(echo) = over {
                    silent_at = Some((now() + echo, speech.number));
                    playing = None;
                }
            }
            if let Some((at, number)) = silent_at
                && now() >= at
            {
                silent_at = None;
                self.over.store(number, Ordering::Release);
                (self.to_main)(FromVoice::Silent(number));
            }
        }
    }

    fn cut(&mut self) {
        if let Some(speaker) = &mut self.speaker {
            speaker.cut();
        }
    }

    /// The sound of an utterance at the rate of the loudspeaker; nothing where there is none.
    fn sound(
        &mut self,
        utterance: &Utterance,
        orders: &Receiver<Order>,
        waiting: &mut VecDeque<Order>,
    ) -> Vec<f32> {
        if !self.opened() {
            return Vec::new();
        }
        let rate = self.speaker.as_ref().map_or(RATE, Speaker::rate);
        let mut faults = Vec::new();
        let synthesiser = self.synthesiser.clone();
        let mut other = |sentence: &str| {
            let mut is_cut = || {
                waiting.extend(orders.try_iter());
                waiting
                    .iter()
                    .any(|order| matches!(order, Order::Say(..) | Order::Hush(_)))
            };
            let said = synthesiser.as_ref()?.say(sentence, &mut is_cut);
            said.unwrap_or_else(|error| {
                faults.push(error.to_string());
                None
            })
        };
        let sound = sound_of(utterance, &self.manner, rate, &mut other);
        if let Some(fault) = faults.into_iter().next() {
            // One that failed once is not waited for again.
            self.synthesiser = None;
            (self.to_main)(FromVoice::Trouble(fault));
        }
        sound
    }

    /// Opens the loudspeaker where it is not; false if there is none.
    fn opened(&mut self) -> bool {
        if self.speaker.as_ref().is_some_and(Speaker::has_failed) {
            self.speaker = None;
        }
        if self.speaker.is_some() {
            return true;
        }
        if self.failed_at.is_some_and(|at| now() - at < TRY_AGAIN) {
            return false;
        }
        match Speaker::open(self.manner.device.as_deref()) {
            Ok(speaker) => {
                self.speaker = Some(speaker);
                self.failed_at = None;
                self.troubled = false;
                true
            }
            Err(error) => {
                self.lost(&error);
                false
            }
        }
    }

    /// Opens a loudspeaker that has stopped anew, and begins again with what is being said: a sound
    /// server on a busy machine may stall a stream that it has just begun. False if that was tried
    /// before, or fails.
    fn say_again(&mut self, speech: &mut Playing) -> bool {
        let Some(stopped) = self.speaker.take() else {
            return false;
        };
        let (device, rate) = (stopped.device().to_owned(), stopped.rate());
        drop(stopped);
        let first = !std::mem::replace(&mut speech.again, true);
        if first && self.opened() && self.speaker.as_ref().map(Speaker::rate) == Some(rate) {
            speech.at = 0;
            return true;
        }
        self.lost(&SpeakerError::Silent { device });
        false
    }

    fn lost(&mut self, error: &SpeakerError) {
        self.speaker = None;
        self.failed_at = Some(now());
        if !std::mem::replace(&mut self.troubled, true) {
            (self.to_main)(FromVoice::Trouble(error.to_string()));
        }
    }
}

/// The sound of an utterance at `rate` samples a second: what the loudspeaker is given, and what a test hears.
pub fn sound_of(
    utterance: &Utterance,
    manner: &Manner,
    rate: u32,
    other: &mut dyn FnMut(&str) -> Option<Vec<f32>>,
) -> Vec<f32> {
    let clips = Clips::own();
    let pieces = plan::plan(&utterance.text, clips);
    // A test reads every clip of the pack; one that is damaged all the same is silent, and the text is on the screen.
    let speech = render::mix(&pieces, clips, other).unwrap_or_default();
    let speech = render::stretch(&speech, manner.speed);
    let mut sound = Vec::new();
    let pause = vec![0.0; (rate / 12) as usize];
    if let Some(tone) = utterance.before {
        sound.extend(tone.samples(rate));
        sound.extend_from_slice(&pause);
    }
    sound.extend(render::resample(&speech, RATE, rate));
    if let Some(tone) = utterance.after {
        sound.extend_from_slice(&pause);
        sound.extend(tone.samples(rate));
    }
    for sample in &mut sound {
        *sample = (*sample * manner.loudness).clamp(-1.0, 1.0);
    }
    sound
}

#[expect(clippy::disallowed_methods, reason = "the edge reads the clock")]
fn now() -> Instant {
    Instant::now()
}

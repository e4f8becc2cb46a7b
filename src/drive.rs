//! The one loop: wait for an event, give it to the core, do what the core asks.
//!
//! The loop owns the run and its journal. Keys, signals and the microphone come
//! in over one channel; a recording is fed from here, in step with the core, so
//! that a fast replay decides exactly as a slow one does.

mod keeping;
mod sound;

use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::Duration;

use crate::core::record::{Clip, Record};
use crate::core::{self, Effect, Event, Key, Run, Stamp, View, view};
use crate::edge::clock::Clock;
use crate::edge::runs::RunFolder;
use crate::journal::Journal;
use crate::spoken::{CommandSet, Slot};
use crate::storage::FileStorage;

pub use keeping::{InMemory, Keeps};
pub use sound::{Fed, Silence, Sound};

/// The longest wait without drawing again, so that a missed resize does not stay.
const REDRAW: Duration = Duration::from_millis(500);

/// The longest that the end of a session waits for its last sentence, and how often it looks.
const LAST_WORDS: Duration = Duration::from_secs(10);
const LOOK: Duration = Duration::from_millis(50);

/// Where views and sentences go: the screen, or plain lines.
pub trait Output {
    /// Shows what is to be shown now.
    ///
    /// # Errors
    /// If the terminal or the pipe is gone.
    fn show(&mut self, view: &View) -> std::io::Result<()>;
    /// Says a sentence, where there is a voice; cut off what is being said.
    fn say(&mut self, text: &str);
    /// Be silent at once.
    fn hush(&mut self);
    /// True while something is being said, and as long after as the room goes on sounding.
    fn is_speaking(&self) -> bool {
        false
    }
    /// Something was heard: a tone may tell so.
    fn heard(&mut self) {}
    /// Speaks faster by so many steps, or slower.
    fn faster(&mut self, steps: i8) {
        let _ = steps;
    }
    /// Speaks louder by so many steps, or softer.
    fn louder(&mut self, steps: i8) {
        let _ = steps;
    }
    /// Says what was said last, where nothing is shown any more: the program ends.
    fn last_words(&mut self, view: &View) {
        let _ = view;
    }
    /// Shows a remark about the keyboard beside what is shown anyway.
    fn hint(&mut self, text: &str) {
        let _ = text;
    }
    /// Takes in how loud the microphone is; true if that changes what is shown.
    fn level(&mut self, level: Level) -> bool {
        let _ = level;
        false
    }
    /// Leaves the terminal to others for a while and takes it again.
    fn suspend(&mut self) {}
}

/// How loud the microphone was for a tenth of a second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Decibels below full scale, root mean square.
    pub db: f32,
    /// Whether it was too loud for the microphone.
    pub clipping: bool,
}

/// What comes in over the channel.
#[derive(Debug)]
pub enum FromWorld {
    /// A key.
    Key(Key),
    /// A key of a line of text.
    Typed(Key),
    /// A line of text, one answer.
    Line(String),
    /// A remark about the keyboard, for whoever sits at it.
    Hint(String),
    /// Nothing changed in the run, but the screen must be drawn again.
    Redraw,
    /// The terminal wants to put the program aside.
    Suspend,
    /// End with this code.
    End(u8),
    /// No more keys will come.
    KeysGone,
    /// The ear heard something.
    Heard(Utterance),
    /// How loud the microphone is.
    Level(Level),
    /// The ear is not there.
    EarLost(String),
    /// The ear is ready.
    EarBack,
    /// The voice is silent, and its echo is over.
    Silent,
    /// A key of the voice: faster by so many steps, or slower.
    Faster(i8),
    /// A key of the voice: louder by so many steps, or softer.
    Louder(i8),
}

/// What was heard, with its sound.
#[derive(Debug)]
pub struct Utterance {
    /// The words.
    pub words: String,
    /// Number of the question.
    pub listen: u64,
    /// Samples, mono.
    pub samples: Vec<i16>,
    /// Samples a second.
    pub rate: u32,
    /// Sound was lost in it.
    pub damaged: bool,
}

/// Everything that one session has.
pub struct Session<'a, J: Keeps = Journal<Record, FileStorage>> {
    /// The run.
    pub run: Run,
    /// Its journal.
    pub journal: J,
    /// Its folder.
    pub folder: RunFolder,
    /// Where it is shown.
    pub output: &'a mut dyn Output,
    /// What listens.
    pub sound: &'a mut dyn Sound,
    /// Keys, signals, microphone.
    pub world: Receiver<FromWorld>,
    /// The clock.
    pub clock: Clock,
    /// Sounds of utterances that no record names yet, with their clip's hash, oldest first.
    pub unsaved: Vec<(String, Vec<u8>)>,
    /// Nobody is at the keys: when the recording ends, so does the session.
    pub keys_gone: bool,
    /// Why nothing can be shown any more. It ends the session.
    pub unseen: Option<std::io::Error>,
    /// The question that the ear is to hear, where it hears the voice of the program as well.
    pub question: Option<(Slot, CommandSet, u64)>,
    /// The ear does not listen for it yet.
    pub deaf: bool,
}

/// How a session ended.
#[derive(Debug)]
pub struct Ended {
    /// Exit code, as far as the core decides it.
    pub code: u8,
    /// Why nothing could be shown any more, if that ended it.
    pub unseen: Option<std::io::Error>,
    /// The run as it stands.
    pub run: Run,
    /// Records in the journal, and the hash of the last.
    pub chain_hash: String,
    /// The recording was over before the job was.
    pub recording_over: bool,
    /// Keys, signals, microphone: for the next session.
    pub world: Receiver<FromWorld>,
    /// The clock, for the next session.
    pub clock: Clock,
    /// Nobody is at the keys any more.
    pub keys_gone: bool,
}

impl<J: Keeps> Session<'_, J> {
    /// Runs until the job is closed, left, or cut off. Everything kept is on the disk when this returns.
    #[must_use]
    pub fn drive(mut self) -> Ended {
        let mut ended = self.deliver(Event::Begin);
        let mut recording_over = false;
        while ended.is_none() {
            let mut fed_now = false;
            if !recording_over {
                match self.sound.feed() {
                    Some(Fed::Time { at_ms, heard }) => {
                        fed_now = true;
                        self.clock.follow(at_ms);
                        if let Some(utterance) = heard {
                            ended = self.heard(utterance);
                        }
                    }
                    Some(Fed::Over) => {
                        recording_over = true;
                        self.clock.run_free();
                        ended = self.deliver(Event::EarLost {
                            why: "The recording is over. The keypad goes on.".to_owned(),
                        });
                    }
                    Some(Fed::Failed(why)) => {
                        recording_over = true;
                        self.clock.run_free();
                        ended = self.deliver(Event::EarLost { why });
                    }
                    None => {}
                }
            }
            if ended.is_none() {
                ended = self.due();
            }
            if ended.is_none() {
                let wait = if fed_now { Duration::ZERO } else { self.wait() };
                ended = self.world(wait);
            }
            if ended.is_none()
                && self.keys_gone
                && !fed_now
                && (recording_over || self.sound.feed_is_never())
            {
                // Nobody can answer any more.
                ended = Some(1);
            }
        }
        if self.unseen.is_none() && ended.is_some_and(|code| code < 128) {
            self.last_words();
        }
        Ended {
            code: ended.unwrap_or(1),
            unseen: self.unseen,
            chain_hash: self.journal.chain(),
            run: self.run,
            recording_over,
            world: self.world,
            clock: self.clock,
            keys_gone: self.keys_gone,
        }
    }

    /// Lets the voice say its last sentence. Any key, or a signal, cuts it off.
    fn last_words(&mut self) {
        self.output.last_words(&view(&self.run));
        let mut left = LAST_WORDS;
        while self.output.is_speaking() && !left.is_zero() {
            left = left.saturating_sub(LOOK);
            match self.world.recv_timeout(LOOK) {
                Ok(
                    FromWorld::Key(_)
                    | FromWorld::Typed(_)
                    | FromWorld::Line(_)
                    | FromWorld::End(_),
                ) => {
                    self.output.hush();
                    return;
                }
                Err(RecvTimeoutError::Disconnected) => std::thread::sleep(LOOK),
                _ => {}
            }
        }
    }

    fn wait(&self) -> Duration {
        let now = self.clock.now().mono_ms;
        core::deadline(&self.run).map_or(REDRAW, |at| {
            Duration::from_millis(at.saturating_sub(now)).min(REDRAW)
        })
    }

    fn due(&mut self) -> Option<u8> {
        let now = self.clock.now().mono_ms;
        match core::deadline(&self.run) {
            Some(at) if at <= now => self.deliver(Event::Tick),
            _ => None,
        }
    }

    fn world(&mut self, wait: Duration) -> Option<u8> {
        let next = if self.keys_gone && wait.is_zero() {
            return None;
        } else {
            self.world.recv_timeout(wait)
        };
        match next {
            Ok(FromWorld::Key(key)) => self.typed(Event::Key(key)),
            Ok(FromWorld::Typed(key)) => self.typed(Event::Typed(key)),
            Ok(FromWorld::Line(text)) => self.typed(Event::Line(text)),
            Ok(FromWorld::Silent) => {
                self.take_turns();
                None
            }
            Ok(FromWorld::Faster(steps)) => {
                self.output.faster(steps);
                self.take_turns();
                None
            }
            Ok(FromWorld::Louder(steps)) => {
                self.output.louder(steps);
                self.take_turns();
                None
            }
            Ok(FromWorld::Hint(text)) => {
                self.output.hint(&text);
                self.show()
            }
            Ok(FromWorld::Heard(utterance)) => self.heard(utterance),
            Ok(FromWorld::Level(level)) => {
                if self.output.level(level) {
                    self.show()
                } else {
                    None
                }
            }
            Ok(FromWorld::EarLost(why)) => self.deliver(Event::EarLost { why }),
            Ok(FromWorld::EarBack) => self.deliver(Event::EarBack),
            Ok(FromWorld::End(code)) => self.deliver(Event::Hangup { code }),
            Ok(FromWorld::Suspend) => {
                self.output.suspend();
                self.show()
            }
            Ok(FromWorld::KeysGone) => {
                self.keys_gone = true;
                None
            }
            Ok(FromWorld::Redraw) => self.show(),
            Err(RecvTimeoutError::Timeout) => {
                if wait.is_zero() {
                    None
                } else {
                    // A voice that hangs does not keep the ear closed for ever.
                    self.take_turns();
                    self.show()
                }
            }
            Err(RecvTimeoutError::Disconnected) => {
                self.keys_gone = true;
                None
            }
        }
    }

    /// Any key cuts off what is being said, before the core has even seen it.
    fn typed(&mut self, event: Event) -> Option<u8> {
        self.output.hush();
        self.deliver(event)
    }

    /// The ear is deaf while the voice speaks, and opens for the question that stands when it is silent.
    fn take_turns(&mut self) {
        if !self.sound.hears_own_voice() {
            return;
        }
        if self.output.is_speaking() {
            self.sound.deaf();
            self.deaf = true;
        } else if self.deaf
            && let Some((slot, commands, listen)) = &self.question
        {
            self.sound.listen(slot, *commands, *listen);
            self.deaf = false;
        }
    }

    fn heard(&mut self, utterance: Utterance) -> Option<u8> {
        if !utterance.words.is_empty() {
            self.output.heard();
        }
        // What is said to a list is no evidence: its sound is not kept.
        let kept = !utterance.words.is_empty() && !self.run.job.is_list();
        let clip = kept.then(|| self.clip(&utterance));
        self.deliver(Event::Heard {
            words: utterance.words,
            listen: utterance.listen,
            clip: clip.flatten(),
            damaged: utterance.damaged,
            level_db: crate::edge::loudest_tenth_db(&utterance.samples, utterance.rate),
        })
    }

    /// Keeps the sound in memory until a record names it; a few utterances are enough.
    fn clip(&mut self, utterance: &Utterance) -> Option<Clip> {
        let wav = crate::edge::wav(&utterance.samples, utterance.rate)?;
        let hash = blake3::hash(&wav).to_hex().to_string();
        self.forget_old_sounds();
        let clip = Clip {
            file: format!("{}.wav", &hash[..16]),
            hash: hash.clone(),
        };
        self.unsaved.push((hash, wav));
        Some(clip)
    }

    /// Keeps the last few sounds, and the one whose value waits for its yes, however long that takes.
    fn forget_old_sounds(&mut self) {
        let waiting = match &self.run.live.phase {
            core::Phase::Confirming(candidate) => candidate.how.clip.as_ref(),
            core::Phase::Reason(core::ReasonFor::Correction(candidate)) => {
                candidate.how.clip.as_ref()
            }
            _ => None,
        };
        while self.unsaved.len() >= 8 {
            let oldest = self
                .unsaved
                .iter()
                .position(|(hash, _)| waiting.is_none_or(|clip| clip.hash != *hash));
            match oldest {
                Some(at) => drop(self.unsaved.remove(at)),
                None => return,
            }
        }
    }

    /// One event, and all that follows from it.
    fn deliver(&mut self, event: Event) -> Option<u8> {
        let mut events = std::collections::VecDeque::from([event]);
        let mut ended = None;
        while let Some(event) = events.pop_front() {
            let stamp = self.stamp();
            for effect in core::step(&mut self.run, event, stamp) {
                match effect {
                    Effect::Append(record) => events.push_back(self.append(&record)),
                    Effect::Say(text) => self.output.say(&text),
                    Effect::Hush => self.output.hush(),
                    Effect::CloseEar => {
                        // The voice falling silent must not open what the person closed.
                        self.question = None;
                        self.sound.close();
                    }
                    Effect::Listen {
                        slot,
                        commands,
                        listen,
                    } => {
                        if self.sound.hears_own_voice() {
                            self.question = Some((slot, commands, listen));
                            self.deaf = true;
                        } else {
                            self.sound.listen(&slot, commands, listen);
                        }
                    }
                    Effect::Slower => self.output.faster(-1),
                    Effect::Louder => self.output.louder(1),
                    Effect::Quit(code) => ended = Some(code),
                }
            }
        }
        // What is said begins with what is shown, and the ear closes before the first sound.
        let ended = ended.or_else(|| self.show());
        self.take_turns();
        ended
    }

    fn stamp(&self) -> Stamp {
        self.clock.now()
    }

    fn show(&mut self) -> Option<u8> {
        // Nobody can answer what nobody can see; everything kept is on the disk.
        self.unseen = self.output.show(&view(&self.run)).err();
        self.unseen.as_ref().map(|_| 1)
    }

    /// The clip first, then the record that names it; only then is it saved.
    fn append(&mut self, record: &Record) -> Event {
        if let Some(clip) = record.body.clip()
            && let Some(at) = self.unsaved.iter().position(|(hash, _)| *hash == clip.hash)
        {
            if let Err(error) = self.folder.keep_clip(clip, &self.unsaved[at].1) {
                return Event::NotSaved {
                    why: error.to_string(),
                    again: true,
                };
            }
            self.unsaved.remove(at);
        }
        match self.journal.keep(record) {
            Ok(()) => Event::Saved,
            Err((why, again)) => Event::NotSaved { why, again },
        }
    }
}

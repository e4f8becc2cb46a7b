//! What the loop hears with: a microphone on its thread, a recording, or nothing. No state of its own.

use super::Utterance;
use crate::spoken::{CommandSet, Slot};

/// Something that listens for answers: the thread with the microphone, a recording, or nothing.
pub trait Sound {
    /// A question is open: listen for this.
    fn listen(&mut self, slot: &Slot, commands: CommandSet, listen: u64);
    /// The microphone was closed: what was said so far is an utterance, then nothing is
    /// listened for until the next question.
    fn close(&mut self) {}
    /// Hear nothing until the next question: what is said now is said by the program itself.
    fn deaf(&mut self) {}
    /// True if the program's own voice is in the sound: a microphone in a room, without a headset.
    fn hears_own_voice(&self) -> bool {
        false
    }
    /// Goes on by one piece of sound, where the sound is fed from here. `None`: nothing to feed.
    fn feed(&mut self) -> Option<Fed>;
    /// True if sound is never fed from the loop: there is no recording.
    fn feed_is_never(&self) -> bool {
        true
    }
}

/// What came of feeding one piece of a recording.
#[derive(Debug)]
pub enum Fed {
    /// This much of the recording has been taken.
    Time {
        /// Milliseconds from its start.
        at_ms: u64,
        /// Words, where an utterance ended.
        heard: Option<Utterance>,
    },
    /// The recording is over.
    Over,
    /// The ear failed.
    Failed(String),
}

/// No ear at all.
pub struct Silence;

impl Sound for Silence {
    fn listen(&mut self, _: &Slot, _: CommandSet, _: u64) {}
    fn feed(&mut self) -> Option<Fed> {
        None
    }
}

//! The microphone and the ear on their thread, as the loop sees them.

use std::sync::mpsc::SyncSender;

use super::ear::{Ear, Heard, Listener, ModelChoice};
use super::listening::{self, Engine, FromEar, Handle, HeardUtterance, OpenEar, Rule};
use super::mic::MicChoice;
use crate::drive::{Fed, FromWorld, Level, Sound, Utterance};
use crate::spoken::{self, CommandSet, Slot, WordGraph};

/// The ear on its thread.
pub struct LiveEar {
    handle: Handle,
    headset: bool,
}

impl LiveEar {
    /// Starts the thread: the model is loaded there, and the keypad works meanwhile.
    #[must_use]
    pub fn start(
        model: ModelChoice,
        microphone: Option<String>,
        headset: bool,
        to_loop: SyncSender<FromWorld>,
    ) -> Self {
        let handle = listening::start(
            move || Ear::open(&model).map_err(|error| error.to_string()),
            microphone.map_or(MicChoice::Default, MicChoice::Named),
            Rule::default(),
            move |news| {
                let event = match news {
                    FromEar::Ready { .. } | FromEar::Back => FromWorld::EarBack,
                    FromEar::Heard {
                        words,
                        listen,
                        samples,
                        rate,
                        damaged,
                    } => FromWorld::Heard(Utterance {
                        words,
                        listen,
                        samples,
                        rate,
                        damaged,
                    }),
                    FromEar::Lost { why } => FromWorld::EarLost(why),
                    FromEar::Level { db, clipping } => {
                        // A level that finds no room is replaced by the next one.
                        let _ = to_loop.try_send(FromWorld::Level(Level { db, clipping }));
                        return;
                    }
                };
                // The loop is gone: the session is over, and nobody listens any more.
                let _ = to_loop.send(event);
            },
        );
        Self { handle, headset }
    }
}

impl Sound for LiveEar {
    fn listen(&mut self, slot: &Slot, commands: CommandSet, listen: u64) {
        self.handle
            .listen(spoken::listening(slot, commands), listen);
    }

    fn close(&mut self) {
        self.handle.end_utterance();
    }

    fn deaf(&mut self) {
        self.handle.deaf();
    }

    fn hears_own_voice(&self) -> bool {
        !self.headset
    }

    fn feed(&mut self) -> Option<Fed> {
        None
    }
}

impl Engine for Ear {
    type Open = Listener;

    fn listen(&mut self, graph: &WordGraph, rate: u32) -> Result<Listener, String> {
        Self::listen(self, graph, rate).map_err(|error| error.to_string())
    }
}

impl OpenEar for Listener {
    fn accept(&mut self, samples: &[i16]) -> Result<Option<HeardUtterance>, String> {
        Self::accept(self, samples)
            .map(|heard| heard.map(|heard| utterance(&heard)))
            .map_err(|error| error.to_string())
    }

    fn finish(&mut self) -> Result<HeardUtterance, String> {
        Self::finish(self)
            .map(|heard| utterance(&heard))
            .map_err(|error| error.to_string())
    }
}

fn utterance(heard: &Heard) -> HeardUtterance {
    HeardUtterance {
        words: heard.phrase(),
        samples: heard.samples.clone(),
        rate: heard.rate,
    }
}

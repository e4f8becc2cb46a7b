//! What reading aloud needs: the ear, what shows the prompts, and what comes from ear and keys.
//! No state of its own.

use std::sync::mpsc;
use std::time::Duration;

use super::{Failure, NOT_DONE};
use crate::core::{Key, View};
use crate::drive::{FromWorld, Level, Output, Sound, Utterance};
use crate::edge::ear::ModelChoice;
use crate::edge::live_ear::LiveEar;
use crate::edge::{keys, plain as lines, screen, signals};
use crate::spoken::{CommandSet, Slot};

/// A microphone and a screen, or lines, for reading aloud what is shown.
pub(super) struct ReadingAloud {
    ear: LiveEar,
    output: Box<dyn Output>,
    world: mpsc::Receiver<FromWorld>,
    on_screen: bool,
    ready: bool,
    asked: u64,
}

/// What came, as far as reading aloud is concerned.
pub(super) enum News {
    /// The ear is ready: the first thing can be read.
    Ready,
    /// A tenth of a second of sound.
    Level(Level),
    /// Something was said to what is shown now.
    Heard(Utterance),
    /// A key.
    Key(Key),
    /// The microphone is gone, and why; [`News::Ready`] comes when it is back.
    Lost(String),
    /// Nothing.
    Nothing,
}

impl ReadingAloud {
    /// Takes the terminal and starts the ear. Lines typed count as keys where there is no screen.
    ///
    /// # Errors
    /// If the signals or the terminal cannot be had.
    pub(super) fn begin(
        model: ModelChoice,
        microphone: Option<String>,
        plain: bool,
        contrast: bool,
    ) -> Result<Self, Failure> {
        let (sender, world) = mpsc::sync_channel(64);
        signals::listen(sender.clone())
            .map_err(|error| Failure::wrong(format!("cannot catch signals: {error}")))?;
        let ear = LiveEar::start(model, microphone, true, sender.clone());
        let look = screen::Look::of_environment(contrast);
        let on_screen = super::run::on_screen(plain);
        let output: Box<dyn Output> = if on_screen {
            let shown = screen::Screen::enter(look).map_err(|error| {
                Failure::wrong(format!("cannot use this terminal: {error}. Try --plain"))
            })?;
            keys::listen(sender, keys::Keymap::default());
            Box::new(shown)
        } else {
            keys::listen_lines(sender);
            Box::new(lines::Plain::new(look.unicode))
        };
        Ok(Self {
            ear,
            output,
            world,
            on_screen,
            ready: false,
            asked: 0,
        })
    }

    /// Whether the ear is ready.
    pub(super) fn is_ready(&self) -> bool {
        self.ready
    }

    /// Listens anew: what was said before is no answer any more.
    pub(super) fn listen(&mut self, slot: &Slot) {
        self.asked += 1;
        self.ear.listen(slot, CommandSet::All, self.asked);
    }

    /// Shows a remark beside what is shown anyway.
    pub(super) fn remark(&mut self, text: &str) {
        self.output.hint(text);
    }

    /// Shows it, and waits for what comes, half a second at most.
    ///
    /// # Errors
    /// If it cannot be shown, the ear never gets ready, or it is broken off by key or signal: then the
    /// exit code says so.
    pub(super) fn show_and_wait(&mut self, view: &View) -> Result<News, Failure> {
        self.output
            .show(view)
            .map_err(|error| Failure::wrong(format!("cannot show it: {error}")))?;
        let news = match self.world.recv_timeout(Duration::from_millis(500)) {
            Ok(FromWorld::EarBack) => {
                self.ready = true;
                News::Ready
            }
            Ok(FromWorld::Level(level)) if self.ready => {
                self.output.level(level);
                News::Level(level)
            }
            Ok(FromWorld::Heard(heard)) if heard.listen == self.asked => News::Heard(heard),
            Ok(FromWorld::EarLost(why)) => {
                if !std::mem::take(&mut self.ready) {
                    return Err(lost(why));
                }
                News::Lost(why)
            }
            Ok(FromWorld::Suspend) => {
                self.output.suspend();
                News::Nothing
            }
            Ok(FromWorld::End(code)) => return Err(broken_off(code)),
            Ok(FromWorld::Key(Key::Stop) | FromWorld::Typed(Key::Stop))
            | Err(mpsc::RecvTimeoutError::Disconnected) => return Err(broken_off(NOT_DONE)),
            // Lines may end, and the voice goes on; a screen without keys has nobody before it.
            Ok(FromWorld::KeysGone) if self.on_screen => return Err(broken_off(NOT_DONE)),
            Ok(FromWorld::Key(key) | FromWorld::Typed(key)) => News::Key(key),
            _ => News::Nothing,
        };
        Ok(news)
    }

    /// Gives the terminal and the microphone back; what is left tells of keys and signals.
    pub(super) fn end(self) -> Breaks {
        drop(self.output);
        Breaks { world: self.world }
    }
}

/// Says whether to break off what takes long and asks nothing.
pub(super) struct Breaks {
    world: mpsc::Receiver<FromWorld>,
}

impl Breaks {
    /// Where nothing was read aloud: signals alone.
    ///
    /// # Errors
    /// If the system refuses to hand the signals over.
    pub(super) fn begin() -> Result<Self, Failure> {
        let (sender, world) = mpsc::sync_channel(64);
        signals::listen(sender)
            .map_err(|error| Failure::wrong(format!("cannot catch signals: {error}")))?;
        Ok(Self { world })
    }

    /// Goes on, unless it was broken off.
    ///
    /// # Errors
    /// The exit code of breaking off.
    pub(super) fn look(&self) -> Result<(), Failure> {
        while let Ok(news) = self.world.try_recv() {
            match news {
                FromWorld::End(code) => return Err(broken_off(code)),
                FromWorld::Typed(Key::Stop) => return Err(broken_off(NOT_DONE)),
                FromWorld::Suspend => {
                    // If the system refuses, the program simply goes on.
                    let _ = signal_hook::low_level::emulate_default_handler(
                        signal_hook::consts::SIGTSTP,
                    );
                }
                _ => {}
            }
        }
        Ok(())
    }
}

/// The microphone is gone, where nothing can be done without it.
pub(super) fn lost(why: String) -> Failure {
    Failure {
        code: NOT_DONE,
        text: why,
    }
}

fn broken_off(code: u8) -> Failure {
    Failure {
        code,
        text: "broken off; nothing of it is kept".to_owned(),
    }
}

/// The view of something to be read aloud; `big` stands in large print.
pub(super) fn view(
    title: &str,
    ready: bool,
    (state, big, question): (&'static str, &str, &str),
    keys: Vec<(&'static str, &'static str)>,
) -> View {
    let (state, big, question) = if ready {
        (state, big, question)
    } else {
        ("START", "Wait", "The ear is being made ready.")
    };
    View {
        title: title.to_owned(),
        big: big.to_owned(),
        question: question.to_owned(),
        state,
        ear: if ready {
            "mic: OPEN"
        } else {
            "mic: getting ready"
        }
        .to_owned(),
        keys,
        ..View::default()
    }
}

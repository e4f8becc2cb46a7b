//! Who relays the readings: asked, read back, and kept like an answer.
//!
//! No state of its own: parts of `Turn`, which `step` drives.

use super::record::{Body, Channel, Clip, How};
use super::step::{AFFIRM_IS_WANTED, Turn, keyed};
use super::{Key, Mark, Phase, Relay, keypad};
use crate::spoken::{self, Command, Meaning, Slot, SlotKind};

/// What is asked.
const WHO: &str = "Who relays the readings? Spell it, or say negative for nobody.";

/// The slot that a name is listened for in: letters and figures, one by one.
pub(super) fn slot() -> Slot {
    Slot {
        name: "relayed by".to_owned(),
        kind: SlotKind::Tag,
    }
}

/// What is read back: "Relayed by golf romeo. Affirm or negative?"
fn read_back(by: Option<&str>) -> String {
    let who = by.map_or_else(|| "nobody".to_owned(), spoken::spell);
    format!("Relayed by {who}. Affirm or negative?")
}

impl Turn<'_> {
    /// Asks who relays the readings from here on.
    pub(super) fn begin_relaying(&mut self) {
        self.run.live.typed.clear();
        // A name begins with a letter.
        self.run.live.letters = true;
        self.run.live.phase = Phase::Relaying(None);
        self.tell(Mark::Plain, WHO);
    }

    /// By voice it is spelled, read back, and kept after a yes.
    pub(super) fn relay_heard(&mut self, words: &str, clip: Option<Clip>, waiting: Option<Relay>) {
        let meaning = spoken::parse(&slot(), words).meaning;
        let ready = |by| Relay {
            by,
            how: How {
                channel: Channel::Voice,
                heard: words.to_owned(),
                clip: clip.clone(),
                ..How::default()
            },
        };
        match (meaning, waiting) {
            (Some(Meaning::Command(Command::Pause | Command::PauseLong)), _) => self.pause(),
            (Some(Meaning::Command(Command::Back | Command::Disregard)), _) => self.ask_again(),
            (Some(Meaning::Command(Command::Yes)), Some(_)) if self.wants_affirm(words) => {
                self.tell(Mark::Watch, AFFIRM_IS_WANTED);
            }
            (Some(Meaning::Command(Command::Yes)), Some(relay)) => self.relayed(relay),
            (Some(Meaning::Command(Command::No | Command::Correction)), Some(_)) => {
                self.begin_relaying();
            }
            (
                Some(Meaning::Command(Command::RepeatPrompt | Command::ReadBack)),
                Some(Relay { by, .. }),
            ) => self.say(&read_back(by.as_deref())),
            (Some(Meaning::Command(Command::RepeatPrompt)), None) => self.begin_relaying(),
            (Some(Meaning::Command(Command::No)), None) => self.relay_read_back(ready(None)),
            (Some(Meaning::Tag(name)), _) => self.relay_read_back(ready(Some(name))),
            _ => self.tell(Mark::Watch, WHO),
        }
    }

    fn relay_read_back(&mut self, relay: Relay) {
        self.run.live.typed.clear();
        self.tell(Mark::Plain, &read_back(relay.by.as_deref()));
        self.run.live.phase = Phase::Relaying(Some(relay));
    }

    /// By key: Enter keeps what stands there, minus alone is nobody, and the menu key leaves it as it was.
    pub(super) fn relay_key(&mut self, key: Key, waiting: Option<Relay>) {
        match (key, waiting) {
            (Key::Slash, _) => self.ask_again(),
            (Key::Enter, Some(relay)) => self.relayed(relay),
            (Key::Plus, Some(relay)) => self.say(&read_back(relay.by.as_deref())),
            (_, Some(_)) => self.begin_relaying(),
            (Key::Enter, None) => {
                let typed = self.run.live.typed.clone();
                self.relay_typed(&typed);
            }
            (Key::Minus, None) if self.run.live.typed.is_empty() => self.relay_typed("-"),
            (Key::Plus, None) => self.run.live.letters = !self.run.live.letters,
            (Key::Star, None) => self.run.live.typed.clear(),
            (Key::Erase, None) => {
                self.run.live.typed.pop();
            }
            (key, None) => keypad::spell(self, key),
        }
    }

    /// A name as a whole; `-` is nobody, and nothing leaves it as it was.
    pub(super) fn relay_typed(&mut self, text: &str) {
        let name = text.trim();
        let how = keyed(name);
        match name {
            "" => self.ask_again(),
            "-" => self.relayed(Relay { by: None, how }),
            // The first of two figures of a letter.
            name if name.contains('_') => {
                self.tell(Mark::Watch, "Letters go from 0 1, A, to 2 6, Z.");
            }
            name => self.relayed(Relay {
                by: Some(name.to_owned()),
                how,
            }),
        }
    }

    fn relayed(&mut self, Relay { by, how }: Relay) {
        self.append(Body::Relayed { by, how });
    }
}

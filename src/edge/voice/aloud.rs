//! An output that is also heard: what is shown goes on to the screen, what is said to the voice.
//!
//! State: the output, the voice, the view shown last, and the text that waits for the
//! next view, because the view tells which tone goes before it.

use super::tones::Tone;
use super::{Manner, Utterance, Voice};
use crate::core::{Mark, View};
use crate::drive::Output;

/// A screen, or plain lines, with a voice.
pub struct Aloud {
    shown: Box<dyn Output>,
    voice: Voice,
    manner: Manner,
    before: Option<View>,
    text: String,
    heard: Option<Tone>,
}

impl Aloud {
    /// Both together.
    #[must_use]
    pub fn new(shown: Box<dyn Output>, voice: Voice, manner: Manner) -> Self {
        Self {
            shown,
            voice,
            manner,
            before: None,
            text: String::new(),
            heard: None,
        }
    }

    fn change(&mut self, change: impl FnOnce(&mut Manner), said: &str) {
        change(&mut self.manner);
        self.voice.set(self.manner.clone());
        self.say(said);
        self.flush(None, None);
    }

    fn flush(&mut self, before: Option<Tone>, after: Option<Tone>) {
        let text = std::mem::take(&mut self.text);
        if !text.is_empty() || before.is_some() {
            self.voice.say(Utterance {
                before,
                text,
                after,
            });
        }
    }
}

impl Output for Aloud {
    fn show(&mut self, view: &View) -> std::io::Result<()> {
        let tone = tone(self.before.as_ref(), view).or(self.heard.take());
        self.heard = None;
        // A tick while a sentence is being said would cut it off.
        if tone != Some(Tone::Hold) || !self.voice.is_speaking() {
            if tone == Some(Tone::MicrophoneLost) {
                // Why, the screen says; the system's own words have no clips.
                "Microphone lost.".clone_into(&mut self.text);
            }
            let listens = !self.text.is_empty() && view.listens;
            self.flush(tone, listens.then_some(Tone::Listening));
        }
        self.before = Some(view.clone());
        self.shown.show(view)
    }

    fn last_words(&mut self, view: &View) {
        let tone = tone(self.before.as_ref(), view);
        self.flush(tone, None);
    }

    fn say(&mut self, text: &str) {
        if self.text.is_empty() {
            text.clone_into(&mut self.text);
        } else {
            // Two sentences of one event belong together.
            self.text = format!("{} {text}", self.text);
        }
    }

    fn hush(&mut self) {
        self.text.clear();
        self.voice.hush();
    }

    fn is_speaking(&self) -> bool {
        self.voice.is_speaking()
    }

    fn heard(&mut self) {
        self.heard = Some(Tone::Heard);
    }

    fn faster(&mut self, by: i8) {
        let (least, most) = Manner::SPEEDS;
        let said = if by > 0 { "Faster." } else { "Slower." };
        self.change(
            |manner| manner.speed = (manner.speed + 0.1 * f32::from(by)).clamp(least, most),
            said,
        );
    }

    fn louder(&mut self, by: i8) {
        let (least, most) = Manner::LOUDNESSES;
        let said = if by > 0 { "Louder." } else { "Softer." };
        self.change(
            |manner| {
                manner.loudness =
                    (manner.loudness * 1.25_f32.powi(i32::from(by))).clamp(least, most);
            },
            said,
        );
    }

    fn hint(&mut self, text: &str) {
        self.shown.hint(text);
    }

    fn suspend(&mut self) {
        self.voice.hush();
        self.shown.suspend();
    }
}

/// The tone that tells what has changed, if it is one of those that have a tone.
#[must_use]
pub fn tone(before: Option<&View>, now: &View) -> Option<Tone> {
    let before = before?;
    let is_new = |field: fn(&View) -> &str| field(before) != field(now);
    let message_new = is_new(|view| &view.message);
    if is_new(|view| &view.ear) && now.ear.contains("LOST") {
        Some(Tone::MicrophoneLost)
    } else if now.state == "HOLD" {
        is_new(|view| &view.big).then_some(Tone::Hold)
    } else if now.state == "RIGHT?" && (is_new(|view| view.state) || is_new(|view| &view.big)) {
        Some(Tone::Asking)
    } else if message_new && matches!(now.mark, Mark::Bad | Mark::Watch) {
        Some(Tone::Refused)
    } else if is_new(|view| &view.last) || message_new && now.message.starts_with("Kept.") {
        Some(Tone::Kept)
    } else {
        None
    }
}

//! The prompts read aloud by a person, as clips to learn from.

use super::super::Failure;
use super::super::reading_aloud::{News, ReadingAloud, view};
use super::at_rate;
use crate::core::{Key, View};
use crate::drive::Utterance;
use crate::enrolment::{Acoustics, Clip, PROMPTS, is_held_back};
use crate::spoken;

/// Tenths of a second of sound that a prompt waits for its answer.
const PROMPT_TENTHS: u32 = 80;

/// Reads the prompts with a person; `before` are prompts that were read already, each with its sound.
///
/// # Errors
/// As [`ReadingAloud::show_and_wait`].
pub(super) fn read(
    desk: &mut ReadingAloud,
    before: &[(&str, Utterance)],
    acoustics: &Acoustics,
) -> Result<Vec<(Clip, bool)>, Failure> {
    let any = spoken::named_slot("ANY").ok_or_else(|| Failure::wrong("there is no slot ANY"))?;
    let mut reading = Reading::default();
    for (prompt, heard) in before {
        let clip = clip(prompt, heard);
        if acoustics.fits(&clip).map_err(Failure::wrong)? {
            reading.know(prompt, clip);
        }
    }
    reading.go_on();
    let mut tenths = 0;
    if desk.is_ready() {
        desk.listen(&any);
    }
    while let Some(prompt) = reading.prompt() {
        let place = (reading.number, reading.tries);
        match desk.show_and_wait(&reading.view(desk.is_ready()))? {
            News::Ready => {
                tenths = 0;
                desk.listen(&any);
            }
            News::Level(_) => {
                tenths += 1;
                if tenths > PROMPT_TENTHS {
                    reading.take(None);
                }
            }
            News::Heard(heard) => {
                let clip = clip(prompt, &heard);
                // Sound in which a piece is missing teaches nothing.
                let fits = !heard.damaged && acoustics.fits(&clip).map_err(Failure::wrong)?;
                reading.take(fits.then_some(clip));
            }
            News::Key(Key::Minus) => reading.pass(),
            // What was read is not lost: it goes on when the microphone is back.
            News::Lost(why) => desk.remark(&why),
            News::Key(_) | News::Nothing => {}
        }
        if (reading.number, reading.tries) != place {
            tenths = 0;
            desk.listen(&any);
        }
    }
    Ok(reading.clips)
}

fn clip(prompt: &str, heard: &Utterance) -> Clip {
    Clip {
        samples: at_rate(&heard.samples, heard.rate),
        words: prompt.split_whitespace().map(str::to_owned).collect(),
    }
}

/// Where the reading aloud has come to.
#[derive(Default)]
struct Reading {
    number: usize,
    tries: usize,
    /// Prompts, by number, that were read before.
    known: Vec<usize>,
    clips: Vec<(Clip, bool)>,
}

impl Reading {
    fn prompt(&self) -> Option<&'static str> {
        PROMPTS.get(self.number).copied()
    }

    /// A prompt that was read before: it is not asked again, once.
    fn know(&mut self, prompt: &str, clip: Clip) {
        let at = (0..PROMPTS.len()).find(|at| PROMPTS[*at] == prompt && !self.known.contains(at));
        if let Some(at) = at {
            self.known.push(at);
            self.clips.push((clip, is_held_back(at)));
        }
    }

    /// A clip that sounds like the prompt, or none: then it is asked once more, and then passed over.
    fn take(&mut self, clip: Option<Clip>) {
        match clip {
            Some(clip) => {
                self.clips.push((clip, is_held_back(self.number)));
                self.pass();
            }
            None if self.tries == 0 => self.tries = 1,
            None => self.pass(),
        }
    }

    fn pass(&mut self) {
        self.number += 1;
        self.tries = 0;
        self.go_on();
    }

    /// To the next prompt that was not read before.
    fn go_on(&mut self) {
        while self.known.contains(&self.number) {
            self.number += 1;
        }
    }

    fn view(&self, ready: bool) -> View {
        let (state, question) = if self.tries > 0 {
            (
                "AGAIN",
                "That did not sound like it. Read it once more.".to_owned(),
            )
        } else {
            (
                "READ",
                format!(
                    "Read it aloud, as you would at work. {} of {}.",
                    self.number + 1,
                    PROMPTS.len()
                ),
            )
        };
        view(
            "Teach the ear your voice",
            ready,
            (state, self.prompt().unwrap_or("Done"), &question),
            vec![("-", "pass over"), ("Esc", "break off")],
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clip() -> Clip {
        Clip {
            samples: vec![0.0; 160],
            words: Vec::new(),
        }
    }

    #[test]
    fn what_does_not_sound_like_it_is_asked_once_more_and_then_passed_over() {
        let mut reading = Reading::default();
        reading.take(None);
        assert_eq!((reading.number, reading.tries), (0, 1));
        assert_eq!(reading.view(true).state, "AGAIN");
        reading.take(Some(clip()));
        assert_eq!(
            (reading.number, reading.tries, reading.clips.len()),
            (1, 0, 1)
        );
        reading.take(None);
        reading.take(None);
        assert_eq!(
            (reading.number, reading.tries, reading.clips.len()),
            (2, 0, 1)
        );
    }

    #[test]
    fn what_the_microphone_check_heard_is_not_asked_again_and_is_held_back_as_it_would_have_been() {
        let mut reading = Reading::default();
        for prompt in crate::mic_check::PROMPTS {
            reading.know(prompt, clip());
        }
        assert_eq!(
            reading.clips.len(),
            crate::mic_check::PROMPTS.len(),
            "each of them is one of the prompts here"
        );
        let held_back = reading.clips.iter().filter(|(_, held)| *held).count();
        assert_eq!(held_back, 2, "skip, and two seven point nine");
        reading.go_on();
        let mut asked = Vec::new();
        while let Some(prompt) = reading.prompt() {
            asked.push(prompt);
            reading.take(Some(clip()));
        }
        assert_eq!(asked.len(), PROMPTS.len() - crate::mic_check::PROMPTS.len());
        assert_eq!(reading.clips.len(), PROMPTS.len());
        // "Yes" is among the prompts twice, and was read once.
        assert_eq!(asked.iter().filter(|prompt| **prompt == "yes").count(), 1);
        assert!(!asked.contains(&"skip"));
        let all = reading.clips.iter().filter(|(_, held)| *held).count();
        assert_eq!(
            all,
            (0..PROMPTS.len()).filter(|at| is_held_back(*at)).count()
        );
    }
}

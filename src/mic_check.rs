//! The microphone check: what was measured before a job, and what it means in
//! words. Pure: levels and words come in, sentences go out.
//!
//! State: [`Check`], which its caller feeds; time comes with each level, a tenth
//! of a second each, so that a recording is judged like a microphone.

use serde::{Deserialize, Serialize};

use crate::spoken;

/// What is to be read aloud, after [`QUIET_TENTHS`] of silence: twelve words and four numbers, as
/// they are said. Each is listened for as if it could be anything.
pub const PROMPTS: [&str; 16] = [
    "yes",
    "no",
    "affirm",
    "negative",
    "say again",
    "stop",
    "go back",
    "correction",
    "skip",
    "done",
    "next",
    "go ahead",
    "five one two",
    "four point zero two",
    "one zero three six",
    "two seven point nine",
];

/// How many of [`PROMPTS`] are words; the rest are numbers.
pub const WORDS: usize = 12;

/// Tenths of a second in which nobody speaks, to measure the noise.
pub const QUIET_TENTHS: usize = 50;

/// Tenths of a second that one prompt waits for its answer.
pub const PROMPT_TENTHS: usize = 70;

/// A tenth of a second of sound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tenth {
    /// Decibels below full scale, root mean square.
    pub db: f32,
    /// Whether it was too loud for the microphone.
    pub clipping: bool,
}

/// What was measured. Decibels are below full scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// The microphone, or the recording.
    pub device: String,
    /// Noise while nobody spoke: the middle of the tenths.
    pub noise_db: f64,
    /// Speech: the ninth decile of the tenths in which something stood out.
    pub speech_db: f64,
    /// Tenths of a second that were too loud, of a thousand.
    pub clipped_permille: u32,
    /// Words that were understood as they were to be read, of [`WORDS`].
    pub words_right: usize,
    /// Numbers, of the rest.
    pub numbers_right: usize,
    /// Numbers that were understood as another number.
    pub numbers_wrong: usize,
    /// Prompts that were asked; fewer than all when it was broken off.
    pub asked: usize,
    /// Prompts that got no answer at all: nothing was heard. Not in what was measured before this was told apart.
    #[serde(default)]
    pub unheard: usize,
    /// Prompts that were understood only when they were read again.
    #[serde(default)]
    pub again: usize,
}

/// Whether voice is of use here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fit {
    /// Voice works here.
    Good,
    /// It works with what is said to change, or with repeats.
    WithCare,
    /// It should not be used here.
    Keypad,
}

/// What the measurement means.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// Whether voice is of use here.
    pub fit: Fit,
    /// What was found and what to change, a sentence each, the most important first.
    pub sentences: Vec<String>,
}

impl Measured {
    /// Speech above noise, decibels.
    #[must_use]
    pub fn signal_to_noise(&self) -> f64 {
        self.speech_db - self.noise_db
    }

    /// What it means. The limits are common practice for close microphones, from memory; that the
    /// ears lose words below about 10 dB was measured (`tests/mic/front.rs` prints it).
    #[must_use]
    pub fn judge(&self) -> Verdict {
        let mut sentences = Vec::new();
        let numbers = self.asked.saturating_sub(WORDS);
        let words = self.asked.min(WORDS);
        let ratio = self.signal_to_noise();
        let missed = self.asked - (self.words_right + self.numbers_right).min(self.asked);
        let unheard = self.unheard.min(missed);
        let mut fit = Fit::Good;
        let mut at_least = |other: Fit| {
            if other == Fit::Keypad || fit == Fit::Good {
                fit = other;
            }
        };
        if self.asked == 0 || self.words_right + self.numbers_right == 0 {
            at_least(Fit::Keypad);
            sentences.push(
                "Nothing was understood: is this the right microphone, and is it switched on? Use the keypad here.".to_owned(),
            );
        } else if self.numbers_wrong > 0 && self.numbers_wrong * 4 >= numbers {
            at_least(Fit::Keypad);
            sentences.push(format!(
                "{} of {numbers} numbers were understood as another number. Use the keypad here.",
                self.numbers_wrong
            ));
        } else if missed * 3 > self.asked {
            at_least(Fit::Keypad);
            sentences.push(format!(
                "{missed} of {} answers were not understood{}. Do not use voice here: use the keypad.",
                self.asked,
                of_them_unheard(unheard)
            ));
        } else if missed * 8 > self.asked {
            at_least(Fit::WithCare);
            sentences.push(format!(
                "{missed} of {} answers were not understood{}. Expect to repeat; the keypad is quicker.",
                self.asked,
                of_them_unheard(unheard)
            ));
        } else if unheard > 0 {
            sentences.push(format!(
                "{} of {words} words and {} of {numbers} numbers were understood; {unheard} got no answer: nothing was heard.",
                self.words_right, self.numbers_right
            ));
        }
        if self.again * 8 > self.asked {
            at_least(Fit::WithCare);
            sentences.push(format!(
                "{} of {} had to be read again. Expect to repeat.",
                self.again, self.asked
            ));
        }
        if ratio < 6.0 {
            at_least(Fit::Keypad);
            sentences.push(format!(
                "Your voice is only {ratio:.0} decibels above the noise. Wear a headset with the microphone at the mouth, or use the keypad."
            ));
        } else if ratio < 12.0 {
            at_least(Fit::WithCare);
            sentences.push(format!(
                "Your voice is {ratio:.0} decibels above the noise: bring the microphone closer to the mouth, or wear a headset."
            ));
        }
        if self.clipped_permille >= 10 {
            at_least(Fit::WithCare);
            sentences.push(
                "It was too loud for the microphone: turn its gain down, or hold it to the side of the mouth.".to_owned(),
            );
        }
        if self.speech_db < -50.0 {
            at_least(Fit::WithCare);
            sentences.push(
                "Your voice arrives weak: come closer, or turn the microphone's gain up."
                    .to_owned(),
            );
        }
        if sentences.is_empty() {
            sentences.push(format!(
                "Voice works here: {} of {words} words and {} of {numbers} numbers were understood.",
                self.words_right, self.numbers_right
            ));
        }
        Verdict { fit, sentences }
    }

    /// True if fitting the ear to the voice is worth offering: the voice arrived well and whole, all was
    /// asked, and most of it was answered. How much of it was understood does not matter. The limits
    /// are those of [`Measured::judge`].
    #[must_use]
    pub fn is_worth_fitting(&self) -> bool {
        self.asked == PROMPTS.len()
            && self.unheard * 2 <= self.asked
            && self.signal_to_noise() >= 12.0
            && self.speech_db >= -50.0
            && self.clipped_permille < 10
    }

    /// How much of the time it was too loud, in words.
    fn too_loud(&self) -> String {
        let (whole, tenth) = (self.clipped_permille / 10, self.clipped_permille % 10);
        match (whole, tenth) {
            (0, 0) => "never too loud".to_owned(),
            (whole, 0) => format!("too loud {whole} % of the time"),
            (whole, tenth) => format!("too loud {whole}.{tenth} % of the time"),
        }
    }

    /// One line for the record: figures and verdict.
    #[must_use]
    pub fn line(&self) -> String {
        let verdict = self.judge();
        let fit = match verdict.fit {
            Fit::Good => "voice works here",
            Fit::WithCare => "voice with care",
            Fit::Keypad => "keypad, not voice",
        };
        format!(
            "checked, {fit}: {}; noise {:.0} dB, speech {:.0} dB, {:.0} dB apart, {}, {} of {} words and {} of {} numbers understood. {}",
            self.device,
            self.noise_db,
            self.speech_db,
            self.signal_to_noise(),
            self.too_loud(),
            self.words_right,
            self.asked.min(WORDS),
            self.numbers_right,
            self.asked.saturating_sub(WORDS),
            verdict.sentences.join(" ")
        )
    }
}

/// What is said of answers that nobody gave, beside those that were not understood.
fn of_them_unheard(unheard: usize) -> String {
    if unheard == 0 {
        String::new()
    } else {
        format!("; at {unheard} of them nothing was heard at all")
    }
}

/// A check that is going on.
#[derive(Clone, Debug, Default)]
pub struct Check {
    tenths: Vec<Tenth>,
    /// How many of the tenths were there when the prompt that is open was shown.
    shown_at: usize,
    /// Whether something was heard for it that was no answer.
    unclear: bool,
    answers: Vec<Answer>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Answer {
    /// Understood; true if only when it was read again.
    Right { again: bool },
    /// Understood as something else.
    Other,
    /// Something was heard, and no answer in it.
    Unclear,
    /// Nothing was heard.
    Nothing,
}

/// What is to be done now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Now {
    /// Nobody speaks: the noise is measured, for so many tenths yet.
    Quiet(usize),
    /// This is to be read aloud.
    Read(&'static str),
    /// It is over.
    Over,
}

impl Check {
    /// What is to be done now.
    #[must_use]
    pub fn now(&self) -> Now {
        if self.tenths.len() < QUIET_TENTHS {
            return Now::Quiet(QUIET_TENTHS - self.tenths.len());
        }
        PROMPTS
            .get(self.answers.len())
            .map_or(Now::Over, |prompt| Now::Read(prompt))
    }

    /// Takes in the next tenth of a second. A prompt that waited too long has got no answer.
    pub fn tenth(&mut self, tenth: Tenth) {
        self.tenths.push(tenth);
        if self.tenths.len() == QUIET_TENTHS {
            self.shown_at = self.tenths.len();
        }
        if matches!(self.now(), Now::Read(_)) && self.tenths.len() - self.shown_at >= PROMPT_TENTHS
        {
            self.pass();
        }
    }

    /// Takes in what was heard; empty if it was not understood. What was not understood is no
    /// answer, as in a job: the prompt stays, for what is left of its time, to be read again.
    pub fn heard(&mut self, words: &str) {
        let Now::Read(prompt) = self.now() else {
            return;
        };
        if words.is_empty() {
            self.unclear = true;
        } else if means_the_same(prompt, words) {
            self.answer(Answer::Right {
                again: self.unclear,
            });
        } else {
            self.answer(Answer::Other);
        }
    }

    /// Goes on without an answer: the time is over, or, in a recording, nobody can be asked to
    /// read it again.
    pub fn pass(&mut self) {
        if matches!(self.now(), Now::Read(_)) {
            self.answer(if self.unclear {
                Answer::Unclear
            } else {
                Answer::Nothing
            });
        }
    }

    /// True if what was read was not understood, and is to be read again.
    #[must_use]
    pub fn is_again(&self) -> bool {
        self.unclear
    }

    fn answer(&mut self, answer: Answer) {
        self.answers.push(answer);
        self.shown_at = self.tenths.len();
        self.unclear = false;
    }

    /// What was measured so far; `device` is what it was measured with.
    #[must_use]
    pub fn measured(&self, device: &str) -> Measured {
        let (quiet, rest) = self.tenths.split_at(self.tenths.len().min(QUIET_TENTHS));
        let noise = decile(quiet, 5);
        let loud: Vec<Tenth> = rest
            .iter()
            .copied()
            .filter(|tenth| f64::from(tenth.db) > noise + 3.0)
            .collect();
        let count = |from: usize, to: usize, wanted: fn(Answer) -> bool| {
            let answers = self.answers.iter().skip(from).take(to - from);
            answers.filter(|answer| wanted(**answer)).count()
        };
        let right = |answer| matches!(answer, Answer::Right { .. });
        let clipped = self.tenths.iter().filter(|tenth| tenth.clipping).count();
        Measured {
            device: device.to_owned(),
            noise_db: noise,
            speech_db: if loud.is_empty() {
                noise
            } else {
                decile(&loud, 9)
            },
            clipped_permille: u32::try_from(clipped * 1000 / self.tenths.len().max(1))
                .unwrap_or(1000),
            words_right: count(0, WORDS, right),
            numbers_right: count(WORDS, PROMPTS.len(), right),
            numbers_wrong: count(WORDS, PROMPTS.len(), |answer| answer == Answer::Other),
            asked: self.answers.len(),
            unheard: count(0, PROMPTS.len(), |answer| answer == Answer::Nothing),
            again: count(0, PROMPTS.len(), |answer| {
                answer == Answer::Right { again: true }
            }),
        }
    }
}

/// The level that so many tenths of the tenths are below, nearest rank; silence of nothing.
fn decile(tenths: &[Tenth], deciles: usize) -> f64 {
    let mut levels: Vec<f32> = tenths.iter().map(|tenth| tenth.db).collect();
    levels.sort_by(f32::total_cmp);
    let rank = (levels.len() * deciles).div_ceil(10).saturating_sub(1);
    f64::from(levels.get(rank).copied().unwrap_or(-96.0))
}

/// Two ways of saying the same: "yes" and "affirm" are one command, and nobody is marked down for
/// the other.
fn means_the_same(prompt: &str, heard: &str) -> bool {
    let meaning = |words: &str| {
        ["YN", "ANY"]
            .iter()
            .filter_map(|slot| spoken::named_slot(slot))
            .map(|slot| spoken::parse(&slot, words))
            .find_map(|decision| decision.meaning.clone())
    };
    prompt == heard || (meaning(prompt).is_some() && meaning(prompt) == meaning(heard))
}

//! What stands in front of the ear: it lets speech through and keeps noise out.
//!
//! State: the last [`BEFORE_SECONDS`] of sound, how long the gate stays open,
//! the detector's own memory. Only the thread that listens changes it. What is
//! let through is the sound itself, never a changed one; what opens the gate is
//! no answer yet, it only lets the ear judge. Which rule and which numbers is
//! chosen on evidence: `tests/mic/front.rs` prints it. A noise reduction was
//! measured there too, and is not here: 225 of 254 right with it, 227 without
//! (1 and 4 wrong): no clear gain for a change of the sound.

use std::collections::VecDeque;

use earshot::Detector;

/// The sound from before the gate opened that is let through as well, so that
/// the first consonant of an answer is not cut off.
pub const BEFORE_SECONDS: f64 = 0.6;

/// How long the gate stays open after the last voice: longer than the pause that
/// ends an utterance, so that it is the ear that ends it, and not the gate.
pub const AFTER_SECONDS: f64 = 1.5;

/// The frame that the detector judges: 256 samples at 16000 a second, 16 ms.
const FRAME: usize = 256;

/// The rate that the detector was made for.
const RATE: u32 = 16_000;

/// What opens the gate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// Nothing is kept out.
    Always,
    /// A frame that is this many decibels above the noise floor.
    Level(f32),
    /// A frame that the voice-activity detector gives at least this score, 0 to 1.
    Voice(f32),
    /// Both at once: a frame that is a voice, and stands out from the noise by so many decibels.
    Both(f32, f32),
}

impl Default for Rule {
    /// The one that the figures speak for: on the recordings it was chosen with, it let half of the
    /// noise through and lost no answer (227 of 254 right with it and without).
    fn default() -> Self {
        Self::Voice(0.5)
    }
}

/// The gate before the ear.
pub struct Gate {
    rule: Rule,
    rate: u32,
    detector: Box<Detector>,
    frame: Vec<i16>,
    /// Sum and count of the device's samples that make the next sample of the frame.
    part: (i64, i64),
    /// Where between two samples of the frame it stands, in device samples times [`RATE`].
    phase: u32,
    /// The noise floor, decibels below full scale; that of the first frame at first.
    floor: Option<f32>,
    before: VecDeque<i16>,
    /// Samples until it closes; 0 when it is closed.
    open: usize,
    starts: u32,
}

impl Gate {
    /// A closed gate for sound of `rate` samples a second.
    #[must_use]
    pub fn new(rule: Rule, rate: u32) -> Self {
        Self {
            rule,
            rate,
            detector: Detector::default_boxed(),
            frame: Vec::with_capacity(FRAME),
            part: (0, 0),
            phase: 0,
            floor: None,
            before: VecDeque::new(),
            open: 0,
            starts: 0,
        }
    }

    /// Takes the next samples and appends to `out` what is for the ear: nothing
    /// while there is no voice.
    pub fn pass(&mut self, samples: &[i16], out: &mut Vec<i16>) {
        if self.rule == Rule::Always {
            self.starts = self.starts.max(1);
            out.extend_from_slice(samples);
            return;
        }
        if self.voice(samples) {
            if self.open == 0 {
                self.starts += 1;
                out.extend(self.before.drain(..));
            }
            self.open = seconds(AFTER_SECONDS, self.rate);
            out.extend_from_slice(samples);
        } else if self.open > 0 {
            self.open = self.open.saturating_sub(samples.len());
            out.extend_from_slice(samples);
        } else {
            self.before.extend(samples);
            let most = seconds(BEFORE_SECONDS, self.rate);
            let over = self.before.len().saturating_sub(most);
            self.before.drain(..over);
        }
    }

    /// Closes it: what comes next belongs to another question.
    pub fn close(&mut self) {
        self.open = 0;
        self.before.clear();
    }

    /// Whether sound is being let through.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.open > 0 || self.rule == Rule::Always
    }

    /// How often it has opened.
    #[must_use]
    pub fn starts(&self) -> u32 {
        self.starts
    }

    /// Whether one of the frames that end in these samples is a voice.
    fn voice(&mut self, samples: &[i16]) -> bool {
        let mut any = false;
        for &sample in samples {
            self.part.0 += i64::from(sample);
            self.part.1 += 1;
            self.phase += RATE;
            while self.phase >= self.rate {
                self.phase -= self.rate;
                // Samples between two of the detector's are averaged; at a rate
                // below its own, one stands for several.
                let mean = self.part.0 / self.part.1.max(1);
                self.frame.push(i16::try_from(mean).unwrap_or(0));
                if self.frame.len() == FRAME {
                    any |= self.judge();
                    self.frame.clear();
                }
                if self.phase < self.rate {
                    self.part = (0, 0);
                }
            }
        }
        any
    }

    fn judge(&mut self) -> bool {
        match self.rule {
            Rule::Always => true,
            Rule::Voice(score) => self.detector.predict_i16(&self.frame) >= score,
            Rule::Level(above) => self.stands_out(above),
            Rule::Both(above, score) => {
                // Both keep their memory up to date, whatever the other says.
                let stands_out = self.stands_out(above);
                self.detector.predict_i16(&self.frame) >= score && stands_out
            }
        }
    }

    /// Whether the frame is so many decibels above the noise floor, which it then changes.
    fn stands_out(&mut self, above: f32) -> bool {
        let db = level(&self.frame);
        let floor = *self.floor.get_or_insert(db);
        // It follows a quieter frame quickly and climbs by 5 dB a second.
        let change = if db < floor { (db - floor) * 0.3 } else { 0.08 };
        self.floor = Some(floor + change);
        db >= floor + above
    }
}

fn level(frame: &[i16]) -> f32 {
    let squares: f64 = frame.iter().map(|&step| f64::from(step).powi(2)).sum();
    let power = squares / frame.len().max(1) as f64 / f64::from(1_u32 << 30);
    #[expect(clippy::cast_possible_truncation, reason = "a number of decibels")]
    let db = (10.0 * power.max(1e-10).log10()) as f32;
    db
}

/// Samples in so many seconds.
pub(super) fn seconds(seconds: f64, rate: u32) -> usize {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a small positive number"
    )]
    let samples = (seconds * f64::from(rate)) as usize;
    samples
}

//! Tones without words, told apart by shape: how many, how long, which way they go.
//!
//! Pure: a tone in, samples out. No tone leans on its height alone, since height is
//! what a noisy place and an old ear take first; each pair differs in the number of
//! beats, their rhythm or their contour, which ISO 11429 (auditory signals told apart
//! by pattern) asks for, from memory. All energy lies under [`CEILING_HZ`]: the loss of
//! hearing with age grows from about 3 kHz upward (ISO 7029, from memory), noise does
//! its first harm at 3 to 6 kHz (ISO 1999, from memory), and ISO 7731 wants the main
//! components of a signal for people with loss below 1500 Hz (from memory): the
//! fundamentals here are 400 to 1200 Hz.

use std::f32::consts::TAU;

/// No tone has noticeable energy above this, in hertz.
pub const CEILING_HZ: f32 = 3_000.0;

/// A state that is told without words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Tone {
    /// The ear opens: speak now.
    Listening,
    /// Something was heard and is being looked at.
    Heard,
    /// A value waits for its yes.
    Asking,
    /// It is on the disk.
    Kept,
    /// Nothing was stored.
    Refused,
    /// Nothing is heard any more: use the keypad.
    MicrophoneLost,
    /// A second of a hold has passed.
    Hold,
}

/// One beat of a tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beat {
    /// From where to where it glides, in hertz.
    pub hertz: (f32, f32),
    /// How long it sounds, in milliseconds.
    pub sounds_ms: u32,
    /// Silence behind it, in milliseconds.
    pub rests_ms: u32,
}

impl Tone {
    /// Every tone.
    pub const ALL: [Self; 7] = [
        Self::Listening,
        Self::Heard,
        Self::Asking,
        Self::Kept,
        Self::Refused,
        Self::MicrophoneLost,
        Self::Hold,
    ];

    /// Its beats.
    #[must_use]
    pub fn beats(self) -> &'static [Beat] {
        const fn beat(from: f32, to: f32, sounds_ms: u32, rests_ms: u32) -> Beat {
            Beat {
                hertz: (from, to),
                sounds_ms,
                rests_ms,
            }
        }
        // One short; two very short; one long and rising; short then long and higher; two long and
        // falling; long, short, short, long; a tick.
        const LISTENING: [Beat; 1] = [beat(700.0, 700.0, 120, 0)];
        const HEARD: [Beat; 2] = [beat(700.0, 700.0, 45, 45), beat(700.0, 700.0, 45, 0)];
        const ASKING: [Beat; 1] = [beat(500.0, 1_000.0, 320, 0)];
        const KEPT: [Beat; 2] = [beat(600.0, 600.0, 80, 30), beat(900.0, 900.0, 220, 0)];
        const REFUSED: [Beat; 2] = [beat(800.0, 450.0, 200, 70), beat(800.0, 450.0, 200, 0)];
        const LOST: [Beat; 4] = [
            beat(600.0, 600.0, 300, 80),
            beat(600.0, 600.0, 80, 80),
            beat(600.0, 600.0, 80, 80),
            beat(600.0, 600.0, 300, 0),
        ];
        const HOLD: [Beat; 1] = [beat(1_000.0, 1_000.0, 25, 0)];
        match self {
            Self::Listening => &LISTENING,
            Self::Heard => &HEARD,
            Self::Asking => &ASKING,
            Self::Kept => &KEPT,
            Self::Refused => &REFUSED,
            Self::MicrophoneLost => &LOST,
            Self::Hold => &HOLD,
        }
    }

    /// Its sound at `rate` samples a second, 1.0 being full scale.
    #[must_use]
    pub fn samples(self, rate: u32) -> Vec<f32> {
        let count = |ms: u32| (ms * rate / 1_000) as usize;
        let mut out = Vec::new();
        for beat in self.beats() {
            let length = count(beat.sounds_ms);
            // A slow rise and fall, so that the ends add no high part of their own.
            let ramp = count(10).min(length / 2).max(1);
            let mut phase = 0.0_f32;
            for at in 0..length {
                let way = at as f32 / length as f32;
                phase += TAU * (beat.hertz.0 + (beat.hertz.1 - beat.hertz.0) * way) / rate as f32;
                let edge = at.min(length - 1 - at).min(ramp) as f32 / ramp as f32;
                let swell = 0.5 - 0.5 * (std::f32::consts::PI * edge).cos();
                // A second part an octave up carries through low hum, and stays under the ceiling.
                out.push(0.22 * swell * (phase.sin() + 0.35 * (2.0 * phase).sin()));
            }
            out.extend(std::iter::repeat_n(0.0, count(beat.rests_ms)));
        }
        out
    }
}

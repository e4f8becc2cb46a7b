//! Everything that touches the world: one file, one device.

pub mod clock;
#[cfg(feature = "voice")]
pub mod ear;
pub mod index;
pub mod keys;
#[cfg(feature = "voice")]
pub mod listening;
#[cfg(feature = "voice")]
pub mod live_ear;
pub mod merging;
#[cfg(feature = "voice")]
pub mod mic;
#[cfg(feature = "voice")]
pub mod own_voice;
pub mod plain;
#[cfg(feature = "voice")]
pub mod recording;
pub mod runs;
pub mod screen;
pub mod settings;
pub mod signals;
pub mod signing_key;
#[cfg(feature = "voice")]
pub mod sound;
#[cfg(feature = "voice")]
pub mod voice;

/// Prints a message to standard error. Where that cannot be written there is nobody to tell, and
/// that must not end the program in a panic, as `eprintln!` would.
pub fn tell(text: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stderr(), "sayback: {text}");
}

/// Samples as a WAV file, mono, 16 bits. `None` if they cannot be written as one, or in a build without the ear.
#[must_use]
pub fn wav(samples: &[i16], rate: u32) -> Option<Vec<u8>> {
    #[cfg(feature = "voice")]
    {
        let mut out = std::io::Cursor::new(Vec::new());
        sound::write_wav(&mut out, rate, samples).ok()?;
        Some(out.into_inner())
    }
    #[cfg(not(feature = "voice"))]
    {
        let _ = (samples, rate);
        None
    }
}

/// The loudest tenth of a second of an utterance, decibels below full scale (root mean square);
/// None where there is none, or only silence. Beside another utterance through the same microphone
/// it tells how near the mouth was, as far as no automatic gain evens it out.
#[must_use]
pub fn loudest_tenth_db(samples: &[i16], rate: u32) -> Option<f32> {
    let tenth = (rate / 10).max(1) as usize;
    let power = |window: &[i16]| {
        let squares: f64 = window.iter().map(|&step| f64::from(step).powi(2)).sum();
        squares / tenth as f64 / f64::from(1_u32 << 30)
    };
    let loudest = (0..=samples.len().checked_sub(tenth)?)
        .step_by((tenth / 10).max(1))
        .map(|at| power(&samples[at..at + tenth]))
        .fold(0.0, f64::max);
    #[expect(clippy::cast_possible_truncation, reason = "a number of decibels")]
    let db = (10.0 * loudest.log10()) as f32;
    (loudest > 0.0).then_some(db)
}

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

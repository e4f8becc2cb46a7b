//! Everything that touches the world: one file, one device.

pub mod clock;
pub mod keys;
pub mod plain;
pub mod runs;
pub mod screen;
pub mod signals;

/// A plain RIFF/WAVE file, 16-bit PCM, mono, in memory; `None` if it would not
/// fit the 32-bit sizes of the format, or the rate is 0.
///
/// Layout: "Multimedia Programming Interface and Data Specifications 1.0" (IBM and Microsoft, 1991), PCM.
#[must_use]
pub fn wav(samples: &[i16], rate: u32) -> Option<Vec<u8>> {
    let bytes = u32::try_from(samples.len()).ok()?.checked_mul(2)?;
    let whole = bytes.checked_add(36)?;
    let each_second = rate.checked_mul(2).filter(|each| *each > 0)?;
    let mut file = Vec::with_capacity(samples.len() * 2 + 44);
    file.extend_from_slice(b"RIFF");
    file.extend_from_slice(&whole.to_le_bytes());
    file.extend_from_slice(b"WAVEfmt ");
    file.extend_from_slice(&16_u32.to_le_bytes());
    // PCM, one channel.
    file.extend_from_slice(&1_u16.to_le_bytes());
    file.extend_from_slice(&1_u16.to_le_bytes());
    file.extend_from_slice(&rate.to_le_bytes());
    file.extend_from_slice(&each_second.to_le_bytes());
    // Bytes a frame, bits a sample.
    file.extend_from_slice(&2_u16.to_le_bytes());
    file.extend_from_slice(&16_u16.to_le_bytes());
    file.extend_from_slice(b"data");
    file.extend_from_slice(&bytes.to_le_bytes());
    for sample in samples {
        file.extend_from_slice(&sample.to_le_bytes());
    }
    Some(file)
}

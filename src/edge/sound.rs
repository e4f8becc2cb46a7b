//! Recorded sound: WAV and FLAC files → 16-bit mono samples, and clips → WAV. No state.

use std::io::Write;
use std::path::{Path, PathBuf};

/// Sound with one channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sound {
    /// Samples a second, [`RATES`].
    pub rate: u32,
    /// 16-bit samples.
    pub samples: Vec<i16>,
}

impl Sound {
    /// How long it lasts, in seconds.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.samples.len() as f64 / f64::from(self.rate)
    }
}

/// The rates that are read, in samples a second.
pub const RATES: std::ops::RangeInclusive<u32> = 8_000..=48_000;

/// The longest recording that is read: two hours at the highest rate.
const MOST_SAMPLES: usize = 2 * 3600 * 48_000;

/// Why a sound file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SoundError {
    /// The file cannot be opened or read.
    #[error("{path}: cannot be read ({fault}). Check the name and the permissions.")]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system said.
        fault: std::io::Error,
    },
    /// The file is neither WAV nor FLAC.
    #[error(
        "{path}: is neither a WAV nor a FLAC file. Convert it, for example with: sox {path} -r 16000 -c 1 -b 16 out.wav"
    )]
    Unknown {
        /// The file.
        path: PathBuf,
    },
    /// The file is WAV or FLAC, but of a kind that is not read.
    #[error(
        "{path}: {found}, but Sayback reads 16-bit sound of 1 or 2 channels at 8000 to 48000 samples a second. Convert it, for example with: sox {path} -r 16000 -c 1 -b 16 out.wav"
    )]
    Kind {
        /// The file.
        path: PathBuf,
        /// What was found.
        found: String,
    },
    /// The file breaks off or is damaged.
    #[error(
        "{path}: is damaged at sample {at} ({fault}). Make the recording again, or cut it before that place."
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The number of good samples before the damage.
        at: usize,
        /// What the decoder said.
        fault: String,
    },
    /// The file holds no sound.
    #[error("{path}: holds no sound. Make the recording again.")]
    Empty {
        /// The file.
        path: PathBuf,
    },
}

/// Reads a WAV or FLAC file; which of the two is seen from its first bytes, not
/// from its name. Two channels are averaged.
///
/// # Errors
/// See [`SoundError`]; each names the file and says what to do.
pub fn read(path: &Path) -> Result<Sound, SoundError> {
    let bytes = std::fs::read(path).map_err(|fault| SoundError::Read {
        path: path.to_owned(),
        fault,
    })?;
    if bytes.starts_with(b"RIFF") {
        read_wav(path, &bytes)
    } else if bytes.starts_with(b"fLaC") {
        read_flac(path, &bytes)
    } else {
        Err(SoundError::Unknown {
            path: path.to_owned(),
        })
    }
}

/// Writes one channel of 16-bit samples as WAV.
///
/// # Errors
/// What the writer reports.
pub fn write_wav<W: Write + std::io::Seek>(
    out: W,
    rate: u32,
    samples: &[i16],
) -> Result<(), hound::Error> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::new(out, spec)?;
    for &sample in samples {
        writer.write_sample(sample)?;
    }
    writer.finalize()
}

fn read_wav(path: &Path, bytes: &[u8]) -> Result<Sound, SoundError> {
    let damaged = |at, fault: hound::Error| SoundError::Damaged {
        path: path.to_owned(),
        at,
        fault: fault.to_string(),
    };
    let mut reader = hound::WavReader::new(bytes).map_err(|fault| damaged(0, fault))?;
    let spec = reader.spec();
    let float = spec.sample_format == hound::SampleFormat::Float;
    check(
        path,
        u32::from(spec.channels),
        spec.sample_rate,
        u32::from(spec.bits_per_sample),
        float,
    )?;
    // The header's length is not believed: hound accepts one of 4 GiB for 8 bytes.
    let mut raw = Vec::new();
    for sample in reader.samples::<i16>() {
        raw.push(sample.map_err(|fault| damaged(raw.len(), fault))?);
        if raw.len() > MOST_SAMPLES {
            return Err(too_long(path));
        }
    }
    mono(path, spec.sample_rate, u32::from(spec.channels), raw)
}

fn read_flac(path: &Path, bytes: &[u8]) -> Result<Sound, SoundError> {
    let damaged = |at, fault: claxon::Error| SoundError::Damaged {
        path: path.to_owned(),
        at,
        fault: fault.to_string(),
    };
    let mut reader = claxon::FlacReader::new(bytes).map_err(|fault| damaged(0, fault))?;
    let info = reader.streaminfo();
    check(
        path,
        info.channels,
        info.sample_rate,
        info.bits_per_sample,
        false,
    )?;
    let mut raw = Vec::new();
    for sample in reader.samples() {
        let sample = sample.map_err(|fault| damaged(raw.len(), fault))?;
        raw.push(i16::try_from(sample).map_err(|_| SoundError::Damaged {
            path: path.to_owned(),
            at: raw.len(),
            fault: format!("the sample {sample} does not fit into 16 bits"),
        })?);
        if raw.len() > MOST_SAMPLES {
            return Err(too_long(path));
        }
    }
    // A file cut between two frames decodes without an error; its header tells.
    let whole = info.samples.map(|each| each * u64::from(info.channels));
    if whole.is_some_and(|whole| whole != raw.len() as u64) {
        return Err(SoundError::Damaged {
            path: path.to_owned(),
            at: raw.len(),
            fault: "it ends before its header says".to_owned(),
        });
    }
    mono(path, info.sample_rate, info.channels, raw)
}

fn check(path: &Path, channels: u32, rate: u32, bits: u32, float: bool) -> Result<(), SoundError> {
    if (1..=2).contains(&channels) && RATES.contains(&rate) && bits == 16 && !float {
        return Ok(());
    }
    let kind = if float { "floating-point " } else { "" };
    Err(SoundError::Kind {
        path: path.to_owned(),
        found: format!(
            "{bits}-bit {kind}sound of {channels} channel{} at {rate} samples a second",
            if channels == 1 { "" } else { "s" }
        ),
    })
}

fn too_long(path: &Path) -> SoundError {
    SoundError::Kind {
        path: path.to_owned(),
        found: "more than two hours of sound".to_owned(),
    }
}

fn mono(path: &Path, rate: u32, channels: u32, raw: Vec<i16>) -> Result<Sound, SoundError> {
    let samples: Vec<i16> = if channels == 2 {
        raw.chunks_exact(2)
            .map(|pair| i16::midpoint(pair[0], pair[1]))
            .collect()
    } else {
        raw
    };
    if samples.is_empty() {
        return Err(SoundError::Empty {
            path: path.to_owned(),
        });
    }
    Ok(Sound { rate, samples })
}

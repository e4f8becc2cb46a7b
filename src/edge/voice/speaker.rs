//! The loudspeaker: an output stream that plays what is put into its ring.
//!
//! State: the open stream, and three numbers shared with its callback. The callback takes
//! from the ring and does nothing else; where it is told to be silent it empties the ring,
//! so that what was to come is gone within one period of the device.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread;
use std::time::Duration;

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig};
use rtrb::{Consumer, Producer, RingBuffer};

/// How long the device is left alone after a failure, which may come without end.
const BETWEEN_FAILURES: Duration = Duration::from_millis(5);

/// Why nothing is heard. Each says what happened and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SpeakerError {
    /// There is none, or it cannot be opened.
    #[error(
        "No voice: the loudspeaker {device} {happened}. The job goes on, on the screen. {remedy}{}",
        in_brackets(said)
    )]
    Device {
        /// Its name.
        device: String,
        /// What happened.
        happened: &'static str,
        /// What to do.
        remedy: &'static str,
        /// What the system said.
        said: String,
    },
    /// It takes no format that is understood.
    #[error(
        "No voice: the loudspeaker {device} takes no sound that Sayback can give ({offers}). The job goes on, on the screen. Choose another as the system's default."
    )]
    Format {
        /// Its name.
        device: String,
        /// What it takes.
        offers: String,
    },
    /// It is open and takes no sound.
    #[error(
        "No voice: the loudspeaker {device} has stopped taking sound. The job goes on, on the screen. Plug it in again; the next sentence tries it again."
    )]
    Silent {
        /// Its name.
        device: String,
    },
}

fn in_brackets(said: &str) -> String {
    if said.is_empty() {
        String::new()
    } else {
        format!(" (The system says: {said})")
    }
}

/// What is shared with the callback.
#[derive(Default)]
struct Shared {
    /// Empty the ring.
    cut: AtomicBool,
    /// The stream has ended by itself.
    failed: AtomicBool,
    /// Frames that were taken from the ring and given to the device.
    played: AtomicU64,
    /// Times that the device asked for sound.
    calls: AtomicU64,
}

/// An open loudspeaker.
pub struct Speaker {
    device: String,
    rate: u32,
    ring: Producer<f32>,
    shared: Arc<Shared>,
    /// Frames that were put into the ring and not cut off.
    given: u64,
    /// Plays as long as it is kept.
    _stream: cpal::Stream,
}

impl Speaker {
    /// Opens the system's default loudspeaker, or the one of this identifier or name.
    ///
    /// # Errors
    /// [`SpeakerError::Device`], [`SpeakerError::Format`].
    pub fn open(wanted: Option<&str>) -> Result<Self, SpeakerError> {
        let host = cpal::default_host();
        let missing = |device: &str| SpeakerError::Device {
            device: device.to_owned(),
            happened: "is not there",
            remedy: "Plug one in, or leave the voice out with --quiet.",
            said: String::new(),
        };
        let id = |device: &cpal::Device| {
            device
                .id()
                .map_or_else(|_| "(default)".to_owned(), |id| id.id().to_owned())
        };
        let device = match wanted {
            None => host
                .default_output_device()
                .filter(|device| id(device) != "null")
                .ok_or_else(|| missing("(default)"))?,
            Some(wanted) => host
                .output_devices()
                .map_err(|error| fault(wanted, &error))?
                .find(|device| {
                    id(device) == wanted
                        || device
                            .description()
                            .is_ok_and(|known| known.name() == wanted)
                })
                .ok_or_else(|| missing(wanted))?,
        };
        let name = id(&device);
        let config = device
            .default_output_config()
            .map_err(|error| fault(&name, &error))?;
        let (channels, rate) = (config.channels(), config.sample_rate());
        // A fiftieth of a second: short enough to be cut at once. A device that will not have it chooses.
        let try_with = |buffer_size| {
            let config_of = StreamConfig {
                channels,
                sample_rate: rate,
                buffer_size,
            };
            build(&device, &name, config_of, config.sample_format())
        };
        let (stream, ring, shared) = try_with(BufferSize::Fixed(rate / 50))
            .or_else(|_refused| try_with(BufferSize::Default))?;
        Ok(Self {
            device: name,
            rate,
            ring,
            shared,
            given: 0,
            _stream: stream,
        })
    }

    /// Its name.
    #[must_use]
    pub fn device(&self) -> &str {
        &self.device
    }

    /// Samples a second that it plays.
    #[must_use]
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Puts as much of `sound` into the ring as there is room for; says how much.
    pub fn give(&mut self, sound: &[f32]) -> usize {
        let room = self.ring.slots().min(sound.len());
        for sample in &sound[..room] {
            // There is room: the ring has this one producer.
            let _ = self.ring.push(*sample);
        }
        self.given += room as u64;
        room
    }

    /// True if everything given has been played.
    #[must_use]
    pub fn is_done(&self) -> bool {
        self.shared.played.load(Ordering::Acquire) >= self.given
    }

    /// Silence from the next period on.
    pub fn cut(&mut self) {
        self.shared.cut.store(true, Ordering::Release);
    }

    /// True until the callback has emptied the ring.
    #[must_use]
    pub fn is_cutting(&self) -> bool {
        self.shared.cut.load(Ordering::Acquire)
    }

    /// True if the stream has ended by itself.
    #[must_use]
    pub fn has_failed(&self) -> bool {
        self.shared.failed.load(Ordering::Acquire)
    }

    /// Times that the device has asked for sound: a number that stands still is a device that has stopped.
    #[must_use]
    pub fn calls(&self) -> u64 {
        self.shared.calls.load(Ordering::Acquire)
    }
}

type Built = (cpal::Stream, Producer<f32>, Arc<Shared>);

fn build(
    device: &cpal::Device,
    name: &str,
    config: StreamConfig,
    format: SampleFormat,
) -> Result<Built, SpeakerError> {
    fn stream<S: SizedSample + FromSample<f32>>(
        device: &cpal::Device,
        config: StreamConfig,
        mut ring: Consumer<f32>,
        shared: &Arc<Shared>,
    ) -> Result<cpal::Stream, cpal::Error> {
        let channels = usize::from(config.channels).max(1);
        let (playing, failing) = (Arc::clone(shared), Arc::clone(shared));
        device.build_output_stream(
            config,
            move |frames: &mut [S], _: &_| {
                playing.calls.fetch_add(1, Ordering::AcqRel);
                let mut taken = 0;
                if playing.cut.load(Ordering::Acquire) {
                    while ring.pop().is_ok() {
                        taken += 1;
                    }
                    playing.cut.store(false, Ordering::Release);
                }
                for frame in frames.chunks_mut(channels) {
                    let sample = ring.pop().map_or(0.0, |sample| {
                        taken += 1;
                        sample
                    });
                    frame.fill(S::from_sample(sample));
                }
                playing.played.fetch_add(taken, Ordering::AcqRel);
            },
            move |error: cpal::Error| match error.kind() {
                ErrorKind::Xrun | ErrorKind::RealtimeDenied => {}
                // ALSA's plugin for sound servers reports a failure for as long as the server has
                // told no delay yet (alsa-plugins 1.2.7, `pcm_pulse.c`: pulse_delay), again and
                // again, and plays once it has. One that stays is seen by the calls that stand still.
                ErrorKind::BackendError => thread::sleep(BETWEEN_FAILURES),
                _ => failing.failed.store(true, Ordering::Release),
            },
            None,
        )
    }
    // A tenth of a second: the voice's thread looks every hundredth.
    let (producer, ring) = RingBuffer::new((config.sample_rate / 10) as usize);
    let shared = Arc::new(Shared::default());
    let built = match format {
        SampleFormat::F32 => stream::<f32>(device, config, ring, &shared),
        SampleFormat::I16 => stream::<i16>(device, config, ring, &shared),
        SampleFormat::I32 => stream::<i32>(device, config, ring, &shared),
        SampleFormat::U16 => stream::<u16>(device, config, ring, &shared),
        SampleFormat::U8 => stream::<u8>(device, config, ring, &shared),
        other => {
            return Err(SpeakerError::Format {
                device: name.to_owned(),
                offers: other.to_string(),
            });
        }
    }
    .map_err(|error| fault(name, &error))?;
    built.play().map_err(|error| fault(name, &error))?;
    Ok((built, producer, shared))
}

fn fault(device: &str, error: &cpal::Error) -> SpeakerError {
    let (happened, remedy) = match error.kind() {
        ErrorKind::DeviceBusy => (
            "is in use by another program",
            "Close that program; the next sentence tries it again.",
        ),
        ErrorKind::PermissionDenied => (
            "may not be used by this user",
            "Allow sound for this user; on Linux put the user into the group \"audio\".",
        ),
        ErrorKind::DeviceNotAvailable => (
            "is not there",
            "Plug one in, or leave the voice out with --quiet.",
        ),
        ErrorKind::HostUnavailable => (
            "cannot be reached: the sound system is not running",
            "Start the sound system of this machine.",
        ),
        _ => (
            "cannot be opened",
            "Choose another as the system's default, or leave the voice out with --quiet.",
        ),
    };
    SpeakerError::Device {
        device: device.to_owned(),
        happened,
        remedy,
        said: error.message().unwrap_or_default().to_owned(),
    }
}

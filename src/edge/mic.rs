//! The microphone: which one, in which format, and what is wrong with it.
//!
//! State: none here but which microphone was asked for; an open one is a
//! [`Capture`], which the ear's thread owns. `cpal` is named in this folder only.
//!
//! What cpal 0.18.2 does decides some of what is here. Without a sound card it
//! still names a default input, which then cannot be opened. A sound server's
//! source that is taken away is not an end of the stream but the same error for
//! ever, hundreds of thousands of times a second. A stream may also fall silent
//! without any error; that is for whoever reads to notice.

#[cfg(target_os = "linux")]
mod by_clock;
mod fault;
mod intake;

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind, SampleFormat, StreamConfig};

pub use fault::Fault;
pub use intake::{Alarm, Capture, Intake, Level, LevelMeter, RING_SECONDS, Sample, Taken, connect};

/// The microphone that was asked for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum MicChoice {
    /// The one that the system gives.
    #[default]
    Default,
    /// One by its identifier or its name, as [`devices`] lists them.
    Named(String),
}

/// Something that can be opened to give sound: a microphone, or what a test puts
/// in its place.
pub trait Source {
    /// Opens it anew. What was opened before has been dropped.
    ///
    /// # Errors
    /// Why there is no sound.
    fn open(&mut self) -> Result<Capture, MicError>;
}

impl Source for MicChoice {
    fn open(&mut self) -> Result<Capture, MicError> {
        open(self)
    }
}

/// Why there is no sound. Each message says what happened and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MicError {
    /// The system reported a fault.
    #[error("microphone {device}: {}; the keypad goes on. {}{}", fault.happened(), fault.remedy(), in_brackets(said))]
    Device {
        /// Its name.
        device: String,
        /// What is wrong.
        fault: Fault,
        /// What the system said; may be empty.
        said: String,
    },
    /// No microphone has the name.
    #[error(
        "microphone {wanted}: there is none of that name; the keypad goes on. Give one of: {}.",
        or_none(there)
    )]
    NoSuchDevice {
        /// The name that was given.
        wanted: String,
        /// The names that are there.
        there: Vec<String>,
    },
    /// The name fits several.
    #[error("microphone {wanted}: the name fits {}; the keypad goes on. Give the whole name of one.", which.join(", "))]
    SeveralDevices {
        /// The name that was given.
        wanted: String,
        /// Those that it fits.
        which: Vec<String>,
    },
    /// The device offers no format that is understood.
    #[error(
        "microphone {device}: it offers {}; the keypad goes on. Sayback needs 8000 to 48000 samples a second as i16, i32, f32 or u16: choose the \"plughw\" or \"default\" form of the device, which converts.",
        or_none(offers)
    )]
    NoUsableFormat {
        /// Its name.
        device: String,
        /// What it offers.
        offers: Vec<String>,
    },
    /// The stream is open but gives no samples.
    #[error(
        "microphone {device}: no sound comes from it any more; the keypad goes on. Check its plug and its mute switch; Sayback keeps trying."
    )]
    Silent {
        /// Its name.
        device: String,
    },
    /// The sound library panicked.
    #[error(
        "microphone {device}: the sound library failed; the keypad goes on. Choose another microphone, or start Sayback again."
    )]
    Library {
        /// Its name.
        device: String,
    },
}

fn or_none(list: &[String]) -> String {
    if list.is_empty() {
        "nothing".to_owned()
    } else {
        list.join(", ")
    }
}

fn in_brackets(said: &str) -> String {
    if said.is_empty() {
        String::new()
    } else {
        format!(" (The system says: {said})")
    }
}

/// A microphone that can be chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MicDevice {
    /// What names it without doubt.
    pub id: String,
    /// What the system calls it.
    pub name: String,
}

/// The microphones of this machine, in the system's order, without ALSA's `null`
/// (which gives silence and is no microphone).
///
/// # Errors
/// [`MicError::Device`] when the sound system cannot be asked.
pub fn devices() -> Result<Vec<MicDevice>, MicError> {
    Ok(inputs()?.iter().filter_map(described).collect())
}

fn inputs() -> Result<Vec<cpal::Device>, MicError> {
    let listed = cpal::default_host()
        .input_devices()
        .map_err(|error| fault_of("(any)", &error))?;
    Ok(listed
        .filter(|device| device.id().is_ok_and(|id| id.id() != "null"))
        .collect())
}

fn described(device: &cpal::Device) -> Option<MicDevice> {
    let id = device.id().ok()?.id().to_owned();
    let name = device
        .description()
        .map_or_else(|_| id.clone(), |known| known.name().to_owned());
    Some(MicDevice { id, name })
}

/// Which of `there` a name means: the identifier itself, else the whole name,
/// else the only one whose name or identifier holds it; capitals do not matter.
///
/// # Errors
/// [`MicError::NoSuchDevice`], [`MicError::SeveralDevices`].
pub fn find(wanted: &str, there: &[MicDevice]) -> Result<usize, MicError> {
    if let Some(place) = there.iter().position(|one| one.id == wanted) {
        return Ok(place);
    }
    let lower = wanted.to_lowercase();
    let fits = |test: &dyn Fn(&str) -> bool| -> Vec<usize> {
        (0..there.len())
            .filter(|&place| {
                test(&there[place].name.to_lowercase()) || test(&there[place].id.to_lowercase())
            })
            .collect()
    };
    let mut found = fits(&|text| text == lower);
    if found.is_empty() && !lower.trim().is_empty() {
        found = fits(&|text| text.contains(&lower));
    }
    let ids = |places: &[usize]| {
        places
            .iter()
            .map(|&place| there[place].id.clone())
            .collect()
    };
    match found.as_slice() {
        [one] => Ok(*one),
        [] => Err(MicError::NoSuchDevice {
            wanted: wanted.to_owned(),
            there: there.iter().map(|one| one.id.clone()).collect(),
        }),
        several => Err(MicError::SeveralDevices {
            wanted: wanted.to_owned(),
            which: ids(several),
        }),
    }
}

/// A format that a device records in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Offer {
    /// Channels.
    pub channels: u16,
    /// The least and the most samples a second.
    pub rates: (u32, u32),
    /// How a sample is written; none for a form that is not understood.
    pub form: Option<Form>,
}

/// How a sample is written, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Form {
    /// 16 bits, signed: what the ear takes.
    I16,
    /// 32 bits, signed.
    I32,
    /// 32 bits, floating point.
    F32,
    /// 16 bits, unsigned.
    U16,
}

impl Form {
    fn of(format: SampleFormat) -> Option<Self> {
        match format {
            SampleFormat::I16 => Some(Self::I16),
            SampleFormat::I32 => Some(Self::I32),
            SampleFormat::F32 => Some(Self::F32),
            SampleFormat::U16 => Some(Self::U16),
            _ => None,
        }
    }
}

/// The rate that the ear was trained at.
const BEST_RATE: u32 = 16_000;

/// The rates that the ear takes.
const RATES: (u32, u32) = (8_000, 48_000);

/// The format to record in: 16000 samples a second if there is, else the
/// device's own rate, else the highest up to 48000; then the fewest channels;
/// then the first [`Form`]. Gives channels, rate and form.
#[must_use]
pub fn choose(offers: &[Offer], own_rate: Option<u32>) -> Option<(u16, u32, Form)> {
    let usable: Vec<(&Offer, Form)> = offers
        .iter()
        .filter(|offer| offer.channels > 0)
        .filter_map(|offer| Some((offer, offer.form?)))
        .collect();
    let offered = |rate: u32| {
        (RATES.0..=RATES.1).contains(&rate)
            && usable
                .iter()
                .any(|(offer, _)| (offer.rates.0..=offer.rates.1).contains(&rate))
    };
    let highest = usable
        .iter()
        .map(|(offer, _)| offer.rates.1.min(RATES.1))
        .filter(|&rate| offered(rate))
        .max();
    let rate = Some(BEST_RATE)
        .filter(|&rate| offered(rate))
        .or(own_rate.filter(|&rate| offered(rate)))
        .or(highest)?;
    usable
        .iter()
        .filter(|(offer, _)| (offer.rates.0..=offer.rates.1).contains(&rate))
        .map(|&(offer, form)| (offer.channels, rate, form))
        .min_by_key(|&(channels, _, form)| (channels, form))
}

/// Opens a microphone and starts it.
///
/// # Errors
/// Any [`MicError`] but [`MicError::Silent`].
pub fn open(choice: &MicChoice) -> Result<Capture, MicError> {
    let device = match choice {
        MicChoice::Default => {
            cpal::default_host()
                .default_input_device()
                .ok_or_else(|| MicError::Device {
                    device: "(default)".to_owned(),
                    fault: ErrorKind::DeviceNotAvailable.into(),
                    said: String::new(),
                })?
        }
        MicChoice::Named(wanted) => {
            let mut there = inputs()?;
            let known: Vec<MicDevice> = there.iter().filter_map(described).collect();
            let id = &known[find(wanted, &known)?].id;
            let place = there
                .iter()
                .position(|one| one.id().is_ok_and(|its| its.id() == id));
            there.swap_remove(place.ok_or_else(|| MicError::NoSuchDevice {
                wanted: wanted.clone(),
                there: Vec::new(),
            })?)
        }
    };
    let name = described(&device).map_or_else(|| "(default)".to_owned(), |known| known.id);
    start(&device, &name)
}

fn start(device: &cpal::Device, name: &str) -> Result<Capture, MicError> {
    let offered: Vec<_> = device
        .supported_input_configs()
        .map_err(|error| fault_of(name, &error))?
        .collect();
    let offers: Vec<Offer> = offered
        .iter()
        .map(|range| Offer {
            channels: range.channels(),
            rates: (range.min_sample_rate(), range.max_sample_rate()),
            form: Form::of(range.sample_format()),
        })
        .collect();
    let own_rate = device
        .default_input_config()
        .ok()
        .map(|own| own.sample_rate());
    let (channels, rate, form) = choose(&offers, own_rate).ok_or_else(|| {
        let mut texts: Vec<String> = offered
            .iter()
            .map(|range| {
                format!(
                    "{} at {} to {}",
                    range.sample_format(),
                    range.min_sample_rate(),
                    range.max_sample_rate()
                )
            })
            .collect();
        texts.dedup();
        MicError::NoUsableFormat {
            device: name.to_owned(),
            offers: texts,
        }
    })?;
    // A tenth of a second at a time: quick enough to answer, and long enough
    // that a busy machine does not overrun. A device that will not have it
    // chooses for itself.
    let tenth = BufferSize::Fixed(rate / 10);
    build(device, name, (channels, rate, form), tenth)
        .or_else(|_refused| build(device, name, (channels, rate, form), BufferSize::Default))
}

fn build(
    device: &cpal::Device,
    name: &str,
    (channels, rate, form): (u16, u32, Form),
    buffer_size: BufferSize,
) -> Result<Capture, MicError> {
    fn stream<S: cpal::SizedSample + Sample + 'static>(
        device: &cpal::Device,
        config: StreamConfig,
        mut intake: Intake,
        alarm: Alarm,
    ) -> Result<cpal::Stream, cpal::Error> {
        device.build_input_stream(
            config,
            move |frames: &[S], _: &_| intake.take(frames),
            move |error: cpal::Error| alarm.note(error.kind().into()),
            None,
        )
    }
    #[cfg(target_os = "linux")]
    if !by_clock::is_card(name)
        && let Some(capture) = build_by_clock(name, (channels, rate, form))
    {
        return Ok(capture);
    }
    let config = StreamConfig {
        channels,
        sample_rate: rate,
        buffer_size,
    };
    let (intake, alarm, capture) = connect(name, channels, rate);
    let stream = match form {
        Form::I16 => stream::<i16>(device, config, intake, alarm),
        Form::I32 => stream::<i32>(device, config, intake, alarm),
        Form::F32 => stream::<f32>(device, config, intake, alarm),
        Form::U16 => stream::<u16>(device, config, intake, alarm),
    }
    .map_err(|error| fault_of(name, &error))?;
    stream.play().map_err(|error| fault_of(name, &error))?;
    Ok(capture.keeping(stream))
}

#[cfg(target_os = "linux")]
fn build_by_clock(name: &str, (channels, rate, form): (u16, u32, Form)) -> Option<Capture> {
    let (intake, alarm, capture) = connect(name, channels, rate);
    let format = (channels, rate);
    let reader = match form {
        Form::I16 => by_clock::open::<i16>(name, format, intake, alarm),
        Form::I32 => by_clock::open::<i32>(name, format, intake, alarm),
        Form::F32 => by_clock::open::<f32>(name, format, intake, alarm),
        Form::U16 => by_clock::open::<u16>(name, format, intake, alarm),
    };
    Some(capture.keeping(reader?))
}

fn fault_of(device: &str, error: &cpal::Error) -> MicError {
    MicError::Device {
        device: device.to_owned(),
        fault: error.kind().into(),
        said: error.message().unwrap_or_default().to_owned(),
    }
}

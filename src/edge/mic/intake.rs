//! From a device's callback to the ear: the ring, its gaps, and the level.
//!
//! State: the ring of samples, the ring of gap positions, the counters and the
//! first fault. The callback's side ([`Intake`], [`Alarm`]) writes; the ear's
//! thread ([`Capture`]) reads. The callback's side neither allocates nor locks
//! nor prints: a sound card waits for nobody.

use std::any::Any;
use std::sync::Arc;
use std::sync::atomic::{AtomicU8, AtomicU32, AtomicU64, Ordering};

use rtrb::{Consumer, Producer, RingBuffer};

use super::Fault;

/// Seconds of sound that wait in the ring while the ear is busy. Loading a
/// grammar takes about a tenth of a second, so this is ample.
pub const RING_SECONDS: u32 = 4;

/// Gaps that wait to be seen. When there are more, sound is dropped until there
/// is room to say so.
const GAPS: usize = 64;

/// Samples that are converted at a time, on the callback's stack.
const BLOCK: usize = 256;

/// What both sides see.
#[derive(Debug, Default)]
struct Shared {
    /// Samples (of one channel) that found no room.
    dropped: AtomicU64,
    /// Float samples that were no number.
    not_numbers: AtomicU64,
    /// Frames in which a channel stood at the end of its range.
    clipped: AtomicU64,
    /// Times that the system itself lost sound.
    overruns: AtomicU32,
    /// The first fault that ends the stream, by [`Fault::code`]; 0 for none.
    fault: AtomicU8,
}

/// A sample format that is understood.
pub trait Sample: Copy {
    /// The sample on the scale of 16 bits; none when it is no number.
    fn step(self) -> Option<i16>;

    /// Whether it stands at the end of its range.
    fn at_limit(self) -> bool {
        matches!(self.step(), Some(i16::MIN | i16::MAX))
    }
}

impl Sample for i16 {
    fn step(self) -> Option<i16> {
        Some(self)
    }
}

impl Sample for u16 {
    fn step(self) -> Option<i16> {
        // The middle of the range, 32768, is silence: turning the top bit makes
        // it 0 in two's complement.
        Some((self ^ 0x8000).cast_signed())
    }
}

impl Sample for i32 {
    fn step(self) -> Option<i16> {
        i16::try_from(self >> 16).ok()
    }
}

impl Sample for f32 {
    fn step(self) -> Option<i16> {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "a float is cast to the nearest value in range: what lies beyond full scale is clipped"
        )]
        self.is_finite().then(|| (self * 32_768.0).round() as i16)
    }

    fn at_limit(self) -> bool {
        self.is_finite() && self.abs() >= 1.0
    }
}

/// The callback's side: takes the device's frames.
pub struct Intake {
    ring: Producer<i16>,
    gaps: Producer<u64>,
    shared: Arc<Shared>,
    channels: usize,
    /// Samples put into the ring so far.
    position: u64,
    /// Whether sound was lost at `position` and that is not said yet.
    gap_here: bool,
    /// Overruns of the system that are accounted for.
    overruns_seen: u32,
}

impl Intake {
    /// Takes interleaved frames: channels are averaged to one, what is no number
    /// becomes 0 and is counted, and what finds no room is counted as dropped.
    pub fn take<S: Sample>(&mut self, frames: &[S]) {
        let overruns = self.shared.overruns.load(Ordering::Relaxed);
        if overruns != self.overruns_seen {
            self.overruns_seen = overruns;
            self.gap_here = true;
        }
        let mut block = [0_i16; BLOCK];
        let mut filled = 0;
        let mut clipped = 0_u64;
        let mut not_numbers = 0_u64;
        for frame in frames.chunks_exact(self.channels) {
            let mut sum = 0_i64;
            let mut at_limit = false;
            for &sample in frame {
                let step = sample.step();
                not_numbers += u64::from(step.is_none());
                at_limit |= sample.at_limit();
                sum += i64::from(step.unwrap_or(0));
            }
            clipped += u64::from(at_limit);
            // An average of 16-bit numbers is one; channels were checked to be few.
            let average = sum / i64::try_from(frame.len()).unwrap_or(i64::MAX);
            block[filled] = i16::try_from(average).unwrap_or(0);
            filled += 1;
            if filled == BLOCK {
                self.put(&block);
                filled = 0;
            }
        }
        self.put(&block[..filled]);
        self.shared.clipped.fetch_add(clipped, Ordering::Relaxed);
        self.shared
            .not_numbers
            .fetch_add(not_numbers, Ordering::Relaxed);
    }

    fn put(&mut self, samples: &[i16]) {
        // A gap is said before the sample that follows it is put, so whoever has
        // read that sample can see the gap.
        if self.gap_here && !samples.is_empty() && !self.ring.is_full() {
            self.gap_here = self.gaps.push(self.position).is_err();
        }
        let taken = if self.gap_here {
            0
        } else {
            let (taken, _left) = self.ring.push_partial_slice(samples);
            taken.len()
        };
        self.position += taken as u64;
        let dropped = samples.len() - taken;
        if dropped > 0 {
            self.gap_here = true;
            self.shared
                .dropped
                .fetch_add(dropped as u64, Ordering::Relaxed);
        }
    }
}

/// The error callback's side. A source that was taken away calls it hundreds of
/// thousands of times a second until the stream is closed.
#[derive(Debug, Clone)]
pub struct Alarm {
    shared: Arc<Shared>,
}

impl Alarm {
    /// Notes a fault: the first one that ends the stream stays, an overrun is
    /// counted, and what does no harm is let pass.
    pub fn note(&self, fault: Fault) {
        if fault.loses_sound() {
            self.shared.overruns.fetch_add(1, Ordering::Relaxed);
        } else if fault.ends_stream() && self.shared.fault.load(Ordering::Relaxed) == 0 {
            let _already_noted = self.shared.fault.compare_exchange(
                0,
                fault.code(),
                Ordering::Release,
                Ordering::Relaxed,
            );
        }
    }
}

/// The reading side of an open microphone. Dropping it closes the stream.
pub struct Capture {
    ring: Consumer<i16>,
    gaps: Consumer<u64>,
    shared: Arc<Shared>,
    position: u64,
    clipped_seen: u64,
    device: String,
    rate: u32,
    /// Keeps the device open.
    _stream: Option<Box<dyn Any>>,
}

/// What one read gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Taken {
    /// How many samples.
    pub samples: usize,
    /// Whether sound was lost just before or among them.
    pub gap: bool,
}

/// The two ends of a microphone of `channels` channels and `rate` samples a
/// second that is called `device`.
#[must_use]
pub fn connect(device: &str, channels: u16, rate: u32) -> (Intake, Alarm, Capture) {
    let (to_ring, ring) = RingBuffer::new((rate * RING_SECONDS) as usize);
    let (to_gaps, gaps) = RingBuffer::new(GAPS);
    let shared = Arc::new(Shared::default());
    let intake = Intake {
        ring: to_ring,
        gaps: to_gaps,
        shared: Arc::clone(&shared),
        channels: usize::from(channels.max(1)),
        position: 0,
        gap_here: false,
        overruns_seen: 0,
    };
    let alarm = Alarm {
        shared: Arc::clone(&shared),
    };
    let capture = Capture {
        ring,
        gaps,
        shared,
        position: 0,
        clipped_seen: 0,
        device: device.to_owned(),
        rate,
        _stream: None,
    };
    (intake, alarm, capture)
}

impl Capture {
    pub(super) fn keeping(self, stream: impl Any) -> Self {
        Self {
            _stream: Some(Box::new(stream)),
            ..self
        }
    }

    /// Appends at most `most` waiting samples to `sound`.
    pub fn read(&mut self, sound: &mut Vec<i16>, most: usize) -> Taken {
        let length = self.ring.slots().min(most);
        if let Ok(chunk) = self.ring.read_chunk(length) {
            let (first, second) = chunk.as_slices();
            sound.extend_from_slice(first);
            sound.extend_from_slice(second);
            chunk.commit_all();
        }
        self.position += length as u64;
        let mut gap = false;
        while let Ok(&at) = self.gaps.peek() {
            if at >= self.position {
                break;
            }
            gap = true;
            let _seen = self.gaps.pop();
        }
        Taken {
            samples: length,
            gap,
        }
    }

    /// How many samples wait.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.ring.slots()
    }

    /// The fault that ended the stream, if one has.
    #[must_use]
    pub fn fault(&self) -> Option<Fault> {
        Fault::from_code(self.shared.fault.load(Ordering::Acquire))
    }

    /// Samples that found no room since the microphone was opened.
    #[must_use]
    pub fn dropped(&self) -> u64 {
        self.shared.dropped.load(Ordering::Relaxed)
    }

    /// Float samples that were no number, and were taken as 0.
    #[must_use]
    pub fn not_numbers(&self) -> u64 {
        self.shared.not_numbers.load(Ordering::Relaxed)
    }

    /// Frames at the end of the range since this was last asked.
    pub fn newly_clipped(&mut self) -> u64 {
        let all = self.shared.clipped.load(Ordering::Relaxed);
        let new = all.saturating_sub(self.clipped_seen);
        self.clipped_seen = all;
        new
    }

    /// The device's name.
    #[must_use]
    pub fn device(&self) -> &str {
        &self.device
    }

    /// Samples a second.
    #[must_use]
    pub fn rate(&self) -> u32 {
        self.rate
    }
}

/// How loud a tenth of a second was, in decibels below full scale (0 dB is a
/// sample at the end of the range, [`Level::SILENCE`] is nothing at all).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Root mean square about the mean, so that a constant offset is not loudness.
    pub rms_db: f32,
    /// The largest sample.
    pub peak_db: f32,
}

impl Level {
    /// One step of 16 bits is 90.3 dB below full scale; less than that is this.
    pub const SILENCE: f32 = -96.0;
}

/// Measures the level of each tenth of a second.
#[derive(Debug)]
pub struct LevelMeter {
    window: usize,
    count: usize,
    sum: i64,
    squares: i64,
    peak: u16,
}

impl LevelMeter {
    /// A meter for sound of `rate` samples a second.
    #[must_use]
    pub fn new(rate: u32) -> Self {
        Self {
            window: (rate / 10).max(1) as usize,
            count: 0,
            sum: 0,
            squares: 0,
            peak: 0,
        }
    }

    /// Takes samples; gives the level of the last full tenth among them.
    pub fn take(&mut self, samples: &[i16]) -> Option<Level> {
        let mut last = None;
        for &sample in samples {
            self.count += 1;
            self.sum += i64::from(sample);
            self.squares += i64::from(sample) * i64::from(sample);
            self.peak = self.peak.max(sample.unsigned_abs());
            if self.count == self.window {
                last = Some(self.level());
                *self = Self {
                    window: self.window,
                    count: 0,
                    sum: 0,
                    squares: 0,
                    peak: 0,
                };
            }
        }
        last
    }

    fn level(&self) -> Level {
        let count = self.count as f64;
        let mean = self.sum as f64 / count;
        let power = (self.squares as f64 / count - mean * mean).max(0.0);
        Level {
            rms_db: decibels(power.sqrt()),
            peak_db: decibels(f64::from(self.peak)),
        }
    }
}

fn decibels(steps: f64) -> f32 {
    #[expect(clippy::cast_possible_truncation, reason = "a number to show")]
    let db = (20.0 * (steps / 32_768.0).log10()) as f32;
    db.max(Level::SILENCE)
}

//! A microphone that is not a sound card's own, read by the clock.
//!
//! cpal waits with poll(2) for a whole period of sound. The plugin by which ALSA reaches a sound
//! server (alsa-plugins 1.2.7, `pulse/pcm_pulse.c`) reports a period as readable while a part of it
//! has been read already, so poll returns at once, over and over, until the rest is there: 8 to
//! 45 % of a core while nobody speaks. Here the thread sleeps instead, and takes what has come. A
//! sound card is left to cpal: it wakes whoever waits for it in time.
//!
//! State: the device, which one thread owns until its [`Reader`] is dropped.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use alsa::pcm::{Access, HwParams, IoFormat, PCM};
use alsa::{Direction, ValueOr};
use cpal::ErrorKind;
use rustix::io::Errno;

use super::{Alarm, Fault, Intake, Sample};

/// How long the thread sleeps, and how much sound the server is to send at a time.
const NAP: Duration = Duration::from_millis(40);

/// How much sound may wait on the way when the machine is busy, in microseconds.
const ROOM_US: u32 = 500_000;

/// How many times faster than the clock sound is taken at most: what waited is caught up with, and
/// a device that has no clock of its own (a file) does not fill the ring at once.
const CATCH_UP: u32 = 2;

/// Sound that comes this late has waited longer than there is room for: the program or the machine
/// stood still, and the plugin has lost count of what the server sent meanwhile. It is passed over,
/// else all that follows would be heard as late.
const TOO_LATE: Duration = Duration::from_millis(600);

/// So many naps in a row must find it late.
const LATE_NAPS: u32 = 5;

/// Keeps the thread that reads going.
pub(super) struct Reader {
    ended: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Drop for Reader {
    fn drop(&mut self) {
        self.ended.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            thread.thread().unpark();
            // Its panic has been seen as silence by whoever reads.
            let _ended = thread.join();
        }
    }
}

/// Whether the name is that of a sound card itself.
pub(super) fn is_card(name: &str) -> bool {
    name.contains("CARD=") || name.starts_with("hw:") || name.starts_with("plughw:")
}

/// Opens the device of this name and starts to read it; none where that fails, and then cpal says
/// why, or finds a way.
pub(super) fn open<S>(
    name: &str,
    (channels, rate): (u16, u32),
    intake: Intake,
    alarm: Alarm,
) -> Option<Reader>
where
    S: Sample + IoFormat + Default + Send + 'static,
{
    let device = PCM::new(name, Direction::Capture, true).ok()?;
    prepare::<S>(&device, channels, rate).ok()?;
    let ended = Arc::new(AtomicBool::new(false));
    let its_end = Arc::clone(&ended);
    let thread = thread::Builder::new()
        .name("microphone".to_owned())
        .spawn(move || read::<S>(&device, (channels, rate), intake, &alarm, &its_end))
        .ok()?;
    Some(Reader {
        ended,
        thread: Some(thread),
    })
}

fn prepare<S: IoFormat>(device: &PCM, channels: u16, rate: u32) -> alsa::Result<()> {
    let wanted = HwParams::any(device)?;
    wanted.set_access(Access::RWInterleaved)?;
    wanted.set_format(S::FORMAT)?;
    wanted.set_channels(u32::from(channels))?;
    wanted.set_rate(rate, ValueOr::Nearest)?;
    wanted.set_buffer_time_near(ROOM_US, ValueOr::Nearest)?;
    let nap_us = u32::try_from(NAP.as_micros()).unwrap_or(ROOM_US);
    wanted.set_period_time_near(nap_us, ValueOr::Nearest)?;
    device.hw_params(&wanted)?;
    device.prepare()?;
    device.start()
}

fn read<S>(
    device: &PCM,
    (channels, rate): (u16, u32),
    mut intake: Intake,
    alarm: &Alarm,
    ended: &AtomicBool,
) where
    S: Sample + IoFormat + Default,
{
    let channels = usize::from(channels.max(1));
    let mut block = vec![S::default(); frames(NAP, rate).max(1) * channels];
    let (mut looked, mut late) = (now(), 0);
    // Sound was lost, or the machine slept: it goes on from here.
    let begin_anew = || {
        alarm.note(ErrorKind::Xrun.into());
        device.drop().ok();
        device.prepare().and_then(|()| device.start()).is_ok()
    };
    while !ended.load(Ordering::Relaxed) {
        thread::park_timeout(NAP);
        let passed = looked.elapsed();
        looked += passed;
        // Where the delay is not known, nothing is late.
        let delay = device
            .delay()
            .map_or(0, |delay| usize::try_from(delay).unwrap_or(0));
        if is_too_late(&mut late, delay, rate) {
            begin_anew();
        }
        let mut left = frames(passed * CATCH_UP, rate);
        while left > 0 {
            let want = left.min(block.len() / channels);
            let got = device
                .io_checked::<S>()
                .and_then(|io| io.readi(&mut block[..want * channels]));
            match got {
                Ok(got) => {
                    intake.take(&block[..got * channels]);
                    left = if got < want { 0 } else { left - got };
                }
                Err(error) if is(error, Errno::AGAIN) => break,
                Err(error) if is(error, Errno::PIPE) && begin_anew() => break,
                Err(error) => {
                    alarm.note(fault(error));
                    return;
                }
            }
        }
    }
}

/// Whether sound has come too late, by so many frames, for long enough to be passed over; `naps`
/// counts how often in a row.
fn is_too_late(naps: &mut u32, delay: usize, rate: u32) -> bool {
    *naps = if delay > frames(TOO_LATE, rate) {
        *naps + 1
    } else {
        0
    };
    let passed_over = *naps >= LATE_NAPS;
    if passed_over {
        *naps = 0;
    }
    passed_over
}

fn frames(time: Duration, rate: u32) -> usize {
    usize::try_from(time.as_micros() * u128::from(rate) / 1_000_000).unwrap_or(usize::MAX)
}

fn is(error: alsa::Error, errno: Errno) -> bool {
    error.errno() == errno.raw_os_error()
}

/// The fault that an error number of the system means, as cpal has it.
fn fault(error: alsa::Error) -> Fault {
    if is(error, Errno::NODEV) || is(error, Errno::NOENT) {
        ErrorKind::DeviceNotAvailable.into()
    } else {
        ErrorKind::BackendError.into()
    }
}

#[expect(clippy::disallowed_methods, reason = "the edge reads the clock")]
fn now() -> Instant {
    Instant::now()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_card_is_told_by_its_name() {
        for (name, card) in [
            ("hw:0,0", true),
            ("plughw:CARD=PCH,DEV=0", true),
            ("sysdefault:CARD=PCH", true),
            ("default", false),
            ("pulse", false),
            ("pipewire", false),
        ] {
            assert_eq!(is_card(name), card, "{name}");
        }
    }

    #[test]
    fn sound_is_passed_over_once_it_stays_late() {
        let mut naps = 0;
        let mut told = |delay_ms: usize| is_too_late(&mut naps, delay_ms * 16, 16_000);
        assert!((0..50).all(|_| !told(600)), "as late as there is room for");
        assert!((0..4).all(|_| !told(700)));
        assert!(!told(100), "a jump of the clock");
        assert!((0..4).all(|_| !told(2_000)));
        assert!(told(2_000));
        assert!(
            (0..4).all(|_| !told(2_000)),
            "it begins anew, and counts anew"
        );
    }
}

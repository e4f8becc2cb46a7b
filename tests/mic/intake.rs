//! What the callback does with samples.

use cpal::ErrorKind;
use sayback::edge::mic::{Fault, Level, LevelMeter, RING_SECONDS, Taken, connect};

fn mono<S: sayback::edge::mic::Sample>(channels: u16, frames: &[S]) -> Vec<i16> {
    let (mut intake, _alarm, mut capture) = connect("test", channels, 16_000);
    intake.take(frames);
    let mut sound = Vec::new();
    capture.read(&mut sound, usize::MAX);
    sound
}

#[test]
fn each_form_gives_the_same_steps() {
    let wanted = [0, 1, -1, 12_345, i16::MAX, i16::MIN];
    assert_eq!(mono(1, &wanted), wanted);
    let unsigned: Vec<u16> = wanted
        .iter()
        .map(|&s| (i32::from(s) + 32_768) as u16)
        .collect();
    assert_eq!(mono(1, &unsigned), wanted);
    let long: Vec<i32> = wanted.iter().map(|&s| i32::from(s) << 16).collect();
    assert_eq!(mono(1, &long), wanted);
    let float: Vec<f32> = wanted.iter().map(|&s| f32::from(s) / 32_768.0).collect();
    assert_eq!(mono(1, &float), wanted);
}

#[test]
fn channels_are_averaged_and_a_torn_frame_is_left() {
    assert_eq!(mono(2, &[100_i16, 300, -100, -300, 7]), [200, -200]);
    assert_eq!(
        mono(2, &[i16::MAX, i16::MAX, i16::MIN, i16::MIN]),
        [i16::MAX, i16::MIN]
    );
    assert_eq!(mono(3, &[0.5_f32, 0.5, 0.5]), [16_384]);
    let many: Vec<i16> = (0..2_000).flat_map(|n| [n, n]).collect();
    assert_eq!(mono(2, &many), (0..2_000).collect::<Vec<i16>>());
}

#[test]
fn what_is_no_number_is_zero_and_counted() {
    let (mut intake, _alarm, mut capture) = connect("test", 1, 16_000);
    intake.take(&[f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 2.0, -2.0, 1e30]);
    let mut sound = Vec::new();
    capture.read(&mut sound, 100);
    assert_eq!(sound, [0, 0, 0, i16::MAX, i16::MIN, i16::MAX]);
    assert_eq!(capture.not_numbers(), 3);
    assert_eq!(capture.newly_clipped(), 3);
    assert_eq!(capture.newly_clipped(), 0, "counted once");
}

#[test]
fn a_full_ring_drops_counts_and_tells_where() {
    let room = (8_000 * RING_SECONDS) as usize;
    let (mut intake, _alarm, mut capture) = connect("test", 1, 8_000);
    intake.take(&vec![1_i16; room]);
    intake.take(&[2_i16; 500]);
    assert_eq!(capture.dropped(), 500);
    let mut sound = Vec::new();
    let first = capture.read(&mut sound, 1_000);
    assert_eq!(
        first,
        Taken {
            samples: 1_000,
            gap: false
        }
    );
    intake.take(&[3_i16; 300]);
    // Everything from before the gap is still whole.
    let rest = capture.read(&mut sound, room - 1_000);
    assert_eq!(
        rest,
        Taken {
            samples: room - 1_000,
            gap: false
        }
    );
    assert!(sound.iter().all(|&sample| sample == 1));
    sound.clear();
    assert_eq!(
        capture.read(&mut sound, 10),
        Taken {
            samples: 10,
            gap: true
        }
    );
    assert_eq!(
        capture.read(&mut sound, 1_000),
        Taken {
            samples: 290,
            gap: false
        }
    );
    assert_eq!(sound, [3; 300]);
}

#[test]
fn more_gaps_than_can_be_told_drop_sound_rather_than_hide_one() {
    let room = (8_000 * RING_SECONDS) as usize;
    let (mut intake, alarm, mut capture) = connect("test", 1, 8_000);
    for _ in 0..200 {
        alarm.note(Fault::from(ErrorKind::Xrun));
        intake.take(&[5_i16; 10]);
    }
    assert_eq!(
        capture.waiting(),
        64 * 10,
        "64 gaps wait, the rest is dropped"
    );
    assert_eq!(capture.dropped(), 136 * 10);
    let mut sound = Vec::new();
    for _ in 0..64 {
        assert!(capture.read(&mut sound, 10).gap);
    }
    intake.take(&[6_i16; 10]);
    assert!(
        capture.read(&mut sound, room).gap,
        "and the last one is told too"
    );
}

#[test]
fn an_overrun_of_the_system_is_a_gap_and_no_fault() {
    let (mut intake, alarm, mut capture) = connect("test", 1, 16_000);
    intake.take(&[1_i16; 10]);
    alarm.note(Fault::from(ErrorKind::Xrun));
    intake.take(&[2_i16; 10]);
    let mut sound = Vec::new();
    assert!(!capture.read(&mut sound, 10).gap);
    assert!(capture.read(&mut sound, 10).gap);
    assert_eq!(capture.fault(), None);
}

#[test]
fn the_first_fault_stays() {
    let (_intake, alarm, capture) = connect("test", 1, 16_000);
    alarm.note(Fault::from(ErrorKind::RealtimeDenied));
    assert_eq!(capture.fault(), None);
    alarm.note(Fault::from(ErrorKind::BackendError));
    for _ in 0..1_000_000 {
        alarm.note(Fault::from(ErrorKind::DeviceBusy));
    }
    assert_eq!(capture.fault(), Some(Fault::from(ErrorKind::BackendError)));
}

fn level_of(samples: &[i16]) -> Level {
    LevelMeter::new(16_000).take(samples).expect("a full tenth")
}

#[test]
fn the_level_is_in_decibels_below_full_scale() {
    // A sine's root mean square is 3.01 dB below its peak (AES17 rates a
    // full-scale sine 0 dB; here full scale is the largest sample).
    let sine: Vec<i16> = (0..1_600)
        .map(|n| (32_767.0 * (f64::from(n) * std::f64::consts::TAU / 16.0).sin()).round() as i16)
        .collect();
    let level = level_of(&sine);
    assert!((level.rms_db + 3.01).abs() < 0.01, "{level:?}");
    assert!(level.peak_db.abs() < 0.01, "{level:?}");
    assert_eq!(
        level_of(&[0; 1_600]).rms_db.to_bits(),
        Level::SILENCE.to_bits()
    );
    let offset = level_of(&[9_000; 1_600]);
    assert_eq!(
        offset.rms_db.to_bits(),
        Level::SILENCE.to_bits(),
        "an offset is no sound"
    );
    assert!(offset.peak_db > -12.0);
    assert_eq!(LevelMeter::new(16_000).take(&[1; 1_599]), None);
}

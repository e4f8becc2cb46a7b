//! Tones: nothing above the ceiling, and every pair differs in shape.

use std::f64::consts::TAU;

use sayback::edge::voice::tones::{CEILING_HZ, Tone};

const RATE: u32 = 48_000;

/// Power in steps of 50 Hz, by direct Fourier sums over the whole tone.
fn spectrum(sound: &[f32]) -> Vec<(f64, f64)> {
    (1..240)
        .map(|step| {
            let hertz = f64::from(step) * 50.0;
            let (mut real, mut imaginary) = (0.0, 0.0);
            for (at, sample) in sound.iter().enumerate() {
                let (sin, cos) = (TAU * hertz * at as f64 / f64::from(RATE)).sin_cos();
                real += f64::from(*sample) * cos;
                imaginary += f64::from(*sample) * sin;
            }
            (hertz, real * real + imaginary * imaginary)
        })
        .collect()
}

#[test]
fn no_tone_has_energy_where_hearing_goes_first() {
    for tone in Tone::ALL {
        let sound = tone.samples(RATE);
        assert!(sound.iter().all(|s| s.abs() < 0.5), "{tone:?}");
        let spectrum = spectrum(&sound);
        let all: f64 = spectrum.iter().map(|(_, power)| power).sum();
        let high: f64 = spectrum
            .iter()
            .filter(|(hertz, _)| *hertz > f64::from(CEILING_HZ))
            .map(|(_, power)| power)
            .sum();
        assert!(all > 0.0 && high / all < 0.001, "{tone:?}: {}", high / all);
    }
}

/// Found in the samples, not in the table: stretches of sound, in steps of 10 ms, and the way each goes.
fn shape(tone: Tone) -> Vec<(usize, i8)> {
    let sound = tone.samples(RATE);
    let frame = RATE as usize / 100;
    let loud: Vec<bool> = sound
        .chunks(frame)
        .map(|frame| frame.iter().any(|s| s.abs() > 0.08))
        .collect();
    let mut beats = Vec::new();
    let mut at = 0;
    while at < loud.len() {
        let length = loud[at..].iter().take_while(|is| **is).count();
        if length > 0 {
            let part = &sound[at * frame..((at + length) * frame).min(sound.len())];
            let third = part.len() / 3;
            let crossings = |s: &[f32]| s.windows(2).filter(|w| w[0] < 0.0 && w[1] >= 0.0).count();
            let (first, last) = (
                crossings(&part[..third]),
                crossings(&part[part.len() - third..]),
            );
            let way = if last > first + 5 {
                1
            } else if first > last + 5 {
                -1
            } else {
                0
            };
            beats.push((length, way));
        }
        at += length.max(1);
    }
    beats
}

/// Two tones differ if the number of beats differs, or a beat goes another way, or one is twice as long.
#[test]
fn each_pair_of_tones_differs_in_shape_and_not_only_in_height() {
    for (at, a) in Tone::ALL.into_iter().enumerate() {
        for b in &Tone::ALL[at + 1..] {
            let (x, y) = (shape(a), shape(*b));
            let differs = x.len() != y.len()
                || x.iter()
                    .zip(&y)
                    .any(|(p, q)| p.1 != q.1 || p.0.max(q.0) >= 2 * p.0.min(q.0));
            assert!(differs, "{a:?} {x:?} and {b:?} {y:?}");
        }
    }
}

//! Pieces and tones → samples at the rate of the device. Pure but for the synthesiser's sound,
//! which comes in as samples.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts of samples are far below 2^52 and never negative; sound is f32"
)]

use super::clips::{Clips, PackError, RATE};
use super::plan::Piece;

/// Samples of clips and gaps, at [`RATE`]. What has no clip is left to `other`: the sound of a
/// sentence at [`RATE`], or `None` where there is no synthesiser.
///
/// # Errors
/// If the pack of clips is damaged.
pub fn mix(
    pieces: &[Piece],
    clips: &Clips,
    other: &mut dyn FnMut(&str) -> Option<Vec<f32>>,
) -> Result<Vec<f32>, PackError> {
    let mut out = Vec::new();
    for piece in pieces {
        match piece {
            Piece::Clip(clip) => out.extend(clips.samples(*clip)?),
            Piece::Word(clip) => out.extend(stretch(&clips.samples(*clip)?, QUICKENED)),
            Piece::Gap(ms) => out.extend(std::iter::repeat_n(0.0, (ms * RATE / 1_000) as usize)),
            Piece::Other { sentence, rest } => match other(sentence) {
                Some(sound) => out.extend(sound),
                None => out.extend(mix(rest, clips, &mut |_| None)?),
            },
        }
    }
    Ok(out)
}

/// How much faster a word is said in a row of words than alone.
const QUICKENED: f32 = 1.24;

/// How many samples on either side a new sample is made from.
const REACH: usize = 12;

/// The same sound at another rate, by a windowed sinc (Oppenheim and Schafer, Discrete-Time Signal
/// Processing, chapter 4; from memory). Cut off at the lower of the two half rates.
#[must_use]
pub fn resample(sound: &[f32], from: u32, to: u32) -> Vec<f32> {
    if from == to || sound.is_empty() {
        return sound.to_vec();
    }
    let step = f64::from(from) / f64::from(to);
    let cutoff = step.recip().min(1.0);
    let reach = (REACH as f64 / cutoff).ceil();
    let length = (sound.len() as f64 / step) as usize;
    (0..length)
        .map(|at| {
            let middle = at as f64 * step;
            let first = (middle - reach).ceil().max(0.0) as usize;
            let last = ((middle + reach) as usize).min(sound.len() - 1);
            let sum: f64 = (first..=last)
                .map(|near| {
                    let away = near as f64 - middle;
                    let x = std::f64::consts::PI * away * cutoff;
                    let sinc = if x.abs() < 1e-9 { 1.0 } else { x.sin() / x };
                    let window = 0.5 + 0.5 * (std::f64::consts::PI * away / reach).cos();
                    f64::from(sound[near]) * sinc * window * cutoff
                })
                .sum();
            sum as f32
        })
        .collect()
}

/// The same sound, faster (above 1) or slower, at the same height: pieces of it are laid over
/// each other where they fit best (waveform similarity overlap-add: Verhelst and Roelands,
/// ICASSP 1993; from memory).
#[must_use]
pub fn stretch(sound: &[f32], speed: f32) -> Vec<f32> {
    // 20 ms pieces, half laid over the next; looked for within 8 ms.
    const HALF: usize = (RATE / 100) as usize;
    const LOOK: usize = (RATE / 125) as usize;
    if (speed - 1.0).abs() < 0.01 || sound.len() < 4 * HALF {
        return sound.to_vec();
    }
    let fade = |at: usize| 0.5 - 0.5 * (std::f32::consts::PI * at as f32 / HALF as f32).cos();
    let mut out = sound[..HALF].to_vec();
    // Where the piece would go on that was laid down last.
    let (mut goes_on, mut turn) = (HALF, 1_usize);
    loop {
        let wanted = (turn as f32 * HALF as f32 * speed) as usize;
        if wanted + LOOK + 2 * HALF > sound.len() || goes_on + HALF > sound.len() {
            break;
        }
        let next = &sound[goes_on..goes_on + HALF];
        let best = (wanted.saturating_sub(LOOK)..=wanted + LOOK)
            .step_by(2)
            .max_by(|&a, &b| likeness(&sound[a..], next).total_cmp(&likeness(&sound[b..], next)))
            .unwrap_or(wanted);
        out.extend((0..HALF).map(|at| next[at] * (1.0 - fade(at)) + sound[best + at] * fade(at)));
        goes_on = best + HALF;
        turn += 1;
    }
    out.extend_from_slice(&sound[goes_on.min(sound.len())..]);
    out
}

fn likeness(a: &[f32], b: &[f32]) -> f32 {
    let (mut both, mut own) = (0.0, 1e-9);
    for (x, y) in a.iter().zip(b).step_by(2) {
        both += x * y;
        own += x * x;
    }
    both / own.sqrt()
}

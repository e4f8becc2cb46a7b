//! Sound → the cepstra that the acoustic network hears. No state but tables.
//!
//! The same numbers as libvosk computes from `conf/mfcc.conf` (Kaldi's MFCC): 25 ms
//! windows every 10 ms, mel filters, cosine transform, lifter. Source of the
//! method: Davis and Mermelstein, IEEE Transactions on Acoustics, Speech and
//! Signal Processing 28 (1980) 357-366; mel scale 1127 ln(1 + f/700 Hz).

use std::f64::consts::PI;
use std::sync::Arc;

use ndarray::{Array1, Array2, Axis};
use realfft::{RealFftPlanner, RealToComplex};

/// Samples a second of the sound that is taken.
pub const RATE: u32 = 16_000;
const WINDOW: usize = 400;
const SHIFT: usize = 160;
const POINTS: usize = 512;

/// Computes cepstra.
pub struct Cepstra {
    window: Vec<f32>,
    /// Of each filter: its first bin, and the weights from there.
    filters: Vec<(usize, Vec<f32>)>,
    /// Cosine transform with the lifter in it, [cepstrum, filter].
    cosines: Array2<f32>,
    transform: Arc<dyn RealToComplex<f32>>,
}

impl Cepstra {
    /// From the text of `conf/mfcc.conf`.
    ///
    /// # Errors
    /// A sentence that names the option that is missing or not a number.
    pub fn of_options(conf: &str) -> Result<Self, String> {
        let option = |name: &str| -> Result<f64, String> {
            let start = format!("--{name}=");
            let text = conf
                .lines()
                .find_map(|line| line.trim().strip_prefix(&start))
                .ok_or_else(|| format!("conf/mfcc.conf has no --{name}"))?;
            let number = text.trim().parse::<f64>().ok().filter(|n| *n > 0.0);
            number.ok_or_else(|| format!("conf/mfcc.conf: --{name}={text} is no number above 0"))
        };
        let count = |name: &str| {
            let number = option(name)?;
            if number.fract() == 0.0 && number <= 512.0 {
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "a whole number from 1 to 512"
                )]
                return Ok(number as usize);
            }
            Err(format!(
                "conf/mfcc.conf: --{name} is a whole number up to 512"
            ))
        };
        Ok(Self::new(
            count("num-mel-bins")?,
            count("num-ceps")?,
            option("low-freq")?,
            option("high-freq")?,
        ))
    }

    /// `filters` mel filters from `low` to `high` hertz, `cepstra` numbers a frame.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_precision_loss,
        reason = "tables are worked out in f64 and used in f32; counts are small"
    )]
    fn new(filters: usize, cepstra: usize, low: f64, high: f64) -> Self {
        let mel = |hertz: f64| 1127.0 * (hertz / 700.0).ln_1p();
        let step = (mel(high) - mel(low)) / (filters + 1) as f64;
        let triangles = (0..filters).map(|k| {
            let left = mel(low) + step * k as f64;
            let (middle, right) = (left + step, left + 2.0 * step);
            // The last bin is left out, as Kaldi does.
            let weights: Vec<(usize, f32)> = (0..POINTS / 2)
                .filter_map(|bin| {
                    let at = mel(bin as f64 * f64::from(RATE) / POINTS as f64);
                    let weight = if at <= middle {
                        (at - left) / step
                    } else {
                        (right - at) / step
                    };
                    (at > left && at < right).then_some((bin, weight as f32))
                })
                .collect();
            let first = weights.first().map_or(0, |(bin, _)| *bin);
            (
                first,
                weights.into_iter().map(|(_, weight)| weight).collect(),
            )
        });
        let cosines = Array2::from_shape_fn((cepstra, filters), |(n, k)| {
            let height = if n == 0 { 1.0f64 } else { 2.0 } / filters as f64;
            let lifter = 1.0 + 11.0 * (PI * n as f64 / 22.0).sin();
            (height.sqrt() * (PI / filters as f64 * (k as f64 + 0.5) * n as f64).cos() * lifter)
                as f32
        });
        let window = |at: usize| {
            (0.5 - 0.5 * (2.0 * PI * at as f64 / (WINDOW - 1) as f64).cos()).powf(0.85) as f32
        };
        Self {
            window: (0..WINDOW).map(window).collect(),
            filters: triangles.collect(),
            cosines,
            transform: RealFftPlanner::new().plan_fft_forward(POINTS),
        }
    }

    /// The cepstra of a sound at [`RATE`], in steps of 16-bit integers: one row
    /// each 10 ms; none for less than 25 ms.
    #[must_use]
    pub fn of(&self, samples: &[f32]) -> Array2<f32> {
        let frames = if samples.len() < WINDOW {
            0
        } else {
            1 + (samples.len() - WINDOW) / SHIFT
        };
        let mut energies = Array2::zeros((frames, self.filters.len()));
        let mut spectrum = self.transform.make_output_vec();
        for (frame, mut row) in energies.axis_iter_mut(Axis(0)).enumerate() {
            let mut sound = samples[frame * SHIFT..frame * SHIFT + WINDOW].to_vec();
            #[expect(clippy::cast_precision_loss, reason = "400")]
            let mean = sound.iter().sum::<f32>() / WINDOW as f32;
            for sample in &mut sound {
                *sample -= mean;
            }
            for at in (1..WINDOW).rev() {
                sound[at] -= 0.97 * sound[at - 1];
            }
            sound[0] *= 1.0 - 0.97;
            for (sample, weight) in sound.iter_mut().zip(&self.window) {
                *sample *= weight;
            }
            sound.resize(POINTS, 0.0);
            // Both buffers have the lengths that the transform asks for: it cannot fail.
            let done = self.transform.process(&mut sound, &mut spectrum);
            debug_assert!(done.is_ok());
            for (energy, (first, weights)) in row.iter_mut().zip(&self.filters) {
                let sum: f32 = spectrum[*first..]
                    .iter()
                    .zip(weights)
                    .map(|(bin, weight)| bin.norm_sqr() * weight)
                    .sum();
                *energy = sum.max(f32::EPSILON).ln();
            }
        }
        energies.dot(&self.cosines.t())
    }
}

/// The overall mean in `am/global_cmvn.stats` (Kaldi's binary matrix of two rows of
/// doubles: sums and count, then squares).
///
/// # Errors
/// A sentence where the bytes are of another form.
pub fn overall_mean(stats: &[u8]) -> Result<Array1<f32>, String> {
    const HEAD: &[u8] = b"\0BDM \x04";
    let wrong = || "am/global_cmvn.stats is not a matrix of doubles".to_owned();
    let rest = stats.strip_prefix(HEAD).ok_or_else(wrong)?;
    let columns = rest.get(5..9).ok_or_else(wrong)?;
    let columns = u32::from_le_bytes(columns.try_into().map_err(|_| wrong())?) as usize;
    let sums: Vec<f64> = rest
        .get(9..9 + columns * 8)
        .ok_or_else(wrong)?
        .chunks_exact(8)
        .map(|bytes| bytes.try_into().map_or(f64::NAN, f64::from_le_bytes))
        .collect();
    let (count, sums) = sums.split_last().ok_or_else(wrong)?;
    #[expect(clippy::cast_possible_truncation, reason = "means of cepstra")]
    Ok(sums.iter().map(|sum| (sum / count) as f32).collect())
}

/// Takes the mean so far away, leaning on 200 frames of the overall mean, as
/// libvosk does (Kaldi's online normalisation, for sounds up to 4 s).
#[expect(clippy::cast_precision_loss, reason = "frames of a short clip")]
pub fn take_mean_away(cepstra: &mut Array2<f32>, overall: &Array1<f32>) {
    let mut sum = Array1::<f32>::zeros(overall.len());
    for (frame, mut row) in cepstra.axis_iter_mut(Axis(0)).enumerate() {
        sum += &row;
        let count = (frame + 1) as f32;
        let lean = (600.0 - count).clamp(0.0, 200.0);
        for ((value, sum), overall) in row.iter_mut().zip(&sum).zip(overall) {
            *value -= (sum + lean * overall) / (count + lean);
        }
    }
}

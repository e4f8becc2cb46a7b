//! How well scores fit what was said, and how to change them to fit better. No state.
//!
//! Lattice-free maximum mutual information (Povey and others, Interspeech 2016): the
//! sum over all timings of what was said, against the sum over all phones in any
//! order. Both by forward-backward (Rabiner, Proceedings of the IEEE 77 (1989)
//! 257-286). The scores are of Kaldi's chain topology: a phone is entered with one
//! output and stayed in with another.

use ndarray::Array2;

/// One place in what was said: a phone, or a silence that may be left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// The output with which it is entered.
    pub enter: usize,
    /// The output with which it is stayed in.
    pub stay: usize,
    /// Whether it may be left out. Two in a row may not be.
    pub optional: bool,
}

/// Log of no chance at all.
const NEVER: f64 = -1.0e30;

fn add(a: f64, b: f64) -> f64 {
    let (high, low) = if a > b { (a, b) } else { (b, a) };
    if low <= NEVER / 2.0 {
        high
    } else {
        high + (low - high).exp().ln_1p()
    }
}

/// The log of the sum over all timings of `places`, and how much of it passes each
/// output in each frame (the derivative). None where the sound is too short for it.
#[must_use]
pub fn said(scores: &Array2<f32>, places: &[Place]) -> Option<(f64, Array2<f32>)> {
    let (frames, count) = (scores.nrows(), places.len());
    let score = |frame: usize, output: usize| f64::from(scores[[frame, output]]);
    let over = |place: usize| place >= 2 && places[place - 1].optional;
    let first = |place: usize| place == 0 || (place == 1 && places[0].optional);
    let last = |place: usize| {
        place + 1 == count || (place + 2 == count && places.last().is_some_and(|p| p.optional))
    };
    if frames == 0 || count == 0 {
        return None;
    }
    let mut forward = vec![vec![NEVER; count]; frames];
    for place in (0..count).filter(|place| first(*place)) {
        forward[0][place] = score(0, places[place].enter);
    }
    let come = |before: &[f64], place: usize| {
        let mut sum = if place >= 1 { before[place - 1] } else { NEVER };
        if over(place) {
            sum = add(sum, before[place - 2]);
        }
        sum
    };
    for frame in 1..frames {
        let (before, now) = forward.split_at_mut(frame);
        let before = &before[frame - 1];
        for (place, what) in places.iter().enumerate() {
            now[0][place] = add(
                before[place] + score(frame, what.stay),
                come(before, place) + score(frame, what.enter),
            );
        }
    }
    let total = (0..count)
        .filter(|place| last(*place))
        .fold(NEVER, |sum, place| add(sum, forward[frames - 1][place]));
    if total < NEVER / 2.0 {
        return None;
    }
    let mut shares = Array2::zeros(scores.raw_dim());
    let mut backward: Vec<f64> = (0..count)
        .map(|place| if last(place) { 0.0 } else { NEVER })
        .collect();
    #[expect(clippy::cast_possible_truncation, reason = "a share from 0 to 1")]
    let share = |log: f64| log.min(0.0).exp() as f32;
    for frame in (0..frames).rev() {
        let entered: Vec<f64> = (0..count)
            .map(|place| score(frame, places[place].enter) + backward[place])
            .collect();
        for (place, what) in places.iter().enumerate() {
            let come = match frame.checked_sub(1) {
                Some(before) => {
                    let stayed = forward[before][place] + score(frame, what.stay);
                    shares[[frame, what.stay]] += share(stayed + backward[place] - total);
                    come(&forward[before], place)
                }
                None if first(place) => 0.0,
                None => NEVER,
            };
            shares[[frame, what.enter]] += share(come + entered[place] - total);
        }
        backward = (0..count)
            .map(|place| {
                let mut sum = backward[place] + score(frame, places[place].stay);
                if place + 1 < count {
                    sum = add(sum, entered[place + 1]);
                }
                if place + 2 < count && over(place + 2) {
                    sum = add(sum, entered[place + 2]);
                }
                sum
            })
            .collect();
    }
    Some((total, shares))
}

/// Which phone follows which, as probabilities.
#[derive(Clone, Debug)]
pub struct Following {
    /// Of each phone: the outputs with which it is entered and stayed in.
    pub outputs: Vec<(usize, usize)>,
    /// The chance that speech begins with it.
    pub begin: Vec<f64>,
    /// `next[a][b]`: the chance that b follows a.
    pub next: Vec<Vec<f64>>,
}

/// The log of the sum over any phones, and the share of each output, as in [`said`].
#[must_use]
pub fn anything(scores: &Array2<f32>, following: &Following) -> (f64, Array2<f32>) {
    let (frames, count) = (scores.nrows(), following.outputs.len());
    let mut shares = Array2::zeros(scores.raw_dim());
    // Sums in ordinary numbers, each frame scaled: its highest score away, then to one.
    let high: Vec<f64> = scores
        .rows()
        .into_iter()
        .map(|row| f64::from(row.iter().copied().fold(f32::MIN, f32::max)))
        .collect();
    let value = |frame: usize, output: usize| {
        (f64::from(scores[[frame, output]]) - high[frame])
            .max(-60.0)
            .exp()
    };
    let mut forward: Vec<Vec<f64>> = Vec::with_capacity(frames);
    let mut come: Vec<Vec<f64>> = Vec::with_capacity(frames);
    let (mut scales, mut total) = (Vec::with_capacity(frames), 0.0);
    for (frame, high) in high.iter().enumerate() {
        let entering: Vec<f64> = match forward.last() {
            None => following.begin.clone(),
            Some(before) => (0..count)
                .map(|to| {
                    (0..count)
                        .map(|from| before[from] * following.next[from][to])
                        .sum()
                })
                .collect(),
        };
        let mut now: Vec<f64> = (0..count)
            .map(|phone| {
                let (enter, stay) = following.outputs[phone];
                let stayed = forward.last().map_or(0.0, |before| before[phone]);
                stayed * value(frame, stay) + entering[phone] * value(frame, enter)
            })
            .collect();
        let scale: f64 = now.iter().sum();
        for chance in &mut now {
            *chance /= scale;
        }
        total += scale.ln() + high;
        scales.push(scale);
        come.push(entering);
        forward.push(now);
    }
    let mut backward = vec![1.0; count];
    for frame in (0..frames).rev() {
        let mut entered = vec![0.0; count];
        for phone in 0..count {
            let (enter, stay) = following.outputs[phone];
            entered[phone] = value(frame, enter) * backward[phone];
            let stayed = match frame.checked_sub(1) {
                Some(before) => forward[before][phone] * value(frame, stay) * backward[phone],
                None => 0.0,
            };
            #[expect(clippy::cast_possible_truncation, reason = "shares from 0 to 1")]
            {
                shares[[frame, enter]] +=
                    (come[frame][phone] * entered[phone] / scales[frame]) as f32;
                shares[[frame, stay]] += (stayed / scales[frame]) as f32;
            }
        }
        backward = (0..count)
            .map(|phone| {
                let (_, stay) = following.outputs[phone];
                let on: f64 = following.next[phone]
                    .iter()
                    .zip(&entered)
                    .map(|(chance, entered)| chance * entered)
                    .sum();
                (backward[phone] * value(frame, stay) + on) / scales[frame]
            })
            .collect();
    }
    (total, shares)
}

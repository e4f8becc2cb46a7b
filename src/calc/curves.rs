//! An up-and-down run: inaccuracy, hysteresis, linearity, repeatability, dead band.
//!
//! Terms: ANSI/ISA-51.1 and IEC 61298-2. Positions and points in one unit; the
//! span is the distance of the first and the last point; results in % of span.

use super::{CalcError, Calculated, finite};

/// A run over points, going up and going down.
#[derive(Clone, Debug, PartialEq)]
pub struct UpDown {
    x: Vec<f64>,
    up: Vec<f64>,
    down: Vec<f64>,
    span: f64,
}

impl UpDown {
    /// A run over these points.
    ///
    /// # Errors
    /// If there are fewer than two points, the lists differ in length, or the points do not rise.
    pub fn new(x: &[f64], up: &[f64], down: &[f64]) -> Calculated<Self> {
        let fault = |found: String| CalcError::OutOfRange {
            name: "x",
            found,
            fix: "give as many readings up and down as points, at least two, the points rising",
        };
        if x.len() < 2 || up.len() != x.len() || down.len() != x.len() {
            return Err(fault(format!(
                "{} points, {} up, {} down",
                x.len(),
                up.len(),
                down.len()
            )));
        }
        if x.windows(2).any(|pair| pair[1] <= pair[0]) {
            return Err(fault("points that do not rise".to_owned()));
        }
        let span = finite("span", x[x.len() - 1] - x[0])?;
        Ok(Self {
            x: x.to_vec(),
            up: up.to_vec(),
            down: down.to_vec(),
            span,
        })
    }

    fn percent(&self, value: f64) -> f64 {
        100.0 * value / self.span
    }

    /// Inaccuracy: greatest positive and greatest negative error of all readings.
    #[must_use]
    pub fn max_measured_error(&self) -> (f64, f64) {
        let errors = || {
            self.up
                .iter()
                .chain(&self.down)
                .zip(self.x.iter().cycle())
                .map(|(y, x)| y - x)
        };
        (
            self.percent(errors().fold(f64::NEG_INFINITY, f64::max)),
            self.percent(errors().fold(f64::INFINITY, f64::min)),
        )
    }

    /// Largest difference between going down and going up at one point (IEC 61298-2: dead band included).
    #[must_use]
    pub fn hysteresis(&self) -> f64 {
        self.percent(
            self.up
                .iter()
                .zip(&self.down)
                .map(|(up, down)| (down - up).abs())
                .fold(0.0, f64::max),
        )
    }

    fn mean(&self) -> Vec<f64> {
        self.up
            .iter()
            .zip(&self.down)
            .map(|(up, down)| f64::midpoint(*up, *down))
            .collect()
    }

    /// Largest deviation of the mean curve from the line through its end points, with its sign.
    #[must_use]
    pub fn terminal_based(&self) -> f64 {
        let m = self.mean();
        let slope = (m[m.len() - 1] - m[0]) / self.span;
        let worst = m
            .iter()
            .zip(&self.x)
            .map(|(m_i, x)| m_i - (m[0] + slope * (x - self.x[0])))
            .fold(
                0.0_f64,
                |worst, e| if e.abs() > worst.abs() { e } else { worst },
            );
        self.percent(worst)
    }

    /// Independent linearity: half the height of the narrowest band that holds the mean curve (exact: every
    /// slope between two points is tried).
    #[must_use]
    pub fn independent(&self) -> f64 {
        let m = self.mean();
        let mut best = f64::INFINITY;
        for i in 0..m.len() {
            for j in i + 1..m.len() {
                let slope = (m[j] - m[i]) / (self.x[j] - self.x[i]);
                let off = |at: usize| m[at] - slope * self.x[at];
                let highest = (0..m.len()).map(off).fold(f64::NEG_INFINITY, f64::max);
                let lowest = (0..m.len()).map(off).fold(f64::INFINITY, f64::min);
                best = best.min((highest - lowest) / 2.0);
            }
        }
        self.percent(best)
    }

    /// Largest deviation from the least-squares line: an approximation of the independent one.
    #[must_use]
    pub fn least_squares(&self) -> f64 {
        let m = self.mean();
        let n = m.len() as f64;
        let (mean_x, mean_y) = (self.x.iter().sum::<f64>() / n, m.iter().sum::<f64>() / n);
        let sxx: f64 = self.x.iter().map(|x| (x - mean_x).powi(2)).sum();
        let sxy: f64 = self
            .x
            .iter()
            .zip(&m)
            .map(|(x, y)| (x - mean_x) * (y - mean_y))
            .sum();
        let slope = sxy / sxx;
        let worst = self
            .x
            .iter()
            .zip(&m)
            .map(|(x, y)| (y - mean_y - slope * (x - mean_x)).abs())
            .fold(0.0, f64::max);
        self.percent(worst)
    }

    /// Zero-based linearity: the line through the lower end point whose slope makes the largest deviation least
    /// (exact: the best slope balances two points, so every pair is tried).
    #[must_use]
    pub fn zero_based(&self) -> f64 {
        let m = self.mean();
        let points: Vec<(f64, f64)> = self
            .x
            .iter()
            .zip(&m)
            .skip(1)
            .map(|(x, y)| (x - self.x[0], y - m[0]))
            .collect();
        let worst = |slope: f64| {
            points
                .iter()
                .map(|(x, y)| (y - slope * x).abs())
                .fold(0.0, f64::max)
        };
        let mut best = f64::INFINITY;
        for (i, (x1, y1)) in points.iter().enumerate() {
            best = best.min(worst(y1 / x1));
            for (x2, y2) in &points[i + 1..] {
                // Equal and opposite deviations at the two points.
                best = best.min(worst((y1 + y2) / (x1 + x2)));
            }
        }
        self.percent(best)
    }
}

/// Hysteresis without dead band. Source: ANSI/ISA-51.1.
#[must_use]
pub fn isa51_hysteresis(hysteretic_error_pct: f64, dead_band_pct: f64) -> f64 {
    hysteretic_error_pct - dead_band_pct
}

/// Repeatability: the largest spread of approaches from one side, % of span. Each list is one point and direction.
///
/// # Errors
/// If a list has fewer than three approaches, or there is none.
pub fn repeatability_pct_span(cycles: &[Vec<f64>], span: f64) -> Calculated<f64> {
    let span = super::positive("span", span)?;
    let mut worst: f64 = 0.0;
    if cycles.is_empty() || cycles.iter().any(|cycle| cycle.len() < 3) {
        return Err(CalcError::OutOfRange {
            name: "cycles_up",
            found: "fewer than three approaches".to_owned(),
            fix: "approach each point at least three times from the same side",
        });
    }
    for cycle in cycles {
        let high = cycle.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let low = cycle.iter().copied().fold(f64::INFINITY, f64::min);
        worst = worst.max(high - low);
    }
    Ok(100.0 * worst / span)
}

/// Dead band: the largest difference of the signals at which it just moved up and just moved back, % of the input span.
///
/// # Errors
/// If the lists differ in length or are empty, or `hi` is not above `lo`.
pub fn dead_band_pct(moved_up: &[f64], moved_down: &[f64], lo: f64, hi: f64) -> Calculated<f64> {
    if moved_up.is_empty() || moved_up.len() != moved_down.len() {
        return Err(CalcError::OutOfRange {
            name: "moved_at_down",
            found: format!("{} up and {} down", moved_up.len(), moved_down.len()),
            fix: "give one signal down for each signal up",
        });
    }
    let span = super::positive("hi", hi - lo)?;
    Ok(moved_up
        .iter()
        .zip(moved_down)
        .map(|(up, down)| 100.0 * (up - down).abs() / span)
        .fold(0.0, f64::max))
}

/// Sample standard deviation (n - 1).
///
/// # Errors
/// If there are fewer than two values.
pub fn std_dev_sample(values: &[f64]) -> Calculated<f64> {
    if values.len() < 2 {
        return Err(CalcError::OutOfRange {
            name: "values",
            found: format!("{} values", values.len()),
            fix: "give at least two",
        });
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    finite(
        "standard deviation",
        (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt(),
    )
}

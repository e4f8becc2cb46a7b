//! Worked examples of published sources, computed with our own functions: they
//! show that the uncertainty arithmetic is right.
//!
//! Sources: JCGM 100:2008 annex H (H.1 end gauge, H.2 resistance and reactance,
//! H.3 thermometer), NIST `StRD` Norris (linear regression).

use super::{CalcError, Calculated, finite};

/// A fitted line with its statistics.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Intercept.
    pub intercept: f64,
    /// Slope.
    pub slope: f64,
    /// Standard deviation of the intercept.
    pub se_intercept: f64,
    /// Standard deviation of the slope.
    pub se_slope: f64,
    /// Residual standard deviation.
    pub residual_sd: f64,
    /// Coefficient of determination.
    pub r2: f64,
    mean_x: f64,
    sxx: f64,
    n: f64,
}

/// Straight line by least squares, with centred sums for accuracy.
///
/// # Errors
/// If there are fewer than three points or all x are equal.
pub fn line(x: &[f64], y: &[f64]) -> Calculated<Line> {
    if x.len() != y.len() || x.len() < 3 {
        return Err(CalcError::OutOfRange {
            name: "y",
            found: format!("{} values for {} points", y.len(), x.len()),
            fix: "give one for each point, at least three",
        });
    }
    let n = x.len() as f64;
    let mean_x = x.iter().sum::<f64>() / n;
    let mean_y = y.iter().sum::<f64>() / n;
    let sxx: f64 = x.iter().map(|x| (x - mean_x).powi(2)).sum();
    let sxy: f64 = x
        .iter()
        .zip(y)
        .map(|(x, y)| (x - mean_x) * (y - mean_y))
        .sum();
    let syy: f64 = y.iter().map(|y| (y - mean_y).powi(2)).sum();
    let slope = finite("slope", sxy / sxx)?;
    let rss: f64 = x
        .iter()
        .zip(y)
        .map(|(x, y)| (y - mean_y - slope * (x - mean_x)).powi(2))
        .sum();
    let residual_sd = (rss / (n - 2.0)).sqrt();
    let intercept = mean_y - slope * mean_x;
    Ok(Line {
        intercept,
        slope,
        se_intercept: residual_sd * (1.0 / n + mean_x * mean_x / sxx).sqrt(),
        se_slope: residual_sd / sxx.sqrt(),
        residual_sd,
        r2: if syy == 0.0 { 1.0 } else { 1.0 - rss / syy },
        mean_x,
        sxx,
        n,
    })
}

impl Line {
    /// Value at x, and its standard uncertainty from the fit.
    #[must_use]
    pub fn at(&self, x: f64) -> (f64, f64) {
        (
            self.intercept + self.slope * x,
            self.residual_sd * (1.0 / self.n + (x - self.mean_x).powi(2) / self.sxx).sqrt(),
        )
    }
}

/// Inputs of the end-gauge calibration, JCGM 100 H.1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EndGauge {
    /// Length of the standard, nm.
    pub l_s: f64,
    /// Its standard uncertainty, nm.
    pub u_ls: f64,
    /// Difference of the gauges, nm.
    pub d: f64,
    /// Its standard uncertainty, nm.
    pub u_d: f64,
    /// Half width of the difference of the expansion coefficients, 1/K.
    pub d_alpha_half_width: f64,
    /// Temperature offset, K.
    pub theta: f64,
    /// Its standard uncertainty, K.
    pub u_theta: f64,
    /// Half width of the temperature difference, K.
    pub d_theta_half_width: f64,
    /// Expansion coefficient of the standard, 1/K.
    pub alpha_s: f64,
}

/// Length and combined standard uncertainty, nm (first order, JCGM 100 H.1.3).
///
/// # Errors
/// If an uncertainty is below zero.
pub fn end_gauge(g: &EndGauge) -> Calculated<(f64, f64)> {
    let u_d_alpha = super::meter::rectangular_u(g.d_alpha_half_width)?;
    let u_d_theta = super::meter::rectangular_u(g.d_theta_half_width)?;
    // The sensitivity to theta is the difference of the expansion coefficients, whose estimate is zero.
    let parts = [
        (g.u_ls, 1.0),
        (g.u_d, 1.0),
        (u_d_alpha, g.l_s * g.theta),
        (u_d_theta, g.l_s * g.alpha_s),
        (g.u_theta, 0.0),
    ];
    let (u, _) = super::meter::combine(&parts, 1.0)?;
    Ok((g.l_s + g.d, u))
}

/// Resistance, reactance and impedance, ohm, with their standard uncertainties, from simultaneous readings of
/// voltage (V), current (mA) and phase (rad): JCGM 100 H.2, with correlations.
///
/// # Errors
/// If the lists differ in length or are shorter than two.
pub fn resistance_reactance(v: &[f64], i_ma: &[f64], phi: &[f64]) -> Calculated<[f64; 6]> {
    let n = v.len();
    if n < 2 || i_ma.len() != n || phi.len() != n {
        return Err(CalcError::OutOfRange {
            name: "V",
            found: format!(
                "{n} voltages, {} currents, {} phases",
                i_ma.len(),
                phi.len()
            ),
            fix: "give the same number of each, at least two",
        });
    }
    let columns = [
        v.to_vec(),
        i_ma.iter().map(|i| i / 1000.0).collect(),
        phi.to_vec(),
    ];
    let count = n as f64;
    let mean: Vec<f64> = columns
        .iter()
        .map(|column| column.iter().sum::<f64>() / count)
        .collect();
    let covariance = |a: usize, b: usize| {
        columns[a]
            .iter()
            .zip(&columns[b])
            .map(|(x, y)| (x - mean[a]) * (y - mean[b]))
            .sum::<f64>()
            / (count - 1.0)
            / count
    };
    let (z, cos, sin) = (
        finite("impedance", mean[0] / mean[1])?,
        mean[2].cos(),
        mean[2].sin(),
    );
    let u = |c: [f64; 3]| {
        let mut sum = 0.0;
        for a in 0..3 {
            for b in 0..3 {
                sum += c[a] * c[b] * covariance(a, b);
            }
        }
        sum.max(0.0).sqrt()
    };
    let (by_v, by_i) = (1.0 / mean[1], -z / mean[1]);
    Ok([
        z * cos,
        z * sin,
        z,
        u([by_v * cos, by_i * cos, -z * sin]),
        u([by_v * sin, by_i * sin, z * cos]),
        u([by_v, by_i, 0.0]),
    ])
}

/// The Norris data set of NIST `StRD`: x, y.
pub const NORRIS: [(f64, f64); 36] = [
    (0.2, 0.1),
    (337.4, 338.8),
    (118.2, 118.1),
    (884.6, 888.0),
    (10.1, 9.2),
    (226.5, 228.1),
    (666.3, 668.5),
    (996.3, 998.5),
    (448.6, 449.1),
    (777.0, 778.9),
    (558.2, 559.2),
    (0.4, 0.3),
    (0.6, 0.1),
    (775.5, 778.1),
    (666.9, 668.8),
    (338.0, 339.3),
    (447.5, 448.9),
    (11.6, 10.8),
    (556.0, 557.7),
    (228.1, 228.3),
    (995.8, 998.0),
    (887.6, 888.8),
    (120.2, 119.6),
    (0.3, 0.3),
    (0.3, 0.6),
    (556.8, 557.6),
    (339.1, 339.3),
    (887.2, 888.0),
    (999.0, 998.5),
    (779.0, 778.9),
    (11.1, 10.2),
    (118.3, 117.6),
    (229.2, 228.9),
    (669.1, 668.4),
    (448.9, 449.2),
    (0.5, 0.2),
];

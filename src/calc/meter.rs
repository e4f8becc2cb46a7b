//! What a meter can prove: limits from its specification, and combined uncertainty.
//!
//! Source: JCGM 100:2008 (GUM), clauses as named.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::{CalcError, Calculated, finite, not_negative, positive};

/// Accuracy specification of a meter on one range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeterSpec {
    /// Part of reading, %.
    pub percent_of_reading: f64,
    /// Number of counts of the last digit.
    pub counts: f64,
    /// Value of one count, in the unit of the reading.
    pub resolution: f64,
}

impl MeterSpec {
    /// Largest error that the specification allows at this reading, in its unit. Counts hold the resolution already.
    ///
    /// # Errors
    /// If a part of the specification is below zero.
    pub fn limit(&self, reading: f64) -> Calculated<f64> {
        Ok(
            not_negative("pct_rdg", self.percent_of_reading)? / 100.0 * reading.abs()
                + not_negative("counts", self.counts)?
                    * not_negative("resolution", self.resolution)?,
        )
    }

    /// Standard uncertainty: the limit over the square root of three (rectangular, GUM 4.3.7).
    ///
    /// # Errors
    /// As [`MeterSpec::limit`].
    pub fn standard_uncertainty(&self, reading: f64) -> Calculated<f64> {
        rectangular_u(self.limit(reading)?)
    }
}

/// Rectangular distribution of this half width (GUM 4.3.7).
///
/// # Errors
/// If it is below zero.
pub fn rectangular_u(half_width: f64) -> Calculated<f64> {
    Ok(not_negative("half_width", half_width)? / 3.0_f64.sqrt())
}

/// Triangular distribution (GUM 4.3.9).
///
/// # Errors
/// If it is below zero.
pub fn triangular_u(half_width: f64) -> Calculated<f64> {
    Ok(not_negative("half_width", half_width)? / 6.0_f64.sqrt())
}

/// Arc-sine (U-shaped) distribution.
///
/// # Errors
/// If it is below zero.
pub fn arcsine_u(half_width: f64) -> Calculated<f64> {
    Ok(not_negative("half_width", half_width)? / 2.0_f64.sqrt())
}

/// Resolution of a display: half of it each way, rectangular (GUM F.2.2.1).
///
/// # Errors
/// If it is below zero.
pub fn resolution_u(resolution: f64) -> Calculated<f64> {
    rectangular_u(not_negative("resolution", resolution)? / 2.0)
}

/// Combined standard uncertainty of uncorrelated parts (u, sensitivity), and U = k times it (GUM 5.1.2, 6.2.1).
///
/// # Errors
/// If a part is below zero.
pub fn combine(parts: &[(f64, f64)], k: f64) -> Calculated<(f64, f64)> {
    let mut sum = 0.0;
    for (u, c) in parts {
        sum += (not_negative("components", *u)? * c).powi(2);
    }
    let combined = finite("combined uncertainty", sum.sqrt())?;
    Ok((combined, k * combined))
}

/// The same in % of a span, from meter, reference and repeatability in one unit.
///
/// # Errors
/// If the span is not above zero.
pub fn percent_of_span(parts: &[f64], span: f64, k: f64) -> Calculated<(f64, f64)> {
    let sensitivity = 100.0 / positive("span_mA", span)?;
    combine(
        &parts.iter().map(|u| (*u, sensitivity)).collect::<Vec<_>>(),
        k,
    )
}

/// Fraction of the track from two independent readings, and its standard uncertainty.
///
/// # Errors
/// If the sum is not above zero.
pub fn ratio_of_two_readings(r_aw: f64, u_aw: f64, r_wb: f64, u_wb: f64) -> Calculated<(f64, f64)> {
    let sum = positive("r_aw", r_aw + r_wb)?;
    let (u_aw, u_wb) = (not_negative("u_aw", u_aw)?, not_negative("u_wb", u_wb)?);
    Ok((
        r_aw / sum,
        ((r_wb * u_aw).powi(2) + (r_aw * u_wb).powi(2)).sqrt() / (sum * sum),
    ))
}

/// Effective degrees of freedom (Welch-Satterthwaite, GUM G.4.1), not rounded down.
///
/// # Errors
/// If the lists differ in length or a degree of freedom is not above zero.
pub fn welch_satterthwaite(u: &[f64], nu: &[f64]) -> Calculated<f64> {
    if u.is_empty() || u.len() != nu.len() {
        return Err(CalcError::OutOfRange {
            name: "nu",
            found: format!("{} values for {} uncertainties", nu.len(), u.len()),
            fix: "give one for each",
        });
    }
    let (combined, _) = combine(&u.iter().map(|u| (*u, 1.0)).collect::<Vec<_>>(), 1.0)?;
    let mut sum = 0.0;
    for (u, nu) in u.iter().zip(nu) {
        sum += u.powi(4) / positive("nu", *nu)?;
    }
    finite("degrees of freedom", combined.powi(4) / sum)
}

/// Two-sided coverage factor of Student's t for a probability and degrees of freedom (GUM table G.2).
///
/// # Errors
/// If the probability is not between 0 and 1, or the degrees of freedom are not above zero.
pub fn coverage_factor_t(p: f64, nu: f64) -> Calculated<f64> {
    if !(p > 0.0 && p < 1.0) {
        return Err(CalcError::OutOfRange {
            name: "p",
            found: p.to_string(),
            fix: "it lies between 0 and 1",
        });
    }
    let nu = positive("nu", nu)?;
    let distribution = StudentsT::new(0.0, 1.0, nu).map_err(|_| CalcError::OutOfRange {
        name: "nu",
        found: nu.to_string(),
        fix: "it must be above zero",
    })?;
    // The library's inverse is coarse; two steps of Newton on its own distribution make it exact.
    let target = 0.5 + p / 2.0;
    let mut t = distribution.inverse_cdf(target);
    for _ in 0..4 {
        use statrs::distribution::Continuous;
        t -= (distribution.cdf(t) - target) / distribution.pdf(t);
    }
    finite("coverage factor", t)
}

/// Fraction of the track from one side and the total, and its standard uncertainty.
///
/// # Errors
/// If a resistance is not above zero.
pub fn ratio_to_total(r_aw: f64, u_aw: f64, r_total: f64, u_total: f64) -> Calculated<(f64, f64)> {
    let total = positive("r_total", r_total)?;
    let (u_aw, u_total) = (
        not_negative("u_aw", u_aw)?,
        not_negative("u_total", u_total)?,
    );
    Ok((
        r_aw / total,
        ((u_aw / total).powi(2) + (r_aw * u_total / (total * total)).powi(2)).sqrt(),
    ))
}

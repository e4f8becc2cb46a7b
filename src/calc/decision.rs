//! The decision: what a value and its uncertainty prove about a tolerance.
//!
//! Source: ILAC-G8:09/2019 4.2.3 (guard band w = U), JCGM 106:2012. On a limit
//! the better class is taken (our choice).

use statrs::distribution::{ContinuousCDF, Normal};

use super::{CalcError, Calculated, not_negative, positive};

/// Class of a non-binary statement with guard band.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// Inside the acceptance limits.
    Pass,
    /// Inside the tolerance, nearer to a limit than U.
    ConditionalPass,
    /// Outside the tolerance, nearer to a limit than U.
    ConditionalFail,
    /// Outside by more than U.
    Fail,
}

impl Class {
    /// In the words of the oracle tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::ConditionalPass => "conditional_pass",
            Self::ConditionalFail => "conditional_fail",
            Self::Fail => "fail",
        }
    }
}

fn width(tol_lo: f64, tol_hi: f64) -> Calculated<f64> {
    let width = tol_hi - tol_lo;
    if width > 0.0 && width.is_finite() {
        Ok(width)
    } else {
        Err(CalcError::OutOfRange {
            name: "tol_hi",
            found: tol_hi.to_string(),
            fix: "it must be above tol_lo",
        })
    }
}

/// Test uncertainty ratio: half the tolerance over U.
///
/// # Errors
/// If U is not above zero or the tolerance is empty.
pub fn tur(tol_lo: f64, tol_hi: f64, expanded: f64) -> Calculated<f64> {
    Ok(width(tol_lo, tol_hi)? / (2.0 * positive("U", expanded)?))
}

/// Measurement capability index T/(4u). Source: JCGM 106 7.6.
///
/// # Errors
/// If u is not above zero or the tolerance is empty.
pub fn measurement_capability_index(tol_lo: f64, tol_hi: f64, u: f64) -> Calculated<f64> {
    Ok(width(tol_lo, tol_hi)? / (4.0 * positive("u", u)?))
}

/// Class of a value with a guard band of width `w`.
///
/// # Errors
/// If the guard band is below zero or the tolerance is empty.
pub fn classify(y: f64, tol_lo: f64, tol_hi: f64, w: f64) -> Calculated<Class> {
    width(tol_lo, tol_hi)?;
    let w = not_negative("U", w)?;
    // Limits of a tolerance are decimal numbers: 0.7 must count as 1 - 0.3.
    let slack = 1e-9 * tol_lo.abs().max(tol_hi.abs()).max(w);
    let within = |lo: f64, hi: f64| lo - slack <= y && y <= hi + slack;
    Ok(
        if tol_lo + w <= tol_hi - w + slack && within(tol_lo + w, tol_hi - w) {
            Class::Pass
        } else if within(tol_lo, tol_hi) {
            Class::ConditionalPass
        } else if within(tol_lo - w, tol_hi + w) {
            Class::ConditionalFail
        } else {
            Class::Fail
        },
    )
}

/// Acceptance limits with w = U.
///
/// # Errors
/// If U is below zero or the tolerance is empty.
pub fn guard_band_limits(tol_lo: f64, tol_hi: f64, expanded: f64) -> Calculated<(f64, f64)> {
    width(tol_lo, tol_hi)?;
    let w = not_negative("U", expanded)?;
    Ok((tol_lo + w, tol_hi - w))
}

fn phi(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// Probability that a true value lies below the limit, for a value y with standard uncertainty u.
///
/// # Errors
/// If u is not above zero.
pub fn conformance_prob_one_sided_upper(y: f64, u: f64, tol_hi: f64) -> Calculated<f64> {
    Ok(phi((tol_hi - y) / positive("u", u)?))
}

/// Probability that a true value lies inside the tolerance.
///
/// # Errors
/// If u is not above zero or the tolerance is empty.
pub fn conformance_prob_two_sided(y: f64, u: f64, tol_lo: f64, tol_hi: f64) -> Calculated<f64> {
    width(tol_lo, tol_hi)?;
    let u = positive("u", u)?;
    Ok(phi((tol_hi - y) / u) - phi((tol_lo - y) / u))
}

/// Largest risk of a wrong pass with simple acceptance: a value on the limit. Source: ILAC-G8.
#[must_use]
pub fn simple_acceptance_max_risk() -> f64 {
    1.0 - phi(0.0)
}

/// Risk of a wrong pass for a value on the acceptance limit T - U, with U = k u.
///
/// # Errors
/// If k is not above zero.
pub fn guard_band_false_accept(k: f64) -> Calculated<f64> {
    Ok(phi(-positive("k", k)?))
}

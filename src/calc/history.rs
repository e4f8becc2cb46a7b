//! Drift between jobs, and when to look again.

use super::{CalcError, Calculated, positive};

/// Part of the time until the limit that is suggested (house rule).
pub const K: f64 = 0.8;
/// Least and most of the suggestion, times the last interval (house rule).
pub const CLAMP: (f64, f64) = (0.5, 2.0);
/// Least and most of the suggestion, days (house rule).
pub const BOUNDS_DAYS: (f64, f64) = (90.0, 1825.0);

/// Drift since the last as-left, and drift a year (365.25 days), % of span.
///
/// # Errors
/// If the days are not above zero.
pub fn drift_pct_span(
    as_found_pct: f64,
    last_as_left_pct: f64,
    days: f64,
) -> Calculated<(f64, f64)> {
    let drift = as_found_pct - last_as_left_pct;
    Ok((drift, drift / positive("days", days)? * 365.25))
}

/// Suggested days until the next check: `k` of the time until the drift would reach the limit, not below or
/// above the clamp (times the last interval) and the bounds (days).
///
/// Source: house rule in the spirit of the reactive methods of ILAC-G24 (common practice). One drift value is weak evidence.
///
/// # Errors
/// If an input is out of range.
pub fn interval_suggest(
    drift_pct: f64,
    as_left_pct: f64,
    days: f64,
    limit_pct: f64,
    k: f64,
    clamp: (f64, f64),
    bounds_days: (f64, f64),
) -> Calculated<f64> {
    let days = positive("days", days)?;
    if clamp.0 > clamp.1 || bounds_days.0 > bounds_days.1 {
        return Err(CalcError::OutOfRange {
            name: "clamp",
            found: format!("{clamp:?}, {bounds_days:?}"),
            fix: "the lower value comes first",
        });
    }
    let raw = if drift_pct == 0.0 {
        f64::INFINITY
    } else {
        k * days * (limit_pct - as_left_pct.abs()) / drift_pct.abs()
    };
    Ok(raw
        .clamp(clamp.0 * days, clamp.1 * days)
        .clamp(bounds_days.0, bounds_days.1))
}

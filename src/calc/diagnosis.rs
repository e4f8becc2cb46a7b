//! What is broken, from one set of three readings of the potentiometer.
//!
//! The order of the questions is common practice: patterns of open circuit
//! first, then a slipped unit, shorts, readings that no passive network can
//! give, loading, the wiper's path, the wrong part, tolerance, the wiper at an end.

use super::{Calculated, exceeds, keeps, positive};

/// A resistance as the meter showed it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ohms {
    /// A number, ohm.
    Value(f64),
    /// Over limit: no continuity.
    OverLimit,
}

/// Common total resistances of feedback potentiometers, ohm. Source: common practice.
pub const COMMON_TOTALS: [f64; 9] = [
    100.0, 135.0, 500.0, 1_000.0, 2_000.0, 5_000.0, 10_000.0, 20_000.0, 50_000.0,
];

/// What the three readings are judged by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Nominal total, ohm.
    pub nominal: f64,
    /// Tolerance of the total, %.
    pub tolerance_pct: f64,
    /// Largest residual that is no fault, % of the total. Default 2 (common practice).
    pub residual_pct: f64,
    /// Largest residual that the meter itself can explain, ohm; 0 if not known.
    pub meter_ohm: f64,
}

impl Limits {
    /// With the usual 2 % residual and no meter limit.
    #[must_use]
    pub fn usual(nominal: f64, tolerance_pct: f64) -> Self {
        Self {
            nominal,
            tolerance_pct,
            residual_pct: 2.0,
            meter_ohm: 0.0,
        }
    }
}

/// The verdict, in the words of the oracle tables.
///
/// # Errors
/// If the nominal is not above zero, or a reading is below zero.
pub fn pot_diagnose(
    r_ab: Ohms,
    r_aw: Ohms,
    r_wb: Ohms,
    limits: &Limits,
) -> Calculated<&'static str> {
    use Ohms::{OverLimit, Value};
    let nominal = positive("nominal", limits.nominal)?;
    let tolerance = super::not_negative("tol_pct", limits.tolerance_pct)?;
    let (ab, aw, wb) = match (r_ab, r_aw, r_wb) {
        (OverLimit, OverLimit, OverLimit) => return Ok("all_open"),
        (OverLimit, Value(_), OverLimit) => return Ok("open_track_between_wiper_and_B"),
        (OverLimit, OverLimit, Value(_)) => return Ok("open_track_between_wiper_and_A"),
        (Value(_), OverLimit, OverLimit) => return Ok("open_wiper"),
        (OverLimit, Value(_), Value(_))
        | (Value(_), OverLimit, Value(_))
        | (Value(_), Value(_), OverLimit) => {
            return Ok("inconsistent");
        }
        (Value(ab), Value(aw), Value(wb)) => (ab, aw, wb),
    };
    for (name, value) in [("r_ab", ab), ("r_aw", aw), ("r_wb", wb)] {
        super::not_negative(name, value)?;
    }
    let near = |value: f64, other: f64| keeps((value - other).abs(), 0.1 * other);
    if near(ab, nominal * 1000.0) || near(ab, nominal / 1000.0) {
        return Ok("range_or_unit_error");
    }
    if ab.max(aw).max(wb) < 0.01 * nominal {
        return Ok("shorted");
    }
    let residual = aw + wb - ab;
    let small = (limits.residual_pct / 100.0 * ab).max(limits.meter_ohm);
    // No passive network reads less than its parts: half a per cent is left for the meter if its own limit is not known.
    if residual < -limits.meter_ohm.max(0.005 * ab) {
        return Ok("inconsistent");
    }
    if residual > 0.15 * ab && ab < nominal * (1.0 - tolerance / 100.0) {
        return Ok("loaded_connector_still_plugged");
    }
    if residual > small {
        return Ok("wiper_path_resistance_high");
    }
    let outside = exceeds((100.0 * (ab - nominal) / nominal).abs(), tolerance);
    if outside
        && COMMON_TOTALS
            .iter()
            .any(|other| !near(*other, nominal) && near(ab, *other))
    {
        return Ok("wrong_pot_value");
    }
    if outside {
        return Ok("total_out_of_tolerance");
    }
    let fraction = aw / positive("r_aw", aw + wb)?;
    if !(0.02..=0.98).contains(&fraction) {
        return Ok("wiper_at_end");
    }
    Ok("healthy")
}

//! The feedback potentiometer: tolerance, fraction, centring, predicted ends,
//! which way to move it, which end lead, three-terminal consistency, loading.
//!
//! Terminals A, W (wiper), B. Resistances in ohm, angles in degrees. "Raise" is
//! the direction in which the reading goes up; a sense of rotation is never
//! worked out from arithmetic. Source of all: network and gear geometry
//! (derivation); limits are inputs (common practice).

use super::{CalcError, Calculated, finite, keeps, positive};

/// Wiper position as a fraction of the track, from the two sides: the meter's gain error cancels.
///
/// # Errors
/// If the sum is not above zero.
pub fn fraction_from_pair(r_aw: f64, r_wb: f64) -> Calculated<f64> {
    Ok(r_aw / positive("r_aw", r_aw + r_wb)?)
}

/// Centring error in % of the total track: 100 (f - 0.5).
///
/// # Errors
/// If the total is not above zero.
pub fn centring_error_pct(r_wiper_end: f64, r_total: f64) -> Calculated<f64> {
    Ok(100.0 * (r_wiper_end / positive("r_total", r_total)? - 0.5))
}

/// Deviation of the total from nominal in %, and whether it is within the tolerance (on it is within).
///
/// # Errors
/// If the nominal is not above zero or the tolerance below zero.
pub fn total_tolerance(r_total: f64, nominal: f64, tolerance_pct: f64) -> Calculated<(f64, bool)> {
    let tolerance = super::not_negative("tol_pct", tolerance_pct)?;
    let deviation = 100.0 * (r_total - nominal) / positive("nominal", nominal)?;
    Ok((deviation, keeps(deviation.abs(), tolerance)))
}

/// Where the wiper will stand at both ends of travel, and what margin is left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ends {
    /// Fraction at the end where the reading is low.
    pub low: f64,
    /// Fraction at the end where the reading is high.
    pub high: f64,
    /// Distance from the nearer end of the track, as a fraction; negative if the wiper leaves it.
    pub margin: f64,
}

/// Half of the track that the travel uses, as a fraction: G travel / (2 `theta_e`).
///
/// # Errors
/// If an input is not above zero.
pub fn half_use(travel_deg: f64, gear_ratio: f64, electrical_angle_deg: f64) -> Calculated<f64> {
    Ok(
        positive("gear_ratio", gear_ratio)? * positive("travel_deg", travel_deg)?
            / 2.0
            / positive("electrical_angle_deg", electrical_angle_deg)?,
    )
}

/// Ends from a reading at mid travel.
///
/// # Errors
/// If an input is not above zero.
pub fn predict_ends(
    fraction: f64,
    travel_deg: f64,
    gear_ratio: f64,
    electrical_angle_deg: f64,
) -> Calculated<Ends> {
    let half = half_use(travel_deg, gear_ratio, electrical_angle_deg)?;
    let (low, high) = (fraction - half, fraction + half);
    Ok(Ends {
        low,
        high,
        margin: low.min(1.0 - high),
    })
}

/// Ends from a reading at any position `m` (0 to 1 of travel): track fraction where the reading is low, and where it is high.
///
/// # Errors
/// If `m` is not between 0 and 1.
pub fn predict_ends_off_mid(
    m: f64,
    fraction: f64,
    half: f64,
    rises_toward_open: bool,
) -> Calculated<(f64, f64)> {
    if !(0.0..=1.0).contains(&m) {
        return Err(CalcError::OutOfRange {
            name: "m",
            found: m.to_string(),
            fix: "it is a part of travel, 0 to 1",
        });
    }
    let along = if rises_toward_open { m } else { 1.0 - m };
    Ok((
        fraction - 2.0 * half * along,
        fraction + 2.0 * half * (1.0 - along),
    ))
}

/// Degrees of potentiometer shaft to the middle (+ raises the reading), and the same at the output shaft.
///
/// # Errors
/// If the total or the gear ratio is not above zero.
pub fn turn_to_centre(
    r_mid: f64,
    r_total: f64,
    electrical_angle_deg: f64,
    gear_ratio: f64,
) -> Calculated<(f64, f64)> {
    let degrees = (0.5 - r_mid / positive("r_total", r_total)?) * electrical_angle_deg;
    Ok((degrees, degrees / positive("gear_ratio", gear_ratio)?))
}

/// Ohm for each degree of the output shaft.
///
/// # Errors
/// If an input is not above zero.
pub fn ohms_per_output_degree(
    r_total: f64,
    electrical_angle_deg: f64,
    gear_ratio: f64,
) -> Calculated<f64> {
    Ok(
        positive("r_total", r_total)? / positive("electrical_angle_deg", electrical_angle_deg)?
            * positive("gear_ratio", gear_ratio)?,
    )
}

/// Which end lead this is, from one reading where `expected` is known.
///
/// `as_wired`, `swapped`, `indeterminate` (near mid both fit), `neither`.
///
/// # Errors
/// If the total is not above zero.
pub fn end_lead_identify(
    reading: f64,
    expected: f64,
    r_total: f64,
    tolerance_pct: f64,
) -> Calculated<&'static str> {
    let tolerance = super::not_negative("tol_pct_total", tolerance_pct)?
        * positive("r_total", r_total)?
        / 100.0;
    let as_wired = (reading - expected).abs() <= tolerance;
    let swapped = (r_total - reading - expected).abs() <= tolerance;
    Ok(match (as_wired, swapped) {
        (true, true) => "indeterminate",
        (true, false) => "as_wired",
        (false, true) => "swapped",
        (false, false) => "neither",
    })
}

/// Whether the reading rises from closed to open: `rising`, `falling`, or `not_driven` within `min_change_pct` of the total.
///
/// # Errors
/// If the total is not above zero.
pub fn end_lead_two_point(
    r_closed: f64,
    r_open: f64,
    r_total: f64,
    min_change_pct: f64,
) -> Calculated<&'static str> {
    let change = r_open - r_closed;
    Ok(
        if change.abs() <= min_change_pct / 100.0 * positive("r_total", r_total)? {
            "not_driven"
        } else if change > 0.0 {
            "rising"
        } else {
            "falling"
        },
    )
}

/// Residual `R_aw` + `R_wb` - `R_ab` in ohm, wiper-path resistance (half of it), and the residual in % of the total.
///
/// # Errors
/// If the total is not above zero.
pub fn three_terminal(r_aw: f64, r_wb: f64, r_ab: f64) -> Calculated<(f64, f64, f64)> {
    let residual = r_aw + r_wb - r_ab;
    Ok((
        residual,
        residual / 2.0,
        100.0 * residual / positive("r_ab", r_ab)?,
    ))
}

/// The same with test leads that were not zeroed: raw residual, and wiper-path resistance after the leads are taken off once.
#[must_use]
pub fn three_terminal_leads_unzeroed(r_aw: f64, r_wb: f64, r_ab: f64, leads: f64) -> (f64, f64) {
    let residual = r_aw + r_wb - r_ab;
    (residual, (residual - leads) / 2.0)
}

/// What an ohmmeter reads with the controller still connected: `R_ab`, `R_aw`, `R_wb`.
///
/// # Errors
/// If a resistance is below zero.
pub fn in_circuit_readings(
    r_aw: f64,
    r_wb: f64,
    r_source_ab: f64,
    r_in_wb: f64,
) -> Calculated<(f64, f64, f64)> {
    let r_source = positive("r_source_ab", r_source_ab)?;
    let r_aw = super::not_negative("r_aw", r_aw)?;
    let r_b = parallel(
        super::not_negative("r_wb", r_wb)?,
        positive("r_in_wb", r_in_wb)?,
    );
    Ok((
        parallel(r_source, r_aw + r_b),
        parallel(r_aw, r_source + r_b),
        parallel(r_b, r_source + r_aw),
    ))
}

fn parallel(one: f64, other: f64) -> f64 {
    if one == 0.0 || other == 0.0 {
        0.0
    } else {
        1.0 / (1.0 / one + 1.0 / other)
    }
}

/// Loaded ratio of a wiper at fraction `x`, and its error in % of the supply.
///
/// # Errors
/// If the load is not above zero or `x` is off the track.
pub fn wiper_loading(x: f64, r_total: f64, r_load: f64) -> Calculated<(f64, f64)> {
    if !(0.0..=1.0).contains(&x) {
        return Err(CalcError::OutOfRange {
            name: "x",
            found: x.to_string(),
            fix: "it is a part of the track, 0 to 1",
        });
    }
    let ratio =
        x / (1.0 + x * (1.0 - x) * positive("r_total", r_total)? / positive("r_load", r_load)?);
    Ok((ratio, 100.0 * (ratio - x)))
}

/// The worst loading error over the track, % of the supply (negative), found by golden-section search.
///
/// # Errors
/// If an input is not above zero.
pub fn wiper_loading_max(r_total: f64, r_load: f64) -> Calculated<f64> {
    let k = positive("r_total", r_total)? / positive("r_load", r_load)?;
    let error = |x: f64| x - x / (1.0 + x * (1.0 - x) * k);
    let golden = (5.0_f64.sqrt() - 1.0) / 2.0;
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    for _ in 0..200 {
        let (one, other) = (high - golden * (high - low), low + golden * (high - low));
        if error(one) < error(other) {
            low = one;
        } else {
            high = other;
        }
    }
    finite("loading error", -100.0 * error(f64::midpoint(low, high)))
}

/// Ohm hidden by lost motion at the output shaft.
///
/// # Errors
/// If an input is not above zero.
pub fn backlash_ohm(
    output_deg: f64,
    r_total: f64,
    electrical_angle_deg: f64,
    gear_ratio: f64,
) -> Calculated<f64> {
    Ok(output_deg * ohms_per_output_degree(r_total, electrical_angle_deg, gear_ratio)?)
}

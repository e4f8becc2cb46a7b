//! Travel, stroke time, duty, step response, supply and insulation.

use super::{CalcError, Calculated, not_negative, positive};

/// Travel in degrees, and its deviation in % of nominal.
///
/// # Errors
/// If the nominal is not above zero.
pub fn travel_deg(closed_deg: f64, open_deg: f64, nominal: f64) -> Calculated<(f64, f64)> {
    let travel = open_deg - closed_deg;
    Ok((
        travel,
        100.0 * (travel - nominal) / positive("nominal", nominal)?,
    ))
}

/// Rate in % of travel a second, and the time of a full stroke in s.
///
/// # Errors
/// If an input is not above zero.
pub fn stroke_rate(time_s: f64, travel_pct: f64) -> Calculated<(f64, f64)> {
    let (time, travel) = (
        positive("time_s", time_s)?,
        positive("travel_pct", travel_pct)?,
    );
    Ok((travel / time, time * 100.0 / travel))
}

/// Stroke time at another supply frequency, s: a synchronous speed follows the frequency.
///
/// # Errors
/// If an input is not above zero.
pub fn stroke_time_freq_scale(time_s: f64, f_rated: f64, f_site: f64) -> Calculated<f64> {
    Ok(positive("time_s", time_s)? * positive("f_rated", f_rated)? / positive("f_site", f_site)?)
}

/// Deviation of a stroke time from the nameplate, %.
///
/// # Errors
/// If the nameplate is not above zero.
pub fn stroke_time_deviation_pct(measured_s: f64, nameplate_s: f64) -> Calculated<f64> {
    Ok(100.0 * (measured_s - nameplate_s) / positive("nameplate_s", nameplate_s)?)
}

/// Difference of opening and closing time in % of their mean.
///
/// # Errors
/// If a time is not above zero.
pub fn speed_asymmetry_pct(open_s: f64, close_s: f64) -> Calculated<f64> {
    let (open, close) = (positive("open_s", open_s)?, positive("close_s", close_s)?);
    Ok(100.0 * (open - close).abs() / f64::midpoint(open, close))
}

/// On-time in % of a window.
///
/// # Errors
/// If the window is not above zero or a time is below zero.
pub fn duty_cycle_pct(on_s: &[f64], window_s: f64) -> Calculated<f64> {
    let mut sum = 0.0;
    for on in on_s {
        sum += not_negative("on_s", *on)?;
    }
    Ok(100.0 * sum / positive("window_s", window_s)?)
}

/// Starts an hour.
///
/// # Errors
/// If the window is not above zero.
pub fn starts_per_hour(starts: f64, window_s: f64) -> Calculated<f64> {
    Ok(not_negative("starts", starts)? * 3600.0 / positive("window_s", window_s)?)
}

/// Starts an hour against a limit: `ok`, `at_limit`, `exceeds`.
///
/// # Errors
/// If an input is out of range.
pub fn starts_vs_duty(
    starts: f64,
    window_s: f64,
    limit_per_h: f64,
) -> Calculated<(f64, &'static str)> {
    let rate = starts_per_hour(starts, window_s)?;
    let limit = positive("limit_per_h", limit_per_h)?;
    let word = if (rate - limit).abs() <= 1e-9 * limit {
        "at_limit"
    } else if rate < limit {
        "ok"
    } else {
        "exceeds"
    };
    Ok((rate, word))
}

/// Least starts an hour that a part-turn actuator of class C is designed for, by rated torque in N m.
///
/// Source: ISO 22153, part-turn, class C (public summary of its table). The nameplate overrides.
///
/// # Errors
/// If the torque is not above zero.
pub fn class_c_starts_per_hour(rated_torque_nm: f64) -> Calculated<f64> {
    Ok(match positive("rated_torque_Nm", rated_torque_nm)? {
        torque if torque <= 125.0 => 1200.0,
        torque if torque <= 1000.0 => 600.0,
        _ => 300.0,
    })
}

/// Starts that a part-turn actuator of class C must endure, by rated torque in N m.
///
/// Source: EN 15714-2:2009, part-turn class C (public summary; the steps between are from memory).
///
/// # Errors
/// If the torque is not above zero.
pub fn class_c_endurance_starts(rated_torque_nm: f64) -> Calculated<f64> {
    Ok(match positive("rated_torque_Nm", rated_torque_nm)? {
        torque if torque <= 125.0 => 1_800_000.0,
        torque if torque <= 1000.0 => 1_200_000.0,
        torque if torque <= 4000.0 => 500_000.0,
        _ => 250_000.0,
    })
}

/// Times to 63.2 % and 86.5 % of the final change, s from the step; linear between samples.
///
/// Source: method of ANSI/ISA-75.25.01 and IEC 60534-9.
///
/// # Errors
/// If the record is too short, not in order, or never gets there.
pub fn step_t63_t86(
    t: &[f64],
    y: &[f64],
    t_step: f64,
    y_start: f64,
    y_final: f64,
) -> Calculated<(f64, f64)> {
    check_trace(t, y)?;
    let change = y_final - y_start;
    if change == 0.0 {
        return Err(CalcError::OutOfRange {
            name: "y_final",
            found: y_final.to_string(),
            fix: "it must differ from y_start",
        });
    }
    let crossing = |part: f64| {
        let level = y_start + part * change;
        t.windows(2).zip(y.windows(2)).find_map(|(t, y)| {
            let (from, to) = (
                (y[0] - level) * change.signum(),
                (y[1] - level) * change.signum(),
            );
            (from <= 0.0 && to >= 0.0 && t[1] >= t_step && from < to)
                .then(|| t[0] + (t[1] - t[0]) * -from / (to - from) - t_step)
        })
    };
    let missing = CalcError::OutOfRange {
        name: "y",
        found: "a record that ends too early".to_owned(),
        fix: "record until it has settled",
    };
    Ok((
        crossing(0.632).ok_or_else(|| missing.clone())?,
        crossing(0.865).ok_or(missing)?,
    ))
}

/// Time from the step to the first sample beyond the threshold (in the unit of `y`), s.
///
/// Source: dead time as in ANSI/ISA-75.25.01; its resolution is the sample interval.
///
/// # Errors
/// If the record is not in order, or nothing moves.
pub fn dead_time_from_trace(t: &[f64], y: &[f64], t_step: f64, threshold: f64) -> Calculated<f64> {
    check_trace(t, y)?;
    let start = t
        .iter()
        .rposition(|time| *time <= t_step)
        .map_or(y[0], |at| y[at]);
    t.iter()
        .zip(y)
        .find(|(time, value)| **time > t_step && (**value - start).abs() > threshold)
        .map(|(time, _)| time - t_step)
        .ok_or_else(|| CalcError::OutOfRange {
            name: "y",
            found: "a record in which nothing moves beyond the threshold".to_owned(),
            fix: "record longer, or give a smaller threshold",
        })
}

fn check_trace(t: &[f64], y: &[f64]) -> Calculated<()> {
    if t.len() != y.len() || t.len() < 2 || t.windows(2).any(|pair| pair[1] <= pair[0]) {
        return Err(CalcError::OutOfRange {
            name: "t",
            found: format!("{} times for {} values", t.len(), y.len()),
            fix: "give as many times as values, at least two, rising",
        });
    }
    Ok(())
}

/// T63 and T86 of a first-order response with dead time: both include the dead time. s.
///
/// # Errors
/// If an input is below zero.
pub fn step_first_order(dead_time: f64, tau: f64) -> Calculated<(f64, f64)> {
    let (dead, tau) = (not_negative("dead_time", dead_time)?, positive("tau", tau)?);
    Ok((
        dead - tau * (1.0_f64 - 0.632).ln(),
        dead - tau * (1.0_f64 - 0.865).ln(),
    ))
}

/// T63 and T86 of a response at a fixed rate. s.
///
/// # Errors
/// If an input is out of range.
pub fn step_rate_limited(
    dead_time: f64,
    step_pct: f64,
    rate_pct_per_s: f64,
) -> Calculated<(f64, f64)> {
    let dead = not_negative("dead_time", dead_time)?;
    let whole = positive("step_pct", step_pct.abs())? / positive("rate_pct_per_s", rate_pct_per_s)?;
    Ok((dead + 0.632 * whole, dead + 0.865 * whole))
}

/// Deviation of a voltage from nominal in %, and whether it is within the tolerance (inclusive).
///
/// # Errors
/// If the nominal is not above zero.
pub fn supply_voltage_ok(
    measured: f64,
    nominal: f64,
    tolerance_pct: f64,
) -> Calculated<(f64, bool)> {
    super::potentiometer::total_tolerance(measured, nominal, tolerance_pct)
}

/// Drop from no load to running, % of the no-load voltage.
///
/// # Errors
/// If the no-load voltage is not above zero.
pub fn voltage_drop_pct(no_load: f64, running: f64) -> Calculated<f64> {
    Ok(100.0 * (no_load - running) / positive("no_load", no_load)?)
}

/// Insulation resistance at 40 °C, Mohm, from one at another temperature: it halves for each 10 K.
///
/// Source: rule of thumb (IEEE 43 gives factors of the material).
///
/// # Errors
/// If the resistance is below zero.
pub fn ir_temp_correct_to_40c(ir_mohm: f64, temp_c: f64) -> Calculated<f64> {
    super::finite(
        "insulation resistance",
        not_negative("ir_Mohm", ir_mohm)? * 0.5_f64.powf((40.0 - temp_c) / 10.0),
    )
}

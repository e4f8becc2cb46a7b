//! Signals, percent of travel, and what a signal level means.
//!
//! Ranges: IEC 60381-1 (current), IEC 60381-2 (voltage). A reading is never
//! clamped; only the expected travel is.

use super::{CalcError, Calculated, finite, positive};

/// Which end of the signal is 0 % of travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    /// The low end.
    Direct,
    /// The high end.
    Reverse,
}

impl Action {
    /// By its word.
    #[must_use]
    pub fn named(word: &str) -> Option<Self> {
        match word {
            "direct" => Some(Self::Direct),
            "reverse" => Some(Self::Reverse),
            _ => None,
        }
    }
}

fn span(lo: f64, hi: f64) -> Calculated<f64> {
    let span = hi - lo;
    if span.is_finite() && span > 0.0 {
        Ok(span)
    } else {
        Err(CalcError::OutOfRange {
            name: "hi",
            found: hi.to_string(),
            fix: "the high end must be above the low end",
        })
    }
}

/// Percent of travel for a signal, unclamped; signal, `lo` and `hi` in one unit (mA or V).
///
/// Source: definition of a linear range, IEC 60381-1 and -2.
///
/// # Errors
/// If `hi` is not above `lo`.
pub fn signal_to_percent(signal: f64, lo: f64, hi: f64, action: Action) -> Calculated<f64> {
    let percent = 100.0 * (signal - lo) / span(lo, hi)?;
    finite(
        "percent",
        match action {
            Action::Direct => percent,
            Action::Reverse => 100.0 - percent,
        },
    )
}

/// Signal for a percentage of travel, unclamped.
///
/// Source: definition of a linear range, IEC 60381-1 and -2.
///
/// # Errors
/// If `hi` is not above `lo`.
pub fn percent_to_signal(percent: f64, lo: f64, hi: f64, action: Action) -> Calculated<f64> {
    let span = span(lo, hi)?;
    finite(
        "signal",
        match action {
            Action::Direct => lo + span * percent / 100.0,
            Action::Reverse => hi - span * percent / 100.0,
        },
    )
}

/// Deviation in % of the configured span: positive if measured is above expected.
///
/// Source: ANSI/ISA-51.1, error in percent of span.
///
/// # Errors
/// If `hi` is not above `lo`.
pub fn deviation_pct_span(measured: f64, expected: f64, lo: f64, hi: f64) -> Calculated<f64> {
    finite("deviation", 100.0 * (measured - expected) / span(lo, hi)?)
}

/// Expected travel for a raw percentage: 0 to 100. For the expectation only, never for a reading.
///
/// Source: common practice.
#[must_use]
pub fn clamp_travel_pct(percent: f64) -> f64 {
    percent.clamp(0.0, 100.0)
}

/// Inherent equal percentage: `R^(x-1)`; `x` is the fraction of travel. f(0) is 1/R.
///
/// Source: IEC 60534-2-4, inherent equal percentage characteristic (from memory).
///
/// # Errors
/// If the rangeability is not above zero.
pub fn eq_percent(rangeability: f64, x: f64) -> Calculated<f64> {
    finite(
        "fraction",
        positive("rangeability", rangeability)?.powf(x - 1.0),
    )
}

/// Equal percentage that shuts off: `(R^x - 1)/(R - 1)`.
///
/// Source: common practice (the shut-off form of the equal percentage curve).
///
/// # Errors
/// If the rangeability is not above zero, or is 1.
pub fn eq_percent_zero_based(rangeability: f64, x: f64) -> Calculated<f64> {
    let r = positive("rangeability", rangeability)?;
    finite("fraction", (r.powf(x) - 1.0) / (r - 1.0))
}

/// Square root characteristic.
///
/// # Errors
/// If `x` is below zero.
pub fn square_root_char(x: f64) -> Calculated<f64> {
    super::not_negative("x", x).map(f64::sqrt)
}

/// What a level of a 4 to 20 mA measuring signal means.
///
/// Source: NAMUR NE 43 limits; the class names are ours. It is a convention for
/// the outputs of transmitters: a command below 3.8 mA is no fault by NE 43.
#[must_use]
pub fn ne43_classify(current_ma: f64) -> &'static str {
    match current_ma {
        c if c <= 3.6 => "fault_low",
        c if c < 3.8 => "undefined_low",
        c if c < 4.0 => "under_range",
        c if c <= 20.0 => "normal",
        c if c <= 20.5 => "over_range",
        c if c < 21.0 => "undefined_high",
        _ => "fault_high",
    }
}

/// Voltage across a resistor that carries a signal current, V; current in mA.
///
/// Source: Ohm's law.
#[must_use]
pub fn current_through_resistor_volts(current_ma: f64, ohm: f64) -> f64 {
    current_ma * 1e-3 * ohm
}

/// Error in % of reading that a wrong shunt gives.
///
/// # Errors
/// If the nominal is not above zero.
pub fn shunt_pct_error(shunt_ohm: f64, nominal: f64) -> Calculated<f64> {
    Ok(100.0 * (shunt_ohm - nominal) / positive("nominal", nominal)?)
}

/// Direct or reverse, from feedback at rising commands.
///
/// `"direct"` if it rises throughout, `"reverse"` if it falls throughout, `"no_change"` if it stays, else
/// `"non_monotonic"`. Source: common practice.
///
/// # Errors
/// If there are fewer than two points, the lists differ in length, or the commands do not rise.
pub fn action_detect(command_pct: &[f64], feedback: &[f64]) -> Calculated<&'static str> {
    let mut pairs: Vec<(f64, f64)> = command_pct
        .iter()
        .copied()
        .zip(feedback.iter().copied())
        .collect();
    if command_pct.len() != feedback.len() || pairs.len() < 2 {
        return Err(CalcError::OutOfRange {
            name: "feedback_mA",
            found: format!(
                "{} values for {} commands",
                feedback.len(),
                command_pct.len()
            ),
            fix: "give one value for each command, at least two",
        });
    }
    pairs.sort_by(|one, other| one.0.total_cmp(&other.0));
    let steps: Vec<f64> = pairs.windows(2).map(|pair| pair[1].1 - pair[0].1).collect();
    Ok(if steps.iter().all(|step| *step == 0.0) {
        "no_change"
    } else if steps.iter().all(|step| *step > 0.0) {
        "direct"
    } else if steps.iter().all(|step| *step < 0.0) {
        "reverse"
    } else {
        "non_monotonic"
    })
}

//! Rounding for display: half to even on decimal text.
//!
//! Source: ISO 80000-1, annex on rounding, rule A (clause from memory). Binary
//! numbers are written out as decimals first, because 12.35 is not exact in
//! binary; a pass or a fail is decided before anything here is called.

use std::str::FromStr;

use rust_decimal::{Decimal, RoundingStrategy};

use super::{CalcError, Calculated};

/// Rounds decimal text to so many decimals; minus zero is printed as zero.
///
/// # Errors
/// If the text is no decimal number.
pub fn half_even(text: &str, decimals: u32) -> Calculated<String> {
    Ok(round(decimal("value", text)?, decimals))
}

/// A computed value with so many decimals, for display.
#[must_use]
pub fn fixed(value: f64, decimals: u32) -> String {
    // Shortest text that gives the same binary number; too large ones are left as they are.
    decimal("value", &format!("{value}")).map_or_else(
        |_| format!("{value:.*}", decimals as usize),
        |d| round(d, decimals),
    )
}

fn round(value: Decimal, decimals: u32) -> String {
    let decimals = decimals.min(20);
    let mut rounded = value.round_dp_with_strategy(decimals, RoundingStrategy::MidpointNearestEven);
    rounded.rescale(decimals);
    if rounded.is_zero() {
        rounded.set_sign_positive(true);
    }
    rounded.to_string()
}

fn decimal(name: &'static str, text: &str) -> Calculated<Decimal> {
    let text = text.trim();
    Decimal::from_str(text)
        .or_else(|_| Decimal::from_scientific(text))
        .map_err(|_| CalcError::OutOfRange {
            name,
            found: text.to_owned(),
            fix: "write a decimal number like 12.25",
        })
}

/// Number of decimals that leaves `digits` significant digits of a value; negative for tens and hundreds.
fn decimals_for(value: Decimal, digits: i32) -> i32 {
    let magnitude = magnitude(value);
    digits - 1 - magnitude
}

/// Power of ten of the first digit.
fn magnitude(value: Decimal) -> i32 {
    let value = value.abs().normalize();
    let digits = i32::try_from(value.mantissa().to_string().len()).unwrap_or(0);
    digits - 1 - i32::try_from(value.scale()).unwrap_or(0)
}

fn to_place(value: Decimal, decimals: i32) -> Decimal {
    if let Ok(decimals) = u32::try_from(decimals) {
        let mut rounded =
            value.round_dp_with_strategy(decimals, RoundingStrategy::MidpointNearestEven);
        rounded.rescale(decimals);
        rounded
    } else {
        let unit = Decimal::from_i128_with_scale(10_i128.pow(decimals.unsigned_abs().min(27)), 0);
        (value / unit).round_dp_with_strategy(0, RoundingStrategy::MidpointNearestEven) * unit
    }
}

/// An uncertainty with so many significant digits. Source: GUM 7.2.6.
///
/// # Errors
/// If it is no number, is not above zero, or the digits are not 1 or more.
pub fn significant(value: &str, digits: u32) -> Calculated<String> {
    let value = decimal("U", value)?;
    let digits = i32::try_from(digits).unwrap_or(i32::MAX).clamp(1, 15);
    if value.is_zero() {
        return Err(CalcError::OutOfRange {
            name: "U",
            found: value.to_string(),
            fix: "it must be above zero",
        });
    }
    let mut rounded = to_place(value, decimals_for(value, digits));
    // 0.0995 becomes 0.10, not 0.100.
    if magnitude(rounded) > magnitude(value) {
        rounded = to_place(rounded, decimals_for(rounded, digits));
    }
    Ok(rounded.to_string())
}

/// A value and its expanded uncertainty: two digits of U, the value to the same place. Source: GUM 7.2.6.
///
/// # Errors
/// If one is no number.
pub fn with_uncertainty(value: &str, expanded: &str) -> Calculated<String> {
    let rounded = significant(expanded, 2)?;
    let decimals = rounded.find('.').map_or(0, |at| rounded.len() - at - 1);
    let value = decimal("value", value)?;
    let place = if decimals == 0 {
        // 120 has its last place at the tens.
        decimals_for(decimal("U", &rounded)?, 2).min(0)
    } else {
        i32::try_from(decimals).unwrap_or(0)
    };
    let mut shown = to_place(value, place);
    if shown.is_zero() {
        shown.set_sign_positive(true);
    }
    Ok(format!("{shown} ± {rounded}"))
}

/// A reading as spoken: its digits are its resolution, and stay.
///
/// # Errors
/// If it is no decimal number.
pub fn as_spoken(text: &str) -> Calculated<String> {
    decimal("text", text).map(|value| value.to_string())
}

//! The calculations of the trade, pure: each function names its units, its
//! range and its source.
//!
//! No state. Readings come in unrounded; rounding is for display
//! ([`rounding`]), and pass or fail is decided before it. [`evaluate`] calls a
//! function by name with JSON inputs; [`finding`] holds the calculations that a
//! job file can name.

pub mod curves;
pub mod decision;
pub mod diagnosis;
pub mod finding;
pub mod history;
pub mod loops;
pub mod meter;
pub mod potentiometer;
pub mod published;
pub mod rounding;
pub mod signal;
pub mod table;
pub mod travel;

mod by_name;

pub use by_name::{FUNCTIONS, Function, evaluate};

/// Why a calculation gives no result.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CalcError {
    /// No calculation of that name.
    #[error("no calculation {name}{}", hint.as_ref().map_or_else(String::new, |hint| format!("; did you mean {hint}?")))]
    UnknownFunction {
        /// As given.
        name: String,
        /// The nearest name.
        hint: Option<String>,
    },
    /// The inputs are no JSON object.
    #[error("the inputs must be a JSON object like {{\"x\": 0.5}}, not {found}")]
    NotAnObject {
        /// As given.
        found: String,
    },
    /// An input is not there.
    #[error("input {name} is missing; give {wanted}")]
    Missing {
        /// Its name.
        name: String,
        /// What is wanted.
        wanted: &'static str,
    },
    /// An input that the calculation does not have.
    #[error("there is no input {name}; the inputs are {known}")]
    Unknown {
        /// As given.
        name: String,
        /// The names there are.
        known: String,
    },
    /// An input of the wrong kind.
    #[error("input {name} is {found}; give {wanted}")]
    WrongKind {
        /// Its name.
        name: String,
        /// As given.
        found: String,
        /// What is wanted.
        wanted: &'static str,
    },
    /// A number outside of what makes sense.
    #[error("input {name} is {found}; {fix}")]
    OutOfRange {
        /// Its name.
        name: &'static str,
        /// As given.
        found: String,
        /// What would be right.
        fix: &'static str,
    },
    /// The inputs do not give a finite result.
    #[error("these inputs give no finite result ({what}); check them")]
    NotFinite {
        /// What was computed.
        what: &'static str,
    },
}

/// What rounding in binary may add to a value that lies on its limit.
const SLACK: f64 = 1e-9;

/// True if the value keeps the limit; on the limit it does. Not a number keeps none.
#[must_use]
pub fn keeps(value: f64, limit: f64) -> bool {
    value <= limit + SLACK
}

/// True if the value is beyond the limit; on the limit it is not. Not a number is beyond none.
#[must_use]
pub fn exceeds(value: f64, limit: f64) -> bool {
    value > limit + SLACK
}

/// Result of a calculation.
pub type Calculated<T> = Result<T, CalcError>;

/// A number that must be above zero.
///
/// # Errors
/// If it is not.
pub fn positive(name: &'static str, value: f64) -> Calculated<f64> {
    if value > 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(CalcError::OutOfRange {
            name,
            found: value.to_string(),
            fix: "it must be above zero",
        })
    }
}

/// A number that must not be below zero.
///
/// # Errors
/// If it is.
pub fn not_negative(name: &'static str, value: f64) -> Calculated<f64> {
    if value >= 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(CalcError::OutOfRange {
            name,
            found: value.to_string(),
            fix: "it must be zero or above",
        })
    }
}

/// A finite number.
///
/// # Errors
/// If it is not finite.
pub fn finite(what: &'static str, value: f64) -> Calculated<f64> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(CalcError::NotFinite { what })
    }
}

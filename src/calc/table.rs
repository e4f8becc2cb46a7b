//! A table of calculations with what they should give, against what they do give.

use serde_json::Value;

use super::{CalcError, evaluate};
use crate::table::{self, Outcome, TableOutcome};

/// Runs a table with the columns `id`, `function`, `inputs_json`, `expected_json`, `abs_tolerance`.
/// A tolerance that is no number (as `exact`) is none.
#[must_use]
pub fn run(tsv: &str) -> TableOutcome {
    let columns = [
        "id",
        "function",
        "inputs_json",
        "expected_json",
        "abs_tolerance",
    ];
    table::check(
        tsv,
        columns,
        |[_, function, inputs, expected, tolerance]| row(function, inputs, expected, tolerance),
    )
}

fn row(function: &str, inputs: &str, expected: &str, tolerance: &str) -> (Outcome, String) {
    let inputs: Value = match serde_json::from_str(inputs) {
        Ok(inputs) => inputs,
        Err(error) => return (Outcome::Off, format!("inputs_json: {error}")),
    };
    let expected: Value = match serde_json::from_str(expected) {
        Ok(expected) => expected,
        Err(error) => return (Outcome::Off, format!("expected_json: {error}")),
    };
    match evaluate(function, &inputs) {
        Ok(got) => {
            let tolerance = tolerance.trim().parse().unwrap_or(0.0);
            let state = if same(&got, &expected, tolerance) {
                Outcome::Ok
            } else {
                Outcome::Off
            };
            (state, got.to_string())
        }
        Err(error @ CalcError::UnknownFunction { .. }) => (Outcome::Unknown, error.to_string()),
        Err(error) => (Outcome::Off, error.to_string()),
    }
}

/// Numbers within the tolerance (and the last bits of a double), lists one by one, all else to the letter.
fn same(got: &Value, expected: &Value, tolerance: f64) -> bool {
    match (got, expected) {
        (Value::Array(got), Value::Array(expected)) => {
            got.len() == expected.len()
                && got
                    .iter()
                    .zip(expected)
                    .all(|(got, expected)| same(got, expected, tolerance))
        }
        (Value::Number(got), Value::Number(expected)) => match (got.as_f64(), expected.as_f64()) {
            (Some(got), Some(expected)) => {
                (got - expected).abs() <= tolerance.max(1e-12 * expected.abs())
            }
            _ => false,
        },
        _ => got == expected,
    }
}

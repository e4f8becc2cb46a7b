//! Checks the rows of a table: id, function, inputs, expected result, tolerance.

use std::fmt;

use serde_json::Value;

use super::{CalcError, evaluate};

/// What became of one row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RowState {
    /// As expected.
    Ok,
    /// Not as expected.
    Off,
    /// There is no such function.
    Unknown,
}

/// One checked row.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its id.
    pub id: String,
    /// What became of it.
    pub state: RowState,
    /// What was computed, as JSON, or why nothing was.
    pub got: String,
}

/// A checked table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TableOutcome {
    /// Its rows, in order.
    pub rows: Vec<Row>,
}

impl TableOutcome {
    fn count(&self, state: RowState) -> usize {
        self.rows.iter().filter(|row| row.state == state).count()
    }

    /// True if every row is as expected. A table without rows proves nothing, so it is not.
    #[must_use]
    pub fn all_ok(&self) -> bool {
        !self.rows.is_empty() && self.count(RowState::Ok) == self.rows.len()
    }
}

impl fmt::Display for TableOutcome {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        for row in &self.rows {
            let state = match row.state {
                RowState::Ok => "ok",
                RowState::Off => "off",
                RowState::Unknown => "unknown",
            };
            writeln!(f, "{}\t{state}\t{}", row.id, row.got)?;
        }
        write!(
            f,
            "{} ok, {} off, {} unknown",
            self.count(RowState::Ok),
            self.count(RowState::Off),
            self.count(RowState::Unknown)
        )
    }
}

/// Checks all rows of a tab-separated table with a header line.
#[must_use]
pub fn run(text: &str) -> TableOutcome {
    let mut lines = text
        .lines()
        .map(|line| line.trim_end_matches('\r'))
        .filter(|line| !line.trim().is_empty());
    let header: Vec<&str> = lines
        .next()
        .unwrap_or_default()
        .trim_start_matches('\u{feff}')
        .split('\t')
        .collect();
    let column = |name: &str| header.iter().position(|column| column.trim() == name);
    let columns = (
        column("id"),
        column("function"),
        column("inputs_json"),
        column("expected_json"),
    );
    let (Some(id), Some(function), Some(inputs), Some(expected)) = columns else {
        let got =
            "the header needs the columns id, function, inputs_json, expected_json".to_owned();
        return TableOutcome {
            rows: vec![Row {
                id: "header".to_owned(),
                state: RowState::Off,
                got,
            }],
        };
    };
    let tolerance = column("abs_tolerance");
    let rows = lines
        .map(|line| {
            let cells: Vec<&str> = line.split('\t').collect();
            let cell = |at: usize| cells.get(at).copied().unwrap_or_default();
            let (state, got) = row(
                cell(function),
                cell(inputs),
                cell(expected),
                tolerance.map_or("", cell),
            );
            Row {
                id: cell(id).to_owned(),
                state,
                got,
            }
        })
        .collect();
    TableOutcome { rows }
}

fn row(function: &str, inputs: &str, expected: &str, tolerance: &str) -> (RowState, String) {
    let inputs: Value = match serde_json::from_str(inputs) {
        Ok(inputs) => inputs,
        Err(error) => return (RowState::Off, format!("inputs_json: {error}")),
    };
    let expected: Value = match serde_json::from_str(expected) {
        Ok(expected) => expected,
        Err(error) => return (RowState::Off, format!("expected_json: {error}")),
    };
    match evaluate(function, &inputs) {
        Ok(got) => {
            let tolerance = tolerance.trim().parse().unwrap_or(0.0);
            let state = if same(&got, &expected, tolerance) {
                RowState::Ok
            } else {
                RowState::Off
            };
            (state, got.to_string())
        }
        Err(error @ CalcError::UnknownFunction { .. }) => (RowState::Unknown, error.to_string()),
        Err(error) => (RowState::Off, error.to_string()),
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

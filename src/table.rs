//! Tables of checked rows: the form that `calc --table` and `parse --table` share.
//!
//! No state: a text with a header line in, one outcome a row out.

use std::fmt;

/// How one row came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Expect, value and unit agree.
    Ok,
    /// At least one of them differs.
    Off,
    /// No slot has that name.
    Unknown,
}

/// One row's result.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowOutcome {
    /// The row's id.
    pub id: String,
    /// How it came out.
    pub outcome: Outcome,
    /// What came of it, in one line.
    pub got: String,
}

/// The whole table's result; displays as one line a row and a last line of counts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TableOutcome {
    /// In the table's order.
    pub rows: Vec<RowOutcome>,
}

/// Checks each row of a tab-separated text. Columns are found by their names in the first line, others are
/// ignored, blank lines and lines that begin with `#` are passed over. `check` gets the cells of `columns`, in
/// that order, and tells how the row came out; the first column is the row's id. A column that is not there
/// makes the whole table off: rows checked without it would prove nothing.
#[must_use]
pub fn check<const N: usize>(
    tsv: &str,
    columns: [&str; N],
    mut check: impl FnMut([&str; N]) -> (Outcome, String),
) -> TableOutcome {
    let mut lines = tsv.lines().map(|line| line.trim_end_matches('\r'));
    let head: Vec<&str> = lines
        .next()
        .unwrap_or_default()
        .trim_start_matches('\u{feff}')
        .split('\t')
        .map(str::trim)
        .collect();
    let places = columns.map(|name| head.iter().position(|column| *column == name));
    if let Some(missing) = places.iter().position(Option::is_none) {
        let got = format!(
            "the header has no column {}; it needs {}",
            columns[missing],
            columns.join(", ")
        );
        return TableOutcome {
            rows: vec![RowOutcome {
                id: "header".to_owned(),
                outcome: Outcome::Off,
                got,
            }],
        };
    }
    let rows = lines
        .filter(|line| !line.trim().is_empty() && !line.starts_with('#'))
        .map(|line| {
            let cells: Vec<&str> = line.split('\t').collect();
            let cells = places.map(|place| {
                place
                    .and_then(|at| cells.get(at))
                    .copied()
                    .unwrap_or_default()
            });
            let (outcome, got) = check(cells);
            RowOutcome {
                id: cells[0].to_owned(),
                outcome,
                got,
            }
        })
        .collect();
    TableOutcome { rows }
}

impl TableOutcome {
    /// How many rows came out so.
    #[must_use]
    pub fn count(&self, outcome: Outcome) -> usize {
        self.rows
            .iter()
            .filter(|row| row.outcome == outcome)
            .count()
    }

    /// Whether there is at least one row and every row agrees.
    #[must_use]
    pub fn all_ok(&self) -> bool {
        !self.rows.is_empty() && self.rows.iter().all(|row| row.outcome == Outcome::Ok)
    }
}

impl fmt::Display for Outcome {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self {
            Outcome::Ok => "ok",
            Outcome::Off => "off",
            Outcome::Unknown => "unknown",
        })
    }
}

impl fmt::Display for TableOutcome {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        for row in &self.rows {
            writeln!(out, "{}\t{}\t{}", row.id, row.outcome, row.got)?;
        }
        let [ok, off, unknown] =
            [Outcome::Ok, Outcome::Off, Outcome::Unknown].map(|outcome| self.count(outcome));
        write!(out, "{ok} ok, {off} off, {unknown} unknown")
    }
}

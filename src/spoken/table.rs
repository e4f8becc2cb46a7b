//! A table of phrases with what they should mean, against what they do mean.

use std::fmt;

use super::parse::parse;
use super::slot::named_slot;

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
    /// What the phrase was taken for: `VALUE 4.02 mA`.
    pub got: String,
}

/// The whole table's result; displays as one line a row and a last line of counts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TableOutcome {
    /// In the table's order.
    pub rows: Vec<RowOutcome>,
}

/// Runs a tab-separated table. Columns are found by the names in its first line:
/// `id`, `phrase`, `slot`, `expect`, `value`, `unit`; others are ignored. Values are
/// compared as text, so that 4.00 is not 4.
#[must_use]
pub fn run(tsv: &str) -> TableOutcome {
    let mut lines = tsv.lines().map(|line| line.trim_end_matches('\r'));
    let head: Vec<&str> = lines
        .next()
        .unwrap_or_default()
        .trim_start_matches('\u{feff}')
        .split('\t')
        .map(str::trim)
        .collect();
    let place = |name: &str| head.iter().position(|column| *column == name);
    let places = ["id", "phrase", "slot", "expect", "value", "unit"].map(place);
    let mut rows = Vec::new();
    for line in lines {
        if line.trim().is_empty() || line.starts_with('#') {
            continue;
        }
        let cells: Vec<&str> = line.split('\t').collect();
        let [id, phrase, slot, expect, value, unit] = places.map(|place| {
            place
                .and_then(|at| cells.get(at))
                .copied()
                .unwrap_or_default()
        });
        let Some(slot) = named_slot(slot.trim()) else {
            rows.push(RowOutcome {
                id: id.to_owned(),
                outcome: Outcome::Unknown,
                got: format!("no slot is named {slot}"),
            });
            continue;
        };
        let decision = parse(&slot, phrase);
        let same = decision.expect.code() == expect.trim()
            && decision.value() == value.trim()
            && decision.unit_id() == unit.trim();
        let got = [
            decision.expect.code(),
            &decision.value(),
            decision.unit_id(),
        ]
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(" ");
        rows.push(RowOutcome {
            id: id.to_owned(),
            outcome: if same { Outcome::Ok } else { Outcome::Off },
            got,
        });
    }
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

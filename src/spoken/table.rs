//! Checks the rows of a table: id, phrase, slot, expected decision, value and unit.

use std::fmt;

use super::meaning::{Decision, Expect};
use super::slot::{Slot, SlotKind, named_slot};

/// What became of one row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RowState {
    /// As expected.
    Ok,
    /// Not as expected.
    Off,
    /// There is no such slot.
    Unknown,
}

/// One checked row.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its id.
    pub id: String,
    /// What became of it.
    pub state: RowState,
    /// The decision, in one line.
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
        let (ok, off, unknown) =
            (self.count(RowState::Ok), self.count(RowState::Off), self.count(RowState::Unknown));
        write!(f, "{ok} ok, {off} off, {unknown} unknown")
    }
}

/// Checks all rows of a tab-separated table with a header line.
#[must_use]
pub fn run(text: &str) -> TableOutcome {
    let mut lines = text.lines().map(|line| line.trim_end_matches('\r')).filter(|line| !line.trim().is_empty());
    let header: Vec<&str> = lines.next().unwrap_or_default().trim_start_matches('\u{feff}').split('\t').collect();
    let column = |name: &str| header.iter().position(|column| column.trim() == name);
    let columns = [column("id"), column("phrase"), column("slot"), column("expect"), column("value"), column("unit")];
    let [Some(id), Some(phrase), Some(slot), Some(expect), Some(value), Some(unit)] = columns else {
        let got = "the header needs the columns id, phrase, slot, expect, value, unit".to_owned();
        return TableOutcome { rows: vec![Row { id: "header".to_owned(), state: RowState::Off, got }] };
    };
    let rows = lines
        .map(|line| {
            let cells: Vec<&str> = line.split('\t').collect();
            let cell = |at: usize| cells.get(at).copied().unwrap_or_default().trim();
            let (state, got) = match named_slot(cell(slot)) {
                None => (RowState::Unknown, format!("no slot {}", cell(slot))),
                Some(slot) => {
                    let decision = super::parse(&slot, cell(phrase));
                    let agrees = agrees(&slot, &decision, cell(expect), cell(value), cell(unit));
                    (if agrees { RowState::Ok } else { RowState::Off }, line_of(&decision))
                }
            };
            Row { id: cell(id).to_owned(), state, got }
        })
        .collect();
    TableOutcome { rows }
}

fn expect_word(expect: Expect) -> &'static str {
    match expect {
        Expect::Value => "VALUE",
        Expect::Confirm => "CONFIRM",
        Expect::Ambiguous => "AMBIGUOUS",
        Expect::Reject => "REJECT",
        Expect::Status => "STATUS",
        Expect::Command => "COMMAND",
    }
}

fn line_of(decision: &Decision) -> String {
    let unit = decision.unit.map_or("", |unit| unit.id());
    [expect_word(decision.expect), &decision.value_text(), unit]
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}

fn agrees(slot: &Slot, decision: &Decision, expect: &str, value: &str, unit: &str) -> bool {
    let got_unit = decision.unit.map_or("", |unit| unit.id());
    // Where there is no value there is no unit to be wrong: a table may name the slot's own or leave it out.
    let unit_agrees = got_unit == unit
        || (matches!(decision.expect, Expect::Reject | Expect::Ambiguous)
            && (unit.is_empty() || matches!(&slot.kind, SlotKind::Number(range) if range.unit.id() == unit)));
    expect_word(decision.expect) == expect && decision.value_text() == value && unit_agrees
}

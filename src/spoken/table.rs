//! A table of phrases with what they should mean, against what they do mean.

use super::parse::parse;
use super::slot::named_slot;
use crate::table::{self, Outcome, TableOutcome};

/// Runs a table with the columns `id`, `phrase`, `slot`, `expect`, `value`, `unit`.
/// Values are compared as text, so that 4.00 is not 4.
#[must_use]
pub fn run(tsv: &str) -> TableOutcome {
    let columns = ["id", "phrase", "slot", "expect", "value", "unit"];
    table::check(tsv, columns, |[_, phrase, slot, expect, value, unit]| {
        let Some(slot) = named_slot(slot.trim()) else {
            return (Outcome::Unknown, format!("no slot is named {slot}"));
        };
        let decision = parse(&slot, phrase);
        let parts = [
            decision.expect.code(),
            &decision.value(),
            decision.unit_id(),
        ];
        let same = parts == [expect.trim(), value.trim(), unit.trim()];
        let got = parts
            .into_iter()
            .filter(|part| !part.is_empty())
            .collect::<Vec<_>>()
            .join(" ");
        (if same { Outcome::Ok } else { Outcome::Off }, got)
    })
}

//! Spoken words against the policy tables, and the rules that no phrase may break.

#![allow(clippy::unwrap_used)] // tests say what is wrong by failing

mod grammar;
mod keyed;
mod listening;
mod rules;

use sayback::spoken::table;

fn check(tsv: &str) {
    let outcome = table::run(tsv);
    let off: Vec<String> = outcome
        .to_string()
        .lines()
        .filter(|line| !line.contains("\tok\t"))
        .map(str::to_owned)
        .collect();
    assert!(outcome.all_ok(), "{}", off.join("\n"));
}

#[test]
fn every_row_of_the_policy_table() {
    check(include_str!("spoken.tsv"));
}

#[test]
fn every_row_of_our_own_table() {
    check(include_str!("more.tsv"));
}

#[test]
fn a_wrong_row_is_off_and_an_unknown_slot_is_unknown() {
    let outcome = table::run(
        "unit\tid\tphrase\tslot\texpect\tvalue\nmA\tA\tfour\tMA\tVALUE\t4.00\nmA\tB\tfour\tXX\tVALUE\t4\n",
    );
    assert!(!outcome.all_ok());
    assert_eq!(
        outcome.to_string(),
        "A\toff\tVALUE 4 mA\nB\tunknown\tno slot is named XX\n0 ok, 1 off, 1 unknown"
    );
}

#[test]
fn a_table_without_rows_is_not_ok() {
    assert!(!table::run("id\tphrase\tslot\texpect\tvalue\tunit\n").all_ok());
    assert!(!table::run("").all_ok());
}

//! Calculations against published sources and worked examples; each row of the
//! table names its source.

mod findings;

use sayback::calc::table;

#[test]
fn every_row_of_the_table_is_as_expected() {
    let outcome = table::run(include_str!("checks.tsv"));
    assert!(outcome.all_ok(), "{outcome}");
    assert!(outcome.rows.len() > 300);
}

//! Spoken words: the policy, case by case.

use sayback::spoken::table;

#[test]
fn every_row_of_the_policy_table_is_as_expected() {
    let outcome = table::run(include_str!("spoken.tsv"));
    let off: Vec<String> = outcome.to_string().lines().filter(|line| !line.contains("\tok\t")).map(str::to_owned).collect();
    assert!(outcome.all_ok(), "{}", off.join("\n"));
    assert!(outcome.rows.len() > 230);
}

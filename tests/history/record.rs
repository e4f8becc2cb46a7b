//! What the record of a run says about the last as left.

use std::path::Path;

use assert_cmd::Command;

use super::made::{Made, Runs};
use crate::core::set_ends::LEFT;

const DRIFTED: Runs = ([0.1, 25.2, 50.9, 75.1, 100.0], LEFT.1);

fn record(run: &Path) {
    let output = Command::new(env!("CARGO_BIN_EXE_sayback"))
        .env_remove("SAYBACK_RUNS")
        .arg("record")
        .arg(run)
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
}

#[test]
fn the_record_tells_what_became_of_the_last_as_left_and_when_to_look_again() {
    let runs = tempfile::tempdir().unwrap();
    let first = Made::set_ends("FV-118", 0, LEFT, LEFT, true).write(runs.path());
    let second = Made::set_ends("FV-118", 365, DRIFTED, LEFT, true).write(runs.path());
    Made::set_ends("FV-201", 100, LEFT, LEFT, true).write(runs.path());
    let text = |run: &Path, file: &str| std::fs::read_to_string(run.join(file)).unwrap();
    record(&second);
    let html = text(&second, "record.html");
    for part in [
        "Since last as left",
        "deviation at 50 % up: left 50.3 % (+0.3 % of span) on 2024-11-25 [2024-11-25-001-set-ends], found 50.9 % (+0.9 % of span): drift +0.6 % of span in 365 days",
        "the largest of 10 points",
        "Next check, a suggestion (n = 1: one drift value is weak evidence): by 2027-11-24",
        "from deviation at 50 % up: drift +0.600 % of span in 365 days; as left +0.300 %",
    ] {
        assert!(html.contains(part), "{part}");
    }
    let rows: Vec<csv::StringRecord> = csv::Reader::from_path(second.join("record.csv"))
        .unwrap()
        .records()
        .map(Result::unwrap)
        .filter(|row| &row[3] == "since last as left")
        .collect();
    assert_eq!(rows.len(), 10);
    assert_eq!(
        (&rows[2][7], &rows[2][8], &rows[2][10]),
        ("50", "up", "0.6")
    );
    let json: serde_json::Value = serde_json::from_str(&text(&second, "record.json")).unwrap();
    assert_eq!(json["since"]["earlier"], 1);
    let schema = serde_json::from_str(sayback::report::schema().as_str()).unwrap();
    let faults: Vec<String> = jsonschema::validator_for(&schema)
        .unwrap()
        .iter_errors(&json)
        .map(|fault| fault.to_string())
        .collect();
    assert_eq!(faults, Vec::<String>::new());
    let pdf = std::process::Command::new("pdftotext")
        .args(["-layout", "record.pdf", "-"])
        .current_dir(&second)
        .output();
    match pdf {
        Ok(pdf) => {
            let pdf = String::from_utf8_lossy(&pdf.stdout).into_owned();
            assert!(
                pdf.contains("Since last as left") && pdf.contains("drift +0.6 %"),
                "{pdf}"
            );
        }
        Err(error) => {
            eprintln!("NOT TESTED: the drift in the PDF, because there is no pdftotext: {error}");
        }
    }
    // A later job changes nothing in the record of an earlier one, and no index is made for it.
    record(&first);
    assert!(!text(&first, "record.html").contains("Since last as left"));
    assert!(text(&first, "record.json").find("\"since\"").is_none());
    assert!(!runs.path().join("sayback-history.sqlite").exists());
    // Named from inside its folder, it is the same run.
    let output = Command::new(env!("CARGO_BIN_EXE_sayback"))
        .args(["record", "."])
        .current_dir(&second)
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    assert_eq!(text(&second, "record.html"), html);
}

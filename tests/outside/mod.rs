//! The record against the outside: its numbers worked out again with numpy, scipy and
//! uncertainties, its data held against the schema by a library of another language.

#[cfg(feature = "voice")]
mod grammars;
mod history;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use sayback::report::{self, Report};

use crate::core::{meter_check, set_ends};
use crate::report::scenario::{both_runs, fv_118};

fn here() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside")
}

/// A Python with the libraries; none, and loudly so, where it cannot be had.
fn python() -> Option<&'static Path> {
    static MADE: OnceLock<Option<PathBuf>> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("outside");
        let made = Command::new(here().join("setup")).arg(&folder).output();
        match made {
            Ok(output) if output.status.success() => Some(folder.join("bin/python")),
            other => {
                let why = other.map_or_else(
                    |error| error.to_string(),
                    |output| String::from_utf8_lossy(&output.stderr).into_owned(),
                );
                eprintln!("NOT TESTED: the record against numpy, scipy, uncertainties and jsonschema, because tests/outside/setup could not make a Python with them: {why}");
                None
            }
        }
    })
    .as_deref()
}

/// Every record that the tests make, with its name.
fn records() -> Vec<(&'static str, Report)> {
    vec![
        ("slipped", fv_118().report()),
        ("both-runs", both_runs().report()),
        ("ends", set_ends::direct().report()),
        ("meter", meter_check::within().report()),
    ]
}

/// The demo, done by keypad through the program itself.
fn demo(folder: &Path) -> PathBuf {
    let output = crate::cli::run_by_keys(folder, include_str!("../cli/keys.txt"));
    assert_eq!(output.status.code(), Some(0));
    crate::cli::only_run(folder)
}

/// What a script of this folder says, and whether it is content.
fn run(python: &Path, script: &str, arguments: &[PathBuf]) -> (bool, String) {
    let output = Command::new(python)
        .arg(here().join(script))
        .args(arguments)
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned()
        + &String::from_utf8_lossy(&output.stderr);
    (output.status.success(), text)
}

#[test]
fn every_number_of_a_record_is_worked_out_again_from_its_csv() {
    let Some(python) = python() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut files: Vec<PathBuf> = records()
        .into_iter()
        .map(|(name, report)| {
            let path = folder.path().join(format!("{name}.csv"));
            std::fs::write(&path, report::csv(&report).unwrap()).unwrap();
            path
        })
        .collect();
    files.push(demo(&folder.path().join("runs")).join("record.csv"));
    let (good, text) = run(python, "record.py", &files);
    eprintln!("{text}");
    assert!(good, "{text}");
    // It can fail: one digit of one number, in each kind of row that holds one.
    let whole = std::fs::read_to_string(&files[0]).unwrap();
    for (old, new) in [
        (",506.5,ohm,3.2 Ω,", ",506.5,ohm,3.3 Ω,"),
        ("centring error,-36.18,", "centring error,-36.17,"),
        (",accepted,", ",not accepted,"),
        (",conditional pass,", ",pass,"),
        (",r_ab,1013,", ",r_ab,1014,"),
    ] {
        assert!(whole.contains(old), "{old} in {whole}");
        let path = folder.path().join("changed.csv");
        std::fs::write(&path, whole.replacen(old, new, 1)).unwrap();
        let (good, text) = run(python, "record.py", &[path]);
        assert!(!good, "{old} became {new} and nobody saw it: {text}");
    }
}

#[test]
fn the_data_keep_to_the_schema_by_a_library_of_another_language() {
    let Some(python) = python() else { return };
    let folder = tempfile::tempdir().unwrap();
    let schema = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/report/record.schema.json");
    let mut arguments = vec![PathBuf::from("--schema"), schema];
    for (name, report) in records() {
        let path = folder.path().join(format!("{name}.json"));
        std::fs::write(&path, report::json(&report)).unwrap();
        arguments.push(path);
    }
    arguments.push(demo(&folder.path().join("runs")).join("record.json"));
    let (good, text) = run(python, "record.py", &arguments);
    assert!(good, "{text}");
}

//! Job files and job sheets: the built-in jobs load, and every fault is told with
//! its place and a fix.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

mod built_in;
mod hostile;
mod sheet;

use std::fs;
use std::path::PathBuf;

use sayback::job::load::parse;
use sayback::job::{Job, NumberRange, PlateKind, PlateValue, StepKind};

pub(crate) fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/job")
}

pub(crate) fn good_text() -> String {
    fs::read_to_string(folder().join("good.toml")).unwrap()
}

pub(crate) fn good() -> Job {
    parse(&good_text(), "good.toml").unwrap_or_else(|errors| panic!("{errors}"))
}

#[test]
fn a_sound_job_is_read_whole() {
    let job = good();
    assert_eq!(job.id, "small-job");
    assert_eq!(job.steps.len(), 8);
    assert_eq!(job.limits["total"].value.to_string(), "10");
    assert_eq!(job.limits["total"].source, "common practice");
    let StepKind::Reading(NumberRange::Scaled {
        plate, high, or, ..
    }) = &job.steps[1].kind
    else {
        panic!("{:?}", job.steps[1].kind)
    };
    assert_eq!(
        (
            plate.as_str(),
            high.to_string().as_str(),
            or.1.to_string().as_str()
        ),
        ("pot-nominal", "1.2", "12000")
    );
    let PlateKind::Choice(options) = &job.plate[1].kind else {
        panic!()
    };
    assert_eq!(options[0].sets["signal-low"], PlateValue::Number(4.into()));
    assert_eq!(
        options[0].sets["signal-unit"],
        PlateValue::Text("mA".to_owned())
    );
    assert_eq!(
        job.hash,
        blake3::hash(good_text().as_bytes()).to_hex().to_string()
    );
}

#[test]
fn every_fault_is_told_with_its_place_and_a_fix() {
    let mut files: Vec<PathBuf> = fs::read_dir(folder().join("bad"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    assert!(files.len() > 50, "the bad files are there: {}", files.len());
    for path in files {
        let name = path.file_name().unwrap().to_str().unwrap();
        let text = fs::read_to_string(&path).unwrap();
        let errors = parse(&text, name).expect_err(name);
        assert!(
            errors
                .faults
                .iter()
                .all(|fault| fault.line >= 1 && fault.column >= 1 && !fault.fix.is_empty())
        );
        insta::assert_snapshot!(name.trim_end_matches(".toml"), errors.to_string());
    }
}

#[test]
fn each_bad_file_has_one_kind_of_fault() {
    // "many-faults" is the only one that is to show that reading goes on.
    for entry in fs::read_dir(folder().join("bad")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        let errors = parse(&fs::read_to_string(&path).unwrap(), &name).expect_err(&name);
        let most = if name == "many-faults.toml" { 6 } else { 5 };
        assert!(errors.faults.len() <= most, "{name}: {errors}");
        if name == "many-faults.toml" {
            assert_eq!(errors.faults.len(), 6, "{errors}");
        }
    }
}

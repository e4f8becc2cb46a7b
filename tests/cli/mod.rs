//! The program as a person starts it.

use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;

mod export;
mod long_run;
#[cfg(feature = "voice")]
mod model_words;
mod pipes;
mod route;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn sheet() -> PathBuf {
    root().join("audio-fixtures/demo-sheet.toml")
}

fn sayback() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    command
        .env_remove("SAYBACK_RUNS")
        .timeout(std::time::Duration::from_secs(120));
    command
}

fn text(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

pub fn only_run(runs: &Path) -> PathBuf {
    std::fs::read_dir(runs)
        .unwrap()
        .next()
        .unwrap()
        .unwrap()
        .path()
}

pub fn run_by_keys(runs: &Path, keys: &str) -> Output {
    sayback()
        .args([
            "run",
            "centre-potentiometer",
            "--keypad",
            "--plain",
            "--sheet",
        ])
        .arg(sheet())
        .arg("--runs")
        .arg(runs)
        .write_stdin(keys)
        .output()
        .unwrap()
}

#[test]
fn the_whole_job_is_done_by_keypad() {
    let runs = tempfile::tempdir().unwrap();
    let output = run_by_keys(runs.path(), include_str!("keys.txt"));
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    let run = only_run(runs.path());
    let json = std::fs::read_to_string(run.join("record.json")).unwrap();
    let html = std::fs::read_to_string(run.join("record.html")).unwrap();
    for shown in ["FV-118", "140.2", "510.1", "506.5"] {
        assert!(html.contains(shown) && json.contains(shown), "{shown}");
    }
    assert!(run.join("record.csv").exists());
    let checked = sayback().arg("verify").arg(&run).output().unwrap();
    assert_eq!(checked.status.code(), Some(0), "{}", text(&checked));
}

#[test]
fn a_run_that_breaks_off_is_resumed_in_the_exact_step() {
    let runs = tempfile::tempdir().unwrap();
    let keys = include_str!("keys.txt");
    let lines: Vec<&str> = keys.lines().collect();
    let (first, rest) = lines.split_at(20);
    let output = run_by_keys(runs.path(), &(first.join("\n") + "\n"));
    assert_eq!(output.status.code(), Some(1));
    assert!(text(&output).contains("sayback resume"));
    let output = sayback()
        .args(["resume", "--keypad", "--plain", "--runs"])
        .arg(runs.path())
        .write_stdin(rest.join("\n") + "\n")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
}

#[test]
fn a_meter_outside_its_limits_flags_the_jobs() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = folder.path().join("sheet.toml");
    let plate = "[plate]\nwhen = \"end\"\nby = \"KD\"\nmeter-id = \"M7\"\nmeter-due = \"2027-02\"\nohm-percent = \"0.5\"\n\
        ohm-counts = \"2\"\nohm-resolution = \"0.1\"\ncurrent-percent = \"0.2\"\ncurrent-counts = \"2\"\n\
        current-resolution = \"0.01\"\nresistor = \"499.0\"\nresistor-tolerance = \"0.1\"\nreference = \"12.00\"\n\
        reference-tolerance = \"0.1\"\n";
    std::fs::write(&sheet, plate).unwrap();
    let output = sayback()
        .args(["run", "meter-check", "--keypad", "--plain", "--sheet"])
        .arg(&sheet)
        .arg("--runs")
        .arg(folder.path().join("runs"))
        .write_stdin("done\n0.2\n512.4\nnext\n12.01\ndone\n")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    assert!(
        text(&output).contains("Ohms are outside: flag every job since the last good check"),
        "{}",
        text(&output)
    );
}

#[test]
fn a_changed_journal_is_told() {
    let runs = tempfile::tempdir().unwrap();
    run_by_keys(runs.path(), "yes\n31\n");
    let run = only_run(runs.path());
    let path = run.join("journal.txt");
    let changed = std::fs::read_to_string(&path)
        .unwrap()
        .replace("\"31\"", "\"13\"");
    std::fs::write(&path, changed).unwrap();
    let output = sayback().arg("verify").arg(&run).output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", text(&output));
}

#[test]
fn wrong_use_names_the_fix_and_starts_no_run() {
    let runs = tempfile::tempdir().unwrap();
    let bad = runs.path().join("bad.toml");
    std::fs::write(&bad, "format = 1\nid = \"x\"\ntitel = \"x\"\n").unwrap();
    let cases: [(&[&str], &str); 4] = [
        (&["run", "no-such-job"], "Built-in jobs"),
        (&["check-job", bad.to_str().unwrap()], "bad.toml:3"),
        (
            &["calc", "signal_to_percnt", "{}"],
            "did you mean signal_to_percent",
        ),
        (&["parse", "R2K", "five"], "Slots"),
    ];
    for (args, fix) in cases {
        let output = sayback().args(args).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}: {}", text(&output));
        assert!(text(&output).contains(fix), "{args:?}: {}", text(&output));
    }
}

#[test]
fn a_pipe_as_a_job_file_does_not_hang() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("pipe.toml");
    assert!(
        std::process::Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .unwrap()
            .success()
    );
    let output = sayback().arg("check-job").arg(&pipe).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output).contains("no plain file"));
}

#[test]
fn tables_end_with_their_counts() {
    let calc = sayback()
        .args(["calc", "--table"])
        .arg(root().join("tests/calc/checks.tsv"))
        .output()
        .unwrap();
    assert_eq!(calc.status.code(), Some(0));
    assert!(text(&calc).trim_end().ends_with("0 off, 0 unknown"));
    let parse = sayback()
        .args(["parse", "--table"])
        .arg(root().join("tests/spoken/spoken.tsv"))
        .output()
        .unwrap();
    assert_eq!(parse.status.code(), Some(0));
    assert!(text(&parse).trim_end().ends_with("0 off, 0 unknown"));
}

#[cfg(feature = "voice")]
#[test]
fn the_whole_job_is_done_by_voice_from_the_recording() {
    let runs = tempfile::tempdir().unwrap();
    let output = sayback()
        .args([
            "run",
            "centre-potentiometer",
            "--fast",
            "--plain",
            "--recording",
        ])
        .arg(root().join("audio-fixtures/demo.flac"))
        .arg("--sheet")
        .arg(sheet())
        .arg("--runs")
        .arg(runs.path())
        .write_stdin("")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    let run = only_run(runs.path());
    // What was said is what is kept: each number of the script, in its order, as a reading.
    let journal = std::fs::read_to_string(run.join("journal.txt")).unwrap();
    for kept in [
        "\"140.2\"",
        "\"873.1\"",
        "\"510.1\"",
        "\"12.02\"",
        "\"50.2\"",
    ] {
        assert!(journal.contains(kept), "{kept}");
    }
    // The slip that was answered negative is nowhere kept as a value.
    assert!(!journal.contains("\"value\":\"837.1\""));
    let clips = std::fs::read_dir(run.join("clips")).unwrap().count();
    assert!(clips > 20);
    // Each of them can be heard again from the page, which needs no other file for it.
    let page = std::fs::read_to_string(run.join("record.html")).unwrap();
    assert_eq!(page.matches("<audio ").count(), clips);
    assert_eq!(page.matches("data:audio/wav;base64,UklGR").count(), clips);
    let checked = sayback().arg("verify").arg(&run).output().unwrap();
    assert_eq!(checked.status.code(), Some(0), "{}", text(&checked));
}

#[cfg(feature = "voice")]
#[test]
fn a_recording_and_the_keypad_do_a_job_together() {
    let runs = tempfile::tempdir().unwrap();
    // The recording has one answer; the keypad gives the rest.
    let keys: Vec<&str> = include_str!("keys.txt").lines().collect();
    let clip = root().join("audio-fixtures/clips/affirm.flac");
    let output = sayback()
        .args([
            "run",
            "centre-potentiometer",
            "--fast",
            "--plain",
            "--recording",
        ])
        .arg(clip)
        .arg("--sheet")
        .arg(sheet())
        .arg("--runs")
        .arg(runs.path())
        .write_stdin(keys.join("\n") + "\n")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
}

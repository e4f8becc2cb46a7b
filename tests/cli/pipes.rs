//! Outputs that are closed or full: no panic, a code that says so, and a journal that is whole.

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::Path;
use std::process::{Output, Stdio};
use std::time::Duration;

use super::{only_run, root, run_by_keys, sayback, sheet, text};

/// A pipe whose reader has gone away already.
fn closed() -> Stdio {
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    writer.into()
}

/// A device on which every write finds no room.
fn full() -> File {
    OpenOptions::new().write(true).open("/dev/full").unwrap()
}

/// `assert_cmd` always catches the output; these tests must not.
fn command(args: &[&str]) -> std::process::Command {
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_sayback"));
    command
        .args(args)
        .env_remove("SAYBACK_RUNS")
        .stdin(Stdio::null())
        .stderr(Stdio::piped());
    command
}

fn ended(mut command: std::process::Command) -> Output {
    let output = command.spawn().unwrap().wait_with_output().unwrap();
    assert!(!text(&output).contains("panicked"), "{}", text(&output));
    output
}

/// Every act that prints, with a run to print of.
fn printing_acts(runs: &Path) -> Vec<Vec<String>> {
    let run = only_run(runs);
    let (runs, run) = (runs.to_str().unwrap(), run.to_str().unwrap());
    let calc_table = root().join("tests/calc/checks.tsv");
    let parse_table = root().join("tests/spoken/spoken.tsv");
    #[allow(unused_mut, reason = "without the ear there are no more")]
    let mut acts = vec![
        vec!["--help"],
        vec!["--version"],
        vec!["run", "--help"],
        vec!["jobs"],
        vec!["jobs", "set-ends"],
        vec!["check-job", "set-ends"],
        vec!["calc"],
        vec![
            "calc",
            "signal_to_percent",
            r#"{"signal": 12, "lo": 4, "hi": 20, "action": "direct"}"#,
        ],
        vec!["calc", "--table", calc_table.to_str().unwrap()],
        vec!["parse"],
        vec!["parse", "R1K", "five one two"],
        vec!["parse", "--table", parse_table.to_str().unwrap()],
        vec!["completions", "bash"],
        vec!["runs", "--runs", runs],
        vec!["verify", run],
        vec!["record", run],
        vec!["record", run, "--print", "html"],
        vec!["record", run, "--print", "csv"],
        vec!["record", run, "--print", "json"],
        vec!["record", run, "--print", "text"],
        vec!["record", run, "--print", "pdf"],
        vec!["schema"],
    ];
    #[cfg(feature = "voice")]
    let clip = root().join("audio-fixtures/clips/affirm.flac");
    #[cfg(feature = "voice")]
    acts.push(vec!["hear", clip.to_str().unwrap()]);
    acts.iter()
        .map(|act| act.iter().map(|&word| word.to_owned()).collect())
        .collect()
}

fn words(act: &[String]) -> Vec<&str> {
    act.iter().map(String::as_str).collect()
}

#[test]
fn a_reader_that_went_away_is_no_error() {
    let runs = tempfile::tempdir().unwrap();
    run_by_keys(runs.path(), "yes\n31\n");
    for act in printing_acts(runs.path()) {
        let mut command = command(&words(&act));
        command.stdout(closed());
        let output = ended(command);
        assert_eq!(output.status.code(), Some(0), "{act:?}: {}", text(&output));
        assert_eq!(text(&output), "", "{act:?}");
    }
}

#[test]
fn an_output_without_room_is_told_with_its_code() {
    let runs = tempfile::tempdir().unwrap();
    run_by_keys(runs.path(), "yes\n31\n");
    for act in printing_acts(runs.path()) {
        let mut command = command(&words(&act));
        command.stdout(full());
        let output = ended(command);
        assert_eq!(output.status.code(), Some(3), "{act:?}: {}", text(&output));
        assert!(
            text(&output).starts_with("sayback: cannot write to standard output: "),
            "{act:?}: {}",
            text(&output)
        );
    }
}

#[test]
fn messages_that_nobody_can_read_change_no_code() {
    for (args, code) in [
        (&["run", "no-such-job"][..], 2),
        (&["no-such-act"], 2),
        (&["runs", "--runs", "/nonexistent/folder"], 0),
    ] {
        for stderr in [Stdio::from(full()), closed()] {
            let mut command = command(args);
            command.stdout(Stdio::null()).stderr(stderr);
            let status = command.status().unwrap();
            assert_eq!(status.code(), Some(code), "{args:?}");
        }
    }
}

/// The job by lines, on this output.
fn job(runs: &Path, stdout: impl Into<Stdio>) -> std::process::Command {
    let mut command = command(&["run", "centre-potentiometer", "--keypad", "--plain"]);
    command
        .arg("--sheet")
        .arg(sheet())
        .arg("--runs")
        .arg(runs)
        .stdin(Stdio::piped())
        .stdout(stdout);
    command
}

fn answers(runs: &Path) -> usize {
    let Some(run) = std::fs::read_dir(runs).unwrap().next() else {
        return 0;
    };
    let journal = std::fs::read_to_string(run.unwrap().path().join("journal.txt"));
    journal.unwrap_or_default().matches("\"answered\"").count()
}

/// What broke off is whole, and these lines bring it to its end.
fn goes_on(runs: &Path, lines: &[&str]) {
    let verified = sayback()
        .arg("verify")
        .arg(only_run(runs))
        .output()
        .unwrap();
    assert_eq!(verified.status.code(), Some(0), "{}", text(&verified));
    let output = sayback()
        .args(["resume", "--keypad", "--plain", "--runs"])
        .arg(runs)
        .write_stdin(lines.join("\n") + "\n")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
}

#[test]
fn a_run_whose_reader_goes_away_keeps_its_answers_and_says_how_to_go_on() {
    let lines: Vec<&str> = include_str!("keys.txt").lines().collect();
    let runs = tempfile::tempdir().unwrap();
    let mut child = job(runs.path(), Stdio::piped()).spawn().unwrap();
    let mut keys = child.stdin.take().unwrap();
    let shown = child.stdout.take().unwrap();
    writeln!(keys, "{}", lines[..2].join("\n")).unwrap();
    for _ in 0..400 {
        if answers(runs.path()) == 2 {
            break;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    assert_eq!(answers(runs.path()), 2);
    drop(shown);
    // It ends at the first line whose outcome it cannot show.
    let _ = writeln!(keys, "{}", lines[2..].join("\n"));
    drop(keys);
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(1), "{}", text(&output));
    assert!(
        text(&output).starts_with("sayback: Not done yet; everything kept is saved."),
        "{}",
        text(&output)
    );
    // The third is kept if the second was still shown: it was typed before anybody could know. No
    // answer is taken after that.
    let kept = answers(runs.path());
    assert!(kept == 2 || kept == 3, "{kept}");
    goes_on(runs.path(), &lines[kept..]);
}

#[test]
fn a_run_on_an_output_without_room_is_told_and_can_be_gone_on_with() {
    let runs = tempfile::tempdir().unwrap();
    let mut child = job(runs.path(), full()).spawn().unwrap();
    // It may have ended before this is written.
    let _ = child.stdin.take().unwrap().write_all(b"yes\n31\n");
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(3), "{}", text(&output));
    for said in [
        "sayback: cannot write to standard output: ",
        "everything kept is saved",
        "sayback resume ",
    ] {
        assert!(text(&output).contains(said), "{said}: {}", text(&output));
    }
    assert_eq!(answers(runs.path()), 0, "nobody saw a question");
    goes_on(
        runs.path(),
        &include_str!("keys.txt").lines().collect::<Vec<_>>(),
    );
}

#[test]
fn lines_are_ascii_where_the_locale_has_nothing_else_and_never_have_an_escape() {
    for (locale, ohms) in [("C", "512.3 ohm"), ("C.UTF-8", "512.3 Ω")] {
        let folder = tempfile::tempdir().unwrap();
        let sheet = folder.path().join("sheet.toml");
        let plate = "[plate]\nwhen = \"end\"\nby = \"KD\"\nmeter-id = \"M7\"\nmeter-due = \"2027-02\"\n\
            ohm-percent = \"0.5\"\nohm-counts = \"2\"\nohm-resolution = \"0.1\"\ncurrent-percent = \"0.2\"\n\
            current-counts = \"2\"\ncurrent-resolution = \"0.01\"\nresistor = \"499.0\"\n\
            resistor-tolerance = \"0.1\"\nreference = \"12.00\"\nreference-tolerance = \"0.1\"\n";
        std::fs::write(&sheet, plate).unwrap();
        // No --plain: standard output is no terminal, and that is enough.
        let output = sayback()
            .args(["run", "meter-check", "--keypad", "--sheet"])
            .arg(&sheet)
            .arg("--runs")
            .arg(folder.path().join("runs"))
            .env("LC_ALL", locale)
            .env("NO_COLOR", "1")
            .write_stdin("done\n0.2\n512.3\n")
            .output()
            .unwrap();
        let shown = text(&output);
        assert!(shown.contains(ohms), "{locale}: {shown}");
        assert!(locale != "C" || shown.is_ascii(), "{shown}");
        assert!(!shown.contains('\u{1b}'), "{shown}");
    }
}

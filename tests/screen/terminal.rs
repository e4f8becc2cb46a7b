//! The program on a terminal of its own: what it takes it gives back.

use std::process::Command;

use rexpect::session::{PtySession, spawn_command};

const ENTER_SCREEN: &str = "\u{1b}[?1049h";
const LEAVE_SCREEN: &str = "\u{1b}[?1049l";
const PASTE_ON: &str = "\u{1b}[?2004h";
const PASTE_OFF: &str = "\u{1b}[?2004l";
const NUMERIC_KEYPAD: &str = "\u{1b}>";

/// A run at its first question, on a screen of 80 by 24.
fn started(runs: &std::path::Path) -> (PtySession, String) {
    let mut command = Command::new("sh");
    command
        .args([
            "-c",
            "stty rows 24 cols 80; echo \"id $$.\"; exec \"$0\" \"$@\"",
        ])
        .arg(env!("CARGO_BIN_EXE_sayback"))
        .args(["run", "centre-potentiometer", "--keypad", "--runs"])
        .arg(runs)
        .env("TERM", "xterm")
        .env("LC_ALL", "C.UTF-8")
        .env("TMPDIR", runs);
    let mut session = spawn_command(command, Some(20_000)).unwrap();
    session.exp_string("id ").unwrap();
    let id = session.exp_char('.').unwrap();
    session.exp_string(ENTER_SCREEN).unwrap();
    session.exp_string(NUMERIC_KEYPAD).unwrap();
    session.exp_string(PASTE_ON).unwrap();
    session.exp_string("[/]").unwrap();
    (session, id)
}

fn ended_with(session: &PtySession, code: i32) -> bool {
    // The type of the status is not public; its text is "Exited(Pid(…), code)".
    let status = format!("{:?}", session.process().wait());
    status.contains(&format!(", {code})"))
}

/// What was written after the screen was left.
fn after(output: &str) -> &str {
    let (before, after) = output.rsplit_once(LEAVE_SCREEN).unwrap();
    assert!(before.contains(PASTE_OFF), "{output:?}");
    after
}

#[test]
fn control_c_gives_the_terminal_back() {
    let runs = tempfile::tempdir().unwrap();
    let (mut session, _) = started(runs.path());
    session.send_control('c').unwrap();
    session.flush().unwrap();
    let output = session.exp_eof().unwrap();
    assert!(after(&output).contains("sayback resume"), "{output:?}");
    assert!(ended_with(&session, 130));
}

#[test]
fn a_signal_gives_the_terminal_back() {
    for (name, wanted) in [("TERM", 143), ("INT", 130), ("HUP", 129)] {
        let runs = tempfile::tempdir().unwrap();
        let (mut session, id) = started(runs.path());
        let sent = Command::new("kill")
            .args(["-s", name, &id])
            .status()
            .unwrap();
        assert!(sent.success());
        let output = session.exp_eof().unwrap();
        assert!(
            after(&output).contains("sayback resume"),
            "{name}: {output:?}"
        );
        assert!(ended_with(&session, wanted), "{name}");
        // The log of what libraries print is gone if it is empty.
        let logs = std::fs::read_dir(runs.path()).unwrap().filter(|entry| {
            entry
                .as_ref()
                .unwrap()
                .path()
                .extension()
                .is_some_and(|end| end == "log")
        });
        assert_eq!(logs.count(), 0, "{name}");
    }
}

#[test]
fn a_paste_answers_nothing() {
    let runs = tempfile::tempdir().unwrap();
    let (mut session, _) = started(runs.path());
    let many = "12\n".repeat(20_000);
    session
        .send(&format!("\u{1b}[200~{many}\u{1b}[201~"))
        .unwrap();
    session.flush().unwrap();
    session.send_control('c').unwrap();
    session.flush().unwrap();
    let output = session.exp_eof().unwrap();
    assert!(!output.contains("Kept"), "{output:?}");
    let run = std::fs::read_dir(runs.path())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.is_dir())
        .unwrap();
    let journal = std::fs::read_to_string(run.join("journal.txt")).unwrap();
    assert_eq!(journal.lines().count(), 1, "{journal}");
}

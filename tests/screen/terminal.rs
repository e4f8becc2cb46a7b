//! The program on a terminal of its own: what it takes it gives back.

use std::process::Command;
use std::time::Duration;

use rexpect::session::{PtySession, spawn_command};

pub const ENTER_SCREEN: &str = "\u{1b}[?1049h";
pub const LEAVE_SCREEN: &str = "\u{1b}[?1049l";
const PASTE_ON: &str = "\u{1b}[?2004h";
pub const PASTE_OFF: &str = "\u{1b}[?2004l";
const NUMERIC_KEYPAD: &str = "\u{1b}>";

/// A run at its first question, on a screen of 80 by 24; with the number of its process.
fn started(runs: &std::path::Path) -> (PtySession, String) {
    let (session, id, _) = started_on(runs, &[]);
    (session, id)
}

/// The same, with the name of its terminal, and more words on its command line.
fn started_on(runs: &std::path::Path, more: &[&str]) -> (PtySession, String, String) {
    let mut command = Command::new("sh");
    command
        .args([
            "-c",
            "stty rows 24 cols 80; echo \"id $$ $(tty).\"; exec \"$0\" \"$@\"",
        ])
        .arg(env!("CARGO_BIN_EXE_sayback"))
        .args(["run", "centre-potentiometer", "--keypad", "--runs"])
        .arg(runs)
        .args(more)
        .env("TERM", "xterm")
        .env("SAYBACK_QUIET", "1")
        .env("LC_ALL", "C.UTF-8")
        .env("TMPDIR", runs);
    let mut session = spawn_command(command, Some(20_000)).unwrap();
    session.exp_string("id ").unwrap();
    let line = session.exp_char('.').unwrap();
    let (id, tty) = line.split_once(' ').unwrap();
    session.exp_string(ENTER_SCREEN).unwrap();
    session.exp_string(NUMERIC_KEYPAD).unwrap();
    session.exp_string(PASTE_ON).unwrap();
    session.exp_string("[/]").unwrap();
    (session, id.to_owned(), tty.to_owned())
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
    let journal = journal(runs.path());
    assert_eq!(journal.lines().count(), 1, "{journal}");
}

fn journal(runs: &std::path::Path) -> String {
    let run = std::fs::read_dir(runs)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.is_dir())
        .unwrap();
    std::fs::read_to_string(run.join("journal.txt")).unwrap()
}

/// With everything on the sheet: the first question is the first step, a gate.
const SHEET: [&str; 2] = [
    "--sheet",
    concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/audio-fixtures/demo-sheet.toml"
    ),
];

// What of a picture is the same as before is not sent again: "as found" is new at the second step.

/// Keys one by one, no nearer together than a hand presses them.
fn type_keys(session: &mut PtySession, keys: &[&str]) {
    for key in keys {
        std::thread::sleep(Duration::from_millis(400));
        session.send(key).unwrap();
        session.flush().unwrap();
    }
}

fn interrupt(session: &mut PtySession) -> String {
    session.send_control('c').unwrap();
    session.flush().unwrap();
    session.exp_eof().unwrap()
}

#[test]
fn nothing_is_lost_after_keys_that_mean_nothing() {
    let runs = tempfile::tempdir().unwrap();
    let (mut session, _, _) = started_on(runs.path(), &SHEET);
    // A keypad in application mode (0, point, Enter), a function key, a mouse, a report of the
    // cursor, and bytes that are no text: none is an answer, and the keys after them are.
    type_keys(
        &mut session,
        &[
            "\u{1b}Op",
            "\u{1b}On",
            "\u{1b}OM",
            "\u{1b}[24~",
            "\u{1b}[<0;3;4M",
            "\u{1b}[5;7R",
            "\r",
        ],
    );
    session.exp_string("as found").unwrap();
    type_keys(&mut session, &["\u{1b}Ow", "3", "\u{1b}[99~", "1", "\r"]);
    let output = interrupt(&mut session);
    assert!(after(&output).contains("sayback resume"), "{output:?}");
    let journal = journal(runs.path());
    assert_eq!(journal.matches("\"answered\"").count(), 2, "{journal}");
    assert!(journal.contains("\"value\":\"31\""), "{journal}");
}

#[test]
fn a_thousand_changes_of_size_break_nothing() {
    let runs = tempfile::tempdir().unwrap();
    let (mut session, _, tty) = started_on(runs.path(), &SHEET);
    let resize = |rows: u32, cols: u32| {
        let status = Command::new("stty")
            .args(["-F", &tty, "rows", &rows.to_string(), "cols"])
            .arg(cols.to_string())
            .status()
            .unwrap();
        assert!(status.success());
    };
    for (rows, cols) in [(1, 1), (0, 0), (0, 80), (200, 500), (2, 3), (24, 0)] {
        resize(rows, cols);
        std::thread::sleep(Duration::from_millis(100));
    }
    for number in 0..1000 {
        resize(number % 40, (number * 7) % 130);
    }
    // Whatever was missed, the picture stands in its new size, and keys do what they did.
    resize(24, 80);
    session.exp_string("permit open").unwrap();
    type_keys(&mut session, &["\r"]);
    session.exp_string("as found").unwrap();
    let output = interrupt(&mut session);
    assert!(after(&output).contains("sayback resume"), "{output:?}");
    assert!(ended_with(&session, 130));
}

/// The letter of its state that the system gives for a process (proc(5), stat).
fn state(id: &str) -> char {
    let stat = std::fs::read_to_string(format!("/proc/{id}/stat")).unwrap();
    stat.rsplit_once(") ").unwrap().1.chars().next().unwrap()
}

#[test]
fn put_aside_it_gives_the_terminal_back_and_takes_it_again() {
    let runs = tempfile::tempdir().unwrap();
    let (mut session, id, _) = started_on(runs.path(), &SHEET);
    session.send_control('z').unwrap();
    session.flush().unwrap();
    session.exp_string(LEAVE_SCREEN).unwrap();
    for _ in 0..200 {
        if state(&id) == 'T' {
            break;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    assert_eq!(state(&id), 'T');
    let sent = Command::new("kill")
        .args(["-s", "CONT", &id])
        .status()
        .unwrap();
    assert!(sent.success());
    session.exp_string(ENTER_SCREEN).unwrap();
    session.exp_string("permit open").unwrap();
    type_keys(&mut session, &["\r"]);
    session.exp_string("as found").unwrap();
    interrupt(&mut session);
    assert!(ended_with(&session, 130));
}

#[test]
fn a_terminal_that_can_do_nothing_gets_lines() {
    let runs = tempfile::tempdir().unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    command
        .args(["run", "centre-potentiometer", "--keypad", "--runs"])
        .arg(runs.path())
        .args(SHEET)
        .env("TERM", "dumb");
    let mut session = spawn_command(command, Some(20_000)).unwrap();
    let first = session.exp_string("does operations know?").unwrap();
    session.send_line("yes").unwrap();
    let second = session.exp_string("percent open?").unwrap();
    let rest = interrupt(&mut session);
    for text in [&first, &second, &rest] {
        assert!(!text.contains('\u{1b}'), "{text:?}");
    }
    assert!(rest.contains("sayback resume"), "{rest}");
    assert!(ended_with(&session, 130));
}

//! A terminal that goes away, and a program that fails, while the screen is up:
//! this test binary is started again as the program that is to fail, or as the
//! one that holds the terminal of another and is killed.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::{Arc, mpsc};
use std::time::Duration;

use rexpect::session::{PtySession, spawn_command};
use sayback::core::record::{Body, Record, Started};
use sayback::core::run::Saved;
use sayback::core::{Run, View};
use sayback::drive::{FromWorld, Output, Session, Silence};
use sayback::edge::clock::{self, Clock};
use sayback::edge::keys::{self, Keymap};
use sayback::edge::runs::RunFolder;
use sayback::edge::screen::{Look, Screen};
use sayback::job::{built_in, load, sheet};
use sayback::journal::Journal;
use sayback::storage::FileStorage;

use super::terminal::{ENTER_SCREEN, LEAVE_SCREEN, PASTE_OFF};

/// Nothing on the sheet is asked for, so that the first question is the first step.
const SHEET: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/audio-fixtures/demo-sheet.toml"
);
const SHOW_CURSOR: &str = "\u{1b}[?25h";
const NOISE: &str = "noise of a library";
const FAULT: &str = "a fault put here by the test";

#[test]
#[ignore = "the other tests start it as a program of its own"]
fn child() {
    let Ok(task) = std::env::var("SAYBACK_SCREEN_CHILD") else {
        return;
    };
    let (task, runs) = task.split_once(':').unwrap();
    match task {
        "hold" => hold(Path::new(runs)),
        "hold-keys" => hold_keys(Path::new(runs)),
        "keys" => read_keys(Path::new(runs)),
        task => fail(Path::new(runs), task == "elsewhere"),
    }
}

/// This binary as the program of a task, and what is to be told in its environment.
fn child_command(task: &str, runs: &Path) -> Command {
    let mut command = Command::new("sh");
    command
        .args([
            "-c",
            "stty rows 24 cols 80 echo; \"$0\" \"$@\"; echo \"code $?.\"; stty -a; echo over",
        ])
        .arg(std::env::current_exe().unwrap())
        .args([
            "screen::lost::child",
            "--exact",
            "--ignored",
            "--nocapture",
            "--test-threads=1",
        ])
        .env("SAYBACK_SCREEN_CHILD", format!("{task}:{}", runs.display()))
        .env("TERM", "xterm")
        .env("LC_ALL", "C.UTF-8")
        .env("RUST_BACKTRACE", "0")
        .env("TMPDIR", runs);
    command
}

/// The screen, with a library that talks at the second step and a fault at the third.
struct Failing {
    screen: Screen,
    elsewhere: bool,
    has_failed: bool,
}

impl Output for Failing {
    fn show(&mut self, view: &View) -> std::io::Result<()> {
        if view.place.starts_with("step 2 ") {
            eprintln!("{NOISE}");
        }
        if view.place.starts_with("step 3 ") && !self.has_failed {
            self.has_failed = true;
            if self.elsewhere {
                let failed = std::thread::spawn(|| panic!("{FAULT}")).join();
                assert!(failed.is_err());
            } else {
                panic!("{FAULT}");
            }
        }
        self.screen.show(view)
    }

    fn say(&mut self, text: &str) {
        self.screen.say(text);
    }

    fn hush(&mut self) {
        self.screen.hush();
    }
}

/// A session as the program has one, that fails.
fn fail(runs: &Path, elsewhere: bool) {
    let text = built_in::text("centre-potentiometer").unwrap();
    let job = load::parse(text, "job").unwrap();
    let sheet = sheet::file(Path::new(SHEET), &job).unwrap();
    let started = Started::of(&job, "test", sheet.plate);
    let folder = RunFolder::create(runs, &clock::day(), &job.id, text).unwrap();
    let storage = FileStorage::create_new(&folder.journal()).unwrap();
    let first = Record {
        at: clock::wall(),
        body: Body::Started(started.clone()),
    };
    let saved = Saved::new(&job, started);
    let (sender, world) = mpsc::sync_channel(64);
    let mut output = Failing {
        screen: Screen::enter(Look::of_environment(false)).unwrap(),
        elsewhere,
        has_failed: false,
    };
    keys::listen(sender, Keymap::default());
    let _ = Session {
        run: Run::new(Arc::new(job), saved),
        journal: Journal::create(storage, &first).unwrap(),
        folder,
        output: &mut output,
        sound: &mut Silence,
        world,
        clock: Clock::start(),
        unsaved: Vec::new(),
        keys_gone: false,
        unseen: None,
        question: None,
        deaf: false,
    }
    .drive();
}

/// The program at its first question, on a terminal that lives as long as this process.
fn hold(runs: &Path) {
    // The shell outlives the hang-up to tell how the program ended.
    let mut command = Command::new("sh");
    command
        .args([
            "-c",
            "trap : HUP; stty rows 24 cols 80; \"$0\" \"$@\"; echo $? > \"$TMPDIR/code\"",
        ])
        .arg(env!("CARGO_BIN_EXE_sayback"))
        .args(["run", "centre-potentiometer", "--keypad", "--sheet", SHEET])
        .arg("--runs")
        .arg(runs)
        .env("TERM", "xterm")
        .env("TMPDIR", runs);
    let mut session = spawn_command(command, Some(20_000)).unwrap();
    session.exp_string(ENTER_SCREEN).unwrap();
    answer_two(&mut session);
    std::fs::write(runs.join("ready"), "").unwrap();
    std::thread::sleep(Duration::from_secs(60));
}

/// A reader of keys that no signal ends, on a terminal that lives as long as this process.
fn hold_keys(runs: &Path) {
    let mut command = Command::new("sh");
    command
        .args(["-c", "trap '' HUP; stty raw -echo; \"$0\" \"$@\""])
        .arg(std::env::current_exe().unwrap())
        .args(["screen::lost::child", "--exact", "--ignored", "--nocapture"])
        .env("SAYBACK_SCREEN_CHILD", format!("keys:{}", runs.display()));
    let mut session = spawn_command(command, Some(20_000)).unwrap();
    session.exp_string("reading").unwrap();
    // Two keys in one go: the second must not wait for a third.
    session.send("31").unwrap();
    session.flush().unwrap();
    wait_for("both keys read", || runs.join("keys").exists());
    std::thread::sleep(Duration::from_secs(60));
}

fn read_keys(runs: &Path) {
    let (sender, receiver) = mpsc::sync_channel(8);
    keys::listen(sender, Keymap::default());
    println!("reading");
    let mut read = 0;
    while let Ok(told) = receiver.recv_timeout(Duration::from_secs(30)) {
        match told {
            FromWorld::Key(_) => read += 1,
            FromWorld::KeysGone => {
                std::fs::write(runs.join("gone"), "").unwrap();
                return;
            }
            _ => {}
        }
        if read == 2 {
            std::fs::write(runs.join("keys"), "").unwrap();
        }
    }
}

/// Yes to the permit, and the position, each as soon as it is asked for.
fn answer_two(session: &mut PtySession) {
    session.exp_string("[Enter]").unwrap();
    // Keys of one hand are not nearer together than a bounce.
    for keys in ["\r", "3", "1", "\r"] {
        std::thread::sleep(Duration::from_millis(400));
        session.send(keys).unwrap();
        session.flush().unwrap();
    }
}

fn run_in(runs: &Path) -> PathBuf {
    RunFolder::all(runs).unwrap().pop().unwrap().path
}

/// The answers in a journal that must be whole.
fn answers(runs: &Path) -> Vec<String> {
    let storage = FileStorage::open(&run_in(runs).join("journal.txt")).unwrap();
    let opened = Journal::<Record, _>::open(storage).unwrap();
    assert_eq!(opened.ending, sayback::journal::Ending::Clean);
    let steps = opened.records.into_iter().filter_map(|entry| {
        if let Body::Answered(answer) = entry.record.body {
            Some(answer.step)
        } else {
            None
        }
    });
    steps.collect()
}

/// Goes on by lines; gives what is asked first, and where the run stands after one more answer.
fn resumed(runs: &Path, line: &str) -> String {
    let output = assert_cmd::Command::new(env!("CARGO_BIN_EXE_sayback"))
        .args(["resume", "--keypad", "--plain", "--runs"])
        .arg(runs)
        .write_stdin(format!("{line}\n"))
        .timeout(Duration::from_secs(60))
        .output()
        .unwrap();
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn wait_for(what: &str, is_there: impl Fn() -> bool) {
    for _ in 0..600 {
        if is_there() {
            return;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    panic!("not within 30 s: {what}");
}

#[test]
fn a_terminal_that_goes_away_ends_the_run_and_the_exact_step_is_gone_on_with() {
    let runs = tempfile::tempdir().unwrap();
    let mut holder = Command::new(std::env::current_exe().unwrap())
        .args(["screen::lost::child", "--exact", "--ignored"])
        .env(
            "SAYBACK_SCREEN_CHILD",
            format!("hold:{}", runs.path().display()),
        )
        .stdout(std::process::Stdio::null())
        .spawn()
        .unwrap();
    wait_for("two answers typed", || runs.path().join("ready").exists());
    // The third key press may still be on its way.
    wait_for("two answers kept", || {
        let journal = run_in(runs.path()).join("journal.txt");
        std::fs::read_to_string(journal)
            .unwrap()
            .matches("\"answered\"")
            .count()
            == 2
    });
    // With its last holder the terminal is gone: nothing is sent to the program itself.
    holder.kill().unwrap();
    holder.wait().unwrap();
    let code = runs.path().join("code");
    wait_for("the program has ended", || {
        std::fs::read_to_string(&code).is_ok_and(|code| !code.is_empty())
    });
    assert_eq!(std::fs::read_to_string(&code).unwrap(), "129\n");
    assert_eq!(answers(runs.path()), ["permit-open", "position-found"]);
    let shown = resumed(runs.path(), "12.02");
    assert!(
        shown.contains("Read the command at the terminals."),
        "{shown}"
    );
    assert!(shown.contains("Last kept: 12.02 mA"), "{shown}");
}

#[test]
fn a_terminal_that_goes_away_without_a_signal_is_noticed() {
    let runs = tempfile::tempdir().unwrap();
    let mut holder = Command::new(std::env::current_exe().unwrap())
        .args(["screen::lost::child", "--exact", "--ignored"])
        .env(
            "SAYBACK_SCREEN_CHILD",
            format!("hold-keys:{}", runs.path().display()),
        )
        .stdout(std::process::Stdio::null())
        .spawn()
        .unwrap();
    wait_for("both keys read", || runs.path().join("keys").exists());
    holder.kill().unwrap();
    holder.wait().unwrap();
    wait_for("the reader has noticed", || {
        runs.path().join("gone").exists()
    });
}

#[test]
fn a_panic_gives_the_terminal_back_then_says_so_and_loses_nothing() {
    let runs = tempfile::tempdir().unwrap();
    let mut session = spawn_command(child_command("loop", runs.path()), Some(20_000)).unwrap();
    session.exp_string(ENTER_SCREEN).unwrap();
    answer_two(&mut session);
    let output = session.exp_string("over\r\n").unwrap();
    let (before, after) = output.rsplit_once(LEAVE_SCREEN).unwrap();
    assert!(before.contains(PASTE_OFF), "{before:?}");
    assert!(after.starts_with(SHOW_CURSOR), "{after:?}");
    assert!(!after.contains("\u{1b}[?25l"), "{after:?}");
    // Readable: after the screen, and each line from the left edge.
    for said in [
        FAULT,
        "\r\nsayback: that is a fault in Sayback",
        "sayback resume",
        "code 101.",
    ] {
        assert!(after.contains(said), "{said}: {after}");
    }
    assert!(!before.contains(FAULT) && !output.contains(NOISE));
    // Out of raw mode: whole lines, shown as they are typed, and Ctrl+C is a signal again.
    let modes: Vec<&str> = after.split_whitespace().collect();
    for mode in ["icanon", "echo", "isig", "icrnl", "opost"] {
        assert!(modes.contains(&mode), "{mode}: {after}");
    }
    assert_eq!(answers(runs.path()), ["permit-open", "position-found"]);
    let shown = resumed(runs.path(), "12.02");
    assert!(shown.contains("Last kept: 12.02 mA"), "{shown}");
    assert_eq!(
        answers(runs.path()),
        ["permit-open", "position-found", "command-found"]
    );
}

#[test]
fn a_panic_of_another_thread_and_the_noise_of_libraries_stay_off_the_picture() {
    let runs = tempfile::tempdir().unwrap();
    let mut session = spawn_command(child_command("elsewhere", runs.path()), Some(20_000)).unwrap();
    session.exp_string(ENTER_SCREEN).unwrap();
    answer_two(&mut session);
    // It goes on: the third question is answered like the others.
    for keys in ["1", "2", ".", "0", "2", "\r"] {
        std::thread::sleep(Duration::from_millis(400));
        session.send(keys).unwrap();
        session.flush().unwrap();
    }
    let journal = run_in(runs.path()).join("journal.txt");
    wait_for("three answers", || {
        let journal = std::fs::read_to_string(&journal).unwrap();
        journal.matches("\"answered\"").count() == 3
    });
    session.send_control('c').unwrap();
    session.flush().unwrap();
    let output = session.exp_string("over\r\n").unwrap();
    for word in [NOISE, FAULT] {
        assert!(!output.contains(word), "{output:?}");
    }
    assert_eq!(
        answers(runs.path()),
        ["permit-open", "position-found", "command-found"]
    );
    let log = std::fs::read_dir(runs.path())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().is_some_and(|end| end == "log"))
        .unwrap();
    let log = std::fs::read_to_string(log).unwrap();
    assert!(log.contains(NOISE) && log.contains(FAULT), "{log}");
}

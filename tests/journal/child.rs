//! A second program for the tests to kill, to starve and to lock out: this test
//! binary itself, started again with `SAYBACK_TEST_CHILD` saying what to do.

use std::io::{Read as _, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};

use sayback::journal::{AppendError, Journal};
use sayback::storage::FileStorage;

use super::{Record, records};

/// What the child printed, and how it ended.
pub struct Ended {
    /// How many records it showed or called saved.
    pub promised: usize,
    /// Its lines that are messages.
    pub said: Vec<String>,
    /// It came as far as to begin its task.
    pub started: bool,
    /// It came to its end by itself.
    pub finished: bool,
}

/// `before` is put before the program: a tracer, or another user.
pub fn command(before: &[&str], task: &str, path: &Path) -> Command {
    let program = std::env::current_exe().unwrap();
    let mut words: Vec<_> = before.iter().map(std::ffi::OsString::from).collect();
    words.push(program.into());
    let mut command = Command::new(&words[0]);
    command
        .args(&words[1..])
        .args([
            "journal::child::child",
            "--exact",
            "--ignored",
            "--nocapture",
        ])
        .env("SAYBACK_TEST_CHILD", format!("{task}:{}", path.display()))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

pub fn run(before: &[&str], task: &str, path: &Path) -> Ended {
    let output = command(before, task, path).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let said = |mark: &str| -> Vec<String> {
        text.lines()
            .filter_map(|line| line.split_once(mark).map(|(_, rest)| rest.to_owned()))
            .collect()
    };
    Ended {
        promised: said("PROMISED ")
            .last()
            .map_or(0, |count| count.parse().unwrap()),
        said: said("SAID "),
        started: !said("STARTED").is_empty(),
        finished: !said("FINISHED").is_empty(),
    }
}

/// One `write` a line: the tests count them.
fn print(line: &str) {
    std::io::stdout()
        .write_all(format!("{line}\n").as_bytes())
        .unwrap();
}

#[test]
#[ignore = "the other tests start it as a program of its own"]
fn child() {
    let Ok(task) = std::env::var("SAYBACK_TEST_CHILD") else {
        return;
    };
    let (task, path) = task.split_once(':').unwrap();
    let path = Path::new(path);
    print("STARTED");
    match task.split_once('=').unwrap_or((task, "")) {
        ("append", count) => append_to(path, count.parse().unwrap()),
        ("hold", _) => {
            let storage = FileStorage::open(path).unwrap();
            print("HELD");
            let _ = std::io::stdin().read(&mut [0]);
            drop(storage);
        }
        ("open", _) => match FileStorage::open(path) {
            Ok(_) => print("SAID opened"),
            Err(error) => print(&format!("SAID {error}")),
        },
        ("create", _) => match FileStorage::create_new(path) {
            Ok(_) => print("SAID created"),
            Err(error) => print(&format!("SAID {error}")),
        },
        other => panic!("{other:?}"),
    }
    print("FINISHED");
}

/// Brings the run to `count` records, and gives up where a technician would.
fn append_to(path: &Path, count: u64) {
    let run = records(count);
    let (mut journal, mut promised) = if path.exists() {
        let opened = Journal::<Record, _>::open(FileStorage::open(path).unwrap()).unwrap();
        let count = opened.records.len();
        (opened.journal, count)
    } else {
        let storage = FileStorage::create_new(path).unwrap();
        (Journal::create(storage, &run[0]).unwrap(), 1)
    };
    print(&format!("PROMISED {promised}"));
    while promised < run.len() {
        match journal.append(&run[promised]) {
            Ok(_) => {
                promised += 1;
                print(&format!("PROMISED {promised}"));
            }
            Err(error) => {
                print(&format!("SAID {error}"));
                if matches!(error, AppendError::Poisoned { .. }) {
                    return;
                }
            }
        }
    }
}

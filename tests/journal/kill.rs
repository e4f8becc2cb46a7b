//! Real kills and real failing system calls, put in by strace.

use std::path::Path;
use std::process::{Command, Stdio};

use sayback::journal::{Journal, JournalError};
use sayback::storage::FileStorage;

use super::child;
use super::{Record, long, only_records, records, say, skipped};

fn strace_is_there(what: &str) -> bool {
    let there = Command::new("strace")
        .args(["-f", "-o", "/dev/null", "true"])
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success());
    if !there {
        skipped(what, "strace is not installed, or may not trace here");
    }
    there
}

/// The run as the next program finds it; it then brings it to its end.
fn check_and_finish(path: &Path, promised: usize, count: u64) {
    let run = records(count);
    let storage = match FileStorage::open(path) {
        Ok(storage) => storage,
        Err(error) => {
            assert_eq!(promised, 0, "{error}");
            return;
        }
    };
    let mut opened = match Journal::<Record, _>::open(storage) {
        Ok(opened) => opened,
        Err(JournalError::NotBegun { .. }) => {
            assert_eq!(promised, 0);
            return;
        }
        Err(other) => panic!("{other}"),
    };
    let found = only_records(&opened.records);
    assert!(found.len() >= promised, "{} of {promised}", found.len());
    assert!(found.len() <= promised + 1);
    assert!(run.starts_with(&found));
    for record in &run[found.len()..] {
        opened.journal.append(record).unwrap();
    }
    drop(opened);
    let again = Journal::<Record, _>::open(FileStorage::open(path).unwrap()).unwrap();
    assert_eq!(only_records(&again.records), run);
}

#[test]
fn killed_at_each_system_call() {
    if !strace_is_there("SIGKILL at the n-th write, fdatasync, fsync, ftruncate and read") {
        return;
    }
    let count: u64 = if long() { 130 } else { 12 };
    let mut kills = 0;
    let mut runs = 0;
    for call in ["write", "fdatasync", "fsync", "ftruncate", "pread64"] {
        for number in 1.. {
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join("run.journal");
            // Every other run has a past, with a torn end: then recovery is killed too.
            let past = if number % 2 == 0 { 2 } else { 0 };
            if past > 0 {
                let bytes = super::journal_of(&records(3));
                std::fs::write(&path, &bytes[..bytes.len() - 9]).unwrap();
            }
            let inject = format!("inject={call}:signal=SIGKILL:when={number}");
            let trace = format!("trace={call}");
            let before = [
                "strace",
                "-f",
                "-qq",
                "-o",
                "/dev/null",
                "-e",
                &trace,
                "-e",
                &inject,
            ];
            let ended = child::run(&before, &format!("append={count}"), &path);
            runs += 1;
            kills += u64::from(ended.started && !ended.finished);
            check_and_finish(&path, ended.promised.max(past), count);
            // Two whole runs in turn: neither kind of run has so many calls.
            if ended.finished && number >= 4 {
                break;
            }
        }
    }
    say(&format!(
        "kills: {kills} of {runs} runs, 0 promised records lost"
    ));
    assert!(kills >= if long() { 300 } else { 20 }, "{kills}");
}

/// The system calls on the journal that strace saw, the failed one first.
fn calls_from_the_failed_one(log: &Path) -> Vec<String> {
    std::fs::read_to_string(log)
        .unwrap()
        .lines()
        .skip_while(|line| !line.contains("(INJECTED)"))
        .map(str::to_owned)
        .collect()
}

/// No kill can show a missing sync, since memory outlives the program; the order of
/// the real calls does: new file and its folder first, then line, sync, promise.
#[test]
fn each_promise_comes_after_its_sync() {
    if !strace_is_there("that each promise comes after its fdatasync") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    let log = folder.path().join("strace");
    let before = [
        "strace",
        "-f",
        "-qq",
        "-y",
        "-o",
        log.to_str().unwrap(),
        "-e",
        "trace=write,fdatasync,fsync",
    ];
    assert!(child::run(&before, "append=3", &path).finished);
    let journal = format!("<{}>", path.display());
    let its_folder = format!("<{}>", folder.path().display());
    let calls: Vec<&str> = std::fs::read_to_string(&log)
        .unwrap()
        .lines()
        .filter_map(|line| {
            let on_journal = line.contains(&journal);
            if on_journal && line.contains(" fsync(") {
                Some("file synced")
            } else if line.contains(&its_folder) && line.contains(" fsync(") {
                Some("folder synced")
            } else if on_journal && line.contains(" write(") {
                Some("line")
            } else if on_journal && line.contains(" fdatasync(") {
                Some("synced")
            } else {
                line.contains("PROMISED").then_some("promise")
            }
        })
        .collect();
    let one = ["line", "synced", "promise"];
    assert_eq!(
        calls,
        [&["file synced", "folder synced"][..], &one, &one, &one].concat()
    );
}

#[test]
fn a_failed_sync_is_the_last_one() {
    if !strace_is_there("EIO from fdatasync, and that no sync follows it") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    let log = folder.path().join("strace");
    let before = [
        "strace",
        "-f",
        "-qq",
        "-o",
        log.to_str().unwrap(),
        "-e",
        "trace=fdatasync,fsync,sync,syncfs,sync_file_range,msync",
        "-e",
        "inject=fdatasync:error=EIO:when=3",
    ];
    let ended = child::run(&before, "append=6", &path);
    assert!(ended.finished);
    assert_eq!(ended.promised, 2);
    assert_eq!(ended.said.len(), 2, "{:?}", ended.said);
    assert!(
        ended.said[0].starts_with("NOT SAVED: write it on paper. "),
        "{:?}",
        ended.said
    );
    assert!(
        ended.said[0].contains("Input/output error"),
        "{:?}",
        ended.said
    );
    assert!(ended.said[1].contains("takes no more"), "{:?}", ended.said);
    let calls = calls_from_the_failed_one(&log);
    assert!(calls[0].contains("fdatasync"), "{calls:?}");
    assert!(
        !calls[1..].iter().any(|call| call.contains("sync")),
        "{calls:?}"
    );
    // What was called not saved is not there.
    let opened = Journal::<Record, _>::open(FileStorage::open(&path).unwrap()).unwrap();
    assert_eq!(only_records(&opened.records), records(2));
    drop(opened);
    check_and_finish(&path, 2, 6);
}

/// Interrupted, or refused once, a write does no harm to the lines around it.
#[test]
fn writes_that_fail_once() {
    if !strace_is_there("EINTR, ENOSPC and EIO from write") {
        return;
    }
    // The harness prints in another thread; strace counts the calls of each thread for itself.
    for (error, said) in [("EINTR", 0), ("ENOSPC", 1), ("EIO", 1)] {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("run.journal");
        let log = folder.path().join("strace");
        // 1: that it has started, 2: record 0, 3: it is promised, 4: record 1.
        let inject = format!("inject=write:error={error}:when=4");
        let before = [
            "strace",
            "-f",
            "-qq",
            "-o",
            log.to_str().unwrap(),
            "-e",
            "trace=write,ftruncate",
            "-e",
            &inject,
        ];
        let ended = child::run(&before, "append=4", &path);
        let calls = calls_from_the_failed_one(&log);
        assert!(calls[0].contains("1 {\\\"prev"), "{error}: {calls:?}");
        assert!(ended.finished);
        assert_eq!(
            (ended.promised, ended.said.len()),
            (4, said),
            "{error}: {:?}",
            ended.said
        );
        check_and_finish(&path, 4, 4);
        assert_eq!(
            std::fs::read(&path).unwrap(),
            super::journal_of(&records(4))
        );
    }
}

/// The half line cannot be removed either: nothing more is taken, and the next
/// program finds a torn end.
#[test]
fn a_half_line_that_cannot_be_removed() {
    if !strace_is_there("ftruncate failing after a failed write") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    let before = [
        "strace",
        "-f",
        "-qq",
        "-o",
        "/dev/null",
        "-e",
        "trace=write,ftruncate",
        "-e",
        "inject=write:error=EIO:when=4",
        "-e",
        "inject=ftruncate:error=EIO:when=1",
    ];
    let ended = child::run(&before, "append=4", &path);
    assert_eq!(ended.promised, 1);
    assert!(
        ended.said[0].contains("its beginning could not be removed"),
        "{:?}",
        ended.said
    );
    assert!(ended.said[1].contains("takes no more"), "{:?}", ended.said);
    check_and_finish(&path, 1, 4);
}

//! The index: made from the journals, kept up to date, thrown away when it is not good.

use std::path::Path;
use std::time::Instant;

use assert_cmd::Command;
use sayback::core::record::{Body, How, Record};

use super::made::{Made, records};
use crate::core::set_ends::LEFT;

const INDEX: &str = "sayback-history.sqlite";

fn history(runs: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_sayback"))
        .env_remove("SAYBACK_RUNS")
        .arg("history")
        .args(arguments)
        .arg("--runs")
        .arg(runs)
        .output()
        .unwrap();
    (
        output.status.code(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

#[allow(
    clippy::disallowed_methods,
    reason = "how long it takes is what is measured"
)]
fn now() -> Instant {
    Instant::now()
}

/// A folder with three runs of two tags.
fn folder() -> tempfile::TempDir {
    let runs = tempfile::tempdir().unwrap();
    Made::set_ends("FV-118", 0, LEFT, LEFT, true).write(runs.path());
    Made::set_ends("FV-118", 365, LEFT, LEFT, true).write(runs.path());
    Made::set_ends("FV-201", 30, LEFT, LEFT, false).write(runs.path());
    runs
}

#[test]
fn a_tag_is_told_and_the_index_is_left_beside_the_runs() {
    let runs = folder();
    let (code, out, err) = history(runs.path(), &["fv-118"]);
    assert_eq!((code, err.as_str()), (Some(0), ""), "{out}");
    assert!(out.starts_with("FV-118: 2 jobs\n"), "{out}");
    assert!(runs.path().join(INDEX).is_file());
    let (code, list, _) = history(runs.path(), &[]);
    assert_eq!(code, Some(0));
    assert_eq!(
        list,
        "FV-118\t2 jobs\t2025-11-25\tSet both ends and verify: closed, complete\n\
         FV-201\t1 job\t2024-12-25\tSet both ends and verify: closed, complete\n"
    );
}

#[test]
fn an_unknown_tag_is_told_with_what_is_near_and_nothing_is_taken_for_the_same() {
    let runs = folder();
    let (code, out, err) = history(runs.path(), &["FV-119"]);
    assert_eq!((code, out.as_str()), (Some(1), ""));
    assert!(
        err.contains("no job of FV-119") && err.contains("Did you mean FV-118?"),
        "{err}"
    );
    // A tag without its dash is another tag.
    let (code, out, _) = history(runs.path(), &["FV118"]);
    assert_eq!(code, Some(1));
    assert!(
        out.contains("Not counted here: 2 jobs under FV-118"),
        "{out}"
    );
}

#[test]
fn a_run_that_goes_on_is_read_again_and_one_that_is_gone_is_dropped() {
    let runs = folder();
    assert_eq!(history(runs.path(), &["--find", "washer"]).0, Some(1));
    let folder = runs.path().join("2024-12-25-001-set-ends");
    let mut made = Made::set_ends("FV-201", 30, LEFT, LEFT, false);
    made.records = records(&folder.join("journal.txt"));
    let last = made.records.pop().unwrap();
    made.records.push(Record {
        body: Body::Noted {
            step: Some("remarks".to_owned()),
            text: "Dist\u{E4}nce washer missing: \u{1b}[31mfitted".to_owned(),
            how: How::default(),
        },
        ..last.clone()
    });
    made.records.push(last);
    made.write(runs.path());
    let (code, out, _) = history(runs.path(), &["--find", "wash", "DISTANCE"]);
    assert_eq!(code, Some(0), "{out}");
    assert!(
        out.contains("2024-12-25\tFV-201\tnote, Remarks: Dist\u{E4}nce washer missing: [31mfitted\t[2024-12-25-001-set-ends record"),
        "{out}"
    );
    std::fs::remove_dir_all(folder).unwrap();
    assert_eq!(history(runs.path(), &["--find", "washer"]).0, Some(1));
    assert_eq!(history(runs.path(), &["FV-201"]).0, Some(1));
}

#[test]
fn what_is_searched_for_is_words_and_never_a_command() {
    let runs = folder();
    for words in [
        "inaccuracy AND",
        "\"",
        "text:",
        "NEAR(",
        "*",
        "inaccuracy OR nothing",
        "^",
        "a\" OR \"b",
        "'; DROP TABLE run; --",
        "-",
    ] {
        let (code, _, err) = history(runs.path(), &["--find", words]);
        assert_eq!(code, Some(1), "{words}: {err}");
        assert!(err.contains("nothing found"), "{words}: {err}");
    }
    assert_eq!(
        history(runs.path(), &["--find", "inaccuracy", "limit"]).0,
        Some(0)
    );
}

#[test]
fn a_damaged_journal_is_named_and_left_out_and_comes_back_when_it_is_whole() {
    let runs = folder();
    let (_, whole, _) = history(runs.path(), &["FV-118"]);
    let journal = runs.path().join("2025-11-25-001-set-ends/journal.txt");
    let bytes = std::fs::read(&journal).unwrap();
    let mut changed = bytes.clone();
    let middle = changed.len() / 2;
    changed[middle] ^= 1;
    std::fs::write(&journal, &changed).unwrap();
    for _ in 0..2 {
        let (code, out, err) = history(runs.path(), &["FV-118"]);
        assert_eq!(code, Some(0));
        assert!(out.starts_with("FV-118: 1 job\n"), "{out}");
        assert!(
            err.contains("LEFT OUT, 2025-11-25-001-set-ends: its journal is damaged"),
            "{err}"
        );
        assert!(err.contains("Put a whole copy back"), "{err}");
    }
    std::fs::write(&journal, &bytes).unwrap();
    let (_, out, err) = history(runs.path(), &["FV-118"]);
    assert_eq!((out, err.as_str()), (whole, ""));
    std::fs::write(journal.with_file_name("job.toml"), "format = 1").unwrap();
    std::fs::remove_file(runs.path().join(INDEX)).unwrap();
    let (_, _, err) = history(runs.path(), &["FV-118"]);
    assert!(
        err.contains("LEFT OUT") && err.contains("Put its copy of the job file back"),
        "{err}"
    );
}

/// The answer is the same whatever is wrong with the index, and it is told in one sentence.
fn still_answers(name: &str, spoil: impl Fn(&Path), told: &str, again: bool) {
    let runs = folder();
    let (_, good, _) = history(runs.path(), &["FV-118"]);
    spoil(&runs.path().join(INDEX));
    let (code, out, err) = history(runs.path(), &["FV-118"]);
    assert_eq!(code, Some(0), "{name}: {err}");
    assert_eq!(out, good, "{name}");
    assert!(
        err.contains(told) && err.lines().count() == 1,
        "{name}: {err}"
    );
    // What was built again is good the next time.
    if again {
        assert_eq!(
            history(runs.path(), &["FV-118"]),
            (Some(0), good, String::new()),
            "{name}"
        );
    }
}

#[test]
fn an_index_that_is_not_good_is_thrown_away_and_never_in_the_way() {
    let again = "it was thrown away and built again from the journals. Nothing is lost";
    still_answers(
        "no database",
        |index| std::fs::write(index, "this is none").unwrap(),
        again,
        true,
    );
    still_answers(
        "half of it",
        |index| {
            let bytes = std::fs::read(index).unwrap();
            std::fs::write(index, &bytes[..bytes.len() / 2]).unwrap();
        },
        again,
        true,
    );
    still_answers(
        "another version",
        |index| {
            let database = rusqlite::Connection::open(index).unwrap();
            database.pragma_update(None, "user_version", 7).unwrap();
        },
        again,
        true,
    );
    still_answers(
        "one figure in it changed",
        |index| {
            let database = rusqlite::Connection::open(index).unwrap();
            let count = database
                .execute("UPDATE past SET body = replace(body, '50.3', '50.4')", [])
                .unwrap();
            assert!(count > 0);
        },
        again,
        true,
    );
    still_answers(
        "a folder in its place",
        |index| {
            std::fs::remove_file(index).unwrap();
            std::fs::create_dir(index).unwrap();
        },
        "cannot be written; this was worked out from the journals",
        false,
    );
}

#[test]
fn an_index_that_another_one_is_writing_is_done_without() {
    let runs = folder();
    let (_, good, _) = history(runs.path(), &["FV-118"]);
    let database = rusqlite::Connection::open(runs.path().join(INDEX)).unwrap();
    database.execute_batch("BEGIN EXCLUSIVE").unwrap();
    let (code, out, err) = history(runs.path(), &["FV-118"]);
    assert_eq!((code, out), (Some(0), good));
    assert!(
        err.contains("in use by another Sayback") && err.lines().count() == 1,
        "{err}"
    );
}

#[test]
fn an_index_in_a_folder_that_can_only_be_read_is_done_without() {
    let runs = folder();
    // Root writes where it may not, so the program runs as nobody here.
    let mode = |mode| {
        use std::os::unix::fs::PermissionsExt as _;
        std::fs::set_permissions(runs.path(), std::fs::Permissions::from_mode(mode)).unwrap();
    };
    mode(0o555);
    let output = std::process::Command::new("setpriv")
        .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
        .arg(env!("CARGO_BIN_EXE_sayback"))
        .args(["history", "FV-118", "--runs"])
        .arg(runs.path())
        .output();
    mode(0o755);
    let Ok(output) = output else {
        eprintln!("NOT TESTED: a folder that can only be read, because there is no setpriv here");
        return;
    };
    let err = String::from_utf8_lossy(&output.stderr);
    if err.contains("setpriv:") {
        eprintln!("NOT TESTED: a folder that can only be read: {err}");
        return;
    }
    assert_eq!(output.status.code(), Some(0), "{err}");
    assert!(
        err.contains("cannot be written; this was worked out from the journals"),
        "{err}"
    );
    assert!(!runs.path().join(INDEX).exists());
}

#[test]
fn a_full_disk_is_no_reason_to_tell_nothing() {
    let runs = tempfile::tempdir().unwrap();
    let mounted = std::process::Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=1m", "tmpfs"])
        .arg(runs.path())
        .status()
        .is_ok_and(|status| status.success());
    if !mounted {
        eprintln!("NOT TESTED: the index on a full disk, because nothing can be mounted here");
        return;
    }
    Made::set_ends("FV-118", 0, LEFT, LEFT, true).write(runs.path());
    // Half of what was too much, and again, until not a page is left.
    let (mut size, mut number) = (1_usize << 20, 0);
    while size >= 4096 {
        let path = runs.path().join(format!("filler-{number}"));
        number += 1;
        if std::fs::write(&path, vec![0_u8; size]).is_err() {
            let _ = std::fs::remove_file(&path);
            size /= 2;
        }
    }
    let (code, out, err) = history(runs.path(), &["FV-118"]);
    let _ = std::process::Command::new("umount")
        .arg(runs.path())
        .status();
    assert_eq!(code, Some(0), "{err}");
    assert!(out.starts_with("FV-118: 1 job"), "{out}");
    assert!(err.contains("no room for the index"), "{err}");
}

/// `cargo test --release --test all history::index::ten_thousand -- --ignored --nocapture` prints the figures.
#[test]
#[ignore = "makes ten thousand runs; minutes"]
fn ten_thousand_jobs() {
    let mut runs = tempfile::tempdir().unwrap();
    // To be measured from outside too.
    runs.disable_cleanup(std::env::var_os("SAYBACK_KEEP").is_some());
    eprintln!("in {}", runs.path().display());
    let begun = now();
    let kinds: Vec<Made> = [[0.0; 5], [0.1; 5], [0.2; 5], [0.3; 5]]
        .into_iter()
        .map(|by| {
            let add = |run: [f64; 5]| {
                std::array::from_fn(|at| ((run[at] + by[at]) * 10.0).round() / 10.0)
            };
            Made::set_ends("X", 0, (add(LEFT.0), add(LEFT.1)), LEFT, true)
        })
        .collect();
    // 500 actuators, 20 jobs each, half a year apart.
    for number in 0..10_000_i64 {
        let mut made = kinds[usize::try_from(number % 4).unwrap()].clone();
        let (actuator, job) = (number % 500, number / 500);
        made.begin(super::made::FIRST + job * 182 * super::made::DAY + actuator * 60_000);
        made.tag(&format!("FV-{actuator}"));
        made.name = format!("{}-{:03}-set-ends", &made.name[..10], actuator + 1);
        made.write(runs.path());
    }
    eprintln!("made in {:.1} s", begun.elapsed().as_secs_f64());
    let timed = |what: &str, n: usize, arguments: &[&str]| {
        let mut times: Vec<f64> = (0..n)
            .map(|_| {
                let begun = now();
                let (code, _, err) = history(runs.path(), arguments);
                assert_eq!(code, Some(0), "{err}");
                begun.elapsed().as_secs_f64() * 1000.0
            })
            .collect();
        times.sort_by(f64::total_cmp);
        eprintln!(
            "{what}: median {:.1} ms, worst {:.1} ms, n = {n}",
            times[n / 2],
            times[n - 1]
        );
        times[n / 2]
    };
    timed("index from nothing, whole program", 1, &["FV-7"]);
    let size = std::fs::metadata(runs.path().join(INDEX)).unwrap().len();
    eprintln!("index: {:.1} MiB", size as f64 / f64::from(1 << 20));
    timed("one tag of 20 jobs, whole program", 15, &["FV-7"]);
    timed("all tags, whole program", 15, &[]);
    timed(
        "search, whole program",
        15,
        &["--find", "inaccuracy", "hysteresis"],
    );
    // Open and question apart, in this process.
    let read = |_: &sayback::edge::runs::RunFolder| -> Result<_, String> {
        panic!("the index is up to date")
    };
    let (mut opens, mut tags) = (Vec::new(), Vec::new());
    for round in 0..31 {
        let begun = now();
        let asked = sayback::edge::index::ask(runs.path(), &read, &|index| {
            let open = begun.elapsed().as_secs_f64() * 1000.0;
            let begun = now();
            let jobs = index.of_tag(&format!("FV-{round}"))?;
            let lines = sayback::history::words::lines(
                "X",
                &sayback::history::tag::TagHistory::of(&jobs),
                "2026-11-25",
            );
            assert!(lines.len() > 20);
            Ok((open, begun.elapsed().as_secs_f64() * 1000.0))
        })
        .unwrap();
        opens.push(asked.answer.0);
        tags.push(asked.answer.1);
    }
    opens.sort_by(f64::total_cmp);
    tags.sort_by(f64::total_cmp);
    eprintln!(
        "open of an index that is up to date: median {:.1} ms, worst {:.1} ms, n = 31\none tag's history: median {:.2} ms, worst {:.2} ms, n = 31",
        opens[15], opens[30], tags[15], tags[30]
    );
    assert!(opens[15] < 300.0 && tags[15] < 20.0);
}

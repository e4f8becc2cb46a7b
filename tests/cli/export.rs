//! Making a record where there is no room, no right, or no whole run: what is wrong and what to do,
//! the old files as they were, and nothing half written.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use super::{only_run, run_by_keys, sayback, text};

const FILES: [&str; 4] = ["record.csv", "record.html", "record.json", "record.pdf"];

fn made(runs: &Path) -> PathBuf {
    run_by_keys(runs, include_str!("keys.txt"));
    only_run(runs)
}

/// Every file of the folder itself with its bytes.
fn files(run: &Path) -> BTreeMap<String, Vec<u8>> {
    fs::read_dir(run)
        .unwrap()
        .map(|entry| entry.unwrap())
        .filter(|entry| entry.file_type().unwrap().is_file())
        .map(|entry| {
            (
                entry.file_name().to_string_lossy().into_owned(),
                fs::read(entry.path()).unwrap(),
            )
        })
        .collect()
}

#[test]
fn a_record_is_all_four_files_or_none() {
    let runs = tempfile::tempdir().unwrap();
    let run = made(runs.path());
    let before = files(&run);
    for name in FILES {
        assert!(!before[name].is_empty(), "{name}");
    }
    // Where one of the four cannot be put in place, none is changed: here a folder has its name.
    fs::write(run.join("record.csv"), "the old table").unwrap();
    fs::write(run.join("record.html"), "the old page").unwrap();
    fs::remove_file(run.join("record.json")).unwrap();
    fs::create_dir(run.join("record.json.part")).unwrap();
    let before = files(&run);
    let output = sayback().arg("record").arg(&run).output().unwrap();
    assert_eq!(output.status.code(), Some(3), "{}", text(&output));
    assert!(text(&output).contains("cannot write"), "{}", text(&output));
    assert!(text(&output).contains("or name another with --runs"));
    assert_eq!(files(&run), before);
    fs::remove_dir(run.join("record.json.part")).unwrap();
    fs::create_dir(run.join("record.json")).unwrap();
    let output = sayback().arg("record").arg(&run).output().unwrap();
    assert_eq!(output.status.code(), Some(3), "{}", text(&output));
    assert_eq!(files(&run), before);
    fs::remove_dir(run.join("record.json")).unwrap();
    let output = sayback().arg("record").arg(&run).output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    assert_eq!(files(&run).len(), before.len() + 1);
}

#[test]
fn a_folder_that_cannot_be_written_is_named_with_what_to_do() {
    let runs = tempfile::tempdir().unwrap();
    let run = made(runs.path());
    let small = tempfile::tempdir().unwrap();
    // Who may write everywhere (root) is not kept out by rights, but by a disk that can only be read.
    let mut disk = None;
    let mut run = run;
    fs::set_permissions(&run, fs::Permissions::from_mode(0o555)).unwrap();
    if fs::write(run.join("probe"), "").is_ok() {
        fs::set_permissions(&run, fs::Permissions::from_mode(0o755)).unwrap();
        fs::remove_file(run.join("probe")).unwrap();
        let Some(mounted) = SmallDisk::mount(&small.path().join("disk"), "4m") else {
            return;
        };
        let there = mounted.0.join("run");
        fs::create_dir_all(there.join("clips")).unwrap();
        for (name, bytes) in files(&run) {
            fs::write(there.join(name), bytes).unwrap();
        }
        mounted.only_to_be_read();
        disk = Some(mounted);
        run = there;
    }
    let before = files(&run);
    let output = sayback().arg("record").arg(&run).output().unwrap();
    if disk.is_none() {
        fs::set_permissions(&run, fs::Permissions::from_mode(0o755)).unwrap();
    }
    assert_eq!(output.status.code(), Some(3), "{}", text(&output));
    assert!(text(&output).contains(run.to_str().unwrap()));
    assert!(text(&output).contains("Check that the folder exists, can be written, and has room"));
    assert_eq!(files(&run), before);
}

/// A small disk, for as long as this lives.
struct SmallDisk(PathBuf);

impl SmallDisk {
    fn mount(at: &Path, size: &str) -> Option<Self> {
        fs::create_dir_all(at).unwrap();
        let done = std::process::Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={size}"), "tmpfs"])
            .arg(at)
            .output();
        match done {
            Ok(output) if output.status.success() => Some(Self(at.to_owned())),
            _ => {
                eprintln!(
                    "NOT TESTED: a full disk while the record is made, because no small disk can be mounted here"
                );
                None
            }
        }
    }

    fn only_to_be_read(&self) {
        let done = std::process::Command::new("mount")
            .args(["-o", "remount,ro"])
            .arg(&self.0)
            .status();
        assert!(done.unwrap().success());
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = std::process::Command::new("umount").arg(&self.0).status();
    }
}

#[test]
fn a_full_disk_leaves_the_old_record_as_it_was_and_nothing_half_written() {
    let runs = tempfile::tempdir().unwrap();
    let whole = made(runs.path());
    let small = tempfile::tempdir().unwrap();
    let Some(disk) = SmallDisk::mount(&small.path().join("disk"), "64k") else {
        return;
    };
    // The journal and the job file fit, the record does not.
    let run = disk.0.join("run");
    fs::create_dir_all(run.join("clips")).unwrap();
    for name in ["journal.txt", "job.toml"] {
        let text = fs::read(whole.join(name)).unwrap();
        let kept = if name == "journal.txt" {
            // As many records as leave half of the disk free.
            let lines: Vec<&[u8]> = text
                .split_inclusive(|byte| *byte == b'\n')
                .take(20)
                .collect();
            lines.concat()
        } else {
            text
        };
        fs::write(run.join(name), kept).unwrap();
    }
    fs::write(run.join("record.html"), "the old page").unwrap();
    fs::write(run.join("record.csv"), "the old table").unwrap();
    let before = files(&run);
    let output = sayback().arg("record").arg(&run).output().unwrap();
    assert_eq!(output.status.code(), Some(3), "{}", text(&output));
    assert!(
        text(&output).contains("No space left on device") && text(&output).contains("has room"),
        "{}",
        text(&output)
    );
    assert_eq!(files(&run), before);
}

#[test]
fn a_full_output_is_told_for_the_pdf_too() {
    let runs = tempfile::tempdir().unwrap();
    let run = made(runs.path());
    for form in ["pdf", "csv", "json", "html"] {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_sayback"))
            .args(["record", "--print", form])
            .arg(&run)
            .stdout(
                fs::OpenOptions::new()
                    .write(true)
                    .open("/dev/full")
                    .unwrap(),
            )
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(3), "{form}: {}", text(&output));
        assert!(
            text(&output).contains("Make room there, or send it elsewhere"),
            "{form}"
        );
    }
}

#[test]
fn a_damaged_journal_still_gives_a_record_that_says_so_first() {
    let runs = tempfile::tempdir().unwrap();
    let run = made(runs.path());
    let path = run.join("journal.txt");
    let changed = fs::read_to_string(&path)
        .unwrap()
        .replacen("\"510.1\"", "\"501.1\"", 1);
    fs::write(&path, changed).unwrap();
    let output = sayback().arg("record").arg(&run).output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    assert!(text(&output).contains("Put the whole journal back from a copy"));
    let html = fs::read_to_string(run.join("record.html")).unwrap();
    let first = html.split("<li class=\"bad\">").nth(1).unwrap();
    assert!(
        first
            .split("</li>")
            .next()
            .unwrap()
            .contains("The journal is not whole")
    );
    // Nothing behind the damage is taken for true.
    assert!(!html.contains("501.1") && html.contains("DAMAGED: "));
    let output = sayback()
        .args(["record", "--print", "text"])
        .arg(&run)
        .output()
        .unwrap();
    assert!(
        text(&output).contains("!! The journal is not whole"),
        "{}",
        text(&output)
    );
}

#[test]
fn a_job_file_that_was_changed_or_taken_away_is_told_with_what_to_do() {
    let runs = tempfile::tempdir().unwrap();
    let run = made(runs.path());
    let before = files(&run);
    fs::remove_file(run.join("job.toml")).unwrap();
    let output = sayback().arg("record").arg(&run).output().unwrap();
    assert_eq!(output.status.code(), Some(2), "{}", text(&output));
    assert!(
        text(&output).contains("job.toml")
            && text(&output).contains("Put it back from a copy of the run"),
        "{}",
        text(&output)
    );
    for name in FILES {
        assert_eq!(fs::read(run.join(name)).unwrap(), before[name], "{name}");
    }
}

#[test]
fn the_front_of_the_demo_record_is_one_sheet() {
    let runs = tempfile::tempdir().unwrap();
    let run = made(runs.path());
    let Ok(info) = std::process::Command::new("pdfinfo")
        .arg(run.join("record.pdf"))
        .output()
    else {
        eprintln!("NOT TESTED: pdfinfo is not installed (Debian: poppler-utils)");
        return;
    };
    // One to sign, one with all answers.
    let pages = text(&info).lines().find_map(|line| {
        line.strip_prefix("Pages:")
            .map(|count| count.trim().to_owned())
    });
    assert_eq!(pages.as_deref(), Some("2"), "{}", text(&info));
}

//! Two crews' folders become one: nothing is overwritten, nothing is decided, nothing is done twice.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use proptest::prelude::*;
use sayback::core::record::{Body, Clip, Value};
use sayback::journal::ChainHash;
use sayback::merge::{Relation, relation};

use crate::core::set_ends::LEFT;
use crate::history::made::{Made, records};

fn merge(from: &Path, into: &Path) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_sayback"))
        .env_remove("SAYBACK_RUNS")
        .arg("merge")
        .arg(from)
        .arg("--runs")
        .arg(into)
        .output()
        .unwrap();
    let text =
        String::from_utf8(output.stdout).unwrap() + &String::from_utf8(output.stderr).unwrap();
    (output.status.code(), text)
}

/// Every file of a folder with its bytes, by its path in it.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(next) = open.pop() {
        for entry in std::fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().to_owned();
                found.insert(name, std::fs::read(&path).unwrap());
            }
        }
    }
    found
}

struct Two {
    here: tempfile::TempDir,
    there: tempfile::TempDir,
}

fn two() -> Two {
    Two {
        here: tempfile::tempdir().unwrap(),
        there: tempfile::tempdir().unwrap(),
    }
}

impl Two {
    fn merge(&self) -> (Option<i32>, String) {
        let there = files(self.there.path());
        let done = merge(self.there.path(), self.here.path());
        assert_eq!(
            files(self.there.path()),
            there,
            "the other folder was touched"
        );
        done
    }

    /// Merged once more, nothing is done.
    fn again(&self, code: i32) -> String {
        let before = files(self.here.path());
        let (found, text) = self.merge();
        assert_eq!(found, Some(code), "{text}");
        assert_eq!(files(self.here.path()), before, "{text}");
        text
    }
}

fn run(by: &str, minute: i64) -> Made {
    let mut made = Made::set_ends("FV-118", 0, LEFT, LEFT, true);
    made.by(by);
    for record in &mut made.records {
        record.at.utc_ms += minute * 60_000;
    }
    made
}

#[test]
fn runs_of_another_crew_are_copied_whole_and_a_name_that_is_taken_is_not_overwritten() {
    let two = two();
    run("KD", 0).write(two.here.path());
    let theirs = run("BT", 30);
    theirs.write(two.there.path());
    let kept = files(two.here.path());
    let (code, text) = two.merge();
    assert_eq!(code, Some(0), "{text}");
    assert!(
        text.contains("2024-11-25-001-set-ends: copied as 2024-11-25-002-set-ends: its name is another run's here"),
        "{text}"
    );
    let copied = two.here.path().join("2024-11-25-002-set-ends");
    assert_eq!(files(&copied), files(&two.there.path().join(&theirs.name)));
    for (name, bytes) in kept {
        assert_eq!(std::fs::read(two.here.path().join(name)).unwrap(), bytes);
    }
    assert!(!two.here.path().join(".merge").exists());
    let text = two.again(0);
    assert!(text.contains("0 copied, 1 already here"), "{text}");
}

#[test]
fn the_longer_of_two_is_kept_and_the_shorter_kept_aside() {
    let two = two();
    let long = run("KD", 0);
    let mut short = long.clone();
    short.records.truncate(20);
    short.write(two.here.path());
    long.write(two.there.path());
    let shorter = files(&two.here.path().join(&long.name));
    let (code, text) = two.merge();
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("it goes on from the one here"), "{text}");
    assert_eq!(
        files(&two.here.path().join(&long.name)),
        files(&two.there.path().join(&long.name))
    );
    assert_eq!(
        files(
            &two.here
                .path()
                .join("aside")
                .join(format!("{}-1", long.name))
        ),
        shorter
    );
    two.again(0);
    // The other way round there is nothing to copy, and it is told.
    let (code, text) = merge(two.here.path(), two.there.path());
    assert_eq!(code, Some(0));
    assert!(text.contains("0 copied, 1 already here"), "{text}");
    std::fs::remove_dir_all(two.there.path().join(&long.name)).unwrap();
    short.write(two.there.path());
    let text = two.again(0);
    assert!(
        text.contains("goes on from it: ") && text.contains("20 there. Nothing to copy"),
        "{text}"
    );
}

#[test]
fn what_contradicts_is_shown_in_words_and_kept_twice() {
    let two = two();
    let ours = run("KD", 0);
    let mut theirs = ours.clone();
    let at = theirs
        .records
        .iter()
        .position(|record| matches!(&record.body, Body::Answered(answer) if answer.step == "signal-mid-read"))
        .unwrap();
    if let Body::Answered(answer) = &mut theirs.records[at].body {
        answer.value = Value::Number {
            value: "12.04".parse().unwrap(),
            unit: "mA".to_owned(),
        };
    }
    ours.write(two.here.path());
    theirs.write(two.there.path());
    let kept = files(two.here.path());
    let (code, text) = two.merge();
    assert_eq!(code, Some(1), "{text}");
    assert!(
        text.contains("CONFLICT: same job, author and start"),
        "{text}"
    );
    assert!(
        text.contains(&format!("differ after {at} records")),
        "{text}"
    );
    assert!(
        text.contains("There: signal-mid-read: 12.04 mA at ")
            && text.contains("Here: signal-mid-read: 12.00 mA at "),
        "{text}"
    );
    let other = two.here.path().join("2024-11-25-001-set-ends-other-1");
    assert_eq!(records(&other.join("journal.txt")), theirs.records);
    for (name, bytes) in kept {
        assert_eq!(std::fs::read(two.here.path().join(name)).unwrap(), bytes);
    }
    // Known the second time, and no third copy.
    let text = two.again(0);
    assert!(text.contains("1 already here"), "{text}");
    // Moved aside by a person, it is not brought back.
    std::fs::create_dir(two.here.path().join("aside")).unwrap();
    std::fs::rename(&other, two.here.path().join("aside/theirs")).unwrap();
    let text = two.again(0);
    assert!(text.contains("was set aside here"), "{text}");
}

#[test]
fn a_missing_clip_is_told_and_taken_over_from_whoever_has_it() {
    let two = two();
    let sound = b"RIFF some sound".to_vec();
    let mut made = run("KD", 0);
    for record in &mut made.records {
        if let Body::Answered(answer) = &mut record.body
            && answer.step == "starts"
        {
            answer.how.clip = Some(Clip {
                file: "071.wav".to_owned(),
                hash: blake3::hash(&sound).to_hex().to_string(),
            });
        }
    }
    let folder = made.write(two.there.path());
    let (code, text) = two.merge();
    assert_eq!(code, Some(0));
    assert!(
        text.contains(
            "LOOK: its journal names 1 clip that neither folder has as it was written: 071.wav"
        ),
        "{text}"
    );
    // A clip that was changed is not taken for it.
    std::fs::write(folder.join("clips/071.wav"), b"another sound").unwrap();
    assert!(two.again(0).contains("LOOK: its journal names 1 clip"));
    std::fs::write(folder.join("clips/071.wav"), &sound).unwrap();
    let (_, text) = two.merge();
    assert!(
        text.contains("1 clip missing here was taken over"),
        "{text}"
    );
    assert_eq!(
        std::fs::read(two.here.path().join(&made.name).join("clips/071.wav")).unwrap(),
        sound
    );
    two.again(0);
}

#[test]
fn a_damaged_journal_is_evidence_too() {
    let two = two();
    let made = run("KD", 0);
    let folder = made.write(two.there.path());
    let whole = made.journal();
    let mut damaged = whole.clone();
    let middle = damaged.len() / 2;
    damaged[middle] ^= 4;
    std::fs::write(folder.join("journal.txt"), &damaged).unwrap();
    let (code, text) = two.merge();
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("LOOK: it is damaged at line"), "{text}");
    assert_eq!(
        std::fs::read(two.here.path().join(&made.name).join("journal.txt")).unwrap(),
        damaged
    );
    two.again(0);
    // The whole one comes: neither replaces the other.
    std::fs::write(folder.join("journal.txt"), &whole).unwrap();
    let (code, text) = two.merge();
    assert_eq!(code, Some(1));
    assert!(
        text.contains("CONFLICT") && text.contains("Here: damaged at line"),
        "{text}"
    );
    two.again(0);
}

#[test]
fn what_somebody_is_at_work_in_is_left_alone() {
    use sayback::storage::FileStorage;
    let two = two();
    let long = run("KD", 0);
    let mut short = long.clone();
    short.records.truncate(20);
    let here = short.write(two.here.path());
    let there = long.write(two.there.path());
    let lock = FileStorage::open(&there.join("journal.txt")).unwrap();
    assert!(
        two.again(1)
            .contains("NOT MERGED: a Sayback is at work in it. Close it there")
    );
    drop(lock);
    let lock = FileStorage::open(&here.join("journal.txt")).unwrap();
    let before = files(&here);
    let (code, text) = two.merge();
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("NOT MERGED"), "{text}");
    assert_eq!(files(&here), before);
    drop(lock);
    assert_eq!(two.merge().0, Some(0));
}

#[test]
fn wrong_folders_are_told_with_the_fix() {
    let two = two();
    let folder = run("KD", 0).write(two.there.path());
    for (from, told) in [
        (two.here.path().to_owned(), "is the folder of runs itself"),
        (two.there.path().join("nowhere"), "cannot be read"),
        (folder.join("job.toml"), "is no folder"),
        (
            folder.clone(),
            "It is one run; name the folder that it lies in",
        ),
        (folder.join("clips"), "holds no runs. Name the folder"),
    ] {
        let (code, text) = merge(&from, two.here.path());
        assert_eq!(code, Some(2), "{text}");
        assert!(text.contains(told), "{told}: {text}");
    }
    assert_eq!(files(two.here.path()), BTreeMap::new());
    // A link could lead anywhere.
    std::os::unix::fs::symlink("/etc/hostname", folder.join("clips/x.wav")).unwrap();
    let (code, text) = two.merge_only();
    assert_eq!(code, Some(1));
    assert!(text.contains("is no plain file"), "{text}");
    assert_eq!(files(two.here.path()), BTreeMap::new());
}

impl Two {
    fn merge_only(&self) -> (Option<i32>, String) {
        merge(self.there.path(), self.here.path())
    }
}

#[test]
fn a_full_disk_leaves_no_half_run_and_the_rest_is_merged_later() {
    let two = two();
    let mounted = std::process::Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=128k", "tmpfs"])
        .arg(two.here.path())
        .status()
        .is_ok_and(|status| status.success());
    if !mounted {
        eprintln!("NOT TESTED: merging onto a full disk, because nothing can be mounted here");
        return;
    }
    let made = run("KD", 0);
    made.write(two.there.path());
    let filler = two.here.path().join("filler");
    std::fs::write(&filler, vec![0_u8; 90 * 1024]).unwrap();
    let (code, text) = two.merge();
    let left: Vec<PathBuf> = files(two.here.path()).into_keys().collect();
    std::fs::remove_file(&filler).unwrap();
    let (later, _) = two.merge();
    let whole = files(&two.here.path().join(&made.name));
    let _ = std::process::Command::new("umount")
        .arg(two.here.path())
        .status();
    assert_eq!(code, Some(3), "{text}");
    assert!(
        text.contains("NOT MERGED") && text.contains("Make room"),
        "{text}"
    );
    assert_eq!(left, [PathBuf::from("filler")]);
    assert_eq!(later, Some(0));
    assert_eq!(whole, files(&two.there.path().join(&made.name)));
}

#[test]
fn a_merge_that_was_cut_off_is_gone_on_with() {
    let two = two();
    let made = run("KD", 0);
    made.write(two.there.path());
    // What a cut leaves: half a copy.
    let half = two.here.path().join(".merge").join(&made.name);
    std::fs::create_dir_all(&half).unwrap();
    std::fs::write(half.join("journal.txt"), "half").unwrap();
    assert_eq!(two.merge().0, Some(0));
    assert_eq!(
        files(two.here.path())
            .into_keys()
            .filter(|name| name.ends_with("journal.txt"))
            .count(),
        1
    );
    two.again(0);
}

fn chain(letters: &[u8]) -> Vec<ChainHash> {
    // The hash of each letter with all before it, as a journal makes it.
    (1..=letters.len())
        .map(|length| blake3::hash(&letters[..length]).to_hex().parse().unwrap())
        .collect()
}

proptest! {
    /// Against the plain comparison of the letters themselves.
    #[test]
    fn chains_stand_to_each_other_as_what_they_are_made_of(
        common in proptest::collection::vec(0_u8..3, 0..6),
        here in proptest::collection::vec(0_u8..3, 0..4),
        there in proptest::collection::vec(0_u8..3, 0..4),
    ) {
        let ours = [&common[..], &here[..]].concat();
        let theirs = [&common[..], &there[..]].concat();
        let same = ours.iter().zip(&theirs).take_while(|(one, other)| one == other).count();
        let wanted = if ours == theirs {
            Relation::Same
        } else if ours.starts_with(&theirs) {
            Relation::HereLonger
        } else if theirs.starts_with(&ours) {
            Relation::ThereLonger
        } else {
            Relation::Differ { common: same }
        };
        prop_assert_eq!(relation(&chain(&ours), &chain(&theirs)), wanted);
    }
}

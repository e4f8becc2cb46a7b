//! Who stands for a run, and what was changed since: keys, signatures, and the tools of others.

mod keys;
mod signing;
mod statement;
mod vectors;

use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use sayback::core::record::{Body, Record};
use sayback::journal::Journal;
use sayback::storage::FileStorage;

use crate::report::scenario::fv_118;

fn sayback() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    command
        .env_remove("SAYBACK_RUNS")
        .env_remove("SAYBACK_KEY")
        .env_remove("SAYBACK_SIGNERS")
        .timeout(std::time::Duration::from_secs(120));
    command
}

fn text(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// A run of our own on the disk, with a sound for each thing that was said.
struct Run {
    folder: tempfile::TempDir,
}

impl Run {
    fn new() -> Self {
        Self::with(|_| {})
    }

    fn with(change: impl Fn(&mut Vec<Record>)) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let run = Self { folder };
        let clips = run.path().join("clips");
        std::fs::create_dir_all(&clips).unwrap();
        std::fs::write(
            run.path().join("job.toml"),
            include_str!("../report/job.toml"),
        )
        .unwrap();
        let mut records: Vec<Record> = fv_118()
            .records
            .into_iter()
            .map(|(_, record)| record)
            .collect();
        for record in &mut records {
            if let Some(clip) = clip_of(&mut record.body) {
                // Not the sound of anything, but bytes of its own.
                let bytes = format!("RIFF the sound of {}", clip.file).into_bytes();
                clip.hash = blake3::hash(&bytes).to_hex().to_string();
                std::fs::write(clips.join(&clip.file), bytes).unwrap();
            }
        }
        change(&mut records);
        let storage = FileStorage::create_new(&run.path().join("journal.txt")).unwrap();
        let (first, rest) = records.split_first().unwrap();
        let mut journal = Journal::create(storage, first).unwrap();
        for record in rest {
            journal.append(record).unwrap();
        }
        run
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("2026-11-25-001-slipped")
    }

    fn file(&self, name: &str) -> PathBuf {
        self.path().join(name)
    }

    fn keys(&self) -> PathBuf {
        self.folder.path().join("keys")
    }

    fn key(&self) -> PathBuf {
        self.keys().join("key")
    }

    fn make_key(&self) -> String {
        let output = sayback()
            .args(["key", "--by", "K. L.", "--no-passphrase", "--key"])
            .arg(self.key())
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(0), "{}", text(&output));
        text(&output)
    }

    fn sign(&self) -> Output {
        sayback()
            .arg("sign")
            .arg(self.path())
            .arg("--key")
            .arg(self.key())
            .output()
            .unwrap()
    }

    fn verify(&self, more: &[&Path]) -> (Option<i32>, String) {
        let mut command = sayback();
        command.arg("verify").arg(self.path());
        if let [list] = more {
            command.arg("--signers").arg(list);
        }
        let output = command.output().unwrap();
        (output.status.code(), text(&output))
    }

    /// A run with one signature that is good.
    fn signed() -> Self {
        let run = Self::new();
        run.make_key();
        let output = run.sign();
        assert_eq!(output.status.code(), Some(0), "{}", text(&output));
        run
    }
}

fn clip_of(body: &mut Body) -> Option<&mut sayback::core::record::Clip> {
    let how = match body {
        Body::Plate { how, .. }
        | Body::Skipped { how, .. }
        | Body::Noted { how, .. }
        | Body::Stopped { how, .. }
        | Body::Restored { how, .. } => how,
        Body::Answered(answer) => &mut answer.how,
        _ => return None,
    };
    how.clip.as_mut()
}

/// Another program, where it is installed; where not, that is said loudly.
fn tool(name: &str) -> Option<std::process::Command> {
    if std::process::Command::new(name)
        .arg("--help")
        .output()
        .is_err()
    {
        eprintln!("NOT TESTED: {name} is not installed; what Sayback wrote was not read by it");
        return None;
    }
    Some(std::process::Command::new(name))
}

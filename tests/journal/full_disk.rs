//! A real disk of 64 KiB that fills up.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use sayback::journal::{AppendError, Ending, Journal, JournalError};
use sayback::storage::{FileStorage, StorageError};

use super::{Record, begun, journal_of, only_records, reading, records, say, skipped};

/// Mounted until it is dropped.
struct SmallDisk {
    folder: tempfile::TempDir,
}

impl SmallDisk {
    fn mount() -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", "size=64k", "tmpfs"])
            .arg(folder.path())
            .stderr(Stdio::null())
            .status()
            .is_ok_and(|status| status.success());
        if !mounted {
            skipped(
                "a full disk",
                "a 64 KiB tmpfs could not be mounted: run the tests as root",
            );
        }
        mounted.then_some(Self { folder })
    }

    fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Leaves no free page.
    fn fill(&self) -> PathBuf {
        let ballast = self.file("ballast");
        std::fs::write(&ballast, vec![0; 1 << 20]).unwrap_err();
        ballast
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.folder.path()).status();
    }
}

fn open(
    path: &Path,
) -> Result<sayback::journal::Opened<Record, FileStorage>, JournalError<Record>> {
    Journal::open(FileStorage::open(path)?)
}

#[test]
fn a_full_disk_is_said_and_gone_on_from() {
    let Some(disk) = SmallDisk::mount() else {
        return;
    };
    let path = disk.file("run.journal");
    let mut journal = Journal::create(FileStorage::create_new(&path).unwrap(), &begun()).unwrap();
    std::fs::write(disk.file("ballast"), vec![0; 16 << 10]).unwrap();
    let mut saved = 1_u64;
    let error = loop {
        match journal.append(&reading(saved)) {
            Ok(_) => saved += 1,
            Err(error) => break error,
        }
    };
    assert!(
        matches!(
            error,
            AppendError::NotWritten(StorageError::DiskFull { .. })
        ),
        "{error}"
    );
    say(&format!("64 KiB disk: full after {saved} records"));
    assert!(saved > 50);
    assert!(!journal.is_poisoned());
    // No half line, and refused again as long as there is no room.
    assert_eq!(std::fs::read(&path).unwrap(), journal_of(&records(saved)));
    journal.append(&reading(saved)).unwrap_err();

    std::fs::remove_file(disk.file("ballast")).unwrap();
    for number in saved..saved + 20 {
        journal.append(&reading(number)).unwrap();
    }
    drop(journal);
    let opened = open(&path).unwrap();
    assert_eq!(opened.ending, Ending::Clean);
    assert_eq!(only_records(&opened.records), records(saved + 20));
}

/// A torn end that cannot be kept aside stays where it is.
#[test]
fn recovery_on_a_full_disk_touches_nothing() {
    let Some(disk) = SmallDisk::mount() else {
        return;
    };
    let path = disk.file("run.journal");
    let bytes = journal_of(&records(5));
    let torn = &bytes[..bytes.len() - 7];
    std::fs::write(&path, torn).unwrap();
    let ballast = disk.fill();
    let error = open(&path).unwrap_err();
    assert!(
        matches!(error, JournalError::Storage(StorageError::DiskFull { .. })),
        "{error}"
    );
    assert_eq!(std::fs::read(&path).unwrap(), torn);
    assert!(!disk.file("run.journal.torn-1").exists());

    std::fs::remove_file(ballast).unwrap();
    let opened = open(&path).unwrap();
    assert_eq!(only_records(&opened.records), records(4));
    let kept = std::fs::read(disk.file("run.journal.torn-1")).unwrap();
    assert_eq!([&std::fs::read(&path).unwrap()[..], &kept].concat(), torn);
}

#[test]
fn a_new_run_on_a_full_disk() {
    let Some(disk) = SmallDisk::mount() else {
        return;
    };
    disk.fill();
    let path = disk.file("run.journal");
    // The name may still fit; the first record does not.
    let made = FileStorage::create_new(&path);
    let error = match made {
        Ok(storage) => Journal::create(storage, &begun()).unwrap_err().to_string(),
        Err(error) => error.to_string(),
    };
    assert!(
        error.contains("the disk is full. Free some space"),
        "{error}"
    );
    assert!(matches!(
        open(&path).unwrap_err(),
        JournalError::NotBegun { .. } | JournalError::Storage(StorageError::NoSuchFile { .. })
    ));
}

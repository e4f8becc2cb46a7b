//! The file under the journal: what is at its path, who else has it, and what
//! happens to it while it is open.

use std::io::{BufRead as _, BufReader, Write as _};
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _, symlink};
use std::path::Path;
use std::process::Command;

use sayback::journal::{AppendError, Ending, Journal, read};
use sayback::storage::{FileStorage, ReadOnlyFile, Source as _, StorageError};

use super::child;
use super::{Record, begun, journal_of, only_records, reading, records, skipped};

fn journal_at(path: &Path) -> Journal<Record, FileStorage> {
    Journal::create(FileStorage::create_new(path).unwrap(), &begun()).unwrap()
}

#[test]
fn written_closed_and_opened_again() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    let mut journal = journal_at(&path);
    journal.append(&reading(1)).unwrap();
    let hash = journal.chain_hash();
    drop(journal);
    let mut opened = Journal::<Record, _>::open(FileStorage::open(&path).unwrap()).unwrap();
    assert_eq!(opened.ending, Ending::Clean);
    assert_eq!(opened.journal.chain_hash(), hash);
    assert_eq!(opened.journal.append(&reading(2)).unwrap().0, 2);
    assert_eq!(std::fs::read(&path).unwrap(), journal_of(&records(3)));
}

#[test]
fn torn_ends_are_kept_in_files_of_their_own() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    let bytes = journal_of(&records(4));
    for number in 1..=3_usize {
        let torn = &bytes[..bytes.len() - 10 * number];
        std::fs::write(&path, torn).unwrap();
        let opened = Journal::<Record, _>::open(FileStorage::open(&path).unwrap()).unwrap();
        let Ending::Torn { kept_aside, bytes } = opened.ending else {
            panic!("{:?}", opened.ending)
        };
        assert_eq!(kept_aside, format!("{}.torn-{number}", path.display()));
        let kept = std::fs::read(&kept_aside).unwrap();
        assert_eq!(kept.len() as u64, bytes);
        assert_eq!([&std::fs::read(&path).unwrap()[..], &kept].concat(), torn);
    }
}

/// A report may be made while the run goes on.
#[test]
fn reading_only_takes_no_lock_and_writes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    let journal = journal_at(&path);
    let looked = read::<Record>(&ReadOnlyFile::open(&path).unwrap()).unwrap();
    assert_eq!(only_records(&looked.entries), records(1));
    drop(journal);

    let bytes = journal_of(&records(4));
    let torn = &bytes[..bytes.len() - 5];
    std::fs::write(&path, torn).unwrap();
    let before = path.metadata().unwrap();
    let looked = read::<Record>(&ReadOnlyFile::open(&path).unwrap()).unwrap();
    assert_eq!(only_records(&looked.entries), records(3));
    assert_eq!([&journal_of(&records(3))[..], &looked.torn].concat(), torn);
    let after = path.metadata().unwrap();
    assert_eq!(
        (before.mtime_nsec(), before.ctime_nsec()),
        (after.mtime_nsec(), after.ctime_nsec())
    );
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn the_second_opener_is_told_who_has_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    drop(journal_at(&path));
    let mut holder = child::command(&[], "hold", &path).spawn().unwrap();
    let mut lines = BufReader::new(holder.stdout.take().unwrap()).lines();
    while lines.next().unwrap().unwrap() != "HELD" {}

    let error = FileStorage::open(&path).unwrap_err();
    let pid = holder.id();
    assert_eq!(
        error.to_string(),
        format!(
            "{} is in use by another Sayback (process {pid}). Close that one first",
            path.display()
        )
    );
    // Under another name it is the same file.
    let link = folder.path().join("link");
    symlink(&path, &link).unwrap();
    assert!(matches!(
        FileStorage::open(&link),
        Err(StorageError::InUse { .. })
    ));

    // However the holder ends, the lock ends with it.
    holder.kill().unwrap();
    holder.wait().unwrap();
    FileStorage::open(&path).unwrap();
}

#[test]
fn only_one_of_two_programs_gets_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    let mut journal = journal_at(&path);
    let ended = child::run(&[], "open", &path);
    assert!(ended.finished);
    assert!(
        ended.said[0].contains("is in use by another Sayback"),
        "{:?}",
        ended.said
    );
    journal.append(&reading(1)).unwrap();
    drop(journal);
    assert_eq!(child::run(&[], "open", &path).said, ["opened"]);
}

#[test]
fn deleted_moved_or_replaced_while_open_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    let moved = folder.path().join("moved.journal");
    let mut journal = journal_at(&path);

    std::fs::rename(&path, &moved).unwrap();
    let error = journal.append(&reading(1)).unwrap_err();
    assert!(
        matches!(error, AppendError::NotWritten(StorageError::Gone { .. })),
        "{error}"
    );
    std::fs::copy(&moved, &path).unwrap();
    let error = journal.append(&reading(1)).unwrap_err();
    assert!(
        matches!(
            error,
            AppendError::NotWritten(StorageError::Replaced { .. })
        ),
        "{error}"
    );
    assert_eq!(std::fs::read(&path).unwrap(), journal_of(&records(1)));

    // Put back, it goes on.
    std::fs::rename(&moved, &path).unwrap();
    journal.append(&reading(1)).unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), journal_of(&records(2)));

    std::fs::remove_file(&path).unwrap();
    let error = journal.append(&reading(2)).unwrap_err();
    assert!(error.to_string().starts_with("NOT SAVED: "), "{error}");
    assert!(
        error.to_string().contains("was deleted or moved"),
        "{error}"
    );
    assert!(!journal.is_poisoned());
}

/// What another program wrote is not cut off, and nothing is glued to it.
#[test]
fn bytes_of_another_program_are_left() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    let mut journal = journal_at(&path);
    let note = std::fs::OpenOptions::new().append(true).open(&path);
    note.unwrap().write_all(b"a note\n").unwrap();
    let with_note = std::fs::read(&path).unwrap();
    let error = journal.append(&reading(1)).unwrap_err();
    assert!(
        matches!(
            error,
            AppendError::NotWritten(StorageError::LengthChanged { .. })
        ),
        "{error}"
    );
    assert_eq!(std::fs::read(&path).unwrap(), with_note);
}

#[test]
fn what_is_not_a_plain_file_is_refused_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let here = |name: &str| folder.path().join(name);
    let pipe = here("pipe");
    assert!(
        Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .unwrap()
            .success()
    );
    symlink("nowhere", here("dangling")).unwrap();
    std::fs::write(here("file"), "").unwrap();
    let open = |path: &Path| FileStorage::open(path).unwrap_err().to_string();
    let look = |path: &Path| ReadOnlyFile::open(path).unwrap_err().to_string();
    for (path, words) in [
        (pipe.as_path(), "this is not a plain file but a pipe"),
        (
            Path::new("/dev/full"),
            "this is not a plain file but a device",
        ),
        (folder.path(), "this is a folder. Name a file in it"),
        (
            &here("dangling"),
            "this link leads to nowhere, which is not there",
        ),
        (&here("missing"), "there is no such file. Check the name"),
        (&here("no/run.journal"), "there is no folder"),
        (&here("file/run.journal"), "there is no folder"),
    ] {
        assert!(open(path).contains(words), "{}", open(path));
        assert!(look(path).contains(words), "{}", look(path));
    }
}

#[test]
fn a_new_file_never_takes_the_place_of_another() {
    let folder = tempfile::tempdir().unwrap();
    let here = |name: &str| folder.path().join(name);
    std::fs::write(here("file"), "evidence").unwrap();
    symlink("nowhere", here("dangling")).unwrap();
    for (name, words) in [
        (
            "file",
            "there is a file of this name already, and it is left as it is",
        ),
        ("dangling", "there is a file of this name already"),
        ("", "this is a folder"),
        ("no/run.journal", "there is no folder"),
    ] {
        let error = FileStorage::create_new(&here(name))
            .unwrap_err()
            .to_string();
        assert!(error.contains(words), "{error}");
    }
    assert_eq!(std::fs::read(here("file")).unwrap(), b"evidence");
    assert!(!here("nowhere").exists());
}

#[test]
fn without_permission_the_path_and_the_fix_are_said() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    drop(journal_at(&path));
    let mode = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    mode(folder.path(), 0o755);
    mode(&path, 0o444);
    let is_root = Path::new("/proc/self").metadata().unwrap().uid() == 0;
    // Root may do everything: there another user has to try.
    let before: &[&str] = if is_root {
        &[
            "setpriv",
            "--reuid=65534",
            "--regid=65534",
            "--clear-groups",
        ]
    } else {
        mode(folder.path(), 0o555);
        &[]
    };
    let other = folder.path().join("other.journal");
    let answers = [("open", &path), ("create", &other)].map(|(task, path)| {
        let ended = child::run(before, task, path);
        (path, ended)
    });
    mode(folder.path(), 0o755);
    if answers.iter().any(|(_, ended)| !ended.finished) {
        skipped(
            "permission denied",
            "no other user could be tried: setpriv failed, or the test program is not readable for all",
        );
        return;
    }
    for (path, ended) in answers {
        assert_eq!(
            ended.said,
            [format!(
                "{}: permission denied. Give yourself the right to read and write the file and its folder, or name another folder",
                path.display()
            )]
        );
    }
    // To look at it, reading is enough.
    assert!(ReadOnlyFile::open(&path).unwrap().length().unwrap() > 0);
}

//! Journals kept as files: one good, the others with one thing done to them. They
//! also hold the form still: a change that can no longer read them is a new format.

use std::path::{Path, PathBuf};

use sayback::journal::{DamageReason, Journal, JournalError, LineFault, read, verify};
use sayback::storage::{FileStorage, ReadOnlyFile};

use super::{Record, journal_of, only_records, records};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/journal/fixtures")
        .join(name)
}

/// Opens a copy to go on with it, which must leave it as it is, and returns why not.
fn refused(name: &str) -> JournalError<Record> {
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join(name);
    std::fs::copy(fixture(name), &copy).unwrap();
    let error = Journal::<Record, _>::open(FileStorage::open(&copy).unwrap()).unwrap_err();
    assert_eq!(
        std::fs::read(&copy).unwrap(),
        std::fs::read(fixture(name)).unwrap()
    );
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    error
}

fn faults(name: &str) -> Vec<String> {
    verify(&ReadOnlyFile::open(&fixture(name)).unwrap(), None)
        .unwrap()
        .iter()
        .map(ToString::to_string)
        .collect()
}

#[test]
fn good() {
    let contents = read::<Record>(&ReadOnlyFile::open(&fixture("good.journal")).unwrap()).unwrap();
    assert_eq!(only_records(&contents.entries), records(4));
    assert_eq!(
        std::fs::read(fixture("good.journal")).unwrap(),
        journal_of(&records(4))
    );
    assert_eq!(faults("good.journal"), [""; 0]);
}

#[test]
fn later_format() {
    let error = refused("later-format.journal");
    assert!(
        matches!(error, JournalError::LaterFormat { found: 7, .. }),
        "{error}"
    );
    assert!(
        error.to_string().contains("Open it with a newer Sayback"),
        "{error}"
    );
    assert!(faults("later-format.journal")[0].contains("journal format 7"));
}

#[test]
fn one_bit_in_the_middle() {
    let error = refused("one-bit-in-the-middle.journal");
    let JournalError::Damaged {
        whole,
        at_line: 2,
        why: DamageReason::Line(LineFault::CheckSum { .. }),
        later,
        ..
    } = error
    else {
        panic!("{error}")
    };
    assert_eq!(only_records(&whole), records(1));
    assert_eq!(only_records(&later), records(4)[2..]);
}

#[test]
fn a_line_taken_out() {
    let error = refused("line-taken-out.journal");
    assert!(
        matches!(
            error,
            JournalError::Damaged {
                at_line: 3,
                why: DamageReason::Order { .. },
                ..
            }
        ),
        "{error}"
    );
    assert!(faults("line-taken-out.journal")[0].contains("1 record is missing"));
}

#[test]
fn a_value_changed_and_the_check_sum_made_to_fit() {
    let error = refused("value-changed.journal");
    assert!(
        matches!(
            error,
            JournalError::Damaged {
                at_line: 4,
                why: DamageReason::Chain,
                ..
            }
        ),
        "{error}"
    );
}

#[test]
fn not_a_journal() {
    let error = refused("not-a-journal.journal");
    assert!(
        matches!(&error, JournalError::Damaged { whole, at_line: 1, .. } if whole.is_empty()),
        "{error}"
    );
}

#[test]
fn a_first_line_without_its_end() {
    let error = refused("not-begun.journal");
    assert!(matches!(error, JournalError::NotBegun { .. }), "{error}");
}

#[test]
fn torn_ends() {
    for name in [
        "torn.journal",
        "torn-zeros.journal",
        "torn-zeros-then-rest.journal",
    ] {
        let folder = tempfile::tempdir().unwrap();
        let copy = folder.path().join(name);
        std::fs::copy(fixture(name), &copy).unwrap();
        let opened = Journal::<Record, _>::open(FileStorage::open(&copy).unwrap()).unwrap();
        assert_eq!(only_records(&opened.records), records(3), "{name}");
        let aside = std::fs::read(format!("{}.torn-1", copy.display())).unwrap();
        let before = std::fs::read(fixture(name)).unwrap();
        assert_eq!(
            [&std::fs::read(&copy).unwrap()[..], &aside].concat(),
            before
        );
    }
}

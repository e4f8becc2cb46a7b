//! The n-th operation of the disk fails, n = 0, 1, 2, … until the run passes
//! untouched: once, or from then on; doing nothing, or half.

use sayback::journal::{AppendError, Journal, read};

use super::simulation::{Failure, Handle, SimStorage};
use super::{Record, begun, journal_of, only_records, reading, records};

const RUN: u64 = 5;

/// A technician who does as the messages say: enter it again, and when the journal
/// takes no more, open the run again and enter what is not there.
fn run_to_the_end(disk: &SimStorage) {
    let mut tries = 0;
    let mut open = |disk: &SimStorage| -> (Journal<Record, Handle>, usize) {
        loop {
            tries += 1;
            assert!(tries < 20, "it never opens");
            match Journal::open(disk.handle()) {
                Ok(opened) => return (opened.journal, opened.records.len()),
                Err(_) => disk.repair(),
            }
        }
    };
    let (mut journal, mut saved) = open(disk);
    while saved < usize::try_from(RUN).unwrap() {
        match journal.append(&records(RUN)[saved]) {
            Ok(seq) => {
                assert_eq!(seq.0, saved as u64);
                saved += 1;
            }
            Err(AppendError::NotWritten(_)) => {
                assert!(!journal.is_poisoned());
                disk.repair();
            }
            Err(AppendError::NotConfirmed(_) | AppendError::NotRemoved { .. }) => {
                assert!(journal.is_poisoned());
                let before = disk.operations();
                let again = journal.append(&reading(77)).unwrap_err();
                assert!(matches!(again, AppendError::Poisoned { .. }), "{again}");
                assert_eq!(disk.operations(), before, "poisoned means hands off");
                disk.repair();
                (journal, saved) = open(disk);
            }
            Err(other) => panic!("{other}"),
        }
    }
}

#[test]
fn every_operation_may_fail() {
    // It begins with a torn end, so that the operations of recovery are in it too.
    let two = journal_of(&records(2));
    let torn = [&two[..], &journal_of(&records(3))[two.len()..][..40]].concat();
    for failure in [Failure::Nothing, Failure::HalfWritten, Failure::Dropped] {
        for from_then_on in [false, true] {
            if failure == Failure::Dropped && from_then_on {
                // A disk that drops a line, then cannot cut it off, and then works
                // again shows that line from memory. No program can tell.
                continue;
            }
            for operation in 0.. {
                let disk = SimStorage::holding(&torn);
                disk.fail_at(operation, failure, from_then_on);
                run_to_the_end(&disk);
                let what = format!("{failure:?} at {operation}, from then on: {from_then_on}");
                assert_eq!(disk.syncs_after_a_failed_one(), 0, "{what}");
                // And then the power goes off.
                for image in disk.images(1) {
                    let contents = read::<Record>(&SimStorage::holding(&image).handle())
                        .unwrap_or_else(|error| panic!("{what}: {error}"));
                    assert_eq!(only_records(&contents.entries), records(RUN), "{what}");
                    assert!(contents.torn.is_empty());
                }
                if disk.operations() <= operation {
                    // Aside, cut, sync; then three records, each written and synced.
                    assert_eq!(operation, 9);
                    break;
                }
            }
        }
    }
}

/// A record of which the disk said nothing is not shown when the run is opened
/// again, so that entering it again does not make two of it.
#[test]
fn a_record_that_was_not_confirmed_is_not_there_after_opening_again() {
    let disk = SimStorage::empty();
    let mut journal = Journal::create(disk.handle(), &begun()).unwrap();
    disk.fail_at(1, Failure::Dropped, false);
    let error = journal.append(&reading(1)).unwrap_err();
    assert!(matches!(error, AppendError::NotConfirmed(_)), "{error}");
    let mut opened = Journal::<Record, _>::open(disk.handle()).unwrap();
    assert_eq!(only_records(&opened.records), records(1));
    opened.journal.append(&reading(1)).unwrap();
    assert_eq!(disk.durable(), journal_of(&records(2)));
}

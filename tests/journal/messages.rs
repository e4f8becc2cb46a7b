//! The words of the errors are part of the product: what happened, and what to do.

use sayback::journal::{AppendError, Ending, Journal, JournalError};
use sayback::storage::StorageError;

use super::simulation::{Failure, SimStorage, io_error};
use super::{Record, begun, journal_of, reading, records};

#[test]
fn a_disk_that_does_not_confirm() {
    let disk = SimStorage::empty();
    let mut journal = Journal::create(disk.handle(), &begun()).unwrap();
    disk.fail_at(1, Failure::Nothing, false);
    assert_eq!(
        journal.append(&reading(1)).unwrap_err().to_string(),
        "NOT SAVED: write it on paper. simulated: cannot do it: other error. Check the disk (or its cable or card); if it goes on, name a folder on another disk. Close Sayback and open the run again, then enter it"
    );
    assert_eq!(
        journal.append(&reading(1)).unwrap_err().to_string(),
        "NOT SAVED: write it on paper. simulated takes no more since the disk failed. Close Sayback and open the run again, then enter it"
    );
}

#[test]
fn a_full_disk() {
    let error = AppendError::NotWritten(StorageError::DiskFull {
        path: "/runs/a.journal".into(),
    });
    assert_eq!(
        error.to_string(),
        "NOT SAVED: /runs/a.journal: the disk is full. Free some space on it, then try again. Until then write it on paper"
    );
}

#[test]
fn a_half_line_that_stays() {
    let error = AppendError::NotRemoved {
        write: io_error(std::io::ErrorKind::Other),
        removal: Some(io_error(std::io::ErrorKind::Other)),
    };
    assert!(
        error
            .to_string()
            .starts_with("NOT SAVED: write it on paper. simulated: cannot do it")
    );
    assert!(
        error
            .to_string()
            .contains("its beginning could not be removed")
    );
}

#[test]
fn a_damaged_journal() {
    let mut bytes = journal_of(&records(3));
    let place = bytes.len() - 60;
    bytes[place] ^= 1;
    let error = Journal::<Record, _>::open(SimStorage::holding(&bytes).handle()).unwrap_err();
    let JournalError::Damaged { why, .. } = &error else {
        panic!("{error}")
    };
    assert_eq!(
        error.to_string(),
        format!(
            "simulated is damaged at line 3: {why}. It is left as it is, and 2 records before that line can still be read. Go on in a new file, or put back a copy of this one"
        )
    );
}

#[test]
fn a_torn_end() {
    let ending = Ending::Torn {
        kept_aside: "a.journal.torn-1".to_owned(),
        bytes: 13,
    };
    assert_eq!(
        ending.to_string(),
        "the last record was cut off while it was being written, and was not saved. Enter it again. Its 13 bytes are in a.journal.torn-1"
    );
}

/// A record that serde writes and cannot read again must not get into a journal.
#[test]
fn a_record_that_could_not_be_read_back() {
    #[derive(Debug, serde::Serialize, serde::Deserialize)]
    struct Voltage {
        volts: f64,
    }
    let disk = SimStorage::empty();
    let mut journal = Journal::create(disk.handle(), &Voltage { volts: 1.5 }).unwrap();
    let error = journal.append(&Voltage { volts: f64::NAN }).unwrap_err();
    assert!(matches!(error, AppendError::NotReadable(_)), "{error}");
    journal.append(&Voltage { volts: 2.5 }).unwrap();
    assert_eq!(journal.count(), 2);
}

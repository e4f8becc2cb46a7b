//! How long a run of 10,000 records takes to open again.
#![allow(
    clippy::disallowed_methods,
    reason = "this measures; no behaviour hangs on it"
)]

use std::time::Instant;

use sayback::journal::Journal;
use sayback::storage::FileStorage;

use super::{Record, journal_of, records, say};

#[test]
fn ten_thousand_records_open_in_a_second() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.journal");
    let bytes = journal_of(&records(10_000));
    std::fs::write(&path, &bytes).unwrap();
    let mut times: Vec<_> = (0..5)
        .map(|_| {
            let start = Instant::now();
            let storage = FileStorage::open(&path).unwrap();
            let opened = Journal::<Record, _>::open(storage).unwrap();
            assert_eq!(opened.records.len(), 10_000);
            start.elapsed()
        })
        .collect();
    times.sort_unstable();
    say(&format!(
        "10,000 records ({} bytes) opened in {:?}, median of {} (from {:?} to {:?})",
        bytes.len(),
        times[2],
        times.len(),
        times[0],
        times[4]
    ));
    assert!(times[2].as_millis() < 1000, "{times:?}");
}

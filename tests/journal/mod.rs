//! The journal against its faults: one file a kind of fault.
#![allow(clippy::unwrap_used, clippy::panic)]

mod bytes;
mod child;
mod failing_operation;
mod file;
mod fixtures;
mod full_disk;
mod kill;
mod messages;
mod power_cut;
mod proptests;
mod reopen;
mod simulation;

use std::io::Write as _;

use sayback::journal::{Entry, Journal};
use serde::{Deserialize, Serialize};
use simulation::SimStorage;

/// Records of the kind that a run has; the journal does not know them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
enum Record {
    Begun {
        program: String,
        job: String,
    },
    Reading {
        step: String,
        value: String,
        unit: String,
    },
}

fn begun() -> Record {
    Record::Begun {
        program: "sayback 0.1.0".to_owned(),
        job: "potentiometer-check".to_owned(),
    }
}

/// The `number`-th reading of a test run; every one differs from every other.
fn reading(number: u64) -> Record {
    Record::Reading {
        step: format!("point-{number}"),
        value: format!("{}.{:02}", number % 17, number % 100),
        unit: "mA".to_owned(),
    }
}

/// The records of a run: the first, then readings 1, 2, …
fn records(count: u64) -> Vec<Record> {
    (0..count)
        .map(|number| {
            if number == 0 {
                begun()
            } else {
                reading(number)
            }
        })
        .collect()
}

/// The bytes of a journal with these records.
fn journal_of(records: &[Record]) -> Vec<u8> {
    let disk = SimStorage::empty();
    let mut journal = Journal::create(disk.handle(), &records[0]).unwrap();
    for record in &records[1..] {
        journal.append(record).unwrap();
    }
    disk.durable()
}

fn only_records(entries: &[Entry<Record>]) -> Vec<Record> {
    entries.iter().map(|entry| entry.record.clone()).collect()
}

/// The long forms of the tests: all images, hundreds of kills.
fn long() -> bool {
    std::env::var_os("SAYBACK_LONG").is_some_and(|value| value == "1")
}

/// Said past the capture of the test harness, so that nobody takes a skipped test
/// for a passed one.
fn say(text: &str) {
    std::io::stderr()
        .write_all(format!("{text}\n").as_bytes())
        .unwrap();
}

fn skipped(what: &str, why: &str) {
    say(&format!("SKIPPED, NOT TESTED: {what} ({why})"));
}

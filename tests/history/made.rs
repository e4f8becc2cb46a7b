//! Runs of our own, written by the program's own journal into a folder of runs.

use std::cell::RefCell;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use sayback::core::record::{Body, Record};
use sayback::history::PastJob;
use sayback::job::{PlateValue, built_in};
use sayback::journal::{Journal, read};
use sayback::report::{Sounds, Source};
use sayback::storage::{ReadOnlyFile, Source as Bytes, Storage, StorageError};

use crate::core::set_ends;

pub type Runs = ([f64; 5], [f64; 5]);

/// Milliseconds of a day.
pub const DAY: i64 = 86_400_000;
/// 25 November 2024, 07:00 UTC.
pub const FIRST: i64 = 1_732_518_000_000;

/// A run in the making: the records of a job that was walked from question to question.
#[derive(Clone)]
pub struct Made {
    pub name: String,
    pub job: String,
    pub records: Vec<Record>,
}

impl Made {
    /// Both ends set (or not) on an actuator, begun so many days after the first of all.
    pub fn set_ends(tag: &str, day: i64, found: Runs, left: Runs, set: bool) -> Self {
        let walk = set_ends::with_runs(found, left, set);
        let mut made = Self {
            name: String::new(),
            job: built_in::text("set-ends").unwrap().to_owned(),
            records: walk.records().to_vec(),
        };
        made.begin(FIRST + day * DAY);
        made.tag(tag);
        made
    }

    /// Moves all times, so that it begins then; names the folder by the day.
    pub fn begin(&mut self, utc_ms: i64) {
        let by = utc_ms - self.records[0].at.utc_ms;
        for record in &mut self.records {
            record.at.utc_ms += by;
        }
        let date = sayback::history::date(self.records[0].at);
        self.name = format!("{date}-001-set-ends");
    }

    pub fn tag(&mut self, tag: &str) {
        if let Body::Started(started) = &mut self.records[0].body {
            let tag = PlateValue::Text(tag.to_owned());
            started.plate.insert("tag".to_owned(), tag);
        }
    }

    pub fn by(&mut self, by: &str) {
        if let Body::Started(started) = &mut self.records[0].body {
            started.by = Some(by.to_owned());
        }
    }

    /// The journal, byte for byte as the program writes it.
    pub fn journal(&self) -> Vec<u8> {
        let bytes = Rc::new(RefCell::new(Vec::new()));
        let mut journal = Journal::create(InMemory(bytes.clone()), &self.records[0]).unwrap();
        for record in &self.records[1..] {
            journal.append(record).unwrap();
        }
        drop(journal);
        bytes.take()
    }

    /// Writes it into a folder of runs.
    pub fn write(&self, runs: &Path) -> PathBuf {
        let folder = runs.join(&self.name);
        std::fs::create_dir_all(folder.join("clips")).unwrap();
        std::fs::write(folder.join("journal.txt"), self.journal()).unwrap();
        std::fs::write(folder.join("job.toml"), &self.job).unwrap();
        folder
    }

    /// What it tells.
    pub fn past(&self) -> PastJob {
        let job = sayback::job::load::from_bytes(self.job.as_bytes(), "job.toml").unwrap();
        let records: Vec<(u64, Record)> = (0..).zip(self.records.iter().cloned()).collect();
        PastJob::of(
            &self.name,
            &Source {
                job: &job,
                records: &records,
                chain_hash: "00",
                whole: "whole",
                clips_folder: "clips",
                sounds: &Sounds::new(),
                doubts: &[],
            },
        )
    }
}

/// The records of a journal on the disk.
pub fn records(journal: &Path) -> Vec<Record> {
    let contents = read::<Record>(&ReadOnlyFile::open(journal).unwrap()).unwrap();
    contents
        .entries
        .into_iter()
        .map(|entry| entry.record)
        .collect()
}

/// A storage that keeps what it is given; what is tested here is not whether the disk holds.
#[derive(Debug)]
struct InMemory(Rc<RefCell<Vec<u8>>>);

impl Bytes for InMemory {
    fn name(&self) -> String {
        "in memory".to_owned()
    }

    fn length(&self) -> Result<u64, StorageError> {
        Ok(self.0.borrow().len() as u64)
    }

    fn read_at(&self, at: u64, buffer: &mut [u8]) -> Result<usize, StorageError> {
        let bytes = self.0.borrow();
        let rest = &bytes[usize::try_from(at).unwrap().min(bytes.len())..];
        let count = rest.len().min(buffer.len());
        buffer[..count].copy_from_slice(&rest[..count]);
        Ok(count)
    }
}

impl Storage for InMemory {
    fn append(&mut self, at: u64, bytes: &[u8]) -> Result<usize, StorageError> {
        assert_eq!(at, self.0.borrow().len() as u64);
        self.0.borrow_mut().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn sync(&mut self) -> Result<(), StorageError> {
        Ok(())
    }

    fn set_length(&mut self, length: u64) -> Result<(), StorageError> {
        self.0
            .borrow_mut()
            .truncate(usize::try_from(length).unwrap());
        Ok(())
    }

    fn keep_aside(&mut self, _: &[u8]) -> Result<String, StorageError> {
        Ok("nowhere".to_owned())
    }
}

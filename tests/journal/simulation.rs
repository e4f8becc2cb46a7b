//! A disk that says what would survive a power cut, that can stop at any
//! operation, and that can refuse any operation.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::io;
use std::rc::Rc;

use sayback::storage::{Source, Storage, StorageError};

#[derive(Debug, Clone)]
enum Change {
    Write { at: usize, bytes: Vec<u8> },
    SetLength(usize),
}

/// How an operation fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Failure {
    /// It does nothing.
    Nothing,
    /// A write leaves half of its bytes behind.
    HalfWritten,
    /// A sync drops what it was to bring to the disk, and later syncs succeed
    /// without it.
    Dropped,
}

#[derive(Debug, Default)]
struct Disk {
    /// What a program reads.
    live: Vec<u8>,
    /// What is on the disk for certain.
    durable: Vec<u8>,
    /// What happened to `live` since, in order.
    unsynced: Vec<Change>,
    /// What was kept aside, durable.
    aside: Vec<Vec<u8>>,
    operations: usize,
    cut_at: Option<usize>,
    fail: Option<(usize, Failure)>,
    fail_from_then_on: bool,
    take_at_most: Option<usize>,
    interrupted: bool,
    interrupt: bool,
    syncs_after_a_failed_one: usize,
}

/// The power supply and the platter of a simulated disk.
#[derive(Debug, Clone)]
pub struct SimStorage(Rc<RefCell<Disk>>);

/// One program's open file on it.
#[derive(Debug)]
pub struct Handle {
    disk: SimStorage,
    sync_failed: bool,
}

impl SimStorage {
    pub fn empty() -> Self {
        Self::holding(&[])
    }

    /// A disk on which these bytes are safe.
    pub fn holding(bytes: &[u8]) -> Self {
        Self(Rc::new(RefCell::new(Disk {
            live: bytes.to_vec(),
            durable: bytes.to_vec(),
            ..Disk::default()
        })))
    }

    pub fn handle(&self) -> Handle {
        Handle {
            disk: self.clone(),
            sync_failed: false,
        }
    }

    /// The power goes off in the `operation`-th operation from now, from 0.
    pub fn cut_at(&self, operation: usize) {
        let mut disk = self.0.borrow_mut();
        disk.cut_at = Some(disk.operations + operation);
    }

    /// The `operation`-th operation from now fails, or all from it on.
    pub fn fail_at(&self, operation: usize, failure: Failure, from_then_on: bool) {
        let mut disk = self.0.borrow_mut();
        disk.fail = Some((disk.operations + operation, failure));
        disk.fail_from_then_on = from_then_on;
    }

    pub fn repair(&self) {
        self.0.borrow_mut().fail = None;
    }

    /// The program was killed, not the power: what it wrote is still in memory.
    pub fn with_power_back(self) -> Self {
        self.0.borrow_mut().cut_at = None;
        self
    }

    /// Each write takes so many bytes at most.
    pub fn take_at_most(&self, bytes: usize) {
        self.0.borrow_mut().take_at_most = Some(bytes);
    }

    /// Every other write is interrupted by a signal before it takes anything.
    pub fn interrupt_writes(&self) {
        self.0.borrow_mut().interrupt = true;
    }

    pub fn operations(&self) -> usize {
        self.0.borrow().operations
    }

    pub fn live(&self) -> Vec<u8> {
        self.0.borrow().live.clone()
    }

    pub fn durable(&self) -> Vec<u8> {
        self.0.borrow().durable.clone()
    }

    pub fn aside(&self) -> Vec<Vec<u8>> {
        self.0.borrow().aside.clone()
    }

    pub fn syncs_after_a_failed_one(&self) -> usize {
        self.0.borrow().syncs_after_a_failed_one
    }

    /// Everything that may be on the disk after a power cut now. Of the unsynced
    /// changes any subset may have reached it, and one of them in part: a write as
    /// each prefix, as each prefix with zeros for the rest, and as the rest behind
    /// zeros. `every` > 1 takes each `every`-th such length, and the ends.
    pub fn images(&self, every: usize) -> BTreeSet<Vec<u8>> {
        let disk = self.0.borrow();
        let mut images = BTreeSet::from([disk.durable.clone()]);
        let count = disk.unsynced.len();
        // A journal that syncs leaves one or two. One that does not (the mutants)
        // leaves many: then only those in order, the last in part.
        let subsets: Vec<Vec<bool>> = if count <= 3 {
            (0..1_usize << count)
                .map(|bits| (0..count).map(|index| bits >> index & 1 == 1).collect())
                .collect()
        } else {
            (0..=count)
                .map(|whole| (0..count).map(|index| index < whole).collect())
                .collect()
        };
        for subset in subsets {
            let torn_candidates = (0..count).filter(|&index| !subset[index]);
            for torn in torn_candidates.map(Some).chain([None]) {
                for part in parts(torn.map(|index| &disk.unsynced[index]), every) {
                    let mut image = disk.durable.clone();
                    for (index, change) in disk.unsynced.iter().enumerate() {
                        if Some(index) == torn {
                            apply(&mut image, &part);
                        } else if subset[index] {
                            apply(&mut image, std::slice::from_ref(change));
                        }
                    }
                    images.insert(image);
                }
            }
        }
        images
    }
}

/// The ways in which one change can have reached the disk in part.
fn parts(change: Option<&Change>, every: usize) -> Vec<Vec<Change>> {
    let Some(Change::Write { at, bytes }) = change else {
        return vec![Vec::new()];
    };
    let write = |bytes: Vec<u8>| vec![Change::Write { at: *at, bytes }];
    let length = bytes.len();
    let mut parts = Vec::new();
    for cut in (0..=length).filter(|cut| cut % every == 0 || *cut <= 1 || *cut + 1 >= length) {
        parts.push(write(bytes[..cut].to_vec()));
        parts.push(write([&bytes[..cut], &vec![0; length - cut]].concat()));
        parts.push(write([&vec![0; cut], &bytes[cut..]].concat()));
    }
    parts
}

fn apply(image: &mut Vec<u8>, changes: &[Change]) {
    for change in changes {
        match change {
            Change::Write { at, bytes } => {
                let end = at + bytes.len();
                if image.len() < end {
                    image.resize(end, 0);
                }
                image[*at..end].copy_from_slice(bytes);
            }
            // A file is only ever cut here, never made longer.
            Change::SetLength(length) => image.truncate(*length),
        }
    }
}

impl Disk {
    fn change(&mut self, change: Change) {
        apply(&mut self.live, std::slice::from_ref(&change));
        self.unsynced.push(change);
    }

    /// Counts one operation, and says how it goes: as asked, failing, or the power
    /// is going off in it. Once it is off, nothing happens at all.
    fn begin(&mut self) -> Result<Power, StorageError> {
        let number = self.operations;
        self.operations += 1;
        if let Some(cut) = self.cut_at {
            if number > cut {
                return Err(io_error(io::ErrorKind::Other));
            }
            if number == cut {
                return Ok(Power::GoesOff);
            }
        }
        match self.fail {
            Some((at, failure)) if at == number || (self.fail_from_then_on && at < number) => {
                Ok(Power::On(Some(failure)))
            }
            _ => Ok(Power::On(None)),
        }
    }
}

enum Power {
    On(Option<Failure>),
    GoesOff,
}

impl Source for Handle {
    fn name(&self) -> String {
        "simulated".to_owned()
    }

    fn length(&self) -> Result<u64, StorageError> {
        Ok(self.disk.0.borrow().live.len() as u64)
    }

    fn read_at(&self, at: u64, buffer: &mut [u8]) -> Result<usize, StorageError> {
        let disk = self.disk.0.borrow();
        let rest = &disk.live[usize::try_from(at).unwrap().min(disk.live.len())..];
        let count = rest.len().min(buffer.len());
        buffer[..count].copy_from_slice(&rest[..count]);
        Ok(count)
    }
}

impl Storage for Handle {
    fn append(&mut self, at: u64, bytes: &[u8]) -> Result<usize, StorageError> {
        let mut disk = self.disk.0.borrow_mut();
        let at = usize::try_from(at).unwrap();
        assert_eq!(at, disk.live.len(), "the journal writes only at the end");
        if disk.interrupt {
            disk.interrupted = !disk.interrupted;
            if disk.interrupted {
                return Err(io_error(io::ErrorKind::Interrupted));
            }
        }
        let count = bytes.len().min(disk.take_at_most.unwrap_or(usize::MAX));
        let write = |count| Change::Write {
            at,
            bytes: bytes[..count].to_vec(),
        };
        match disk.begin()? {
            Power::On(None) => {
                disk.change(write(count));
                Ok(count)
            }
            Power::On(Some(failure)) => {
                if failure == Failure::HalfWritten {
                    disk.change(write(count / 2));
                }
                Err(io_error(io::ErrorKind::Other))
            }
            Power::GoesOff => {
                disk.change(write(count));
                Err(io_error(io::ErrorKind::Other))
            }
        }
    }

    fn sync(&mut self) -> Result<(), StorageError> {
        let mut disk = self.disk.0.borrow_mut();
        if self.sync_failed {
            disk.syncs_after_a_failed_one += 1;
        }
        match disk.begin()? {
            Power::On(None) => {
                let unsynced = std::mem::take(&mut disk.unsynced);
                apply(&mut disk.durable, &unsynced);
                Ok(())
            }
            Power::On(Some(failure)) => {
                self.sync_failed = true;
                if failure == Failure::Dropped {
                    disk.unsynced
                        .retain(|change| matches!(change, Change::SetLength(_)));
                }
                Err(io_error(io::ErrorKind::Other))
            }
            Power::GoesOff => Err(io_error(io::ErrorKind::Other)),
        }
    }

    fn set_length(&mut self, length: u64) -> Result<(), StorageError> {
        let mut disk = self.disk.0.borrow_mut();
        let change = Change::SetLength(usize::try_from(length).unwrap());
        match disk.begin()? {
            Power::On(None) => {
                disk.change(change);
                Ok(())
            }
            Power::On(Some(_)) => Err(io_error(io::ErrorKind::Other)),
            Power::GoesOff => {
                disk.change(change);
                Err(io_error(io::ErrorKind::Other))
            }
        }
    }

    fn keep_aside(&mut self, bytes: &[u8]) -> Result<String, StorageError> {
        let mut disk = self.disk.0.borrow_mut();
        match disk.begin()? {
            Power::On(None) => {
                disk.aside.push(bytes.to_vec());
                Ok(format!("simulated.torn-{}", disk.aside.len()))
            }
            Power::On(Some(_)) | Power::GoesOff => Err(io_error(io::ErrorKind::Other)),
        }
    }
}

/// A mutant: a journal whose bytes are never synced.
#[derive(Debug)]
pub struct WithoutSync(pub Handle);

/// A mutant: half lines and torn ends are not cut away.
#[derive(Debug)]
pub struct WithoutCutting(pub Handle);

/// A mutant: torn ends are not kept aside.
#[derive(Debug)]
pub struct WithoutAside(pub Handle);

macro_rules! source_of_the_handle {
    ($($mutant:ty),*) => {$(
        impl Source for $mutant {
            fn name(&self) -> String {
                self.0.name()
            }
            fn length(&self) -> Result<u64, StorageError> {
                self.0.length()
            }
            fn read_at(&self, at: u64, buffer: &mut [u8]) -> Result<usize, StorageError> {
                self.0.read_at(at, buffer)
            }
        }
    )*};
}
source_of_the_handle!(WithoutSync, WithoutCutting, WithoutAside);

impl Storage for WithoutSync {
    fn append(&mut self, at: u64, bytes: &[u8]) -> Result<usize, StorageError> {
        self.0.append(at, bytes)
    }
    fn sync(&mut self) -> Result<(), StorageError> {
        Ok(())
    }
    fn set_length(&mut self, length: u64) -> Result<(), StorageError> {
        self.0.set_length(length)
    }
    fn keep_aside(&mut self, bytes: &[u8]) -> Result<String, StorageError> {
        self.0.keep_aside(bytes)
    }
}

impl Storage for WithoutCutting {
    fn append(&mut self, _: u64, bytes: &[u8]) -> Result<usize, StorageError> {
        // Glued to whatever stands there.
        self.0.append(self.0.length()?, bytes)
    }
    fn sync(&mut self) -> Result<(), StorageError> {
        self.0.sync()
    }
    fn set_length(&mut self, _: u64) -> Result<(), StorageError> {
        Ok(())
    }
    fn keep_aside(&mut self, bytes: &[u8]) -> Result<String, StorageError> {
        self.0.keep_aside(bytes)
    }
}

impl Storage for WithoutAside {
    fn append(&mut self, at: u64, bytes: &[u8]) -> Result<usize, StorageError> {
        self.0.append(at, bytes)
    }
    fn sync(&mut self) -> Result<(), StorageError> {
        self.0.sync()
    }
    fn set_length(&mut self, length: u64) -> Result<(), StorageError> {
        self.0.set_length(length)
    }
    fn keep_aside(&mut self, _: &[u8]) -> Result<String, StorageError> {
        Ok("nowhere".to_owned())
    }
}

pub fn io_error(kind: io::ErrorKind) -> StorageError {
    StorageError::Io {
        path: "simulated".into(),
        doing: "do it",
        source: kind.into(),
    }
}

//! Where the records of a session go: a journal, or nowhere. No state.

use crate::core::record::Record;
use crate::journal::Journal;
use crate::storage::FileStorage;

/// Where the records of a session go.
pub trait Keeps {
    /// Keeps a record; the error says why it is not kept, and whether more can be.
    ///
    /// # Errors
    /// If it is not safe from a power cut.
    fn keep(&mut self, record: &Record) -> Result<(), (String, bool)>;
    /// Hash of the last record, where there is a chain.
    fn chain(&self) -> String;
}

impl Keeps for Journal<Record, FileStorage> {
    fn keep(&mut self, record: &Record) -> Result<(), (String, bool)> {
        self.append(record)
            .map(drop)
            .map_err(|error| (error.to_string(), !self.is_poisoned()))
    }

    fn chain(&self) -> String {
        self.chain_hash().to_string()
    }
}

/// Nothing is kept: what is chosen from a list is no evidence of anything.
pub struct NotKept;

impl Keeps for NotKept {
    fn keep(&mut self, _: &Record) -> Result<(), (String, bool)> {
        Ok(())
    }

    fn chain(&self) -> String {
        String::new()
    }
}

//! Where the records of a session go: a journal, or nowhere but memory. No other state.

use std::cell::RefCell;
use std::rc::Rc;

use crate::core::record::{How, Record};
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

/// Nothing goes to the disk: what is chosen from a list is no evidence of anything. Where it is after all,
/// whoever asked finds here how it came in.
#[derive(Clone, Debug, Default)]
pub struct InMemory(Rc<RefCell<Vec<Record>>>);

impl InMemory {
    /// How the last answer came in; None before there is one.
    #[must_use]
    pub fn how(&self) -> Option<How> {
        let records = self.0.borrow();
        records
            .iter()
            .rev()
            .find_map(|record| record.body.how().cloned())
    }
}

impl Keeps for InMemory {
    fn keep(&mut self, record: &Record) -> Result<(), (String, bool)> {
        self.0.borrow_mut().push(record.clone());
        Ok(())
    }

    fn chain(&self) -> String {
        String::new()
    }
}

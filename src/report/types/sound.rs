//! The sounds that belong to what was said.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

/// The sounds beside a journal, by file name.
pub type Sounds = BTreeMap<String, Sound>;

/// The sound of an answer, as it was found beside the journal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Sound {
    /// The bytes whose hash the journal names.
    Whole(Vec<u8>),
    /// Other bytes.
    Changed,
    /// It cannot be read; what the system said.
    Missing(String),
}

/// A sound that cannot be relied on.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SoundFault {
    /// Record that names it.
    pub seq: u64,
    /// File name.
    pub file: String,
    /// True if it is there but other than it was written, false if it cannot be read.
    pub changed: bool,
    /// In words.
    pub detail: String,
}

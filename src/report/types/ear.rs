//! What listened while the answers were given.

use schemars::JsonSchema;
use serde::Serialize;

use super::Time;

/// What listened from a record on.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct EarLine {
    /// Record from which on it listened.
    pub seq: u64,
    /// Which it was.
    pub which: EarKind,
    /// Whose voice it was fitted to.
    pub fitted_to: Option<String>,
    /// When it was fitted.
    pub fitted_at: Option<Time>,
    /// Name of the folder of a voice model that was given.
    pub folder: Option<String>,
    /// BLAKE3 hash (hex) over the model's `am/final.mdl`, of two models one after the other.
    pub weights_hash: Option<String>,
    /// All of it in a sentence without its end.
    pub words: String,
}

/// Which ear it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum EarKind {
    /// The journal does not say: it was begun by a version that did not write it down.
    NotRecorded,
    /// Nothing: the keypad alone.
    Nothing,
    /// The ears inside the program, the same for everybody.
    Common,
    /// Those ears, fitted to one person's voice.
    Fitted,
    /// A voice model that was given on the command line.
    Given,
}

impl EarKind {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::NotRecorded => "not recorded",
            Self::Nothing => "nothing",
            Self::Common => "common",
            Self::Fitted => "fitted",
            Self::Given => "given",
        }
    }
}

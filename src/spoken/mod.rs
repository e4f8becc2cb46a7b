//! Spoken words: readings and commands out of a phrase, and values back into words.
//!
//! [`parse`] is the contract: a phrase and a [`Slot`] give one [`Decision`], always the
//! same. [`listening`] says what the recogniser should listen for; its guess at words
//! gets a meaning only from [`parse`]. [`read_back`] says a value digit by digit.
//! Everything here is pure; the grammars and tables under `grammars/` are compiled once.

mod answer;
mod decision;
mod graph;
pub mod jsgf;
mod judge;
mod keyed;
mod lexicon;
mod listen;
mod making;
mod number;
mod parse;
mod plain;
mod pronunciation;
mod readback;
mod slot;
pub mod table;
mod tag;
mod unit;
mod words;

pub use decision::{Command, Decision, Expect, Meaning, Status};
pub use graph::{Arc, WordGraph};
pub use keyed::parse_keyed;
pub use lexicon::{embedded as embedded_grammars, vocabulary};
pub use listen::{CommandSet, listening, named_listening};
pub use parse::{begins_with_stop, parse, parse_guesses};
pub use pronunciation::{EarWords, can_be_heard, pronunciations};
pub use readback::{digit_words, read_back, spell};
pub use slot::{
    ChoiceOption, DisplayForm, NumberSlot, Slot, SlotKind, named_slot, named_slots, number_slot,
};
pub use unit::{Unit, unit, units};

//! One test binary.

#![allow(clippy::unwrap_used, clippy::panic, missing_docs)]

mod calc;
mod journal;
mod screen;
mod spoken;

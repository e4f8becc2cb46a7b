//! One test binary.

#![allow(clippy::unwrap_used, clippy::panic, missing_docs)]

mod calc;
mod cli;
mod core;
#[cfg(feature = "voice")]
mod ear;
#[cfg(feature = "voice")]
mod enrolment;
mod history;
mod job;
mod journal;
mod merge;
#[cfg(feature = "voice")]
mod mic;
mod mic_check;
mod outside;
mod proof;
mod report;
mod route;
mod screen;
mod spoken;
#[cfg(feature = "voice")]
mod voice;
mod week;

//! Sayback: a hands-free job runner for setting up and repairing modulating
//! electric quarter-turn valve actuators.
//!
//! In reading order: [`job`] is what is to be done, [`spoken`] is what words
//! mean, [`calc`] is the arithmetic of the trade, [`core`] decides, [`drive`]
//! is the one loop, [`journal`] keeps, [`route`] is a week of jobs, [`report`] shows, [`proof`] says what was signed and changed; [`edge`] touches the
//! world.

pub mod acts;
pub mod args;
pub mod calc;
pub mod core;
pub mod drive;
pub mod edge;
#[cfg(feature = "voice")]
pub mod enrolment;
#[cfg(feature = "voice")]
pub mod hear;
pub mod history;
pub mod job;
pub mod journal;
pub mod merge;
pub mod mic_check;
pub mod proof;
pub mod report;
pub mod route;
mod spelling;
pub mod spoken;
pub mod storage;
pub mod table;

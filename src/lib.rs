//! Sayback: a hands-free job runner.

pub mod calc;
pub mod core;
pub mod drive;
pub mod edge;
pub mod job;
pub mod journal;
pub mod spoken;
pub mod storage;

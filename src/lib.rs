//! Sayback: a hands-free job runner.

pub mod journal;
pub mod storage;

//! Sayback: a hands-free job runner.
pub mod calc;

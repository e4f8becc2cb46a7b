//! Sayback: a hands-free job runner.

pub mod edge;
#[cfg(feature = "voice")]
pub mod hear;

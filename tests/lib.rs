//! One test binary.

#[cfg(feature = "voice")]
mod ear;

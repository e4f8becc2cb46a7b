//! One test binary.
mod journal;

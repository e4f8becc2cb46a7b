//! Everything that touches the world: one file, one device.

#[cfg(feature = "voice")]
pub mod ear;
#[cfg(feature = "voice")]
pub mod sound;

//! A person's own ear: the voice model fitted to how one person speaks.
//!
//! Pure: bytes and sounds come in, bytes go out. No state.
//!
//! The acoustic network stays as it is but for its last two layers, which move a
//! little towards the person's own way of saying the words. The result is a model
//! of the same form, read by the same engine.

pub mod cepstra;
mod fit;
mod network;
pub mod objective;
mod prompts;

pub use fit::{Acoustics, Clip, FEWEST, Files, FitError};
pub use network::{Affine, FITTED, Network, NetworkError};
pub use prompts::{PROMPTS, is_held_back};

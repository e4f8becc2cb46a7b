//! The record of a run: what it says, how it is laid out, and that nothing said or typed can break it.

mod ears;
mod hostile;
mod outdated;
pub mod pages;
mod pdf;
mod relayed;
mod says;
pub mod scenario;
mod schema;
mod sound;
mod uncertain;

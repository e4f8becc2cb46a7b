//! The microphone and the thread that listens.

mod alsa;
mod fault;
mod intake;
mod listening;

//! The microphone and the thread that listens.
#![allow(
    clippy::panic,
    clippy::unwrap_used,
    clippy::match_wild_err_arm,
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    clippy::cast_sign_loss,
    clippy::unchecked_time_subtraction,
    reason = "a test may stop where it stands, and its numbers are its own"
)]

pub mod alsa;
mod check;
mod fault;
mod front;
mod intake;
mod listening;
mod noise;
mod stop;
mod talk;

//! The screen, the plain lines and the keys.

mod keys;
mod lines;
mod lost;
mod plain;
mod samples;
mod screens;
mod sizes;
mod terminal;

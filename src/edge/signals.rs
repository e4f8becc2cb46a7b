//! Signals of the system, turned into what they mean for a run.
//!
//! Nothing has to be saved when one comes: everything kept is on the disk already.

use std::io;
use std::sync::mpsc::SyncSender;

use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM, SIGTSTP};
use signal_hook::iterator::Signals;

use crate::drive::FromWorld;

/// Starts to listen for hang-up, end, interrupt, stop and continue.
///
/// A program ended by signal n has the exit code 128 + n (common practice of shells).
///
/// # Errors
/// If the system refuses to hand the signals over.
pub fn listen(sender: SyncSender<FromWorld>) -> io::Result<()> {
    let mut signals = Signals::new([SIGHUP, SIGINT, SIGTERM, SIGTSTP, SIGCONT])?;
    std::thread::Builder::new()
        .name("signals".to_owned())
        .spawn(move || {
            for signal in signals.forever() {
                if sender.send(meaning(signal)).is_err() {
                    // The run is over; the program is about to end.
                    return;
                }
            }
        })?;
    Ok(())
}

/// What a signal means.
#[must_use]
pub fn meaning(signal: i32) -> FromWorld {
    match signal {
        SIGCONT => FromWorld::Redraw,
        SIGTSTP => FromWorld::Suspend,
        other => FromWorld::End(u8::try_from(128 + other).unwrap_or(u8::MAX)),
    }
}

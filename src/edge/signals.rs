//! Signals of the system: each ends the program with everything kept on the disk.

use std::sync::mpsc::SyncSender;

use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM};
use signal_hook::iterator::Signals;

use crate::drive::FromWorld;

/// Listens for signals on a thread of its own.
///
/// # Errors
/// If the system refuses.
pub fn listen(sender: SyncSender<FromWorld>) -> std::io::Result<()> {
    let mut signals = Signals::new([SIGHUP, SIGTERM, SIGINT, SIGCONT])?;
    std::thread::spawn(move || {
        for signal in signals.forever() {
            let event = if signal == SIGCONT {
                FromWorld::Redraw
            } else {
                FromWorld::End(u8::try_from(128 + signal).unwrap_or(129))
            };
            if sender.send(event).is_err() {
                return;
            }
        }
    });
    Ok(())
}

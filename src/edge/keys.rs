//! Keys of the terminal, and lines where there is no terminal, turned into what
//! they mean on the keypad.
//!
//! No state; whether a key bounced, the core
//! decides, because time is an input there.

mod keymap;

use std::io::{BufRead, IsTerminal as _};
use std::sync::mpsc::{SyncSender, TrySendError};
use std::time::Duration;

use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use crate::core::Key;
use crate::drive::FromWorld;

pub use keymap::{Keymap, KeymapError};

/// What is said, once, when the keypad sends arrows instead of figures.
pub const NUM_LOCK: &str = "The keypad sends arrows: turn NumLock on. They are read as figures.";

/// Longest wait for a key before looking whether the run is over.
const POLL: Duration = Duration::from_millis(50);

/// How long the signal of a hang-up may take.
const SIGNAL_FIRST: Duration = Duration::from_millis(500);

/// How many of those waits pass between two looks.
const LOOK_EVERY: u32 = 20;

/// What a character means as a key.
#[must_use]
pub fn sign_key(character: char) -> Key {
    match character {
        '0'..='9' => Key::Digit(character as u8 - b'0'),
        '.' | ',' => Key::Point,
        '+' => Key::Plus,
        '-' => Key::Minus,
        '*' => Key::Star,
        '/' => Key::Slash,
        other => Key::Letter(other),
    }
}

/// What an event of the terminal means; nothing, for a paste, a mouse, or a key let go.
#[must_use]
pub fn map(event: &Event, keymap: &Keymap) -> Option<FromWorld> {
    match event {
        Event::Resize(..) => Some(FromWorld::Redraw),
        Event::Key(KeyEvent {
            code,
            modifiers,
            kind: KeyEventKind::Press,
            ..
        }) => {
            if modifiers.contains(KeyModifiers::CONTROL) {
                return match code {
                    KeyCode::Char('c' | 'C') => Some(FromWorld::End(130)),
                    KeyCode::Char('z' | 'Z') => Some(FromWorld::Suspend),
                    // What Enter of some keypads arrives as.
                    KeyCode::Char('j' | 'J' | 'm' | 'M') | KeyCode::Enter => {
                        Some(FromWorld::Key(Key::Enter))
                    }
                    _ => None,
                };
            }
            if modifiers.intersects(KeyModifiers::ALT | KeyModifiers::SUPER | KeyModifiers::META) {
                return None;
            }
            keymap
                .key(*code)
                .map(FromWorld::Key)
                .or_else(|| voice_key(*code))
        }
        _ => None,
    }
}

/// The keys that change how the voice sounds, unless a file of keys gave them an act.
fn voice_key(code: KeyCode) -> Option<FromWorld> {
    match code {
        KeyCode::F(6) => Some(FromWorld::Faster(-1)),
        KeyCode::F(7) => Some(FromWorld::Faster(1)),
        KeyCode::F(8) => Some(FromWorld::Louder(-1)),
        KeyCode::F(9) => Some(FromWorld::Louder(1)),
        _ => None,
    }
}

/// True for a key that a keypad sends only while its `NumLock` is off.
#[must_use]
pub fn is_num_lock_off(event: &Event, keymap: &Keymap) -> bool {
    let Event::Key(KeyEvent {
        code,
        kind: KeyEventKind::Press,
        ..
    }) = event
    else {
        return false;
    };
    let is_arrow = !matches!(
        code,
        KeyCode::Enter | KeyCode::Backspace | KeyCode::Esc | KeyCode::Tab | KeyCode::Char(_)
    );
    is_arrow && keymap.is_usual(*code)
}

/// Starts to read keys from the terminal, until nobody takes them any more.
pub fn listen(sender: SyncSender<FromWorld>, keymap: Keymap) {
    std::thread::spawn(move || {
        let mut hinted = false;
        let mut idle = 0;
        // Asked once: a terminal that has gone is no terminal any more.
        let from_terminal = std::io::stdin().is_terminal();
        let mut more = false;
        loop {
            // What came along with the last key waits in the library, not in the terminal.
            if !more && wait_for_keys(from_terminal) == Terminal::Gone {
                // The signal of the hang-up says more, where one comes.
                std::thread::sleep(SIGNAL_FIRST);
                let _ = sender.send(FromWorld::KeysGone);
                return;
            }
            let read = match event::poll(Duration::ZERO) {
                Ok(true) => {
                    more = true;
                    event::read()
                }
                Ok(false) => {
                    more = false;
                    idle += 1;
                    // The only way to see that the run is over; a full channel is not.
                    if idle % LOOK_EVERY == 0
                        && matches!(
                            sender.try_send(FromWorld::Redraw),
                            Err(TrySendError::Disconnected(_))
                        )
                    {
                        return;
                    }
                    continue;
                }
                Err(error) => Err(error),
            };
            let Ok(event) = read else {
                // That nobody takes this means that the run is over.
                let _ = sender.send(FromWorld::KeysGone);
                return;
            };
            if !hinted && is_num_lock_off(&event, &keymap) {
                hinted = true;
                if sender.send(FromWorld::Hint(NUM_LOCK.to_owned())).is_err() {
                    return;
                }
            }
            if let Some(meaning) = map(&event, &keymap)
                && sender.send(meaning).is_err()
            {
                return;
            }
        }
    });
}

#[derive(PartialEq, Eq)]
enum Terminal {
    Gone,
    There,
}

/// Waits for a key, for [`POLL`] at most, and looks whether the terminal is still there: the
/// library that reads keys would read the end of a terminal that is gone for ever, at full speed.
#[cfg(unix)]
fn wait_for_keys(from_terminal: bool) -> Terminal {
    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    // Then the keys come from elsewhere, and the library waits for them.
    if !from_terminal {
        return wait_for_events();
    }
    let input = std::io::stdin();
    let mut looked_at = [PollFd::new(&input, PollFlags::IN)];
    let wait = Timespec::try_from(POLL).ok();
    // An interrupted wait is a short one.
    let _ = poll(&mut looked_at, wait.as_ref());
    let gone = PollFlags::HUP | PollFlags::ERR | PollFlags::NVAL;
    if looked_at[0].revents().intersects(gone) {
        Terminal::Gone
    } else {
        Terminal::There
    }
}

#[cfg(not(unix))]
fn wait_for_keys(_from_terminal: bool) -> Terminal {
    wait_for_events()
}

fn wait_for_events() -> Terminal {
    match event::poll(POLL) {
        Ok(_) => Terminal::There,
        Err(_) => Terminal::Gone,
    }
}

/// Starts to read lines from standard input; see [`read_line`].
pub fn listen_lines(sender: SyncSender<FromWorld>) {
    std::thread::spawn(move || {
        let mut input = std::io::stdin().lock();
        let mut bytes = Vec::new();
        loop {
            bytes.clear();
            match input.read_until(b'\n', &mut bytes) {
                Ok(read) if read > 0 => {}
                // The end, or a pipe that broke: nobody types any more.
                _ => {
                    let _ = sender.send(FromWorld::KeysGone);
                    return;
                }
            }
            let sent = match read_line(&String::from_utf8_lossy(&bytes)) {
                Line::Keys(keys) => keys
                    .into_iter()
                    .try_for_each(|key| sender.send(FromWorld::Typed(key))),
                Line::Text(text) => sender.send(FromWorld::Line(text)),
            };
            if sent.is_err() {
                return;
            }
        }
    });
}

/// What a line means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Line {
    /// An act: yes, no, stop, or keys one by one with blanks between, as `/ 2`.
    Keys(Vec<Key>),
    /// An answer, to be taken whole.
    Text(String),
}

/// Reads one line.
///
/// Nothing, `yes`, `y`, `done` and `next` are Enter; `no` and `n` are minus;
/// `stop` is Stop; `talk` opens or closes the microphone; one of `+ - * /` alone is that key, and figures may follow it
/// with blanks between (`/ 2`). All else is an answer.
#[must_use]
pub fn read_line(text: &str) -> Line {
    let text = text.trim();
    match text.to_ascii_lowercase().as_str() {
        "" | "yes" | "y" | "done" | "next" => return Line::Keys(vec![Key::Enter]),
        "no" | "n" => return Line::Keys(vec![Key::Minus]),
        "stop" => return Line::Keys(vec![Key::Stop]),
        "talk" => return Line::Keys(vec![Key::Talk]),
        _ => {}
    }
    let is_act = |part: &str| matches!(part, "/" | "*" | "+" | "-");
    let is_figure = |part: &str| part.len() == 1 && part.as_bytes()[0].is_ascii_digit();
    let mut parts = text.split_whitespace();
    // Only a key that is no part of a number begins such a line.
    if parts.next().is_some_and(is_act) && parts.all(|part| is_act(part) || is_figure(part)) {
        let keys = text.chars().filter(|sign| !sign.is_whitespace());
        return Line::Keys(keys.map(sign_key).collect());
    }
    Line::Text(text.to_owned())
}

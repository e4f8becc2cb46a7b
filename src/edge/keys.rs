//! Keys of the terminal, and lines where there is no terminal, turned into what
//! they mean on the keypad.
//!
//! No state but the key map, which is read once; whether a key bounced, the core
//! decides, because time is an input there.

use std::collections::BTreeMap;
use std::io::{BufRead, IsTerminal as _};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{SyncSender, TrySendError};
use std::time::Duration;

use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use crate::core::Key;
use crate::drive::FromWorld;

/// What is said, once, when the keypad sends arrows instead of figures.
pub const NUM_LOCK: &str = "The keypad sends arrows: turn NumLock on. They are read as figures.";

/// Longest wait for a key before looking whether the run is over.
const POLL: Duration = Duration::from_millis(50);

/// How long the signal of a hang-up may take.
const SIGNAL_FIRST: Duration = Duration::from_millis(500);

/// How many of those waits pass between two looks.
const LOOK_EVERY: u32 = 20;

/// Acts that can be given other keys, and what each is.
const ACTS: [(&str, Key); 19] = [
    ("enter", Key::Enter),
    ("plus", Key::Plus),
    ("minus", Key::Minus),
    ("star", Key::Star),
    ("slash", Key::Slash),
    ("point", Key::Point),
    ("erase", Key::Erase),
    ("stop", Key::Stop),
    ("talk", Key::Talk),
    ("0", Key::Digit(0)),
    ("1", Key::Digit(1)),
    ("2", Key::Digit(2)),
    ("3", Key::Digit(3)),
    ("4", Key::Digit(4)),
    ("5", Key::Digit(5)),
    ("6", Key::Digit(6)),
    ("7", Key::Digit(7)),
    ("8", Key::Digit(8)),
    ("9", Key::Digit(9)),
];

/// Keys by name, beside single characters and F1 to F24.
const NAMES: [(&str, KeyCode); 16] = [
    ("Enter", KeyCode::Enter),
    ("Tab", KeyCode::Tab),
    ("Space", KeyCode::Char(' ')),
    ("Backspace", KeyCode::Backspace),
    ("Esc", KeyCode::Esc),
    ("Home", KeyCode::Home),
    ("End", KeyCode::End),
    ("PageUp", KeyCode::PageUp),
    ("PageDown", KeyCode::PageDown),
    ("Up", KeyCode::Up),
    ("Down", KeyCode::Down),
    ("Left", KeyCode::Left),
    ("Right", KeyCode::Right),
    ("Insert", KeyCode::Insert),
    ("Delete", KeyCode::Delete),
    ("KeypadBegin", KeyCode::KeypadBegin),
];

/// Which keys do what, beside the usual ones.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Keymap {
    /// Keys that were given an act; they have lost their usual one.
    own: Vec<(KeyCode, Key)>,
}

/// What can be wrong with a file of keys.
#[derive(Debug, thiserror::Error)]
pub enum KeymapError {
    /// It cannot be read.
    #[error("cannot read the keys file {}: {source}. Check the name, or leave --keys out", path.display())]
    Read {
        /// Where.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// It is no TOML, or has other tables than `[keys]`.
    #[error("the keys file {} cannot be understood: {what}. It needs a table [keys] with lines such as: enter = [\"y\", \"F5\"]", path.display())]
    Form {
        /// Where.
        path: PathBuf,
        /// What is wrong, with line and column.
        what: String,
    },
    /// An act of that name does not exist.
    #[error("the keys file {} names an act \"{act}\", which does not exist. Acts: {}", path.display(), act_names())]
    UnknownAct {
        /// Where.
        path: PathBuf,
        /// As written.
        act: String,
    },
    /// A key of that name does not exist.
    #[error(
        "the keys file {} gives {act} a key \"{key}\", which is not known. \
         Write one character, F1 to F24, or one of: {}", path.display(), key_names()
    )]
    UnknownKey {
        /// Where.
        path: PathBuf,
        /// Act it was given to.
        act: String,
        /// As written.
        key: String,
    },
    /// One key for two acts, or twice for one.
    #[error("the keys file {} names the key \"{key}\" twice: for {first} and for {second}. Leave one of them out", path.display())]
    Twice {
        /// Where.
        path: PathBuf,
        /// As written.
        key: String,
        /// First act.
        first: String,
        /// Second act.
        second: String,
    },
    /// Every usual key of an act was given away, and it got no other.
    #[error("the keys file {} leaves no key for {act}: \"{key}\" now means {taker}. Give {act} another key", path.display())]
    NoneLeft {
        /// Where.
        path: PathBuf,
        /// Act without a key.
        act: String,
        /// Its usual key.
        key: String,
        /// Act that took it.
        taker: String,
    },
}

fn act_names() -> String {
    ACTS.map(|(name, _)| name).join(", ")
}

fn key_names() -> String {
    NAMES.map(|(name, _)| name).join(", ")
}

/// Form of the file: one table, a list of keys for each act.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct KeysFile {
    keys: BTreeMap<String, Vec<String>>,
}

impl Keymap {
    /// Reads a file of keys: TOML, `[keys]`, a list of keys for each act.
    ///
    /// # Errors
    /// If it cannot be read, names an act or key that does not exist, names a
    /// key twice, or leaves an act without any key.
    pub fn read(path: &Path) -> Result<Self, KeymapError> {
        let text = std::fs::read_to_string(path).map_err(|source| KeymapError::Read {
            path: path.to_owned(),
            source,
        })?;
        Self::parse(&text, path)
    }

    /// The same from a text; the path is for messages only.
    ///
    /// # Errors
    /// As [`Keymap::read`].
    pub fn parse(text: &str, path: &Path) -> Result<Self, KeymapError> {
        let path = path.to_owned();
        let file: KeysFile = toml::from_str(text).map_err(|error| KeymapError::Form {
            path: path.clone(),
            what: error.to_string().trim().replace('\n', " "),
        })?;
        let mut own: Vec<(KeyCode, Key)> = Vec::new();
        let mut named: Vec<(String, String)> = Vec::new();
        for (act, keys) in file.keys {
            let Some((_, meaning)) = ACTS.iter().find(|(name, _)| *name == act) else {
                return Err(KeymapError::UnknownAct { path, act });
            };
            for key in keys {
                let Some(code) = code(&key) else {
                    return Err(KeymapError::UnknownKey { path, act, key });
                };
                if let Some(at) = own.iter().position(|(other, _)| *other == code) {
                    return Err(KeymapError::Twice {
                        path,
                        key,
                        first: named[at].0.clone(),
                        second: act,
                    });
                }
                own.push((code, *meaning));
                named.push((act.clone(), key));
            }
        }
        for ((code, meaning), (taker, key)) in own.iter().zip(&named) {
            let Some(lost) = usual(*code).filter(|lost| lost != meaning) else {
                continue;
            };
            let Some((act, _)) = ACTS.iter().find(|(_, other)| *other == lost) else {
                continue;
            };
            let kept = own.iter().any(|(_, other)| *other == lost)
                || usual_codes(lost)
                    .iter()
                    .any(|other| own.iter().all(|(taken, _)| taken != other));
            if !kept {
                let (act, key, taker) = ((*act).to_owned(), key.clone(), taker.clone());
                return Err(KeymapError::NoneLeft {
                    path,
                    act,
                    key,
                    taker,
                });
            }
        }
        Ok(Self { own })
    }

    fn key(&self, code: KeyCode) -> Option<Key> {
        self.own
            .iter()
            .find(|(own, _)| *own == code)
            .map(|(_, key)| *key)
            .or_else(|| usual(code))
    }
}

fn code(name: &str) -> Option<KeyCode> {
    let mut characters = name.chars();
    if let (Some(one), None) = (characters.next(), characters.next()) {
        return (!one.is_control()).then_some(KeyCode::Char(one));
    }
    if let Some(number) = name
        .strip_prefix(['F', 'f'])
        .and_then(|rest| rest.parse::<u8>().ok())
    {
        return (1..=24).contains(&number).then_some(KeyCode::F(number));
    }
    NAMES
        .iter()
        .find(|(other, _)| other.eq_ignore_ascii_case(name))
        .map(|(_, code)| *code)
}

/// What a key means without a file of keys.
fn usual(code: KeyCode) -> Option<Key> {
    Some(match code {
        KeyCode::Enter => Key::Enter,
        KeyCode::Backspace => Key::Erase,
        KeyCode::Esc => Key::Stop,
        KeyCode::Tab => Key::Talk,
        KeyCode::Char(character) if !character.is_control() => sign_key(character),
        // A keypad whose NumLock is off.
        KeyCode::Insert => Key::Digit(0),
        KeyCode::End => Key::Digit(1),
        KeyCode::Down => Key::Digit(2),
        KeyCode::PageDown => Key::Digit(3),
        KeyCode::Left => Key::Digit(4),
        KeyCode::KeypadBegin => Key::Digit(5),
        KeyCode::Right => Key::Digit(6),
        KeyCode::Home => Key::Digit(7),
        KeyCode::Up => Key::Digit(8),
        KeyCode::PageUp => Key::Digit(9),
        KeyCode::Delete => Key::Point,
        _ => return None,
    })
}

/// The keys that mean this on a keypad with `NumLock` on.
fn usual_codes(key: Key) -> Vec<KeyCode> {
    match key {
        Key::Enter => vec![KeyCode::Enter],
        Key::Erase => vec![KeyCode::Backspace],
        Key::Stop => vec![KeyCode::Esc],
        Key::Talk => vec![KeyCode::Tab],
        Key::Point => vec![KeyCode::Char('.'), KeyCode::Char(',')],
        Key::Plus => vec![KeyCode::Char('+')],
        Key::Minus => vec![KeyCode::Char('-')],
        Key::Star => vec![KeyCode::Char('*')],
        Key::Slash => vec![KeyCode::Char('/')],
        Key::Digit(digit) => vec![KeyCode::Char(char::from(b'0' + digit.min(9)))],
        Key::Letter(letter) => vec![KeyCode::Char(letter)],
    }
}

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
    is_arrow && usual(*code).is_some() && keymap.own.iter().all(|(own, _)| own != code)
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

//! Keys: from a terminal, or from lines of a pipe, to what they mean.
//!
//! State: only the table of other keys that a person gave. `NumLock` off is
//! understood: the keypad's arrows and blocks count as the digits they stand on.

use std::collections::HashMap;
use std::io::BufRead;
use std::path::{Path, PathBuf};
use std::sync::mpsc::SyncSender;
use std::time::Duration;

use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use serde::Deserialize;

use crate::core::Key;
use crate::drive::FromWorld;

/// Other keys for the acts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Keymap {
    own: HashMap<KeyCode, Key>,
}

/// What is wrong with a file of keys.
#[derive(Debug, thiserror::Error)]
pub enum KeymapError {
    /// It cannot be read.
    #[error("{}: cannot be read: {source}. Check the path", path.display())]
    Read {
        /// Its path.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// It is not of the right form.
    #[error("{}: {why}. Write it like: [keys] enter = [\"y\", \"F5\"]", path.display())]
    Form {
        /// Its path.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    keys: HashMap<String, Vec<String>>,
}

const ACTS: [(&str, Key); 8] = [
    ("enter", Key::Enter),
    ("again", Key::Plus),
    ("no", Key::Minus),
    ("right", Key::Star),
    ("menu", Key::Slash),
    ("erase", Key::Erase),
    ("stop", Key::Stop),
    ("point", Key::Point),
];

impl Keymap {
    /// Reads a file of other keys.
    ///
    /// # Errors
    /// If it cannot be read, names an unknown act or key, or uses a key twice.
    pub fn read(path: &Path) -> Result<Self, KeymapError> {
        let text = std::fs::read_to_string(path).map_err(|source| KeymapError::Read {
            path: path.to_owned(),
            source,
        })?;
        Self::parse(&text).map_err(|why| KeymapError::Form {
            path: path.to_owned(),
            why,
        })
    }

    /// Reads the text of such a file.
    ///
    /// # Errors
    /// As [`Keymap::read`], in words.
    pub fn parse(text: &str) -> Result<Self, String> {
        let raw: Raw = toml::from_str(text).map_err(|error| error.message().replace('\n', " "))?;
        let mut own = HashMap::new();
        for (act, keys) in raw.keys {
            let acts = || ACTS.map(|(name, _)| name).join(", ");
            let key = ACTS
                .iter()
                .find(|(name, _)| *name == act)
                .map(|(_, key)| *key)
                .ok_or_else(|| format!("there is no act {act}; there are {}", acts()))?;
            for name in keys {
                let code = code(&name).ok_or_else(|| {
                    format!("there is no key {name}; use one sign, F1 to F12, Space, Tab, Home, End, Insert, Delete")
                })?;
                if own.insert(code, key).is_some() {
                    return Err(format!(
                        "the key {name} is used twice; take it from one act"
                    ));
                }
            }
        }
        Ok(Self { own })
    }
}

fn code(name: &str) -> Option<KeyCode> {
    let mut signs = name.chars();
    if let (Some(sign), None) = (signs.next(), signs.next()) {
        return Some(KeyCode::Char(sign));
    }
    if let Some(number) = name
        .strip_prefix('F')
        .and_then(|number| number.parse().ok())
        .filter(|n| (1..=12).contains(n))
    {
        return Some(KeyCode::F(number));
    }
    Some(match name {
        "Space" => KeyCode::Char(' '),
        "Tab" => KeyCode::Tab,
        "Home" => KeyCode::Home,
        "End" => KeyCode::End,
        "Insert" => KeyCode::Insert,
        "Delete" => KeyCode::Delete,
        _ => return None,
    })
}

/// What an event of the terminal means.
#[must_use]
pub fn map(event: &Event, keymap: &Keymap) -> Option<FromWorld> {
    match event {
        Event::Key(key) if key.kind == KeyEventKind::Press => map_key(*key, keymap),
        Event::Resize(..) | Event::FocusGained => Some(FromWorld::Redraw),
        // A paste is nobody's answer.
        _ => None,
    }
}

fn map_key(key: KeyEvent, keymap: &Keymap) -> Option<FromWorld> {
    if let Some(own) = keymap.own.get(&key.code) {
        return Some(FromWorld::Key(*own));
    }
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return match key.code {
            KeyCode::Char('c') => Some(FromWorld::End(130)),
            KeyCode::Char('z') => Some(FromWorld::Suspend),
            // The Enter of a keypad arrives as Ctrl+J or Ctrl+M through some terminals.
            KeyCode::Char('j' | 'm') => Some(FromWorld::Key(Key::Enter)),
            _ => None,
        };
    }
    let meaning = match key.code {
        KeyCode::Char(sign) => sign_key(sign),
        KeyCode::Enter => Key::Enter,
        KeyCode::Backspace => Key::Erase,
        KeyCode::Esc => Key::Stop,
        // The keypad without NumLock.
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
    };
    Some(FromWorld::Key(meaning))
}

/// What a sign means as a key.
#[must_use]
pub fn sign_key(sign: char) -> Key {
    match sign {
        '0'..='9' => Key::Digit(sign as u8 - b'0'),
        '.' | ',' => Key::Point,
        '+' => Key::Plus,
        '-' => Key::Minus,
        '*' => Key::Star,
        '/' => Key::Slash,
        other => Key::Letter(other),
    }
}

/// Reads the terminal on a thread of its own, until nobody takes the keys.
pub fn listen(sender: SyncSender<FromWorld>, keymap: Keymap) {
    std::thread::spawn(move || {
        loop {
            match event::poll(Duration::from_millis(200)) {
                Ok(true) => match event::read() {
                    Ok(event) => {
                        if let Some(news) = map(&event, &keymap)
                            && sender.send(news).is_err()
                        {
                            return;
                        }
                    }
                    Err(_) => break,
                },
                Ok(false) => {}
                Err(_) => break,
            }
        }
        // The terminal is gone, as on a hang-up.
        let _ = sender.send(FromWorld::End(129));
    });
}

/// Reads lines of standard input: each is typed, then Enter.
pub fn listen_lines(sender: SyncSender<FromWorld>) {
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { break };
            let sent = match read_line(&line) {
                Line::Keys(keys) => keys
                    .into_iter()
                    .try_for_each(|key| sender.send(FromWorld::Typed(key))),
                Line::Text(text) => sender.send(FromWorld::Line(text)),
            };
            if sent.is_err() {
                return;
            }
        }
        let _ = sender.send(FromWorld::KeysGone);
    });
}

/// What a line means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Line {
    /// An act: yes, no, stop, or single keys with blanks between, as `/ 2`.
    Keys(Vec<Key>),
    /// An answer, to be taken whole.
    Text(String),
}

/// Reads one line: nothing, `yes`, `no`, `stop`, `+`, `/ 2` are acts; all else is an answer.
#[must_use]
pub fn read_line(line: &str) -> Line {
    let line = line.trim();
    match line {
        "" | "yes" | "y" | "done" | "next" => return Line::Keys(vec![Key::Enter]),
        "no" | "n" => return Line::Keys(vec![Key::Minus]),
        "stop" => return Line::Keys(vec![Key::Stop]),
        _ => {}
    }
    let parts: Vec<&str> = line.split_whitespace().collect();
    // Only a key that is no part of a number begins such a line, and only figures follow it.
    let is_act = |part: &&str| matches!(*part, "/" | "*" | "+" | "-");
    let is_figure = |part: &&str| part.len() == 1 && part.as_bytes()[0].is_ascii_digit();
    if parts.first().is_some_and(is_act)
        && parts[1..]
            .iter()
            .all(|part| is_act(part) || is_figure(part))
    {
        return Line::Keys(
            parts
                .iter()
                .filter_map(|part| part.chars().next())
                .map(sign_key)
                .collect(),
        );
    }
    Line::Text(line.to_owned())
}

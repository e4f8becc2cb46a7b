//! Which keys do what: the usual ones of a keypad, and those of a file of keys.
//!
//! No state but the [`Keymap`], which is read once.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use ratatui::crossterm::event::KeyCode;

use super::sign_key;
use crate::core::Key;

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

    /// Whether this key means something, and that is its usual meaning.
    pub(super) fn is_usual(&self, code: KeyCode) -> bool {
        usual(code).is_some() && self.own.iter().all(|(own, _)| *own != code)
    }

    pub(super) fn key(&self, code: KeyCode) -> Option<Key> {
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

//! A technician's own key: a file in OpenSSH's form, for its owner's eyes only.
//!
//! Sayback makes it, reads it, and never changes or overwrites it.

use std::fs::{self, OpenOptions};
use std::io::Write;
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};

use ssh_key::rand_core::OsRng;
use ssh_key::{Algorithm, LineEnding, PrivateKey};

use super::runs::{RunsError, data_folder};

/// What can be wrong with a key.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// There is one already.
    #[error("{}: there is a file of this name already, and a key is never overwritten. Use that one, or name another with --key", .0.display())]
    AlreadyThere(PathBuf),
    /// There is none.
    #[error("{}: there is no key. Make one with `sayback key --by \"your name\"`, or name yours with --key", .0.display())]
    NoKey(PathBuf),
    /// Others can read it.
    #[error("{}: others than you can read this key. Close it with: chmod 600 {}", .0.display(), .0.display())]
    Open(PathBuf),
    /// It is not a key of this kind.
    #[error("{}: this cannot be read as a private key in OpenSSH's form ({why}). Name a key made by `sayback key` or by ssh-keygen -t ed25519", path.display())]
    NotOne {
        /// The file.
        path: PathBuf,
        /// What the reader said.
        why: String,
    },
    /// The passphrase does not open it.
    #[error("{}: this passphrase does not open the key. Try again", .0.display())]
    WrongPassphrase(PathBuf),
    /// It cannot be asked for.
    #[error(
        "the passphrase cannot be asked for, as there is no terminal ({0}). Give it in a file with --passphrase-file, or make a key without one with --no-passphrase"
    )]
    NoTerminal(String),
    /// The two that were typed differ, or it is empty.
    #[error("the two passphrases differ, or are empty. Nothing was written; try again")]
    Differ,
    /// A file or folder.
    #[error("{}: {source}. Check the folder and its rights, or name another file with --key", path.display())]
    Io {
        /// Where.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// No random numbers, or another fault of the machine.
    #[error("no key could be made: {0}")]
    NotMade(String),
    /// No home folder.
    #[error(transparent)]
    Runs(#[from] RunsError),
}

/// Where the key is: as given, or the usual place for a user's data.
///
/// # Errors
/// If none is given and the home folder is not known.
pub fn path(given: Option<&Path>) -> Result<PathBuf, KeyError> {
    match given {
        Some(path) => Ok(path.to_owned()),
        None => Ok(data_folder()?.join("signing-key")),
    }
}

/// Makes an Ed25519 key (RFC 8032) for this person and writes it, with its public half beside it in `.pub`.
///
/// # Errors
/// If there is one already, or it cannot be written; then nothing is left behind.
pub fn make(path: &Path, by: &str, passphrase: Option<&str>) -> Result<PrivateKey, KeyError> {
    let made = |error: ssh_key::Error| KeyError::NotMade(error.to_string());
    let public = public_path(path);
    for taken in [path, &public] {
        if taken.symlink_metadata().is_ok() {
            return Err(KeyError::AlreadyThere(taken.to_owned()));
        }
    }
    let mut key = PrivateKey::random(&mut OsRng, Algorithm::Ed25519).map_err(made)?;
    key.set_comment(by);
    let kept = match passphrase {
        Some(passphrase) => key.encrypt(&mut OsRng, passphrase).map_err(made)?,
        None => key.clone(),
    };
    let text = kept.to_openssh(LineEnding::LF).map_err(made)?;
    let shown = key.public_key().to_openssh().map_err(made)? + "\n";
    if let Some(folder) = path.parent().filter(|folder| !folder.exists()) {
        fs::DirBuilder::new()
            .recursive(true)
            .mode(0o700)
            .create(folder)
            .map_err(|source| KeyError::Io {
                path: folder.to_owned(),
                source,
            })?;
    }
    write_new(path, text.as_bytes(), 0o600)?;
    if let Err(error) = write_new(&public, shown.as_bytes(), 0o644) {
        // Half a pair helps nobody, and this one has signed nothing yet.
        let _ = fs::remove_file(path);
        return Err(error);
    }
    Ok(key)
}

/// The file of the public half.
#[must_use]
pub fn public_path(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".pub");
    PathBuf::from(name)
}

fn write_new(path: &Path, bytes: &[u8], mode: u32) -> Result<(), KeyError> {
    let failed = |source: std::io::Error| {
        if source.kind() == std::io::ErrorKind::AlreadyExists {
            KeyError::AlreadyThere(path.to_owned())
        } else {
            KeyError::Io {
                path: path.to_owned(),
                source,
            }
        }
    };
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(mode)
        .open(path)
        .map_err(failed)?;
    file.write_all(bytes)
        .and_then(|()| file.sync_all())
        .map_err(|source| {
            let _ = fs::remove_file(path);
            failed(source)
        })
}

/// Reads a key; `ask` gives the passphrase where it has one.
///
/// # Errors
/// If there is none, others can read it, or the passphrase does not open it.
pub fn read(
    path: &Path,
    ask: impl FnOnce() -> Result<String, KeyError>,
) -> Result<PrivateKey, KeyError> {
    let about = |source: std::io::Error| {
        if source.kind() == std::io::ErrorKind::NotFound {
            KeyError::NoKey(path.to_owned())
        } else {
            KeyError::Io {
                path: path.to_owned(),
                source,
            }
        }
    };
    let metadata = fs::metadata(path).map_err(about)?;
    if metadata.permissions().mode() & 0o077 != 0 {
        return Err(KeyError::Open(path.to_owned()));
    }
    let text = fs::read_to_string(path).map_err(about)?;
    let key = PrivateKey::from_openssh(&text).map_err(|error| KeyError::NotOne {
        path: path.to_owned(),
        why: error.to_string(),
    })?;
    if !key.is_encrypted() {
        return Ok(key);
    }
    let passphrase = ask()?;
    key.decrypt(passphrase)
        .map_err(|_| KeyError::WrongPassphrase(path.to_owned()))
}

/// Asks for the passphrase at the terminal, without showing it.
///
/// # Errors
/// If there is no terminal.
pub fn ask(prompt: &str) -> Result<String, KeyError> {
    rpassword::prompt_password(prompt).map_err(|error| KeyError::NoTerminal(error.to_string()))
}

/// Asks twice for a new one.
///
/// # Errors
/// If there is no terminal, or the two differ.
pub fn ask_twice() -> Result<String, KeyError> {
    let first = ask("New passphrase: ")?;
    let again = ask("The same again: ")?;
    if first.is_empty() || first != again {
        return Err(KeyError::Differ);
    }
    Ok(first)
}

/// The passphrase from the first line of a file.
///
/// # Errors
/// If it cannot be read or is empty.
pub fn from_file(path: &Path) -> Result<String, KeyError> {
    let text = fs::read_to_string(path).map_err(|source| KeyError::Io {
        path: path.to_owned(),
        source,
    })?;
    match text.lines().next() {
        Some(line) if !line.is_empty() => Ok(line.to_owned()),
        _ => Err(KeyError::Differ),
    }
}

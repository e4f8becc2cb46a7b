//! What is remembered from one job to the next: the microphone, and its last check.
//!
//! State: one file in the user's configuration folder, written beside and then
//! renamed, so that it is the old one or the new one and never half of it. A
//! file that cannot be read is told and left as it is; nothing depends on it.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::mic_check::Measured;

/// What is remembered.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// The microphone that was chosen; none for the system's own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub microphone: Option<String>,
    /// The last microphone check.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub check: Option<LastCheck>,
}

/// A microphone check, and when it was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LastCheck {
    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub utc_ms: i64,
    /// What was measured.
    pub measured: Measured,
}

/// Why the file of settings is of no use.
#[derive(Debug, thiserror::Error)]
pub enum SettingsError {
    /// It cannot be read or written.
    #[error("cannot {what} the settings {}: {source}. Check the folder's permissions and room", path.display())]
    Io {
        /// What was to be done.
        what: &'static str,
        /// Where.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// It is not understood.
    #[error("the settings {} are not understood, and ignored: {fault}. Remove the file, or choose again with: sayback microphones --choose NAME", path.display())]
    Form {
        /// Where.
        path: PathBuf,
        /// What is wrong.
        fault: String,
    },
    /// No folder for them.
    #[error("no folder for settings: the home folder is not known. Give --microphone each time")]
    NoHome,
}

impl Settings {
    /// The file in the user's configuration folder.
    ///
    /// # Errors
    /// [`SettingsError::NoHome`].
    pub fn file() -> Result<PathBuf, SettingsError> {
        use etcetera::BaseStrategy;
        let base = etcetera::choose_base_strategy().map_err(|_| SettingsError::NoHome)?;
        Ok(base.config_dir().join("sayback").join("settings.toml"))
    }

    /// Reads them; a file that is not there has none.
    ///
    /// # Errors
    /// If there is a file that cannot be read or is not understood.
    pub fn read(path: &Path) -> Result<Self, SettingsError> {
        match fs::read_to_string(path) {
            Ok(text) => toml::from_str(&text).map_err(|fault| SettingsError::Form {
                path: path.to_owned(),
                fault: fault.message().to_owned(),
            }),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(Self::default()),
            Err(source) => Err(SettingsError::Io {
                what: "read",
                path: path.to_owned(),
                source,
            }),
        }
    }

    /// Writes them: beside, synced, then renamed.
    ///
    /// # Errors
    /// If they cannot be written; then the old file is still there.
    pub fn write(&self, path: &Path) -> Result<(), SettingsError> {
        let io = |source| SettingsError::Io {
            what: "write",
            path: path.to_owned(),
            source,
        };
        let text = toml::to_string(self).map_err(|fault| io(std::io::Error::other(fault)))?;
        let folder = path.parent().unwrap_or(Path::new("."));
        fs::create_dir_all(folder).map_err(io)?;
        let beside = path.with_extension(format!("new-{}", std::process::id()));
        let written = fs::File::create(&beside).and_then(|mut file| {
            file.write_all(text.as_bytes())?;
            file.sync_all()
        });
        let done = written.and_then(|()| fs::rename(&beside, path));
        if done.is_err() {
            // Half a file beside is of no use; that it stays would harm nobody.
            let _ = fs::remove_file(&beside);
        }
        done.map_err(io)
    }

    /// The settings of this user, or none: what is wrong with them is told.
    #[must_use]
    pub fn of_user() -> Self {
        Self::file()
            .and_then(|path| Self::read(&path))
            .unwrap_or_else(|fault| {
                if !matches!(fault, SettingsError::NoHome) {
                    super::tell(&fault.to_string());
                }
                Self::default()
            })
    }
}

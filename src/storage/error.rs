//! Why a file could not be opened, read or written, in words for a person.

use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::folder_of;

/// Why a file could not be opened, read or written. Every message says what to do.
#[derive(Debug, Error)]
pub enum StorageError {
    /// The system does not let this user do it.
    #[error(
        "{path}: permission denied. Give yourself the right to read and write the file and its folder, or name another folder"
    )]
    PermissionDenied {
        /// The path asked for.
        path: PathBuf,
    },
    /// The file system is mounted read-only.
    #[error("{path}: this disk can only be read. Name a folder on a disk that can be written")]
    ReadOnlyDisk {
        /// The path asked for.
        path: PathBuf,
    },
    /// The folder that should hold the file is not there.
    #[error("{path}: there is no folder {folder}. Create it, or name a folder that exists")]
    NoSuchFolder {
        /// The path asked for.
        path: PathBuf,
        /// The folder that is missing.
        folder: PathBuf,
    },
    /// The folder is there, the file is not.
    #[error("{path}: there is no such file. Check the name")]
    NoSuchFile {
        /// The path asked for.
        path: PathBuf,
    },
    /// A symbolic link whose target is missing.
    #[error("{path}: this link leads to {target}, which is not there. Name the file itself")]
    DanglingLink {
        /// The path asked for.
        path: PathBuf,
        /// Where the link leads.
        target: PathBuf,
    },
    /// The path names a folder.
    #[error("{path}: this is a folder. Name a file in it")]
    IsFolder {
        /// The path asked for.
        path: PathBuf,
    },
    /// The path names a pipe, a socket or a device.
    #[error("{path}: this is not a plain file but a {kind}. Name a plain file")]
    NotPlainFile {
        /// The path asked for.
        path: PathBuf,
        /// What it is, in a word.
        kind: &'static str,
    },
    /// A new file was wanted where there is one already.
    #[error(
        "{path}: there is a file of this name already, and it is left as it is. Open it, or name another"
    )]
    AlreadyThere {
        /// The path asked for.
        path: PathBuf,
    },
    /// Another process holds the lock.
    #[error("{path} is in use by another Sayback{}. Close that one first", say_process(*.process))]
    InUse {
        /// The path asked for.
        path: PathBuf,
        /// The process that holds it, where the system tells.
        process: Option<u32>,
    },
    /// No room left, or the quota is used up.
    #[error("{path}: the disk is full. Free some space on it, then try again")]
    DiskFull {
        /// The file being written.
        path: PathBuf,
    },
    /// The file is no longer at its path.
    #[error(
        "{path} was deleted or moved while Sayback had it open. Put it back under this name, or close Sayback and open the run where it is now"
    )]
    Gone {
        /// The path it had.
        path: PathBuf,
    },
    /// Another file is at the path now.
    #[error(
        "{path} was replaced by another file while Sayback had it open. Put the first one back under this name, or close Sayback and open the run again"
    )]
    Replaced {
        /// The path it had.
        path: PathBuf,
    },
    /// The file is not as long as what was written to it.
    #[error(
        "{path} was changed by another program: it should be {expected} bytes long and is {found}. Stop that program; then close Sayback and open the run again"
    )]
    LengthChanged {
        /// The file.
        path: PathBuf,
        /// Its length as written by this process, in bytes.
        expected: u64,
        /// Its length now, in bytes.
        found: u64,
    },
    /// Anything else the system answered.
    #[error(
        "{path}: cannot {doing}: {source}. Check the disk (or its cable or card); if it goes on, name a folder on another disk"
    )]
    Io {
        /// The file.
        path: PathBuf,
        /// What was tried: "write", "sync", …
        doing: &'static str,
        /// What the system answered.
        source: io::Error,
    },
}

impl StorageError {
    /// A signal came in between; the same call can simply be made again.
    #[must_use]
    pub fn is_interruption(&self) -> bool {
        matches!(self, Self::Io { source, .. } if source.kind() == ErrorKind::Interrupted)
    }

    /// The storage was found to be not ours (moved, replaced, changed) before
    /// anything was written to it, so it must not be cut back either.
    #[must_use]
    pub fn nothing_touched(&self) -> bool {
        matches!(
            self,
            Self::Gone { .. } | Self::Replaced { .. } | Self::LengthChanged { .. }
        )
    }

    pub(super) fn from_io(path: &Path, doing: &'static str, source: io::Error) -> Self {
        let path = path.to_path_buf();
        match source.kind() {
            ErrorKind::PermissionDenied => Self::PermissionDenied { path },
            ErrorKind::ReadOnlyFilesystem => Self::ReadOnlyDisk { path },
            ErrorKind::IsADirectory => Self::IsFolder { path },
            ErrorKind::AlreadyExists => Self::AlreadyThere { path },
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => Self::DiskFull { path },
            ErrorKind::NotFound | ErrorKind::NotADirectory => {
                let folder = folder_of(&path).to_path_buf();
                if !folder.is_dir() {
                    Self::NoSuchFolder { path, folder }
                } else if let Ok(target) = path.read_link() {
                    Self::DanglingLink { path, target }
                } else {
                    Self::NoSuchFile { path }
                }
            }
            _ => Self::Io {
                path,
                doing,
                source,
            },
        }
    }
}

fn say_process(process: Option<u32>) -> String {
    process.map_or_else(String::new, |process| format!(" (process {process})"))
}

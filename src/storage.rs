//! The file under a journal: the only place where journal bytes meet the disk.
//!
//! State: one open, exclusively locked file, and which file that is (device and
//! inode). Only [`crate::journal::Journal`] changes it. Everything above works
//! with the two traits, so a test can stand in for the disk and say what
//! survived a power cut.

mod error;

use std::fs::{File, Metadata, OpenOptions, TryLockError};
use std::io::{self, ErrorKind, Read as _, Write as _};
use std::os::unix::fs::{FileExt as _, MetadataExt as _};
use std::path::{Path, PathBuf};

pub use error::StorageError;

/// Bytes that can be read, and nothing else.
pub trait Source {
    /// The name by which a person knows these bytes: the path of a file.
    fn name(&self) -> String;

    /// How many bytes there are.
    ///
    /// # Errors
    /// When the storage cannot say.
    fn length(&self) -> Result<u64, StorageError>;

    /// Reads up to `buffer.len()` bytes from byte `at`; 0 means that `at` is the end.
    ///
    /// # Errors
    /// When the storage cannot be read.
    fn read_at(&self, at: u64, buffer: &mut [u8]) -> Result<usize, StorageError>;
}

/// Bytes that can also be added to.
///
/// The rules a journal builds on: what [`Storage::append`] took is only promised
/// after [`Storage::sync`] returned `Ok`, and nothing before `at` is ever rewritten.
pub trait Storage: Source {
    /// Writes at the end, which must be byte `at`, and says how many bytes were
    /// taken: like [`std::io::Write::write`] it may take fewer than given.
    ///
    /// # Errors
    /// When nothing was taken. [`StorageError::nothing_touched`] tells those
    /// errors after which the storage is as it was.
    fn append(&mut self, at: u64, bytes: &[u8]) -> Result<usize, StorageError>;

    /// Returns when all bytes are where a power cut cannot reach them.
    ///
    /// # Errors
    /// When the disk did not confirm. The bytes may or may not be there, and a
    /// second call proves nothing: the system may have dropped them already.
    fn sync(&mut self) -> Result<(), StorageError>;

    /// Cuts the storage to its first `length` bytes.
    ///
    /// # Errors
    /// When it could not be cut; it may then have any length up to the old one.
    fn set_length(&mut self, length: u64) -> Result<(), StorageError>;

    /// Puts `bytes` into a new place of their own beside this storage, safe from a
    /// power cut, and returns the name of that place.
    ///
    /// # Errors
    /// When they could not be kept; this storage itself is untouched.
    fn keep_aside(&mut self, bytes: &[u8]) -> Result<String, StorageError>;
}

/// A plain file, locked against every other Sayback until it is dropped.
#[derive(Debug)]
pub struct FileStorage {
    file: File,
    path: PathBuf,
    identity: Identity,
}

/// How often a lock that is held is tried again before it counts as in use.
const LOCK_TRIES: u32 = 8;

/// The pause between two tries.
const LOCK_PAUSE: std::time::Duration = std::time::Duration::from_millis(50);

impl FileStorage {
    /// Makes a new, empty file. When this returns, the file and its name in the
    /// folder survive a power cut.
    ///
    /// # Errors
    /// When there is anything at `path` already, or the file cannot be made.
    pub fn create_new(path: &Path) -> Result<Self, StorageError> {
        let wrap = |source| StorageError::from_io(path, "create the file", source);
        if path.is_dir() {
            return Err(StorageError::IsFolder { path: path.into() });
        }
        let file = OpenOptions::new()
            .read(true)
            .append(true)
            .create_new(true)
            .open(path)
            .map_err(wrap)?;
        let storage = Self::lock(file, path)?;
        storage.file.sync_all().map_err(wrap)?;
        sync_folder_of(path).map_err(wrap)?;
        Ok(storage)
    }

    /// Opens a file that is there, to go on with it.
    ///
    /// # Errors
    /// When it is not a plain file, is in use, or cannot be opened for writing.
    pub fn open(path: &Path) -> Result<Self, StorageError> {
        // Looked at before it is opened: opening a pipe would wait for its other end.
        check_plain(path)?;
        let file = OpenOptions::new()
            .read(true)
            .append(true)
            .open(path)
            .map_err(|source| StorageError::from_io(path, "open the file", source))?;
        Self::lock(file, path)
    }

    /// The path it was opened by.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    fn lock(file: File, path: &Path) -> Result<Self, StorageError> {
        let wrap = |source| StorageError::from_io(path, "lock the file", source);
        let identity = Identity::of(&file.metadata().map_err(wrap)?);
        // A program that is just ending, or a child that it is just starting, holds
        // the lock a moment longer; one that is at work holds it for good.
        let mut tries = LOCK_TRIES;
        loop {
            match file.try_lock() {
                Ok(()) => break,
                Err(TryLockError::WouldBlock) if tries > 0 => {
                    tries -= 1;
                    std::thread::sleep(LOCK_PAUSE);
                }
                Err(TryLockError::WouldBlock) => {
                    return Err(StorageError::InUse {
                        path: path.into(),
                        process: process_holding(identity),
                    });
                }
                Err(TryLockError::Error(source)) => return Err(wrap(source)),
            }
        }
        let storage = Self {
            file,
            path: path.to_path_buf(),
            identity,
        };
        // Between the look and the lock it may have been swapped.
        storage.check_in_place()?;
        Ok(storage)
    }

    fn check_in_place(&self) -> Result<(), StorageError> {
        match self.path.metadata() {
            Ok(there) if Identity::of(&there) == self.identity => Ok(()),
            Ok(_) => Err(StorageError::Replaced {
                path: self.path.clone(),
            }),
            Err(source)
                if matches!(
                    source.kind(),
                    ErrorKind::NotFound | ErrorKind::NotADirectory
                ) =>
            {
                Err(StorageError::Gone {
                    path: self.path.clone(),
                })
            }
            Err(source) => Err(self.error("look at the file", source)),
        }
    }

    fn error(&self, doing: &'static str, source: io::Error) -> StorageError {
        StorageError::from_io(&self.path, doing, source)
    }
}

impl Source for FileStorage {
    fn name(&self) -> String {
        self.path.display().to_string()
    }

    fn length(&self) -> Result<u64, StorageError> {
        length_of(&self.file, &self.path)
    }

    fn read_at(&self, at: u64, buffer: &mut [u8]) -> Result<usize, StorageError> {
        read_at(&self.file, &self.path, at, buffer)
    }
}

impl Storage for FileStorage {
    fn append(&mut self, at: u64, bytes: &[u8]) -> Result<usize, StorageError> {
        self.check_in_place()?;
        let found = self.length()?;
        if found != at {
            return Err(StorageError::LengthChanged {
                path: self.path.clone(),
                expected: at,
                found,
            });
        }
        (&self.file)
            .write(bytes)
            .map_err(|source| self.error("write", source))
    }

    fn sync(&mut self) -> Result<(), StorageError> {
        self.file
            .sync_data()
            .map_err(|source| self.error("make sure that it is on the disk", source))
    }

    fn set_length(&mut self, length: u64) -> Result<(), StorageError> {
        self.file
            .set_len(length)
            .map_err(|source| self.error("remove the unfinished line", source))
    }

    fn keep_aside(&mut self, bytes: &[u8]) -> Result<String, StorageError> {
        for number in 1_u32.. {
            let mut name = self.path.clone().into_os_string();
            name.push(format!(".torn-{number}"));
            let path = PathBuf::from(name);
            let wrap = |source| StorageError::from_io(&path, "keep the unfinished line", source);
            let mut file = match OpenOptions::new().write(true).create_new(true).open(&path) {
                Err(taken) if taken.kind() == ErrorKind::AlreadyExists => continue,
                opened => opened.map_err(wrap)?,
            };
            let kept = file
                .write_all(bytes)
                .and_then(|()| file.sync_all())
                .and_then(|()| sync_folder_of(&path));
            if let Err(source) = kept {
                // Half a copy helps nobody, and the bytes are still in the journal.
                // If even this fails, the next attempt takes the next number.
                let _ = std::fs::remove_file(&path);
                return Err(wrap(source));
            }
            return Ok(path.display().to_string());
        }
        Err(StorageError::AlreadyThere {
            path: self.path.clone(),
        })
    }
}

/// A plain file that is only looked at: no lock, no writing. It can be read while
/// a run is writing it.
#[derive(Debug)]
pub struct ReadOnlyFile {
    file: File,
    path: PathBuf,
}

impl ReadOnlyFile {
    /// Opens a file to look at it.
    ///
    /// # Errors
    /// When it is not a plain file or cannot be read.
    pub fn open(path: &Path) -> Result<Self, StorageError> {
        check_plain(path)?;
        let file = File::open(path)
            .map_err(|source| StorageError::from_io(path, "open the file", source))?;
        Ok(Self {
            file,
            path: path.to_path_buf(),
        })
    }
}

impl Source for ReadOnlyFile {
    fn name(&self) -> String {
        self.path.display().to_string()
    }

    fn length(&self) -> Result<u64, StorageError> {
        length_of(&self.file, &self.path)
    }

    fn read_at(&self, at: u64, buffer: &mut [u8]) -> Result<usize, StorageError> {
        read_at(&self.file, &self.path, at, buffer)
    }
}

/// Which file it is, whatever its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Identity {
    device: u64,
    inode: u64,
}

impl Identity {
    fn of(metadata: &Metadata) -> Self {
        Self {
            device: metadata.dev(),
            inode: metadata.ino(),
        }
    }
}

fn length_of(file: &File, path: &Path) -> Result<u64, StorageError> {
    let metadata = file
        .metadata()
        .map_err(|source| StorageError::from_io(path, "look at the file", source))?;
    Ok(metadata.len())
}

fn read_at(file: &File, path: &Path, at: u64, buffer: &mut [u8]) -> Result<usize, StorageError> {
    loop {
        match file.read_at(buffer, at) {
            Err(again) if again.kind() == ErrorKind::Interrupted => {}
            done => return done.map_err(|source| StorageError::from_io(path, "read", source)),
        }
    }
}

fn check_plain(path: &Path) -> Result<(), StorageError> {
    use std::os::unix::fs::FileTypeExt as _;
    let kind = path
        .metadata()
        .map_err(|source| StorageError::from_io(path, "look at the file", source))?
        .file_type();
    let path = path.to_path_buf();
    if kind.is_dir() {
        return Err(StorageError::IsFolder { path });
    }
    if !kind.is_file() {
        let kind = if kind.is_fifo() {
            "pipe"
        } else if kind.is_socket() {
            "socket"
        } else {
            "device"
        };
        return Err(StorageError::NotPlainFile { path, kind });
    }
    Ok(())
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    }
}

/// A new name is only safe when the folder that lists it is.
fn sync_folder_of(path: &Path) -> io::Result<()> {
    File::open(folder_of(path))?.sync_all()
}

/// The process that holds the lock on a file, as the kernel itself lists it: a
/// number written to a file beside it could be left over from an earlier run.
/// `None` where the kernel does not tell (no /proc, another container).
fn process_holding(file: Identity) -> Option<u32> {
    let mut list = String::new();
    File::open("/proc/locks")
        .and_then(|mut locks| locks.read_to_string(&mut list))
        .ok()?;
    // 1: FLOCK  ADVISORY  WRITE 8514 fe:00:10010627 0 EOF   (proc(5))
    list.lines().find_map(|line| {
        let fields: Vec<&str> = line.split_whitespace().collect();
        let [_, "FLOCK", _, _, process, place, ..] = fields[..] else {
            return None;
        };
        let process: u32 = process.parse().ok()?;
        let (device, inode) = place.rsplit_once(':')?;
        if inode.parse() != Ok(file.inode) {
            return None;
        }
        (device == device_as_listed(file.device) || has_open(process, file)).then_some(process)
    })
}

/// Some file systems list their locks under another device number than they give
/// for the file, so the open files of the process are asked as well.
fn has_open(process: u32, file: Identity) -> bool {
    let Ok(open_files) = std::fs::read_dir(format!("/proc/{process}/fd")) else {
        return false;
    };
    open_files
        .flatten()
        .filter_map(|entry| entry.path().metadata().ok())
        .any(|metadata| Identity::of(&metadata) == file)
}

/// Linux packs a device number as major and minor (makedev(3)); /proc/locks shows
/// both in hex.
fn device_as_listed(device: u64) -> String {
    let major = ((device >> 8) & 0xfff) | ((device >> 32) & !0xfff);
    let minor = (device & 0xff) | ((device >> 12) & !0xff);
    format!("{major:02x}:{minor:02x}")
}

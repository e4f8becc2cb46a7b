//! Copies runs between folders of runs: beside first, then under their names.
//!
//! State: none of its own. On the disk it makes `.merge` in the folder of runs while it copies, and
//! `aside` for what a longer version replaces. Nothing is overwritten and nothing is deleted but
//! its own half-made copies.

use std::fs::{self, File};
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

use crate::core::record::Record;
use crate::edge::runs::RunFolder;
use crate::journal::{self, ChainHash, Contents, DamageReason, JournalError};
use crate::storage::{FileStorage, ReadOnlyFile, Source, StorageError};

/// Folder, in that of the runs, of what was set aside.
pub const ASIDE: &str = "aside";
/// Folder, in that of the runs, of copies that are not whole yet.
const PART: &str = ".merge";
/// Deepest folder in a run that is copied.
const DEEPEST: usize = 4;

/// Why a run was not copied.
#[derive(Debug, thiserror::Error)]
pub enum CopyFault {
    /// It could not be read where it comes from.
    #[error("{} cannot be read: {source}. Nothing of this run was copied; put it right there and merge again", path.display())]
    There {
        /// What.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// It could not be written here.
    #[error("{} cannot be written: {source}. Nothing of this run was kept here, and what was merged before it stays. Make room, or name another folder with --runs, and merge again", path.display())]
    Here {
        /// What.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// It is neither file nor folder, or a link.
    #[error("{} is no plain file. Nothing of this run was copied; take it out there and merge again", path.display())]
    NotPlain {
        /// What.
        path: PathBuf,
    },
    /// It was written while it was copied.
    #[error("its journal changed while it was copied. Close Sayback there and merge again")]
    Changed,
}

/// A journal as it stands, whole or not.
#[derive(Debug)]
pub struct Held {
    /// Its records that are whole, up to the first damage.
    pub records: Vec<Record>,
    /// The hash of each.
    pub hashes: Vec<ChainHash>,
    /// Where and why it is damaged.
    pub damaged: Option<String>,
}

/// Reads the journal of a run.
///
/// # Errors
/// In words, if it cannot be read at all.
pub fn held(run: &RunFolder) -> Result<Held, String> {
    let file = ReadOnlyFile::open(&run.journal()).map_err(|error| error.to_string())?;
    of(journal::read::<Record>(&file))
}

fn of(read: Result<Contents<Record>, JournalError<Record>>) -> Result<Held, String> {
    let (entries, damaged) = match read {
        Ok(contents) => (contents.entries, None),
        Err(JournalError::Damaged {
            whole,
            at_line,
            why,
            ..
        }) => (whole, Some(damage(at_line, &why))),
        Err(error) => return Err(error.to_string()),
    };
    let hashes = entries.iter().map(|entry| entry.hash).collect();
    Ok(Held {
        records: entries.into_iter().map(|entry| entry.record).collect(),
        hashes,
        damaged,
    })
}

fn damage(at_line: u64, why: &DamageReason) -> String {
    format!("damaged at line {at_line}: {why}")
}

/// The first record of a run's journal, if it is whole.
#[must_use]
pub fn first_record(run: &RunFolder) -> Option<Record> {
    let file = File::open(run.journal()).ok()?;
    let mut line = Vec::new();
    let limit = journal::LONGEST_LINE as u64 + 1;
    io::BufRead::read_until(&mut io::BufReader::new(file.take(limit)), b'\n', &mut line).ok()?;
    of(journal::read::<Record>(&Line(line)))
        .ok()?
        .records
        .into_iter()
        .next()
}

/// One line of a journal, by itself.
struct Line(Vec<u8>);

impl Source for Line {
    fn name(&self) -> String {
        "its first line".to_owned()
    }

    fn length(&self) -> Result<u64, StorageError> {
        Ok(self.0.len() as u64)
    }

    fn read_at(&self, at: u64, buffer: &mut [u8]) -> Result<usize, StorageError> {
        let from = usize::try_from(at).unwrap_or(usize::MAX).min(self.0.len());
        let count = buffer.len().min(self.0.len() - from);
        buffer[..count].copy_from_slice(&self.0[from..from + count]);
        Ok(count)
    }
}

/// True if both journals are the same, byte for byte.
#[must_use]
pub fn same_bytes(one: &RunFolder, other: &RunFolder) -> bool {
    let bytes = |run: &RunFolder| fs::read(run.journal());
    matches!((bytes(one), bytes(other)), (Ok(one), Ok(other)) if one == other)
}

/// Keeps everybody else from writing a journal that stands here, for as long as it is held.
///
/// # Errors
/// In words, if somebody is at work in it, or it cannot be opened.
pub fn locked(run: &RunFolder) -> Result<FileStorage, String> {
    FileStorage::open(&run.journal()).map_err(|error| error.to_string())
}

/// True if a Sayback is at work in a run that is to be copied. Needs no right to write there.
#[must_use]
pub fn is_at_work(run: &RunFolder) -> bool {
    File::open(run.journal())
        .is_ok_and(|file| matches!(file.try_lock_shared(), Err(fs::TryLockError::WouldBlock)))
}

/// Copies a run under a name that is free, and makes sure that it is on the disk under that name.
///
/// With `replaces`, the run of that name is moved aside first, whole; returns where it is then.
///
/// # Errors
/// See [`CopyFault`]; what stands here is then as it was.
pub fn copy(
    from: &RunFolder,
    expected: &[ChainHash],
    runs: &Path,
    name: &str,
    replaces: bool,
) -> Result<Option<PathBuf>, CopyFault> {
    let here = |path: &Path| {
        let path = path.to_owned();
        move |source| CopyFault::Here { path, source }
    };
    let parts = runs.join(PART);
    let part = parts.join(name);
    // Whatever is there is a half copy of ours, from a merge that was cut off.
    if part.exists() {
        fs::remove_dir_all(&part).map_err(here(&part))?;
    }
    fs::create_dir_all(&parts).map_err(here(&parts))?;
    let made = copy_folder(&from.path, &part, 0).and_then(|()| {
        let copied = held(&RunFolder { path: part.clone() }).map_err(|_| CopyFault::Changed)?;
        if copied.hashes == expected {
            Ok(())
        } else {
            Err(CopyFault::Changed)
        }
    });
    if let Err(fault) = made {
        // Half a copy is of no use; that it cannot be removed changes nothing, the next merge does.
        let _ = fs::remove_dir_all(&part);
        let _ = fs::remove_dir(&parts);
        return Err(fault);
    }
    let target = runs.join(name);
    let mut aside = None;
    if replaces {
        let place = free_aside(runs, name).map_err(here(&runs.join(ASIDE)))?;
        fs::rename(&target, &place).map_err(here(&place))?;
        sync_folder(&runs.join(ASIDE)).map_err(here(&place))?;
        aside = Some(place);
    } else if target.symlink_metadata().is_ok() {
        let _ = fs::remove_dir_all(&part);
        return Err(here(&target)(io::ErrorKind::AlreadyExists.into()));
    }
    if let Err(source) = fs::rename(&part, &target) {
        if let Some(place) = &aside {
            // As it was: what was moved aside goes back under its name.
            let _ = fs::rename(place, &target);
        }
        return Err(here(&target)(source));
    }
    let _ = fs::remove_dir(&parts);
    sync_folder(runs).map_err(here(runs))?;
    Ok(aside)
}

/// A place in the folder of what was set aside that is free.
fn free_aside(runs: &Path, name: &str) -> io::Result<PathBuf> {
    let folder = runs.join(ASIDE);
    fs::create_dir_all(&folder)?;
    (1..100_000_u32)
        .map(|number| folder.join(format!("{name}-{number}")))
        .find(|path| path.symlink_metadata().is_err())
        .ok_or_else(|| io::ErrorKind::AlreadyExists.into())
}

/// The runs that were set aside.
#[must_use]
pub fn set_aside(runs: &Path) -> Vec<RunFolder> {
    RunFolder::all(&runs.join(ASIDE)).unwrap_or_default()
}

fn copy_folder(from: &Path, to: &Path, depth: usize) -> Result<(), CopyFault> {
    let there = |path: &Path| {
        let path = path.to_owned();
        move |source| CopyFault::There { path, source }
    };
    let here = |path: &Path| {
        let path = path.to_owned();
        move |source| CopyFault::Here { path, source }
    };
    if depth > DEEPEST {
        return Err(CopyFault::NotPlain {
            path: from.to_owned(),
        });
    }
    fs::create_dir(to).map_err(here(to))?;
    for entry in fs::read_dir(from).map_err(there(from))? {
        let entry = entry.map_err(there(from))?;
        let (path, target) = (entry.path(), to.join(entry.file_name()));
        let kind = entry.file_type().map_err(there(&path))?;
        if kind.is_dir() {
            copy_folder(&path, &target, depth + 1)?;
        } else if kind.is_file() {
            copy_file(&path, &target)?;
        } else {
            return Err(CopyFault::NotPlain { path });
        }
    }
    sync_folder(to).map_err(here(to))
}

/// Copies a file to a new place, onto the disk.
fn copy_file(from: &Path, to: &Path) -> Result<(), CopyFault> {
    let there = |source| CopyFault::There {
        path: from.to_owned(),
        source,
    };
    let here = |source| CopyFault::Here {
        path: to.to_owned(),
        source,
    };
    let mut source = File::open(from).map_err(there)?;
    let mut target = File::create_new(to).map_err(here)?;
    let mut buffer = vec![0_u8; 1 << 16];
    loop {
        let count = match source.read(&mut buffer) {
            Ok(0) => break,
            Ok(count) => count,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(there(error)),
        };
        target.write_all(&buffer[..count]).map_err(here)?;
    }
    target.sync_all().map_err(here)
}

fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// What a run lacks that another version of it has.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Filled {
    /// Clips that were missing here and were taken over.
    pub clips: usize,
    /// True if the job file was.
    pub job_file: bool,
    /// Signatures that were not here.
    pub signatures: usize,
    /// Clips that the journal names and that neither version has whole, by file name.
    pub missing: Vec<String>,
}

/// Takes over what belongs to the journal here, is missing here, and is whole there. Signatures
/// only with `signed`: those of a shorter journal would not fit a longer one.
///
/// # Errors
/// If something cannot be written here.
pub fn fill(
    run: &RunFolder,
    held: &Held,
    from: &RunFolder,
    signed: bool,
) -> Result<Filled, CopyFault> {
    use crate::core::record::Body;
    use crate::report::Sound;
    let here = |path: PathBuf| move |source| CopyFault::Here { path, source };
    let mut filled = Filled::default();
    let put = |path: &Path, bytes: &[u8]| -> io::Result<()> {
        let mut name = path.as_os_str().to_owned();
        name.push(".part");
        let part = PathBuf::from(name);
        let written = File::create(&part)
            .and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()))
            .and_then(|()| fs::rename(&part, path));
        if written.is_err() {
            let _ = fs::remove_file(&part);
        }
        written
    };
    for clip in held.records.iter().filter_map(|record| record.body.clip()) {
        match (run.sound(clip), from.sound(clip)) {
            (Sound::Whole(_), _) => {}
            (Sound::Missing(_), Sound::Whole(bytes)) => {
                fs::create_dir_all(run.clips()).map_err(here(run.clips()))?;
                let path = run.clips().join(&clip.file);
                put(&path, &bytes).map_err(here(path))?;
                filled.clips += 1;
            }
            _ => filled.missing.push(clip.file.clone()),
        }
    }
    let wanted = match held.records.first().map(|record| &record.body) {
        Some(Body::Started(started)) => Some(&started.job_hash),
        _ => None,
    };
    if !run.job_file().exists()
        && let Ok(bytes) = fs::read(from.job_file())
        && wanted.is_some_and(|wanted| *wanted == blake3::hash(&bytes).to_hex().as_str())
    {
        put(&run.job_file(), &bytes).map_err(here(run.job_file()))?;
        filled.job_file = true;
    }
    if signed {
        let pairs = |run: &RunFolder| -> Vec<(String, String)> {
            run.signatures()
                .unwrap_or_default()
                .into_iter()
                .filter_map(|(statement, signature)| {
                    Some((
                        fs::read_to_string(statement).ok()?,
                        fs::read_to_string(signature).ok()?,
                    ))
                })
                .collect()
        };
        let known = pairs(run);
        for (statement, signature) in pairs(from) {
            if !known.contains(&(statement.clone(), signature.clone())) {
                run.keep_signature(&statement, &signature)
                    .map_err(|error| here(run.path.clone())(io::Error::other(error.to_string())))?;
                filled.signatures += 1;
            }
        }
    }
    Ok(filled)
}

//! Folders of runs: one folder a run, with its journal, its clips, its own copy
//! of the job file, and the record made from them.
//!
//! The copy of the job file is why a run can always be resumed and read: what
//! was asked is kept with what was answered.

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::core::record::Clip;
use crate::proof::{Found, JOURNAL};
use crate::report::Sound;

/// The folder of one run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunFolder {
    /// Where it is.
    pub path: PathBuf,
}

/// What can be wrong with a folder of runs.
#[derive(Debug, thiserror::Error)]
pub enum RunsError {
    /// A file or folder could not be read or written.
    #[error("cannot {what} {}: {source}. {fix}", path.display())]
    Io {
        /// What was to be done.
        what: &'static str,
        /// Where.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
        /// What to do.
        fix: &'static str,
    },
    /// No run of that name.
    #[error("no run {name} in {}. `sayback runs` lists them; --runs names another folder", runs.display())]
    NoSuchRun {
        /// As given.
        name: String,
        /// Folder of the runs.
        runs: PathBuf,
    },
    /// There is no run at all.
    #[error("there is no run in {} that could be used. Start one with `sayback run JOB`; --runs names another folder", runs.display())]
    NoRuns {
        /// Folder of the runs.
        runs: PathBuf,
    },
    /// The system says no home folder.
    #[error(
        "no folder for runs: the home folder is not known. Name one with --runs FOLDER or SAYBACK_RUNS"
    )]
    NoHome,
}

/// Folder of the signatures, in the folder of a run.
const SIGNATURES: &str = "signatures";

const ROOM: &str =
    "Check that the folder exists, can be written, and has room, or name another with --runs";

/// The folder of runs: as given, or the usual place for a user's data.
///
/// # Errors
/// If none is given and the home folder is not known.
pub fn runs_folder(given: Option<&Path>) -> Result<PathBuf, RunsError> {
    match given {
        Some(path) => Ok(path.to_owned()),
        None => Ok(data_folder()?.join("runs")),
    }
}

/// The usual place for a user's data.
///
/// # Errors
/// If the home folder is not known.
pub fn data_folder() -> Result<PathBuf, RunsError> {
    use etcetera::BaseStrategy;
    let base = etcetera::choose_base_strategy().map_err(|_| RunsError::NoHome)?;
    Ok(base.data_dir().join("sayback"))
}

impl RunFolder {
    /// Makes the folder of a new run, named by day, counter and job, with its copy of the job file.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn create(runs: &Path, day: &str, job: &str, job_text: &str) -> Result<Self, RunsError> {
        let io = |what, path: &Path| {
            let path = path.to_owned();
            move |source| RunsError::Io {
                what,
                path,
                source,
                fix: ROOM,
            }
        };
        fs::create_dir_all(runs).map_err(io("make the folder", runs))?;
        for counter in 1..100_000_u32 {
            let path = runs.join(format!("{day}-{counter:03}-{job}"));
            // Any run of that day counts, so that a number is used once.
            if number_taken(runs, day, counter) {
                continue;
            }
            match fs::create_dir(&path) {
                Ok(()) => {
                    let folder = Self { path };
                    fs::create_dir(folder.clips())
                        .map_err(io("make the folder", &folder.clips()))?;
                    write_new(&folder.job_file(), job_text.as_bytes())
                        .map_err(io("write", &folder.job_file()))?;
                    return Ok(folder);
                }
                Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(io("make the folder", &path)(error)),
            }
        }
        Err(RunsError::NoRuns {
            runs: runs.to_owned(),
        })
    }

    /// The run with this name or path.
    ///
    /// # Errors
    /// If there is none.
    pub fn open(runs: &Path, name: &str) -> Result<Self, RunsError> {
        [PathBuf::from(name), runs.join(name)]
            .into_iter()
            .find(|path| path.join(JOURNAL).is_file())
            .map(|path| Self { path })
            .ok_or_else(|| RunsError::NoSuchRun {
                name: name.to_owned(),
                runs: runs.to_owned(),
            })
    }

    /// All runs, oldest first by name.
    ///
    /// # Errors
    /// If the folder cannot be read. A folder that does not exist has no runs.
    pub fn all(runs: &Path) -> Result<Vec<Self>, RunsError> {
        let entries = match fs::read_dir(runs) {
            Ok(entries) => entries,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(source) => {
                return Err(RunsError::Io {
                    what: "read the folder",
                    path: runs.to_owned(),
                    source,
                    fix: ROOM,
                });
            }
        };
        let mut all: Vec<Self> = entries
            .filter_map(Result::ok)
            .map(|entry| Self { path: entry.path() })
            .filter(|run| run.journal().is_file())
            .collect();
        all.sort_by(|one, other| one.path.cmp(&other.path));
        Ok(all)
    }

    /// The journal's file.
    #[must_use]
    pub fn journal(&self) -> PathBuf {
        self.path.join(JOURNAL)
    }

    /// The folder of clips.
    #[must_use]
    pub fn clips(&self) -> PathBuf {
        self.path.join("clips")
    }

    /// The run's own copy of the job file.
    #[must_use]
    pub fn job_file(&self) -> PathBuf {
        self.path.join("job.toml")
    }

    /// The folder's own name.
    #[must_use]
    pub fn name(&self) -> String {
        self.path
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default()
    }

    /// Keeps the route that the run came from, as it was then.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn keep_route(&self, file: &str, bytes: &[u8]) -> Result<(), RunsError> {
        let path = self.path.join(file);
        write_new(&path, bytes).map_err(|source| RunsError::Io {
            what: "write",
            path,
            source,
            fix: ROOM,
        })
    }

    /// Keeps the sound of an answer, on the disk before the record that names it.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn keep_clip(&self, clip: &Clip, wav: &[u8]) -> Result<(), RunsError> {
        let path = self.clips().join(&clip.file);
        match write_new(&path, wav) {
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => Ok(()),
            other => other.map_err(|source| RunsError::Io {
                what: "write",
                path,
                source,
                fix: ROOM,
            }),
        }
    }

    /// The sound of an answer, checked against the hash that the journal names.
    #[must_use]
    pub fn sound(&self, clip: &Clip) -> Sound {
        // A name that leads elsewhere is none of ours; a journal could have been edited.
        let plain = Path::new(&clip.file).file_name() == Some(clip.file.as_ref());
        if !plain {
            return Sound::Missing("its name is no file name".to_owned());
        }
        match fs::read(self.clips().join(&clip.file)) {
            Ok(bytes) if blake3::hash(&bytes).to_hex().as_str() == clip.hash => Sound::Whole(bytes),
            Ok(_) => Sound::Changed,
            Err(error) => Sound::Missing(error.to_string()),
        }
    }

    /// The signatures: file of the statement and of the signature over it, in order.
    ///
    /// # Errors
    /// If the folder is there and cannot be read.
    pub fn signatures(&self) -> Result<Vec<(PathBuf, PathBuf)>, RunsError> {
        let folder = self.path.join(SIGNATURES);
        let entries = match fs::read_dir(&folder) {
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
            other => other.map_err(|source| RunsError::Io {
                what: "read the folder",
                path: folder,
                source,
                fix: ROOM,
            })?,
        };
        let mut found: Vec<(PathBuf, PathBuf)> = entries
            .filter_map(Result::ok)
            .map(|entry| entry.path())
            .filter(|path| path.extension().is_some_and(|end| end == "txt"))
            .map(|path| (path.clone(), path.with_extension("txt.sig")))
            .collect();
        found.sort();
        Ok(found)
    }

    /// Keeps a statement and the signature over it under the next free number; none is overwritten.
    ///
    /// # Errors
    /// If they cannot be written.
    pub fn keep_signature(&self, statement: &str, signature: &str) -> Result<PathBuf, RunsError> {
        let folder = self.path.join(SIGNATURES);
        let io = |path: &Path, source| RunsError::Io {
            what: "write",
            path: path.to_owned(),
            source,
            fix: ROOM,
        };
        fs::create_dir_all(&folder).map_err(|source| io(&folder, source))?;
        for number in 1..100_000_u32 {
            let path = folder.join(format!("{number:03}.txt"));
            let beside = folder.join(format!("{number:03}.txt.sig"));
            if path.exists() || beside.exists() {
                continue;
            }
            // The signature first: a statement without one would be told as unsigned.
            write_new(&beside, signature.as_bytes()).map_err(|source| io(&beside, source))?;
            return match write_new(&path, statement.as_bytes()) {
                Ok(()) => Ok(path),
                Err(source) => {
                    let _ = fs::remove_file(&beside);
                    Err(io(&path, source))
                }
            };
        }
        Err(RunsError::NoRuns { runs: folder })
    }

    /// Writes the files of the record: all of them beside their places and onto the disk first, and
    /// only then under their names. A full disk leaves the old ones as they were.
    ///
    /// # Errors
    /// If one cannot be written; then none is.
    pub fn write_record(&self, files: &[(&str, &[u8])]) -> Result<(), RunsError> {
        let beside = |name: &str| self.path.join(format!("{name}.part"));
        let clear = || {
            for (name, _) in files {
                // A half file is of no use to anybody; that it cannot be removed changes nothing.
                let _ = fs::remove_file(beside(name));
            }
        };
        let failed = |name: &str, source| {
            clear();
            RunsError::Io {
                what: "write",
                path: self.path.join(name),
                source,
                fix: ROOM,
            }
        };
        for (name, _) in files {
            // A file cannot take the name of a folder: better seen before the first is renamed.
            if self.path.join(name).is_dir() {
                return Err(failed(name, std::io::ErrorKind::IsADirectory.into()));
            }
        }
        for (name, bytes) in files {
            let write = || -> std::io::Result<()> {
                let mut file = File::create(beside(name))?;
                file.write_all(bytes)?;
                file.sync_all()
            };
            write().map_err(|source| failed(name, source))?;
        }
        for (name, _) in files {
            fs::rename(beside(name), self.path.join(name))
                .map_err(|source| failed(name, source))?;
        }
        // A new name is only safe when the folder that lists it is.
        File::open(&self.path)
            .and_then(|folder| folder.sync_all())
            .map_err(|source| failed("", source))
    }
}

impl Found for RunFolder {
    fn bytes(&self, file: &str) -> Option<Vec<u8>> {
        fs::read(self.path.join(file)).ok()
    }

    fn files(&self) -> Vec<String> {
        let mut files = vec![JOURNAL.to_owned(), "job.toml".to_owned()];
        // A folder that cannot be read has no clips that could be compared; those that were signed are then missing.
        let clips = fs::read_dir(self.clips()).into_iter().flatten();
        let mut names: Vec<String> = clips
            .filter_map(Result::ok)
            .map(|entry| format!("clips/{}", entry.file_name().to_string_lossy()))
            .collect();
        names.sort();
        files.extend(names);
        files
    }
}

/// True if a run of that day has that number.
#[must_use]
pub fn number_taken(runs: &Path, day: &str, counter: u32) -> bool {
    let start = format!("{day}-{counter:03}-");
    fs::read_dir(runs).is_ok_and(|entries| {
        entries
            .filter_map(Result::ok)
            .any(|entry| entry.file_name().to_string_lossy().starts_with(&start))
    })
}

fn write_new(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = File::create_new(path)?;
    let written = file.write_all(bytes).and_then(|()| file.sync_all());
    if written.is_err() {
        // A half file would be taken for the whole one on the next try.
        let _ = fs::remove_file(path);
    }
    written
}

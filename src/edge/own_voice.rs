//! Where each person's own ear is kept: a folder in the user's data, with two models, the clips that
//! they learnt from, and `about.toml`.
//!
//! Only `sayback enrol` changes such a folder, and only as a whole: written beside, then renamed.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::ear::{ModelFolder, built_in_hash};
use super::runs::{RunsError, data_folder};
use crate::enrolment::Clip;

/// What is known of a person's own ear.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct About {
    /// Whose voice.
    pub by: String,
    /// Which built-in models it was made from: [`built_in_hash`].
    pub model: String,
    /// When, in milliseconds since 1970-01-01T00:00:00Z.
    pub made_utc_ms: i64,
    /// How many clips it learnt from.
    pub learnt_from: usize,
    /// What the ear made of clips that were held back, before.
    pub before: Checked,
    /// The same after.
    pub after: Checked,
}

/// What an ear made of clips whose words are known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Checked {
    /// Understood as said.
    pub right: usize,
    /// Not understood: it would ask again.
    pub asked: usize,
    /// Taken for other words.
    pub wrong: usize,
}

impl Checked {
    /// Whether it is worth using in the place of `before`: more is right, and no more is wrong.
    #[must_use]
    pub fn is_better_than(&self, before: &Self) -> bool {
        self.right > before.right && self.wrong <= before.wrong
    }
}

impl std::fmt::Display for Checked {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let all = self.right + self.asked + self.wrong;
        write!(
            f,
            "{} of {all} right, {} not understood, {} wrong",
            self.right, self.asked, self.wrong
        )
    }
}

/// Why a person's own ear cannot be used or kept.
#[derive(Debug, thiserror::Error)]
pub enum OwnVoiceError {
    /// A file or folder.
    #[error("{}: {source}. Check the folder's permissions and room, or enrol again", path.display())]
    Io {
        /// Where.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// Its description is not understood.
    #[error("{}: not understood ({fault}). Enrol again: sayback enrol --by NAME", path.display())]
    Form {
        /// Where.
        path: PathBuf,
        /// What is wrong.
        fault: String,
    },
    /// It was made from other models.
    #[error("the ear of {0} was made from another version's voice model, and is not used. Make it again from its own clips: sayback enrol --by \"{0}\" --recordings \"{path}\"", path = .1.display())]
    OtherVersion(String, PathBuf),
    /// No home folder.
    #[error(transparent)]
    Runs(#[from] RunsError),
}

/// The folder of a person: names that differ in capitals or spaces only are the same person.
///
/// # Errors
/// If the home folder is not known.
pub fn folder(by: &str) -> Result<PathBuf, OwnVoiceError> {
    Ok(data_folder()?.join("voices").join(folder_name(by)))
}

fn folder_name(by: &str) -> String {
    let words: Vec<String> = by.split_whitespace().map(str::to_lowercase).collect();
    blake3::hash(words.join(" ").as_bytes()).to_hex()[..16].to_owned()
}

/// A person's own ear, if there is one that fits this version's models.
///
/// # Errors
/// If there is one that cannot be used, and why.
pub fn find(by: &str) -> Result<Option<(PathBuf, About)>, OwnVoiceError> {
    find_in(&folder(by)?, &built_in_hash())
}

fn find_in(folder: &Path, model: &str) -> Result<Option<(PathBuf, About)>, OwnVoiceError> {
    let path = folder.join("about.toml");
    let text = match fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(source) => return Err(OwnVoiceError::Io { path, source }),
    };
    let about: About = toml::from_str(&text).map_err(|fault| OwnVoiceError::Form {
        path,
        fault: fault.message().to_owned(),
    })?;
    if about.model != model {
        return Err(OwnVoiceError::OtherVersion(
            about.by,
            folder.join("clips.tsv"),
        ));
    }
    Ok(Some((folder.to_owned(), about)))
}

/// Forgets a person's own ear and clips; says whether there was one.
///
/// # Errors
/// If it cannot be removed.
pub fn forget(by: &str) -> Result<bool, OwnVoiceError> {
    let path = folder(by)?;
    match fs::remove_dir_all(&path) {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(false),
        Err(source) => Err(OwnVoiceError::Io { path, source }),
    }
}

/// Two models with other networks, in a folder of their own that is removed unless it is kept.
pub struct Draft {
    folder: PathBuf,
}

impl Draft {
    /// Copies the models of `base` beside `target`, with these networks in place of theirs.
    ///
    /// # Errors
    /// If they cannot be written; then nothing is left.
    pub fn new(
        target: &Path,
        base: &[ModelFolder],
        networks: &[Vec<u8>],
    ) -> Result<Self, OwnVoiceError> {
        let draft = Self {
            folder: target.with_extension(format!("part-{}", std::process::id())),
        };
        for ((model, network), name) in base.iter().zip(networks).zip(["one", "two"]) {
            let to = draft.folder.join(name);
            copy(model.folder(), &to)?;
            Self::write(&to.join("am/final.mdl"), network)?;
        }
        Ok(draft)
    }

    /// The folder, for listening with it.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Adds what it learnt from and what is known of it, and puts it in the place of what was at `target`.
    ///
    /// # Errors
    /// If it cannot be written; then what was there is still there.
    pub fn keep(
        self,
        target: &Path,
        about: &About,
        clips: &[(Clip, bool)],
    ) -> Result<(), OwnVoiceError> {
        let mut list = "path\ttranscript\tuse\n".to_owned();
        for (number, (clip, held_back)) in clips.iter().enumerate() {
            let name = format!("clips/{:03}.wav", number + 1);
            #[expect(
                clippy::cast_possible_truncation,
                reason = "they came from 16 bits, and a float as an integer stops at its ends"
            )]
            let samples: Vec<i16> = clip.samples.iter().map(|sample| *sample as i16).collect();
            let mut bytes = std::io::Cursor::new(Vec::new());
            super::sound::write_wav(&mut bytes, crate::enrolment::cepstra::RATE, &samples)
                .map_err(|fault| OwnVoiceError::Io {
                    path: self.folder.join(&name),
                    source: std::io::Error::other(fault),
                })?;
            Self::write(&self.folder.join(&name), bytes.get_ref())?;
            let purpose = if *held_back { "check" } else { "learn" };
            list += &format!("{name}\t{}\t{purpose}\n", clip.words.join(" "));
        }
        Self::write(&self.folder.join("clips.tsv"), list.as_bytes())?;
        let text = toml::to_string(about).map_err(|fault| OwnVoiceError::Form {
            path: target.to_owned(),
            fault: fault.to_string(),
        })?;
        Self::write(&self.folder.join("about.toml"), text.as_bytes())?;
        let io = |source| OwnVoiceError::Io {
            path: target.to_owned(),
            source,
        };
        let old = target.with_extension(format!("old-{}", std::process::id()));
        let there = target.exists();
        if there {
            fs::rename(target, &old).map_err(io)?;
        }
        if let Err(error) = fs::rename(&self.folder, target) {
            if there {
                fs::rename(&old, target).map_err(io)?;
            }
            return Err(io(error));
        }
        if there {
            fs::remove_dir_all(&old).map_err(io)?;
        }
        Ok(())
    }

    fn write(path: &Path, bytes: &[u8]) -> Result<(), OwnVoiceError> {
        let written = path
            .parent()
            .map_or(Ok(()), fs::create_dir_all)
            .and_then(|()| fs::File::create(path))
            .and_then(|mut file| {
                file.write_all(bytes)?;
                file.sync_all()
            });
        written.map_err(|source| OwnVoiceError::Io {
            path: path.to_owned(),
            source,
        })
    }
}

impl Drop for Draft {
    fn drop(&mut self) {
        // Kept ones have been renamed away; a left-over one does no harm, and there is nobody to tell.
        let _left_over = fs::remove_dir_all(&self.folder);
    }
}

fn copy(from: &Path, to: &Path) -> Result<(), OwnVoiceError> {
    let io = |source| OwnVoiceError::Io {
        path: to.to_owned(),
        source,
    };
    fs::create_dir_all(to).map_err(io)?;
    for entry in fs::read_dir(from).map_err(io)? {
        let entry = entry.map_err(io)?;
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target)?;
        } else {
            fs::copy(entry.path(), &target).map_err(io)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_person_by_any_capitals_and_spaces() {
        assert_eq!(folder_name("Ada  Miller "), folder_name("ada miller"));
        assert_ne!(folder_name("Ada Miller"), folder_name("Ada Millar"));
    }

    #[test]
    fn better_is_more_right_and_no_more_wrong() {
        let of = |right, asked, wrong| Checked {
            right,
            asked,
            wrong,
        };
        assert!(of(9, 3, 0).is_better_than(&of(8, 4, 0)));
        assert!(!of(8, 4, 0).is_better_than(&of(8, 4, 0)));
        assert!(!of(11, 0, 1).is_better_than(&of(8, 4, 0)));
    }

    #[test]
    fn an_ear_of_another_version_is_not_used_and_says_how_to_make_it_again() {
        let folder = tempfile::tempdir().expect("a folder");
        let about = About {
            by: "Ada".to_owned(),
            model: "old".to_owned(),
            made_utc_ms: 0,
            learnt_from: 40,
            before: Checked::default(),
            after: Checked::default(),
        };
        fs::write(
            folder.path().join("about.toml"),
            toml::to_string(&about).expect("it is plain"),
        )
        .expect("written");
        assert!(find_in(folder.path(), "old").expect("it fits").is_some());
        let told = find_in(folder.path(), "new").expect_err("another version");
        assert!(told.to_string().contains("--recordings"), "{told}");
        fs::write(folder.path().join("about.toml"), "by = 3").expect("written");
        assert!(matches!(
            find_in(folder.path(), "old"),
            Err(OwnVoiceError::Form { .. })
        ));
    }
}

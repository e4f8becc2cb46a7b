//! Where each person's own ear is kept: a folder in the user's data with `about.toml`, which names the
//! folder beside it in which the two models are, with the clips that they learnt from.
//!
//! Only `sayback enrol` changes it: a new ear is written whole into a folder of its own, and is in use
//! once a new `about.toml` was renamed into the place of the old one. Cut off anywhere before that,
//! the old ear is still there, and still in use.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::ear::{ModelChoice, ModelFolder, built_in_hash, cache_folder};
use super::runs::{RunsError, data_folder};
use crate::core::record::same_name;
use crate::enrolment::Clip;

/// What is known of an ear, and which one is in use.
const ABOUT: &str = "about.toml";
/// The clips that it learnt from and was tried on, as `enrol --recordings` reads them.
const CLIPS: &str = "clips.tsv";

/// What is known of a person's own ear.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct About {
    /// Whose voice.
    pub by: String,
    /// Which built-in models it was made from: [`built_in_hash`].
    pub model: String,
    /// Name of the folder that it is in.
    pub folder: String,
    /// What its weights are: [`ModelFolder::weights_hash`].
    pub weights: String,
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
    /// Its files are not those that were kept.
    #[error("the ear of {0} is damaged ({2}), and is not used. Make it again from its own clips: sayback enrol --by \"{0}\" --recordings \"{path}\"", path = .1.display())]
    Damaged(String, PathBuf, String),
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
    blake3::hash(same_name(by).as_bytes()).to_hex()[..16].to_owned()
}

/// A person's own ear as it is kept.
#[derive(Debug)]
pub struct OwnEar {
    /// The folder of its models.
    pub models: PathBuf,
    /// What is known of it.
    pub about: About,
}

/// A person's own ear, if there is one that fits this version's models and is whole.
///
/// # Errors
/// If there is one that cannot be used, and why.
pub fn find(by: &str) -> Result<Option<OwnEar>, OwnVoiceError> {
    find_in(&folder(by)?, built_in_hash(), &cache_folder())
}

fn find_in(folder: &Path, model: &str, cache: &Path) -> Result<Option<OwnEar>, OwnVoiceError> {
    let path = folder.join(ABOUT);
    let text = match fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(source) => return Err(OwnVoiceError::Io { path, source }),
    };
    let about: About = toml::from_str(&text).map_err(|fault| OwnVoiceError::Form {
        path,
        fault: fault.message().to_owned(),
    })?;
    let models = folder.join(&about.folder);
    if about.model != model {
        return Err(OwnVoiceError::OtherVersion(about.by, models.join(CLIPS)));
    }
    let weights = ModelFolder::open(&ModelChoice::Folder(models.clone()), cache)
        .and_then(|models| ModelFolder::weights_hash(&models));
    let fault = match weights {
        Ok(weights) if weights == about.weights => return Ok(Some(OwnEar { models, about })),
        Ok(_) => "its weights are not those that were kept".to_owned(),
        Err(fault) => fault.to_string(),
    };
    Err(OwnVoiceError::Damaged(about.by, models.join(CLIPS), fault))
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
    target: PathBuf,
    folder: PathBuf,
}

impl Draft {
    /// Copies the models of `base` into a folder inside `target`, with these networks in place of theirs.
    ///
    /// # Errors
    /// If they cannot be written; then nothing is left.
    pub fn new(
        target: &Path,
        base: &[ModelFolder],
        networks: &[Vec<u8>],
    ) -> Result<Self, OwnVoiceError> {
        let draft = Self {
            target: target.to_owned(),
            folder: target.join(format!("part-{}", std::process::id())),
        };
        for ((model, network), name) in base.iter().zip(networks).zip(["one", "two"]) {
            let to = draft.folder.join(name);
            Self::copy(model.folder(), &to)?;
            Self::write(&to.join("am/final.mdl"), network)?;
        }
        Ok(draft)
    }

    /// The folder, for listening with it.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Adds what it learnt from, and puts it in use in the place of what was. `about` gives what is
    /// known of it; in which folder it is, is written into it here.
    ///
    /// # Errors
    /// If it cannot be written; then what was there is still there, and in use.
    pub fn keep(self, mut about: About, clips: &[(Clip, bool)]) -> Result<About, OwnVoiceError> {
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
        Self::write(&self.folder.join(CLIPS), list.as_bytes())?;
        about.folder = format!("made-{}-{}", about.made_utc_ms, std::process::id());
        let text = toml::to_string(&about).map_err(|fault| OwnVoiceError::Form {
            path: self.target.clone(),
            fault: fault.to_string(),
        })?;
        let fresh = self.target.join(format!("{ABOUT}.part"));
        Self::write(&fresh, text.as_bytes())?;
        let io = |source| OwnVoiceError::Io {
            path: self.target.clone(),
            source,
        };
        let folder = self.target.join(&about.folder);
        fs::rename(&self.folder, &folder).map_err(io)?;
        if let Err(fault) = fs::rename(&fresh, self.target.join(ABOUT)) {
            // Not in use; nobody is to find it there.
            let _left_over = fs::remove_dir_all(&folder);
            return Err(io(fault));
        }
        fs::File::open(&self.target)
            .and_then(|target| target.sync_all())
            .map_err(io)?;
        // What was in use before, and what was cut off once. If some of it stays, it does no harm.
        for entry in fs::read_dir(&self.target).into_iter().flatten().flatten() {
            let name = entry.file_name();
            if name != *about.folder && name != *ABOUT {
                let _left_over = fs::remove_dir_all(entry.path());
            }
        }
        Ok(about)
    }

    fn copy(from: &Path, to: &Path) -> Result<(), OwnVoiceError> {
        let io = |source| OwnVoiceError::Io {
            path: from.to_owned(),
            source,
        };
        for entry in fs::read_dir(from).map_err(io)? {
            let entry = entry.map_err(io)?;
            let target = to.join(entry.file_name());
            if entry.path().is_dir() {
                Self::copy(&entry.path(), &target)?;
            } else {
                Self::write(&target, &fs::read(entry.path()).map_err(io)?)?;
            }
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
        let _left_over = fs::remove_file(self.target.join(format!("{ABOUT}.part")));
        // Refused by the system, and rightly, where there is anything in it.
        let _in_use = fs::remove_dir(&self.target);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_person_by_any_capitals_and_spaces() {
        assert_eq!(folder_name("Ada  Miller "), folder_name("ada miller"));
        assert_ne!(folder_name("Ada Miller"), folder_name("Ada Millar"));
        // What cannot be in the name of a file still tells people apart, and leads nowhere else.
        let names = ["a/b", "a\\b", "ab", "..", "a:b", "a\0b", "\u{E9}", "e"];
        let folders: std::collections::BTreeSet<String> =
            names.iter().map(|name| folder_name(name)).collect();
        assert_eq!(folders.len(), names.len());
        assert!(
            folders
                .iter()
                .all(|name| name.len() == 16 && name.chars().all(|sign| sign.is_ascii_hexdigit()))
        );
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

    fn about(by: &str, model: &str) -> About {
        About {
            by: by.to_owned(),
            model: model.to_owned(),
            folder: String::new(),
            weights: String::new(),
            made_utc_ms: 0,
            learnt_from: 40,
            before: Checked::default(),
            after: Checked::default(),
        }
    }

    /// Keeps the common models, with `network` in the place of both networks.
    fn keep(target: &Path, cache: &Path, network: &[u8], made_utc_ms: i64) -> About {
        let base = ModelFolder::open(&ModelChoice::BuiltIn, cache).expect("it is built in");
        let networks = [network.to_vec(), network.to_vec()];
        let draft = Draft::new(target, &base, &networks).expect("there is room");
        let clip = Clip {
            samples: vec![1.0; 1600],
            words: vec!["yes".to_owned()],
        };
        let about = About {
            weights: super::super::ear::weights_hash(&networks),
            made_utc_ms,
            ..about("Ada", "now")
        };
        draft.keep(about, &[(clip, false)]).expect("there is room")
    }

    #[test]
    fn an_ear_of_another_version_or_a_damaged_one_is_not_used_and_says_how_to_make_it_again() {
        let (home, cache) = (
            tempfile::tempdir().expect("a folder"),
            tempfile::tempdir().expect("a folder"),
        );
        let target = home.path().join("voices/ada");
        let find = |model: &str| find_in(&target, model, cache.path());
        assert!(find("now").expect("there is none").is_none());
        let kept = keep(&target, cache.path(), b"weights", 1);
        let found = find("now").expect("it fits").expect("it is there");
        assert_eq!(found.about, kept);
        let told = find("new").expect_err("another version").to_string();
        assert!(told.contains("another version"), "{told}");
        // The list of clips that it names is there, as `--recordings` reads it.
        let list = told.rsplit('"').nth(1).expect("a path").to_owned();
        assert!(
            fs::read_to_string(&list)
                .expect("a list")
                .contains("\tyes\tlearn")
        );
        let network = found.models.join("two/am/final.mdl");
        fs::write(&network, b"weighty").expect("written");
        let told = find("now").expect_err("damaged").to_string();
        assert!(told.contains("damaged") && told.contains(&list), "{told}");
        fs::remove_file(&network).expect("removed");
        let told = find("now").expect_err("damaged").to_string();
        assert!(
            told.contains("am/final.mdl") && told.contains(&list),
            "{told}"
        );
        fs::write(target.join(ABOUT), "by = 3").expect("written");
        assert!(matches!(find("now"), Err(OwnVoiceError::Form { .. })));
    }

    #[test]
    fn what_cannot_be_written_is_told_and_the_old_ear_stays_in_use() {
        let (home, cache) = (
            tempfile::tempdir().expect("a folder"),
            tempfile::tempdir().expect("a folder"),
        );
        let target = home.path().join("voices/ada");
        let old = keep(&target, cache.path(), b"old", 1);
        let in_use = || {
            let found = find_in(&target, "now", cache.path()).expect("whole");
            found.expect("there").about
        };
        let base = ModelFolder::open(&ModelChoice::BuiltIn, cache.path()).expect("built in");
        let networks = [b"new".to_vec(), b"new".to_vec()];
        // A file where the folder of the models should be.
        let part = target.join(format!("part-{}", std::process::id()));
        fs::write(&part, "").expect("written");
        let told = Draft::new(&target, &base, &networks).err().expect("no way");
        assert!(told.to_string().contains("Check the folder's"), "{told}");
        assert_eq!(in_use(), old);
        fs::remove_file(&part).expect("removed");
        // A folder where the description should be.
        fs::create_dir(target.join("about.toml.part")).expect("made");
        let draft = Draft::new(&target, &base, &networks).expect("there is room");
        let fresh = About {
            made_utc_ms: 2,
            ..old.clone()
        };
        let told = draft.keep(fresh, &[]).expect_err("no way");
        assert!(told.to_string().contains("about.toml.part"), "{told}");
        assert_eq!(in_use(), old);
        assert!(!part.exists(), "what was begun is gone");
    }

    /// Each moment at which keeping a second ear can be cut off leaves what a second program finds.
    #[test]
    fn cut_off_anywhere_the_old_ear_is_in_use_and_the_next_one_tidies_up() {
        let (home, cache) = (
            tempfile::tempdir().expect("a folder"),
            tempfile::tempdir().expect("a folder"),
        );
        let target = home.path().join("voices/ada");
        let old = keep(&target, cache.path(), b"old", 1);
        let in_use = || {
            find_in(&target, "now", cache.path())
                .expect("whole")
                .expect("there")
                .about
        };
        // While it was being written; while it was written and not named yet; while it was being named.
        fs::create_dir_all(target.join("part-1/one/am")).expect("made");
        assert_eq!(in_use(), old);
        fs::create_dir_all(target.join("made-2-1/one/am")).expect("made");
        fs::write(target.join("about.toml.part"), "by = \"Ad").expect("written");
        assert_eq!(in_use(), old);
        // One that is given up leaves the old one alone.
        let base = ModelFolder::open(&ModelChoice::BuiltIn, cache.path()).expect("built in");
        drop(Draft::new(&target, &base, &[b"x".to_vec(), b"y".to_vec()]).expect("there is room"));
        assert_eq!(in_use(), old);
        let new = keep(&target, cache.path(), b"new", 2);
        assert_eq!(in_use(), new);
        assert_ne!(new.weights, old.weights);
        let mut left: Vec<String> = fs::read_dir(&target)
            .expect("there")
            .flatten()
            .map(|entry| entry.file_name().to_string_lossy().into_owned())
            .collect();
        left.sort();
        assert_eq!(left, ["about.toml", new.folder.as_str()]);
        // Given up where there was none, nothing is left at all.
        let other = home.path().join("voices/bo");
        drop(Draft::new(&other, &base, &[b"x".to_vec(), b"y".to_vec()]).expect("there is room"));
        assert!(!other.exists());
    }
}

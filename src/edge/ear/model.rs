//! The voice model: a folder that libvosk reads, and the words it has sounds for.
//!
//! State: files. The model that is built into the program is written once to a
//! cache folder named by its hash; nothing else ever changes that folder. For
//! each grammar a folder of links is made, read by libvosk, and removed again.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, PoisonError};

use super::EarError;
use super::decoding::Lexicon;
use super::grammar::GARBAGE;
pub use super::model_hash::of_networks as weights_hash;
use super::model_hash::{self, NETWORK};
use crate::spoken::{EarWords, can_be_heard, pronunciations};

/// Which voice model the ear uses.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum ModelChoice {
    /// The two English models that are built into the program.
    #[default]
    BuiltIn,
    /// A folder in libvosk's form, with a look-ahead graph (`graph/HCLr.fst`) or
    /// with `lexicon.txt`; or one with two such folders in it, `one` and `two`.
    Folder(PathBuf),
}

// BUILT_IN: the built-in models, file by file: all that `model/english` holds; BUILT_IN_HASH and
// BUILT_IN_WEIGHTS: what `model_hash` makes of them. Written by `build.rs`.
include!(concat!(env!("OUT_DIR"), "/built_in_models.rs"));

/// Where a folder with two models has them.
const PAIR: [&str; 2] = ["one", "two"];

/// What libvosk needs and does not name when it is missing.
const NEEDED: [&str; 6] = [
    "am/final.mdl",
    "conf/mfcc.conf",
    "conf/model.conf",
    "graph/HCLr.fst",
    "graph/words.txt",
    "graph/disambig_tid.int",
];

/// The same for a model of our own form, which has no graph: [`Lexicon`].
const NEEDED_WITH_LEXICON: [&str; 6] = [
    "am/final.mdl",
    "conf/mfcc.conf",
    "conf/model.conf",
    LEXICON,
    "graph/phones.txt",
    "graph/phones/word_boundary.int",
];

/// How the words of a model of our own form are said.
const LEXICON: &str = "lexicon.txt";

/// A model folder that has been looked over.
#[derive(Debug)]
pub struct ModelFolder {
    folder: PathBuf,
    built_in: bool,
    cache: PathBuf,
    words: Words,
    /// What the words sound like, where the model leaves the decoding graph to us.
    lexicon: Option<Lexicon>,
}

impl ModelFolder {
    /// Finds (or unpacks) the model, or the two that listen together, and checks them.
    ///
    /// `cache` is where the built-in models are unpacked, and where the links for
    /// each grammar are made.
    ///
    /// # Errors
    /// [`EarError::ModelIncomplete`] names what a folder lacks,
    /// [`EarError::NoGarbageWord`] that the model cannot tell other sounds from
    /// words, [`EarError::Read`] and [`EarError::Write`] what cannot be read or
    /// written.
    pub fn open(choice: &ModelChoice, cache: &Path) -> Result<Vec<Self>, EarError> {
        let folder = match choice {
            ModelChoice::BuiltIn => unpack(cache)?,
            ModelChoice::Folder(folder) => folder.clone(),
        };
        let built_in = *choice == ModelChoice::BuiltIn;
        if PAIR.iter().all(|name| folder.join(name).is_dir()) {
            PAIR.iter()
                .map(|name| Self::open_one(folder.join(name), built_in, cache))
                .collect()
        } else {
            Ok(vec![Self::open_one(folder, built_in, cache)?])
        }
    }

    fn open_one(folder: PathBuf, built_in: bool, cache: &Path) -> Result<Self, EarError> {
        check(&folder)?;
        let read = |name: &str| {
            let path = folder.join(name);
            fs::read_to_string(&path).map_err(|fault| EarError::Read { path, fault })
        };
        let (words, lexicon) = if folder.join(LEXICON).exists() {
            let lexicon =
                Lexicon::parse(&read(LEXICON)?, &read("graph/phones.txt")?).map_err(|fault| {
                    EarError::BadLexicon {
                        folder: folder.clone(),
                        fault,
                    }
                })?;
            (Words::of(&lexicon), Some(lexicon))
        } else {
            let words = Words::parse(&read("graph/words.txt")?).ok_or_else(|| {
                EarError::ModelIncomplete {
                    folder: folder.clone(),
                    missing: "readable lines in graph/words.txt (each a word and its number)"
                        .to_owned(),
                }
            })?;
            (words, None)
        };
        if words.number(GARBAGE).is_none() {
            return Err(EarError::NoGarbageWord { folder });
        }
        fs::create_dir_all(cache).map_err(|fault| EarError::Write {
            path: cache.to_owned(),
            fault,
        })?;
        Ok(Self {
            folder: fs::canonicalize(&folder).map_err(|fault| EarError::Read {
                path: folder,
                fault,
            })?,
            built_in,
            cache: cache.to_owned(),
            words,
            lexicon,
        })
    }

    /// The words that the model has sounds for.
    #[must_use]
    pub fn words(&self) -> &Words {
        &self.words
    }

    /// Whether it can listen for a word: it has a sound for it, or leaves the graph to us, so that
    /// the dictionary's is taken.
    fn hears(&self, word: &str) -> bool {
        self.words.number(word).is_some()
            || self.lexicon.is_some() && pronunciations(word).next().is_some()
    }

    /// The folder itself.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// What tells these models' weights from others: [`weights_hash`].
    ///
    /// # Errors
    /// [`EarError::Read`].
    pub fn weights_hash(models: &[Self]) -> Result<String, EarError> {
        let networks = models.iter().map(|model| {
            let path = model.folder.join(NETWORK);
            fs::read(&path).map_err(|fault| EarError::Read { path, fault })
        });
        Ok(weights_hash(&networks.collect::<Result<Vec<_>, _>>()?))
    }

    /// What the words sound like; none for a model that has a graph of its own.
    pub(super) fn lexicon(&self) -> Option<&Lexicon> {
        self.lexicon.as_ref()
    }

    /// Makes a folder of links to this model, has the graphs of one grammar
    /// written into its folder `graph`, hands it to `load`, and removes it again.
    ///
    /// # Errors
    /// What `write_grammar` reports, or [`EarError::Write`].
    pub fn with_grammar<T>(
        &self,
        write_grammar: impl FnOnce(&Path) -> Result<(), EarError>,
        load: impl FnOnce(&Path) -> T,
    ) -> Result<T, EarError> {
        static SERIAL: AtomicU32 = AtomicU32::new(0);
        // Caches get cleaned, also in the middle of a job.
        if self.built_in && check(&self.folder).is_err() {
            unpack(&self.cache)?;
        }
        let serial = SERIAL.fetch_add(1, Ordering::Relaxed);
        let name = format!("grammar-{}-{serial}", std::process::id());
        let links = Temporary(self.cache.join(name));
        let made = |path: &Path, fault| EarError::Write {
            path: path.to_owned(),
            fault,
        };
        let graph = links.0.join("graph");
        fs::create_dir_all(&graph).map_err(|fault| made(&graph, fault))?;
        for (from, to, leave_out) in [
            (self.folder.clone(), links.0.clone(), &["graph"][..]),
            (self.folder.join("graph"), graph.clone(), self.written()),
        ] {
            let entries = fs::read_dir(&from).map_err(|fault| EarError::Read {
                path: from.clone(),
                fault,
            })?;
            for entry in entries.flatten() {
                if !leave_out.iter().any(|name| entry.file_name() == *name) {
                    let link = to.join(entry.file_name());
                    link_to(&entry.path(), &link).map_err(|fault| made(&link, fault))?;
                }
            }
        }
        write_grammar(&graph)?;
        Ok(load(&links.0))
    }

    /// The files of `graph` that belong to one grammar.
    fn written(&self) -> &'static [&'static str] {
        if self.lexicon.is_some() {
            &["HCLG.fst", "words.txt"]
        } else {
            &["Gr.fst"]
        }
    }
}

/// Which words the models can listen for: what each of them has of its own, and by default the
/// vocabulary and the dictionary ([`lacking`] says which of those a model with a graph of its own
/// does not have).
///
/// # Errors
/// What [`ModelFolder::open`] reports.
pub fn ear_words(choice: &ModelChoice, cache: &Path) -> Result<EarWords, EarError> {
    if *choice == ModelChoice::BuiltIn {
        return Ok(EarWords::default());
    }
    let folders = ModelFolder::open(choice, cache)?;
    let mut own: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for folder in &folders {
        for word in folder.words.all() {
            own.entry(word.to_owned()).or_default();
        }
        for (word, ways) in folder.lexicon.iter().flat_map(Lexicon::said) {
            own.entry(word.to_owned()).or_default().extend(ways);
        }
    }
    own.retain(|word, _| folders.iter().all(|folder| folder.hears(word)));
    Ok(EarWords::of_model(own))
}

/// Those of these words that one of the models cannot listen for, in alphabetical order.
///
/// # Errors
/// What [`ModelFolder::open`] reports.
pub fn lacking(
    choice: &ModelChoice,
    cache: &Path,
    words: &BTreeSet<String>,
) -> Result<Vec<String>, EarError> {
    // The built-in ears have the vocabulary: a test holds the two together.
    let lacks: Box<dyn Fn(&str) -> bool> = if *choice == ModelChoice::BuiltIn {
        Box::new(|word| !can_be_heard(word))
    } else {
        let folders = ModelFolder::open(choice, cache)?;
        Box::new(move |word| !folders.iter().all(|folder| folder.hears(word)))
    };
    Ok(words.iter().filter(|word| lacks(word)).cloned().collect())
}

/// A folder that is removed when it is no longer needed.
struct Temporary(PathBuf);

impl Drop for Temporary {
    fn drop(&mut self) {
        // Left-over links do no harm; there is nobody to tell.
        let _left_over = fs::remove_dir_all(&self.0);
    }
}

/// The number of each word in the model's graphs.
#[derive(Debug, Clone)]
pub struct Words {
    numbers: HashMap<String, u32>,
}

impl Words {
    /// Reads `words.txt`: a word and its number on each line. `None` when a line
    /// is not of that form.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let numbers = text
            .lines()
            .filter(|line| !line.trim().is_empty())
            .map(|line| {
                let (word, number) = line.trim().rsplit_once(char::is_whitespace)?;
                Some((word.trim().to_owned(), number.parse().ok()?))
            })
            .collect::<Option<HashMap<_, _>>>()?;
        Some(Self { numbers })
    }

    /// The words of a lexicon in its order, and [`GARBAGE`].
    pub(super) fn of(lexicon: &Lexicon) -> Self {
        let words = lexicon.words().chain([GARBAGE]);
        Self {
            numbers: words.map(str::to_owned).zip(1..).collect(),
        }
    }

    /// The words as `words.txt` has them.
    pub(super) fn text(&self) -> String {
        let mut all: Vec<(u32, &str)> = self
            .numbers
            .iter()
            .map(|(word, number)| (*number, word.as_str()))
            .collect();
        all.sort_unstable();
        let mut text = "<eps> 0\n".to_owned();
        for (number, word) in all {
            text.push_str(word);
            text.push(' ');
            text.push_str(&number.to_string());
            text.push('\n');
        }
        text
    }

    /// The number of a word, if the model has it. Marks such as `<eps>` and
    /// `#0` are not words.
    #[must_use]
    pub fn number(&self, word: &str) -> Option<u32> {
        if word.is_empty() || word.starts_with(['<', '#']) {
            return None;
        }
        self.numbers.get(word).copied().filter(|&number| number > 0)
    }

    /// Every word, without the marks and without [`GARBAGE`], in alphabetical order.
    #[must_use]
    pub fn all(&self) -> Vec<&str> {
        let mut all: Vec<&str> = self
            .numbers
            .keys()
            .map(String::as_str)
            .filter(|word| *word != GARBAGE && self.number(word).is_some())
            .collect();
        all.sort_unstable();
        all
    }

    /// The number of [`GARBAGE`].
    pub(super) fn garbage(&self) -> u32 {
        self.number(GARBAGE)
            .expect("ModelFolder::open refuses a model without it")
    }
}

/// Where the built-in model is unpacked when nothing else is said: the user's
/// cache folder, or the system's folder for temporary files when there is none.
#[must_use]
pub fn cache_folder() -> PathBuf {
    use etcetera::BaseStrategy as _;
    etcetera::choose_base_strategy()
        .map_or_else(|_no_home| std::env::temp_dir(), |base| base.cache_dir())
        .join("sayback")
}

fn check(folder: &Path) -> Result<(), EarError> {
    let needed = if folder.join(LEXICON).exists() {
        &NEEDED_WITH_LEXICON[..]
    } else {
        &NEEDED[..]
    };
    let mut missing: Vec<&str> = needed
        .iter()
        .copied()
        .filter(|name| fs::metadata(folder.join(name)).map_or(true, |file| file.len() == 0))
        .collect();
    if !folder.is_dir() {
        missing = vec!["the folder itself"];
    } else if missing.contains(&"graph/HCLr.fst") && folder.join("graph/HCLG.fst").exists() {
        missing = vec!["graph/HCLr.fst (it has one fixed graph, which takes no grammars)"];
    }
    if missing.is_empty() {
        return Ok(());
    }
    Err(EarError::ModelIncomplete {
        folder: folder.to_owned(),
        missing: missing.join(", "),
    })
}

/// Held while the built-in model is written: the folder beside it is named by the process, and two
/// threads of one would write into the same.
static UNPACKING: Mutex<()> = Mutex::new(());

/// Writes the built-in model to a folder named by its hash, unless it is there.
fn unpack(cache: &Path) -> Result<PathBuf, EarError> {
    let _alone = UNPACKING.lock().unwrap_or_else(PoisonError::into_inner);
    let folder = cache.join(format!("english-{}", built_in_hash()));
    if whole(&folder) {
        return Ok(folder);
    }
    // Written beside and renamed, so that a folder with the right name is whole
    // even if the power goes or two programs start at once.
    let beside = Temporary(cache.join(format!("english-{}.part", std::process::id())));
    for (name, bytes) in BUILT_IN {
        let path = beside.0.join(name);
        let parent = path.parent().unwrap_or(&beside.0);
        fs::create_dir_all(parent)
            .and_then(|()| fs::write(&path, bytes))
            .map_err(|fault| EarError::Write { path, fault })?;
    }
    if folder.exists() {
        fs::remove_dir_all(&folder).map_err(|fault| EarError::Write {
            path: folder.clone(),
            fault,
        })?;
    }
    match fs::rename(&beside.0, &folder) {
        Ok(()) => Ok(folder),
        // Another program was quicker.
        Err(_) if whole(&folder) => Ok(folder),
        Err(fault) => Err(EarError::Write {
            path: folder,
            fault,
        }),
    }
}

/// Whether every file is there with the bytes that the program carries. Told by their hash: what is
/// built in is not read, and takes no memory.
fn whole(folder: &Path) -> bool {
    let found = BUILT_IN
        .iter()
        .map(|(name, _)| Some((*name, fs::read(folder.join(name)).ok()?)))
        .collect::<Option<Vec<_>>>();
    found.is_some_and(|files| {
        let files = files.iter().map(|(name, bytes)| (*name, bytes.as_slice()));
        model_hash::of_models(files) == BUILT_IN_HASH
    })
}

/// What tells the built-in models of one version of Sayback from those of another
/// ([`model_hash::of_models`]).
#[must_use]
pub fn built_in_hash() -> &'static str {
    BUILT_IN_HASH
}

/// [`weights_hash`] of the built-in models.
#[must_use]
pub fn built_in_weights() -> &'static str {
    BUILT_IN_WEIGHTS
}

#[cfg(unix)]
fn link_to(target: &Path, link: &Path) -> io::Result<()> {
    std::os::unix::fs::symlink(target, link)
}

#[cfg(not(unix))]
fn link_to(target: &Path, link: &Path) -> io::Result<()> {
    if target.is_dir() {
        fs::create_dir_all(link)?;
        for entry in fs::read_dir(target)?.flatten() {
            link_to(&entry.path(), &link.join(entry.file_name()))?;
        }
        return Ok(());
    }
    fs::hard_link(target, link).or_else(|_| fs::copy(target, link).map(drop))
}

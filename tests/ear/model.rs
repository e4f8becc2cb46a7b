//! The model folder: unpacked whole, and its faults named.

use std::fs;
use std::path::Path;

use sayback::edge::ear::{Ear, EarError, ModelChoice, ModelFolder};

use super::phrases;

/// A copy of a model with a look-ahead graph, in a folder of its own.
fn copy_of_model(into: &Path) {
    copy(
        "tests/ear/look-ahead-model",
        into,
        &[
            "am/final.mdl",
            "am/global_cmvn.stats",
            "conf/mfcc.conf",
            "conf/model.conf",
            "graph/HCLr.fst",
            "graph/words.txt",
            "graph/disambig_tid.int",
            "graph/phones/word_boundary.int",
        ],
    );
}

/// A copy of a model of our own form.
fn copy_of_own(into: &Path) {
    copy(
        "model/english/one",
        into,
        &[
            "am/final.mdl",
            "am/global_cmvn.stats",
            "conf/mfcc.conf",
            "conf/model.conf",
            "graph/phones.txt",
            "graph/phones/word_boundary.int",
            "lexicon.txt",
        ],
    );
}

fn copy(from: &str, into: &Path, names: &[&str]) {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join(from);
    for name in names {
        let to = into.join(name);
        fs::create_dir_all(to.parent().expect("a parent")).expect("made");
        fs::copy(from.join(name), to).expect("copied");
    }
}

fn open(folder: &Path) -> Result<Ear, EarError> {
    let cache = folder.join("cache");
    Ear::open_in(&ModelChoice::Folder(folder.to_owned()), &cache)
}

#[test]
fn a_model_of_our_own_form_needs_no_graph_and_takes_new_words() {
    let folder = tempfile::tempdir().expect("a folder");
    copy_of_own(folder.path());
    let lexicon = folder.path().join("lexicon.txt");
    let mut text = fs::read_to_string(&lexicon).expect("read");
    assert!(!text.contains("gland"));
    text.push_str("gland G L AE N D\n");
    fs::write(&lexicon, text).expect("written");
    let mut ear = open(folder.path()).expect("opens");
    assert_eq!(ear.models(), 1);
    assert!(ear.listen(&phrases(&["gland", "no"]), 16_000).is_ok());
    fs::write(&lexicon, "gland G L AE N DD\n").expect("written");
    let fault = open(folder.path()).err().expect("refused").to_string();
    assert!(
        fault.contains("lexicon.txt, line 1: DD is not in phones.txt"),
        "{fault}"
    );
}

#[test]
fn a_folder_with_two_models_has_two_ears() {
    let folder = tempfile::tempdir().expect("a folder");
    copy_of_own(&folder.path().join("one"));
    copy_of_own(&folder.path().join("two"));
    let mut ear = open(folder.path()).expect("opens");
    assert_eq!(ear.models(), 2);
    assert!(ear.listen(&phrases(&["yes", "no"]), 16_000).is_ok());
    fs::remove_file(folder.path().join("two/lexicon.txt")).expect("removed");
    let fault = open(folder.path()).err().expect("refused").to_string();
    assert!(fault.contains("two: missing or empty: "), "{fault}");
}

#[test]
fn a_folder_of_ones_own_is_used() {
    let folder = tempfile::tempdir().expect("a folder");
    copy_of_model(folder.path());
    let mut ear = open(folder.path()).expect("opens");
    assert!(ear.listen(&phrases(&["yes", "no"]), 16_000).is_ok());
    // The links for the grammar are gone again.
    assert_eq!(
        fs::read_dir(folder.path().join("cache"))
            .expect("there")
            .count(),
        0
    );
}

#[test]
fn what_is_missing_is_named() {
    for name in [
        "am/final.mdl",
        "conf/model.conf",
        "graph/HCLr.fst",
        "graph/disambig_tid.int",
    ] {
        let folder = tempfile::tempdir().expect("a folder");
        copy_of_model(folder.path());
        fs::remove_file(folder.path().join(name)).expect("removed");
        let fault = open(folder.path()).err().expect("refused").to_string();
        assert!(
            fault.contains(&format!("missing or empty: {name}.")),
            "{fault}"
        );
    }
}

#[test]
fn an_empty_file_counts_as_missing() {
    let folder = tempfile::tempdir().expect("a folder");
    copy_of_model(folder.path());
    fs::write(folder.path().join("am/final.mdl"), b"").expect("emptied");
    let fault = open(folder.path()).err().expect("refused").to_string();
    assert!(fault.contains("am/final.mdl"), "{fault}");
}

#[test]
fn a_folder_that_is_not_there_is_named() {
    let fault = open(Path::new("/nowhere/at/all")).err().expect("refused");
    assert_eq!(
        fault.to_string(),
        "voice model /nowhere/at/all: missing or empty: the folder itself. Give a complete model folder, or leave the option out to use the built-in one."
    );
}

#[test]
fn a_model_with_one_fixed_graph_is_refused_with_the_reason() {
    let folder = tempfile::tempdir().expect("a folder");
    copy_of_model(folder.path());
    let graph = folder.path().join("graph");
    fs::rename(graph.join("HCLr.fst"), graph.join("HCLG.fst")).expect("renamed");
    let fault = open(folder.path()).err().expect("refused").to_string();
    assert!(fault.contains("takes no grammars"), "{fault}");
}

#[test]
fn a_model_without_a_word_for_other_sounds_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    copy_of_model(folder.path());
    let words = folder.path().join("graph/words.txt");
    let text = fs::read_to_string(&words).expect("read");
    fs::write(&words, text.replace("[unk]", "[other]")).expect("written");
    assert!(matches!(
        open(folder.path()).err(),
        Some(EarError::NoGarbageWord { .. })
    ));
}

#[test]
fn a_damaged_word_list_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    copy_of_model(folder.path());
    fs::write(folder.path().join("graph/words.txt"), "yes 1\nno\n").expect("written");
    let fault = open(folder.path()).err().expect("refused").to_string();
    assert!(fault.contains("words.txt"), "{fault}");
}

#[test]
fn a_cache_that_is_cleaned_in_the_middle_of_a_job_is_filled_again() {
    let cache = tempfile::tempdir().expect("a folder");
    let mut ear = Ear::open_in(&ModelChoice::BuiltIn, cache.path()).expect("opens");
    assert!(ear.listen(&phrases(&["yes"]), 16_000).is_ok());
    for entry in fs::read_dir(cache.path()).expect("there").flatten() {
        fs::remove_dir_all(entry.path()).expect("cleaned");
    }
    assert!(ear.listen(&phrases(&["no"]), 16_000).is_ok());
}

#[test]
fn the_built_in_model_is_unpacked_once_and_mended_when_damaged() {
    let cache = tempfile::tempdir().expect("a folder");
    let open = || {
        let models = ModelFolder::open(&ModelChoice::BuiltIn, cache.path()).expect("opens");
        assert_eq!(models.len(), 2);
        models[0]
            .folder()
            .parent()
            .expect("both are in one folder")
            .to_owned()
    };
    let folder = open();
    let name = folder
        .file_name()
        .expect("a name")
        .to_string_lossy()
        .into_owned();
    assert!(
        name.starts_with("english-") && name.len() == "english-".len() + 16,
        "{name}"
    );
    let words = folder.join("two/lexicon.txt");
    let modified = || {
        fs::metadata(&words)
            .expect("there")
            .modified()
            .expect("a time")
    };
    let first = modified();
    assert_eq!(open(), folder);
    assert_eq!(modified(), first, "written again although it was whole");
    fs::write(&words, "yes Y EH S\n").expect("damaged");
    open();
    assert_ne!(fs::read_to_string(&words).expect("read"), "yes Y EH S\n");
    assert_eq!(fs::read_dir(cache.path()).expect("there").count(), 1);
}

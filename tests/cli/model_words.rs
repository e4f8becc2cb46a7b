//! The words of a job against the voice model that is to listen for them.

use std::path::Path;

use super::{only_run, root, sayback, text};

/// A job of one question, with this phrase among its answers.
fn job(folder: &Path, phrase: &str) -> std::path::PathBuf {
    let path = folder.join("seal.toml");
    let text = format!(
        "format = 1\nid = \"seal\"\ntitle = \"Seal\"\npurpose = \"For tests.\"\napplies-to = \"Actuators of tests.\"\n\n\
         [[step]]\nid = \"seal\"\ntitle = \"Seal\"\nask = \"Which seal is in?\"\nstage = \"as-found\"\nkind = \"choice\"\n\
         options = [\n  {{ id = \"first\", title = \"First\", say = [\"{phrase}\"] }},\n  {{ id = \"none\", title = \"None\", say = [\"nothing there\"] }},\n]\n"
    );
    std::fs::write(&path, text).unwrap();
    path
}

/// A copy of one of the built-in models with more lines in its lexicon.
fn model(folder: &Path, name: &str, lexicon: &str) {
    let from = root().join("model/english/one");
    for file in [
        "am/final.mdl",
        "am/global_cmvn.stats",
        "conf/mfcc.conf",
        "conf/model.conf",
        "graph/phones.txt",
        "graph/phones/word_boundary.int",
        "lexicon.txt",
    ] {
        let to = folder.join(name).join(file);
        std::fs::create_dir_all(to.parent().unwrap()).unwrap();
        std::fs::copy(from.join(file), to).unwrap();
    }
    let path = folder.join(name).join("lexicon.txt");
    let words = std::fs::read_to_string(&path).unwrap() + lexicon;
    std::fs::write(path, words).unwrap();
}

fn check(job: &Path, model: Option<&Path>) -> (Option<i32>, String) {
    let mut command = sayback();
    command.arg("check-job").arg(job);
    if let Some(folder) = model {
        command.arg("--model").arg(folder);
    }
    let output = command.output().unwrap();
    (output.status.code(), text(&output))
}

#[test]
fn a_word_that_only_the_models_lexicon_has_stands_in_a_job() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path(), "gromlet torn");
    let (code, told) = check(&job, None);
    assert_eq!(code, Some(2), "{told}");
    assert!(
        told.contains("does not know the word \"gromlet\""),
        "{told}"
    );
    let own = folder.path().join("own");
    model(&own, "", "gromlet G R AA M L AH T\n");
    assert_eq!(check(&job, Some(&own)).0, Some(0));
    // It is begun with that model, and its record is made by any program, without the model.
    let runs = folder.path().join("runs");
    let output = sayback()
        .args(["run", "--keypad", "--plain", "--model"])
        .args([&own, &job, Path::new("--runs"), &runs])
        .write_stdin("1\n")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    let output = sayback()
        .arg("record")
        .arg(only_run(&runs))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
}

#[test]
fn of_two_models_both_must_have_the_word_and_its_sound_must_be_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path(), "gromlet torn");
    let pair = folder.path().join("pair");
    model(&pair, "one", "gromlet G R AA M L AH T\n");
    model(&pair, "two", "");
    let (code, told) = check(&job, Some(&pair));
    assert_eq!(code, Some(2), "{told}");
    assert!(
        told.contains("does not know the word \"gromlet\""),
        "{told}"
    );
    model(&pair, "two", "gromlet G R AA M L AH T\n");
    assert_eq!(check(&job, Some(&pair)).0, Some(0));
    model(&pair, "two", "gromlet N AY N\n");
    let (code, told) = check(&job, Some(&pair));
    assert_eq!(code, Some(2), "{told}");
    assert!(told.contains("\"gromlet\" sounds like \"nine\""), "{told}");
}

#[test]
fn a_model_that_lacks_a_word_of_the_job_is_refused_before_the_run_begins() {
    let folder = tempfile::tempdir().unwrap();
    let job = job(folder.path(), "gasket torn");
    let fixed = root().join("tests/ear/look-ahead-model");
    assert_eq!(check(&job, None).0, Some(0));
    let (code, told) = check(&job, Some(&fixed));
    assert_eq!(code, Some(2), "{told}");
    assert!(told.contains("no sound for: gasket, "), "{told}");
    let runs = folder.path().join("runs");
    let begin = |more: &[&str]| {
        sayback()
            .args(["run", "--plain", "--model"])
            .args([&fixed, &job, Path::new("--runs"), &runs])
            .args(more)
            .write_stdin("1\n")
            .output()
            .unwrap()
    };
    let clip = root().join("audio-fixtures/clips/yes.flac");
    let clip = ["--recording", clip.to_str().unwrap(), "--fast"];
    for with in [&clip[..], &[]] {
        let output = begin(with);
        assert_eq!(output.status.code(), Some(2), "{}", text(&output));
        assert!(
            text(&output).contains("no sound for: gasket, "),
            "{}",
            text(&output)
        );
        assert!(text(&output).contains("--keypad"), "{}", text(&output));
        assert!(!runs.exists(), "a run was begun");
    }
    let output = begin(&["--keypad"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    // Nor is it gone on with.
    let open = folder.path().join("open");
    let begun = sayback()
        .args(["run", "--plain", "--keypad"])
        .args([&job, Path::new("--runs"), &open])
        .write_stdin("")
        .output()
        .unwrap();
    assert_eq!(begun.status.code(), Some(1), "{}", text(&begun));
    let journal = only_run(&open).join("journal.txt");
    let before = std::fs::read(&journal).unwrap();
    let output = sayback()
        .args(["resume", "--plain"])
        .args([Path::new("--runs"), &open, Path::new("--model"), &fixed])
        .args(clip)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2), "{}", text(&output));
    assert_eq!(std::fs::read(&journal).unwrap(), before);
}

#[test]
fn a_misspelled_word_is_told_with_the_nearest_of_the_whole_dictionary() {
    let folder = tempfile::tempdir().unwrap();
    for (wrong, meant) in [
        ("gaskit", "gasket"),
        ("corodded", "corroded"),
        ("seezed", "seized"),
        ("negatife", "negative"),
    ] {
        let (code, told) = check(&job(folder.path(), wrong), None);
        assert_eq!(code, Some(2), "{told}");
        assert!(
            told.contains(&format!("did you mean \"{meant}\"?")),
            "{told}"
        );
    }
}

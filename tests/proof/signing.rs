//! A signed run, and everything that can be changed about it afterwards.

use std::fs;

use sayback::core::record::{Body, Record, Wall};
use sayback::journal::Journal;
use sayback::storage::FileStorage;

use super::{Run, text, tool};

/// What `verify` says, with what differs between runs taken out.
fn told(run: &Run) -> (Option<i32>, String) {
    let (code, text) = run.verify(&[]);
    let mut told = String::new();
    for word in text.split_inclusive([' ', '\n', ',', ';', '.']) {
        let bare = word.trim_end_matches([' ', '\n', ',', ';', '.']);
        let put = if bare.len() == 64 && bare.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            "HASH"
        } else if bare.starts_with("SHA256:") {
            "FINGERPRINT"
        } else if bare.len() == 20 && bare.ends_with('Z') && bare.starts_with("20") {
            "TIME"
        } else {
            bare
        };
        told += put;
        told += &word[bare.len()..];
    }
    (code, told.replace(&run.path().display().to_string(), "RUN"))
}

#[test]
fn who_when_and_that_nothing_was_changed() {
    let run = Run::signed();
    let (code, told) = told(&run);
    assert_eq!(code, Some(0), "{told}");
    insta::assert_snapshot!(told);
}

#[test]
fn a_run_that_nobody_signed_is_said_to_be_that() {
    let (code, told) = Run::new().verify(&[]);
    assert_eq!(code, Some(0));
    assert!(told.contains("Nobody has signed it.") && told.contains("it is no signature"));
}

#[test]
fn each_change_is_said_in_words() {
    type Change = (&'static str, fn(&Run), &'static str);
    let changes: [Change; 9] = [
        (
            "a reading in the journal",
            |run| replace(run, "journal.txt", "\"506.5\"", "\"505.5\""),
            "journal.txt is not the one that was signed: records were changed or removed",
        ),
        (
            "records added",
            |run| append(run),
            "journal.txt: 1 records were added after the 57 that were signed; those are as they were",
        ),
        (
            "the last record cut off",
            |run| {
                let path = run.file("journal.txt");
                let kept = fs::read_to_string(&path).unwrap();
                let cut = kept.trim_end().rfind('\n').unwrap();
                fs::write(path, &kept[..=cut]).unwrap();
            },
            "journal.txt is not the one that was signed",
        ),
        (
            "the job file",
            |run| replace(run, "job.toml", "format = 1", "format = 1 "),
            "job.toml was changed after it was signed",
        ),
        (
            "a clip",
            |run| replace(run, "clips/506-5.wav", "RIFF", "RIFX"),
            "clips/506-5.wav was changed after it was signed",
        ),
        (
            "a clip taken away",
            |run| fs::remove_file(run.file("clips/506-5.wav")).unwrap(),
            "clips/506-5.wav was signed and is not there now; put it back",
        ),
        (
            "a clip added",
            |run| fs::write(run.file("clips/new.wav"), "RIFF").unwrap(),
            "clips/new.wav was added after it was signed",
        ),
        (
            "the statement",
            |run| {
                replace(
                    run,
                    "signatures/001.txt",
                    "closed, complete",
                    "closed, complete!",
                );
            },
            "NOT GOOD: the signature does not fit the statement",
        ),
        (
            "the signature",
            |run| fs::remove_file(run.file("signatures/001.txt.sig")).unwrap(),
            "NOT GOOD:",
        ),
    ];
    for (name, change, words) in changes {
        let run = Run::signed();
        change(&run);
        let (code, told) = run.verify(&[]);
        assert_eq!(code, Some(1), "{name}: {told}");
        assert!(told.contains(words), "{name}: {told}");
        assert!(!told.contains("Nothing was changed"), "{name}: {told}");
    }
}

#[test]
fn the_record_names_who_signed_and_what_is_no_longer_good() {
    let run = Run::signed();
    let made = |file: &str| fs::read_to_string(run.file(file)).unwrap();
    // Made again by signing itself.
    let html = made("record.html");
    for part in [
        "Signed with a key",
        "calls itself \u{201C}K. L.\u{201D}",
        "Whose key that is, the signature does not prove",
        "Nothing was changed since.",
    ] {
        assert!(html.contains(part), "{part}");
    }
    assert!(!html.contains("NOT GOOD"));
    let json = |text: String| -> serde_json::Value { serde_json::from_str(&text).unwrap() };
    let data = json(made("record.json"));
    assert_eq!(data["signatures"][0]["good"], true);
    let schema = json(sayback::report::schema());
    assert!(jsonschema::validator_for(&schema).unwrap().is_valid(&data));
    let exceptions = data["exceptions"].as_array().unwrap().len();
    // A sound taken away afterwards is no longer what was signed.
    fs::remove_file(run.file("clips/506-5.wav")).unwrap();
    let output = super::sayback()
        .arg("record")
        .arg(run.path())
        .output()
        .unwrap();
    assert!(output.status.success());
    let html = made("record.html");
    assert!(html.contains("NOT GOOD") && html.contains("A signature is not good: 001.txt"));
    assert!(html.contains("Changed since: "), "{html}");
    let data = json(made("record.json"));
    assert_eq!(data["signatures"][0]["good"], false);
    assert!(data["exceptions"].as_array().unwrap().len() > exceptions);
}

fn replace(run: &Run, file: &str, old: &str, new: &str) {
    let path = run.file(file);
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains(old));
    fs::write(path, text.replacen(old, new, 1)).unwrap();
}

fn append(run: &Run) {
    let storage = FileStorage::open(&run.file("journal.txt")).unwrap();
    let mut journal = match Journal::<Record, FileStorage>::open(storage) {
        Ok(opened) => opened.journal,
        Err(error) => panic!("{error}"),
    };
    journal
        .append(&Record {
            at: Wall {
                utc_ms: 0,
                offset_min: 0,
            },
            body: Body::Resumed {
                program: "sayback".to_owned(),
                ear: None,
            },
        })
        .unwrap();
}

#[test]
fn a_journal_forged_whole_with_a_good_chain_is_told_by_the_signature_alone() {
    // Every line written again with the chain worked out anew: no hash inside shows it.
    let forged = Run::with(|records| {
        for record in records {
            if let Body::Closed { reason, .. } = &mut record.body {
                *reason = Some("nothing to see".to_owned());
            }
        }
    });
    let run = Run::signed();
    fs::copy(forged.file("journal.txt"), run.file("journal.txt")).unwrap();
    let (code, told) = run.verify(&[]);
    assert_eq!(code, Some(1));
    assert!(
        told.contains("57 records and"),
        "the chain alone is whole: {told}"
    );
    assert!(
        told.contains("journal.txt is not the one that was signed"),
        "{told}"
    );
}

#[test]
fn a_list_of_signers_says_whose_key_it_is() {
    let run = Run::new();
    let line = |told: &str| {
        told.lines()
            .find_map(|line| line.strip_prefix("For a list of signers: "))
            .unwrap()
            .to_owned()
    };
    let known = run.keys().join("signers");
    let told = run.make_key();
    run.sign();
    let other = Run::new();
    let stranger = line(&other.make_key());
    fs::write(&known, format!("# crew A\n{stranger}\n{}\n", line(&told))).unwrap();
    let (code, words) = run.verify(&[&known]);
    assert_eq!(code, Some(0), "{words}");
    assert!(words.contains("made with the key of K. L., by your list of signers"));
    fs::write(&known, format!("{stranger}\n")).unwrap();
    let (code, words) = run.verify(&[&known]);
    assert_eq!(code, Some(1), "{words}");
    assert!(words.contains("NOT on your list of signers"));
    let (code, words) = run.verify(&[&run.keys().join("none")]);
    assert_eq!(code, Some(2));
    assert!(words.contains("cannot read the list of signers"));
}

#[test]
fn a_second_signature_stands_beside_the_first() {
    let run = Run::signed();
    let first = fs::read(run.file("signatures/001.txt")).unwrap();
    assert_eq!(run.sign().status.code(), Some(0));
    assert_eq!(fs::read(run.file("signatures/001.txt")).unwrap(), first);
    let (code, told) = run.verify(&[]);
    assert_eq!(code, Some(0));
    assert_eq!(told.matches("Nothing was changed since.").count(), 2);
}

#[test]
fn a_run_that_is_not_whole_is_not_signed() {
    for (file, old, new) in [
        ("journal.txt", "\"506.5\"", "\"505.5\""),
        ("clips/506-5.wav", "RIFF", "RIFX"),
    ] {
        let run = Run::new();
        run.make_key();
        replace(&run, file, old, new);
        let output = run.sign();
        assert_eq!(output.status.code(), Some(1), "{}", text(&output));
        assert!(text(&output).contains("not signed, because the run is not whole"));
        assert!(!run.file("signatures").exists());
    }
}

#[test]
fn the_tools_of_others_check_it_without_sayback() {
    let run = Run::new();
    let told = run.make_key();
    run.sign();
    let line = told
        .lines()
        .find_map(|line| line.strip_prefix("For a list of signers: "))
        .unwrap();
    let list = run.keys().join("signers");
    fs::write(&list, format!("{line}\n")).unwrap();
    if let Some(mut keygen) = tool("ssh-keygen") {
        keygen
            .args(["-Y", "verify", "-I", "K. L.", "-n", "sayback-run", "-f"])
            .arg(&list)
            .arg("-s")
            .arg(run.file("signatures/001.txt.sig"))
            .stdin(fs::File::open(run.file("signatures/001.txt")).unwrap());
        let output = keygen.output().unwrap();
        assert!(output.status.success(), "{}", text(&output));
        assert!(text(&output).contains("Good \"sayback-run\" signature for K. L."));
    }
    if let Some(mut sums) = tool("sha256sum") {
        sums.args(["--check", "--strict", "--quiet", "signatures/001.txt"])
            .current_dir(run.path());
        let output = sums.output().unwrap();
        assert!(output.status.success(), "{}", text(&output));
    }
}

#[test]
fn what_the_tools_of_others_sign_is_taken_for_its_purpose_only() {
    let run = Run::signed();
    let statement = run.file("signatures/001.txt");
    for (purpose, good) in [("sayback-run", true), ("file", false)] {
        let Some(mut keygen) = tool("ssh-keygen") else {
            return;
        };
        let signature = run.file("signatures/001.txt.sig");
        let _ = fs::remove_file(&signature);
        let output = keygen
            .args(["-Y", "sign", "-n", purpose, "-f"])
            .arg(run.key())
            .arg(&statement)
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", text(&output));
        let (code, told) = run.verify(&[]);
        assert_eq!(code, Some(i32::from(!good)), "{purpose}: {told}");
        assert_eq!(
            told.contains("was made for \u{201C}file\u{201D}, not for a run of Sayback"),
            !good,
            "{told}"
        );
    }
}

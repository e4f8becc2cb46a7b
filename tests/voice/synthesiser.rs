//! A synthesiser of the system, played by scripts: what it gets, and what becomes of one that fails.

use std::ffi::OsString;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::time::Instant;

use sayback::edge::voice::clips::RATE;
use sayback::edge::voice::synthesiser::{Synthesiser, SynthesiserError};

fn script(folder: &Path, text: &str) -> Synthesiser {
    let program = folder.join("espeak-ng");
    std::fs::write(&program, format!("#!/bin/sh\n{text}\n")).unwrap();
    std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o755)).unwrap();
    Synthesiser::find(&OsString::from(folder)).expect("found")
}

#[expect(clippy::disallowed_methods, reason = "a test of the real clock")]
fn clock() -> Instant {
    Instant::now()
}

#[test]
fn none_is_found_where_there_is_none() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(Synthesiser::find(&OsString::from(folder.path())), None);
}

/// The text is never an argument: no sign of it can be an option, or a command of a shell.
#[test]
fn the_text_goes_through_a_pipe_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let got = folder.path().join("got");
    let hostile = "--help; $(touch stolen) `touch stolen` \"quote\" 'x'";
    let fake = script(
        folder.path(),
        &format!("cat > {0}.text; echo \"$@\" > {0}.arguments", got.display()),
    );
    let fault = fake.say(hostile, &mut || false);
    assert!(
        matches!(fault, Err(SynthesiserError::NoSound { .. })),
        "{fault:?}"
    );
    assert_eq!(
        std::fs::read_to_string(got.with_extension("text")).unwrap(),
        format!("{hostile}\n")
    );
    let arguments = std::fs::read_to_string(got.with_extension("arguments")).unwrap();
    assert!(!arguments.contains("stolen"), "{arguments}");
}

#[test]
fn one_that_is_not_wanted_any_more_is_ended_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let fake = script(folder.path(), "exec sleep 60");
    let begun = clock();
    assert!(fake.say("x", &mut || true).unwrap().is_none());
    assert!(begun.elapsed().as_secs() < 5);
}

#[test]
fn one_that_hangs_is_ended_after_ten_seconds() {
    let folder = tempfile::tempdir().unwrap();
    let fake = script(
        folder.path(),
        "echo $$ > \"$(dirname $0)/pid\"; exec sleep 60",
    );
    let begun = clock();
    let fault = fake.say("x", &mut || false).unwrap_err().to_string();
    assert!(
        fault.contains("did not answer within 10 seconds"),
        "{fault}"
    );
    assert!((9..20).contains(&begun.elapsed().as_secs()));
    let pid = std::fs::read_to_string(folder.path().join("pid")).unwrap();
    assert!(
        !Path::new("/proc").join(pid.trim()).exists(),
        "it still runs"
    );
}

#[test]
fn a_real_one_gives_sound() {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let Some(real) = Synthesiser::find(&path) else {
        return eprintln!("SKIPPED: a real synthesiser: not tested, since none is installed");
    };
    let sound = real
        .say("-v Turn it to four milliamps.", &mut || false)
        .unwrap()
        .unwrap();
    assert!(
        sound.len() > RATE as usize && sound.iter().any(|s| s.abs() > 0.05),
        "{}",
        sound.len()
    );
}

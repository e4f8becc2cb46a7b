//! A person's own ear by the command: made, used, named in the journal, damaged, forgotten; and what
//! is refused.

use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use sayback::edge::ear::{ModelChoice, ModelFolder, weights_hash};
use sayback::edge::sound;
use sayback::edge::voice::clips::{self, Clips};

/// The clips of Sayback's own voice, as a smaller or larger vocal tract would say them: the sound at
/// another rate. Digits at odd places are held back.
fn other_person(folder: &Path, rate: u32) -> std::path::PathBuf {
    let pack = Clips::own();
    let mut list = "path\ttranscript\tuse\n".to_owned();
    let digits = [
        "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
    ];
    for (number, digit) in digits.iter().enumerate() {
        for (ending, mark) in ["", ".", "?"].into_iter().enumerate() {
            let sound = pack
                .samples(pack.find(&format!("{digit}{mark}")).unwrap())
                .unwrap();
            #[allow(clippy::cast_possible_truncation)]
            let samples: Vec<i16> = sound
                .iter()
                .map(|sample| (sample * 32_767.0) as i16)
                .collect();
            let name = format!("{number}-{ending}.wav");
            let mut bytes = std::io::Cursor::new(Vec::new());
            sound::write_wav(&mut bytes, rate, &samples).unwrap();
            std::fs::write(folder.join(&name), bytes.get_ref()).unwrap();
            let purpose = if ending == 1 { "check" } else { "learn" };
            list += &format!("{name}\t{digit}\t{purpose}\n");
        }
    }
    let path = folder.join("clips.tsv");
    std::fs::write(&path, list).unwrap();
    assert_eq!(clips::RATE, 24_000);
    path
}

pub fn program(home: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sayback"));
    command
        .env("XDG_DATA_HOME", home)
        .env("XDG_CONFIG_HOME", home.join("config"));
    command
}

fn enrol(home: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let output = program(home).arg("enrol").args(arguments).output().unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned()
        + &String::from_utf8_lossy(&output.stderr);
    (output.status.code(), text)
}

/// The folders of people, and what is in each.
pub fn kept(home: &Path) -> Vec<(PathBuf, Vec<String>)> {
    let people = std::fs::read_dir(home.join("sayback/voices"));
    let people = people.into_iter().flatten().flatten();
    people
        .map(|person| {
            let inside = std::fs::read_dir(person.path()).unwrap().flatten();
            let mut names: Vec<String> = inside
                .map(|one| one.file_name().to_string_lossy().into_owned())
                .collect();
            names.sort();
            (person.path(), names)
        })
        .collect()
}

/// One run: what it tells, and what its journal says of the ear.
pub fn run(home: &Path, more: &[&str]) -> (String, serde_json::Value) {
    let runs = tempfile::tempdir().unwrap();
    let output = program(home)
        .args(["run", "meter-check", "--by", "kim orr", "--fast", "--plain"])
        .args(["--recording", "audio-fixtures/clips/yes.flac", "--runs"])
        .arg(runs.path())
        .args(more)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let run = std::fs::read_dir(runs.path()).unwrap().flatten().next();
    let journal = std::fs::read_to_string(run.unwrap().path().join("journal.txt")).unwrap();
    let first = journal.lines().next().unwrap();
    let record = &first[first.find('{').unwrap()..=first.rfind('}').unwrap()];
    let record: serde_json::Value = serde_json::from_str(record).unwrap();
    (
        String::from_utf8_lossy(&output.stderr).into_owned(),
        record["record"]["ear"].clone(),
    )
}

/// The whole command: kept where it hears better, used by `run --by`, named in its journal, not used
/// once it is damaged, made again from its own clips, forgotten.
#[test]
fn a_voice_that_the_common_ear_hears_badly_is_heard_better_and_kept() {
    let (home, sounds) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let home = home.path();
    let list = other_person(sounds.path(), 34_000);
    let (code, told) = enrol(
        home,
        &["--by", "Kim Orr", "--recordings", list.to_str().unwrap()],
    );
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("Kept"), "{told}");
    let people = kept(home);
    let [(person, names)] = &people[..] else {
        panic!("{people:?}")
    };
    let [about, ear] = &names[..] else {
        panic!("nothing is left beside: {names:?}")
    };
    assert_eq!(about, "about.toml");
    let folder = person.join(ear);
    let models = ModelFolder::open(&ModelChoice::Folder(folder.clone()), home).unwrap();
    assert_eq!(models.len(), 2);
    let networks =
        ["one", "two"].map(|name| std::fs::read(folder.join(name).join("am/final.mdl")).unwrap());

    let (told, ear) = run(home, &[]);
    assert!(told.contains("fitted to Kim Orr"), "{told}");
    assert_eq!(
        (&ear["which"], &ear["to"], &ear["weights"]),
        (
            &"fitted".into(),
            &"Kim Orr".into(),
            &weights_hash(&networks).into()
        )
    );
    let about = std::fs::read_to_string(person.join(about)).unwrap();
    assert!(about.contains(&format!("made_utc_ms = {}", ear["made_utc_ms"])));
    let (told, common) = run(home, &["--common-ear"]);
    assert!(!told.contains("fitted to"), "{told}");
    assert_eq!(common["which"], "common");
    assert_ne!(common["weights"], ear["weights"]);
    let (told, given) = run(home, &["--model", folder.to_str().unwrap()]);
    assert!(!told.contains("fitted to"), "{told}");
    assert_eq!(
        (&given["which"], &given["weights"]),
        (&"given".into(), &ear["weights"])
    );

    std::fs::write(folder.join("two/am/final.mdl"), &networks[0]).unwrap();
    let (told, ear) = run(home, &[]);
    assert!(
        told.contains("The common ear listens: the ear of Kim Orr is damaged"),
        "{told}"
    );
    assert_eq!(ear, common);
    let again = folder.join("clips.tsv");
    assert!(
        told.contains(&format!("--recordings \"{}\"", again.display())),
        "{told}"
    );

    let (code, told) = enrol(
        home,
        &["--by", " kim  ORR", "--recordings", again.to_str().unwrap()],
    );
    assert_eq!(code, Some(0), "{told}");
    let people = kept(home);
    assert!(
        people.len() == 1 && people[0].0 == *person && people[0].1.len() == 2,
        "the same person, and only the new ear: {people:?}"
    );
    let (told, ear) = run(home, &[]);
    assert!(told.contains("fitted to kim  ORR"), "{told}");
    assert_eq!(
        ear["weights"],
        weights_hash(&networks),
        "the same clips give the same ear"
    );
    let (code, told) = enrol(home, &["--by", "Kim Orr", "--forget"]);
    assert_eq!((code, kept(home)), (Some(0), vec![]), "{told}");
}

#[test]
fn a_voice_that_is_heard_well_anyway_gets_no_ear_of_its_own() {
    let (home, sounds) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let list = other_person(sounds.path(), 24_000);
    let (code, told) = enrol(
        home.path(),
        &["--by", "Kim Orr", "--recordings", list.to_str().unwrap()],
    );
    assert_eq!(code, Some(1), "{told}");
    assert!(told.contains("not kept"), "{told}");
    assert_eq!(kept(home.path()), vec![]);
}

#[test]
fn a_list_that_cannot_be_used_says_the_line_and_the_fix() {
    let (home, sounds) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let list = sounds.path().join("list.tsv");
    for (text, told) in [
        ("file\twords\n", "line 1: the first line names the columns"),
        (
            "path\ttranscript\na.wav\t512\n",
            "line 2: the ear does not know every word of \"512\"",
        ),
        (
            "path\ttranscript\na.wav\t\n",
            "line 2: a path and the words said are needed",
        ),
        (
            "path\ttranscript\tuse\na.wav\tyes\tboth\n",
            "use is learn or check, not both",
        ),
        ("path\ttranscript\na.wav\tyes\n", "a.wav"),
        ("path\ttranscript\n", "only 0 clips are held back"),
    ] {
        std::fs::write(&list, text).unwrap();
        let (code, found) = enrol(
            home.path(),
            &["--by", "Kim Orr", "--recordings", list.to_str().unwrap()],
        );
        assert_eq!(code, Some(2), "{found}");
        assert!(found.contains(told), "{found}");
    }
}

/// A clip of silence, of so many seconds.
fn long_clip(path: &Path, seconds: usize) {
    let mut bytes = std::io::Cursor::new(Vec::new());
    sound::write_wav(&mut bytes, 8_000, &vec![0; 8_000 * seconds]).unwrap();
    std::fs::write(path, bytes.get_ref()).unwrap();
}

#[test]
fn a_clip_of_minutes_and_clips_without_end_are_refused_before_any_work() {
    let (home, sounds) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let list = sounds.path().join("list.tsv");
    long_clip(&sounds.path().join("minutes.wav"), 180);
    long_clip(&sounds.path().join("slow.wav"), 19);
    let told = |rows: &str| {
        std::fs::write(&list, format!("path\ttranscript\n{rows}")).unwrap();
        let (code, told) = enrol(
            home.path(),
            &["--by", "Kim Orr", "--recordings", list.to_str().unwrap()],
        );
        assert_eq!(code, Some(2), "{told}");
        assert!(
            !told.contains("sound like") && !told.contains("learning"),
            "{told}"
        );
        told
    };
    let one = told("slow.wav\tyes\nminutes.wav\tyes\n");
    assert!(
        one.contains("line 3: minutes.wav is 180 s long") && one.contains("Cut it into clips"),
        "{one}"
    );
    let all = told(&"slow.wav\tyes\n".repeat(32));
    assert!(
        all.contains("line 33: with slow.wav the clips are longer than 10 minutes together")
            && all.contains("Leave some out"),
        "{all}"
    );
}

/// Ctrl-C while it learns: it ends at once with the code of the signal, and nothing is kept.
#[test]
#[cfg(unix)]
fn learning_that_is_broken_off_keeps_nothing() {
    let (home, sounds) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let list = other_person(sounds.path(), 34_000);
    let mut child = program(home.path())
        .args(["enrol", "--by", "Kim Orr", "--recordings"])
        .arg(&list)
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut errors = child.stderr.take().unwrap();
    let mut told = Vec::new();
    let mut byte = [0];
    while !String::from_utf8_lossy(&told).contains("breaks it off") {
        assert_eq!(errors.read(&mut byte).unwrap(), 1, "it ended before");
        told.push(byte[0]);
    }
    let done = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status()
        .unwrap();
    assert!(done.success());
    let code = child.wait().unwrap().code();
    errors.read_to_end(&mut told).unwrap();
    let told = String::from_utf8_lossy(&told);
    assert_eq!(code, Some(130), "{told}");
    assert!(
        told.contains("nothing of it is kept") && !told.contains("50 %"),
        "{told}"
    );
    assert_eq!(kept(home.path()), vec![]);
}

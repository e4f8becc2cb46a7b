//! The real sound library, in a child process of its own: known sound through
//! an ALSA `file` device, no card, and a sound server's source taken away.
//!
//! ALSA reads its configuration once a process, so each case runs this test
//! binary again with `ALSA_CONFIG_PATH` set. Where something is missing, the
//! test says SKIPPED and what was not tested.

mod refused;
pub mod server;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread::sleep;
use std::time::{Duration, Instant};

use sayback::edge::ear::{Ear, ModelChoice};
use sayback::edge::listening::{Engine, FromEar, HeardUtterance, OpenEar, Rule, start};
use sayback::edge::mic::{MicChoice, MicError, RING_SECONDS, devices, open};
use sayback::spoken::WordGraph;

const ALSA: &str = "/usr/share/alsa/alsa.conf";
const CHILD: &str = "SAYBACK_TEST_MIC_CHILD";
pub const PCM: &str = "sayback_known";
pub const RATE: usize = 16_000;

#[expect(clippy::disallowed_methods, reason = "a test of the real clock")]
pub fn clock() -> Instant {
    Instant::now()
}

pub fn skipped(what: &str, missing: &str) {
    eprintln!("SKIPPED: {what}: not tested, since {missing}");
}

/// Runs the child case of this file with a configuration of its own.
fn child(case: &str, config: &Path) -> Command {
    let mut command = Command::new(std::env::current_exe().expect("this test binary"));
    command
        .args([
            "--exact",
            "mic::alsa::child_case",
            "--ignored",
            "--nocapture",
        ])
        .env(CHILD, case)
        .env("ALSA_CONFIG_PATH", format!("{ALSA}:{}", config.display()));
    command
}

/// The child: does nothing unless a parent asked for a case.
#[test]
#[ignore = "run by the other tests of this file in a process of its own"]
fn child_case() {
    match std::env::var(CHILD).as_deref() {
        Ok("known sound") => child_known_sound(),
        Ok("overflow") => child_overflow(),
        Ok("no card") => child_no_card(),
        Ok("server") => child_server(),
        Ok("ear") => child_ear(),
        Ok("refused") => refused::child(),
        _ => skipped("a child case", "no parent asked for one"),
    }
}

fn passes(case: &str, config: &Path) {
    let done = child(case, config).output().expect("the child runs");
    let said = String::from_utf8_lossy(&done.stdout);
    assert!(
        done.status.success() && said.contains("1 passed") && said.contains("CHECKED"),
        "{case}: {}\n{said}\n{}",
        done.status,
        String::from_utf8_lossy(&done.stderr)
    );
}

/// Two seconds that no silence and no other sound looks like.
fn known_sound() -> Vec<i16> {
    (0..2 * RATE)
        .map(|n| i16::try_from((n * 7_919) % 65_536).unwrap_or_else(|_| -((n % 32_000) as i16)))
        .collect()
}

fn known_device(folder: &Path) -> PathBuf {
    let sound = folder.join("known.raw");
    let bytes: Vec<u8> = known_sound().iter().flat_map(|s| s.to_le_bytes()).collect();
    fs::write(&sound, bytes).expect("written");
    let config = folder.join("asound.conf");
    let text = format!(
        "pcm.{PCM} {{ type file slave.pcm null file /dev/null infile {} format raw\n\
         hint {{ show on description \"Known sound\" }} }}\n",
        sound.display()
    );
    fs::write(&config, text).expect("written");
    config
}

#[test]
fn known_sound_comes_through_the_sound_library_bit_for_bit() {
    if !Path::new(ALSA).exists() {
        return skipped("known sound through ALSA", "alsa.conf is not installed");
    }
    let folder = tempfile::tempdir().expect("a folder");
    passes("known sound", &known_device(folder.path()));
}

fn child_known_sound() {
    let listed = devices().expect("listed");
    assert!(listed.iter().any(|one| one.id == PCM), "{listed:?}");
    assert!(listed.iter().all(|one| one.id != "null"), "{listed:?}");
    for name in [PCM, "known sound"] {
        let mut capture = open(&MicChoice::Named(name.to_owned())).expect("opened");
        assert_eq!((capture.device(), capture.rate()), (PCM, 16_000));
        let wanted = known_sound();
        let mut sound = Vec::new();
        let until = clock() + Duration::from_secs(5);
        while sound.len() < wanted.len() && clock() < until {
            let left = wanted.len() - sound.len();
            assert!(!capture.read(&mut sound, left).gap);
            sleep(Duration::from_millis(5));
        }
        assert!(sound == wanted, "{} samples, or other ones", sound.len());
    }
    println!("CHECKED {} samples twice", 2 * RATE);
}

/// The `file` device gives sound as fast as it is taken, so the ring overflows.
#[test]
fn an_overflow_of_the_real_path_is_counted_and_placed() {
    if !Path::new(ALSA).exists() {
        return skipped("an overflow through ALSA", "alsa.conf is not installed");
    }
    let folder = tempfile::tempdir().expect("a folder");
    passes("overflow", &known_device(folder.path()));
}

fn child_overflow() {
    let mut capture = open(&MicChoice::Named(PCM.to_owned())).expect("opened");
    let room = RATE * RING_SECONDS as usize;
    let until = clock() + Duration::from_secs(5);
    while capture.dropped() == 0 && clock() < until {
        sleep(Duration::from_millis(5));
    }
    assert!(capture.dropped() > 0);
    assert_eq!(capture.waiting(), room, "no more than the ring holds");
    let mut sound = Vec::new();
    assert!(
        !capture.read(&mut sound, room).gap,
        "what was before is whole"
    );
    while capture.waiting() == 0 && clock() < until {
        sleep(Duration::from_millis(5));
    }
    assert!(capture.read(&mut sound, 1).gap, "and the next sample tells");
    assert!(sound.starts_with(&known_sound()));
    println!("CHECKED");
}

#[test]
fn no_such_card_is_a_sentence() {
    if !Path::new(ALSA).exists() {
        return skipped("a card that is not there", "alsa.conf is not installed");
    }
    let folder = tempfile::tempdir().expect("a folder");
    let config = folder.path().join("asound.conf");
    let text = "pcm.!default { type hw card 29 }\n\
                pcm.away { type hw card 29 hint { show on description \"Away\" } }\n";
    fs::write(&config, text).expect("written");
    passes("no card", &config);
}

fn child_no_card() {
    for choice in [MicChoice::Default, MicChoice::Named("away".to_owned())] {
        let why = open(&choice)
            .err()
            .expect("there is no card 29")
            .to_string();
        assert!(why.contains("the keypad goes on"), "{why}");
        println!("{why}");
    }
    let unknown = open(&MicChoice::Named("no such name".to_owned())).err();
    assert!(
        matches!(unknown, Some(MicError::NoSuchDevice { .. })),
        "{unknown:?}"
    );
    println!("CHECKED");
}

/// Takes each second of sound as an utterance.
struct Seconds;

struct Second {
    heard: usize,
    rate: u32,
}

impl Engine for Seconds {
    type Open = Second;

    fn listen(&mut self, _graph: &WordGraph, rate: u32) -> Result<Second, String> {
        Ok(Second { heard: 0, rate })
    }
}

impl OpenEar for Second {
    fn accept(&mut self, samples: &[i16]) -> Result<Option<HeardUtterance>, String> {
        self.heard += samples.len();
        if self.heard < self.rate as usize {
            return Ok(None);
        }
        self.heard = 0;
        self.finish().map(Some)
    }

    fn finish(&mut self) -> Result<HeardUtterance, String> {
        Ok(HeardUtterance {
            words: "second".to_owned(),
            samples: vec![],
            rate: self.rate,
        })
    }
}

/// Tells what the ear's thread says, a line each, until the parent closes its
/// input.
fn child_server() {
    let mic = MicChoice::Named(PCM.to_owned());
    let handle = start(
        || Ok(Seconds),
        mic,
        Rule::Always,
        |news| match news {
            FromEar::Level { .. } => {}
            FromEar::Heard { damaged, .. } => println!("\nnews: Heard damaged={damaged}"),
            other => println!("\nnews: {other:?}"),
        },
    );
    let graph = WordGraph {
        states: 1,
        start: 0,
        finals: vec![0],
        arcs: vec![],
    };
    handle.listen(graph, 1);
    for _ in std::io::stdin().lines() {}
    handle.stop();
    println!("\nCHECKED");
}

/// The real ear behind the real gate, listening for yes or no.
fn child_ear() {
    let handle = start(
        || Ear::open(&ModelChoice::BuiltIn).map_err(|error| error.to_string()),
        MicChoice::Named(PCM.to_owned()),
        Rule::default(),
        |news| match news {
            FromEar::Level { .. } => {}
            FromEar::Heard { words, damaged, .. } => {
                println!("\nnews: Heard {words:?} damaged={damaged}");
            }
            other => println!("\nnews: {other:?}"),
        },
    );
    let graph = sayback::spoken::named_listening("yes-no").expect("a grammar");
    handle.listen(graph, 1);
    for _ in std::io::stdin().lines() {}
    handle.stop();
    println!("\nCHECKED");
}

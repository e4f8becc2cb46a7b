//! The real loudspeaker path, in a child process: what is played into an ALSA `file` device is on the disk.

use std::path::Path;
use std::process::Command;
use std::sync::mpsc::channel;
use std::time::Duration;

use sayback::edge::voice::{FromVoice, Manner, Utterance, Voice};

use super::said;

const ALSA: &str = "/usr/share/alsa/alsa.conf";
const CHILD: &str = "SAYBACK_TEST_VOICE_CHILD";
const TEXT: &str = "four point zero two milliamps.";

fn child(case: &str, config: &Path) -> std::process::Output {
    Command::new(std::env::current_exe().unwrap())
        .args([
            "--exact",
            "voice::played::child_case",
            "--ignored",
            "--nocapture",
        ])
        .env(CHILD, case)
        .env("ALSA_CONFIG_PATH", format!("{ALSA}:{}", config.display()))
        .output()
        .unwrap()
}

#[test]
#[ignore = "run by the other tests of this file in a process of its own"]
fn child_case() {
    let case = std::env::var(CHILD).unwrap_or_default();
    let (sender, news) = channel();
    let manner = Manner {
        device: (case == "named").then(|| "nobody has this".to_owned()),
        ..Manner::default()
    };
    let mut voice = Voice::start(manner, move |said| sender.send(said).unwrap());
    let number = voice.say(Utterance {
        text: TEXT.to_owned(),
        ..Utterance::default()
    });
    assert!(voice.is_speaking());
    let mut all = Vec::new();
    while !all.contains(&FromVoice::Silent(number)) {
        all.push(news.recv_timeout(Duration::from_secs(20)).expect("it ends"));
    }
    assert!(!voice.is_speaking());
    println!("CHECKED {all:?}");
}

/// Where there is no loudspeaker, that is said once, and the ear is not kept closed.
#[test]
fn without_a_loudspeaker_one_line_says_so() {
    if !Path::new(ALSA).exists() {
        return eprintln!("SKIPPED: no loudspeaker: not tested, since alsa.conf is not installed");
    }
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("asound.conf");
    std::fs::write(&config, "").unwrap();
    let done = child("named", &config);
    let said = String::from_utf8_lossy(&done.stdout);
    assert!(done.status.success() && said.contains("CHECKED"), "{said}");
    assert_eq!(
        said.matches("No voice: the loudspeaker nobody has this is not there")
            .count(),
        1,
        "{said}"
    );
}

/// What a device was given is what was planned, sample for sample.
#[test]
fn what_is_planned_is_what_a_device_is_given() {
    if !Path::new(ALSA).exists() {
        return eprintln!(
            "SKIPPED: sound through ALSA: not tested, since alsa.conf is not installed"
        );
    }
    let folder = tempfile::tempdir().unwrap();
    let (config, raw) = (
        folder.path().join("asound.conf"),
        folder.path().join("played.raw"),
    );
    std::fs::write(
        &config,
        format!(
            "pcm.!default {{ type plug slave {{ pcm \"to_file\" format S16_LE channels 1 rate 48000 }} }}\n\
             pcm.to_file {{ type file slave.pcm null file {} format raw }}\n",
            raw.display()
        ),
    )
    .unwrap();
    let done = child("file", &config);
    let told = String::from_utf8_lossy(&done.stdout);
    assert!(
        done.status.success() && told.contains("CHECKED"),
        "{told}\n{}",
        String::from_utf8_lossy(&done.stderr)
    );
    assert!(!told.contains("Trouble"), "{told}");
    let bytes = std::fs::read(&raw).unwrap();
    let played: Vec<f32> = bytes
        .chunks_exact(2)
        .map(|two| f32::from(i16::from_le_bytes([two[0], two[1]])) / 32_768.0)
        .collect();
    // The place in the file where it begins is the device's own; so is its rate, at a plug.
    let energy = |sound: &[f32]| sound.iter().map(|s| s * s).sum::<f32>();
    let planned = energy(&said(TEXT, 48_000));
    let ratio = energy(&played) / planned;
    assert!(
        (0.9..1.1).contains(&ratio),
        "{ratio} of the energy, {} samples",
        played.len()
    );
}

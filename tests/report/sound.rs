//! What was said can be heard again from the page, and a sound that is not as the journal says is told.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sayback::core::record::{Body, How};
use sayback::report::{self, Sound, Weight};

use super::scenario::fv_118;

const FILE: &str = "506-5.wav";

#[test]
fn a_sound_is_in_the_page_itself_byte_for_byte() {
    let mut journal = fv_118();
    let bytes: Vec<u8> = (0..=255).collect();
    journal
        .sounds
        .insert(FILE.to_owned(), Sound::Whole(bytes.clone()));
    let html = report::html(&journal.report());
    let players: Vec<&str> = html.split("<audio ").skip(1).collect();
    // Said twice with the same words in this scenario: A to wiper and wiper to B, left.
    assert_eq!(players.len(), 2);
    for player in players {
        assert!(player.contains("controls") && player.contains("heard: 506.5"));
        let coded = player
            .split("data:audio/wav;base64,")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap();
        assert_eq!(STANDARD.decode(coded).unwrap(), bytes);
    }
    assert!(journal.report().sound_faults.is_empty());
    // It is in the page only: the data stay small.
    assert!(!report::json(&journal.report()).contains("base64"));
}

#[test]
fn a_sound_that_was_changed_is_told_and_not_played() {
    let mut journal = fv_118();
    journal.sounds.insert(FILE.to_owned(), Sound::Changed);
    let report = journal.report();
    let told = report
        .exceptions
        .iter()
        .find(|exception| exception.what == "Sound was changed: 506-5.wav")
        .unwrap();
    assert_eq!(told.weight, Weight::Bad);
    assert!(told.detail.contains("put the first one back"));
    let html = report::html(&report);
    assert!(html.contains("sound was changed</span>") && !html.contains("<audio"));
    assert_eq!(report.sound_faults.len(), 2);
}

#[test]
fn a_sound_that_is_missing_is_told_with_what_to_do_and_the_value_stands() {
    let mut journal = fv_118();
    journal.sounds.insert(
        FILE.to_owned(),
        Sound::Missing("No such file or directory".to_owned()),
    );
    let report = journal.report();
    let told = report
        .exceptions
        .iter()
        .find(|exception| exception.what == "Sound is missing: 506-5.wav")
        .unwrap();
    assert_eq!(told.weight, Weight::Watch);
    assert!(told.detail.contains("Put it back from a copy of the run"));
    assert!(report::html(&report).contains("506.5 Ω"));
}

#[test]
fn everything_that_was_said_can_be_heard() {
    let mut journal = fv_118();
    // Each with words of its own, so that each has a sound of its own.
    let mut said = 0;
    for (seq, record) in &mut journal.records {
        if let Some(how) = how_of(&mut record.body)
            && let Some(clip) = &mut how.clip
        {
            clip.file = format!("said-{seq}.wav");
            said += 1;
        }
    }
    let html = report::html(&journal.report());
    assert_eq!(said, 43);
    for (seq, record) in &journal.records {
        if record.body.clip().is_some() {
            assert!(
                html.contains(&format!("./clips/said-{seq}.wav")),
                "record {seq} cannot be heard: {:?}",
                record.body
            );
        }
    }
}

fn how_of(body: &mut Body) -> Option<&mut How> {
    match body {
        Body::Plate { how, .. }
        | Body::Skipped { how, .. }
        | Body::Noted { how, .. }
        | Body::Stopped { how, .. }
        | Body::Restored { how, .. } => Some(how),
        Body::Answered(answer) => Some(&mut answer.how),
        _ => None,
    }
}

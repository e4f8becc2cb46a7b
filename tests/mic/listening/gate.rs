//! The gate in front of the ear, with real sound: what passes, and what sound that was lost spoils.

use std::time::Duration;

use cpal::ErrorKind;
use sayback::edge::listening::{FromEar, Rule};

use super::{Bench, Counting, END, FAIL, PANIC, RATE, bench, graph};

/// A bench whose microphone is open behind the gate of a real run.
fn gated() -> Bench<impl FnMut() -> Result<Counting, String>, impl Fn(FromEar)> {
    let mut bench = bench().ready();
    bench.listening = bench.listening.with_gate(Rule::default());
    // The microphone that is open has its gate already: it is opened anew.
    bench.cable.fault(ErrorKind::DeviceNotAvailable);
    bench.step(20);
    bench.cable.plug(RATE);
    bench.step(600);
    bench.cable.say(&[0; 1600]);
    bench.step(100);
    bench.news();
    bench
}

/// A spoken word of the repository, and the sound of no word at all.
fn word(name: &str) -> Vec<i16> {
    let clips = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/clips");
    let read = sayback::edge::sound::read(&clips.join(name)).expect("a recording");
    assert_eq!(read.rate, RATE);
    // The numbers that this bench's engine takes for an end or a failure are no words here.
    let harmless = |step: i16| {
        if [END, FAIL, PANIC].contains(&step) {
            step + 1
        } else {
            step
        }
    };
    read.samples.into_iter().map(harmless).collect()
}

#[test]
fn a_voice_passes_the_gate_with_its_beginning_and_noise_does_not() {
    let mut bench = gated();
    let cable = bench.cable.clone();
    bench.listening.listen(graph(3), 1);
    // Steady noise is let through at first, until the gate knows how loud it is.
    let fan = word("noise-room.flac").repeat(12);
    for block in fan.chunks(1600) {
        cable.say(block);
        bench.step(100);
    }
    bench.listening.end_utterance();
    let heard = |news: Vec<FromEar>| -> Vec<i16> {
        news.into_iter()
            .filter_map(|one| match one {
                FromEar::Heard { samples, .. } => Some(samples),
                _ => None,
            })
            .flatten()
            .collect()
    };
    let reached = heard(bench.news());
    assert!(
        reached.len() < fan.len() / 5,
        "{} of {} samples of noise reached the ear",
        reached.len(),
        fan.len()
    );
    bench.listening.listen(graph(3), 2);
    let said = word("yes.flac");
    for block in said.chunks(1600) {
        cable.say(block);
        bench.step(100);
    }
    bench.listening.end_utterance();
    let heard = heard(bench.news());
    let steps: Vec<i16> = said.iter().copied().filter(|&step| step != 0).collect();
    // Six tenths of a second from before the voice are there; then all of it.
    assert!(heard.len() > RATE as usize / 2, "{} samples", heard.len());
    assert!(steps.ends_with(&heard) || steps.windows(heard.len()).any(|part| part == heard));
}

/// Plays it in tenths of a second.
fn play<O, T>(bench: &mut Bench<O, T>, samples: &[i16])
where
    O: FnMut() -> Result<Counting, String>,
    T: Fn(FromEar),
{
    for block in samples.chunks(1600) {
        bench.cable.say(block);
        bench.step(100);
    }
}

/// Whether the next "yes" is refused since sound was lost, when it comes after so much silence
/// from the loss on.
fn spoils(silence: Duration) -> bool {
    let mut bench = gated();
    bench.listening.listen(graph(3), 1);
    play(&mut bench, &vec![0; 16_000]);
    bench.cable.fault(ErrorKind::Xrun);
    let samples = silence.as_millis() as usize * 16;
    play(&mut bench, &vec![0; samples]);
    play(&mut bench, &word("yes.flac"));
    bench.cable.say(&[END]);
    bench.step(100);
    let news = bench.news();
    let [FromEar::Heard { damaged, .. }] = &news[..] else {
        panic!("not one utterance: {news:?}");
    };
    *damaged
}

/// What was lost may be the beginning of what follows; after the pause that ends an utterance it
/// is the beginning of nothing, and an answer minutes later is whole.
#[test]
fn sound_lost_in_silence_spoils_what_follows_at_once_and_nothing_later() {
    // The recording has 0.2 s and more of its own silence before the word.
    assert!(spoils(Duration::from_millis(200)));
    assert!(spoils(Duration::from_millis(800)));
    assert!(!spoils(Duration::from_secs(2)));
    assert!(!spoils(Duration::from_secs(20)));
}

/// A loss in the very block that ends an utterance may be the beginning of the next one too.
#[test]
fn sound_lost_where_two_utterances_meet_spoils_both() {
    let mut bench = bench().ready();
    bench.listening.listen(graph(3), 1);
    bench.cable.say(&[7]);
    bench.step(20);
    bench.cable.fault(ErrorKind::Xrun);
    bench.cable.say(&[END]);
    bench.step(20);
    bench.cable.say(&[8, END]);
    bench.step(20);
    bench.cable.say(&[9, END]);
    bench.step(20);
    let damaged: Vec<bool> = bench
        .news()
        .iter()
        .map(|news| matches!(news, FromEar::Heard { damaged: true, .. }))
        .collect();
    assert_eq!(damaged, [true, true, false]);
}

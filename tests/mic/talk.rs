//! People who talk near the microphone, and not to it: one of them, or three and four at once,
//! as loud as the person at work or fainter. Through the path of a real run, as in `noise`.
//!
//! Needs recordings of sentences, a list as `sayback hear --table` takes (every clip of it is used):
//! `SAYBACK_CLIPS=LIST cargo test --test all mic::talk -- --ignored --nocapture`

use std::path::Path;

use sayback::edge::ear::{Ear, ModelChoice};
use sayback::edge::sound;

use super::front::clips;
use super::noise::{Open, fainter, play};

const RATE: usize = 16_000;

/// A run for every half minute: one that a false record has ended hears no more.
const PIECE: usize = 30 * RATE;

/// A number below `below`, the same sequence for the same seed (Marsaglia's xorshift, 2003).
struct Dice(u64);

impl Dice {
    fn below(&mut self, below: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % below as u64).unwrap_or(0)
    }
}

/// One person talking for so long: sentences with pauses of 0.3 to 1.5 s, each as loud as the reading.
fn talker(sentences: &[Vec<i16>], length: usize, dice: &mut Dice) -> Vec<i16> {
    let mut samples = Vec::with_capacity(length);
    while samples.len() < length {
        samples.extend_from_slice(&sentences[dice.below(sentences.len())]);
        samples.extend(vec![0; RATE * 3 / 10 + dice.below(RATE * 12 / 10)]);
    }
    samples.truncate(length);
    samples
}

fn together(talkers: &[Vec<i16>]) -> Vec<i16> {
    let length = talkers.iter().map(Vec::len).max().unwrap_or(0);
    (0..length)
        .map(|at| {
            let sum: i32 = talkers
                .iter()
                .map(|one| i32::from(*one.get(at).unwrap_or(&0)))
                .sum();
            sum.clamp(i32::from(i16::MIN), i32::from(i16::MAX)) as i16
        })
        .collect()
}

/// What came of these sounds, one run each: yeses heard, and values kept.
fn tried(open: Open, sounds: impl Iterator<Item = Vec<i16>>) -> (usize, usize) {
    let (mut heard, mut kept) = (0, 0);
    for mut samples in sounds {
        samples.extend(vec![0; RATE]);
        let ear = Ear::open(&ModelChoice::BuiltIn).expect("an ear");
        let came = play(
            open,
            sound::Sound {
                samples,
                rate: 16_000,
            },
            ear,
        );
        heard += came
            .heard
            .iter()
            .filter(|words| words.as_str() == "yes")
            .count();
        kept += came
            .records
            .iter()
            .filter(|kind| *kind == "answered")
            .count();
    }
    (heard, kept)
}

/// The worst there is: somebody else's sentence that begins with "yes", as loud as the reading,
/// right after the read-back. And the same in the middle of their talk.
#[test]
#[ignore = "needs recordings: SAYBACK_CLIPS names their list"]
fn sentences_that_begin_with_yes() {
    let list = std::env::var("SAYBACK_CLIPS").expect("SAYBACK_CLIPS names a list of recordings");
    let read = |path: &Path| fainter(&sound::read(path).expect("a recording").samples, 0.0);
    let (yes, other): (Vec<_>, Vec<_>) = clips(Path::new(&list))
        .into_iter()
        .partition(|clip| clip.said.starts_with("yes "));
    let alone = || yes.iter().map(|clip| read(&clip.path));
    let in_talk = || {
        alone().enumerate().map(|(at, yes)| {
            let mut before = read(&other[at * 7 % other.len()].path);
            before.extend(vec![0; RATE]);
            before.extend(yes);
            before
        })
    };
    println!("sentences\tasked\tyes_heard\tvalues_kept");
    for (what, open) in [("said first", Open::ReadBack), ("said first", Open::Alone)] {
        let (heard, kept) = tried(open, alone());
        println!("{}\t{what}, {open:?}\t{heard}\t{kept}", yes.len());
    }
    let (heard, kept) = tried(Open::Alone, in_talk());
    println!(
        "{}\tafter another sentence, Alone\t{heard}\t{kept}",
        yes.len()
    );
}

#[test]
#[ignore = "needs recordings: SAYBACK_CLIPS names their list"]
fn people_near_the_microphone() {
    let list = std::env::var("SAYBACK_CLIPS").expect("SAYBACK_CLIPS names a list of recordings");
    let minutes: usize =
        std::env::var("SAYBACK_MINUTES").map_or(20, |text| text.parse().expect("minutes"));
    let mut dice = Dice(0x2545_f491_4f6c_dd1d);
    let sentences: Vec<Vec<i16>> = clips(Path::new(&list))
        .iter()
        .map(|clip| sound::read(&clip.path).expect("a recording").samples)
        .filter(|samples| samples.len() > RATE / 2)
        .map(|samples| fainter(&samples, 0.0))
        .collect();
    println!("people\tlevel\tasked\tminutes\theard\tstops\tvalues_kept\tother_records\twhat");
    for people in [1, 3, 4] {
        let pieces: Vec<Vec<i16>> = (0..minutes * 2)
            .map(|_| {
                let all: Vec<Vec<i16>> = (0..people)
                    .map(|_| talker(&sentences, PIECE, &mut dice))
                    .collect();
                together(&all)
            })
            .collect();
        for (open, down) in [
            (Open::ReadBack, 0.0),
            (Open::ReadBack, 6.0),
            (Open::ReadBack, 10.0),
            (Open::ReadBack, 20.0),
            (Open::Reading, 0.0),
            (Open::Instruction, 0.0),
            (Open::Gate, 0.0),
            (Open::Alone, 0.0),
        ] {
            let (mut heard, mut stops, mut kept, mut other, mut what) =
                (0, 0, 0, Vec::new(), Vec::new());
            for piece in &pieces {
                let gain = 10_f64.powf(-down / 20.0);
                let samples = piece
                    .iter()
                    .map(|&step| (f64::from(step) * gain) as i16)
                    .collect();
                let ear = Ear::open(&ModelChoice::BuiltIn).expect("an ear");
                let came = play(
                    open,
                    sound::Sound {
                        samples,
                        rate: 16_000,
                    },
                    ear,
                );
                heard += came.heard.len();
                what.extend(came.heard);
                for kind in came.records {
                    match kind.as_str() {
                        "stopped" => stops += 1,
                        "answered" => kept += 1,
                        "closed" => {}
                        _ => other.push(kind),
                    }
                }
            }
            what.sort();
            println!(
                "{people}\t{} dB\t{open:?}\t{minutes}\t{heard}\t{stops}\t{kept}\t{other:?}\t{what:?}",
                -down
            );
        }
    }
}

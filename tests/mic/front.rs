//! What stands in front of the ear, measured: false starts on noise, answers
//! lost on speech, with and without a gate and a noise reduction.
//!
//! The long form takes a list of recordings as `sayback hear --table` does:
//! `SAYBACK_CLIPS=LIST SAYBACK_LONG=1 cargo test --test all mic::front::long -- --ignored --nocapture`

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use nnnoiseless::DenoiseState;
use sayback::edge::ear::{Ear, ModelChoice};
use sayback::edge::listening::{Gate, Rule};
use sayback::edge::sound;
use sayback::spoken::named_listening;

pub struct Clip {
    pub path: PathBuf,
    pub said: String,
    pub group: String,
    pub grammar: String,
}

/// The list that the environment names.
pub fn clips(list: &Path) -> Vec<Clip> {
    let text = std::fs::read_to_string(list).expect("the list of recordings");
    let folder = list.parent().unwrap_or(Path::new(""));
    text.lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split('\t').collect();
            Clip {
                path: folder.join(cells[0]),
                said: cells[1].to_owned(),
                group: cells[2].to_owned(),
                grammar: (*cells.get(3).unwrap_or(&"all")).to_owned(),
            }
        })
        .collect()
}

/// Sound reduced of its noise: `RNNoise` takes 48000 samples a second, so 16000 are tripled by
/// straight lines and every third is taken back.
fn denoised(samples: &[i16], rate: u32) -> Vec<i16> {
    assert_eq!(rate, 16_000, "the recordings of this measurement");
    let mut fast: Vec<f32> = Vec::with_capacity(samples.len() * 3);
    for pair in samples.windows(2) {
        let (a, b) = (f32::from(pair[0]), f32::from(pair[1]));
        fast.extend([a, a + (b - a) / 3.0, a + (b - a) * 2.0 / 3.0]);
    }
    let mut state = DenoiseState::new();
    let mut out = Vec::new();
    let mut frame = [0.0; DenoiseState::FRAME_SIZE];
    for block in fast.chunks_exact(DenoiseState::FRAME_SIZE) {
        state.process_frame(&mut frame, block);
        out.extend(frame.iter().step_by(3).map(|step| *step as i16));
    }
    out
}

/// What is put before the ear.
#[derive(Clone, Copy)]
pub struct Front {
    pub name: &'static str,
    pub rule: Rule,
    pub denoise: bool,
}

pub const FRONTS: [Front; 5] = [
    front("nothing", Rule::Always),
    front("level 10 dB", Rule::Level(10.0)),
    front("voice 0.5", Rule::Voice(0.5)),
    front("both 6 dB, 0.5", Rule::Both(6.0, 0.5)),
    Front {
        name: "noise reduction",
        rule: Rule::Always,
        denoise: true,
    },
];

const fn front(name: &'static str, rule: Rule) -> Front {
    Front {
        name,
        rule,
        denoise: false,
    }
}

#[derive(Default)]
pub struct Count {
    pub clips: usize,
    pub seconds: f64,
    pub passed: f64,
    pub starts: u32,
    pub right: usize,
    pub wrong: usize,
    pub nothing: usize,
    /// Where nothing is to be heard.
    pub silent: usize,
    pub silent_seconds: f64,
    pub silent_starts: u32,
    pub false_hearings: usize,
}

pub fn hear(
    ear: &mut Ear,
    front: Front,
    samples: &[i16],
    rate: u32,
    grammar: &str,
) -> (String, u32, f64) {
    let graph = named_listening(grammar).expect("a grammar");
    let mut listener = ear.listen(&graph, rate).expect("an ear");
    let mut gate = Gate::new(front.rule, rate);
    let sound = if front.denoise {
        denoised(samples, rate)
    } else {
        samples.to_vec()
    };
    let mut words = Vec::new();
    let mut passed = Vec::new();
    let mut all = 0;
    for block in sound.chunks(rate as usize / 10) {
        passed.clear();
        gate.pass(block, &mut passed);
        all += passed.len();
        if !passed.is_empty()
            && let Some(heard) = listener.accept(&passed).expect("an ear")
        {
            words.push(heard.phrase());
        }
    }
    words.push(listener.finish().expect("an ear").phrase());
    words.retain(|phrase| !phrase.is_empty());
    (words.join(" "), gate.starts(), all as f64 / f64::from(rate))
}

pub fn measure(clips: &[Clip], front: Front) -> BTreeMap<String, Count> {
    let mut ear = Ear::open(&ModelChoice::BuiltIn).expect("an ear");
    let mut counts: BTreeMap<String, Count> = BTreeMap::new();
    for clip in clips {
        let read = sound::read(&clip.path).expect("a recording");
        let (words, starts, passed) =
            hear(&mut ear, front, &read.samples, read.rate, &clip.grammar);
        for name in [clip.group.as_str(), "= all"] {
            let count = counts.entry(name.to_owned()).or_default();
            count.passed += passed;
            if clip.said.is_empty() {
                count.silent += 1;
                count.silent_seconds += read.seconds();
                count.silent_starts += starts;
                count.false_hearings += usize::from(!words.is_empty());
            } else {
                count.clips += 1;
                count.seconds += read.seconds();
                count.starts += starts;
                count.right += usize::from(words == clip.said);
                count.wrong += usize::from(!words.is_empty() && words != clip.said);
                count.nothing += usize::from(words.is_empty());
            }
        }
    }
    counts
}

pub fn print(name: &str, counts: &BTreeMap<String, Count>) {
    for (group, count) in counts {
        let hours = count.silent_seconds / 3600.0;
        let per_hour = |n: f64| if hours > 0.0 { n / hours } else { 0.0 };
        println!(
            "{name}\t{group}\t{}\t{}\t{}\t{}\t{}\t{:.3}\t{:.0}\t{}\t{:.1}\t{:.3}",
            count.clips,
            count.right,
            count.wrong,
            count.nothing,
            count.silent,
            hours,
            per_hour(f64::from(count.silent_starts)),
            count.false_hearings,
            per_hour(count.false_hearings as f64),
            count.passed / (count.seconds + count.silent_seconds),
        );
    }
}

pub const HEADER: &str = "front\tgroup\tspoken\tright\twrong\tnot_understood\tnot_to_be_heard\thours\tfalse_starts_per_hour\tfalse_hearings\tfalse_hearings_per_hour\tshare_let_through";

#[test]
#[ignore = "needs recordings: SAYBACK_CLIPS names their list"]
fn long() {
    let list = std::env::var("SAYBACK_CLIPS").expect("SAYBACK_CLIPS names a list of recordings");
    let clips = clips(Path::new(&list));
    println!("{HEADER}");
    // One of them alone, by its name, where that is asked for.
    let only = std::env::var("SAYBACK_FRONT").ok();
    let wanted = |front: &Front| only.as_deref().is_none_or(|only| only == front.name);
    for front in FRONTS.into_iter().filter(wanted) {
        print(front.name, &measure(&clips, front));
    }
}

/// Noise under speech, `snr` decibels below it (root mean square over the whole clip).
fn mixed(speech: &[i16], noise: &[i16], from: usize, snr: f64) -> Vec<i16> {
    let power = |samples: &[i16]| {
        let sum: f64 = samples.iter().map(|&step| f64::from(step).powi(2)).sum();
        (sum / samples.len().max(1) as f64).max(1.0)
    };
    let under: Vec<i16> = noise
        .iter()
        .cycle()
        .skip(from)
        .take(speech.len())
        .copied()
        .collect();
    let gain = (power(speech) / power(&under) / 10_f64.powf(snr / 10.0)).sqrt();
    speech
        .iter()
        .zip(&under)
        .map(|(&s, &n)| (f64::from(s) + gain * f64::from(n)) as i16)
        .collect()
}

/// A voice channel of 300 to 3400 Hz (the telephone band, ITU-T G.712): Butterworth of fourth
/// order at each end, as biquads (R. Bristow-Johnson, Cookbook formulae for audio EQ).
fn radio(samples: &[i16]) -> Vec<i16> {
    let mut signal: Vec<f64> = samples.iter().map(|&step| f64::from(step)).collect();
    for (hertz, is_low) in [(300.0, false), (3400.0, true)] {
        for q in [0.541_196_1, 1.306_563] {
            let w = std::f64::consts::TAU * hertz / 16_000.0;
            let (cos, alpha) = (w.cos(), w.sin() / (2.0 * q));
            let (b0, b1) = if is_low {
                ((1.0 - cos) / 2.0, 1.0 - cos)
            } else {
                (f64::midpoint(1.0, cos), -(1.0 + cos))
            };
            let (mut x1, mut x2, mut y1, mut y2) = (0.0, 0.0, 0.0, 0.0);
            for value in &mut signal {
                let x = *value;
                let y = (b0 * x + b1 * x1 + b0 * x2 + 2.0 * cos * y1 - (1.0 - alpha) * y2)
                    / (1.0 + alpha);
                (x2, x1, y2, y1) = (x1, x, y1, y);
                *value = y;
            }
        }
    }
    signal.into_iter().map(|step| step as i16).collect()
}

#[test]
fn the_radio_lets_the_middle_through_and_nothing_else() {
    let tone = |hertz: f64| -> Vec<i16> {
        (0..16_000)
            .map(|n| {
                (10_000.0 * (std::f64::consts::TAU * hertz * f64::from(n) / 16_000.0).sin()) as i16
            })
            .collect()
    };
    let gain = |hertz: f64| {
        let loud = |samples: &[i16]| {
            samples
                .iter()
                .skip(4_000)
                .map(|step| i32::from(step.abs()))
                .max()
                .unwrap()
        };
        f64::from(loud(&radio(&tone(hertz)))) / 10_000.0
    };
    assert!(gain(1_000.0) > 0.95 && gain(100.0) < 0.05 && gain(6_000.0) < 0.05);
    assert!((gain(300.0) - 0.707).abs() < 0.05 && (gain(3_400.0) - 0.707).abs() < 0.05);
}

/// "No" taken for "yes" and the other way round, in noise; and the same words, and digits,
/// through a radio.
#[test]
#[ignore = "needs recordings: SAYBACK_CLIPS names their list, with its noise"]
fn words_in_noise_and_over_the_radio() {
    let list = std::env::var("SAYBACK_CLIPS").expect("SAYBACK_CLIPS names a list of recordings");
    let all = clips(Path::new(&list));
    let mut ear = Ear::open(&ModelChoice::BuiltIn).expect("an ear");
    let noises: Vec<sound::Sound> = all
        .iter()
        .filter(|clip| clip.group.starts_with("noise") && clip.said.is_empty())
        .map(|clip| sound::read(&clip.path).expect("a recording"))
        .collect();
    let gated = front("gate", Rule::default());
    println!("word\tcondition\ttrials\tright\tother_of_yes_and_no\tother_words\tnot_understood");
    for word in ["no", "yes"] {
        let said: Vec<&Clip> = all
            .iter()
            .filter(|clip| clip.said == word && clip.grammar == "yes-no")
            .collect();
        for snr in [99.0, 20.0, 10.0, 5.0, 0.0] {
            let mut count = [0; 4];
            for (at, clip) in said.iter().enumerate() {
                let speech = sound::read(&clip.path).expect("a recording");
                // Two noises for each recording, so that each is met by many.
                for turn in 0..2 {
                    let noise = &noises[(at * 7 + turn * 31) % noises.len()];
                    let mix = mixed(&speech.samples, &noise.samples, at * 977, snr);
                    let (words, ..) = hear(&mut ear, gated, &mix, speech.rate, "yes-no");
                    count[sort(word, &words)] += 1;
                }
            }
            println!(
                "{word}\t{snr} dB\t{}\t{}\t{}\t{}\t{}",
                said.len() * 2,
                count[0],
                count[1],
                count[2],
                count[3]
            );
        }
    }
    for (group, grammar) in [("yes or no", "yes-no"), ("digits", "digits")] {
        let said: Vec<&Clip> = all
            .iter()
            .filter(|clip| !clip.said.is_empty() && clip.grammar == grammar)
            .collect();
        for over_radio in [false, true] {
            let mut count = [0; 3];
            for clip in &said {
                let speech = sound::read(&clip.path).expect("a recording");
                let samples = if over_radio {
                    radio(&speech.samples)
                } else {
                    speech.samples
                };
                let (words, ..) = hear(&mut ear, gated, &samples, speech.rate, grammar);
                count[if words == clip.said {
                    0
                } else if words.is_empty() {
                    2
                } else {
                    1
                }] += 1;
            }
            let condition = if over_radio {
                "300 to 3400 Hz"
            } else {
                "whole band"
            };
            println!(
                "{group}\t{condition}\t{}\tright {}\twrong {}\tnot understood {}",
                said.len(),
                count[0],
                count[1],
                count[2]
            );
        }
    }
}

/// Right, the other one, other words, nothing.
fn sort(said: &str, heard: &str) -> usize {
    let meaning = |words: &str| {
        let slot = sayback::spoken::named_slot("YN").expect("a slot");
        sayback::spoken::parse(&slot, words).meaning
    };
    match heard {
        "" => 3,
        _ if heard == said || meaning(heard) == meaning(said) => 0,
        _ if meaning(heard) == meaning(if said == "no" { "yes" } else { "no" }) => 1,
        _ => 2,
    }
}

/// The gate alone, without the ear: how often noise opens it, and which answers do not.
#[test]
#[ignore = "needs recordings: SAYBACK_CLIPS names their list"]
fn the_gate_alone() {
    let list = std::env::var("SAYBACK_CLIPS").expect("SAYBACK_CLIPS names a list of recordings");
    let all = clips(Path::new(&list));
    let mut noise: Vec<i16> = Vec::new();
    let mut seen = std::collections::BTreeSet::new();
    for clip in all.iter().filter(|clip| clip.group.starts_with("noise")) {
        if seen.insert(&clip.path) {
            noise.extend(sound::read(&clip.path).expect("a recording").samples);
        }
    }
    let mut speech: Vec<sound::Sound> = Vec::new();
    for clip in all.iter().filter(|clip| !clip.said.is_empty()) {
        if seen.insert(&clip.path) {
            speech.push(sound::read(&clip.path).expect("a recording"));
        }
    }
    let hours = noise.len() as f64 / 16_000.0 / 3600.0;
    println!(
        "rule\tnoise_hours\tfalse_starts_per_hour\tnoise_let_through\tspoken\tnever_opened\tunder_noise_10_dB_never_opened"
    );
    for rule in [
        Rule::Level(6.0),
        Rule::Voice(0.5),
        Rule::Both(3.0, 0.5),
        Rule::Both(6.0, 0.5),
    ] {
        let run = |gate: &mut Gate, samples: &[i16]| {
            let mut passed = Vec::new();
            for block in samples.chunks(1600) {
                gate.pass(block, &mut passed);
            }
            passed.len()
        };
        let mut gate = Gate::new(rule, 16_000);
        let passed = run(&mut gate, &noise);
        let shut = |samples: &[i16]| {
            let mut gate = Gate::new(rule, 16_000);
            run(&mut gate, samples);
            usize::from(gate.starts() == 0)
        };
        let never: usize = speech.iter().map(|clip| shut(&clip.samples)).sum();
        let under: usize = speech
            .iter()
            .enumerate()
            .map(|(at, clip)| {
                // Three seconds of the noise alone come first, as on a site.
                let part: Vec<i16> = noise
                    .iter()
                    .cycle()
                    .skip(at * 40_009)
                    .take(clip.samples.len() + 48_000)
                    .copied()
                    .collect();
                let mut padded = vec![0; 48_000];
                padded.extend(&clip.samples);
                let scale = (padded.len() as f64 / clip.samples.len() as f64).log10() * 10.0;
                let mix = mixed(&padded, &part, 0, 10.0 - scale);
                let mut gate = Gate::new(rule, 16_000);
                run(&mut gate, &mix[..48_000]);
                gate.close();
                let before = gate.starts();
                run(&mut gate, &mix[48_000..]);
                usize::from(gate.starts() == before)
            })
            .sum();
        println!(
            "{rule:?}\t{hours:.3}\t{:.0}\t{:.2}\t{}\t{never}\t{under}",
            f64::from(gate.starts()) / hours,
            passed as f64 / noise.len() as f64,
            speech.len(),
        );
    }
}

/// How much sound after the end of the voice (the last 20 ms within 30 dB of the loudest) the ear
/// takes until it calls an answer ended: the part of the wait for a read-back that is listening.
#[test]
#[ignore = "a measurement: cargo test --test all mic::front::the_pause -- --ignored --nocapture"]
fn the_pause_that_ends_an_answer() {
    let list = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/clips.tsv");
    let mut ear = Ear::open(&ModelChoice::BuiltIn).expect("an ear");
    let (mut waits, mut takes) = (Vec::new(), Vec::new());
    for clip in clips(&list).iter().filter(|clip| !clip.said.is_empty()) {
        let read = sound::read(&clip.path).expect("a recording");
        let power = |frame: &[i16]| frame.iter().map(|&s| f64::from(s).powi(2)).sum::<f64>();
        let frames: Vec<f64> = read.samples.chunks(320).map(power).collect();
        let loudest = frames.iter().copied().fold(0.0, f64::max);
        let last = frames.iter().rposition(|level| *level > loudest / 1000.0);
        let end = last.map_or(0, |at| (at + 1) * 320);
        let mut samples = read.samples.clone();
        samples.extend(std::iter::repeat_n([2_i16, -2, 1, -1], 12_000).flatten());
        let graph = named_listening(&clip.grammar).expect("a grammar");
        let mut listener = ear.listen(&graph, 16_000).expect("an ear");
        let mut gate = Gate::new(Rule::default(), 16_000);
        let mut passed = Vec::new();
        let mut at = 0;
        for block in samples.chunks(320) {
            at += block.len();
            passed.clear();
            gate.pass(block, &mut passed);
            if !passed.is_empty()
                && let Some(heard) = listener.accept(&passed).expect("an ear")
                && at > end
            {
                waits.push((at - end) as f64 / 16_000.0);
                takes.push(heard.seconds_taken);
                break;
            }
        }
    }
    for (what, values) in [
        ("sound", &mut waits),
        ("decoding of the last piece", &mut takes),
    ] {
        values.sort_by(f64::total_cmp);
        println!(
            "{what}: median {:.3} s, 95th percentile {:.3} s, n {}",
            values[values.len() / 2],
            values[(values.len() * 95).div_ceil(100) - 1],
            values.len()
        );
    }
    assert!(waits.len() > 10);
}

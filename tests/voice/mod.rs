//! The voice: every sentence has its clips, tones differ in shape, and the ear understands it.

mod heard;
mod played;
mod synthesiser;
mod tones;
mod turns;

use std::collections::BTreeSet;

use sayback::edge::voice::clips::{Clips, RATE};
use sayback::edge::voice::plan::{Piece, name, plan};
use sayback::edge::voice::{Manner, Utterance, render, sound_of};
use sayback::job::built_in;

const SAID: &str = include_str!("../../voice/said.txt");

/// The sentences that have no clips, with what can be said of each.
pub fn without_clips(text: &str) -> Vec<(String, Vec<Piece>)> {
    plan(text, Clips::own())
        .into_iter()
        .filter_map(|piece| match piece {
            Piece::Other { sentence, rest } => Some((sentence, rest)),
            _ => None,
        })
        .collect()
}

/// Fails where a built-in job says something that has no clips. Every test of the core says its sentences here.
pub fn has_clips(job: &str, text: &str) {
    // What the system says about a disk is on the screen, and only there.
    // What it says about a microphone too: aloud it is "Microphone lost.", for whatever reason.
    let by_system = ["NOT SAVED", "gone", "The microphone is gone"];
    if built_in::text(job).is_none() || by_system.iter().any(|begin| text.starts_with(begin)) {
        return;
    }
    let missing: Vec<_> = without_clips(text)
        .into_iter()
        .filter(|(sentence, rest)| {
            // What a finding lacks is named on the screen; aloud only that it cannot tell.
            let lacks = ["Cannot tell: ", "Measure "]
                .iter()
                .any(|begin| sentence.starts_with(begin))
                || sentence.ends_with(", not a number.");
            !lacks || (sentence.starts_with("Cannot tell") && rest.is_empty())
        })
        .collect();
    assert!(
        missing.is_empty(),
        "no clips for {missing:?}: put what is missing into voice/said.txt and render again"
    );
}

/// What `voice/render.py` renders, found here a second time from the same sources.
fn wanted() -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    let mut endings: &[&str] = &[""];
    for line in SAID.lines() {
        if line.starts_with('#') {
            for (mark, these) in [
                ("[three]", &[",", ".", "?"][..]),
                ("[two]", &[",", "."]),
                ("[one]", &[""]),
            ] {
                if line.contains(mark) {
                    endings = these;
                }
            }
        } else if endings.len() == 1 {
            names.extend(sentences(line).iter().map(|sentence| name(sentence)));
        } else if !line.trim().is_empty() {
            names.extend(endings.iter().map(|end| name(&format!("{line}{end}"))));
        }
    }
    for job in built_in::all() {
        let text: toml::Table = built_in::text(job.id).unwrap().parse().unwrap();
        walk(&toml::Value::Table(text), "", &mut names);
    }
    names
}

fn walk(value: &toml::Value, key: &str, names: &mut BTreeSet<String>) {
    match value {
        toml::Value::Table(table) => {
            for (key, value) in table {
                walk(value, key, names);
            }
        }
        // A list under `say` is what may be heard, not what is said.
        toml::Value::Array(list) if key != "say" => {
            for value in list {
                walk(value, key, names);
            }
        }
        toml::Value::String(text)
            if ["ask", "title", "caution", "cautions", "say", "lifts"].contains(&key) =>
        {
            for sentence in sentences(text) {
                let mut rest = sentence.as_str();
                while let Some((before, behind)) = rest.split_once('{') {
                    part(before, names);
                    rest = behind.split_once('}').map_or("", |(_, behind)| behind);
                }
                part(rest, names);
            }
        }
        _ => {}
    }
}

fn part(text: &str, names: &mut BTreeSet<String>) {
    let text = text.trim_matches([' ', ',', ';', ':']);
    if text.contains(char::is_alphanumeric) {
        names.insert(name(text));
    }
}

/// Sentences end at a mark with a blank behind it.
fn sentences(text: &str) -> Vec<String> {
    text.replace(". ", ".\n")
        .replace("? ", "?\n")
        .replace("! ", "!\n")
        .lines()
        .map(|line| line.trim().to_owned())
        .filter(|line| line.contains(char::is_alphanumeric))
        .collect()
}

#[test]
fn the_pack_is_what_the_jobs_and_the_list_of_phrases_say() {
    let there: BTreeSet<String> = Clips::own().names().map(str::to_owned).collect();
    let wanted = wanted();
    let missing: Vec<_> = wanted.difference(&there).collect();
    let left_over: Vec<_> = there.difference(&wanted).collect();
    assert!(
        missing.is_empty(),
        "{} not rendered: {missing:?}",
        missing.len()
    );
    assert!(left_over.is_empty(), "nobody says: {left_over:?}");
}

/// Each clip decodes to its length, is about as loud as the others, and neither begins nor ends with a click.
#[test]
fn every_clip_is_sound_of_even_loudness_without_clicks() {
    let clips = Clips::own();
    let mut seconds = 0.0;
    for name in clips.names() {
        let sound = clips.samples(clips.find(name).unwrap()).expect(name);
        seconds += sound.len() as f64 / f64::from(RATE);
        let peak = sound.iter().fold(0.0_f32, |peak, s| peak.max(s.abs()));
        assert!((0.1..=1.05).contains(&peak), "{name}: peak {peak}");
        assert!(
            sound.len() > RATE as usize / 20,
            "{name}: {} samples",
            sound.len()
        );
        let ends = [&sound[..12], &sound[sound.len() - 12..]].concat();
        assert!(ends.iter().all(|s| s.abs() < 0.02), "{name}: clicks");
        let mut frames: Vec<f32> = sound
            .chunks_exact(RATE as usize / 50)
            .map(|frame| (frame.iter().map(|s| s * s).sum::<f32>() / frame.len() as f32).sqrt())
            .collect();
        let loudest = frames.iter().copied().fold(0.0, f32::max);
        frames.retain(|level| *level > loudest * 0.25);
        let level = (frames.iter().map(|f| f * f).sum::<f32>() / frames.len() as f32).sqrt();
        assert!((0.07..=0.16).contains(&level), "{name}: level {level}");
    }
    assert!(seconds > 60.0);
}

fn pieces_of(text: &str) -> Vec<String> {
    let clips = Clips::own();
    plan(text, clips)
        .iter()
        .map(|piece| match piece {
            Piece::Clip(at) | Piece::Word(at) => clips
                .names()
                .find(|name| clips.find(name) == Some(*at))
                .unwrap()
                .to_owned(),
            Piece::Gap(ms) => format!("{ms}"),
            Piece::Other { sentence, rest } => format!("other {sentence}: {}", rest.len()),
        })
        .filter(|piece| piece.parse::<u32>().is_err())
        .collect()
}

#[test]
fn a_value_is_said_digit_by_digit_and_closes_as_a_question_or_a_statement() {
    assert_eq!(
        pieces_of("four point zero two milliamps."),
        ["four", "point", "zero", "two", "milliamps."]
    );
    assert_eq!(
        pieces_of("-3.50 V?"),
        ["minus", "three", "point", "five", "zero", "volts?"]
    );
    assert_eq!(
        pieces_of("FV-118."),
        ["foxtrot", "victor", "dash", "one", "one", "eight."]
    );
    assert_eq!(
        pieces_of("Supply low by 12.5 per cent: measured at the actuator's own terminals?"),
        [
            "supply low by",
            "one",
            "two",
            "point",
            "five",
            "per cent measured at the actuator's own terminals?"
        ]
    );
}

/// Somebody's own job: the sentence is for the synthesiser; where there is none, its value is said.
#[test]
fn what_has_no_clips_keeps_its_values() {
    let plan = plan("Turn the flibber to 4.5 milliamps.", Clips::own());
    let [Piece::Other { sentence, rest }] = &plan[..] else {
        panic!("{plan:?}")
    };
    assert_eq!(sentence, "Turn the flibber to 4.5 milliamps.");
    assert_eq!(
        rest.iter()
            .filter(|piece| matches!(piece, Piece::Clip(_) | Piece::Word(_)))
            .count(),
        4,
        "{rest:?}"
    );
    let sound = render::mix(&plan, Clips::own(), &mut |_| None).unwrap();
    assert!(sound.len() > RATE as usize);
    let other = render::mix(&plan, Clips::own(), &mut |_| Some(vec![0.5; 7])).unwrap();
    assert_eq!(other, vec![0.5; 7]);
}

/// The longest value of the unit table takes less than three seconds, and the value comes first.
#[test]
fn a_value_is_said_in_under_three_seconds() {
    for text in [
        "one one nine nine point nine ohms.",
        "minus two point five percent.",
        "one two point three four five milliamps.",
    ] {
        let sound = said(text, RATE);
        let seconds = sound.len() as f64 / f64::from(RATE);
        assert!(seconds < 3.0, "{text}: {seconds} s");
    }
    let seconds = said("four point zero two milliamps.", RATE).len() as f64 / f64::from(RATE);
    assert!((0.8..3.0).contains(&seconds), "{seconds} s");
}

/// What the loudspeaker would be given.
fn said(text: &str, rate: u32) -> Vec<f32> {
    let utterance = Utterance {
        text: text.to_owned(),
        ..Utterance::default()
    };
    sound_of(&utterance, &Manner::default(), rate, &mut |_| None)
}

#[test]
fn speed_changes_the_length_and_not_the_height() {
    let tone: Vec<f32> = (0..48_000)
        .map(|n| (n as f32 * 440.0 * std::f32::consts::TAU / 24_000.0).sin() * 0.5)
        .collect();
    for speed in [0.7_f32, 1.3, 1.6] {
        let changed = render::stretch(&tone, speed);
        let wanted = tone.len() as f32 / speed;
        assert!(
            (changed.len() as f32 - wanted).abs() < 2_400.0,
            "{speed}: {} of {wanted}",
            changed.len()
        );
        let crossings = changed
            .windows(2)
            .filter(|w| w[0] < 0.0 && w[1] >= 0.0)
            .count() as f32;
        let hertz = crossings / changed.len() as f32 * 24_000.0;
        assert!((hertz - 440.0).abs() < 8.0, "{speed}: {hertz} Hz");
        let jump = changed
            .windows(2)
            .map(|w| (w[1] - w[0]).abs())
            .fold(0.0, f32::max);
        assert!(jump < 0.08, "{speed}: a click of {jump}");
    }
}

#[test]
fn a_resampled_tone_keeps_its_height_and_its_loudness() {
    let tone: Vec<f32> = (0..24_000)
        .map(|n| (n as f32 * 1_000.0 * std::f32::consts::TAU / 24_000.0).sin())
        .collect();
    for rate in [8_000, 16_000, 44_100, 48_000, 96_000] {
        let changed = render::resample(&tone, 24_000, rate);
        let middle = &changed[changed.len() / 4..changed.len() * 3 / 4];
        let worst = middle
            .iter()
            .enumerate()
            .map(|(at, sample)| {
                let n = (at + changed.len() / 4) as f32 / rate as f32;
                (sample - (n * 1_000.0 * std::f32::consts::TAU).sin()).abs()
            })
            .fold(0.0, f32::max);
        assert!(worst < 0.02, "{rate}: {worst}");
    }
}

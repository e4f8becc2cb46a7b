//! Noise and speech that is no answer, through the path of a real run: gate, two
//! ears, grammar of the open question, core, journal. Nothing may be written.
//!
//! The small form takes the recordings of the repository. The long form takes a
//! list as `sayback hear --table` does, and plays every recording that has no
//! transcript, again for each kind of question:
//! `SAYBACK_CLIPS=LIST cargo test --test all mic::noise::long -- --ignored --nocapture`

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, mpsc};

use sayback::core::record::{Body, Record, Started};
use sayback::core::run::Saved;
use sayback::core::{EarState, Run, View};
use sayback::drive::{Fed, Output, Session, Sound, Utterance};
use sayback::edge::clock::{self, Clock};
use sayback::edge::ear::{Ear, ModelChoice};
use sayback::edge::recording::Recording;
use sayback::edge::runs::RunFolder;
use sayback::edge::sound;
use sayback::job::load;
use sayback::journal::Journal;
use sayback::spoken::{CommandSet, Slot, SlotKind};
use sayback::storage::FileStorage;

use super::front::{Clip, clips};

/// One step of each kind that noise could answer.
const JOB: &str = r#"
format = 1
id = "noise"
title = "Noise"
purpose = "Asks while there is noise."
applies-to = "Tests."

[[step]]
id = "STEP"
"#;

const GATE: &str = r#"
title = "Gate"
ask = "Is it isolated?"
stage = "safety"
kind = "gate"
"#;

const READING: &str = r#"
title = "Reading"
ask = "Resistance from end to end?"
stage = "as-found"
kind = "reading"
unit = "ohm"
expect = ["0", "1200"]
"#;

const INSTRUCTION: &str = r#"
title = "Instruction"
ask = "Pull the plug of the potentiometer."
stage = "as-found"
kind = "instruction"
"#;

/// What is open while the noise plays.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Open {
    /// A safety question, yes or no.
    Gate,
    /// A reading.
    Reading,
    /// A reading that was read back: the next *affirm* keeps it. The most dangerous moment.
    ReadBack,
    /// The same of somebody who says that nobody else talks there: a *yes* keeps it.
    Alone,
    /// Something is to be done: *affirm* goes on.
    Instruction,
}

/// A recording, and before it, whenever a reading is asked for, a reading that somebody said.
struct Probe {
    recording: Recording,
    says: Option<(&'static str, Vec<i16>)>,
    waiting: Option<Utterance>,
    at_ms: u64,
    heard: Vec<String>,
}

impl Sound for Probe {
    fn listen(&mut self, slot: &Slot, commands: CommandSet, listen: u64) {
        self.recording.listen(slot, commands, listen);
        if let (Some((words, samples)), SlotKind::Number(_)) = (&self.says, &slot.kind) {
            self.waiting = Some(Utterance {
                words: (*words).to_owned(),
                listen,
                samples: samples.clone(),
                rate: 16_000,
                damaged: false,
            });
        }
    }

    fn close(&mut self) {
        self.recording.close();
    }

    fn feed(&mut self) -> Option<Fed> {
        if let Some(said) = self.waiting.take() {
            return Some(Fed::Time {
                at_ms: self.at_ms,
                heard: Some(said),
            });
        }
        let fed = self.recording.feed();
        if let Some(Fed::Time { at_ms, heard }) = &fed {
            self.at_ms = *at_ms;
            if let Some(heard) = heard.as_ref().filter(|heard| !heard.words.is_empty()) {
                self.heard.push(heard.words.clone());
            }
        }
        fed
    }

    fn feed_is_never(&self) -> bool {
        false
    }
}

struct Unseen;

impl Output for Unseen {
    fn show(&mut self, _: &View) -> std::io::Result<()> {
        Ok(())
    }
    fn say(&mut self, _: &str) {}
    fn hush(&mut self) {}
}

/// What came of one recording.
pub(super) struct Came {
    pub(super) heard: Vec<String>,
    /// Records but the head and those of the microphone, by kind.
    pub(super) records: Vec<String>,
}

/// Plays it to a run whose question of this kind is open, and reads the journal.
pub(super) fn play(open: Open, samples: sound::Sound, ear: Ear) -> Came {
    let step = match open {
        Open::Gate => GATE,
        Open::Instruction => INSTRUCTION,
        _ => READING,
    };
    let text = JOB.replace("id = \"STEP\"\n", "id = \"asked\"") + step;
    let job = load::parse(&text, "noise.toml").expect("a job");
    let runs = tempfile::tempdir().expect("a folder");
    let started = Started::of(&job, "test", BTreeMap::new());
    let folder = RunFolder::create(runs.path(), &clock::day(), &job.id, &text).expect("a folder");
    let storage = FileStorage::create_new(&folder.journal()).expect("a journal");
    let first = Record {
        at: clock::wall(),
        body: Body::Started(started.clone()),
    };
    let saved = Saved::new(&job, started);
    let mut run = Run::new(Arc::new(job), saved);
    run.live.ear = EarState::Open;
    run.live.microphone.alone = open == Open::Alone;
    let mut probe = Probe {
        recording: Recording::new(samples, ear, true),
        says: matches!(open, Open::ReadBack | Open::Alone).then(|| ("five one two", reading())),
        waiting: None,
        at_ms: 0,
        heard: Vec::new(),
    };
    let (sender, world) = mpsc::sync_channel(4);
    drop(sender);
    let journal = Journal::create(storage, &first).expect("a journal");
    let _ended = Session {
        question: None,
        deaf: false,
        run,
        journal,
        folder: folder.clone(),
        output: &mut Unseen,
        sound: &mut probe,
        world,
        clock: Clock::standing(),
        unsaved: Vec::new(),
        keys_gone: false,
        unseen: None,
    }
    .drive();
    let storage = FileStorage::open(&folder.journal()).expect("a journal");
    let opened: sayback::journal::Opened<Record, FileStorage> =
        Journal::open(storage).expect("a journal");
    let records = opened
        .records
        .iter()
        .map(|entry| &entry.record.body)
        .filter(|body| !matches!(body, Body::Started(_) | Body::Microphone { .. }))
        .map(|body| {
            let json = serde_json::to_value(body).expect("a record");
            json["kind"].as_str().unwrap_or("?").to_owned()
        })
        .collect();
    Came {
        heard: probe.heard,
        records,
    }
}

/// The reading that waits for its yes, as it was said into the microphone.
fn reading() -> Vec<i16> {
    let clips = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/clips");
    let read = sound::read(&clips.join("number-plain.flac")).expect("a recording");
    assert_eq!(read.rate, 16_000);
    read.samples
}

/// The loudest tenth of a second, root mean square.
fn loudest(samples: &[i16]) -> f64 {
    let power = |tenth: &[i16]| {
        let squares: f64 = tenth.iter().map(|&step| f64::from(step).powi(2)).sum();
        squares / 1600.0
    };
    let tenths = samples.windows(1600).step_by(160).map(power);
    tenths.fold(0.0, f64::max).sqrt()
}

/// A yes that arrives so many decibels fainter than the reading does.
pub(super) fn fainter(yes: &[i16], decibels: f64) -> Vec<i16> {
    let gain = loudest(&reading()) / loudest(yes) / 10_f64.powf(decibels / 20.0);
    yes.iter()
        .map(|&step| (f64::from(step) * gain).clamp(-32_768.0, 32_767.0) as i16)
        .collect()
}

/// Whether this yes, so much fainter, keeps the value that was read back to somebody alone.
fn keeps(yes: &[i16], decibels: f64, ear: Ear) -> (bool, bool) {
    let mut samples = fainter(yes, decibels);
    samples.extend(vec![0; 16_000]);
    let sound = sound::Sound {
        samples,
        rate: 16_000,
    };
    let came = play(Open::Alone, sound, ear);
    let kept = came.records.iter().any(|kind| kind == "answered");
    (kept, !came.heard.is_empty())
}

/// Whoever stands near the microphone said the value; whoever is much fainter did not affirm it.
#[test]
fn a_yes_from_far_away_keeps_no_value() {
    let clips = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/clips");
    let yes = sound::read(&clips.join("yes.flac")).expect("a recording");
    let ear = || Ear::open(&ModelChoice::BuiltIn).expect("an ear");
    assert_eq!(keeps(&yes.samples, 0.0, ear()), (true, true));
    assert_eq!(keeps(&yes.samples, 8.0, ear()), (true, true));
    assert_eq!(
        keeps(&yes.samples, 16.0, ear()),
        (false, true),
        "heard, and not taken"
    );
}

/// Every "yes" of the list as a stranger's, at several distances.
#[test]
#[ignore = "needs recordings: SAYBACK_CLIPS names their list"]
fn strangers_at_a_distance() {
    let list = std::env::var("SAYBACK_CLIPS").expect("SAYBACK_CLIPS names a list of recordings");
    let all = clips(Path::new(&list));
    let said: Vec<&Clip> = all
        .iter()
        .filter(|clip| clip.said == "yes" && clip.group == "sc-yes")
        .collect();
    println!("fainter_by\ttrials\theard\tvalue_kept");
    for decibels in [0.0, 6.0, 9.0, 11.0, 14.0, 20.0] {
        let (mut heard, mut kept) = (0, 0);
        for clip in &said {
            let read = sound::read(&clip.path).expect("a recording");
            let ear = Ear::open(&ModelChoice::BuiltIn).expect("an ear");
            let (is_kept, is_heard) = keeps(&read.samples, decibels, ear);
            kept += usize::from(is_kept);
            heard += usize::from(is_heard);
        }
        println!("{decibels} dB\t{}\t{heard}\t{kept}", said.len());
    }
}

fn joined(clips: &[&Clip]) -> sound::Sound {
    let mut samples = Vec::new();
    for clip in clips {
        let read = sound::read(&clip.path).expect("a recording");
        assert_eq!(read.rate, 16_000);
        samples.extend(read.samples);
        // A pause ends the utterance.
        samples.extend(vec![0; 16_000]);
    }
    sound::Sound {
        samples,
        rate: 16_000,
    }
}

const HEADER: &str = "group\tasked\trecordings\thours\tfalse_hearings\tfalse_hearings_per_hour\tfalse_records\tfalse_stops\twhat";

/// Plays each group for each kind of question, prints the counts, and gives the false records.
fn table(all: &[Clip]) -> usize {
    let mut groups: BTreeMap<&str, Vec<&Clip>> = BTreeMap::new();
    for clip in all.iter().filter(|clip| clip.said.is_empty()) {
        // The grammar is that of the question: the same recording once for each is enough.
        let known = groups.entry(clip.group.as_str()).or_default();
        if known.iter().all(|other| other.path != clip.path) {
            known.push(clip);
        }
    }
    let mut false_records = 0;
    println!("{HEADER}");
    for (group, clips) in groups {
        for open in [
            Open::Gate,
            Open::Reading,
            Open::Instruction,
            Open::ReadBack,
            Open::Alone,
        ] {
            let samples = joined(&clips);
            let hours = samples.seconds() / 3600.0;
            let ear = Ear::open(&ModelChoice::BuiltIn).expect("an ear");
            let came = play(open, samples, ear);
            let stops = came
                .records
                .iter()
                .filter(|kind| *kind == "stopped")
                .count();
            let written: Vec<&String> = came
                .records
                .iter()
                .filter(|kind| *kind != "stopped")
                .collect();
            false_records += written.len();
            println!(
                "{group}\t{open:?}\t{}\t{hours:.3}\t{}\t{:.1}\t{}\t{stops}\theard {:?}, written {written:?}",
                clips.len(),
                came.heard.len(),
                came.heard.len() as f64 / hours,
                written.len(),
                came.heard,
            );
        }
    }
    false_records
}

#[test]
fn noise_of_the_repository_writes_nothing() {
    let list = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/clips.tsv");
    let all = clips(&list);
    assert!(all.iter().filter(|clip| clip.said.is_empty()).count() >= 7);
    assert_eq!(table(&all), 0, "records from noise");
}

/// The same path does write what is said: else the test above could not fail.
#[test]
fn an_answer_on_the_same_path_is_written() {
    let list = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/clips.tsv");
    let all = clips(&list);
    let yes = all
        .iter()
        .find(|clip| matches!(clip.said.as_str(), "yes" | "affirm" | "affirmative"))
        .expect("a yes among the recordings");
    let ear = Ear::open(&ModelChoice::BuiltIn).expect("an ear");
    let came = play(Open::Alone, joined(&[yes]), ear);
    assert_eq!(
        came.records.first().map(String::as_str),
        Some("answered"),
        "{:?}",
        came.heard
    );
}

#[test]
#[ignore = "needs recordings: SAYBACK_CLIPS names their list"]
fn long() {
    let list = std::env::var("SAYBACK_CLIPS").expect("SAYBACK_CLIPS names a list of recordings");
    let written = table(&clips(Path::new(&list)));
    println!("false records in all: {written}");
}

//! What is heard in the recordings, and what is not heard in noise and other speech.

use std::hash::{DefaultHasher, Hash, Hasher};

use sayback::edge::ear::{GARBAGE, Heard};
use sayback::edge::sound::{self, Sound};
use sayback::hear::{FileOptions, TABLE_HEADER, TableOptions, run_files, run_table};

use super::{DIGITS, any_number_of, ear, fixtures, hear, phrase, phrases};

/// The figures of a table, by group and column.
fn figures(list: &std::path::Path, options: &TableOptions) -> Vec<Vec<String>> {
    let mut out = Vec::new();
    run_table(list, options, &mut out).expect("the table is measured");
    let out = String::from_utf8(out).expect("text");
    let lines: Vec<&str> = out.lines().collect();
    let header = lines
        .iter()
        .position(|line| *line == TABLE_HEADER)
        .expect("a header");
    lines[header + 1..]
        .iter()
        .map(|line| line.split('\t').map(str::to_owned).collect())
        .collect()
}

#[test]
fn every_answer_of_the_fixtures_is_heard_and_nothing_else() {
    let rows = figures(&fixtures().join("clips.tsv"), &TableOptions::default());
    for row in &rows {
        let [
            group,
            clips,
            words,
            word_errors,
            sentence_errors,
            value_errors,
            empty,
            false_accepts,
            ..,
        ] = &row[..]
        else {
            panic!("a short row: {row:?}")
        };
        assert_eq!(word_errors, "0", "{group}: {row:?}");
        assert_eq!(sentence_errors, "0", "{group}: {row:?}");
        assert_eq!(value_errors, "0", "{group}: {row:?}");
        assert_eq!(empty, "0", "{group}: {row:?}");
        assert_eq!(false_accepts, "0", "{group}: {row:?}");
        assert_ne!(clips, "0", "{group}");
        let quiet = ["noise", "other-speech"].contains(&group.as_str());
        assert_eq!(words == "0", quiet, "{group}: {row:?}");
    }
    assert_eq!(rows.last().expect("rows")[0], "total");
}

#[test]
fn a_wrong_transcript_is_counted_as_errors() {
    let folder = tempfile::tempdir().expect("a folder");
    let clip = |name: &str| fixtures().join("clips").join(name).display().to_string();
    let list = folder.path().join("list.tsv");
    std::fs::write(
        &list,
        format!(
            "path\ttranscript\tgroup\tgrammar\n{}\tno\twrong\tyes-no\n{}\tyes\tsilent\tyes-no\n{}\t\tsurprise\tyes-no\n",
            clip("yes.flac"),
            clip("noise-wind.flac"),
            clip("yes.flac")
        ),
    )
    .expect("written");
    let rows = figures(&list, &TableOptions::default());
    let counts: Vec<&[String]> = rows.iter().map(|row| &row[1..8]).collect();
    assert_eq!(counts[0], ["1", "1", "1", "1", "1", "0", "0"]);
    assert_eq!(counts[1], ["1", "1", "1", "1", "0", "1", "0"]);
    assert_eq!(counts[2], ["1", "0", "0", "0", "0", "0", "1"]);
    assert_eq!(counts[3], ["3", "2", "2", "2", "1", "1", "1"]);
}

#[test]
fn a_strict_grammar_keeps_the_order_of_words() {
    let sound = sound::read(&fixtures().join("clips/number-milliamps.flac")).expect("sound");
    let mut ear = ear();
    let right = phrases(&["four point zero two milliamps"]);
    assert_eq!(
        phrase(&mut ear, &right, &sound),
        "four point zero two milliamps"
    );
    // The same words in another order are not this utterance: it is not
    // understood, where a word list would have heard it.
    let turned = phrases(&["milliamps two zero point four"]);
    assert_eq!(phrase(&mut ear, &turned, &sound), "");
}

#[test]
fn an_answer_with_more_around_it_is_not_understood() {
    let sound = sound::read(&fixtures().join("clips/number-milliamps.flac")).expect("sound");
    let heard = hear(&mut ear(), &phrases(&["zero two"]), &sound);
    assert!(
        heard.iter().all(|heard| heard.words.is_empty()),
        "{heard:?}"
    );
    assert!(heard.iter().any(|heard| heard.unclear));
}

/// What is heard, yes or no asked for, of a number with a "yes" so many tenths of a second of quiet behind it.
fn yes_after_a_number(pause: u32) -> Vec<Heard> {
    let clip = |name: &str| sound::read(&fixtures().join("clips").join(name)).expect("sound");
    let mut sound = clip("number-milliamps.flac");
    let quiet =
        (0..pause * sound.rate / 10).map(|at| i16::try_from(at * 7919 % 9).expect("small") - 4);
    sound.samples.extend(quiet);
    sound.samples.extend(clip("yes.flac").samples);
    hear(&mut ear(), &phrases(&["yes", "no"]), &sound)
}

#[test]
fn what_follows_at_once_on_something_not_understood_is_not_understood_either() {
    let words = |heard: &[Heard]| heard.iter().map(Heard::phrase).collect::<String>();
    let soon = yes_after_a_number(1);
    let unclear = soon.iter().filter(|heard| heard.unclear).count();
    assert_eq!((unclear, words(&soon).as_str()), (2, ""));
    assert_eq!(words(&yes_after_a_number(20)), "yes");
}

#[test]
fn silence_is_nothing_and_not_even_unclear() {
    for level in [0_u64, 1, 30] {
        // Hashed, for noise: steps at even distances make a faint buzz, which is no silence.
        let samples = (0..48_000_u32).map(|at| {
            let mut hasher = DefaultHasher::new();
            at.hash(&mut hasher);
            let step = hasher.finish() % (2 * level + 1);
            i16::try_from(step).expect("small") - i16::try_from(level).expect("small")
        });
        let sound = Sound {
            rate: 16_000,
            samples: samples.collect(),
        };
        let heard = hear(&mut ear(), &any_number_of(&DIGITS), &sound);
        assert_eq!(heard.len(), 1, "at level {level}: {heard:?}");
        assert!(
            heard[0].words.is_empty() && !heard[0].unclear,
            "at level {level}: {heard:?}"
        );
    }
}

#[test]
fn an_utterance_ends_by_itself_when_the_speaker_pauses() {
    let mut sound = sound::read(&fixtures().join("clips/digits-slow.flac")).expect("sound");
    let quiet: Vec<i16> = (0..32_000)
        .map(|at: i32| i16::try_from(at * 7919 % 9 - 4).expect("small"))
        .collect();
    sound.samples.extend(&quiet);
    let mut ear = ear();
    let mut listener = ear
        .listen(&any_number_of(&DIGITS), sound.rate)
        .expect("compiles");
    let (at, heard) = sound
        .samples
        .chunks(1_600)
        .enumerate()
        .find_map(|(at, samples)| Some(at).zip(listener.accept(samples).expect("goes on")))
        .expect("an utterance before the sound is over");
    assert_eq!(heard.phrase(), "eight one three");
    let last = heard.words.last().expect("words").end_s;
    let ended = (at + 1) as f64 * 0.1;
    assert!(
        ended - last < 1.2,
        "word ended at {last} s, utterance at {ended} s"
    );
    // Its sound is in the clip, and not the whole pause.
    assert_eq!(heard.rate, 16_000);
    let clip = heard.samples.len() as f64 / 16_000.0;
    assert!((1.0..last + 0.5).contains(&clip), "{clip} s");
    assert!(heard.seconds_taken > 0.0);
    assert!(listener.finish().expect("ends").words.is_empty());
}

#[test]
fn garbage_is_never_handed_out_as_a_word() {
    let mut ear = ear();
    for clip in ["other-speech", "other-language", "noise-knocks"] {
        let sound = sound::read(&fixtures().join(format!("clips/{clip}.flac"))).expect("sound");
        for heard in hear(&mut ear, &any_number_of(&DIGITS), &sound) {
            assert!(heard.words.iter().all(|word| word.word != GARBAGE));
        }
    }
}

#[test]
fn files_are_written_out_word_by_word() {
    let file = fixtures().join("clips/number-ohms.flac");
    let options = FileOptions {
        grammar: "numbers".to_owned(),
        json: true,
        ..FileOptions::default()
    };
    let mut out = Vec::new();
    run_files(&[file], &options, &mut out).expect("heard");
    let json: serde_json::Value = serde_json::from_slice(&out).expect("one JSON object");
    let utterance = &json["utterances"][0];
    assert_eq!(utterance["phrase"], "five one two ohms");
    let words = utterance["words"].as_array().expect("words");
    assert_eq!(words.len(), 4);
    let mut end = 0.0;
    for word in words {
        let (start_s, end_s) = (
            word["start_s"].as_f64().expect("s"),
            word["end_s"].as_f64().expect("s"),
        );
        assert!(end <= start_s && start_s < end_s, "{json}");
        end = end_s;
    }
    assert!(end <= json["seconds"].as_f64().expect("s"), "{json}");
}

/// Seconds from the end of the voice (its last fiftieth of a second within 30 dB of the loudest) to
/// each utterance that is given while quiet follows, block by block as from a microphone.
fn given_after(name: &str, grammar: &str) -> Vec<(f64, String)> {
    let mut sound = sound::read(&fixtures().join("clips").join(name)).expect("sound");
    let (rate, block) = (sound.rate as usize, sound.rate as usize / 10);
    let frames: Vec<f64> = sound
        .samples
        .chunks(rate / 50)
        .map(|frame| frame.iter().map(|&step| f64::from(step).powi(2)).sum())
        .collect();
    let loudest = frames.iter().fold(0.0, |most: f64, &frame| most.max(frame));
    let last = frames.iter().rposition(|&frame| frame > loudest / 1000.0);
    let ends = (last.expect("a voice") + 1) as f64 / 50.0;
    sound.samples.extend(vec![0; rate * 2]);
    let graph = sayback::spoken::named_listening(grammar).expect("a grammar");
    let mut listener = ear().listen(&graph, sound.rate).expect("a question");
    let mut given = Vec::new();
    for (place, block) in sound.samples.chunks(block).enumerate() {
        if let Some(heard) = listener.accept(block).expect("a working ear") {
            given.push(((place + 1) as f64 / 10.0 - ends, heard.phrase()));
        }
    }
    given
}

#[test]
fn a_stop_is_given_before_its_pause_and_once() {
    for grammar in ["MA", "YN", "commands"] {
        let given = given_after("stop.flac", grammar);
        assert_eq!(given.len(), 1, "{grammar}: {given:?}");
        assert_eq!(given[0].1, "stop", "{grammar}");
        assert!(given[0].0 < 0.7, "{grammar}: {given:?}");
    }
}

/// What is understood before the pause may still change: only a stop is taken from it.
#[test]
fn nothing_but_a_stop_is_given_before_its_pause() {
    for (name, grammar, words) in [
        ("yes.flac", "YN", "yes"),
        ("affirm.flac", "MA", "affirm"),
        ("no.flac", "YN", "no"),
        ("go-back.flac", "commands", "go back"),
        ("number-milliamps.flac", "MA", ""),
    ] {
        let given = given_after(name, grammar);
        assert_eq!(given.len(), 1, "{name}: {given:?}");
        assert!(given[0].1.contains(words), "{name}: {given:?}");
        assert!(given[0].0 > 0.7, "{name}: {given:?}");
    }
}

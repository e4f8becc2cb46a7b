//! Sound files: formats, rates, and damaged ones.

use std::fs;
use std::io::Cursor;
use std::path::Path;

use sayback::edge::ear::{EarError, rate_warning};
use sayback::edge::sound::{self, Sound, SoundError, write_wav};

use super::{ear, fixtures, phrase, phrases};

fn wav(sound: &Sound) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    write_wav(&mut bytes, sound.rate, &sound.samples).expect("written");
    bytes.into_inner()
}

fn read_bytes(name: &str, bytes: &[u8]) -> Result<Sound, SoundError> {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join(name);
    fs::write(&path, bytes).expect("written");
    sound::read(&path)
}

fn number() -> Sound {
    sound::read(&fixtures().join("clips/number-seconds.flac")).expect("read")
}

#[test]
fn flac_and_wav_of_one_recording_are_the_same() {
    let flac = number();
    assert_eq!(flac.rate, 16_000);
    // The name does not matter, the first bytes do.
    assert_eq!(read_bytes("sound.flac", &wav(&flac)).expect("read"), flac);
}

#[test]
fn two_channels_are_averaged() {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).expect("a writer");
    for sample in [100_i16, 300, -32_768, -32_768, 32_767, -32_767] {
        writer.write_sample(sample).expect("written");
    }
    writer.finalize().expect("ended");
    let sound = read_bytes("two.wav", bytes.get_ref()).expect("read");
    assert_eq!(sound.samples, [200, -32_768, 0]);
}

/// Linear interpolation: crude, but speech below 4 kHz survives it.
fn at_rate(sound: &Sound, rate: u32) -> Sound {
    let (from, to) = (i64::from(sound.rate), i64::from(rate));
    let length = i64::try_from(sound.samples.len()).expect("short") * to / from;
    let sample = |at: i64| {
        let at = usize::try_from(at).expect("not negative");
        sound.samples.get(at).copied().map_or(0, i64::from)
    };
    let samples = (0..length).map(|at| {
        let (before, part) = (at * from / to, at * from % to);
        let between = ((to - part) * sample(before) + part * sample(before + 1)) / to;
        i16::try_from(between).expect("between two samples")
    });
    Sound {
        rate,
        samples: samples.collect(),
    }
}

#[test]
fn the_same_words_are_heard_at_every_rate() {
    let graph = phrases(&[
        "one five point three seconds",
        "one nine point three seconds",
        "five one two ohms",
    ]);
    let original = number();
    let mut ear = ear();
    for rate in [8_000, 16_000, 22_050, 44_100, 48_000] {
        let copy = at_rate(&original, rate);
        assert_eq!(
            phrase(&mut ear, &graph, &copy),
            "one five point three seconds",
            "at {rate}"
        );
    }
}

#[test]
fn a_low_rate_is_warned_of_and_a_mad_one_refused() {
    assert!(rate_warning(8_000).is_some());
    assert!(rate_warning(16_000).is_none());
    for rate in [0, 7_999, 48_001, 192_000] {
        let fault = ear().listen(&phrases(&["yes"]), rate).err();
        assert!(
            matches!(fault, Some(EarError::Rate(found)) if found == rate),
            "{rate}"
        );
    }
}

#[test]
fn kinds_that_are_not_read_are_named() {
    let mut spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let wav_of = |spec| {
        let mut bytes = Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).expect("a writer");
        for _ in 0..spec.channels {
            if spec.sample_format == hound::SampleFormat::Float {
                writer.write_sample(0.5_f32).expect("written");
            } else {
                writer.write_sample(5_i32).expect("written");
            }
        }
        writer.finalize().expect("ended");
        bytes.into_inner()
    };
    let message = |spec| {
        read_bytes("x.wav", &wav_of(spec))
            .expect_err("refused")
            .to_string()
    };
    assert!(
        message(spec).contains("24-bit sound of 1 channel at 16000"),
        "{}",
        message(spec)
    );
    spec.bits_per_sample = 32;
    spec.sample_format = hound::SampleFormat::Float;
    assert!(
        message(spec).contains("32-bit floating-point sound"),
        "{}",
        message(spec)
    );
    spec.sample_format = hound::SampleFormat::Int;
    spec.bits_per_sample = 16;
    spec.channels = 3;
    assert!(message(spec).contains("of 3 channels"), "{}", message(spec));
    spec.channels = 1;
    spec.sample_rate = 96_000;
    assert!(
        message(spec).contains("at 96000 samples a second"),
        "{}",
        message(spec)
    );
    assert!(message(spec).contains("sox"), "{}", message(spec));
}

#[test]
fn other_files_are_refused_with_a_reason() {
    assert!(matches!(
        read_bytes("x.wav", b"hello"),
        Err(SoundError::Unknown { .. })
    ));
    assert!(matches!(
        sound::read(Path::new("/nowhere.wav")),
        Err(SoundError::Read { .. })
    ));
    let empty = wav(&Sound {
        rate: 16_000,
        samples: Vec::new(),
    });
    assert!(matches!(
        read_bytes("x.wav", &empty),
        Err(SoundError::Empty { .. })
    ));
}

#[test]
fn a_recording_cut_anywhere_is_refused_or_shorter_but_never_a_panic() {
    let whole = number();
    let bytes = wav(&whole);
    for cut in (0..bytes.len()).step_by(997).chain(0..64) {
        match read_bytes("cut.wav", &bytes[..cut]) {
            Err(fault) => assert!(fault.to_string().contains("cut.wav"), "{fault}"),
            Ok(sound) => assert!(sound.samples.len() <= whole.samples.len()),
        }
    }
    let flac = fs::read(fixtures().join("clips/number-seconds.flac")).expect("read");
    for cut in (0..flac.len()).step_by(499).chain(0..64) {
        assert!(
            read_bytes("cut.flac", &flac[..cut]).is_err(),
            "cut at {cut}"
        );
    }
}

#[test]
fn a_header_that_claims_more_than_there_is_is_not_believed() {
    let mut bytes = wav(&number());
    bytes[40..44].copy_from_slice(&0xffff_fff0_u32.to_le_bytes());
    let fault = read_bytes("long.wav", &bytes).expect_err("refused");
    assert!(
        matches!(fault, SoundError::Damaged { at, .. } if at > 0),
        "{fault}"
    );
    bytes[24..28].copy_from_slice(&0_u32.to_le_bytes());
    assert!(read_bytes("rate.wav", &bytes).is_err());
}

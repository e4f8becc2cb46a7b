//! A person's own ear: the parts of the fitting against references and against brute force; the whole
//! by the command is in `command`.

mod command;
mod live;

use std::ops::ControlFlow;
use std::path::Path;

use ndarray::{Array2, array};
use sayback::edge::sound;
use sayback::enrolment::cepstra::Cepstra;
use sayback::enrolment::objective::{Following, Place, anything, said};
use sayback::enrolment::{
    Acoustics, Affine, Clip, FITTED, Files, FitError, Network, PROMPTS, is_held_back,
};

fn model(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("model/english")
        .join(name)
}

fn acoustics(name: &str) -> Acoustics {
    let text = |file: &str| std::fs::read_to_string(model(name).join(file)).unwrap();
    Acoustics::read(Files {
        network: std::fs::read(model(name).join("am/final.mdl")).unwrap(),
        statistics: Some(std::fs::read(model(name).join("am/global_cmvn.stats")).unwrap()),
        options: text("conf/mfcc.conf"),
        lexicon: text("lexicon.txt"),
        phones: text("graph/phones.txt"),
    })
    .unwrap()
}

fn fixture(name: &str) -> Vec<f32> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("audio-fixtures/clips")
        .join(name);
    let sound = sound::read(&path).unwrap();
    assert_eq!(sound.rate, 16_000);
    sound
        .samples
        .iter()
        .map(|sample| f32::from(*sample))
        .collect()
}

fn clip(name: &str, words: &str) -> Clip {
    Clip {
        samples: fixture(name),
        words: words.split(' ').map(str::to_owned).collect(),
    }
}

/// Source: kaldi-native-fbank 1.23.0 from `PyPI` (`OnlineMfcc`, no dither, no energy, 40 bins and
/// cepstra, 20 to 7600 Hz) on the same file.
#[test]
fn cepstra_are_those_of_the_reference_library() {
    let options = std::fs::read_to_string(model("one").join("conf/mfcc.conf")).unwrap();
    let cepstra = Cepstra::of_options(&options)
        .unwrap()
        .of(&fixture("number-ohms.flac"));
    assert_eq!(cepstra.dim(), (197, 40));
    for (frame, first, last) in [
        (
            0,
            [
                47.119f32, -23.849, -14.689, -13.174, -2.361, -4.771, -3.599, 4.709,
            ],
            -3.511f32,
        ),
        (
            60,
            [
                86.841, 7.756, 41.663, 31.917, 8.033, -14.788, -16.986, -34.069,
            ],
            -1.892,
        ),
        (
            100,
            [
                113.087, 7.276, -8.566, -0.248, -34.613, 19.732, -38.156, 0.271,
            ],
            -2.208,
        ),
    ] {
        for (place, wanted) in first.into_iter().enumerate().chain([(39, last)]) {
            let found = cepstra[[frame, place]];
            assert!(
                (found - wanted).abs() < 0.02,
                "frame {frame}, {place}: {found}, not {wanted}"
            );
        }
    }
}

#[test]
fn options_that_are_missing_or_no_numbers_are_named() {
    for (conf, named) in [
        (
            "--num-mel-bins=40\n--num-ceps=40\n--low-freq=20\n",
            "high-freq",
        ),
        (
            "--num-mel-bins=many\n--num-ceps=40\n--low-freq=20\n--high-freq=7600\n",
            "num-mel-bins",
        ),
        (
            "--num-mel-bins=4.5\n--num-ceps=40\n--low-freq=20\n--high-freq=7600\n",
            "num-mel-bins",
        ),
    ] {
        let told = Cepstra::of_options(conf).err().unwrap();
        assert!(told.contains(named), "{told}");
    }
}

fn place(enter: usize, optional: bool) -> Place {
    Place {
        enter,
        stay: enter + 1,
        optional,
    }
}

fn scores() -> Array2<f32> {
    array![
        [0.3f32, -0.2, 0.8, 0.1, -0.5, 0.4],
        [-0.7, 0.6, 0.2, 0.9, 0.3, -0.1],
        [0.5, 0.1, -0.4, 0.7, 1.1, 0.2],
        [0.0, 0.4, 0.6, -0.3, 0.2, 0.9],
    ]
}

/// Every timing of the places, one by one.
fn by_hand(scores: &Array2<f32>, places: &[Place]) -> f64 {
    fn go(
        scores: &Array2<f32>,
        places: &[Place],
        frame: usize,
        at: usize,
        so_far: f64,
        all: &mut Vec<f64>,
    ) {
        if frame == scores.nrows() {
            let rest = &places[at + 1..];
            if rest.is_empty() || (rest.len() == 1 && rest[0].optional) {
                all.push(so_far);
            }
            return;
        }
        let score = |output: usize| f64::from(scores[[frame, output]]);
        go(
            scores,
            places,
            frame + 1,
            at,
            so_far + score(places[at].stay),
            all,
        );
        for to in at + 1..places.len() {
            if places[at + 1..to].iter().all(|place| place.optional) && to <= at + 2 {
                go(
                    scores,
                    places,
                    frame + 1,
                    to,
                    so_far + score(places[to].enter),
                    all,
                );
            }
        }
    }
    let mut all = Vec::new();
    for begin in 0..places.len() {
        if begin == 0 || (begin == 1 && places[0].optional) {
            let first = f64::from(scores[[0, places[begin].enter]]);
            go(scores, places, 1, begin, first, &mut all);
        }
    }
    all.iter().map(|log| log.exp()).sum::<f64>().ln()
}

#[test]
fn the_sum_over_timings_is_that_of_every_timing_one_by_one() {
    for places in [
        vec![place(0, true), place(2, false), place(0, true)],
        vec![
            place(0, true),
            place(2, false),
            place(4, false),
            place(0, true),
        ],
        vec![place(2, false), place(0, true), place(4, false)],
        vec![place(2, false)],
    ] {
        let (total, _) = said(&scores(), &places).unwrap();
        let wanted = by_hand(&scores(), &places);
        assert!((total - wanted).abs() < 1e-9, "{total} {wanted}");
    }
}

#[test]
fn shares_are_the_slope_of_the_sum_and_add_up_to_one_a_frame() {
    let places = [
        place(0, true),
        place(2, false),
        place(4, false),
        place(0, true),
    ];
    let following = following();
    let (_, shares) = said(&scores(), &places).unwrap();
    let (_, any) = anything(&scores(), &following);
    for frame in 0..4 {
        assert!((shares.row(frame).sum() - 1.0).abs() < 1e-5);
        assert!((any.row(frame).sum() - 1.0).abs() < 1e-5);
        for output in 0..6 {
            let moved = |by: f32| {
                let mut scores = scores();
                scores[[frame, output]] += by;
                (
                    said(&scores, &places).unwrap().0,
                    anything(&scores, &following).0,
                )
            };
            let (up, down) = (moved(1e-2), moved(-1e-2));
            let slope = |up: f64, down: f64| (up - down) / 2e-2;
            assert!((slope(up.0, down.0) - f64::from(shares[[frame, output]])).abs() < 1e-3);
            assert!((slope(up.1, down.1) - f64::from(any[[frame, output]])).abs() < 1e-3);
        }
    }
}

fn following() -> Following {
    Following {
        outputs: vec![(0, 1), (2, 3), (4, 5)],
        begin: vec![0.5, 0.3, 0.2],
        next: vec![
            vec![0.1, 0.6, 0.3],
            vec![0.4, 0.2, 0.4],
            vec![0.3, 0.3, 0.4],
        ],
    }
}

/// Source: the forward sum written out over every sequence of phones.
#[test]
fn the_sum_over_anything_is_that_of_every_sequence() {
    let (scores, following) = (scores(), following());
    let mut sum = 0.0;
    // Each frame: 0-2 enters that phone, 3 stays in the last.
    for code in 0..4usize.pow(4) {
        let (mut chance, mut phone) = (1.0f64, None::<usize>);
        for frame in 0..4 {
            let act = code / 4usize.pow(frame) % 4;
            let score = |output: usize| f64::from(scores[[frame as usize, output]]).exp();
            chance *= match (act, phone) {
                (3, None) => 0.0,
                (3, Some(now)) => score(following.outputs[now].1),
                (to, None) => following.begin[to] * score(following.outputs[to].0),
                (to, Some(now)) => following.next[now][to] * score(following.outputs[to].0),
            };
            if act < 3 {
                phone = Some(act);
            }
        }
        sum += chance;
    }
    let (total, _) = anything(&scores, &following);
    assert!((total - sum.ln()).abs() < 1e-9, "{total} {}", sum.ln());
}

#[test]
fn too_short_a_sound_has_no_timing() {
    let places = vec![place(2, false); 5];
    assert!(said(&scores(), &places).is_none());
}

#[test]
fn a_network_written_again_computes_the_same() {
    let bytes = std::fs::read(model("two").join("am/final.mdl")).unwrap();
    let network = Network::read(bytes).unwrap();
    let layers = FITTED.map(|name| network.layer(name).unwrap().clone());
    let again = Network::read(network.with(&layers)).unwrap();
    assert_eq!(again.layer("out").unwrap(), network.layer("out").unwrap());
    let options = std::fs::read_to_string(model("two").join("conf/mfcc.conf")).unwrap();
    let cepstra = Cepstra::of_options(&options)
        .unwrap()
        .of(&fixture("yes.flac"));
    let (before, after) = (
        network.before_fitted(&cepstra).unwrap(),
        again.before_fitted(&cepstra).unwrap(),
    );
    assert_eq!(before, after);
    assert_eq!(before.nrows(), cepstra.nrows().div_ceil(3));
    let other = Affine {
        weights: &layers[0].weights * 2.0,
        bias: layers[0].bias.clone(),
    };
    let changed = Network::read(network.with(&[other.clone(), layers[1].clone()])).unwrap();
    assert_eq!(changed.layer("head").unwrap(), &other);
}

#[test]
fn a_damaged_network_is_refused_wherever_it_is_cut() {
    let bytes = std::fs::read(model("two").join("am/final.mdl")).unwrap();
    for part in [0, 10, 900, 2000, 3000, bytes.len() / 2, bytes.len() - 40] {
        assert!(Network::read(bytes[..part].to_vec()).is_err(), "{part}");
    }
    let other = String::from_utf8_lossy(&bytes[..0]).into_owned() + "not a network";
    let told = Network::read(other.into_bytes()).err().unwrap().to_string();
    assert!(told.contains("am/final.mdl"), "{told}");
}

#[test]
fn a_clip_fits_its_own_words_and_not_others() {
    let said = [
        ("yes.flac", "yes"),
        ("no.flac", "no"),
        ("stop.flac", "stop"),
        ("affirm.flac", "affirm"),
        ("go-back.flac", "go back"),
        ("number-ohms.flac", "five one two ohms"),
    ];
    for name in ["one", "two"] {
        let acoustics = acoustics(name);
        for (file, words) in said {
            for (_, other) in said {
                let fit = acoustics.fit_of(&clip(file, other)).unwrap();
                let fits = acoustics.fits(&clip(file, other)).unwrap();
                assert_eq!(fits, other == words, "{name}: {file} as {other}: {fit:?}");
            }
        }
        for noise in ["noise-fan.flac", "noise-room.flac", "noise-knocks.flac"] {
            let fit = acoustics.fit_of(&clip(noise, "five one two ohms")).unwrap();
            assert!(
                !acoustics.fits(&clip(noise, "five one two ohms")).unwrap(),
                "{noise}: {fit:?}"
            );
        }
    }
}

/// Prints how clips fit their own words and another's, from a list (path, words): where the limit is from.
#[test]
#[ignore = "wants SAYBACK_CLIPS=LIST, recordings of people"]
fn how_clips_fit() {
    let Some(list) = std::env::var_os("SAYBACK_CLIPS") else {
        panic!("not tested: SAYBACK_CLIPS names no list");
    };
    let rows: Vec<(String, String)> = std::fs::read_to_string(list)
        .unwrap()
        .lines()
        .filter_map(|line| {
            let mut parts = line.split('\t');
            Some((parts.next()?.to_owned(), parts.next()?.to_owned()))
        })
        .collect();
    let acoustics = acoustics("one");
    for (number, (path, words)) in rows.iter().enumerate() {
        let Ok(sound) = sound::read(Path::new(path)) else {
            continue;
        };
        let samples: Vec<f32> = sound
            .samples
            .iter()
            .map(|sample| f32::from(*sample))
            .collect();
        let later = rows[number..].iter().chain(&rows);
        let other = later.into_iter().find(|(_, other)| other != words).unwrap();
        let fit = |words: &str| {
            let words = words.split(' ').map(str::to_owned).collect();
            acoustics
                .fit_of(&Clip {
                    samples: samples.clone(),
                    words,
                })
                .unwrap()
        };
        println!(
            "fit\t{words}\t{:?}\t{}\t{:?}",
            fit(words),
            other.1,
            fit(&other.1)
        );
    }
}

#[test]
fn too_few_clips_are_told() {
    let few = vec![clip("yes.flac", "yes"); 3];
    let told = acoustics("two")
        .fitted(&few, &[], |_| ControlFlow::Continue(()))
        .unwrap_err();
    assert!(matches!(told, FitError::TooFew(3, _)), "{told}");
}

#[test]
fn the_prompts_can_be_heard_and_the_words_held_back_are_learnt_too() {
    let acoustics = acoustics("one");
    let words = |prompt: &str| prompt.split(' ').map(str::to_owned).collect::<Vec<_>>();
    let learnt: Vec<String> = PROMPTS
        .iter()
        .enumerate()
        .filter(|(number, _)| !is_held_back(*number))
        .flat_map(|(_, prompt)| words(prompt))
        .collect();
    for (number, prompt) in PROMPTS.iter().enumerate() {
        assert!(acoustics.knows(&words(prompt)), "{prompt}");
        if is_held_back(number) && *prompt != "skip" {
            for word in words(prompt) {
                assert!(learnt.contains(&word), "{word}");
            }
        }
    }
    for digit in [
        "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
    ] {
        assert!(
            learnt.iter().filter(|word| *word == digit).count() >= 4,
            "{digit}"
        );
    }
}

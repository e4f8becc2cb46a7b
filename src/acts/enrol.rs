//! `enrol`: the ear fitted to one person's voice, kept only where it hears that person better.

mod aloud;
mod recordings;

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread::ScopedJoinHandle;
use std::time::Duration;

use super::reading_aloud::{Breaks, ReadingAloud};
use super::{DONE, Failure, NOT_DONE};
use crate::args::EnrolArgs;
use crate::drive::Utterance;
use crate::edge::ear::{Ear, ModelChoice, ModelFolder, built_in_hash, cache_folder, weights_hash};
use crate::edge::own_voice::{self, About, Checked, Draft};
use crate::edge::settings::Settings;
use crate::edge::voice::clips::{self, Clips};
use crate::edge::voice::render::resample;
use crate::edge::{clock, tell};
use crate::enrolment::cepstra::RATE;
use crate::enrolment::{Acoustics, Clip, Files};
use crate::spoken;

/// Fewer clips held back than this prove nothing.
const FEWEST_HELD_BACK: usize = 6;

/// Teaches the ear a person's voice, from the microphone or from recordings, or forgets it.
///
/// # Errors
/// If the recordings, the model, the terminal or the user's folder cannot be used, there are too
/// few clips, or it was broken off.
pub fn enrol(args: &EnrolArgs) -> Result<u8, Failure> {
    if args.by.trim().is_empty() {
        return Err(Failure::wrong("a name is needed: --by \"your name\""));
    }
    if args.forget {
        let was = own_voice::forget(&args.by).map_err(Failure::not_saved)?;
        super::print(if was {
            "Forgotten, with the recordings it learnt from. The common ear listens again.\n"
        } else {
            "There was nothing to forget: the common ear listens.\n"
        })?;
        return Ok(DONE);
    }
    let lesson = Lesson::open()?;
    if let Some(list) = &args.recordings {
        let clips = recordings::read(list, lesson.guide())?;
        return lesson.learn(&args.by, &clips, &Breaks::begin()?);
    }
    let microphone = args
        .microphone
        .clone()
        .or_else(|| Settings::of_user().microphone);
    let mut desk =
        ReadingAloud::begin(ModelChoice::BuiltIn, microphone, args.plain, args.contrast)?;
    let clips = lesson.read_aloud(&mut desk, &[])?;
    lesson.learn(&args.by, &clips, &desk.end())
}

/// The common ears, opened to be fitted.
pub(super) struct Lesson {
    base: Vec<ModelFolder>,
    acoustics: Vec<Acoustics>,
}

impl Lesson {
    /// Opens them.
    ///
    /// # Errors
    /// If they cannot be unpacked or read.
    pub(super) fn open() -> Result<Self, Failure> {
        let base =
            ModelFolder::open(&ModelChoice::BuiltIn, &cache_folder()).map_err(Failure::wrong)?;
        let acoustics = base.iter().map(read).collect::<Result<_, _>>()?;
        Ok(Self { base, acoustics })
    }

    /// The one that tells whether a clip is what it should be.
    fn guide(&self) -> &Acoustics {
        &self.acoustics[0]
    }

    /// Reads the prompts with a person, but for those that were read before: clips, each with whether
    /// it is held back.
    ///
    /// # Errors
    /// As [`ReadingAloud::show_and_wait`].
    pub(super) fn read_aloud(
        &self,
        desk: &mut ReadingAloud,
        before: &[(&str, Utterance)],
    ) -> Result<Vec<(Clip, bool)>, Failure> {
        aloud::read(desk, before, self.guide())
    }

    /// Learns from clips, tries itself on those held back, and keeps the result if it is better.
    ///
    /// # Errors
    /// If there are too few clips, it cannot be written, or it is broken off; then what was in use
    /// stays in use.
    pub(super) fn learn(
        &self,
        by: &str,
        clips: &[(Clip, bool)],
        breaks: &Breaks,
    ) -> Result<u8, Failure> {
        let of = |wanted: bool| -> Vec<Clip> {
            let wanted = clips.iter().filter(|(_, held)| *held == wanted);
            wanted.map(|(clip, _)| clip.clone()).collect()
        };
        let (learn, held_back) = (of(false), of(true));
        if held_back.len() < FEWEST_HELD_BACK {
            return Err(Failure::wrong(format!(
                "only {} clips are held back for the check, and {FEWEST_HELD_BACK} are needed to tell whether it hears better. Enrol again in a quieter place, or give more recordings",
                held_back.len()
            )));
        }
        tell(&format!(
            "learning from {} clips; this takes about a minute. Ctrl-C breaks it off",
            learn.len()
        ));
        let networks = fit(&self.acoustics, &learn, breaks)?;
        let target = own_voice::folder(by).map_err(Failure::not_saved)?;
        let draft = Draft::new(&target, &self.base, &networks).map_err(Failure::not_saved)?;
        let check = |model: ModelChoice| check(&model, &held_back, breaks);
        let before = check(ModelChoice::BuiltIn)?;
        let after = check(ModelChoice::Folder(draft.folder().to_owned()))?;
        let figures =
            format!("Clips that it did not learn from: before {before}; after {after}.\n");
        // One that is of no use any more is no reason to keep nothing.
        let in_use = own_voice::find(by).ok().flatten();
        let known = match &in_use {
            Some(own) => Some(check(ModelChoice::Folder(own.models.clone()))?),
            None => None,
        };
        if !after.is_better_than(&before) {
            let stays = in_use.map_or("the common ear", |_| "your ear of before");
            super::print(&format!(
                "{figures}It does not hear you better than the common ear, so it is not kept; {stays} is used as until now.\n"
            ))?;
            return Ok(NOT_DONE);
        }
        if let Some(known) = known.filter(|known| known.is_better_than(&after)) {
            super::print(&format!(
                "{figures}Your ear of before hears them better ({known}), and stays. To begin anew: --forget first.\n"
            ))?;
            return Ok(NOT_DONE);
        }
        let about = About {
            by: by.trim().to_owned(),
            model: built_in_hash().to_owned(),
            folder: String::new(),
            weights: weights_hash(&networks),
            made_utc_ms: clock::wall().utc_ms,
            learnt_from: learn.len(),
            before,
            after,
        };
        let about = draft.keep(about, clips).map_err(Failure::not_saved)?;
        super::print(&format!(
            "{figures}Kept: with --by \"{}\" Sayback listens with it, in {}. Another person is heard worse by it; give their own name.\n",
            about.by,
            target.display()
        ))?;
        Ok(DONE)
    }
}

fn read(folder: &ModelFolder) -> Result<Acoustics, Failure> {
    let path = |name: &str| folder.folder().join(name);
    let bytes = |name: &str| {
        std::fs::read(path(name))
            .map_err(|error| Failure::wrong(format!("{}: {error}", path(name).display())))
    };
    let text = |name: &str| bytes(name).map(|bytes| String::from_utf8_lossy(&bytes).into_owned());
    let statistics = path("am/global_cmvn.stats");
    Acoustics::read(Files {
        network: bytes("am/final.mdl")?,
        statistics: if statistics.exists() {
            Some(bytes("am/global_cmvn.stats")?)
        } else {
            None
        },
        options: text("conf/mfcc.conf")?,
        lexicon: text("lexicon.txt")?,
        phones: text("graph/phones.txt")?,
    })
    .map_err(Failure::wrong)
}

/// Both networks at once, each on a thread of its own.
fn fit(acoustics: &[Acoustics], learn: &[Clip], breaks: &Breaks) -> Result<Vec<Vec<u8>>, Failure> {
    let others: Vec<Clip> = others(&acoustics[0]);
    let broken = AtomicBool::new(false);
    let quarters = AtomicUsize::new(0);
    let (fitted, broken_off) = std::thread::scope(|scope| {
        let working: Vec<_> = acoustics
            .iter()
            .enumerate()
            .map(|(number, one)| {
                let (others, broken, quarters) = (&others, &broken, &quarters);
                scope.spawn(move || {
                    one.fitted(learn, others, |done| {
                        if number == 0 {
                            #[expect(
                                clippy::cast_possible_truncation,
                                clippy::cast_sign_loss,
                                reason = "from 0 to 4"
                            )]
                            quarters.store((done * 4.0) as usize, Ordering::Relaxed);
                        }
                        if broken.load(Ordering::Relaxed) {
                            ControlFlow::Break(())
                        } else {
                            ControlFlow::Continue(())
                        }
                    })
                })
            })
            .collect();
        let (mut told, mut broken_off) = (0, Ok(()));
        while working.iter().any(|thread| !thread.is_finished()) {
            std::thread::sleep(Duration::from_millis(100));
            if broken_off.is_ok() {
                broken_off = breaks.look();
                broken.store(broken_off.is_err(), Ordering::Relaxed);
            }
            let quarter = quarters.load(Ordering::Relaxed);
            if quarter > told {
                told = quarter;
                tell(&format!("{} %", told * 25));
            }
        }
        let fitted: Vec<_> = working.into_iter().map(ScopedJoinHandle::join).collect();
        (fitted, broken_off)
    });
    broken_off?;
    fitted
        .into_iter()
        .map(|one| {
            one.map_err(|_| Failure::wrong("learning broke off"))?
                .map_err(Failure::wrong)
        })
        .collect()
}

/// Single words in the voice that Sayback speaks with: what is not to be forgotten.
fn others(acoustics: &Acoustics) -> Vec<Clip> {
    let clips = Clips::own();
    let mut names: Vec<&str> = clips.names().collect();
    names.sort_unstable();
    names
        .into_iter()
        .filter_map(|name| {
            let said = name.trim_end_matches(['.', '?', ',']);
            let words: Vec<String> = said.split_whitespace().map(str::to_owned).collect();
            let short = !words.is_empty() && words.len() <= 3 && acoustics.knows(&words);
            let sound = clips.samples(clips.find(name)?).ok()?;
            short.then(|| Clip {
                samples: in_steps(&resample(&sound, clips::RATE, RATE)),
                words,
            })
        })
        .collect()
}

/// Whole steps of 16 bits: what is kept of a clip is what it learnt from, so that it can learn the same again.
fn in_steps(sound: &[f32]) -> Vec<f32> {
    sound
        .iter()
        .map(|sample| (sample * 32_768.0).round().clamp(-32_768.0, 32_767.0))
        .collect()
}

/// At [`RATE`], in steps of 16 bits.
fn at_rate(samples: &[i16], rate: u32) -> Vec<f32> {
    let floats: Vec<f32> = samples
        .iter()
        .map(|sample| f32::from(*sample) / 32_768.0)
        .collect();
    in_steps(&if rate == RATE {
        floats
    } else {
        resample(&floats, rate, RATE)
    })
}

/// What an ear makes of clips whose words are known, when it listens for anything it knows.
fn check(model: &ModelChoice, clips: &[Clip], breaks: &Breaks) -> Result<Checked, Failure> {
    let mut ear = Ear::open(model).map_err(Failure::wrong)?;
    let graph = spoken::named_listening("all")
        .ok_or_else(|| Failure::wrong("there is no grammar for all words"))?;
    let mut checked = Checked::default();
    for clip in clips {
        breaks.look()?;
        let mut listener = ear.listen(&graph, RATE).map_err(Failure::wrong)?;
        let silence = vec![0i16; RATE as usize / 4];
        #[expect(clippy::cast_possible_truncation, reason = "steps of 16 bits")]
        let samples: Vec<i16> = clip.samples.iter().map(|sample| *sample as i16).collect();
        let mut heard = Vec::new();
        for part in [&silence, &samples, &silence, &silence] {
            heard.extend(listener.accept(part).map_err(Failure::wrong)?);
        }
        heard.push(listener.finish().map_err(Failure::wrong)?);
        let words: Vec<String> = heard
            .iter()
            .flat_map(|heard| heard.words.iter().map(|word| word.word.clone()))
            .collect();
        if words.is_empty() {
            checked.asked += 1;
        } else if words == clip.words {
            checked.right += 1;
        } else {
            checked.wrong += 1;
        }
    }
    Ok(checked)
}

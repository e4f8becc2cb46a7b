//! `enrol`: the ear fitted to one person's voice, kept only where it hears that person better.

use std::path::Path;
use std::sync::mpsc;
use std::time::Duration;

use super::{DONE, Failure, NOT_DONE};
use crate::args::EnrolArgs;
use crate::core::{Key, View};
use crate::drive::{FromWorld, Sound};
use crate::edge::ear::{Ear, ModelChoice, ModelFolder, built_in_hash, cache_folder};
use crate::edge::own_voice::{self, About, Checked, Draft};
use crate::edge::settings::Settings;
use crate::edge::voice::clips::{self, Clips};
use crate::edge::voice::render::resample;
use crate::edge::{clock, sound, tell};
use crate::enrolment::cepstra::RATE;
use crate::enrolment::{Acoustics, Clip, Files, PROMPTS, is_held_back};
use crate::spoken::{self, CommandSet};

/// Tenths of a second of sound that a prompt waits for its answer.
const PROMPT_TENTHS: u32 = 80;
/// Fewer clips held back than this prove nothing.
const FEWEST_HELD_BACK: usize = 6;

/// Teaches the ear a person's voice, from the microphone or from recordings, or forgets it.
///
/// # Errors
/// If the recordings, the model, the terminal or the user's folder cannot be used, or there are too
/// few clips.
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
    let base = ModelFolder::open(&ModelChoice::BuiltIn, &cache_folder()).map_err(Failure::wrong)?;
    let acoustics: Vec<Acoustics> = base.iter().map(read).collect::<Result<_, _>>()?;
    let clips = if let Some(list) = &args.recordings {
        from_recordings(list, &acoustics[0])?
    } else {
        let Some(clips) = from_microphone(args, &acoustics[0])? else {
            super::print("Broken off; nothing is kept.\n")?;
            return Ok(NOT_DONE);
        };
        clips
    };
    let held_back: Vec<&Clip> = clips
        .iter()
        .filter(|(_, held)| *held)
        .map(|(clip, _)| clip)
        .collect();
    if held_back.len() < FEWEST_HELD_BACK {
        return Err(Failure::wrong(format!(
            "only {} clips are held back for the check, and {FEWEST_HELD_BACK} are needed to tell whether it hears better. Enrol again in a quieter place, or give more recordings",
            held_back.len()
        )));
    }
    let learn: Vec<Clip> = clips
        .iter()
        .filter(|(_, held)| !held)
        .map(|(clip, _)| clip.clone())
        .collect();
    tell(&format!(
        "learning from {} clips; this takes about a minute",
        learn.len()
    ));
    let networks = fit(&acoustics, &learn)?;
    let target = own_voice::folder(&args.by).map_err(Failure::not_saved)?;
    let draft = Draft::new(&target, &base, &networks).map_err(Failure::not_saved)?;
    let before = check(&ModelChoice::BuiltIn, &held_back)?;
    let after = check(&ModelChoice::Folder(draft.folder().to_owned()), &held_back)?;
    let figures = format!("Clips that it did not learn from: before {before}; after {after}.\n");
    // One that is of no use any more is no reason to keep nothing.
    let in_use = own_voice::find(&args.by).ok().flatten();
    let known = match &in_use {
        Some((folder, _)) => Some(check(&ModelChoice::Folder(folder.clone()), &held_back)?),
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
        by: args.by.trim().to_owned(),
        model: built_in_hash(),
        made_utc_ms: clock::wall().utc_ms,
        learnt_from: learn.len(),
        before,
        after,
    };
    draft
        .keep(&target, &about, &clips)
        .map_err(Failure::not_saved)?;
    super::print(&format!(
        "{figures}Kept: with --by \"{}\" Sayback listens with it, in {}. Another person is heard worse by it; give their own name.\n",
        about.by,
        target.display()
    ))?;
    Ok(DONE)
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
fn fit(acoustics: &[Acoustics], learn: &[Clip]) -> Result<Vec<Vec<u8>>, Failure> {
    let others: Vec<Clip> = others(&acoustics[0]);
    let fitted = std::thread::scope(|scope| {
        let working: Vec<_> = acoustics
            .iter()
            .enumerate()
            .map(|(number, one)| {
                let others = &others;
                scope.spawn(move || {
                    let mut told = 0.0;
                    one.fitted(learn, others, |done| {
                        if number == 0 && done >= told + 0.25 {
                            told += 0.25;
                            tell(&format!("{:.0} %", told * 100.0));
                        }
                    })
                })
            })
            .collect();
        working
            .into_iter()
            .map(|thread| {
                thread
                    .join()
                    .map_err(|_| Failure::wrong("learning broke off"))
            })
            .collect::<Result<Vec<_>, _>>()
    })?;
    let fitted = fitted
        .into_iter()
        .collect::<Result<Vec<_>, _>>()
        .map_err(Failure::wrong)?;
    Ok(fitted)
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

fn in_steps(sound: &[f32]) -> Vec<f32> {
    sound
        .iter()
        .map(|sample| (sample * 32_768.0).clamp(-32_768.0, 32_767.0))
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
fn check(model: &ModelChoice, clips: &[&Clip]) -> Result<Checked, Failure> {
    let mut ear = Ear::open(model).map_err(Failure::wrong)?;
    let graph = spoken::named_listening("all")
        .ok_or_else(|| Failure::wrong("there is no grammar for all words"))?;
    let mut checked = Checked::default();
    for clip in clips {
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

/// Recordings made before, each with what is said in it and whether it is held back.
fn from_recordings(list: &Path, acoustics: &Acoustics) -> Result<Vec<(Clip, bool)>, Failure> {
    let at =
        |line: u64, what: &str| Failure::wrong(format!("{}, line {line}: {what}", list.display()));
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(b'\t')
        .quoting(false)
        .flexible(true)
        .from_path(list)
        .map_err(|fault| Failure::wrong(format!("{}: {fault}", list.display())))?;
    let columns = reader
        .headers()
        .map_err(|fault| at(1, &fault.to_string()))?
        .clone();
    let column = |name: &str| columns.iter().position(|known| known.trim() == name);
    let (Some(path), Some(transcript)) = (column("path"), column("transcript")) else {
        return Err(at(
            1,
            "the first line names the columns, divided by tabs: path, transcript, and optionally use",
        ));
    };
    let purpose = column("use");
    let folder = list.parent().unwrap_or(Path::new("."));
    let mut clips = Vec::new();
    for (number, row) in reader.records().enumerate() {
        let line = number as u64 + 2;
        let row = row.map_err(|fault| at(line, &fault.to_string()))?;
        let file = row.get(path).unwrap_or_default();
        let words: Vec<String> = row
            .get(transcript)
            .unwrap_or_default()
            .split_whitespace()
            .map(str::to_lowercase)
            .collect();
        if file.is_empty() || words.is_empty() {
            return Err(at(line, "a path and the words said are needed"));
        }
        if !acoustics.knows(&words) {
            return Err(at(
                line,
                &format!(
                    "the ear does not know every word of \"{}\"; write numbers as words, digit by digit",
                    words.join(" ")
                ),
            ));
        }
        let held_back = match purpose.and_then(|column| row.get(column)).map(str::trim) {
            None | Some("") => number % 5 == 4,
            Some("learn") => false,
            Some("check") => true,
            Some(other) => {
                return Err(at(line, &format!("use is learn or check, not {other}")));
            }
        };
        let read = sound::read(&folder.join(file)).map_err(|fault| at(line, &fault.to_string()))?;
        let clip = Clip {
            samples: at_rate(&read.samples, read.rate),
            words,
        };
        if held_back || acoustics.fits(&clip).map_err(Failure::wrong)? {
            clips.push((clip, held_back));
        } else {
            tell(&format!(
                "{}, line {line}: {file} does not sound like \"{}\"; not learnt from",
                list.display(),
                clip.words.join(" ")
            ));
        }
    }
    Ok(clips)
}

/// Reads the prompts with a person; none where it was broken off.
fn from_microphone(
    args: &EnrolArgs,
    acoustics: &Acoustics,
) -> Result<Option<Vec<(Clip, bool)>>, Failure> {
    let microphone = args
        .microphone
        .clone()
        .or_else(|| Settings::of_user().microphone);
    let (mut ear, mut output, world) = super::mic_check::reading_aloud(
        ModelChoice::BuiltIn,
        microphone,
        args.plain,
        args.contrast,
    )?;
    let any = spoken::named_slot("ANY").ok_or_else(|| Failure::wrong("there is no slot ANY"))?;
    let mut reading = Reading::default();
    let (mut ready, mut asked, mut tenths) = (false, 0, 0);
    while reading.prompt().is_some() {
        output
            .show(&reading.view(ready))
            .map_err(|error| Failure::wrong(format!("cannot show it: {error}")))?;
        let before = (reading.number, reading.tries);
        match world.recv_timeout(Duration::from_millis(500)) {
            Ok(FromWorld::EarBack) => {
                ready = true;
                tenths = 0;
                ear.listen(&any, CommandSet::All, asked);
            }
            Ok(FromWorld::Level(level)) => {
                output.level(level);
                tenths += 1;
                if ready && tenths > PROMPT_TENTHS {
                    reading.take(None);
                }
            }
            Ok(FromWorld::Heard(heard)) if heard.listen == asked => {
                let clip = Clip {
                    samples: at_rate(&heard.samples, heard.rate),
                    words: reading.words(),
                };
                // Sound in which a piece is missing teaches nothing.
                let fits = !heard.damaged && acoustics.fits(&clip).map_err(Failure::wrong)?;
                reading.take(fits.then_some(clip));
            }
            Ok(FromWorld::EarLost(why)) => {
                drop(output);
                return Err(Failure {
                    code: NOT_DONE,
                    text: why,
                });
            }
            Ok(FromWorld::Key(Key::Stop) | FromWorld::End(_) | FromWorld::KeysGone)
            | Err(mpsc::RecvTimeoutError::Disconnected) => return Ok(None),
            Ok(FromWorld::Key(Key::Minus)) => reading.pass(),
            _ => {}
        }
        if (reading.number, reading.tries) != before {
            asked += 1;
            tenths = 0;
            ear.listen(&any, CommandSet::All, asked);
        }
    }
    drop(output);
    Ok(Some(reading.clips))
}

/// Where the reading aloud has come to.
#[derive(Default)]
struct Reading {
    number: usize,
    tries: usize,
    clips: Vec<(Clip, bool)>,
}

impl Reading {
    fn prompt(&self) -> Option<&'static str> {
        PROMPTS.get(self.number).copied()
    }

    fn words(&self) -> Vec<String> {
        let words = self.prompt().unwrap_or_default().split_whitespace();
        words.map(str::to_owned).collect()
    }

    /// A clip that sounds like the prompt, or none: then it is asked once more, and then passed over.
    fn take(&mut self, clip: Option<Clip>) {
        match clip {
            Some(clip) => {
                self.clips.push((clip, is_held_back(self.number)));
                self.pass();
            }
            None if self.tries == 0 => self.tries = 1,
            None => self.pass(),
        }
    }

    fn pass(&mut self) {
        self.number += 1;
        self.tries = 0;
    }

    fn view(&self, ready: bool) -> View {
        let (state, question) = if !ready {
            ("START", "The ear is being made ready.".to_owned())
        } else if self.tries > 0 {
            (
                "AGAIN",
                "That did not sound like it. Read it once more.".to_owned(),
            )
        } else {
            (
                "READ",
                format!(
                    "Read it aloud, as you would at work. {} of {}.",
                    self.number + 1,
                    PROMPTS.len()
                ),
            )
        };
        View {
            title: "Teach the ear your voice".to_owned(),
            big: if ready {
                self.prompt().unwrap_or("Done")
            } else {
                "Wait"
            }
            .to_owned(),
            question,
            state,
            ear: if ready {
                "mic: OPEN"
            } else {
                "mic: getting ready"
            }
            .to_owned(),
            keys: vec![("-", "pass over"), ("Esc", "break off")],
            ..View::default()
        }
    }
}

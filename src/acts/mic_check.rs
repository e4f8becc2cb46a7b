//! `microphone-check`, `microphones`: what hears, and how well.

use std::path::Path;
use std::sync::mpsc;
use std::time::Duration;

use super::{DONE, Failure, NOT_DONE};
use crate::args::{MicrophoneCheckArgs, MicrophonesArgs};
use crate::core::{Key, View};
use crate::drive::{FromWorld, Output, Sound};
use crate::edge::clock;
use crate::edge::ear::{Ear, ModelChoice};
use crate::edge::listening::{Gate, Rule};
use crate::edge::live_ear::LiveEar;
use crate::edge::mic::{LevelMeter, devices, find};
use crate::edge::settings::{LastCheck, Settings};
use crate::edge::{keys, plain as lines, screen, sound, tell};
use crate::mic_check::{Check, Fit, Measured, Now, Tenth};
use crate::spoken::{self, CommandSet};

/// Checks a microphone, or a recording of such a check, and remembers the result for the next run.
///
/// # Errors
/// If the recording, the model or the terminal cannot be used, or the microphone is lost.
pub fn check(args: &MicrophoneCheckArgs) -> Result<u8, Failure> {
    let settings = Settings::of_user();
    let measured = if let Some(path) = &args.recording {
        from_recording(path, args)?
    } else {
        let microphone = args.microphone.clone().or(settings.microphone.clone());
        let Some(measured) = from_microphone(microphone, args)? else {
            super::print("Broken off; nothing is remembered.\n")?;
            return Ok(NOT_DONE);
        };
        let kept = Settings {
            check: Some(LastCheck {
                utc_ms: clock::wall().utc_ms,
                measured: measured.clone(),
            }),
            ..settings
        };
        match Settings::file().and_then(|path| kept.write(&path)) {
            Ok(()) => tell("remembered: the next run writes it into its journal"),
            Err(fault) => tell(&fault.to_string()),
        }
        measured
    };
    let verdict = measured.judge();
    super::print(&format!(
        "{}\n{}\n",
        verdict.sentences.join("\n"),
        measured.line()
    ))?;
    Ok(if verdict.fit == Fit::Keypad {
        NOT_DONE
    } else {
        DONE
    })
}

fn from_recording(path: &Path, args: &MicrophoneCheckArgs) -> Result<Measured, Failure> {
    let read = sound::read(path).map_err(Failure::wrong)?;
    let model = super::tables::model_choice(args.model.as_deref());
    let mut ear = Ear::open(&model).map_err(Failure::wrong)?;
    let graph = spoken::named_listening("all")
        .ok_or_else(|| Failure::wrong("there is no grammar for all words"))?;
    let mut listener = ear.listen(&graph, read.rate).map_err(Failure::wrong)?;
    let mut gate = Gate::new(Rule::default(), read.rate);
    let mut meter = LevelMeter::new(read.rate);
    let mut check = Check::default();
    for block in read.samples.chunks((read.rate / 10).max(1) as usize) {
        let clipped = block.iter().filter(|step| step.unsigned_abs() >= 32_767);
        let clipping = clipped.count() >= 3;
        if let Some(level) = meter.take(block) {
            check.tenth(Tenth {
                db: level.rms_db,
                clipping,
            });
        }
        let mut passed = Vec::new();
        gate.pass(block, &mut passed);
        if matches!(check.now(), Now::Read(_))
            && !passed.is_empty()
            && let Some(heard) = listener.accept(&passed).map_err(Failure::wrong)?
        {
            check.heard(&heard.phrase());
            if check.is_again() {
                // Nobody reads it again to a recording: what comes next answers the next prompt.
                check.pass();
            }
        }
    }
    Ok(check.measured(&path.display().to_string()))
}

/// None where it was broken off.
fn from_microphone(
    microphone: Option<String>,
    args: &MicrophoneCheckArgs,
) -> Result<Option<Measured>, Failure> {
    let name = microphone.clone().unwrap_or_else(|| "(default)".to_owned());
    let model = super::tables::model_choice(args.model.as_deref());
    let (mut ear, mut output, world) = reading_aloud(model, microphone, args.plain, args.contrast)?;
    let any = spoken::named_slot("ANY").ok_or_else(|| Failure::wrong("there is no slot ANY"))?;
    let mut check = Check::default();
    let mut asked = 0;
    let mut ready = false;
    let unseen = |error: std::io::Error| Failure::wrong(format!("cannot show it: {error}"));
    while check.now() != Now::Over {
        output.show(&shown(&check, ready)).map_err(unseen)?;
        match world.recv_timeout(Duration::from_millis(500)) {
            Ok(FromWorld::EarBack) => {
                ready = true;
                ear.listen(&any, CommandSet::All, asked);
            }
            Ok(FromWorld::Level(level)) if ready => {
                let before = check.now();
                check.tenth(Tenth {
                    db: level.db,
                    clipping: level.clipping,
                });
                output.level(level);
                let is_same_wait = matches!((before, check.now()), (Now::Quiet(_), Now::Quiet(_)));
                if check.now() != before && !is_same_wait {
                    asked += 1;
                    ear.listen(&any, CommandSet::All, asked);
                }
            }
            Ok(FromWorld::Heard(heard)) if heard.listen == asked => {
                // Words in which sound was lost are no answer, here as in a job.
                check.heard(if heard.damaged { "" } else { &heard.words });
                asked += 1;
                ear.listen(&any, CommandSet::All, asked);
            }
            Ok(FromWorld::EarLost(why)) => {
                drop(output);
                return Err(Failure {
                    code: NOT_DONE,
                    text: why,
                });
            }
            Ok(FromWorld::Key(Key::Stop) | FromWorld::End(_) | FromWorld::KeysGone) => {
                return Ok(None);
            }
            _ => {}
        }
    }
    Ok(Some(check.measured(&name)))
}

/// The ear, what shows the prompts, and what comes from the ear and the keys.
type ReadingAloud = (LiveEar, Box<dyn Output>, mpsc::Receiver<FromWorld>);

/// Microphone, screen or lines, and what comes from them and the keys, for reading aloud what is shown.
///
/// # Errors
/// If the signals or the terminal cannot be had.
pub(super) fn reading_aloud(
    model: ModelChoice,
    microphone: Option<String>,
    plain: bool,
    contrast: bool,
) -> Result<ReadingAloud, Failure> {
    let (sender, world) = mpsc::sync_channel(64);
    crate::edge::signals::listen(sender.clone())
        .map_err(|error| Failure::wrong(format!("cannot catch signals: {error}")))?;
    let ear = LiveEar::start(model, microphone, true, sender.clone());
    let look = screen::Look::of_environment(contrast);
    let output: Box<dyn Output> = if super::run::on_screen(plain) {
        let shown = screen::Screen::enter(look).map_err(|error| {
            Failure::wrong(format!("cannot use this terminal: {error}. Try --plain"))
        })?;
        keys::listen(sender, keys::Keymap::default());
        Box::new(shown)
    } else {
        Box::new(lines::Plain::new(look.unicode))
    };
    Ok((ear, output, world))
}

fn shown(check: &Check, ready: bool) -> View {
    let (state, big, question) = match check.now() {
        _ if !ready => ("START", "Wait", "The ear is being made ready."),
        Now::Quiet(_) => (
            "QUIET",
            "Say nothing",
            "The noise of this place is measured for five seconds.",
        ),
        Now::Read(prompt) if check.is_again() => {
            ("AGAIN", prompt, "That was not understood. Read it again.")
        }
        Now::Read(prompt) => (
            "READ",
            prompt,
            "Read it aloud, as you would at work. It waits seven seconds.",
        ),
        Now::Over => ("DONE", "Done", ""),
    };
    View {
        title: "Microphone check".to_owned(),
        big: big.to_owned(),
        question: question.to_owned(),
        state,
        ear: if ready {
            "mic: OPEN"
        } else {
            "mic: getting ready"
        }
        .to_owned(),
        keys: vec![("Esc", "break off")],
        ..View::default()
    }
}

/// Lists the microphones, or remembers one, or forgets it.
///
/// # Errors
/// If none can be listed, or the choice cannot be remembered.
pub fn microphones(args: &MicrophonesArgs) -> Result<u8, Failure> {
    if args.choose.is_some() || args.forget {
        let path = Settings::file().map_err(Failure::not_saved)?;
        let chosen = match &args.choose {
            Some(name) => {
                let there = devices().map_err(Failure::wrong)?;
                let place = find(name, &there).map_err(Failure::wrong)?;
                Some(there[place].id.clone())
            }
            None => None,
        };
        // A file that is not understood is replaced: choosing is how it is put right.
        let settings = Settings {
            microphone: chosen.clone(),
            ..Settings::read(&path).unwrap_or_default()
        };
        settings.write(&path).map_err(Failure::not_saved)?;
        let said = chosen.map_or_else(
            || "Forgotten: the system's own microphone is used.\n".to_owned(),
            |id| format!("Remembered: {id}\n"),
        );
        super::print(&said)?;
        return Ok(DONE);
    }
    let found = devices().map_err(Failure::wrong)?;
    if found.is_empty() {
        tell("no microphone was found. Plug one in, or use the keypad: sayback run JOB --keypad");
        return Ok(NOT_DONE);
    }
    let remembered = Settings::of_user().microphone;
    let lines: Vec<String> = found
        .iter()
        .map(|device| {
            let mark = if remembered.as_ref() == Some(&device.id) {
                "\tremembered"
            } else {
                ""
            };
            format!("{}\t{}{mark}", device.id, device.name)
        })
        .collect();
    super::print(&(lines.join("\n") + "\n"))?;
    Ok(DONE)
}

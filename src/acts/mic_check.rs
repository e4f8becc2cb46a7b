//! `microphone-check`, `microphones`: what hears, and how well.

use std::path::Path;

use super::enrol::Lesson;
use super::reading_aloud::{News, ReadingAloud, lost, view};
use super::{DONE, Failure, NOT_DONE};
use crate::args::{MicrophoneCheckArgs, MicrophonesArgs};
use crate::core::{Key, View};
use crate::drive::Utterance;
use crate::edge::ear::{Ear, ModelChoice};
use crate::edge::listening::{Gate, Rule};
use crate::edge::mic::{LevelMeter, devices, find};
use crate::edge::settings::{LastCheck, Settings};
use crate::edge::{clock, own_voice, sound, tell};
use crate::enrolment::Clip;
use crate::mic_check::{Check, Fit, Measured, Now, Tenth};
use crate::spoken::{self, Command, Meaning};

/// Checks a microphone, or a recording of such a check, and remembers the result for the next run.
/// To a person whose name is given it offers to fit the ear to their voice; only a yes begins that.
///
/// # Errors
/// If the recording, the model or the terminal cannot be used, the microphone is lost, or it is broken
/// off.
pub fn check(args: &MicrophoneCheckArgs) -> Result<u8, Failure> {
    if let Some(path) = &args.recording {
        return tell_verdict(&from_recording(path, args)?);
    }
    let settings = Settings::of_user();
    let microphone = args.microphone.clone().or(settings.microphone.clone());
    let name = microphone.clone().unwrap_or_else(|| "(default)".to_owned());
    let (model, own) = model(args);
    let mut desk = ReadingAloud::begin(model, microphone, args.plain, args.contrast)?;
    let (measured, heard) = from_microphone(&mut desk, &name)?;
    let kept = Settings {
        check: Some(LastCheck {
            utc_ms: clock::wall().utc_ms,
            measured: measured.clone(),
        }),
        ..settings
    };
    let remembered = match Settings::file().and_then(|path| kept.write(&path)) {
        Ok(()) => "remembered: the next run writes it into its journal".to_owned(),
        Err(fault) => fault.to_string(),
    };
    let may_be_fitted = measured.is_worth_fitting() && !own && args.model.is_none();
    let lesson = match &args.by {
        Some(by) if may_be_fitted => read_on(&mut desk, &measured, &heard, by),
        _ => Ok(None),
    };
    let breaks = desk.end();
    tell(&remembered);
    let code = tell_verdict(&measured)?;
    match (lesson?, &args.by) {
        (Some(read), Some(by)) => {
            read.lesson.learn(by, &read.clips, &breaks)?;
        }
        (_, by) if may_be_fitted => {
            let by = by.as_deref().unwrap_or("your name");
            super::print(&format!(
                "The ear can be fitted to your voice, which takes three minutes: sayback enrol --by \"{by}\"\n"
            ))?;
        }
        _ => {}
    }
    Ok(code)
}

fn tell_verdict(measured: &Measured) -> Result<u8, Failure> {
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

/// The ear that the next run listens with, and whether it is this person's own.
fn model(args: &MicrophoneCheckArgs) -> (ModelChoice, bool) {
    if let (None, Some(by)) = (&args.model, &args.by) {
        match own_voice::find(by) {
            Ok(Some(own)) => {
                tell(&format!(
                    "checked with the ear that was fitted to {}",
                    own.about.by
                ));
                return (ModelChoice::Folder(own.models), true);
            }
            Ok(None) => {}
            Err(fault) => tell(&format!("checked with the common ear: {fault}")),
        }
    }
    (super::tables::model_choice(args.model.as_deref()), false)
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

/// What was read, prompt by prompt, with its sound.
type Read = Vec<(&'static str, Utterance)>;

fn from_microphone(desk: &mut ReadingAloud, name: &str) -> Result<(Measured, Read), Failure> {
    let any = spoken::named_slot("ANY").ok_or_else(|| Failure::wrong("there is no slot ANY"))?;
    let mut check = Check::default();
    let mut read: Read = Vec::new();
    while check.now() != Now::Over {
        match desk.show_and_wait(&shown(&check, desk.is_ready()))? {
            News::Ready => desk.listen(&any),
            News::Level(level) => {
                let before = check.now();
                check.tenth(Tenth {
                    db: level.db,
                    clipping: level.clipping,
                });
                let is_same_wait = matches!((before, check.now()), (Now::Quiet(_), Now::Quiet(_)));
                if check.now() != before && !is_same_wait {
                    desk.listen(&any);
                }
            }
            News::Heard(heard) => {
                // Words in which sound was lost are no answer, here as in a job.
                check_heard(&mut check, &mut read, heard);
                desk.listen(&any);
            }
            News::Lost(why) => return Err(lost(why)),
            News::Key(_) | News::Nothing => {}
        }
    }
    Ok((check.measured(name), read))
}

fn check_heard(check: &mut Check, read: &mut Read, heard: Utterance) {
    let prompt = match check.now() {
        Now::Read(prompt) => Some(prompt),
        _ => None,
    };
    check.heard(if heard.damaged { "" } else { &heard.words });
    if let Some(prompt) = prompt.filter(|_| !heard.damaged) {
        // Of what was read again, the last.
        read.retain(|(known, _)| *known != prompt);
        read.push((prompt, heard));
    }
}

/// Tenths of a second that the offer waits for a yes.
const OFFER_TENTHS: u32 = 200;

/// What was read to fit the ear, each clip with whether it is held back.
struct ReadOn {
    lesson: Lesson,
    clips: Vec<(Clip, bool)>,
}

/// Offers to fit the ear, and reads on if the answer is yes; none if it is not. Silence is no yes.
fn read_on(
    desk: &mut ReadingAloud,
    measured: &Measured,
    heard: &[(&'static str, Utterance)],
    by: &str,
) -> Result<Option<ReadOn>, Failure> {
    let yes_or_no =
        spoken::named_slot("YN").ok_or_else(|| Failure::wrong("there is no slot YN"))?;
    let mut offer = view(
        "Microphone check",
        true,
        (
            "OFFER",
            "Fit the ear?",
            &format!(
                "Three minutes more of reading aloud fit the ear to the voice of {by}. Yes: affirm, or Enter. No: negative, or -."
            ),
        ),
        vec![("Enter", "yes"), ("-", "no"), ("Esc", "break off")],
    );
    offer.message = measured.judge().sentences.join(" ");
    let mut tenths = 0;
    desk.listen(&yes_or_no);
    loop {
        let answer = match desk.show_and_wait(&offer)? {
            News::Level(_) => {
                tenths += 1;
                (tenths > OFFER_TENTHS).then_some(false)
            }
            News::Heard(heard) => {
                let said = if heard.damaged { "" } else { &heard.words };
                desk.listen(&yes_or_no);
                match spoken::parse(&yes_or_no, said).meaning {
                    Some(Meaning::Command(Command::Yes)) => Some(true),
                    Some(Meaning::Command(Command::No | Command::Stop)) => Some(false),
                    _ => None,
                }
            }
            News::Lost(why) => return Err(lost(why)),
            News::Key(Key::Enter) => Some(true),
            News::Key(Key::Minus) => Some(false),
            News::Key(_) | News::Ready | News::Nothing => None,
        };
        match answer {
            None => {}
            Some(false) => return Ok(None),
            Some(true) => {
                let lesson = Lesson::open()?;
                let clips = lesson.read_aloud(desk, heard)?;
                return Ok(Some(ReadOn { lesson, clips }));
            }
        }
    }
}

fn shown(check: &Check, ready: bool) -> View {
    let what = match check.now() {
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
    view("Microphone check", ready, what, vec![("Esc", "break off")])
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

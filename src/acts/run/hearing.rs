//! What a session hears with: which ear, whose, and the last check of its microphone. No state of its own.

#[cfg(feature = "voice")]
use std::collections::BTreeSet;
use std::sync::mpsc;

use super::Failure;
use crate::args::SessionArgs;
#[cfg(feature = "voice")]
use crate::core::EarState;
use crate::core::Live;
#[cfg(feature = "voice")]
use crate::core::question::every_slot;
#[cfg(feature = "voice")]
use crate::core::record::Body;
use crate::core::record::Record;
use crate::drive::{FromWorld, Silence, Sound};
#[cfg(feature = "voice")]
use crate::edge::ear::{EarError, ModelChoice, cache_folder, lacking};
#[cfg(feature = "voice")]
use crate::edge::{clock, tell};
use crate::job::Job;
use crate::spoken::EarWords;
#[cfg(feature = "voice")]
use crate::spoken::{self, CommandSet};

/// What is to listen, made ready before the journal is begun, so that a wrong file begins no run.
pub(in crate::acts) enum Ear {
    None,
    #[cfg(feature = "voice")]
    Recording(Box<crate::edge::recording::Recording>, ModelChoice),
    #[cfg(feature = "voice")]
    Microphone(ModelChoice),
}

/// Which words a session can listen for, to hold a job against them: with the model that is named.
///
/// # Errors
/// If that model cannot be used; by keypad it is not needed, and none is looked for.
#[cfg_attr(
    not(feature = "voice"),
    allow(unused_variables, clippy::unnecessary_wraps)
)]
pub(in crate::acts) fn words(args: &SessionArgs) -> Result<EarWords, Failure> {
    #[cfg(feature = "voice")]
    {
        let choice = crate::acts::tables::model_choice(args.model.as_deref());
        match crate::edge::ear::ear_words(&choice, &cache_folder()) {
            Err(fault) if !args.keypad => return Err(Failure::wrong(fault)),
            Ok(words) => return Ok(words),
            Err(_) => {}
        }
    }
    Ok(EarWords::default())
}

/// Refuses a job with words that the model cannot listen for, before anything of it is begun.
///
/// # Errors
/// Names the words; or the model cannot be used.
#[cfg(feature = "voice")]
pub(in crate::acts) fn model_has_words_of(choice: &ModelChoice, job: &Job) -> Result<(), Failure> {
    let words: BTreeSet<String> = every_slot(job)
        .iter()
        .flat_map(|slot| {
            let graph = spoken::listening(slot, CommandSet::All);
            graph
                .words()
                .into_iter()
                .map(str::to_owned)
                .collect::<Vec<_>>()
        })
        .collect();
    let lacking = lacking(choice, &cache_folder(), &words).map_err(Failure::wrong)?;
    if lacking.is_empty() {
        return Ok(());
    }
    Err(Failure::wrong(format!(
        "{}: {} Or do it by keypad: --keypad",
        job.id,
        EarError::UnknownWords(lacking)
    )))
}

impl Ear {
    /// True if the sound, and with it the clock, is that of a recording.
    pub(in crate::acts) fn is_recording(&self) -> bool {
        match self {
            Self::None => false,
            #[cfg(feature = "voice")]
            Self::Recording(..) => true,
            #[cfg(feature = "voice")]
            Self::Microphone(_) => false,
        }
    }

    /// The last check of the microphone that it listens to; where there is none, that is told.
    #[cfg_attr(not(feature = "voice"), allow(unused_variables, clippy::unused_self))]
    pub(in crate::acts) fn check(&self, args: &SessionArgs) -> Option<Record> {
        #[cfg(feature = "voice")]
        if matches!(self, Self::Microphone(_)) {
            return recent_check(args, clock::wall());
        }
        None
    }

    /// Refuses a job with words that this ear cannot listen for.
    ///
    /// # Errors
    /// Names the words.
    #[cfg_attr(
        not(feature = "voice"),
        allow(unused_variables, clippy::unnecessary_wraps)
    )]
    pub(in crate::acts) fn has_words_of(&self, job: &Job) -> Result<(), Failure> {
        match self {
            Self::None => Ok(()),
            #[cfg(feature = "voice")]
            Self::Recording(_, choice) | Self::Microphone(choice) => {
                model_has_words_of(choice, job)
            }
        }
    }

    /// Makes it ready; with the ear of the person `by`, where one was made and no model is named.
    ///
    /// # Errors
    /// If the recording or the model cannot be used.
    #[cfg_attr(not(feature = "voice"), allow(unused_variables))]
    pub(in crate::acts) fn prepare(args: &SessionArgs, by: Option<&str>) -> Result<Self, Failure> {
        #[cfg(feature = "voice")]
        {
            if let Some(path) = &args.recording {
                let samples = crate::edge::sound::read(path).map_err(Failure::wrong)?;
                let choice = model(args, by);
                let ear = crate::edge::ear::Ear::open(&choice).map_err(Failure::wrong)?;
                let recording = crate::edge::recording::Recording::new(samples, ear, args.fast);
                return Ok(Self::Recording(Box::new(recording), choice));
            }
            if !args.keypad {
                return Ok(Self::Microphone(model(args, by)));
            }
        }
        #[cfg(not(feature = "voice"))]
        if args.recording.is_some() {
            return Err(Failure::wrong(
                "this program was built without the ear; --recording needs one built with it",
            ));
        }
        Ok(Self::None)
    }

    #[cfg_attr(not(feature = "voice"), allow(unused_variables))]
    pub(super) fn open(
        self,
        live: &mut Live,
        args: &SessionArgs,
        sender: &mpsc::SyncSender<FromWorld>,
    ) -> Box<dyn Sound> {
        live.microphone = crate::core::Microphone {
            push_to_talk: args.push_to_talk,
            closed: args.push_to_talk,
        };
        match self {
            Self::None => Box::new(Silence),
            #[cfg(feature = "voice")]
            Self::Recording(recording, _) => {
                live.ear = EarState::Open;
                recording
            }
            #[cfg(feature = "voice")]
            Self::Microphone(model) => {
                live.ear = EarState::Loading;
                Box::new(crate::edge::live_ear::LiveEar::start(
                    model,
                    args.microphone
                        .clone()
                        .or_else(|| crate::edge::settings::Settings::of_user().microphone),
                    args.headset,
                    sender.clone(),
                ))
            }
        }
    }
}

#[cfg(feature = "voice")]
fn model(args: &SessionArgs, by: Option<&str>) -> ModelChoice {
    use crate::edge::own_voice;
    if let (None, false, Some(by)) = (&args.model, args.common_ear, by) {
        match own_voice::find(by) {
            Ok(Some((folder, about))) => {
                tell(&format!(
                    "listening with the ear that was fitted to {}; without it: --common-ear",
                    about.by
                ));
                return ModelChoice::Folder(folder);
            }
            Ok(None) => {}
            Err(fault) => tell(&fault.to_string()),
        }
    }
    crate::acts::tables::model_choice(args.model.as_deref())
}

/// How long a microphone check is of use: a working day.
#[cfg(feature = "voice")]
const CHECK_HOLDS_MS: i64 = 12 * 3600 * 1000;

/// The last microphone check, for the journal of a run that listens to that microphone; says so
/// where there is none of today.
#[cfg(feature = "voice")]
fn recent_check(args: &SessionArgs, now: crate::core::record::Wall) -> Option<Record> {
    let settings = crate::edge::settings::Settings::of_user();
    let wanted = args.microphone.clone().or(settings.microphone);
    let wanted = wanted.unwrap_or_else(|| "(default)".to_owned());
    let check = settings.check.filter(|check| {
        check.measured.device == wanted
            && (0..CHECK_HOLDS_MS).contains(&(now.utc_ms - check.utc_ms))
    });
    let Some(check) = check else {
        tell(
            "this microphone has not been checked here today: sayback microphone-check takes two minutes",
        );
        return None;
    };
    Some(Record {
        at: now,
        body: Body::MicrophoneChecked {
            checked_utc_ms: check.utc_ms,
            measured: check.measured,
        },
    })
}

//! What a session hears with: which ear, whose, and the last check of its microphone. No state of its own.

use std::sync::mpsc;

use super::Failure;
use crate::args::SessionArgs;
#[cfg(feature = "voice")]
use crate::core::EarState;
use crate::core::Live;
#[cfg(feature = "voice")]
use crate::core::record::Body;
use crate::core::record::Record;
use crate::drive::{FromWorld, Silence, Sound};
#[cfg(feature = "voice")]
use crate::edge::{clock, tell};

/// What is to listen, made ready before the journal is begun, so that a wrong file begins no run.
pub(in crate::acts) enum Ear {
    None,
    #[cfg(feature = "voice")]
    Recording(Box<crate::edge::recording::Recording>),
    #[cfg(feature = "voice")]
    Microphone(crate::edge::ear::ModelChoice),
}

impl Ear {
    /// True if the sound, and with it the clock, is that of a recording.
    pub(in crate::acts) fn is_recording(&self) -> bool {
        match self {
            Self::None => false,
            #[cfg(feature = "voice")]
            Self::Recording(_) => true,
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
                let ear = crate::edge::ear::Ear::open(&model(args, by)).map_err(Failure::wrong)?;
                let recording = crate::edge::recording::Recording::new(samples, ear, args.fast);
                return Ok(Self::Recording(Box::new(recording)));
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
            others_talk: args.others_talk,
        };
        match self {
            Self::None => Box::new(Silence),
            #[cfg(feature = "voice")]
            Self::Recording(recording) => {
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
fn model(args: &SessionArgs, by: Option<&str>) -> crate::edge::ear::ModelChoice {
    use crate::edge::{ear::ModelChoice, own_voice};
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

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
use crate::core::record::{EarMark, Record};
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
pub(in crate::acts) struct Ear {
    source: Source,
    /// What the journal says of it.
    mark: EarMark,
    /// What the person has to know of it before the first question.
    remark: Option<String>,
}

enum Source {
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
        match self.source {
            Source::None => false,
            #[cfg(feature = "voice")]
            Source::Recording(..) => true,
            #[cfg(feature = "voice")]
            Source::Microphone(_) => false,
        }
    }

    /// What the journal says of it.
    pub(in crate::acts) fn mark(&self) -> EarMark {
        self.mark.clone()
    }

    /// The last check of the microphone that it listens to; where there is none, that is told.
    #[cfg_attr(not(feature = "voice"), allow(unused_variables, clippy::unused_self))]
    pub(in crate::acts) fn check(&self, args: &SessionArgs) -> Option<Record> {
        #[cfg(feature = "voice")]
        if matches!(self.source, Source::Microphone(_)) {
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
        match &self.source {
            Source::None => Ok(()),
            #[cfg(feature = "voice")]
            Source::Recording(_, choice) | Source::Microphone(choice) => {
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
                let chosen = chosen(args, by);
                let ear = crate::edge::ear::Ear::open(&chosen.model).map_err(Failure::wrong)?;
                let recording = crate::edge::recording::Recording::new(samples, ear, args.fast);
                return Ok(Self {
                    source: Source::Recording(Box::new(recording), chosen.model),
                    mark: chosen.mark,
                    remark: chosen.remark,
                });
            }
            if !args.keypad {
                let chosen = chosen(args, by);
                return Ok(Self {
                    source: Source::Microphone(chosen.model),
                    mark: chosen.mark,
                    remark: chosen.remark,
                });
            }
        }
        #[cfg(not(feature = "voice"))]
        if args.recording.is_some() {
            return Err(Failure::wrong(
                "this program was built without the ear; --recording needs one built with it",
            ));
        }
        Ok(Self {
            source: Source::None,
            mark: EarMark::Nothing,
            remark: None,
        })
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
            alone: args.alone,
        };
        if let Some(remark) = self.remark {
            // Shown by the session itself: what is printed before it stands behind its screen.
            let _ = sender.send(FromWorld::Hint(remark));
        }
        match self.source {
            Source::None => Box::new(Silence),
            #[cfg(feature = "voice")]
            Source::Recording(recording, _) => {
                live.ear = EarState::Open;
                recording
            }
            #[cfg(feature = "voice")]
            Source::Microphone(model) => {
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
struct Chosen {
    model: ModelChoice,
    mark: EarMark,
    remark: Option<String>,
}

/// The model that was given; else the ear of the person `by`; else the common ears.
#[cfg(feature = "voice")]
fn chosen(args: &SessionArgs, by: Option<&str>) -> Chosen {
    use crate::edge::ear::{self, ModelFolder};
    use crate::edge::own_voice;
    if let Some(folder) = &args.model {
        let model = ModelChoice::Folder(folder.clone());
        let name = std::path::absolute(folder).unwrap_or_else(|_| folder.clone());
        let name = name.file_name().unwrap_or(name.as_os_str());
        // A model that cannot be read is told where it is opened.
        let weights = ModelFolder::open(&model, &ear::cache_folder())
            .and_then(|models| ModelFolder::weights_hash(&models));
        return Chosen {
            mark: EarMark::Given {
                folder: name.to_string_lossy().into_owned(),
                weights: weights.ok(),
            },
            model,
            remark: None,
        };
    }
    let mut remark = None;
    if let (false, Some(by)) = (args.common_ear, by) {
        match own_voice::find(by) {
            Ok(Some(own)) => {
                return Chosen {
                    remark: Some(format!(
                        "Listening with the ear that was fitted to {}; without it: --common-ear.",
                        own.about.by
                    )),
                    mark: EarMark::Fitted {
                        to: own.about.by,
                        made_utc_ms: own.about.made_utc_ms,
                        weights: own.about.weights,
                    },
                    model: ModelChoice::Folder(own.models),
                };
            }
            Ok(None) => {}
            Err(fault) => remark = Some(format!("The common ear listens: {fault}")),
        }
    }
    Chosen {
        model: ModelChoice::BuiltIn,
        mark: EarMark::Common {
            weights: ear::built_in_weights().to_owned(),
        },
        remark,
    }
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

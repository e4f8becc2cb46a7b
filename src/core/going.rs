//! Going about: stop, pause, back, undo, correction, skip, reasons, notes.
//!
//! No state of its own: parts of `Turn`, which `step` drives.

use super::question::{self, Asked, asked};
use super::record::{Answered, Body, Channel, Clip, Cursor, How, Value};
use super::run::{Kept, Saved};
use super::step::Turn;
use super::{Candidate, Effect, Mark, Phase, ReasonFor, Run};
use crate::job::{ChoiceOption, PlateValue, Stage, Step, StepKind};
use crate::spoken::{self, Command, Slot};

/// What is said when somebody says stop.
const STOP_WORDS: &str =
    "Stopped. Sayback cannot stop the actuator: use the site's own stop. Go ahead when it is over.";

impl Turn<'_> {
    /// A stop word or the stop key: at once, in every state.
    pub(super) fn stop(&mut self, how: How) {
        self.effects.push(Effect::Hush);
        if matches!(self.run.live.phase, Phase::Done) {
            return;
        }
        let busy = self.run.live.pending.is_some();
        self.run.live.typed.clear();
        let step = match &self.run.saved.cursor {
            Cursor::Step { id, .. } => Some(id.clone()),
            _ => None,
        };
        let body = Body::Stopped { step, how };
        if busy {
            self.run.live.queue.push_back(body);
        } else {
            self.append(body);
        }
        self.run.live.phase = Phase::Stopped;
        self.tell(Mark::Bad, STOP_WORDS);
    }

    pub(super) fn pause(&mut self) {
        self.run.live.phase = Phase::Paused;
        self.effects.push(Effect::Hush);
        self.tell(Mark::Plain, "Standing by. Say go ahead, or press Enter.");
    }

    pub(super) fn back(&mut self) {
        if self.run.live.correcting.take().is_some() {
            self.ask_again();
            return;
        }
        match self.run.saved.trail.iter().rev().find(|cursor| self.can_go_back_to(cursor)).cloned() {
            Some(then) => self.moved("back", then),
            None => self.tell(Mark::Watch, "There is no step to go back to. As-found readings are frozen once adjusting has begun."),
        }
    }

    pub(super) fn can_go_back_to(&self, cursor: &Cursor) -> bool {
        match asked(&self.run.job, &self.run.saved, cursor) {
            Asked::Step(step) | Asked::Cell(step, ..) => {
                let frozen =
                    self.run.saved.frozen && matches!(step.stage, Stage::AsFound | Stage::Safety);
                !frozen
                    && !matches!(step.kind, StepKind::Finding(_))
                    && *cursor != self.run.saved.cursor
            }
            _ => false,
        }
    }

    pub(super) fn undo(&mut self) {
        let Some(kept) = self
            .run
            .saved
            .answers
            .iter()
            .rev()
            .find(|kept| !kept.withdrawn)
        else {
            self.tell(Mark::Watch, "Nothing has been kept yet.");
            return;
        };
        if self.run.saved.is_frozen(&kept.answer) {
            self.tell(
                Mark::Watch,
                "As-found readings are frozen. Say correction: the old value stays in the record.",
            );
            return;
        }
        let (seq, then) = (kept.seq, Saved::cursor_of(&self.run.job, &kept.answer));
        self.append(Body::Withdrawn { seq, then });
    }

    pub(super) fn correct(&mut self) {
        let Some(kept) = self.run.saved.last_value() else {
            self.tell(Mark::Watch, "Nothing has been kept yet.");
            return;
        };
        let was = question::value_text(&self.run.job, &kept.answer.step, &kept.answer.value);
        self.run.live.correcting = Some(kept.seq);
        self.run.live.typed.clear();
        self.run.live.phase = Phase::Asking;
        let short = self.asked().short();
        let wanted = if Self::correcting_as_found(self.run) {
            "As found is frozen: what was read then?"
        } else {
            "What is right?"
        };
        self.tell(
            Mark::Watch,
            &format!("Correct {short}, which was {was}. {wanted}"),
        );
    }

    pub(super) fn skip(&mut self, unable: bool, how: How) {
        match self.asked() {
            Asked::Plate(item) if item.unknown_allowed => {
                let item = item.id.clone();
                self.append(Body::Plate {
                    item,
                    value: PlateValue::Unknown,
                    how,
                });
            }
            Asked::Plate(_) => self.tell(
                Mark::Watch,
                "The job cannot go on without this. Say or type it.",
            ),
            Asked::Step(Step {
                kind: StepKind::Gate { .. },
                ..
            })
            | Asked::Restore(_) => {
                self.tell(Mark::Bad, "A safety question is never skipped. Affirm, negative, or end the job by the menu.");
            }
            Asked::Step(_) | Asked::Cell(..) => {
                self.run.live.phase = Phase::Reason(ReasonFor::Skip { unable });
                self.tell(Mark::Plain, "Why? Say or type the number.");
            }
            Asked::Nothing => {}
        }
    }

    /// True if a frozen as-found reading is being corrected.
    fn correcting_as_found(run: &Run) -> bool {
        run.live.correcting.is_some_and(|seq| {
            run.saved.answers.iter().any(|kept| {
                kept.seq == seq
                    && kept.answer.stage == Stage::AsFound
                    && run.saved.is_frozen(&kept.answer)
            })
        })
    }

    /// The reasons to choose from. What was found can be put right where it was misread, misheard
    /// or typed wrongly; measured again, after adjusting, it is a new reading and not as found.
    pub(super) fn reason_options(run: &Run, reason: &ReasonFor) -> Vec<ChoiceOption> {
        let words: &[&str] = match reason {
            ReasonFor::Correction(_) if Self::correcting_as_found(run) => {
                &["misread", "misheard", "typed wrongly"]
            }
            ReasonFor::Correction(_) => &[
                "misread",
                "misheard",
                "typed wrongly",
                "measured again",
                "wrong terminals",
            ],
            ReasonFor::Skip { .. } | ReasonFor::End => &[
                "not safe now",
                "no access",
                "dead or no supply",
                "not fitted",
                "waiting for a part",
                "no time left",
            ],
        };
        words
            .iter()
            .map(|word| ChoiceOption {
                id: word.replace(' ', "-"),
                title: (*word).to_owned(),
                say: Vec::new(),
                next: None,
                sets: std::collections::BTreeMap::new(),
            })
            .collect()
    }

    pub(super) fn reason_heard(&mut self, words: &str, reason: ReasonFor) {
        let options = Self::reason_options(self.run, &reason);
        let slot = Slot {
            name: "reason".to_owned(),
            kind: question::choice(&options),
        };
        let decision = spoken::parse(&slot, words);
        match decision.meaning {
            Some(spoken::Meaning::Choice(id)) => {
                if let Some(at) = options.iter().position(|option| option.id == id) {
                    self.reason_given(at, reason, Channel::Voice, words);
                }
            }
            Some(spoken::Meaning::Command(Command::No | Command::Disregard | Command::Back)) => {
                self.ask_again();
            }
            _ => self.tell(Mark::Watch, "Say the number of the reason."),
        }
    }

    pub(super) fn reason_given(
        &mut self,
        at: usize,
        reason: ReasonFor,
        channel: Channel,
        words: &str,
    ) {
        let Some(text) = Self::reason_options(self.run, &reason)
            .get(at)
            .map(|option| option.title.clone())
        else {
            self.tell(Mark::Watch, "There is no reason with that number.");
            return;
        };
        let how = How {
            channel,
            heard: words.to_owned(),
            ..How::default()
        };
        match reason {
            ReasonFor::Skip { unable } => {
                let job = self.run.job.clone();
                let cursor = self.cursor();
                let (step, row) = match asked(&job, &self.run.saved, &cursor) {
                    Asked::Step(step) => (step, None),
                    Asked::Cell(step, _, row) => (step, Some(row)),
                    _ => return,
                };
                let cell = if let Cursor::Step { cell, .. } = cursor {
                    cell
                } else {
                    0
                };
                let then = self.run.saved.after_cell(&job, step, cell);
                self.append(Body::Skipped {
                    step: step.id.clone(),
                    row,
                    reason: text,
                    unable,
                    how,
                    then,
                });
            }
            ReasonFor::Correction(candidate) => self.correction(*candidate, text),
            ReasonFor::End => self.append(Body::Ending { reason: text }),
        }
    }

    /// Writes a correction: the old answer stays in the journal, and this one names it with the reason.
    ///
    /// From the corrected question on everything is decided anew: the run goes to what follows
    /// it, and each finding on the way is worked out again and leads where it leads now. Frozen
    /// as-found readings are no exception, for what is put right is what was read then.
    ///
    /// Where an adjusting step has been done since, or the job is ending, the run stays where it
    /// is (`Answered::stays`): no correction undoes what was turned, and a walk through those steps
    /// again would have it turned twice. The findings are worked out again all the same, for the
    /// record and for the targets of the questions (`finding::again`), but lead nowhere.
    ///
    /// A no to a gate, another choice, and a safety reading always lead on: a voltage that was
    /// found after all must send the job back to isolation whatever has been done.
    pub(super) fn correction(&mut self, candidate: Candidate, reason: String) {
        let Some(seq) = self.run.live.correcting.take() else {
            return;
        };
        let Some(old) = self
            .run
            .saved
            .answers
            .iter()
            .find(|kept| kept.seq == seq)
            .cloned()
        else {
            return;
        };
        let job = self.run.job.clone();
        let Some(step) = job.index_of(&old.answer.step).map(|at| &job.steps[at]) else {
            return;
        };
        let mut answered = Answered {
            value: candidate.value.clone(),
            out_of_range: candidate.out_of_range,
            corrects: Some(seq),
            reason: Some(reason),
            stays: self.stays_for(&old, &candidate.value),
            how: candidate.how,
            ..old.answer.clone()
        };
        if answered.stays {
            answered.then = self.run.saved.cursor.clone();
        } else {
            let Cursor::Step { cell, .. } = Saved::cursor_of(&job, &old.answer) else {
                return;
            };
            answered.then = self.destination(step, cell, &answered);
        }
        self.run.live.last_kept = Some(candidate.shown);
        self.append(Body::Answered(answered));
    }

    fn stays_for(&self, old: &Kept, new: &Value) -> bool {
        let saved = &self.run.saved;
        if saved.ending.is_some() && saved.cursor == Cursor::Ending {
            return true;
        }
        // What stayed before was read before the adjusting, however late it was put right.
        let adjusted = old.answer.stays || saved.adjusted_at.is_some_and(|at| at > old.seq);
        adjusted
            && old.answer.stage != Stage::Safety
            && !matches!(new, Value::No | Value::Choice(_))
    }

    pub(super) fn begin_note(&mut self) {
        self.run.live.typed.clear();
        self.run.live.phase = Phase::Noting;
        self.tell(Mark::Plain, "Note: speak, or type and press Enter.");
    }

    pub(super) fn note(&mut self, text: &str, channel: Channel, clip: Option<Clip>) {
        let step = match &self.run.saved.cursor {
            Cursor::Step { id, .. } => Some(id.clone()),
            _ => None,
        };
        let how = How {
            channel,
            heard: text.to_owned(),
            clip,
            ..How::default()
        };
        self.append(Body::Noted {
            step,
            text: text.to_owned(),
            how,
        });
    }

    pub(super) fn leave(&mut self) {
        self.run.live.phase = Phase::Reason(ReasonFor::End);
        self.tell(
            Mark::Plain,
            "Why does the job end here? Say or type the number.",
        );
    }

    pub(super) fn say_place(&mut self) {
        let view = super::view(self.run);
        self.say(&format!(
            "{}. {}. {}",
            view.title, view.place, view.question
        ));
    }

    /// Goes on after a finding that was told.
    pub(super) fn take_next(&mut self) {
        self.go_on(String::new());
    }

    /// Asks the open question again, leaving pause, menu or stop; or does what Sayback does by
    /// itself before it can be asked, where that could not be written before.
    pub(super) fn ask_again(&mut self) {
        self.run.live.phase = Phase::Asking;
        self.go_on(String::new());
    }
}

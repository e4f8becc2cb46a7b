//! Answers: what a yes, a no and a done mean for the open question, what is kept,
//! and where an answer leads. The only place from which a value is kept.
//!
//! No state of its own: parts of `Turn`, which `step` drives.

use rust_decimal::Decimal;

use super::answer::{self};
use super::question::{Asked, asked};
use super::record::{Answered, Body, Channel, Cursor, How, Record, Value};
use super::run::Saved;
use super::step::Turn;
use super::{Candidate, Effect, Mark, Phase, ReasonFor};
use crate::job::{PlateItem, PlateKind, PlateValue, Step, StepKind};

impl Turn<'_> {
    /// Yes, where a question is open: a gate's answer, or something that can be affirmed.
    pub(super) fn yes(&mut self, how: How) {
        match self.asked() {
            Asked::Restore(_)
            | Asked::Step(Step {
                kind: StepKind::Gate { .. },
                ..
            }) => self.gate(Value::Yes, how),
            _ => self.next(how),
        }
    }

    pub(super) fn no(&mut self, how: How) {
        match self.asked() {
            Asked::Restore(_)
            | Asked::Step(Step {
                kind: StepKind::Gate { .. },
                ..
            }) => self.gate(Value::No, how),
            Asked::Step(Step {
                kind: StepKind::Instruction | StepKind::Hold { .. } | StepKind::Memo,
                ..
            }) => self.tell(Mark::Watch, "Nothing was stored."),
            _ => self.tell(
                Mark::Watch,
                "This is no yes-or-no question. Nothing was stored.",
            ),
        }
    }

    /// Asks for an *affirm* before a word that anybody says is taken as said. True: it was asked.
    fn affirm_first(&mut self, how: &How, what: &str) -> bool {
        let wanted = how.channel == Channel::Voice && self.wants_affirm(&how.heard);
        if wanted {
            self.tell(Mark::Plain, &format!("{what}: affirm or negative?"));
        }
        wanted
    }

    /// A gate's answer: by voice it is read back first, like any other.
    pub(super) fn gate(&mut self, value: Value, how: How) {
        let word = if value == Value::Yes { "Yes" } else { "No" };
        let short = self.asked().short();
        let candidate = Candidate {
            value,
            out_of_range: false,
            shown: word.to_uppercase(),
            said: format!("{word}: {short}. Affirm?"),
            how,
            level_db: None,
            talk_heard: false,
        };
        if candidate.how.channel == Channel::Voice {
            self.confirm(candidate);
        } else {
            self.keep(candidate);
        }
    }

    /// Done, next: ends an instruction, starts a hold, passes a memo, keeps what is already known.
    pub(super) fn next(&mut self, how: How) {
        let job = self.run.job.clone();
        let cursor = self.cursor();
        match asked(&job, &self.run.saved, &cursor) {
            Asked::Step(step) => match &step.kind {
                StepKind::Instruction => {
                    if !self.affirm_first(&how, "Done") {
                        self.answer(Value::Done, how, false);
                    }
                }
                StepKind::Hold { seconds } => {
                    if self.affirm_first(&how, "Hold") {
                        return;
                    }
                    let whole = (*seconds * Decimal::from(1000)).round();
                    let length = u64::try_from(whole).unwrap_or(1000);
                    self.run.live.phase = Phase::Holding {
                        until_ms: self.at.mono_ms + length,
                        seconds: *seconds,
                    };
                    self.tell(Mark::Plain, &format!("Hold. {seconds} seconds."));
                }
                StepKind::Memo => {
                    if !self.affirm_first(&how, "Next") {
                        self.moved("next", self.run.saved.step_after(&job, step, None));
                    }
                }
                StepKind::Reading(_) | StepKind::Choice(_) => {
                    let known = self
                        .run
                        .saved
                        .answer(&step.id)
                        .filter(|kept| kept.stale.is_none());
                    match known {
                        Some(_) if self.run.live.correcting.is_none() => {
                            if !self.affirm_first(&how, "Keep it") {
                                self.moved("kept", self.run.saved.step_after(&job, step, None));
                            }
                        }
                        _ => self.tell(Mark::Watch, "A value is wanted. Say it or type it."),
                    }
                }
                _ => self.tell(Mark::Watch, "Affirm or negative is wanted."),
            },
            Asked::Cell(step, _, row) if self.run.saved.cell(&step.id, &row).is_some() => {
                let Cursor::Step { cell, .. } = cursor else {
                    return;
                };
                if self.affirm_first(&how, "Keep it") {
                    return;
                }
                self.moved("kept", self.run.saved.after_cell(&job, step, cell));
            }
            Asked::Nothing => {}
            // The first of a list is what comes next.
            Asked::Plate(PlateItem {
                id,
                kind: PlateKind::Choice(options),
                ..
            }) if job.is_list() && !options.is_empty() => self.append(Body::Plate {
                item: id.clone(),
                value: PlateValue::Text(options[0].id.clone()),
                how,
            }),
            _ => self.tell(Mark::Watch, "A value is wanted. Say it or type it."),
        }
    }

    pub(super) fn moved(&mut self, why: &str, then: Cursor) {
        self.append(Body::Moved {
            why: why.to_owned(),
            then,
        });
    }

    /// Keeps a candidate: only from a yes, or from the Enter key.
    pub(super) fn keep(&mut self, mut candidate: Candidate) {
        if !matches!(candidate.value, Value::Yes | Value::No | Value::Done) {
            // Spoken or typed: it is the partner's reading either way.
            candidate
                .how
                .relayed_by
                .clone_from(&self.run.saved.relayed_by);
        }
        if self.run.live.correcting.is_some() {
            self.run.live.phase = Phase::Reason(ReasonFor::Correction(Box::new(candidate)));
            self.tell(Mark::Plain, "Why is it corrected? Say or type the number.");
            return;
        }
        let out_of_range = candidate.out_of_range;
        self.run.live.last_kept = Some(candidate.shown.clone());
        self.answer(candidate.value, candidate.how, out_of_range);
    }

    pub(super) fn answer(&mut self, value: Value, how: How, out_of_range: bool) {
        let job = self.run.job.clone();
        let cursor = self.cursor();
        match asked(&job, &self.run.saved, &cursor) {
            Asked::Plate(item) => match plate_value(&item.kind, value) {
                Ok(value) => self.append(Body::Plate {
                    item: item.id.clone(),
                    value,
                    how,
                }),
                Err(why) => {
                    self.run.live.phase = Phase::Asking;
                    self.tell(Mark::Watch, &why);
                }
            },
            Asked::Restore(item) => {
                if value == Value::Yes {
                    self.append(Body::Restored { item, how });
                } else {
                    self.run.live.phase = Phase::Done;
                    self.tell(
                        Mark::Bad,
                        &format!("The job stays open: restore {item}, then resume this run."),
                    );
                    self.effects.push(Effect::Quit(1));
                }
            }
            Asked::Step(step) | Asked::Cell(step, ..) => {
                if value == Value::No
                    && let StepKind::Gate { refused: None } = &step.kind
                {
                    // Recorded, and asked again: a gate blocks until it is yes.
                    self.run.live.last_kept = Some("NO".to_owned());
                }
                let answered = self.answered(step, &cursor, value, how, out_of_range);
                self.append(Body::Answered(answered));
            }
            Asked::Nothing => {}
        }
    }

    pub(super) fn answered(
        &self,
        step: &Step,
        cursor: &Cursor,
        value: Value,
        how: How,
        out_of_range: bool,
    ) -> Answered {
        let saved = &self.run.saved;
        let cell = if let Cursor::Step { cell, .. } = cursor {
            *cell
        } else {
            0
        };
        let row = match &step.kind {
            StepKind::ReadingSet(set) => Saved::row_at(set, cell),
            _ => None,
        };
        let replaced = match &row {
            Some(row) => saved.cell(&step.id, row),
            None => saved.answer(&step.id).filter(|kept| kept.stale.is_none()),
        };
        let gate_no = value == Value::No;
        let corrects = replaced
            .filter(|kept| kept.answer.value != Value::No && !gate_no)
            .map(|kept| kept.seq);
        let attempt = saved.attempts(&step.id) + 1;
        let mut answered = Answered {
            step: step.id.clone(),
            row,
            // Once adjusting has begun, nothing that is measured is as found any more.
            stage: if saved.frozen && step.stage == crate::job::Stage::AsFound {
                crate::job::Stage::Adjust
            } else {
                step.stage
            },
            value,
            out_of_range,
            corrects,
            reason: corrects.map(|_| "answered again after going back".to_owned()),
            stays: false,
            attempt,
            how,
            then: cursor.clone(),
        };
        answered.then = self.destination(step, cell, &answered);
        answered
    }

    /// Where an answer leads. It can depend on this very answer, so it is tried on a copy first.
    /// A no to a gate leads nowhere: the job waits there until it is yes.
    pub(super) fn destination(&self, step: &Step, cell: usize, answered: &Answered) -> Cursor {
        let job = &self.run.job;
        let mut trial = self.run.saved.clone();
        let body = Body::Answered(answered.clone());
        trial.apply(
            job,
            &Record {
                at: self.at.wall,
                body,
            },
        );
        match (&step.kind, &answered.value) {
            (StepKind::Gate { refused }, Value::No) => match refused {
                Some(next) => trial.step_after(job, step, Some(next)),
                None => Cursor::Step {
                    id: step.id.clone(),
                    cell: 0,
                },
            },
            (StepKind::Choice(options), Value::Choice(id)) => {
                let chosen = options.iter().find(|option| option.id == *id);
                let next = chosen.and_then(|option| option.next.as_deref());
                trial.step_after(job, step, next)
            }
            _ => trial.after_cell(job, step, cell),
        }
    }
}

fn plate_value(kind: &PlateKind, value: Value) -> Result<PlateValue, String> {
    match (kind, value) {
        (PlateKind::Month, Value::Number { value, .. }) => {
            answer::month(value).map(PlateValue::Text).ok_or_else(|| {
                "Year and month are wanted as six digits, for example 2 0 2 7 0 2.".to_owned()
            })
        }
        (_, Value::Number { value, .. }) => Ok(PlateValue::Number(value)),
        (_, Value::Choice(id)) => Ok(PlateValue::Text(id)),
        (_, Value::Tag(text)) => Ok(PlateValue::Text(text)),
        (_, Value::Status(_)) => Err("A number is wanted. Skip it if it is unknown.".to_owned()),
        (_, Value::Yes | Value::No | Value::Done) => {
            Err("A value is wanted. Say it or type it.".to_owned())
        }
    }
}

//! `step`: one event in, effects out. Decides everything; changes nothing that
//! is saved except by handing a record to the journal and, once that is on the
//! disk, to `Saved::apply`.

use rust_decimal::Decimal;

use super::answer::{self, Outcome};
use super::question::{self, Asked, asked};
use super::record::{Answered, Body, Channel, Clip, Cursor, How, Record, Value};
use super::run::Saved;
use super::{
    Candidate, EarState, Effect, Event, Key, Mark, Message, Phase, ReasonFor, Run, Stamp, finding,
    keypad,
};
use crate::calc::finding::Grade;
use crate::job::{ChoiceOption, PlateKind, PlateValue, Step, StepKind};
use crate::spoken::{self, Command, CommandSet, Slot, SlotKind};

/// What is said when somebody says stop.
pub const STOP_WORDS: &str =
    "Stopped. Sayback cannot stop the actuator: use the site's own stop. Go ahead when it is over.";

/// Takes in one event.
pub fn step(run: &mut Run, event: Event, at: Stamp) -> Vec<Effect> {
    let mut turn = Turn {
        run,
        at,
        effects: Vec::new(),
        relisten: false,
    };
    turn.run.live.now_ms = at.mono_ms;
    turn.take(event);
    if turn.relisten {
        turn.listen();
    }
    turn.effects
}

/// When the core wants a [`Event::Tick`], on the clock of [`Stamp::mono_ms`].
#[must_use]
pub fn deadline(run: &Run) -> Option<u64> {
    match run.live.phase {
        // Each quarter second, so that the count-down on the screen moves.
        Phase::Holding { until_ms, .. } => Some(until_ms.min(run.live.now_ms + 250)),
        _ => None,
    }
}

/// One call of `step`: the run, the time, and what is to be done.
pub(super) struct Turn<'run> {
    pub(super) run: &'run mut Run,
    pub(super) at: Stamp,
    pub(super) effects: Vec<Effect>,
    pub(super) relisten: bool,
}

impl Turn<'_> {
    fn take(&mut self, event: Event) {
        match event {
            Event::Begin => {
                if self.run.saved.cursor == Cursor::Closed {
                    self.run.live.phase = Phase::Done;
                    self.tell(Mark::Plain, "This job is closed.");
                } else {
                    self.go_on(String::new());
                }
            }
            Event::Key(key) => {
                if !keypad::is_bounce(&mut self.run.live, key, self.at.mono_ms) {
                    self.relisten = true;
                    keypad::take(self, key);
                }
            }
            Event::Typed(key) => {
                self.relisten = true;
                keypad::take(self, key);
            }
            Event::Line(text) => {
                self.relisten = true;
                keypad::line(self, &text);
            }
            Event::Heard {
                words,
                listen,
                clip,
                damaged,
            } => self.heard(&words, listen, clip, damaged),
            Event::Saved => self.saved(),
            Event::NotSaved { why, again } => {
                self.run.live.pending = None;
                self.run.live.queue.clear();
                self.tell(Mark::Bad, &format!("NOT SAVED. Write it on paper. {why}"));
                self.run.live.phase = Phase::NotSaved { again };
                self.relisten = true;
            }
            Event::EarLost { why } => {
                self.tell(Mark::Watch, &why);
                self.run.live.ear = EarState::Lost(why.clone());
                self.append_aside(Body::Microphone { state: why });
            }
            Event::EarBack => {
                let was_lost = matches!(self.run.live.ear, EarState::Lost(_));
                self.run.live.ear = EarState::Open;
                self.relisten = true;
                if was_lost {
                    self.append_aside(Body::Microphone {
                        state: "The ear is back.".to_owned(),
                    });
                }
            }
            Event::Tick => self.tick(),
            Event::Hangup { code } => self.effects.push(Effect::Quit(code)),
        }
    }

    fn tick(&mut self) {
        if let Phase::Holding { until_ms, seconds } = self.run.live.phase
            && self.at.mono_ms >= until_ms
            && let Asked::Step(step) = self.asked()
        {
            let then = self.run.saved.step_after(&self.run.job.clone(), step, None);
            let step = step.id.clone();
            self.tell(Mark::Good, &format!("{seconds} seconds. Release."));
            self.append(Body::Held {
                step,
                seconds,
                then,
            });
        }
    }

    // ---- what is heard -------------------------------------------------

    fn heard(&mut self, words: &str, listen: u64, clip: Option<Clip>, damaged: bool) {
        // Stop words act even when they come late.
        let is_stop = spoken::parse(
            &Slot {
                name: String::new(),
                kind: SlotKind::Choice(Vec::new()),
            },
            words,
        )
        .meaning
            == Some(spoken::Meaning::Command(Command::Stop));
        if is_stop {
            self.stop(How {
                channel: Channel::Voice,
                heard: words.to_owned(),
                clip,
                ..How::default()
            });
            return;
        }
        if listen != self.run.live.listen
            || matches!(
                self.run.live.phase,
                Phase::Saving | Phase::Done | Phase::Idle
            )
        {
            return;
        }
        self.relisten = true;
        if damaged {
            self.tell(Mark::Watch, "Sound was lost in the middle. Say it again.");
            return;
        }
        if words.is_empty() {
            if !matches!(
                self.run.live.phase,
                Phase::Paused | Phase::Stopped | Phase::Holding { .. }
            ) {
                self.tell(Mark::Watch, "Not understood. Say it again, or type it.");
            }
            return;
        }
        if self.run.live.phase == Phase::Noting {
            self.note(words, Channel::Voice, clip);
            return;
        }
        if let Phase::Reason(reason) = self.run.live.phase.clone() {
            self.reason_heard(words, reason);
            return;
        }
        let job = self.run.job.clone();
        let asked = asked(&job, &self.run.saved, &self.cursor());
        match answer::heard(self.run, &asked, words, clip.clone()) {
            Outcome::Command(command) => self.command(command, words, clip),
            Outcome::Candidate(candidate) => match self.run.live.phase {
                Phase::Asking | Phase::Confirming(_) => self.confirm(candidate),
                _ => self.tell(Mark::Watch, "Not now. Say go ahead first."),
            },
            Outcome::Ask(message) => {
                if matches!(self.run.live.phase, Phase::Asking | Phase::Confirming(_)) {
                    self.run.live.phase = Phase::Asking;
                    self.tell(message.mark, &message.text);
                }
            }
        }
    }

    pub(super) fn confirm(&mut self, candidate: Candidate) {
        self.run.live.typed.clear();
        self.tell(Mark::Plain, &candidate.said.clone());
        self.run.live.phase = Phase::Confirming(candidate);
    }

    /// A command by voice; the keypad calls the same parts.
    pub(super) fn command(&mut self, command: Command, words: &str, clip: Option<Clip>) {
        let how = How {
            channel: Channel::Voice,
            heard: words.to_owned(),
            clip,
            ..How::default()
        };
        match (self.run.live.phase.clone(), command) {
            (_, Command::Stop) => self.stop(how),
            (Phase::Paused | Phase::Stopped | Phase::Menu | Phase::Statuses, Command::Resume) => {
                self.ask_again()
            }
            (Phase::Paused | Phase::Stopped, _) => {
                self.tell(Mark::Plain, "Standing by. Say go ahead.");
            }
            (Phase::Confirming(candidate), Command::Yes) => self.keep(candidate),
            (Phase::Confirming(_), Command::No | Command::Disregard) => {
                self.run.live.phase = Phase::Asking;
                self.tell(Mark::Watch, "Not stored. Say it again.");
            }
            (
                Phase::Confirming(candidate),
                Command::RepeatPrompt | Command::RepeatLastValue | Command::ReadBack,
            ) => {
                self.say(&candidate.said);
            }
            (Phase::Confirming(_), Command::Correction) => {
                self.run.live.phase = Phase::Asking;
                self.tell(Mark::Watch, "Not stored. Say the right value.");
            }
            (_, Command::Ack | Command::AckWillDo) => {
                self.tell(
                    Mark::Watch,
                    "That is received, not yes. Affirm or negative?",
                );
            }
            (Phase::Telling, Command::Next | Command::Yes | Command::Resume) => {
                self.go_on(String::new());
            }
            (Phase::Telling, Command::RepeatPrompt | Command::ReadBack) => {
                let text = self.run.live.message.text.clone();
                self.say(&text);
            }
            (Phase::Leaving, Command::Yes) => self.leave(),
            (Phase::Leaving, _) => self.ask_again(),
            (Phase::Asking, Command::Yes) => self.yes(how),
            (Phase::Asking, Command::No) => self.no(how),
            (Phase::Asking, Command::Next) => self.next(how),
            (_, Command::RepeatPrompt) => self.ask_again(),
            (_, Command::RepeatLastValue | Command::ReadBack) => {
                let text = self
                    .run
                    .live
                    .last_kept
                    .clone()
                    .unwrap_or_else(|| "Nothing is kept yet".to_owned());
                self.say(&format!("{text}."));
            }
            (_, Command::Pause | Command::PauseLong) => self.pause(),
            (_, Command::Back) => self.back(),
            (_, Command::Undo) => self.undo(),
            (_, Command::Correction) => self.correct(),
            (_, Command::Skip) => self.skip(false, how),
            (_, Command::Unable) => self.skip(true, how),
            (_, Command::Note) => self.begin_note(),
            (_, Command::Help | Command::Status) => self.say_place(),
            (_, Command::RadioCheck) => self.say("Loud and clear."),
            (_, Command::Disregard) => {
                self.run.live.typed.clear();
                self.tell(Mark::Plain, "Disregarded. Nothing was stored.");
            }
            _ => {}
        }
    }

    // ---- answers -------------------------------------------------------

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
            _ => self.tell(
                Mark::Watch,
                "This is no yes-or-no question. Nothing was stored.",
            ),
        }
    }

    /// A gate's answer: by voice it is read back first, like any other.
    fn gate(&mut self, value: Value, how: How) {
        let word = if value == Value::Yes { "Yes" } else { "No" };
        let short = self.asked().short();
        let candidate = Candidate {
            value,
            out_of_range: false,
            shown: word.to_uppercase(),
            said: format!("{word}: {short}. Affirm?"),
            how,
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
                StepKind::Instruction => self.answer(Value::Done, how, false),
                StepKind::Hold { seconds } => {
                    let whole = (*seconds * Decimal::from(1000)).round();
                    let length = u64::try_from(whole).unwrap_or(1000);
                    self.run.live.phase = Phase::Holding {
                        until_ms: self.at.mono_ms + length,
                        seconds: *seconds,
                    };
                    self.tell(Mark::Plain, &format!("Hold. {seconds} seconds."));
                }
                StepKind::Memo => self.moved("next", self.run.saved.step_after(&job, step, None)),
                StepKind::Reading(_) | StepKind::Choice(_) => {
                    let known = self.run.saved.answer(&step.id).filter(|kept| !kept.stale);
                    match known {
                        Some(_) if self.run.live.correcting.is_none() => {
                            self.moved("kept", self.run.saved.step_after(&job, step, None));
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
                self.moved("kept", self.run.saved.after_cell(&job, step, cell));
            }
            Asked::Nothing => {}
            _ => self.tell(Mark::Watch, "A value is wanted. Say it or type it."),
        }
    }

    fn moved(&mut self, why: &str, then: Cursor) {
        self.append(Body::Moved {
            why: why.to_owned(),
            then,
        });
    }

    /// Keeps a candidate: only from a yes, or from the Enter key.
    pub(super) fn keep(&mut self, candidate: Candidate) {
        if self.run.live.correcting.is_some() {
            self.run.live.phase = Phase::Reason(ReasonFor::Correction(Box::new(candidate)));
            self.tell(Mark::Plain, "Why is it corrected? Say or type the number.");
            return;
        }
        let out_of_range = candidate.out_of_range;
        self.run.live.last_kept = Some(candidate.shown.clone());
        self.answer(candidate.value, candidate.how, out_of_range);
    }

    fn answer(&mut self, value: Value, how: How, out_of_range: bool) {
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

    fn answered(
        &self,
        step: &Step,
        cursor: &Cursor,
        value: Value,
        how: How,
        out_of_range: bool,
    ) -> Answered {
        let job = &self.run.job;
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
            None => saved.answer(&step.id).filter(|kept| !kept.stale),
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
            attempt,
            how,
            then: cursor.clone(),
        };
        answered.then = self.destination(step, cell, &answered);
        answered
    }

    /// Where an answer leads. It can depend on this very answer, so it is tried on a copy first.
    /// A no to a gate leads nowhere: the job waits there until it is yes.
    fn destination(&self, step: &Step, cell: usize, answered: &Answered) -> Cursor {
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

    // ---- going about ---------------------------------------------------

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

    fn can_go_back_to(&self, cursor: &Cursor) -> bool {
        match asked(&self.run.job, &self.run.saved, cursor) {
            Asked::Step(step) | Asked::Cell(step, ..) => {
                let frozen = self.run.saved.frozen
                    && matches!(
                        step.stage,
                        crate::job::Stage::AsFound | crate::job::Stage::Safety
                    );
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
        self.tell(
            Mark::Watch,
            &format!("Correct {short}, which was {was}. What is right?"),
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

    pub(super) fn reason_options(reason: &ReasonFor) -> Vec<ChoiceOption> {
        let words: &[&str] = match reason {
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

    fn reason_heard(&mut self, words: &str, reason: ReasonFor) {
        let options = Self::reason_options(&reason);
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
        let Some(text) = Self::reason_options(&reason)
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
            ReasonFor::End => self.append(Body::Closed {
                complete: false,
                reason: Some(text),
            }),
        }
    }

    fn correction(&mut self, candidate: Candidate, reason: String) {
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
        let frozen = self.run.saved.is_frozen(&old.answer);
        let mut answered = Answered {
            value: candidate.value,
            out_of_range: candidate.out_of_range,
            corrects: Some(seq),
            reason: Some(reason),
            how: candidate.how,
            ..old.answer.clone()
        };
        // Judged anew from there on, unless adjusting has begun: then the run stays where it is.
        // A gate that turns out not to be yes blocks in any case.
        if frozen && answered.value != Value::No {
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

    fn say_place(&mut self) {
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

    /// Asks the open question again, leaving pause, menu or stop.
    pub(super) fn ask_again(&mut self) {
        self.run.live.phase = Phase::Asking;
        self.run.live.message = Message::default();
        self.relisten = true;
        let sentence = self.question();
        self.say(&sentence);
    }

    // ---- writing -------------------------------------------------------

    /// Hands a record to the journal; it is applied once it is on the disk.
    pub(super) fn append(&mut self, body: Body) {
        let record = Record {
            at: self.at.wall,
            body,
        };
        self.run.live.pending = Some(record.clone());
        self.run.live.typed.clear();
        self.run.live.letters = false;
        self.run.live.odd = None;
        if !matches!(self.run.live.phase, Phase::Stopped) {
            self.run.live.phase = Phase::Saving;
        }
        self.effects.push(Effect::Append(Box::new(record)));
    }

    /// Writes down something that is no answer, and leaves all that is going on as it is.
    fn append_aside(&mut self, body: Body) {
        match self.run.live.phase {
            Phase::Idle | Phase::Done | Phase::NotSaved { .. } => {}
            _ if self.run.live.pending.is_some() => self.run.live.queue.push_back(body),
            _ => {
                let record = Record {
                    at: self.at.wall,
                    body,
                };
                self.run.live.pending = Some(record.clone());
                self.effects.push(Effect::Append(Box::new(record)));
            }
        }
    }

    fn saved(&mut self) {
        let Some(record) = self.run.live.pending.take() else {
            return;
        };
        let job = self.run.job.clone();
        self.run.saved.apply(&job, &record);
        if let Some(body) = self.run.live.queue.pop_front() {
            self.append(body);
            return;
        }
        let kept = match &record.body {
            Body::Answered(Answered {
                value: Value::Done, ..
            }) => "Done.".to_owned(),
            Body::Answered(Answered {
                value: Value::No, ..
            }) => "No. That is recorded. The job waits here until it is yes.".to_owned(),
            Body::Answered(_) | Body::Plate { .. } | Body::Restored { .. } => "Kept.".to_owned(),
            Body::Noted { .. } => "Noted.".to_owned(),
            Body::Withdrawn { .. } => "Taken back.".to_owned(),
            Body::Held { seconds, .. } => format!("Held {seconds} seconds. Release."),
            Body::Skipped { .. } => "Skipped, with the reason.".to_owned(),
            Body::InstrumentExpired { item, due } => {
                let title = job
                    .plate_item(item)
                    .map_or(item.as_str(), |item| item.title.as_str());
                format!("{title}: {due} is past. The record is flagged.")
            }
            Body::AsFoundFrozen { .. } => "As-found readings are frozen.".to_owned(),
            Body::Found { finding, said, .. } => {
                if finding.grade == Grade::Good {
                    said.clone()
                } else {
                    let mark = if finding.grade == Grade::Bad {
                        Mark::Bad
                    } else {
                        Mark::Watch
                    };
                    self.run.live.last_finding = Some(finding.verdict.to_string());
                    self.tell(mark, &said.clone());
                    self.run.live.phase = Phase::Telling;
                    self.relisten = true;
                    return;
                }
            }
            Body::Closed { complete, .. } => {
                self.run.live.phase = Phase::Done;
                let text = if *complete {
                    "The job is complete."
                } else {
                    "The job is closed before its end."
                };
                self.tell(Mark::Good, text);
                self.effects.push(Effect::Quit(u8::from(!complete)));
                return;
            }
            Body::Stopped { .. } => {
                self.run.live.phase = Phase::Stopped;
                self.relisten = true;
                return;
            }
            // Written aside: what was going on goes on.
            Body::Microphone { .. } if self.run.live.phase != Phase::Saving => return,
            Body::Started(_)
            | Body::Moved { .. }
            | Body::Resumed { .. }
            | Body::Microphone { .. } => String::new(),
        };
        self.go_on(kept);
    }

    /// Goes to the next thing: what Sayback does by itself, or the next question.
    fn go_on(&mut self, before: String) {
        self.relisten = true;
        if self.run.live.phase == Phase::Stopped {
            return;
        }
        let job = self.run.job.clone();
        let at_step = matches!(self.run.saved.cursor, Cursor::Step { .. } | Cursor::Ending);
        if at_step && let Some(body) = self.expired() {
            self.append(body);
            return;
        }
        if let Some((step, _)) = self.run.saved.step(&job)
            && step.adjusts
            && !self.run.saved.frozen
        {
            let body = Body::AsFoundFrozen {
                step: step.id.clone(),
            };
            self.append(body);
            return;
        }
        if let Some((step, wanted)) = question::finding_at(&job, &self.run.saved.cursor) {
            let body = finding::found(&job, &self.run.saved, step, wanted, self.at.wall);
            self.append(body);
            return;
        }
        if self.run.saved.cursor == Cursor::Ending && self.run.saved.outstanding.is_empty() {
            self.append(Body::Closed {
                complete: true,
                reason: None,
            });
            return;
        }
        self.run.live.phase = Phase::Asking;
        let mark = if before.is_empty() {
            Mark::Plain
        } else {
            Mark::Good
        };
        self.run.live.message = Message {
            mark,
            text: before.clone(),
        };
        let sentence = self.question();
        self.say(format!("{before} {sentence}").trim());
    }

    /// The first instrument past its due month that is not yet in the record.
    fn expired(&self) -> Option<Body> {
        let saved = &self.run.saved;
        let now = self.at.wall.month();
        self.run
            .job
            .plate
            .iter()
            .find_map(|item| match (&item.kind, saved.plate.get(&item.id)) {
                (PlateKind::Month, Some(PlateValue::Text(due)))
                    if due.as_str() < now.as_str() && !saved.expired.contains_key(&item.id) =>
                {
                    Some(Body::InstrumentExpired {
                        item: item.id.clone(),
                        due: due.clone(),
                    })
                }
                _ => None,
            })
    }

    // ---- small parts ---------------------------------------------------

    /// The cursor whose question is open: that of the run, or of the answer that is being corrected.
    pub(super) fn cursor(&self) -> Cursor {
        super::view::open_cursor(self.run)
    }

    pub(super) fn asked(&self) -> Asked<'_> {
        asked(&self.run.job, &self.run.saved, &self.cursor())
    }

    fn question(&self) -> String {
        self.asked().sentence(&self.run.job, &self.run.saved)
    }

    pub(super) fn say(&mut self, text: &str) {
        if !text.is_empty() {
            self.effects.push(Effect::Say(text.to_owned()));
        }
    }

    pub(super) fn tell(&mut self, mark: Mark, text: &str) {
        self.run.live.message = Message {
            mark,
            text: text.to_owned(),
        };
        self.say(text);
    }

    fn listen(&mut self) {
        let live = &self.run.live;
        let commands_only = || Slot {
            name: String::new(),
            kind: SlotKind::Choice(Vec::new()),
        };
        let (slot, commands) = match &live.phase {
            Phase::Asking => (self.asked().slot(&self.run.saved), CommandSet::All),
            Phase::Confirming(_) | Phase::Leaving => (
                Slot {
                    name: "yes or no".to_owned(),
                    kind: SlotKind::YesNo,
                },
                CommandSet::Few,
            ),
            Phase::Reason(reason) => (
                Slot {
                    name: "reason".to_owned(),
                    kind: question::choice(&Self::reason_options(reason)),
                },
                CommandSet::Few,
            ),
            Phase::Noting => (
                Slot {
                    name: "note".to_owned(),
                    kind: SlotKind::Any,
                },
                CommandSet::All,
            ),
            Phase::Saving | Phase::Idle | Phase::Done => return,
            _ => (commands_only(), CommandSet::All),
        };
        self.run.live.listen += 1;
        let listen = self.run.live.listen;
        self.effects.push(Effect::Listen {
            slot,
            commands,
            listen,
        });
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

/// Enter, on the keypad.
#[must_use]
pub(super) fn keyed(text: &str) -> How {
    How {
        channel: Channel::Keypad,
        heard: text.to_owned(),
        ..How::default()
    }
}

/// Keys that can bounce are all but the digits: two equal digits in a row are a number.
#[must_use]
pub(super) fn can_bounce(key: Key) -> bool {
    !matches!(key, Key::Digit(_) | Key::Letter(_))
}

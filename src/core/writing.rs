//! Writing: a record goes to the journal, is applied once it is on the disk, and
//! the run goes on to what comes next.
//!
//! No state of its own: parts of `Turn`, which `step` drives.

use super::question::{self};
use super::record::{Answered, Body, Cursor, Record, Value};
use super::step::Turn;
use super::{Effect, Mark, Message, Phase, finding};
use crate::calc::finding::Grade;
use crate::job::{PlateKind, PlateValue};

impl Turn<'_> {
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
    pub(super) fn append_aside(&mut self, body: Body) {
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

    pub(super) fn saved(&mut self) {
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
            Body::Noted { .. } | Body::Relayed { .. } | Body::Alike { .. } => "Noted.".to_owned(),
            Body::Withdrawn { .. } => "Taken back.".to_owned(),
            Body::Held { seconds, .. } => format!("Held {seconds} seconds. Release."),
            Body::Ending { .. } => "The job ends here.".to_owned(),
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
                if job.is_list() {
                    // What was chosen begins at once: there is nothing to be told.
                    self.effects.push(Effect::Quit(u8::from(!complete)));
                    return;
                }
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
            | Body::MicrophoneChecked { .. }
            | Body::Resumed { .. }
            | Body::Microphone { .. } => String::new(),
        };
        self.go_on(kept);
    }

    /// Goes to the next thing: what Sayback does by itself, or the next question.
    pub(super) fn go_on(&mut self, before: String) {
        self.go_on_after(Mark::Good, before);
    }

    /// The same; `mark` is how what is said before the question is meant.
    pub(super) fn go_on_after(&mut self, mark: Mark, before: String) {
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
        if let Some(body) = finding::again(&job, &self.run.saved, self.at.wall) {
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
            let reason = self.run.saved.ending.clone();
            self.append(Body::Closed {
                complete: reason.is_none(),
                reason,
            });
            return;
        }
        self.run.live.phase = Phase::Asking;
        self.run.live.message = Message {
            mark: if before.is_empty() { Mark::Plain } else { mark },
            text: before.clone(),
        };
        let sentence = self.question();
        self.say(format!("{before} {sentence}").trim());
    }

    /// The first instrument past its due month that is not yet in the record.
    pub(super) fn expired(&self) -> Option<Body> {
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
}

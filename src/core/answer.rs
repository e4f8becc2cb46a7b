//! From what was heard or typed to a candidate answer: the only place where a
//! parse becomes a value.
//!
//! Nothing here keeps anything; a candidate is kept only by `step`, after a yes
//! or the Enter key.

use rust_decimal::Decimal;

use super::question::{Asked, with_unit};
use super::record::{Channel, Clip, How, Value};
use super::{Candidate, Mark, Message, Run};
use crate::spoken::{self, Command, Decision, Expect, Meaning, Slot};

/// What a parse comes to.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// A command.
    Command(Command),
    /// A value to be read back (spoken) or kept (typed).
    Candidate(Candidate),
    /// Nothing to keep; say this.
    Ask(Message),
}

/// Judges words heard for this question.
pub fn heard(run: &mut Run, asked: &Asked, words: &str, clip: Option<Clip>) -> Outcome {
    let slot = asked.slot(&run.saved);
    let decision = spoken::parse(&slot, words);
    let how = How {
        channel: Channel::Voice,
        heard: words.to_owned(),
        clip,
        ..How::default()
    };
    judge(run, asked, &slot, &decision, how)
}

/// Judges text typed for this question.
pub fn typed(run: &mut Run, asked: &Asked, text: &str) -> Outcome {
    let slot = asked.slot(&run.saved);
    let decision = spoken::parse_keyed(&slot, text);
    let how = How {
        channel: Channel::Keypad,
        heard: text.to_owned(),
        ..How::default()
    };
    judge(run, asked, &slot, &decision, how)
}

fn judge(run: &mut Run, asked: &Asked, slot: &Slot, decision: &Decision, mut how: How) -> Outcome {
    let question = super::view::open_cursor(run);
    let given_before = |value| run.live.odd == Some((question.clone(), value));
    match (decision.expect, &decision.meaning) {
        (Expect::Command, Some(Meaning::Command(command))) => Outcome::Command(*command),
        // There is no reading to keep: the step is passed over, and the reason is asked for.
        (Expect::Status, Some(Meaning::Status(spoken::Status::Unable))) => {
            Outcome::Command(Command::Unable)
        }
        (Expect::Status, Some(Meaning::Status(spoken::Status::NotApplicable))) => {
            Outcome::Command(Command::Skip)
        }
        (Expect::Value | Expect::Confirm | Expect::Status, Some(meaning)) => {
            if decision.expect == Expect::Confirm {
                how.doubt = Some(decision.candidates.join(" or "));
            }
            run.live.odd = None;
            candidate(asked, slot, decision, meaning, how, false).map_or_else(
                || {
                    Outcome::Ask(message(format!(
                        "{} does not answer this. {}",
                        decision.ask,
                        slot_help(slot)
                    )))
                },
                Outcome::Candidate,
            )
        }
        (Expect::Reject, _) => match decision.outside {
            Some(value) if given_before(value) => {
                run.live.odd = None;
                let meaning = Meaning::Number(value);
                how.doubt = Some("outside the plausible range, given twice".to_owned());
                candidate(asked, slot, decision, &meaning, how, true).map_or_else(
                    || Outcome::Ask(message(decision.ask.clone())),
                    Outcome::Candidate,
                )
            }
            Some(value) => {
                run.live.odd = Some((question, value));
                Outcome::Ask(message(format!(
                    "{} If that is what the display shows, give it again.",
                    sentence(&decision.ask)
                )))
            }
            None => {
                run.live.odd = None;
                Outcome::Ask(message(decision.ask.clone()))
            }
        },
        _ => {
            run.live.odd = None;
            Outcome::Ask(message(decision.ask.clone()))
        }
    }
}

fn candidate(
    asked: &Asked,
    slot: &Slot,
    decision: &Decision,
    meaning: &Meaning,
    how: How,
    out_of_range: bool,
) -> Option<Candidate> {
    let spoken_in = how.channel == Channel::Voice;
    let (value, shown, said) = match meaning {
        Meaning::Number(number) => {
            let spoken::SlotKind::Number(range) = &slot.kind else {
                return None;
            };
            let said = spoken::read_back(number, &range.unit);
            (
                Value::Number {
                    value: *number,
                    unit: range.unit.id().to_owned(),
                },
                with_unit(&number.to_string(), range.unit.id()),
                said,
            )
        }
        Meaning::Status(status) => {
            // A status can stand instead of a reading, never instead of a choice or a yes.
            if !matches!(slot.kind, spoken::SlotKind::Number(_)) {
                return None;
            }
            let code = status.code();
            let shown = code.replace('_', " ");
            (Value::Status(code), shown, status.said())
        }
        Meaning::Tag(text) => (Value::Tag(text.clone()), text.clone(), spoken::spell(text)),
        Meaning::Choice(id) => {
            let title = asked
                .options()
                .iter()
                .find(|option| option.id == *id)
                .map_or_else(|| id.clone(), |option| option.title.clone());
            (Value::Choice(id.clone()), title.clone(), title)
        }
        Meaning::Command(_) => return None,
    };
    let said = if !spoken_in {
        said
    } else if out_of_range {
        format!("{said}, outside the plausible range. Affirm?")
    } else if decision.expect == Expect::Confirm {
        decision.ask.clone()
    } else {
        format!("{said}.")
    };
    Some(Candidate {
        value,
        out_of_range,
        how,
        shown,
        said,
        level_db: None,
        talk_heard: false,
    })
}

fn message(text: String) -> Message {
    Message {
        mark: Mark::Watch,
        text,
    }
}

fn sentence(text: &str) -> String {
    let text = text.trim();
    if text.ends_with(['.', '?', '!']) {
        text.to_owned()
    } else {
        format!("{text}.")
    }
}

fn slot_help(slot: &Slot) -> String {
    match &slot.kind {
        spoken::SlotKind::Number(range) => {
            format!(
                "A number in {} is wanted, {} to {}.",
                range.unit.symbol(),
                range.low,
                range.high
            )
        }
        spoken::SlotKind::YesNo => "Affirm or negative is wanted.".to_owned(),
        spoken::SlotKind::Choice(_) => {
            "Say one of the words on the screen, or its number.".to_owned()
        }
        spoken::SlotKind::Tag => "Spell it: alpha, bravo, one, two.".to_owned(),
        spoken::SlotKind::Position | spoken::SlotKind::Any => String::new(),
    }
}

/// A month `YYYYMM` as typed or said, checked; as `YYYY-MM`.
#[must_use]
pub fn month(value: Decimal) -> Option<String> {
    let text = value.to_string();
    let (year, month) = (text.get(..4)?, text.get(4..)?);
    (text.len() == 6 && ("01"..="12").contains(&month)).then(|| format!("{year}-{month}"))
}

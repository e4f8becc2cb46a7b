//! What one answer means: a status, a number, a bound, a tag, a choice. The utterance
//! is taken apart before, in `parse`: here is no command and no second thought.
//!
//! Deterministic and without state. A point is never put in, a value is never bent
//! toward the slot: the slot only decides between what is kept after a yes, asked
//! with its doubt named, and asked again.

use std::sync::LazyLock;

use rust_decimal::Decimal;

use super::decision::{Decision, Expect, Meaning, Status};
use super::judge::of_reading;
use super::lexicon::Phrases;
use super::making::{ambiguous, reject, sentence, status};
use super::number::{self, Refusal};
use super::readback::spell;
use super::slot::{ChoiceOption, NumberSlot, Slot, SlotKind};
use super::tag;
use super::unit::Unit;
use super::words::{Token, tokens};

struct Sayings {
    not_a_reading: Phrases,
    bounds: Phrases,
    everywhere: Phrases,
    meter: Phrases,
    other: Phrases,
    bare_open: Phrases,
    left_one: Phrases,
    position: Phrases,
    position_any: Phrases,
    nothing: Phrases,
    which_way: Phrases,
    idiom: Phrases,
}

static SAYINGS: LazyLock<Sayings> = LazyLock::new(|| Sayings {
    not_a_reading: Phrases::of(&["not-a-reading"]),
    bounds: Phrases::of(&["bound"]),
    everywhere: Phrases::of(&["status-everywhere"]),
    meter: Phrases::of(&["status-meter"]),
    other: Phrases::of(&["status-other"]),
    bare_open: Phrases::of(&["status-bare-open"]),
    left_one: Phrases::of(&["status-left-one"]),
    position: Phrases::of(&["status-position"]),
    position_any: Phrases::of(&["status-position-any"]),
    nothing: Phrases::of(&["nothing"]),
    which_way: Phrases::of(&["which-way"]),
    idiom: Phrases::of(&["idiom"]),
});

/// What these words mean as an answer to this slot.
pub(super) fn answer(slot: &Slot, words: &[&str]) -> Decision {
    let sayings = &*SAYINGS;
    if let Some(status) = sayings.everywhere.whole(words).and_then(Status::from_code) {
        return self::status(
            status,
            None,
            "an answer that is no number; it needs a reason",
        );
    }
    if let (true, false) = (
        sayings.which_way.whole(words).is_some(),
        matches!(slot.kind, SlotKind::Tag),
    ) {
        return ambiguous(
            vec!["YES".to_owned(), "the direction right".to_owned()],
            asked_unit(slot),
            "RIGHT is a yes or a direction",
            "Yes, or to the right? Say AFFIRM or NEGATIVE.",
        );
    }
    match &slot.kind {
        SlotKind::YesNo => reject(
            "neither a yes word nor a no word",
            "Say AFFIRM or NEGATIVE.",
        ),
        SlotKind::Position => match sayings.position.whole(words).and_then(Status::from_code) {
            Some(position) => self::status(position, None, "a position"),
            None => match sayings.other.whole(words).and_then(Status::from_code) {
                Some(status) => self::status(status, None, "an answer that is no position"),
                None => reject("no position", "Say OPEN, CLOSED or MID TRAVEL."),
            },
        },
        SlotKind::Tag => tag_answer(words),
        SlotKind::Choice(options) => {
            let mut decision = reject(
                "none of the choices",
                "Not one of the choices. Say one of them.",
            );
            decision.candidates = options.iter().map(|option| option.id.clone()).collect();
            decision
        }
        SlotKind::Number(room) => reading(Some(room), words),
        SlotKind::Any => reading(None, words),
    }
}

fn asked_unit(slot: &Slot) -> Option<Unit> {
    match &slot.kind {
        SlotKind::Number(room) => Some(room.unit),
        _ => None,
    }
}

/// Statuses and numbers; `room` is None where anything may be answered.
fn reading(room: Option<&NumberSlot>, words: &[&str]) -> Decision {
    let sayings = &*SAYINGS;
    let asked = room.map(|room| room.unit);
    let dimension = asked.map_or("", |unit| unit.dimension());
    let resistance = dimension == "resistance";
    let electrical = resistance || matches!(dimension, "current" | "voltage");
    let bare_open = sayings.bare_open.whole(words).is_some();
    if bare_open && room.is_none() {
        return ambiguous(
            vec!["OPEN".to_owned(), "POS_OPEN".to_owned()],
            None,
            "OPEN is a circuit or a position",
            "Open circuit, or valve open? Say which.",
        );
    }
    if sayings.nothing.whole(words).is_some() {
        return ambiguous(
            vec![
                "0".to_owned(),
                "NO_READING".to_owned(),
                "powered down".to_owned(),
            ],
            asked,
            "zero, no reading, or no power",
            "Zero, no reading, or no power? Say ZERO or NO READING.",
        );
    }
    if sayings.left_one.whole(words).is_some() && (electrical || room.is_none()) {
        return Decision {
            expect: Expect::Confirm,
            meaning: Some(Meaning::Status(Status::Ol)),
            candidates: vec!["OL".to_owned()],
            unit: asked,
            why: "some displays show a single 1 at the left for over limit".to_owned(),
            ask: "Over limit: affirm or negative?".to_owned(),
            outside: None,
        };
    }
    let found = sayings
        .other
        .whole(words)
        .or_else(|| {
            sayings
                .meter
                .whole(words)
                .filter(|code| electrical || room.is_none() || *code == "OL")
        })
        .or_else(|| sayings.bare_open.whole(words).filter(|_| resistance))
        .or_else(|| sayings.position_any.whole(words).filter(|_| room.is_none()))
        .and_then(Status::from_code);
    if let Some(status) = found {
        return self::status(status, None, "an answer that is no number");
    }
    if sayings.idiom.whole(words).is_some() {
        return reject(
            "a saying, not a reading",
            "Say what the display shows, digit by digit.",
        );
    }
    if (resistance || room.is_none())
        && let Some((length, sign)) = sayings.bounds.at(words)
        && words.len() > length
    {
        return bounded(room, &words[length..], sign);
    }
    if let Some(saying) = (0..words.len()).find_map(|at| sayings.not_a_reading.at(&words[at..])) {
        let said = saying.1;
        return reject(
            format!("\"{said}\": only what the display shows is a reading"),
            "Say what the display shows, digit by digit.",
        );
    }
    let tokens = match tokens(words) {
        Ok(tokens) => tokens,
        Err(word) => {
            return reject(
                format!("\"{word}\" is no part of a reading"),
                "Not understood. Say the reading digit by digit.",
            );
        }
    };
    match number::read(&tokens, room.map(|room| (&room.unit, &room.display))) {
        Ok(reading) => of_reading(
            room,
            &reading,
            tokens
                .iter()
                .any(|token| matches!(token, Token::Point | Token::Comma)),
        ),
        Err(Refusal::OtherUnit(said)) => {
            let wanted = asked.map_or("a reading", |unit| unit.spoken(&Decimal::TWO));
            reject(
                format!("\"{said}\" is another quantity than the one asked for"),
                format!("Not {said}. Say it in {wanted}."),
            )
        }
        Err(Refusal::Shape(why)) => reject(why, ask_for(why)),
    }
}

fn ask_for(why: &'static str) -> String {
    let mut letters = why.chars();
    let first = letters
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().to_string());
    let told = why.contains("say") || why.contains("Say");
    let what = if told {
        "."
    } else {
        ". Say it digit by digit."
    };
    format!("{first}{}{what}", letters.as_str())
}

/// "greater than two hundred megohms": the sign is kept, the number is judged as usual.
fn bounded(room: Option<&NumberSlot>, words: &[&str], sign: &str) -> Decision {
    let mut decision = reading(room, words);
    // Without its sign the number must not be kept.
    decision.outside = None;
    let Some(Meaning::Number(value)) = decision.meaning.take() else {
        if decision.expect == Expect::Status || decision.expect == Expect::Confirm {
            return reject(
                "a bound without a number",
                "Say GREATER THAN and the number.",
            );
        }
        return decision;
    };
    let status = if sign == "less" {
        Status::LessThan(value)
    } else {
        Status::GreaterThan(value)
    };
    let unit = decision
        .unit
        .map_or_else(String::new, |unit| format!(" {}", unit.spoken(&value)));
    let words = format!("{}{unit}", status.words());
    if decision.expect == Expect::Value {
        decision.expect = Expect::Status;
        "a bound: the sign is kept".clone_into(&mut decision.why);
        decision.ask = sentence(&words, ".");
    } else {
        decision.expect = Expect::Confirm;
        decision.why = format!("a bound: the sign is kept; {}", decision.why);
        decision.ask = sentence(&words, ": affirm or negative?");
    }
    for candidate in &mut decision.candidates {
        candidate.insert(0, if sign == "less" { '<' } else { '>' });
    }
    decision.meaning = Some(Meaning::Status(status));
    decision
}

fn tag_answer(words: &[&str]) -> Decision {
    let spelled = match tag::read(words) {
        Ok(spelled) => spelled,
        Err(word) => {
            let mut decision = reject(
                format!("\"{word}\" spells no letter or digit"),
                "Spell it: letters by the alphabet, digits one by one, dash for a dash.",
            );
            decision.unit = None;
            return decision;
        }
    };
    if spelled.tag != spelled.lettered {
        let ask = "Zero, or Oscar? Spell it again.";
        return ambiguous(
            vec![spelled.tag, spelled.lettered],
            None,
            "OH in a tag is zero or the letter",
            ask,
        );
    }
    if spelled.loose {
        return ambiguous(
            vec![spelled.tag],
            None,
            "\"to\" and \"for\" may be 2 and 4 or plain words",
            "Two and four, or plain words? Spell it again.",
        );
    }
    let ask = spell(&spelled.tag);
    let soft = spelled.soft.first().copied();
    Decision {
        expect: if soft.is_some() {
            Expect::Confirm
        } else {
            Expect::Value
        },
        candidates: if soft.is_some() {
            vec![spelled.tag.clone()]
        } else {
            Vec::new()
        },
        meaning: Some(Meaning::Tag(spelled.tag)),
        unit: None,
        why: soft.unwrap_or("spelled").to_owned(),
        ask: sentence(
            &ask,
            if soft.is_some() {
                ": affirm or negative?"
            } else {
                "."
            },
        ),
        outside: None,
    }
}

/// This option, as an answer.
pub(super) fn choice(option: &ChoiceOption) -> Decision {
    let said = option.phrases.first().unwrap_or(&option.id);
    Decision {
        expect: Expect::Value,
        meaning: Some(Meaning::Choice(option.id.clone())),
        candidates: Vec::new(),
        unit: None,
        why: "one of the choices".to_owned(),
        ask: sentence(said, "."),
        outside: None,
    }
}

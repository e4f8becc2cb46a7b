//! The policy: a phrase and a slot to a [`Decision`].
//!
//! Deterministic and without state. A point is never put in, a value is never bent
//! toward the slot: the slot only decides between what is kept after a yes, asked
//! with its doubt named, and asked again.

use std::sync::LazyLock;

use rust_decimal::Decimal;

use super::decision::{Command, Decision, Expect, Meaning, Status};
use super::judge::of_reading;
use super::lexicon::Phrases;
use super::making::{ambiguous, command, reject, sentence, soften, status};
use super::number::{self, Refusal};
use super::readback::spell;
use super::slot::{ChoiceOption, NumberSlot, Slot, SlotKind};
use super::tag;
use super::unit::Unit;
use super::words::{Token, plain_words, tokens};

/// Longer utterances are no answer; the limit keeps the work bounded.
const MOST_WORDS: usize = 60;

struct Sayings {
    commands: Phrases,
    informal: Phrases,
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
    commands: Phrases::of(&["command"]),
    informal: Phrases::of(&["informal-correction"]),
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

/// What a phrase means as an answer to this slot.
///
/// Takes any text: what it cannot use is [`Expect::Reject`] with the reason.
#[must_use]
pub fn parse(slot: &Slot, phrase: &str) -> Decision {
    let words = plain_words(phrase);
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    if words.len() > MOST_WORDS {
        return reject("too long for one answer", "Too long. Say one reading.");
    }
    of_words(slot, &words)
}

/// What several guesses of the recogniser mean together. Guesses that differ in
/// meaning, or one that is not `confident`, are asked about, never chosen between in silence.
#[must_use]
pub fn parse_guesses(slot: &Slot, guesses: &[&str], confident: bool) -> Decision {
    let mut decisions = guesses.iter().map(|guess| parse(slot, guess));
    let Some(first) = decisions.next() else {
        return parse(slot, "");
    };
    let stop = Some(Meaning::Command(Command::Stop));
    if first.meaning == stop {
        return first;
    }
    let rivals: Vec<String> = decisions
        .filter(|other| other.meaning.is_some())
        .map(|other| other.value())
        .filter(|value| *value != first.value())
        .collect();
    if rivals.is_empty() && confident {
        return first;
    }
    let why = if rivals.is_empty() {
        "heard with low confidence"
    } else {
        "heard in two ways"
    };
    let mut decision = soften(first, why);
    decision.candidates.extend(rivals);
    decision
}

fn of_words(slot: &Slot, words: &[&str]) -> Decision {
    if words.is_empty() {
        return reject("nothing was said", "Nothing heard. Say it again.");
    }
    let sayings = &*SAYINGS;
    let command = sayings.commands.whole(words).and_then(Command::from_code);
    if let (SlotKind::Choice(options), true) = (&slot.kind, command != Some(Command::Stop))
        && let Some(option) = chosen(options, words)
    {
        return choice(option);
    }
    if let Some(command) = command {
        return self::command(command, "a command");
    }
    if matches!(words[0], "stop" | "emergency" | "halt") {
        return self::command(Command::Stop, "stop words act whatever follows");
    }
    if let Some(inner) = unmarked(words) {
        return of_words(slot, inner);
    }
    if let Some(decision) = replaced(slot, words) {
        return decision;
    }
    if let Some(decision) = repeated(slot, words) {
        return decision;
    }
    answer(slot, words)
}

/// Without FIGURES at the front or OVER / OUT at the end.
fn unmarked<'a, 'w>(words: &'a [&'w str]) -> Option<&'a [&'w str]> {
    match words {
        ["figures" | "figure", rest @ ..]
        | [rest @ .., "over", "and", "out"]
        | [rest @ .., "over" | "out"] => Some(rest),
        _ => None,
    }
    .filter(|rest| !rest.is_empty())
}

/// CORRECTION, MISTAKE, DISREGARD and their informal relatives.
fn replaced(slot: &Slot, words: &[&str]) -> Option<Decision> {
    if let Some((&"disregard", before)) = words.split_last()
        && !before.is_empty()
    {
        return Some(command(
            Command::Disregard,
            "DISREGARD at the end: nothing of it counts",
        ));
    }
    if let Some(at) = words
        .iter()
        .rposition(|word| matches!(*word, "correction" | "mistake"))
    {
        let after = &words[at + 1..];
        if after.is_empty() {
            return Some(command(
                Command::Correction,
                "CORRECTION without the new value yet",
            ));
        }
        let mut decision = of_words(slot, after);
        if matches!(decision.expect, Expect::Value | Expect::Confirm) {
            decision.why = format!("what follows CORRECTION counts; {}", decision.why);
        }
        return Some(decision);
    }
    if let Some(decision) = denied(slot, words) {
        return Some(decision);
    }
    let (at, length) = (0..words.len()).rev().find_map(|at| {
        SAYINGS
            .informal
            .at(&words[at..])
            .map(|(length, _)| (at, length))
    })?;
    let after = &words[at + length..];
    if after.is_empty() {
        return Some(if at == 0 {
            reject(
                "a correction without a value",
                "Say CORRECTION and the right value.",
            )
        } else {
            command(
                Command::Disregard,
                "taken back without a new value: nothing of it counts",
            )
        });
    }
    Some(soften(
        of_words(slot, after),
        "an informal correction: the proper word is CORRECTION",
    ))
}

/// "five one two no five one three": taken as a correction only where both sides are
/// answers of the same length, because "no" is easily heard for "oh".
fn denied(slot: &Slot, words: &[&str]) -> Option<Decision> {
    let middle = words.len() / 2;
    if middle < 2 || words.len().is_multiple_of(2) || words.get(middle) != Some(&"no") {
        return None;
    }
    let (before, after) = (
        answer(slot, &words[..middle]),
        answer(slot, &words[middle + 1..]),
    );
    let numbers = [&before, &after]
        .iter()
        .all(|one| matches!(one.meaning, Some(Meaning::Number(_))));
    numbers.then(|| {
        soften(
            after,
            "an informal correction: the proper word is CORRECTION",
        )
    })
}

/// "X I SAY AGAIN X" and "WORDS TWICE X X".
fn repeated(slot: &Slot, words: &[&str]) -> Option<Decision> {
    let again = words
        .windows(3)
        .rposition(|three| three == ["i", "say", "again"]);
    if let Some(at) = again {
        let (before, after) = (&words[..at], &words[at + 3..]);
        if after.is_empty() {
            return Some(reject(
                "I SAY AGAIN without the value",
                "Say the value again.",
            ));
        }
        let second = of_words(slot, after);
        if before.is_empty() {
            return Some(second);
        }
        return Some(same_twice(of_words(slot, before), second));
    }
    let ["words", "twice", rest @ ..] = words else {
        return None;
    };
    let middle = rest.len() / 2;
    if rest.len() % 2 == 0 && rest[..middle] == rest[middle..] {
        return Some(of_words(slot, &rest[..middle]));
    }
    for at in 1..rest.len() {
        let (first, second) = (of_words(slot, &rest[..at]), of_words(slot, &rest[at..]));
        if first.meaning.is_some() && first.value() == second.value() {
            return Some(same_twice(first, second));
        }
    }
    Some(reject(
        "WORDS TWICE, but the two differ",
        "The two were different. Say it again.",
    ))
}

/// The firmer of two that mean the same; digits settle what a twin left open.
fn same_twice(first: Decision, second: Decision) -> Decision {
    if first == second {
        return second;
    }
    if first.meaning.is_none() || first.value() != second.value() {
        return reject(
            "said twice, but the two differ",
            "The two were different. Say it again.",
        );
    }
    if first.expect == Expect::Value {
        first
    } else {
        second
    }
}

fn answer(slot: &Slot, words: &[&str]) -> Decision {
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
                "Spell it: letters by the alphabet, digits one by one.",
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

fn chosen<'o>(options: &'o [ChoiceOption], words: &[&str]) -> Option<&'o ChoiceOption> {
    options.iter().find(|option| {
        option
            .phrases
            .iter()
            .any(|phrase| plain_words(phrase) == words)
    })
}

fn choice(option: &ChoiceOption) -> Decision {
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

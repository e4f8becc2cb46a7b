//! Spoken words: from a phrase to a decision, and from a value to words.
//!
//! The recogniser's text is a guess at words; only the strict parse here gives
//! it meaning. The policy is deterministic and knows no confidence: teen and -ty
//! twins, left-out hundreds and left-out points are asked, never guessed, and no
//! decimal point is ever put in. Pure, no state.

mod jsgf;
mod keyed;
mod listen;
mod meaning;
mod number;
mod phrase;
mod read_back;
mod slot;
pub mod table;
mod tag;
mod unit;

use rust_decimal::Decimal;

pub use self::jsgf::{Expansion, Grammar, GrammarFault};
pub use self::keyed::parse_keyed;
pub use self::listen::{Arc, CommandSet, WordGraph, listening, named_listening, sentences, vocabulary};
pub use self::meaning::{Command, Decision, Expect, Meaning, Status};
pub use self::read_back::{read_back, spell};
pub use self::slot::{ChoiceOption, NumberSlot, Slot, SlotKind, named_slot, number_slot, slot_names};
pub use self::unit::{Unit, unit};

use self::number::{NoNumber, Said};
use self::phrase::{Phrase, Unsure};

/// Decides about a phrase, for a slot.
#[must_use]
pub fn parse(slot: &Slot, phrase: &str) -> Decision {
    let phrase = match Phrase::read(phrase) {
        Ok(phrase) => phrase,
        Err(why) => return reject(slot, why, "Say it again."),
    };
    let words: Vec<&str> = phrase.words.iter().map(String::as_str).collect();
    if words.is_empty() {
        return match phrase.turn_marker {
            true => command(Command::EndOfTurn),
            false => reject(slot, "nothing was said", "Say it again."),
        };
    }
    // A closed list of the job's own comes before the prowords only where it names the very phrase.
    if let SlotKind::Choice(options) = &slot.kind {
        let text = words.join(" ");
        let fits: Vec<&ChoiceOption> =
            options.iter().filter(|option| option.phrases.iter().any(|phrase| *phrase == text)).collect();
        if let [option] = fits.as_slice() {
            return plain(Expect::Value, Meaning::Choice(option.id.clone()), None, "one of the list");
        }
    }
    if let Some(found) = phrase::command(&words) {
        return command(found);
    }
    if words.last() == Some(&"disregard") || words.ends_with(&["disregard", "that"]) {
        return command(Command::Disregard);
    }
    if words.last() == Some(&"correction") {
        return command(Command::Correction);
    }
    if words == ["right"] {
        return ambiguous(slot, vec!["YES".to_owned(), "direction right".to_owned()], "right is yes or a direction", "Affirm or negative?".to_owned());
    }
    let corrected = match phrase::corrected(&words) {
        Ok(corrected) => corrected,
        Err(why) => return reject(slot, why, "Say it again, once."),
    };
    let decision = by_kind(slot, &corrected.words);
    if corrected.informal && matches!(decision.expect, Expect::Value) {
        let ask = question(&decision.ask);
        return Decision { expect: Expect::Confirm, why: "informal correction".to_owned(), candidates: vec![decision.value_text()], ask, ..decision };
    }
    decision
}

fn by_kind(slot: &Slot, words: &[&str]) -> Decision {
    match &slot.kind {
        SlotKind::Number(range) => number(slot, range, words),
        SlotKind::Tag => tag::parse(slot, words),
        SlotKind::Position => match phrase::position(words) {
            Some(status) => plain(Expect::Status, Meaning::Status(status), None, "a position"),
            None => reject(slot, "not a position", "Say open, closed, or mid travel."),
        },
        SlotKind::YesNo => reject(slot, "neither yes nor no", "Affirm or negative?"),
        SlotKind::Choice(_) => reject(slot, "not one of the list", "Say one of the words on the screen, or its number."),
        SlotKind::Any => any(slot, words),
    }
}

/// Without a question: a status, or a number with the unit that was said.
fn any(slot: &Slot, words: &[&str]) -> Decision {
    if matches!(words, ["open" | "over"] | ["nothing" | "dead"]) {
        let word = words.join(" ");
        return ambiguous(slot, vec![word.clone()], "it depends on the question", format!("{word}: say what it is."));
    }
    if let Some(status) = phrase::status(words, true) {
        return plain(Expect::Status, Meaning::Status(status), None, "instead of a number");
    }
    let said = unit::at_end(words);
    let unit = said.first().map_or_else(|| unit("none"), |said| Some(said.unit));
    let Some(unit) = unit else { return reject(slot, "not in the grammar", "Say it again.") };
    let wide = NumberSlot { unit, low: Decimal::MIN, high: Decimal::MAX, set: Vec::new() };
    number(slot, &wide, words)
}

fn number(slot: &Slot, range: &NumberSlot, words: &[&str]) -> Decision {
    let is_resistance = range.unit.dimension() == "resistance";
    if let Some(unsure) = phrase::unsure(words) {
        return match unsure {
            Unsure::NoValue => ambiguous(slot, vec!["0".to_owned(), "no reading".to_owned(), "powered down".to_owned()], "zero, no reading, or no power", "Is it zero, no reading, or no power?".to_owned()),
            Unsure::OldDisplay => Decision {
                expect: Expect::Confirm,
                meaning: Some(Meaning::Status(Status::Ol)),
                candidates: vec!["OL".to_owned()],
                unit: Some(range.unit),
                why: "some displays show a single one for over limit".to_owned(),
                ask: "Over limit, affirm?".to_owned(),
                outside: None,
            },
        };
    }
    if let Some(status) = phrase::status(words, is_resistance) {
        return plain(Expect::Status, Meaning::Status(status), None, "instead of a number");
    }
    match words {
        ["negative", rest @ ..] => {
            return match magnitude(range, rest) {
                Ok(read) => ambiguous(
                    slot,
                    vec![format!("NO, {}", read.value), format!("-{}", read.value)],
                    "negative is no, the sign is minus",
                    format!("Minus {}, or no?", read.value),
                ),
                Err(fault) => fault.decision(slot),
            };
        }
        ["greater" | "more" | "bigger" | "higher", "than", rest @ ..] | ["over" | "above" | "exceeds", rest @ ..] => {
            return bounded(slot, range, rest, Status::GreaterThan);
        }
        ["less" | "lower" | "smaller", "than", rest @ ..] | ["below" | "under", rest @ ..] => {
            return bounded(slot, range, rest, Status::LessThan);
        }
        _ => {}
    }
    let (minus, rest) = match words {
        ["minus", rest @ ..] => (true, rest),
        words => (false, words),
    };
    let mut read = match magnitude(range, rest) {
        Ok(read) => read,
        Err(fault) => return fault.decision(slot),
    };
    if minus {
        read.value.set_sign_negative(true);
        if let Some(twin) = &mut read.twin {
            twin.set_sign_negative(true);
        }
    }
    judge(slot, range, &read)
}

/// A number with its unit, in the slot's unit.
struct Read {
    value: Decimal,
    twin: Option<Decimal>,
    soft: Option<&'static str>,
    seam: Option<(String, String)>,
    either: Option<(String, String)>,
    /// Another reading that was not taken, as text ("1002" beside 1K2).
    other: Option<String>,
}

enum Fault {
    NoNumber(NoNumber),
    WrongUnit(Unit),
    To,
    Said(&'static str),
}

impl Fault {
    fn decision(&self, slot: &Slot) -> Decision {
        let (why, ask): (String, &str) = match self {
            Self::NoNumber(NoNumber::NotANumber) => ("not in the grammar: only what the display shows is a reading".to_owned(), "Say what the display shows, digit by digit."),
            Self::NoNumber(NoNumber::Incomplete) => ("incomplete".to_owned(), "It broke off. Say it again."),
            Self::NoNumber(NoNumber::TwoPoints) => ("two points".to_owned(), "One point only. Say it again."),
            Self::NoNumber(NoNumber::OhAlone) => ("oh by itself".to_owned(), "Say zero."),
            Self::NoNumber(NoNumber::BadForm(why)) => ((*why).to_owned(), "Say it digit by digit."),
            Self::WrongUnit(unit) => (format!("unit mismatch: {} was said", unit.id()), "That is another unit. Say it again."),
            Self::Said(why) => ((*why).to_owned(), "Say it digit by digit."),
            Self::To => {
                return ambiguous(slot, vec!["2 or 4 for to or for".to_owned(), "a range".to_owned()], "to and for are words or digits", "Say it digit by digit.".to_owned());
            }
        };
        reject(slot, why, ask)
    }
}

impl From<NoNumber> for Fault {
    fn from(no: NoNumber) -> Self {
        Self::NoNumber(no)
    }
}

/// Number and unit, without a sign.
fn magnitude(range: &NumberSlot, words: &[&str]) -> Result<Read, Fault> {
    let is_resistance = range.unit.dimension() == "resistance";
    if let Some(read) = phrase::minutes(range, words) {
        return read.map(|(value, twin)| Read { value, twin, soft: None, seam: None, either: None, other: None });
    }
    if is_resistance && let Some((value, other)) = phrase::letter_for_point(range, words) {
        return Ok(Read { value, twin: None, soft: Some("letter for the point"), seam: None, either: None, other: Some(other) });
    }
    let mut mismatch = None;
    let mut units = unit::at_end(words);
    units.retain(|said| words.len() > said.words || said.words == words.len());
    for said in &units {
        let rest = &words[..words.len() - said.words];
        // "a thousand ohms" is a number and ohms, not kilohms of nothing.
        if said.unit.dimension() != range.unit.dimension() {
            mismatch = mismatch.or(Some(said.unit));
            continue;
        }
        if let Some(read) = in_unit(range, rest, said.unit, said.soft) {
            return read;
        }
    }
    if let Some(unit) = mismatch {
        return Err(Fault::WrongUnit(unit));
    }
    if words.last() == Some(&"thousand") || units.is_empty() {
        return in_unit(range, words, range.unit, false).unwrap_or(Err(Fault::NoNumber(NoNumber::NotANumber)));
    }
    Err(Fault::NoNumber(NoNumber::NotANumber))
}

fn in_unit(range: &NumberSlot, words: &[&str], unit: Unit, soft: bool) -> Option<Result<Read, Fault>> {
    let convert = |value: Decimal| range.unit.convert(value, unit);
    let too_large = || Err(Fault::Said("too large"));
    if let Some(value) = phrase::fraction(words) {
        return Some(match convert(phrase::fraction_of_set(range, value)) {
            Some(value) => Ok(Read { value, twin: None, soft: Some("a fraction, which no meter shows"), seam: None, either: None, other: None }),
            None => too_large(),
        });
    }
    // to and for are digits only beside a decimal word.
    let pointed = words.iter().any(|word| matches!(*word, "point" | "comma"));
    let replaced: Vec<&str> = words
        .iter()
        .map(|word| match *word {
            "to" if pointed => "two",
            "for" if pointed => "four",
            other => other,
        })
        .collect();
    if replaced.iter().any(|word| matches!(*word, "to" | "for")) {
        let others_fit = replaced.iter().all(|word| matches!(*word, "to" | "for") || number::is_number_word(word));
        return Some(Err(if others_fit && replaced.len() > 1 { Fault::To } else { Fault::NoNumber(NoNumber::NotANumber) }));
    }
    let said: Said = match number::read(&replaced) {
        Ok(said) => said,
        Err(no) => return Some(Err(no.into())),
    };
    let Some(value) = convert(said.value) else { return Some(too_large()) };
    let seam = said.seam.filter(|_| unit == range.unit);
    Some(Ok(Read {
        value,
        twin: said.twin.and_then(convert),
        soft: said.soft.or(soft.then_some("a slang unit")),
        seam,
        either: said.either,
        other: None,
    }))
}

/// The policy, once a number has been read: range, twin, seam, doubt.
fn judge(slot: &Slot, range: &NumberSlot, read: &Read) -> Decision {
    let unit = range.unit;
    let text = |value: &Decimal| value.to_string();
    if let Some((without, with)) = &read.either {
        return ambiguous(slot, vec![without.clone(), with.clone()], "a number and a double", "Say it digit by digit.".to_owned());
    }
    let with_point = read.seam.as_ref().map_or_else(Vec::new, |(before, after)| range.with_point(before, after));
    let fits = range.holds(read.value);
    if fits && !with_point.is_empty() {
        let mut candidates = vec![text(&read.value)];
        candidates.extend(with_point.iter().map(text));
        let ask = format!("{}, or {}? Say digits.", read_back(&read.value, &unit), read_back(&with_point[0], &unit));
        return ambiguous(slot, candidates, "a point may be missing", ask);
    }
    if !fits {
        return out_of_slot(slot, range, read, &with_point);
    }
    let twin = read.twin.filter(|twin| range.holds(*twin));
    let value = Meaning::Number(read.value);
    if twin.is_none() && read.soft.is_none() {
        return Decision {
            expect: Expect::Value,
            meaning: Some(value),
            candidates: Vec::new(),
            unit: Some(unit),
            why: "one value fits".to_owned(),
            ask: format!("{}.", read_back(&read.value, &unit)),
            outside: None,
        };
    }
    let mut candidates = vec![match &twin {
        Some(twin) => format!("{} ~ {twin}", read.value),
        None => text(&read.value),
    }];
    candidates.extend(read.other.clone());
    let why = match (&twin, read.soft) {
        (Some(_), Some(soft)) => format!("{soft}, and a twin that fits"),
        (Some(_), None) => "teen and -ty sound alike, and both fit".to_owned(),
        (None, soft) => soft.unwrap_or_default().to_owned(),
    };
    let said = read_back(&read.value, &unit);
    let ask = match &twin {
        Some(twin) => format!("{said}, not {}: affirm or negative?", read_back(twin, &unit)),
        None => format!("{said}, affirm?"),
    };
    Decision { expect: Expect::Confirm, meaning: Some(value), candidates, unit: Some(unit), why, ask, outside: None }
}

fn out_of_slot(slot: &Slot, range: &NumberSlot, read: &Read, with_point: &[Decimal]) -> Decision {
    let said = read_back(&read.value, &range.unit);
    let twin_fits = read.twin.filter(|twin| range.holds(*twin));
    let could_need_point = !with_point.is_empty() || point_would_help(range, read);
    let (why, ask) = if could_need_point {
        ("outside the slot; a point may be missing", format!("{said} is off the scale. If there is a point, say point."))
    } else if twin_fits.is_some() {
        ("outside the slot; its twin would fit", format!("{said} does not fit. Say it digit by digit."))
    } else {
        ("outside the slot", format!("{said} is outside the plausible range."))
    };
    let mut decision = reject(slot, why, &ask);
    decision.candidates = std::iter::once(format!("{} out of slot", read.value))
        .chain(with_point.iter().map(|value| format!("{value}?")))
        .chain(twin_fits.map(|twin| format!("{twin}?")))
        .collect();
    // Below zero ohm there is nothing to keep: no meter shows it but for its leads.
    let impossible = range.unit.dimension() == "resistance" && read.value.is_sign_negative();
    decision.outside = (read.soft.is_none() && !impossible && range.set.is_empty()).then_some(read.value);
    decision
}

/// True if the digits with a point in them would be a plausible display: only for the hint.
fn point_would_help(range: &NumberSlot, read: &Read) -> bool {
    let text = read.value.to_string();
    read.value.scale() == 0
        && text.len() >= 2
        && matches!(range.unit.id(), "mA" | "A" | "V" | "%" | "s" | "deg" | "degC")
        && (1..=2).any(|places| {
            text.len() > places
                && range.with_point(&text[..text.len() - places], &text[text.len() - places..]).len() == 1
        })
}

fn bounded(slot: &Slot, range: &NumberSlot, words: &[&str], status: fn(Decimal) -> Status) -> Decision {
    let read = match magnitude(range, words) {
        Ok(read) => read,
        Err(fault) => return fault.decision(slot),
    };
    let decision = judge(slot, range, &read);
    match decision.expect {
        Expect::Value | Expect::Confirm => {
            let bound = status(read.value);
            let words = if matches!(bound, Status::GreaterThan(_)) { "greater than" } else { "less than" };
            Decision {
                expect: if decision.expect == Expect::Value { Expect::Status } else { Expect::Confirm },
                meaning: Some(Meaning::Status(bound)),
                ask: format!("{words} {}", decision.ask),
                why: format!("bounded; {}", decision.why),
                ..decision
            }
        }
        _ => decision,
    }
}

fn plain(expect: Expect, meaning: Meaning, unit: Option<Unit>, why: &str) -> Decision {
    let mut decision = Decision {
        expect,
        meaning: Some(meaning),
        candidates: Vec::new(),
        unit,
        why: why.to_owned(),
        ask: String::new(),
        outside: None,
    };
    decision.ask = format!("{}.", decision.value_text().replace('_', " ").to_lowercase());
    decision
}

fn command(command: Command) -> Decision {
    plain(Expect::Command, Meaning::Command(command), None, "a command")
}

fn slot_unit(slot: &Slot) -> Option<Unit> {
    match &slot.kind {
        SlotKind::Number(range) => Some(range.unit),
        _ => None,
    }
}

fn reject(slot: &Slot, why: impl Into<String>, ask: &str) -> Decision {
    Decision {
        expect: Expect::Reject,
        meaning: None,
        candidates: Vec::new(),
        unit: slot_unit(slot).filter(|unit| unit.id() == "%"),
        why: why.into(),
        ask: ask.to_owned(),
        outside: None,
    }
}

fn ambiguous(slot: &Slot, candidates: Vec<String>, why: &str, ask: String) -> Decision {
    Decision {
        expect: Expect::Ambiguous,
        meaning: None,
        candidates,
        unit: slot_unit(slot),
        why: why.to_owned(),
        ask,
        outside: None,
    }
}

fn question(statement: &str) -> String {
    format!("{}, affirm?", statement.trim_end_matches(['.', '?', ' ']))
}

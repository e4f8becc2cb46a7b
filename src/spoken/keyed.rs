//! Typed answers: the keypad's twin of `parse`.
//!
//! The same slots and ranges, but nothing is doubtful about a key: no twins, no left-out
//! words, no scaling. Text is taken exactly or refused with what to type instead.

use rust_decimal::Decimal;

use super::decision::{Command, Decision, Expect, Meaning, Status};
use super::making::{reject, sentence};
use super::parse::parse;
use super::readback::read_back;
use super::slot::{NumberSlot, Slot, SlotKind};
use super::unit::{Unit, unit};

/// Digits that a typed number may have in all.
const MOST_DIGITS: usize = 20;

/// What typed text means as an answer to this slot.
///
/// A number is ASCII digits with at most one `.` or `,`, a `-` in front only where the
/// slot reaches below zero, and a unit suffix only where it is written out: `k` and `M`
/// in resistance slots, or the slot's own symbol. Statuses and commands are typed as
/// their codes or words (`OL`, `OPEN`, `NO READING`, `YES`).
#[must_use]
pub fn parse_keyed(slot: &Slot, text: &str) -> Decision {
    let text = text.trim_matches([' ', '\t', '\r', '\n']);
    if text.is_empty() {
        return reject("nothing was typed", "Type the reading, then Enter.");
    }
    let code = text.to_ascii_uppercase().replace([' ', '-'], "_");
    if let Some(command) = Command::from_code(&code) {
        // The code STATUS and UNABLE are commands; every status has another code or is typed in words.
        return spoken(slot, &command.code()).unwrap_or_else(|| keyed_command(command));
    }
    match &slot.kind {
        SlotKind::Number(room) => number(slot, room, text, &code),
        SlotKind::Tag => tag(text),
        SlotKind::Any => {
            let wide = NumberSlot {
                unit: Unit::none(),
                low: Decimal::MIN,
                high: Decimal::MAX,
                set: Vec::new(),
                display: super::slot::DisplayForm {
                    places: Vec::new(),
                    kilo_places: None,
                },
            };
            let mut decision = number(slot, &wide, text, &code);
            decision.unit = None;
            decision
        }
        SlotKind::YesNo | SlotKind::Position | SlotKind::Choice(_) => {
            if let SlotKind::Choice(options) = &slot.kind
                && let Some(option) = options.iter().find(|option| option.id == text)
            {
                return Decision {
                    meaning: Some(Meaning::Choice(option.id.clone())),
                    ..value_decision(None, sentence(&option.id, "."))
                };
            }
            let status = Status::from_code(&code).filter(|status| answers(slot, status));
            status.map_or_else(|| parse(slot, text), |status| keyed_status(status, None))
        }
    }
}

fn spoken(slot: &Slot, code: &str) -> Option<Decision> {
    // A choice may be called like a command ("STOP" excepted): the choice is meant.
    let SlotKind::Choice(options) = &slot.kind else {
        return None;
    };
    let option = options
        .iter()
        .find(|option| option.id == code && code != "STOP")?;
    Some(Decision {
        meaning: Some(Meaning::Choice(option.id.clone())),
        ..value_decision(None, sentence(&option.id, "."))
    })
}

fn number(slot: &Slot, room: &NumberSlot, text: &str, code: &str) -> Decision {
    let status = Status::from_code(code).or_else(|| bound(room, text));
    if let Some(status) = status {
        if answers(slot, &status) {
            let with_unit = matches!(status, Status::GreaterThan(_) | Status::LessThan(_));
            return keyed_status(status, with_unit.then_some(room.unit));
        }
        return reject(
            format!("{code} cannot answer this question"),
            "Type the reading as a number.",
        );
    }
    if text.starts_with(char::is_alphabetic) {
        let words = parse(slot, text);
        if matches!(words.expect, Expect::Status | Expect::Command) {
            return words;
        }
    }
    let (digits, said) = match suffixed(room, text) {
        Ok(split) => split,
        Err(refusal) => return *refusal,
    };
    let value = match strict(digits, room.low < Decimal::ZERO) {
        Ok(value) => value,
        Err((why, fix)) => return reject(why, fix),
    };
    let Some(value) = said.convert(value, &room.unit) else {
        return reject("too many digits for this unit", "Type fewer digits.");
    };
    let said = read_back(&value, &room.unit);
    if room.fits(value) {
        return Decision {
            meaning: Some(Meaning::Number(value)),
            ..value_decision(Some(room.unit), sentence(&said, "."))
        };
    }
    let place = if room.set.is_empty() {
        format!(
            "outside {} to {} {}",
            room.low,
            room.high,
            room.unit.symbol()
        )
    } else {
        format!(
            "not one of {}",
            room.set
                .iter()
                .map(Decimal::to_string)
                .collect::<Vec<_>>()
                .join(", ")
        )
    };
    Decision {
        outside: Some(value),
        candidates: vec![value.to_string()],
        unit: Some(room.unit).filter(|unit| unit.id() == "%"),
        ..reject(
            format!("{value} is {place}; typed again and affirmed it is kept with a flag"),
            sentence(
                &format!("{said} is {place}. Look again and type it again."),
                "",
            ),
        )
    }
}

/// `>200`, `<1`: a bound, in resistance slots.
fn bound(room: &NumberSlot, text: &str) -> Option<Status> {
    if room.unit.dimension() != "resistance" {
        return None;
    }
    let (greater, rest) = match text.split_at_checked(1)? {
        (">", rest) => (true, rest),
        ("<", rest) => (false, rest),
        _ => return None,
    };
    let (digits, said) = suffixed(room, rest.trim_start_matches(' ')).ok()?;
    let value = said.convert(strict(digits, false).ok()?, &room.unit)?;
    room.fits(value).then_some(if greater {
        Status::GreaterThan(value)
    } else {
        Status::LessThan(value)
    })
}

/// The digits and the unit typed after them, or the slot's own.
fn suffixed<'t>(room: &NumberSlot, text: &'t str) -> Result<(&'t str, Unit), Box<Decision>> {
    let end = text
        .find(|c: char| c.is_alphabetic() || matches!(c, '%' | '°' | 'Ω'))
        .unwrap_or(text.len());
    let (digits, suffix) = text.split_at(end);
    let digits = digits.trim_end_matches(' ');
    if suffix.is_empty() {
        return Ok((digits, room.unit));
    }
    if digits.is_empty() || suffix.starts_with(['e', 'E']) {
        return Err(Box::new(reject(
            format!("`{text}` is no plain decimal"),
            "Type digits with one point, without letters or powers of ten.",
        )));
    }
    let id = match suffix {
        "k" | "K" | "kΩ" | "kohm" | "KΩ" => "kohm",
        "M" | "MΩ" | "Mohm" => "Mohm",
        "Ω" | "ohm" | "R" => "ohm",
        "ma" => "mA",
        "°" => "deg",
        "°C" | "C" => "degC",
        other => other,
    };
    let found = unit(id).or_else(|| (suffix == room.unit.symbol()).then_some(room.unit));
    match found {
        Some(found) if found.dimension() == room.unit.dimension() => Ok((digits, found)),
        _ => Err(Box::new(reject(
            format!("`{suffix}` is no unit of this question"),
            format!(
                "Type the number in {} alone.",
                room.unit.spoken(&Decimal::TWO)
            ),
        ))),
    }
}

type Fault = (String, &'static str);

fn strict(text: &str, minus: bool) -> Result<Decimal, Fault> {
    let bad = |why: String, fix: &'static str| Err((why, fix));
    let (sign, digits) = match text.strip_prefix('-') {
        Some(rest) => ("-", rest),
        None => ("", text),
    };
    if !sign.is_empty() && !minus {
        return bad(
            "a minus, but this reading cannot be below zero".to_owned(),
            "Type it without the minus.",
        );
    }
    if digits.starts_with('+') {
        return bad("a plus sign".to_owned(), "Type it without the plus.");
    }
    if digits.contains([' ', '\u{a0}', '\u{2009}', '\u{202f}']) {
        return bad(
            "a space inside the number".to_owned(),
            "Type the digits without spaces.",
        );
    }
    if let Some(other) = digits
        .chars()
        .find(|c| c.is_numeric() && !c.is_ascii_digit())
    {
        return bad(
            format!("`{other}` is not one of the digits 0 to 9"),
            "Type plain digits 0 to 9.",
        );
    }
    if let Some(other) = digits
        .chars()
        .find(|c| !c.is_ascii_digit() && !matches!(c, '.' | ','))
    {
        return bad(
            format!("`{other}` has no place in a number"),
            "Type digits with one point.",
        );
    }
    let points = digits.matches(['.', ',']).count();
    if points > 1 {
        return bad(
            "more than one point".to_owned(),
            "Type one point, and no thousands marks.",
        );
    }
    let plain = digits.replace(',', ".");
    if plain.is_empty() || plain == "." {
        return bad("no digits".to_owned(), "Type the reading, then Enter.");
    }
    if plain.starts_with('.') {
        return bad(
            "nothing before the point".to_owned(),
            "Type the zero before the point: 0.5.",
        );
    }
    if plain.ends_with('.') {
        return bad(
            "nothing after the point".to_owned(),
            "Type the decimals, or leave the point out.",
        );
    }
    if plain.len() > MOST_DIGITS {
        return bad(format!("{} digits", plain.len()), "Type fewer digits.");
    }
    let value = Decimal::from_str_exact(&plain).map_err(|_| {
        (
            "more digits than a reading can have".to_owned(),
            "Type fewer digits.",
        )
    })?;
    Ok(if sign.is_empty() || value.is_zero() {
        value
    } else {
        -value
    })
}

/// Which statuses can answer which question.
fn answers(slot: &Slot, status: &Status) -> bool {
    let dimension = match &slot.kind {
        SlotKind::Number(room) => room.unit.dimension(),
        SlotKind::Any => return true,
        _ => "",
    };
    let number = matches!(slot.kind, SlotKind::Number(_));
    match status {
        Status::NotApplicable | Status::Unable => true,
        Status::PosOpen | Status::PosClosed | Status::PosMid => {
            matches!(slot.kind, SlotKind::Position)
        }
        Status::NoReading | Status::Unstable => number || matches!(slot.kind, SlotKind::Position),
        Status::Ol => number,
        // The bare key OPEN is a position or an open resistance; OPEN CIRCUIT is typed out elsewhere.
        Status::Short => matches!(dimension, "resistance" | "current" | "voltage"),
        Status::Open | Status::GreaterThan(_) | Status::LessThan(_) => dimension == "resistance",
    }
}

fn tag(text: &str) -> Decision {
    let tag = text.to_ascii_uppercase();
    if let Some(other) = tag
        .chars()
        .find(|c| !c.is_ascii_alphanumeric() && !matches!(c, '-' | '/' | '.' | '_'))
    {
        return reject(
            format!("`{other}` has no place in a tag"),
            "Type letters, digits, and - / . _ only.",
        );
    }
    if tag.len() > 40 {
        return reject("a tag of more than 40 characters", "Type the tag only.");
    }
    Decision {
        ask: sentence(&super::readback::spell(&tag), "."),
        meaning: Some(Meaning::Tag(tag)),
        ..value_decision(None, String::new())
    }
}

fn value_decision(unit: Option<Unit>, ask: String) -> Decision {
    Decision {
        expect: Expect::Value,
        meaning: None,
        candidates: Vec::new(),
        unit,
        why: "typed".to_owned(),
        ask,
        outside: None,
    }
}

fn keyed_status(status: Status, unit: Option<Unit>) -> Decision {
    Decision {
        expect: Expect::Status,
        ask: sentence(&status.words(), "."),
        meaning: Some(Meaning::Status(status)),
        ..value_decision(unit, String::new())
    }
}

fn keyed_command(command: Command) -> Decision {
    Decision {
        expect: Expect::Command,
        meaning: Some(Meaning::Command(command)),
        ..value_decision(None, String::new())
    }
}

//! A number and a slot to a decision: range, twins, missing points. No state.

use rust_decimal::Decimal;

use super::decision::{Decision, Expect, Meaning};
use super::making::{ambiguous, sentence};
use super::number::Reading;
use super::readback::read_back;
use super::slot::NumberSlot;
use super::unit::Unit;

/// What a number means for a slot; any number fits where there is no `room`.
pub(super) fn of_reading(room: Option<&NumberSlot>, reading: &Reading, point: bool) -> Decision {
    let value = reading.value;
    let unit = reading.unit.or(room.map(|room| room.unit));
    let fits = |value: &Decimal| room.is_none_or(|room| room.fits(*value));
    let say = |value: &Decimal| unit.map_or_else(|| bare(value), |unit| read_back(value, &unit));
    let twins: Vec<Decimal> = reading
        .twins
        .iter()
        .copied()
        .filter(|twin| *twin != value && fits(twin))
        .collect();
    let pointed: Vec<Decimal> = reading
        .pointed
        .iter()
        .copied()
        .filter(|one| *one != value && fits(one))
        .collect();
    if let Some(why) = reading.open.first() {
        let mut both = vec![value.to_string()];
        both.extend(reading.pointed.iter().map(Decimal::to_string));
        if why.starts_with("NEGATIVE") {
            both = vec![format!("-{value}"), format!("NO, {value}")];
        }
        let ask = if why.starts_with("NEGATIVE") {
            "No, or below zero? Say MINUS for a sign, or say NEGATIVE alone.".to_owned()
        } else {
            sentence(&say(&value), "? Say digits.")
        };
        return ambiguous(both, room.map(|room| room.unit), why, ask);
    }
    let candidates = |first: &Decimal, others: &[Decimal]| {
        std::iter::once(first)
            .chain(others)
            .map(Decimal::to_string)
            .collect::<Vec<_>>()
    };
    if reading.pair && !pointed.is_empty() {
        if fits(&value) {
            let ask = sentence(
                &format!("{}, or {}", say(&value), say(&pointed[0])),
                "? Say digits.",
            );
            return ambiguous(
                candidates(&value, &pointed),
                unit,
                "a pair of numbers: POINT may have been left out",
                ask,
            );
        }
        return outside(room, reading, unit, None, Some(&pointed[0]));
    }
    // A share of a percentage has two meanings; the slot may leave one.
    let others: Vec<Decimal> = reading.others.iter().copied().filter(fits).collect();
    let share = unit.is_some_and(|unit| unit.id() == "%") && !others.is_empty();
    if share && fits(&value) {
        let ask = sentence(
            &format!("{}, or {}", say(&value), say(&others[0])),
            "? Say digits.",
        );
        return ambiguous(
            candidates(&value, &others),
            unit,
            "half of the whole, or half a percent",
            ask,
        );
    }
    if !fits(&value) {
        let may_stay = twins.is_empty() && !reading.pair && reading.soft.is_empty();
        let hint = room
            .filter(|_| reading.digits && !reading.pair)
            .and_then(|room| with_point(room, value));
        return outside(
            room,
            reading,
            unit,
            may_stay.then_some(value),
            hint.as_ref(),
        );
    }
    let mut soft = reading.soft.clone();
    if reading.pair {
        soft.push("HUNDRED or a digit may be left out");
    }
    if soft.is_empty() && twins.is_empty() {
        let low = !point && room.is_some_and(|room| room.unit.id() == "mA");
        return Decision {
            expect: Expect::Value,
            meaning: Some(Meaning::Number(value)),
            candidates: Vec::new(),
            unit,
            why: if low {
                "no decimals were said: resolution 1 mA".to_owned()
            } else {
                "one meaning, nothing doubtful".to_owned()
            },
            ask: sentence(&say(&value), "."),
            outside: None,
        };
    }
    let mut all = candidates(&value, &twins);
    all.extend(others.iter().map(Decimal::to_string));
    let mut why: Vec<String> = soft.iter().map(ToString::to_string).collect();
    if let Some(twin) = twins.first() {
        why.push(format!("{value} and {twin} sound alike"));
    }
    let doubt = match (twins.first(), others.first()) {
        (Some(twin), _) => format!(", not {}: affirm or negative?", bare(twin)),
        (None, Some(other)) => format!(", not {}: affirm or negative?", bare(other)),
        (None, None) => ": affirm or negative?".to_owned(),
    };
    Decision {
        expect: Expect::Confirm,
        meaning: Some(Meaning::Number(value)),
        candidates: all,
        unit,
        why: why.join("; "),
        ask: sentence(&say(&value), &doubt),
        outside: None,
    }
}

fn bare(value: &Decimal) -> String {
    super::readback::digit_words(value).join(" ")
}

/// The value with a point where this display shows one, if that is plausible: for a hint only.
fn with_point(room: &NumberSlot, value: Decimal) -> Option<Decimal> {
    if value.scale() != 0 {
        return None;
    }
    let moved = |places: u32| Decimal::try_from_i128_with_scale(value.mantissa(), places).ok();
    let mut places = room.display.places.clone();
    places.sort_unstable_by(|a, b| b.cmp(a));
    places
        .into_iter()
        .filter_map(moved)
        .find(|one| room.fits(*one))
}

fn outside(
    room: Option<&NumberSlot>,
    reading: &Reading,
    unit: Option<Unit>,
    kept: Option<Decimal>,
    hint: Option<&Decimal>,
) -> Decision {
    let value = reading.value;
    let said = unit.map_or_else(|| bare(&value), |unit| read_back(&value, &unit));
    let twin = reading
        .twins
        .iter()
        .find(|twin| room.is_none_or(|room| room.fits(**twin)));
    let in_set = room.is_some_and(|room| !room.set.is_empty());
    let place = if in_set {
        "not one of the set points"
    } else {
        "outside the range expected here"
    };
    let (why, ask) = match (hint, twin) {
        (Some(hint), _) => (
            format!("{value} is {place}; a point is never put in: {hint} must be said with POINT"),
            format!("{said} is {place}. With POINT? Say again."),
        ),
        (None, Some(twin)) => (
            format!("{value} is {place}; {twin} sounds like it"),
            format!(
                "{said} is {place}. Or {}? Say it digit by digit.",
                bare(twin)
            ),
        ),
        (None, None) if kept.is_some() => (
            format!("{value} is {place}; said again and affirmed it is kept with a flag"),
            format!("{said} is {place}. Look again and say it again."),
        ),
        (None, None) => (
            format!("{value} is {place}"),
            format!("{said} is {place}. Say it digit by digit."),
        ),
    };
    let mut candidates = vec![value.to_string()];
    candidates.extend(hint.map(Decimal::to_string));
    candidates.extend(twin.filter(|_| hint.is_none()).map(Decimal::to_string));
    Decision {
        expect: Expect::Reject,
        meaning: None,
        candidates,
        // A percentage out of its set or range is still a percentage; elsewhere the
        // unit of a refused number is as doubtful as the number.
        unit: unit.filter(|unit| unit.id() == "%"),
        why,
        ask: sentence(&ask, ""),
        outside: kept,
    }
}

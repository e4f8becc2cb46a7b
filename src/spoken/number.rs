//! The parts of a spoken number to the values it may stand for.
//!
//! Nothing here knows a slot's range: it says what was said and what is doubtful
//! about it; `parse` decides what to do with that.

use rust_decimal::Decimal;

pub(crate) use super::plain::Refusal;
use super::plain::{Plain, Shaped, decimal, fraction, number, refuse};
use super::slot::DisplayForm;
use super::unit::{Unit, unit};
use super::words::{Token, UnitWord};

/// A spoken number in the unit that it is wanted in.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Reading {
    /// As said, never with a point that was not said.
    pub value: Decimal,
    /// The unit of every value here; None where none was said and none is asked for.
    pub unit: Option<Unit>,
    /// What it is easily taken for (15 for 50).
    pub twins: Vec<Decimal>,
    /// Reasons to have it confirmed.
    pub soft: Vec<&'static str>,
    /// Said as a pair ("five twelve").
    pub pair: bool,
    /// Values with a point where the display would show one, if the word was left out.
    pub pointed: Vec<Decimal>,
    /// Other meanings, shown beside it.
    pub others: Vec<Decimal>,
    /// Only digits were said, in the unit asked for: POINT may be missing.
    pub digits: bool,
    /// Reasons that leave no single meaning.
    pub open: Vec<&'static str>,
}

/// Reads a number. `wanted` is the unit of the slot and how its display shows decimals.
pub(crate) fn read(tokens: &[Token], wanted: Option<(&Unit, &DisplayForm)>) -> Shaped<Reading> {
    let (sign, rest) = match tokens.first() {
        Some(sign @ (Token::Minus | Token::Plus | Token::Negative)) => (Some(sign), &tokens[1..]),
        _ => (None, tokens),
    };
    if rest
        .iter()
        .any(|token| matches!(token, Token::Minus | Token::Plus | Token::Negative))
    {
        return refuse("a sign in the middle: say MINUS first, once");
    }
    if rest.is_empty() {
        return refuse("no number after the sign");
    }
    let mut reading = magnitude(rest, wanted)?;
    match sign {
        Some(Token::Minus) => reading.negate(),
        Some(Token::Negative) => reading
            .open
            .push("NEGATIVE is the word for no; a sign is MINUS"),
        _ => {}
    }
    let decimal = rest
        .iter()
        .any(|token| matches!(token, Token::Point | Token::Comma));
    if !decimal && rest.iter().any(|token| matches!(token, Token::Loose(_))) {
        reading
            .open
            .push("\"to\" and \"for\" may be 2 and 4 or plain words");
    }
    Ok(reading)
}

impl Reading {
    fn negate(&mut self) {
        if self.value.is_zero() {
            self.soft.push("minus zero is kept as zero");
        } else {
            self.value = -self.value;
        }
        for value in self
            .twins
            .iter_mut()
            .chain(&mut self.pointed)
            .chain(&mut self.others)
        {
            *value = -*value;
        }
    }
}

fn magnitude(tokens: &[Token], wanted: Option<(&Unit, &DisplayForm)>) -> Shaped<Reading> {
    let at: Vec<usize> = (0..tokens.len())
        .filter(|&at| matches!(tokens[at], Token::Unit(_)))
        .collect();
    match at[..] {
        [] => simple(tokens, None, wanted),
        [one] if one + 1 == tokens.len() => {
            let said = resolve(&tokens[one], wanted)?;
            simple(&tokens[..one], Some(said), wanted)
        }
        [one] => {
            let said = resolve(&tokens[one], wanted)?;
            let (left, right) = (&tokens[..one], &tokens[one + 1..]);
            joined(left, said, right, None, wanted)
        }
        [one, two] if two + 1 == tokens.len() => {
            let (said, last) = (
                resolve(&tokens[one], wanted)?,
                resolve(&tokens[two], wanted)?,
            );
            joined(
                &tokens[..one],
                said,
                &tokens[one + 1..two],
                Some(last),
                wanted,
            )
        }
        _ => refuse("too many units in one reading"),
    }
}

#[derive(Clone, Copy)]
struct Said {
    unit: Unit,
    soft: bool,
    /// The unit that the value is given in.
    into: Unit,
}

fn resolve(token: &Token, wanted: Option<(&Unit, &DisplayForm)>) -> Shaped<Said> {
    let Token::Unit(word @ UnitWord(text)) = token else {
        return refuse("a unit was expected");
    };
    if let Some((into, _)) = wanted {
        word.units()
            .find(|(unit, _)| unit.dimension() == into.dimension())
            .map(|(unit, soft)| Said {
                unit,
                soft,
                into: *into,
            })
            .ok_or_else(|| Refusal::OtherUnit(text.clone()))
    } else {
        let Some((said, soft)) = word.units().next() else {
            return Err(Refusal::OtherUnit(text.clone()));
        };
        let into = match said.id() {
            "kohm" => "ohm",
            "min" => "s",
            "Gohm" => "Mohm",
            same => same,
        };
        Ok(Said {
            unit: said,
            soft,
            into: unit(into).unwrap_or(said),
        })
    }
}

/// A number with at most one unit, at its end.
fn simple(
    tokens: &[Token],
    said: Option<Said>,
    wanted: Option<(&Unit, &DisplayForm)>,
) -> Shaped<Reading> {
    let into = said.map(|said| said.into).or(wanted.map(|(unit, _)| *unit));
    let convert = |value: Decimal| match said {
        Some(said) => said.unit.convert(value, &said.into),
        None => Some(value),
    };
    let part = fraction(tokens)?;
    let broken = part.is_some();
    let plain = match (part, tokens, said) {
        (Some(plain), ..) => plain,
        (None, [Token::A], Some(_)) => Plain::whole("1"),
        (None, [], Some(_)) => return refuse("a unit without a number"),
        _ => number(tokens)?,
    };
    let mut reading = plain.reading(into, &convert)?;
    reading.digits = !broken
        && plain.fraction.is_none()
        && said.is_none_or(|said| said.unit == said.into)
        && !tokens
            .iter()
            .any(|token| matches!(token, Token::Hundred | Token::Thousand));
    if broken {
        // Half a minute is 30 s: a fraction says no decimals.
        reading.value = reading.value.normalize();
    }
    if said.is_some_and(|said| said.soft) {
        reading
            .soft
            .push("\"mil\" may be milliamp, millivolt or meg");
    }
    // "half" of a percentage is 50 % or 0.5 %; with the unit said ("half a percent") only the latter.
    if plain.only_fraction && said.is_none() && into.is_some_and(|into| into.id() == "%") {
        let share = reading.value;
        reading.value = (share * Decimal::ONE_HUNDRED).normalize();
        reading.others.push(share);
    }
    if let Some(head) = plain.pair_head {
        for (from, places) in display_forms(said, wanted, into) {
            let tail = plain.whole.len().saturating_sub(head);
            if places.iter().any(|&place| place as usize == tail) {
                let text = format!("{}.{}", &plain.whole[..head], &plain.whole[head..]);
                let value = decimal(&text)?;
                let value = match (from, into) {
                    (Some(from), Some(into)) => from.convert(value, &into),
                    _ => Some(value),
                };
                reading.pointed.extend(value);
            }
        }
    }
    Ok(reading)
}

fn display_forms(
    said: Option<Said>,
    wanted: Option<(&Unit, &DisplayForm)>,
    into: Option<Unit>,
) -> Vec<(Option<Unit>, Vec<u32>)> {
    match (said, wanted) {
        (Some(said), Some((unit, display))) if said.unit == *unit => {
            vec![(Some(said.unit), display.places.clone())]
        }
        (Some(said), _) => vec![(Some(said.unit), said.unit.places().to_vec())],
        (None, Some((unit, display))) => {
            let mut forms = vec![(into, display.places.clone())];
            if let (Some(places), "ohm", Some(kilo)) =
                (display.kilo_places, unit.id(), super::unit::unit("kohm"))
            {
                forms.push((Some(kilo), vec![places]));
            }
            forms
        }
        (None, None) => vec![(None, vec![1, 2])],
    }
}

/// A number with a unit in its middle: "four k seven", "one minute thirty", "a minute and a half".
fn joined(
    left: &[Token],
    said: Said,
    right: &[Token],
    last: Option<Said>,
    wanted: Option<(&Unit, &DisplayForm)>,
) -> Shaped<Reading> {
    let _ = wanted;
    let into = said.into;
    let head = match left {
        [Token::A] => Plain::whole("1"),
        [] => return refuse("a unit without a number before it"),
        _ => number(left)?,
    };
    let to = |from: Unit, value: Decimal| {
        from.convert(value, &into)
            .ok_or(Refusal::Shape("too many digits"))
    };
    let mut soft = head.soft.clone();
    if said.soft {
        soft.push("\"mil\" may be milliamp, millivolt or meg");
    }
    let mut reading = Reading {
        value: Decimal::ZERO,
        unit: Some(into),
        twins: Vec::new(),
        soft,
        pair: head.pair_head.is_some(),
        pointed: Vec::new(),
        others: Vec::new(),
        digits: false,
        open: head.open.clone(),
    };
    let base = to(said.unit, head.value()?)?;
    // "a minute and a half"
    if last.is_none()
        && let [Token::And, rest @ ..] = right
        && let Some(part) = fraction(rest)?
        && part.only_fraction
    {
        reading.value = (base + to(said.unit, part.value()?)?).normalize();
        reading.soft.push("a fraction: a display shows digits");
        return Ok(reading);
    }
    let right = match (right, last) {
        ([Token::And, rest @ ..], Some(_)) => rest,
        ([Token::And, rest @ ..], None) if said.unit.dimension() == "time" => rest,
        _ => right,
    };
    if head.fraction.is_some() {
        return refuse("a point before a unit in the middle: say the whole number with one unit");
    }
    let tail = number(right)?;
    reading.soft.extend(tail.soft.iter());
    reading.open.extend(tail.open.iter());
    let lower = match (said.unit.id(), last) {
        ("min", None) => unit("s"),
        ("min", Some(last)) if last.unit.id() == "s" => Some(last.unit),
        ("kohm", Some(last)) if last.unit.id() == "ohm" => Some(last.unit),
        ("Gohm", Some(last)) if last.unit.id() == "Mohm" => Some(last.unit),
        ("kohm" | "Mohm" | "Gohm", None) => None,
        _ => return refuse("a unit in the middle: say digits with POINT and one unit"),
    };
    let has_hundreds = right.contains(&Token::Hundred);
    if lower.is_some() || has_hundreds {
        let below = match lower {
            Some(below) => below,
            None if said.unit.id() == "kohm" => unit("ohm").unwrap_or(into),
            None => return refuse("a unit in the middle: say digits with POINT and one unit"),
        };
        let rest = to(below, tail.value()?)?;
        if said.unit.id() == "min" && rest >= Decimal::from(60) {
            return refuse("more than 59 seconds after the minutes");
        }
        reading.value = sum(base, rest)?;
        for twin in &tail.twins {
            reading.twins.push(sum(base, to(below, decimal(twin)?)?)?);
        }
        for twin in &head.twins {
            reading
                .twins
                .push(sum(to(said.unit, decimal(twin)?)?, rest)?);
        }
        if last.is_none() {
            reading.soft.push("the unit of the last part was left out");
        } else if said.unit.id() != "min" {
            reading.soft.push("two units in one reading");
        }
        reading.pair |= tail.pair_head.is_some();
        return Ok(reading);
    }
    if tail.fraction.is_some() {
        return refuse("a point after a unit in the middle: say the whole number with one unit");
    }
    // IEC 60062 writes 4K7 for 4.7 k.
    let text = |head: &str, tail: &str| decimal(&format!("{head}.{tail}"));
    reading.value = to(said.unit, text(&head.whole, &tail.whole)?)?;
    for twin in &tail.twins {
        reading.twins.push(to(said.unit, text(&head.whole, twin)?)?);
    }
    for twin in &head.twins {
        reading.twins.push(to(said.unit, text(twin, &tail.whole)?)?);
    }
    if said.unit.id() == "kohm" {
        reading
            .others
            .push(sum(base, to(unit("ohm").unwrap_or(into), tail.value()?)?)?);
    }
    reading.soft.push("the unit stands for the point");
    reading.pair = false;
    Ok(reading)
}

fn sum(a: Decimal, b: Decimal) -> Shaped<Decimal> {
    a.checked_add(b).ok_or(Refusal::Shape("too many digits"))
}

impl Plain {
    fn reading(
        &self,
        unit: Option<Unit>,
        convert: &dyn Fn(Decimal) -> Option<Decimal>,
    ) -> Shaped<Reading> {
        let value = |text: &str| {
            convert(decimal(text)?).ok_or(Refusal::Shape("no exact value in this unit"))
        };
        Ok(Reading {
            value: value(&self.text())?,
            unit,
            twins: self
                .twins
                .iter()
                .map(|twin| value(twin))
                .collect::<Shaped<_>>()?,
            soft: self.soft.clone(),
            pair: self.pair_head.is_some(),
            pointed: Vec::new(),
            others: Vec::new(),
            digits: false,
            open: self.open.clone(),
        })
    }
}

//! A spoken number without sign and unit: digit strings, cardinals, pairs, fractions.

use rust_decimal::Decimal;

use super::words::Token;

/// A number without sign and unit, as text.
#[derive(Clone, Debug, Default)]
pub(crate) struct Plain {
    pub(crate) whole: String,
    pub(crate) fraction: Option<String>,
    pub(crate) twins: Vec<String>,
    pub(crate) soft: Vec<&'static str>,
    pub(crate) open: Vec<&'static str>,
    /// A pair: how many digits its first part has.
    pub(crate) pair_head: Option<usize>,
    /// A fraction without a whole number ("half").
    pub(crate) only_fraction: bool,
}

impl Plain {
    pub(crate) fn whole(digits: &str) -> Self {
        Plain {
            whole: digits.to_owned(),
            ..Plain::default()
        }
    }

    pub(crate) fn text(&self) -> String {
        match &self.fraction {
            Some(fraction) => format!("{}.{fraction}", self.whole),
            None => self.whole.clone(),
        }
    }

    pub(crate) fn value(&self) -> Shaped<Decimal> {
        decimal(&self.text())
    }
}

/// "half", "three quarters", "seven and a half", "half a" (before a unit); None where
/// no fraction word was said.
pub(crate) fn fraction(tokens: &[Token]) -> Shaped<Option<Plain>> {
    let Some(at) = tokens
        .iter()
        .position(|token| matches!(token, Token::Half | Token::Quarter))
    else {
        return Ok(None);
    };
    match tokens.get(at + 1..) {
        Some([] | [Token::A]) => {}
        _ => return refuse("a fraction in the middle: say digits"),
    }
    let (before, digits) = match (&tokens[at], &tokens[..at]) {
        (Token::Half, [before @ .., Token::A | Token::Digit(1)] | before) => (before, "5"),
        (_, [before @ .., Token::Digit(3)]) => (before, "75"),
        (_, [before @ .., Token::A | Token::Digit(1)] | before) => (before, "25"),
    };
    let mut plain = match before {
        [] => Plain {
            only_fraction: true,
            ..Plain::whole("0")
        },
        [whole @ .., Token::And] if !whole.is_empty() => number(whole)?,
        _ => return refuse("a fraction without AND: say digits"),
    };
    if plain.fraction.is_some() {
        return refuse("a fraction after a point: say digits");
    }
    plain.twins = plain
        .twins
        .iter()
        .map(|twin| format!("{twin}.{digits}"))
        .collect();
    plain.fraction = Some(digits.to_owned());
    plain.soft.push("a fraction: a display shows digits");
    Ok(Some(plain))
}

/// [whole] [point decimals]
pub(crate) fn number(tokens: &[Token]) -> Shaped<Plain> {
    let points: Vec<usize> = (0..tokens.len())
        .filter(|&at| matches!(tokens[at], Token::Point | Token::Comma))
        .collect();
    let (left, right) = match points[..] {
        [] => (tokens, None),
        [at] => (&tokens[..at], Some(&tokens[at + 1..])),
        _ => return refuse("two points in one number"),
    };
    if right.is_some_and(<[Token]>::is_empty) {
        return refuse("nothing after the point: incomplete");
    }
    let mut plain = if left.is_empty() && right.is_some() {
        Plain {
            soft: vec!["it starts with the point: a first word may be lost"],
            ..Plain::whole("0")
        }
    } else {
        whole(left)?
    };
    if let Some(right) = right {
        if points.iter().any(|&at| tokens[at] == Token::Comma) {
            plain.soft.push("COMMA for the point");
        }
        let (decimals, twin) = concatenated(right)?;
        if right
            .iter()
            .any(|token| matches!(token, Token::Teen(_) | Token::Ty(_)))
        {
            plain
                .soft
                .push("a cardinal after the point: say its digits");
        }
        if plain.pair_head.take().is_some() {
            plain.soft.push("HUNDRED or a digit may be left out");
        }
        let mut twins: Vec<String> = plain
            .twins
            .iter()
            .map(|twin| format!("{twin}.{decimals}"))
            .collect();
        twins.extend(twin.map(|twin| format!("{}.{twin}", plain.whole)));
        plain.twins = twins;
        plain.fraction = Some(decimals);
    }
    let said_digit = tokens.iter().any(|token| {
        !matches!(
            token,
            Token::Oh | Token::Point | Token::Comma | Token::Double | Token::Triple
        )
    });
    if !said_digit {
        return refuse("\"oh\" alone: say ZERO");
    }
    if plain.whole.len() > 1 && plain.whole.starts_with('0') {
        plain.soft.push("zeros at the front");
        plain.pair_head = None;
    }
    Ok(plain)
}

/// The whole part: digits, a cardinal, or a pair.
fn whole(tokens: &[Token]) -> Shaped<Plain> {
    if tokens.iter().any(|token| {
        matches!(
            token,
            Token::Hundred | Token::Thousand | Token::And | Token::A
        )
    }) {
        return cardinal(tokens);
    }
    let (digits, twin) = concatenated(tokens)?;
    let parts = parts(tokens);
    let named = tokens
        .iter()
        .any(|token| matches!(token, Token::Teen(_) | Token::Ty(_)));
    let mut plain = Plain {
        whole: digits,
        ..Plain::default()
    };
    plain.twins.extend(twin);
    if named && parts > 1 {
        plain.pair_head = Some(match tokens.first() {
            Some(Token::Teen(_) | Token::Ty(_) | Token::Double) => 2,
            Some(Token::Triple) => 3,
            _ => 1,
        });
        if tokens
            .iter()
            .any(|token| matches!(token, Token::Double | Token::Triple))
        {
            plain.open.push("a cardinal and a DOUBLE in one number");
        }
    }
    Ok(plain)
}

/// How many parts a number without hundreds has: digits one each, "fifty one" one.
fn parts(tokens: &[Token]) -> usize {
    let mut count = 0;
    let mut at = 0;
    while at < tokens.len() {
        at += match (&tokens[at], tokens.get(at + 1)) {
            (Token::Ty(_), Some(Token::Digit(1..=9)))
            | (Token::Double | Token::Triple, Some(_)) => 2,
            _ => 1,
        };
        count += 1;
    }
    count
}

/// Digits of parts said one after the other, and the same with the last part's twin.
fn concatenated(tokens: &[Token]) -> Shaped<(String, Option<String>)> {
    let mut digits = String::new();
    let mut twin = None;
    let mut at = 0;
    while at < tokens.len() {
        twin = None;
        match (&tokens[at], tokens.get(at + 1)) {
            (Token::Digit(digit) | Token::Loose(digit), _) => digits.push(figure(*digit)),
            (Token::Oh, _) => digits.push('0'),
            (repeat @ (Token::Double | Token::Triple), Some(next)) => {
                let digit = match next {
                    Token::Digit(digit) | Token::Loose(digit) => *digit,
                    Token::Oh => 0,
                    _ => return refuse("DOUBLE goes with one digit"),
                };
                let times = if *repeat == Token::Double { 2 } else { 3 };
                digits.extend(std::iter::repeat_n(figure(digit), times));
                at += 1;
            }
            (Token::Double | Token::Triple, None) => {
                return refuse("DOUBLE without a digit: incomplete");
            }
            (Token::Ty(ty), Some(Token::Digit(unit @ 1..=9))) => {
                digits.push(figure(ty / 10));
                digits.push(figure(*unit));
                at += 1;
            }
            (Token::Teen(two) | Token::Ty(two), _) => {
                twin = twin_of(*two).map(|twin| format!("{digits}{twin}"));
                digits.push(figure(two / 10));
                digits.push(figure(two % 10));
            }
            _ => return refuse("words that make no number together"),
        }
        at += 1;
    }
    if digits.is_empty() {
        refuse("no number was said")
    } else {
        Ok((digits, twin))
    }
}

fn figure(digit: u8) -> char {
    char::from(b'0' + digit.min(9))
}

/// 13 and 30, 14 and 40, … 19 and 90 sound alike.
fn twin_of(two: u8) -> Option<u8> {
    match two {
        13..=19 => Some((two - 10) * 10),
        30..=90 if two.is_multiple_of(10) => Some(two / 10 + 10),
        _ => None,
    }
}

/// "five hundred and twelve", "twelve hundred", "a thousand", "two thousand four hundred and eighty one".
fn cardinal(tokens: &[Token]) -> Shaped<Plain> {
    let thousands: Vec<usize> = (0..tokens.len())
        .filter(|&at| tokens[at] == Token::Thousand)
        .collect();
    match thousands[..] {
        [] => {
            let below = below_thousand(tokens, true)?;
            Ok(below.plain())
        }
        [at] => {
            let (left, right) = (&tokens[..at], &tokens[at + 1..]);
            let count = match left {
                [] => return refuse("THOUSAND without a number before it: incomplete"),
                [Token::A] => Small {
                    number: 1,
                    ..Small::default()
                },
                // ICAO: whole thousands as digits and THOUSAND, "one six thousand".
                _ if left.iter().all(|token| matches!(token, Token::Digit(_))) => {
                    let (digits, _) = concatenated(left)?;
                    if digits.starts_with('0') || digits.len() > 3 {
                        return refuse("no such thousands: say digits");
                    }
                    Small {
                        number: digits.parse().unwrap_or(0),
                        ..Small::default()
                    }
                }
                _ => below_thousand(left, false)?,
            };
            let rest = match right {
                [] => Small::default(),
                [Token::And] => return refuse("nothing after AND: incomplete"),
                _ => after_thousand(right)?,
            };
            let mut plain = Plain::whole(&(count.number * 1000 + rest.number).to_string());
            plain.soft.extend(count.soft.iter().chain(&rest.soft));
            plain.twins.extend(
                rest.twin
                    .map(|twin| (count.number * 1000 + twin).to_string()),
            );
            if right.is_empty() {
                plain
                    .twins
                    .extend(count.twin.map(|twin| (twin * 1000).to_string()));
            }
            Ok(plain)
        }
        _ => refuse("two THOUSANDs in one number"),
    }
}

#[derive(Clone, Debug, Default)]
struct Small {
    number: u32,
    twin: Option<u32>,
    soft: Vec<&'static str>,
}

impl Small {
    fn plain(self) -> Plain {
        Plain {
            whole: self.number.to_string(),
            twins: self.twin.iter().map(u32::to_string).collect(),
            soft: self.soft,
            ..Plain::default()
        }
    }
}

fn after_thousand(right: &[Token]) -> Shaped<Small> {
    match right {
        [Token::And, rest @ ..] if !rest.contains(&Token::Hundred) => below_hundred(rest),
        [Token::Oh | Token::Digit(0), Token::Digit(digit @ 1..=9)] => Ok(Small {
            number: u32::from(*digit),
            twin: None,
            soft: vec!["a digit after THOUSAND: say all digits"],
        }),
        // "two thousand four eighty one"
        [Token::Digit(hundreds @ 1..=9), rest @ ..]
            if !rest.is_empty() && !right.contains(&Token::Hundred) =>
        {
            let mut small = match rest {
                [Token::Teen(_) | Token::Ty(_)] | [Token::Ty(_), Token::Digit(1..=9)] => {
                    below_hundred(rest)?
                }
                _ => return refuse("digits after THOUSAND: say all digits"),
            };
            small.number += u32::from(*hundreds) * 100;
            small.twin = small.twin.map(|twin| twin + u32::from(*hundreds) * 100);
            small.soft.push("HUNDRED left out");
            Ok(small)
        }
        _ => below_thousand(right, false),
    }
}

/// Up to 999, or up to 9999 in whole hundreds where `many` allows ("twelve hundred").
fn below_thousand(tokens: &[Token], many: bool) -> Shaped<Small> {
    let Some(at) = tokens.iter().position(|token| *token == Token::Hundred) else {
        return below_hundred(tokens);
    };
    let (left, right) = (&tokens[..at], &tokens[at + 1..]);
    let hundreds = match left {
        [] => return refuse("HUNDRED without a number before it: incomplete"),
        [Token::A] => 1,
        [Token::Digit(digit @ 1..=9)] => u32::from(*digit),
        [Token::Teen(teen @ 11..=19)] if many => u32::from(*teen),
        [Token::Ty(ty), Token::Digit(digit @ 1..=9)] if many => u32::from(ty + digit),
        [Token::Ty(_) | Token::Teen(10)] => return refuse("no such hundreds: say THOUSAND"),
        _ => return refuse("no such hundreds: say digits"),
    };
    let mut small = match right {
        [] => Small::default(),
        [Token::And] => return refuse("nothing after AND: incomplete"),
        [Token::Oh | Token::Digit(0), Token::Digit(digit @ 1..=9)] => Small {
            number: u32::from(*digit),
            twin: None,
            soft: vec!["a digit after HUNDRED: say all digits"],
        },
        [Token::And, rest @ ..] => below_hundred(rest)?,
        _ => below_hundred(right)?,
    };
    small.number += hundreds * 100;
    small.twin = small.twin.map(|twin| twin + hundreds * 100);
    Ok(small)
}

fn below_hundred(tokens: &[Token]) -> Shaped<Small> {
    let (number, twin) = match tokens {
        [Token::Digit(digit)] => (*digit, None),
        [Token::Teen(two) | Token::Ty(two)] => (*two, twin_of(*two)),
        [Token::Ty(ty), Token::Digit(digit @ 1..=9)] => (ty + digit, None),
        [Token::A] => return refuse("\"a\" alone is no number"),
        _ => return refuse("words that make no number together"),
    };
    Ok(Small {
        number: number.into(),
        twin: twin.map(u32::from),
        soft: Vec::new(),
    })
}

/// Why parts are no number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Refusal {
    /// The shape is no number; what was wrong and what to say.
    Shape(&'static str),
    /// A unit of another quantity than the one asked for.
    OtherUnit(String),
}

pub(crate) type Shaped<T> = Result<T, Refusal>;

pub(crate) fn refuse<T>(why: &'static str) -> Shaped<T> {
    Err(Refusal::Shape(why))
}

pub(crate) fn decimal(text: &str) -> Shaped<Decimal> {
    Decimal::from_str_exact(text).map_err(|_| Refusal::Shape("too many digits"))
}

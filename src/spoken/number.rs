//! Spoken numbers: words to candidates. Nothing here knows a slot's range.
//!
//! The forms are those that plant technicians use beside the radio forms of
//! ICAO Annex 10 and the IMO phrases: digit strings, cardinals, pairs ("five
//! twelve"), doubles. A form that leaves room for doubt is marked, never resolved.

use rust_decimal::Decimal;

/// A number as said.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Said {
    /// The value; its scale is that of the digits said.
    pub(super) value: Decimal,
    /// The value with the last -teen or -ty exchanged for its twin.
    pub(super) twin: Option<Decimal>,
    /// Why it must be affirmed, if it must.
    pub(super) soft: Option<&'static str>,
    /// A pair without a point: what stands before and after the seam.
    pub(super) seam: Option<(String, String)>,
    /// Two readings of it that a slot cannot tell apart.
    pub(super) either: Option<(String, String)>,
}

/// Why words are no number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum NoNumber {
    /// A word that no number has.
    NotANumber,
    /// It breaks off.
    Incomplete,
    /// Two points.
    TwoPoints,
    /// "oh" by itself.
    OhAlone,
    /// A form that is not used.
    BadForm(&'static str),
}

fn unit_digit(word: &str) -> Option<u8> {
    Some(match word {
        "zero" => 0,
        "one" => 1,
        "two" => 2,
        "three" => 3,
        "four" => 4,
        "five" => 5,
        "six" => 6,
        "seven" => 7,
        "eight" => 8,
        "nine" => 9,
        _ => return None,
    })
}

fn digit(word: &str) -> Option<u8> {
    if word == "oh" { Some(0) } else { unit_digit(word) }
}

fn teen(word: &str) -> Option<u32> {
    const TEENS: [&str; 10] = [
        "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
    ];
    TEENS.iter().position(|teen| *teen == word).and_then(|at| u32::try_from(at + 10).ok())
}

fn ty(word: &str) -> Option<u32> {
    const TIES: [&str; 8] = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];
    TIES.iter().position(|ty| *ty == word).and_then(|at| u32::try_from((at + 2) * 10).ok())
}

/// The twin of a -teen or a -ty: 13 and 30 to 19 and 90. Eleven, twelve and twenty have none.
fn twin_of(value: u32) -> Option<u32> {
    match value {
        13..=19 => Some((value - 10) * 10),
        30 | 40 | 50 | 60 | 70 | 80 | 90 => Some(value / 10 + 10),
        _ => None,
    }
}

/// True if a word can stand in a number.
pub(super) fn is_number_word(word: &str) -> bool {
    digit(word).is_some()
        || teen(word).is_some()
        || ty(word).is_some()
        || matches!(word, "hundred" | "thousand" | "double" | "triple" | "point" | "comma" | "and" | "a")
}

/// 10 to 99 said as one number: value, words used, and its twin if the last word has one.
fn tens(words: &[&str]) -> Option<(u32, usize, Option<u32>)> {
    let first = words.first()?;
    if let Some(value) = teen(first) {
        return Some((value, 1, twin_of(value)));
    }
    let value = ty(first)?;
    match words.get(1).and_then(|word| unit_digit(word)).filter(|digit| *digit > 0) {
        Some(digit) => Some((value + u32::from(digit), 2, None)),
        None => Some((value, 1, twin_of(value))),
    }
}

/// Reads digits, with "double" and "triple" of one digit. `None` if a word is no digit.
fn digits(words: &[&str]) -> Result<Option<String>, NoNumber> {
    let mut out = String::new();
    let mut at = 0;
    while at < words.len() {
        let times = match words[at] {
            "double" => 2,
            "triple" => 3,
            _ => 1,
        };
        if times > 1 {
            at += 1;
        }
        match words.get(at).map(|word| digit(word)) {
            Some(Some(digit)) => out.extend(std::iter::repeat_n(char::from(b'0' + digit), times)),
            Some(None) if times > 1 => {
                return Err(NoNumber::BadForm("double and triple are for one digit"));
            }
            Some(None) => return Ok(None),
            None => return Err(NoNumber::Incomplete),
        }
        at += 1;
    }
    Ok(Some(out))
}

/// Reads a whole number: words to the point or to the end.
fn whole(words: &[&str]) -> Result<Said, NoNumber> {
    let plain = |value: u64, twin: Option<u64>| Said {
        value: Decimal::from(value),
        twin: twin.map(Decimal::from),
        soft: None,
        seam: None,
        either: None,
    };
    if words == ["oh"] {
        return Err(NoNumber::OhAlone);
    }
    if words.iter().any(|word| !is_number_word(word)) {
        return Err(NoNumber::NotANumber);
    }
    if let Some(text) = digits(words)? {
        if text.len() > 18 {
            return Err(NoNumber::BadForm("too many digits"));
        }
        let value: Decimal = text.parse().map_err(|_| NoNumber::NotANumber)?;
        let soft = (text.len() > 1 && text.starts_with('0')).then_some("leading zeros");
        return Ok(Said { value, twin: None, soft, seam: None, either: None });
    }
    if words.iter().any(|word| matches!(*word, "hundred" | "thousand")) {
        return cardinal(words).map(|(value, twin, soft)| Said { soft, ..plain(value, twin) });
    }
    if words.iter().any(|word| matches!(*word, "and" | "a")) {
        return Err(if words.last() == Some(&"and") { NoNumber::Incomplete } else { NoNumber::NotANumber });
    }
    if let Some((value, used, twin)) = tens(words)
        && used == words.len()
    {
        return Ok(plain(u64::from(value), twin.map(u64::from)));
    }
    pair(words)
}

/// Hundreds and thousands: value, twin, and what is soft about it.
fn cardinal(words: &[&str]) -> Result<(u64, Option<u64>, Option<&'static str>), NoNumber> {
    if let Some(at) = words.iter().position(|word| *word == "thousand") {
        let head = match &words[..at] {
            ["a"] => 1,
            [] => return Err(NoNumber::BadForm("say how many thousand")),
            head => {
                let said = whole(head)?;
                if said.seam.is_some() || said.soft.is_some() {
                    return Err(NoNumber::BadForm("say the thousands as one number"));
                }
                u64::try_from(said.value).map_err(|_| NoNumber::NotANumber)?
            }
        };
        if head == 0 || head > 999 {
            return Err(NoNumber::BadForm("say the thousands as one number"));
        }
        let rest = &words[at + 1..];
        let (and, rest) = match rest {
            ["and", rest @ ..] => (true, rest),
            rest => (false, rest),
        };
        if rest.is_empty() {
            return if and {
                Err(NoNumber::Incomplete)
            } else {
                // "fifty thousand" could be fifteen thousand.
                let twin = words.get(at.wrapping_sub(1)).and_then(|last| teen(last).or_else(|| ty(last))).and_then(twin_of);
                Ok((head * 1000, twin.filter(|_| at == 1).map(|twin| u64::from(twin) * 1000), None))
            };
        }
        let (tail, twin, soft) = below_thousand(rest)?;
        let value = |tail: u64| head * 1000 + tail;
        return Ok((value(tail), twin.map(value), soft));
    }
    below_thousand_or_teen_hundred(words)
}

fn below_thousand(words: &[&str]) -> Result<(u64, Option<u64>, Option<&'static str>), NoNumber> {
    if words.contains(&"hundred") {
        let (value, twin, soft) = below_thousand_or_teen_hundred(words)?;
        return if value < 1000 { Ok((value, twin, soft)) } else { Err(NoNumber::BadForm("say the thousands as one number")) };
    }
    let (value, twin) = up_to_99(words)?;
    Ok((value, twin, None))
}

fn below_thousand_or_teen_hundred(words: &[&str]) -> Result<(u64, Option<u64>, Option<&'static str>), NoNumber> {
    let at = words.iter().position(|word| *word == "hundred").ok_or(NoNumber::NotANumber)?;
    let (head, soft) = match &words[..at] {
        ["a"] => (1, None),
        [] => (1, Some("one hundred, or the first word lost")),
        [word] => match (unit_digit(word), teen(word)) {
            (Some(digit), _) if digit > 0 => (u64::from(digit), None),
            (_, Some(value)) if value > 10 => (u64::from(value), None),
            _ => return Err(NoNumber::BadForm("say the thousands: two thousand")),
        },
        _ => return Err(NoNumber::BadForm("say one to nineteen hundred")),
    };
    let rest = &words[at + 1..];
    let (and, rest) = match rest {
        ["and", rest @ ..] => (true, rest),
        rest => (false, rest),
    };
    if rest.is_empty() {
        return if and { Err(NoNumber::Incomplete) } else { Ok((head * 100, None, soft)) };
    }
    let (tail, twin) = up_to_99(rest)?;
    Ok((head * 100 + tail, twin.map(|twin| head * 100 + twin), soft))
}

fn up_to_99(words: &[&str]) -> Result<(u64, Option<u64>), NoNumber> {
    if let [word] = words
        && let Some(digit) = unit_digit(word).filter(|digit| *digit > 0)
    {
        return Ok((u64::from(digit), None));
    }
    match tens(words) {
        Some((value, used, twin)) if used == words.len() => Ok((u64::from(value), twin.map(u64::from))),
        _ if words.last() == Some(&"and") => Err(NoNumber::Incomplete),
        _ => Err(NoNumber::BadForm("say the number digit by digit")),
    }
}

/// A pair: "five twelve", "one forty", "ten oh five", "fifty one two". Never given a point by us.
fn pair(words: &[&str]) -> Result<Said, NoNumber> {
    let elided = "hundred or a seam left out";
    // Two numbers: the first of one or two digits, the second of one or two.
    let firsts = [tens(words).map(|(value, used, _)| (u64::from(value), used)), unit_digit(words.first().unwrap_or(&"")).map(|digit| (u64::from(digit), 1))];
    for (head, used) in firsts.into_iter().flatten() {
        let rest = &words[used..];
        let head_text = head.to_string();
        let said = |after: String, twin: Option<u64>| {
            let scale = if after.len() == 1 { 10 } else { 100 };
            let tail: u64 = after.parse().unwrap_or(0);
            Said {
                value: Decimal::from(head * scale + tail),
                twin: twin.map(|twin| Decimal::from(head * scale + twin)),
                soft: Some(elided),
                seam: Some((head_text.clone(), after)),
                either: None,
            }
        };
        match rest {
            ["oh", one] if unit_digit(one).is_some() && head > 0 => {
                return Ok(said(format!("0{}", unit_digit(one).unwrap_or(0)), None));
            }
            [one] if head >= 10 && unit_digit(one).is_some() => {
                return Ok(said(unit_digit(one).unwrap_or(0).to_string(), None));
            }
            ["double", one] if digit(one).is_some() => {
                // A number and a double: 1244 or 12.44, and no display tells.
                let two = digit(one).unwrap_or(0).to_string().repeat(2);
                let (with, without) = (format!("{head_text}.{two}"), format!("{head_text}{two}"));
                return Ok(Said { either: Some((without, with)), ..said(two, None) });
            }
            rest => {
                if let Some((tail, more, twin)) = tens(rest)
                    && more == rest.len()
                    && head > 0
                    && !(head == u64::from(tail) && head >= 10)
                {
                    return Ok(said(tail.to_string(), twin.map(u64::from)));
                }
            }
        }
    }
    Err(NoNumber::BadForm("say the number digit by digit"))
}

/// Digits after the point, and why they must be affirmed if they were said as a number.
fn places(words: &[&str]) -> Result<(String, Option<String>, Option<&'static str>), NoNumber> {
    if words.is_empty() {
        return Err(NoNumber::Incomplete);
    }
    if let Some(text) = digits(words)? {
        return if text.len() > 9 { Err(NoNumber::BadForm("too many digits")) } else { Ok((text, None, None)) };
    }
    match tens(words) {
        Some((value, used, twin)) if used == words.len() => {
            Ok((value.to_string(), twin.map(|twin| twin.to_string()), Some("a number after the point, not digits")))
        }
        _ => Err(if words.iter().all(|word| is_number_word(word)) {
            NoNumber::BadForm("say the digits after the point one by one")
        } else {
            NoNumber::NotANumber
        }),
    }
}

/// Reads a number without its sign and unit.
pub(super) fn read(words: &[&str]) -> Result<Said, NoNumber> {
    if words.is_empty() {
        return Err(NoNumber::NotANumber);
    }
    let points: Vec<usize> =
        words.iter().enumerate().filter(|(_, word)| matches!(**word, "point" | "comma")).map(|(at, _)| at).collect();
    match points.as_slice() {
        [] => whole(words),
        [at] => {
            let (before, after) = (&words[..*at], &words[at + 1..]);
            if words.iter().any(|word| !is_number_word(word)) {
                return Err(NoNumber::NotANumber);
            }
            let (places, other_places, number_after) = places(after)?;
            let mut said = if before.is_empty() {
                Said { value: Decimal::ZERO, twin: None, soft: Some("leading point, the first word may be lost"), seam: None, either: None }
            } else if before == ["oh"] {
                // "oh point five": the oh can only be the zero before the point.
                Said { value: Decimal::ZERO, twin: None, soft: None, seam: None, either: None }
            } else {
                whole(before)?
            };
            let join = |whole: Decimal, places: &str| format!("{whole}.{places}").parse::<Decimal>().ok();
            said.twin = said.twin.and_then(|twin| join(twin, &places));
            if let Some(other) = other_places {
                said.twin = said.twin.or_else(|| join(said.value, &other));
            }
            said.value = join(said.value, &places).ok_or(NoNumber::BadForm("too many digits"))?;
            said.soft = said.soft.or(number_after);
            if words[*at] == "comma" {
                said.soft = said.soft.or(Some("comma for the point"));
            }
            // With a point said, a pair has no seam left to put one in.
            said.seam = None;
            Ok(said)
        }
        _ => Err(NoNumber::TwoPoints),
    }
}

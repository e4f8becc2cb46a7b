//! Words before their meaning: normal forms, turn markers, corrections, and the
//! fixed phrases of the grammars.

use std::collections::HashMap;
use std::sync::LazyLock;

use rust_decimal::Decimal;

use super::jsgf::Grammar;
use super::meaning::{Command, Status};
use super::number::{self, NoNumber};
use super::slot::NumberSlot;
use super::unit::unit;
use super::Fault;

/// The longest phrase that is looked at, in bytes; nobody says more in one breath.
const LONGEST: usize = 400;

pub(super) static COMMANDS: LazyLock<Grammar> = LazyLock::new(|| own(include_str!("../../grammars/commands.jsgf")));
pub(super) static STATUSES: LazyLock<Grammar> = LazyLock::new(|| own(include_str!("../../grammars/statuses.jsgf")));
pub(super) static NUMBERS: LazyLock<Grammar> = LazyLock::new(|| own(include_str!("../../grammars/numbers.jsgf")));

fn own(text: &str) -> Grammar {
    Grammar::parse(text).expect("the grammars are part of the program and are tested")
}

static COMMAND_PHRASES: LazyLock<HashMap<String, Command>> = LazyLock::new(|| {
    tagged(&COMMANDS, &["few", "more", "alias"], Command::from_code)
});
static ANY_STATUS: LazyLock<HashMap<String, Status>> =
    LazyLock::new(|| tagged(&STATUSES, &["any", "any-alias"], Status::from_code));
static RESISTANCE_STATUS: LazyLock<HashMap<String, Status>> =
    LazyLock::new(|| tagged(&STATUSES, &["resistance", "resistance-alias"], Status::from_code));
static POSITIONS: LazyLock<HashMap<String, Status>> =
    LazyLock::new(|| tagged(&STATUSES, &["position", "position-alias"], Status::from_code));

fn tagged<T>(grammar: &Grammar, rules: &[&str], read: fn(&str) -> Option<T>) -> HashMap<String, T> {
    rules
        .iter()
        .flat_map(|rule| grammar.sentences(rule))
        .filter_map(|(words, tag)| Some((words, read(&tag?)?)))
        .collect()
}

/// A phrase in normal form.
pub(super) struct Phrase {
    pub(super) words: Vec<String>,
    /// It was only a turn marker.
    pub(super) turn_marker: bool,
}

impl Phrase {
    /// Brings a phrase into normal form: small letters, no punctuation, the radio pronunciations as plain words.
    pub(super) fn read(text: &str) -> Result<Self, &'static str> {
        if text.len() > LONGEST {
            return Err("too long for an answer");
        }
        let mut lower = text.to_lowercase().replace('\u{2019}', "'");
        for (radio, plain) in [("day-see-mal", "point"), ("dayseemal", "point"), ("x-ray", "xray"), ("ze-ro", "zero"), ("fow-er", "four"), ("sev-en", "seven"), ("nin-er", "nine"), ("hun-dred", "hundred"), ("tou-sand", "thousand"), ("tou-zand", "thousand")] {
            lower = lower.replace(radio, plain);
        }
        let mut words: Vec<String> = lower
            .split(|c: char| c.is_whitespace() || matches!(c, '-' | ',' | ';' | '!' | '?' | '"' | '\u{2013}'))
            .map(|word| word.trim_end_matches('.'))
            .filter(|word| !word.is_empty())
            .map(|word| plain_word(word).to_owned())
            .collect();
        if words.first().map(String::as_str) == Some("figures") {
            words.remove(0);
        }
        let mut turn_marker = false;
        if words.last().map(String::as_str) == Some("over") && words.len() > 1 {
            words.pop();
        } else if words.len() == 1 && words[0] == "over" {
            words.clear();
            turn_marker = true;
        }
        Ok(Self { words, turn_marker })
    }
}

/// Radio pronunciations and homophones that stand for one word wherever they are.
fn plain_word(word: &str) -> &str {
    match word {
        "won" | "wun" => "one",
        "too" => "two",
        "tree" => "three",
        "fower" => "four",
        "fife" => "five",
        "ait" | "ate" => "eight",
        "niner" => "nine",
        "nought" | "naught" | "nadazero" => "zero",
        "kay" => "k",
        "decimal" | "dot" => "point",
        "treble" => "triple",
        "tousand" => "thousand",
        "alfa" => "alpha",
        "juliett" => "juliet",
        other => other,
    }
}

/// A whole utterance that is a command.
pub(super) fn command(words: &[&str]) -> Option<Command> {
    COMMAND_PHRASES.get(&words.join(" ")).copied()
}

/// A whole utterance that stands instead of a number.
pub(super) fn status(words: &[&str], is_resistance: bool) -> Option<Status> {
    let text = words.join(" ");
    ANY_STATUS.get(&text).or_else(|| RESISTANCE_STATUS.get(&text).filter(|_| is_resistance)).cloned()
}

/// A position.
pub(super) fn position(words: &[&str]) -> Option<Status> {
    POSITIONS.get(&words.join(" ")).cloned()
}

/// Phrases that are no number and need a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unsure {
    /// "nothing", "dead".
    NoValue,
    /// A single one at the left of an old display.
    OldDisplay,
}

pub(super) fn unsure(words: &[&str]) -> Option<Unsure> {
    match words {
        ["nothing" | "dead"] | ["it's", "dead"] | ["nothing", "there"] => Some(Unsure::NoValue),
        ["just" | "only" | "showing", "a" | "one", rest @ ..] if rest.ends_with(&["on", "the", "left"]) || rest.ends_with(&["left"]) => {
            Some(Unsure::OldDisplay)
        }
        _ => None,
    }
}

/// What is left after corrections and repetitions.
pub(super) struct Corrected<'a> {
    pub(super) words: Vec<&'a str>,
    pub(super) informal: bool,
}

/// Keeps what follows the last correction, and one of two equal halves of a repetition.
pub(super) fn corrected<'a>(words: &[&'a str]) -> Result<Corrected<'a>, &'static str> {
    const FORMAL: [&[&str]; 2] = [&["correction"], &["mistake"]];
    const INFORMAL: [&[&str]; 9] = [
        &["scratch", "that"], &["i", "mean"], &["no", "wait"], &["make", "that"], &["sorry"], &["i", "meant"],
        &["rather"], &["wait", "no"], &["belay", "that"],
    ];
    let last = |marks: &[&[&str]]| {
        marks
            .iter()
            .filter_map(|mark| words.windows(mark.len()).rposition(|window| window == *mark).map(|at| at + mark.len()))
            .max()
            .unwrap_or(0)
    };
    let (formal, informal) = (last(&FORMAL), last(&INFORMAL));
    let start = formal.max(informal);
    let rest = &words[start..];
    if rest.is_empty() {
        return Err("nothing after the correction");
    }
    let words = repeated(rest)?;
    Ok(Corrected { words, informal: informal > formal })
}

fn repeated<'a>(words: &[&'a str]) -> Result<Vec<&'a str>, &'static str> {
    if let Some(rest) = words.strip_prefix(&["words", "twice"]) {
        let (one, other) = rest.split_at(rest.len() / 2);
        return if one == other && !one.is_empty() { Ok(one.to_vec()) } else { Err("words twice, but the two differ") };
    }
    const AGAIN: &[&str] = &["i", "say", "again"];
    match words.windows(AGAIN.len()).position(|window| window == AGAIN) {
        Some(0) => repeated(&words[AGAIN.len()..]),
        Some(at) => {
            if words[..at] == words[at + AGAIN.len()..] {
                Ok(words[..at].to_vec())
            } else {
                Err("said again, but the two differ")
            }
        }
        None => Ok(words.to_vec()),
    }
}

/// Minutes and seconds together: "one minute thirty". `None` if no minute is said.
pub(super) fn minutes(range: &NumberSlot, words: &[&str]) -> Option<Result<(Decimal, Option<Decimal>), Fault>> {
    if range.unit.dimension() != "time" {
        return None;
    }
    let at = words.iter().position(|word| matches!(*word, "minute" | "minutes"))?;
    let rest: Vec<&str> = words[at + 1..].iter().copied().filter(|word| *word != "and").collect();
    let rest = match rest.as_slice() {
        [rest @ .., "second" | "seconds"] => rest.to_vec(),
        rest => rest.to_vec(),
    };
    if rest.is_empty() {
        // "two minutes" alone is a number and its unit.
        return None;
    }
    let head = match &words[..at] {
        ["a"] => Ok(Decimal::ONE),
        head => number::read(head).map(|said| said.value),
    };
    let both = head.and_then(|head| number::read(&rest).map(|said| (head, said)));
    Some(both.map_err(Fault::from).and_then(|(head, said)| {
        let base = unit("min")
            .and_then(|minute| range.unit.convert(head, minute))
            .ok_or(Fault::NoNumber(NoNumber::NotANumber))?;
        if said.value >= Decimal::from(60) {
            return Err(Fault::Said("more than 59 seconds after the minutes"));
        }
        Ok((base + said.value, said.twin.map(|twin| base + twin)))
    }))
}

/// "four K seven": the letter stands for the point (IEC 60062). The value, and the reading that is not meant.
pub(super) fn letter_for_point(range: &NumberSlot, words: &[&str]) -> Option<(Decimal, String)> {
    let words = words.strip_suffix(&["ohms"]).or_else(|| words.strip_suffix(&["ohm"])).unwrap_or(words);
    let at = words.iter().position(|word| matches!(*word, "k" | "r"))?;
    let (head, tail) = (&words[..at], &words[at + 1..]);
    if head.is_empty() || tail.is_empty() {
        return None;
    }
    let letter = unit(if words[at] == "k" { "kohm" } else { "ohm" })?;
    let (head, tail) = (number::read(head).ok()?, number::read(tail).ok()?);
    let is_plain = |said: &number::Said| said.value.scale() == 0 && said.seam.is_none() && said.twin.is_none();
    if !is_plain(&head) || !is_plain(&tail) {
        return None;
    }
    let value: Decimal = format!("{}.{}", head.value, tail.value).parse().ok()?;
    let value = range.unit.convert(value, letter)?;
    let other = range.unit.convert(head.value, letter)? + tail.value;
    Some((value, other.to_string()))
}

/// Fractions: half, a quarter, three quarters, seven and a half, half a (thousand).
pub(super) fn fraction(words: &[&str]) -> Option<Decimal> {
    let (whole, part): (&[&str], (i64, u32)) = match words {
        [whole @ .., "and", "a", "half"] => (whole, (5, 1)),
        [whole @ .., "and", "a", "quarter"] => (whole, (25, 2)),
        [whole @ .., "and", "three", "quarters"] => (whole, (75, 2)),
        ["half" | "one" | "a", rest @ ..] if matches!((words[0], rest), ("half", [] | ["a"]) | ("a" | "one", ["half"])) => (&[], (5, 1)),
        ["quarter"] | ["a" | "one", "quarter"] => (&[], (25, 2)),
        ["three", "quarters"] => (&[], (75, 2)),
        _ => return None,
    };
    let whole = if whole.is_empty() {
        if words.contains(&"and") {
            return None;
        }
        Decimal::ZERO
    } else {
        let said = number::read(whole).ok()?;
        if said.value.scale() > 0 {
            return None;
        }
        said.value
    };
    Some(whole + Decimal::new(part.0, part.1))
}

/// A fraction of a closed set is a part of the whole: half of a hundred.
pub(super) fn fraction_of_set(range: &NumberSlot, value: Decimal) -> Decimal {
    if range.set.is_empty() { value } else { (value * range.high).normalize() }
}

//! The policy: a phrase and a slot to a [`Decision`].
//!
//! Here: how an utterance is put together. Commands and stop words, choices, marks
//! around a value, and a speaker who puts himself right or says a thing twice. What
//! is left over is one answer, and `answer` says what it means.
//!
//! Deterministic and without state.

use std::sync::LazyLock;

use super::answer::{answer, choice};
use super::decision::{Command, Decision, Expect, Meaning};
use super::lexicon::Phrases;
use super::making::{command, reject, soften};
use super::slot::{ChoiceOption, Slot, SlotKind};
use super::words::plain_words;

/// Longer utterances are no answer; the limit keeps the work bounded.
const MOST_WORDS: usize = 60;

struct Sayings {
    commands: Phrases,
    informal: Phrases,
}

static SAYINGS: LazyLock<Sayings> = LazyLock::new(|| Sayings {
    commands: Phrases::of(&["command"]),
    informal: Phrases::of(&["informal-correction"]),
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
    if begins_with_stop(words[0]) {
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

fn chosen<'o>(options: &'o [ChoiceOption], words: &[&str]) -> Option<&'o ChoiceOption> {
    options.iter().find(|option| {
        option
            .phrases
            .iter()
            .any(|phrase| plain_words(phrase) == words)
    })
}

/// Whether an utterance that begins with this word stops the prompting, whatever follows.
#[must_use]
pub fn begins_with_stop(first_word: &str) -> bool {
    matches!(first_word, "stop" | "emergency" | "halt")
}

//! The plain kinds of [`Decision`], each made in one place. No state.

use super::decision::{Command, Decision, Expect, Meaning, Status};
use super::unit::Unit;

pub(super) fn soften(mut decision: Decision, why: &str) -> Decision {
    let Some(meaning) = &decision.meaning else {
        return decision;
    };
    if matches!(meaning, Meaning::Command(_)) {
        return decision;
    }
    if decision.expect == Expect::Confirm {
        decision.why = format!("{why}; {}", decision.why);
    } else {
        let said = decision.ask.trim_end_matches('.');
        decision.ask = format!("{said}: affirm or negative?");
        decision.candidates = vec![meaning.text()];
        decision.expect = Expect::Confirm;
        why.clone_into(&mut decision.why);
    }
    decision
}

pub(super) fn command(command: Command, why: &str) -> Decision {
    let ask = match command {
        Command::Stop => "Prompting stopped. Sayback cannot stop the actuator.",
        Command::Disregard => "Not stored.",
        Command::Correction => "Say the right value.",
        _ => "",
    };
    Decision {
        expect: Expect::Command,
        meaning: Some(Meaning::Command(command)),
        candidates: Vec::new(),
        unit: None,
        why: why.to_owned(),
        ask: ask.to_owned(),
        outside: None,
    }
}

pub(super) fn status(status: Status, unit: Option<Unit>, why: &str) -> Decision {
    Decision {
        expect: Expect::Status,
        ask: sentence(&status.words(), "."),
        meaning: Some(Meaning::Status(status)),
        candidates: Vec::new(),
        unit,
        why: why.to_owned(),
        outside: None,
    }
}

pub(super) fn ambiguous(
    candidates: Vec<String>,
    unit: Option<Unit>,
    why: &str,
    ask: impl Into<String>,
) -> Decision {
    Decision {
        expect: Expect::Ambiguous,
        meaning: None,
        candidates,
        unit,
        why: why.to_owned(),
        ask: ask.into(),
        outside: None,
    }
}

pub(super) fn reject(why: impl Into<String>, ask: impl Into<String>) -> Decision {
    Decision {
        expect: Expect::Reject,
        meaning: None,
        candidates: Vec::new(),
        unit: None,
        why: why.into(),
        ask: ask.into(),
        outside: None,
    }
}

/// First letter in upper case, then the end.
pub(super) fn sentence(words: &str, end: &str) -> String {
    let mut letters = words.chars();
    let first = letters
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().to_string());
    format!("{first}{}{end}", letters.as_str())
}

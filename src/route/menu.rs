//! What a route asks between two jobs, as lists ([`Job::is_list`]): the same core,
//! screen, voice and ear ask them as ask the steps of a job. Pure; holds nothing.

use std::collections::BTreeMap;

use super::alike::Alike;
use super::meter::Wanted;
use super::state::{Progress, Standing};
use crate::core::run::Saved;
use crate::job::{ChoiceOption, Condition, ConditionOf, Job, PlateItem, PlateKind, PlateValue};

/// What was chosen between two jobs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Chosen {
    /// The actuator that was suggested.
    Next,
    /// The actuator with this tag, or this number on the list.
    Named(String),
    /// Tell what is left.
    Left,
    /// A meter check, start or end as its own question says.
    Check,
    /// Leave the route.
    Leave,
}

const ACT: &str = "act";
const WHICH: &str = "which";

/// The list between two jobs. `told` is said first.
#[must_use]
pub fn menu(title: &str, progress: &Progress, told: &str) -> Job {
    let next = progress.next();
    let mut options = Vec::new();
    if let Some(next) = next {
        options.push(option("next", &format!("next: {}", brief(next))));
    }
    options.push(option("named", "by tag or number"));
    options.push(option("left", "what is left"));
    options.push(option("check", "meter check"));
    options.push(option("leave", "leave the route"));
    let ask = next.map_or_else(
        || "Nothing is left to begin or to go on with. Say four to leave the route.".to_owned(),
        |next| {
            format!(
                "Next is {}. Say one to begin or go on, two for another, three for what is left.",
                brief(next)
            )
        },
    );
    let which = PlateItem {
        when: vec![Condition {
            of: ConditionOf::Plate(ACT.to_owned()),
            is: vec!["named".to_owned()],
            negated: false,
        }],
        ..item(
            WHICH,
            "Which actuator",
            "Spell the tag, or give its number on the list.",
            PlateKind::Tag,
        )
    };
    list(
        title,
        &progress.left(),
        told,
        vec![
            item(
                ACT,
                &next.map_or_else(|| "Route".to_owned(), |next| next.item.tag.clone()),
                &ask,
                PlateKind::Choice(options),
            ),
            which,
        ],
    )
}

/// What was chosen; None where it was left or ended.
#[must_use]
pub fn chosen(saved: &Saved) -> Option<Chosen> {
    if saved.ending.is_some() {
        return None;
    }
    match saved.plate_word(ACT)? {
        "next" => Some(Chosen::Next),
        "named" => saved
            .plate_word(WHICH)
            .map(|text| Chosen::Named(text.to_owned())),
        "left" => Some(Chosen::Left),
        "check" => Some(Chosen::Check),
        _ => Some(Chosen::Leave),
    }
}

/// Whether the meter is checked first, where a check is wanted.
#[must_use]
pub fn check_first(title: &str, progress: &Progress, wanted: Wanted) -> Job {
    let (ask, go_on) = match wanted {
        Wanted::Start => (
            "No meter was checked today. Say one: check it before the first job. Two: go on without, the jobs are flagged.",
            "go on without: the jobs are flagged",
        ),
        Wanted::End => (
            "Readings were taken since the last meter check. Say one: check the meter before the end of the day. Two: leave without, the jobs are flagged.",
            "leave without: not the end of the day, or the jobs are flagged",
        ),
    };
    choice(
        title,
        progress,
        "Meter check?",
        ask,
        [("check", "check the meter now"), ("without", go_on)],
    )
}

/// The answer to [`check_first`]: true where the meter is checked; None where it was left.
#[must_use]
pub fn checks_first(saved: &Saved) -> Option<bool> {
    if saved.ending.is_some() {
        return None;
    }
    saved.plate_word(ACT).map(|word| word == "check")
}

/// The question after the last of several jobs whose readings are exactly the same.
#[must_use]
pub fn ask_alike(title: &str, progress: &Progress, alike: &Alike) -> Job {
    choice(
        title,
        progress,
        "Same readings",
        &format!(
            "{} Say one: each was measured. Two: not each.",
            alike.question()
        ),
        [
            ("measured", "each was measured"),
            ("not", "not each was measured"),
        ],
    )
}

/// The answer to [`ask_alike`]: true where each was measured; None where it was left.
#[must_use]
pub fn each_was_measured(saved: &Saved) -> Option<bool> {
    if saved.ending.is_some() {
        return None;
    }
    saved.plate_word(ACT).map(|word| word == "measured")
}

/// Tag, what makes it urgent, and where it stands.
fn brief(standing: &Standing) -> String {
    let critical = if standing.item.critical {
        ", critical"
    } else {
        ""
    };
    let state = standing.state.words();
    let short: String = state.chars().take(80).collect();
    format!("{}{critical}, {short}", standing.item.tag)
}

/// A list of one question with two answers.
fn choice(
    title: &str,
    progress: &Progress,
    head: &str,
    ask: &str,
    answers: [(&str, &str); 2],
) -> Job {
    let options = answers.map(|(id, title)| option(id, title)).to_vec();
    list(
        title,
        &progress.left(),
        "",
        vec![item(ACT, head, ask, PlateKind::Choice(options))],
    )
}

fn list(title: &str, place: &str, told: &str, plate: Vec<PlateItem>) -> Job {
    Job {
        id: "list".to_owned(),
        title: title.to_owned(),
        purpose: place.to_owned(),
        applies_to: String::new(),
        cautions: if told.is_empty() {
            Vec::new()
        } else {
            vec![told.to_owned()]
        },
        plate,
        limits: BTreeMap::new(),
        steps: Vec::new(),
        hash: String::new(),
    }
}

fn item(id: &str, title: &str, ask: &str, kind: PlateKind) -> PlateItem {
    PlateItem {
        id: id.to_owned(),
        title: title.to_owned(),
        ask: ask.to_owned(),
        group: "Route".to_owned(),
        kind,
        unknown_allowed: false,
        when: Vec::new(),
    }
}

fn option(id: &str, title: &str) -> ChoiceOption {
    ChoiceOption {
        id: id.to_owned(),
        title: title.to_owned(),
        say: Vec::new(),
        next: None,
        sets: BTreeMap::<String, PlateValue>::new(),
    }
}

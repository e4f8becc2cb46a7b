//! What a route tells before its next question, in words that the voice has clips of. Pure; holds
//! nothing.

use super::state::{Progress, Standing};

/// So many actuators are named at once: more nobody keeps in mind.
const MOST: usize = 6;

/// What is left, and which they are.
#[must_use]
pub fn what_is_left(progress: &Progress) -> String {
    let left: Vec<String> = progress
        .standings
        .iter()
        .filter(|standing| standing.state.is_left())
        .map(|standing| format!("{} {}", standing.item.number, standing.item.tag))
        .collect();
    let more = left.len().saturating_sub(MOST);
    let more = if more > 0 {
        format!(" and {more} more")
    } else {
        String::new()
    };
    let first = left[..left.len().min(MOST)].join(", ");
    if first.is_empty() {
        progress.left()
    } else {
        format!("{} {first}{more}.", progress.left())
    }
}

/// Where one actuator stands after its run was left.
#[must_use]
pub fn stands_now(standing: &Standing) -> String {
    format!("{}: {}.", standing.item.tag, standing.state.words())
}

/// Nothing on the route is called so.
#[must_use]
pub fn not_on_route(text: &str) -> String {
    format!("{text} is not on this route. Nothing was begun.")
}

/// More than one actuator could be meant.
#[must_use]
pub fn could_be(text: &str, tags: &[&str]) -> String {
    format!(
        "{text} could be {}. Give the number on the list. Nothing was begun.",
        tags.join(" or ")
    )
}

/// A meter failed its check; the jobs of these tags are in doubt.
#[must_use]
pub fn meter_failed(tags: &[&str]) -> String {
    format!(
        "A meter failed its check. In doubt since its last good one: {}.",
        tags.join(", ")
    )
}

/// The route is not what it was when its last run began; what is other, in sentences.
#[must_use]
pub fn route_changed(changes: &[String]) -> String {
    format!(
        "The route has changed since its last run began. {}.",
        changes.join(". ")
    )
}

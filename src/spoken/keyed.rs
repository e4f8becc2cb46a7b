//! The keypad's twin of the spoken policy: the same range, no doubts of hearing.

use rust_decimal::Decimal;

use super::meaning::{Decision, Expect, Meaning};
use super::read_back::read_back;
use super::slot::{NumberSlot, Slot, SlotKind};
use super::unit::unit;
use super::{plain, reject, spell};

/// Decides about typed text, for a slot.
#[must_use]
pub fn parse_keyed(slot: &Slot, text: &str) -> Decision {
    match &slot.kind {
        SlotKind::Number(range) => number(slot, range, text),
        SlotKind::Tag => tag(slot, text),
        SlotKind::Choice(options) => match options.iter().find(|option| option.id == text) {
            Some(option) => plain(Expect::Value, Meaning::Choice(option.id.clone()), None, "one of the list"),
            None => reject(slot, format!("{text} is not in the list"), "Type the number of one of the list."),
        },
        SlotKind::YesNo | SlotKind::Position | SlotKind::Any => reject(slot, "not typed here", "Use the yes and no keys."),
    }
}

fn tag(slot: &Slot, text: &str) -> Decision {
    let upper = text.to_uppercase();
    if text.is_empty() || text.len() > 32 || !upper.chars().all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || "-./".contains(c)) {
        return reject(slot, format!("{text} is no tag"), "A tag is of letters, figures, dash, point and slash, up to thirty-two.");
    }
    Decision { ask: spell(&upper), ..plain(Expect::Value, Meaning::Tag(upper), None, "typed") }
}

fn number(slot: &Slot, range: &NumberSlot, text: &str) -> Decision {
    let fault = |why: &str, fix: &str| reject(slot, format!("{text}: {why}"), &format!("{why}. {fix}"));
    let (digits, from) = match text.strip_suffix(['k', 'K']) {
        Some(digits) => (digits, unit("kohm")),
        None => match text.strip_suffix(['M', 'm']) {
            Some(digits) => (digits, unit("Mohm")),
            None => (text, Some(range.unit)),
        },
    };
    let is_suffix = digits.len() < text.len();
    if is_suffix && range.unit.dimension() != "resistance" {
        return fault("k and M are for ohms", "Type the number alone");
    }
    let digits = digits.replace(',', ".");
    let unsigned = digits.strip_prefix('-').unwrap_or(&digits);
    if !unsigned.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.') {
        return fault("that is no number", "Type figures 0 to 9 and one point, like 12.5");
    }
    if unsigned.matches('.').count() > 1 {
        return fault("two points", "Type one point only");
    }
    if unsigned.is_empty() || unsigned.starts_with('.') || unsigned.ends_with('.') {
        return fault("a figure is missing", "Type a figure before and after the point, like 0.5");
    }
    if unsigned.bytes().filter(u8::is_ascii_digit).count() > 12 {
        return fault("too many figures", "No display shows that many; type it again");
    }
    let value = digits.parse::<Decimal>().ok().zip(from).and_then(|(value, from)| range.unit.convert(value, from));
    let Some(value) = value else { return fault("that is no number", "Type it again") };
    let said = read_back(&value, &range.unit);
    if !range.holds(value) {
        let mut decision = reject(slot, "outside the slot", &format!("{said} is outside the plausible range, {} to {}.", range.low, range.high));
        if !range.set.is_empty() {
            let set: Vec<String> = range.set.iter().map(ToString::to_string).collect();
            decision.ask = format!("{said} is none of {}.", set.join(", "));
        }
        decision.outside = range.set.is_empty().then_some(value);
        return decision;
    }
    Decision { ask: format!("{said}."), ..plain(Expect::Value, Meaning::Number(value), Some(range.unit), "typed") }
}

//! `[[plate]]` and `[[limit]]` of a job file, key by key; and from a text to the
//! value of a plate item, for choices that settle others and for job sheets.
//! Holds nothing.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::draft::{Draft, Owner};
use super::fault::{among, near, shown};
use super::table::{NAME, SENTENCE, Table, decimal_value, number};
use crate::job::{Limit, NumberRange, PlateItem, PlateKind, PlateValue};
use crate::spoken;

const KINDS: [&str; 4] = ["tag", "number", "choice", "month"];
/// The word for "asked, and not known".
const UNKNOWN: &str = "unknown";

/// Reads a plate item and adds it to the draft.
pub(in crate::job) fn read(draft: &mut Draft, mut table: Table) {
    let by = Owner::Plate(draft.plate.len());
    let id = table.need_id(&mut draft.faults);
    if !id.text.is_empty() {
        table.name = format!("plate item \"{}\"", shown(&id.text));
    }
    let title = table.need_text(
        "title",
        NAME,
        "\"Potentiometer, nominal\"",
        &mut draft.faults,
    );
    let ask = table.need_text(
        "ask",
        SENTENCE,
        "\"What is the nominal resistance?\"",
        &mut draft.faults,
    );
    let group = table.need_text("group", NAME, "\"Feedback\"", &mut draft.faults);
    let unknown_allowed = table.flag("unknown", &mut draft.faults);
    let when = draft.when(&mut table, by);
    let kind = table.need_text("kind", 20, "\"number\"", &mut draft.faults);
    let kind = match kind.text.as_str() {
        "tag" => PlateKind::Tag,
        "month" => PlateKind::Month,
        "number" => PlateKind::Number(draft.range(&mut table, by)),
        "choice" => PlateKind::Choice(draft.options(&mut table, by)),
        other => {
            if !other.is_empty() {
                draft.faults.unknown(
                    &kind.span,
                    "kind of plate item",
                    other,
                    KINDS.iter().copied(),
                );
            }
            PlateKind::Tag
        }
    };
    table.done(&mut draft.faults);
    draft.plate.push(PlateItem {
        id: id.text.clone(),
        title: title.text,
        ask: ask.text,
        group: group.text,
        kind,
        unknown_allowed,
        when,
    });
    draft.plate_ids.push(id);
}

/// Reads a limit and adds it to the draft.
pub(in crate::job) fn read_limit(draft: &mut Draft, mut table: Table) {
    let id = table.need_id(&mut draft.faults);
    if !id.text.is_empty() {
        table.name = format!("limit \"{}\"", shown(&id.text));
    }
    let about = table.need_text(
        "about",
        SENTENCE,
        "\"Centring error, good\"",
        &mut draft.faults,
    );
    let value = table.need("value", "\"2\"", &mut draft.faults);
    let value = value.and_then(|value| decimal_value(value, "`value`", &mut draft.faults));
    let unit = table.need_text("unit", 20, "\"%\"", &mut draft.faults);
    if !unit.text.is_empty() && spoken::unit(&unit.text).is_none() {
        draft.unknown_unit(&unit);
    }
    let source = table.need_text("source", SENTENCE, "\"common practice\"", &mut draft.faults);
    table.done(&mut draft.faults);
    let limit = Limit {
        about: about.text,
        value: value.unwrap_or_default(),
        unit: unit.text,
        source: source.text,
    };
    if draft.limits.insert(id.text.clone(), limit).is_some() && !id.text.is_empty() {
        draft.faults.add(
            &id.span,
            format!("a second limit \"{}\"", shown(&id.text)),
            "give each limit its own id",
        );
    }
}

/// What a text means for this item; the fault and its fix where it means nothing.
///
/// `known` holds the values given so far: a range can depend on another item.
pub(in crate::job) fn value(
    item: &PlateItem,
    text: &str,
    known: &BTreeMap<String, PlateValue>,
) -> Result<PlateValue, (String, String)> {
    if text == UNKNOWN
        && !matches!(&item.kind, PlateKind::Choice(options) if options.iter().any(|option| option.id == UNKNOWN))
    {
        return if item.unknown_allowed {
            Ok(PlateValue::Unknown)
        } else {
            Err((
                format!("{} may not be unknown", item.title),
                "the job cannot go on without it: give its value".to_owned(),
            ))
        };
    }
    match &item.kind {
        PlateKind::Tag => {
            let slot = spoken::Slot {
                name: item.title.clone(),
                kind: spoken::SlotKind::Tag,
            };
            match spoken::parse_keyed(&slot, text).meaning {
                Some(spoken::Meaning::Tag(tag)) => Ok(PlateValue::Text(tag)),
                _ => Err((
                    format!("\"{}\" is no {}", shown(text), item.title),
                    "use letters, figures, dash, point and slash, at most 32".to_owned(),
                )),
            }
        }
        PlateKind::Month => month(text).map(PlateValue::Text).ok_or_else(|| {
            (
                format!("\"{}\" is no month", shown(text)),
                "write year and month, for example \"2027-02\"".to_owned(),
            )
        }),
        PlateKind::Choice(options) => {
            if options.iter().any(|option| option.id == text) {
                return Ok(PlateValue::Text(text.to_owned()));
            }
            let ids = || options.iter().map(|option| option.id.as_str());
            let fix = near(text, ids())
                .map_or_else(|| among(ids()), |id| format!("did you mean \"{id}\"?"));
            Err((
                format!("\"{}\" is no option of {}", shown(text), item.title),
                fix,
            ))
        }
        PlateKind::Number(range) => {
            let value =
                number(text).map_err(|fix| (format!("\"{}\" is no number", shown(text)), fix))?;
            if let Some((unit, low, high)) = range.ends(known)
                && !(low..=high).contains(&value)
            {
                let symbol = spoken::unit(unit)
                    .map(|unit| unit.symbol().to_owned())
                    .unwrap_or_default();
                let what = format!(
                    "{} of {value} {symbol} is out of the plausible range",
                    item.title
                );
                return Err((
                    what.replace("  ", " "),
                    format!("give {low} to {high} {symbol}")
                        .trim_end()
                        .to_owned(),
                ));
            }
            if let NumberRange::Fixed { set, .. } = range
                && !set.is_empty()
                && !set.contains(&value)
            {
                let all: Vec<String> = set.iter().map(Decimal::to_string).collect();
                return Err((
                    format!("{} cannot be {value}", item.title),
                    format!("use one of {}", all.join(", ")),
                ));
            }
            Ok(PlateValue::Number(value))
        }
    }
}

/// `2027-02`, checked.
fn month(text: &str) -> Option<String> {
    let (year, month) = text.split_once('-')?;
    let year_is_plain =
        year.len() == 4 && year.starts_with("20") && year.bytes().all(|b| b.is_ascii_digit());
    (year_is_plain && month.len() == 2 && ("01"..="12").contains(&month)).then(|| text.to_owned())
}

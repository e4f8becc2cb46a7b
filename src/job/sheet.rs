//! Job sheets: nameplate data, the order's own limits, and who does the job.

use std::collections::BTreeMap;
use std::path::Path;

use rust_decimal::Decimal;
use serde::Deserialize;
use toml::Spanned;

use super::fault::{Faults, Gather, nearest};
use super::load::{plate_value, read_text};
use super::{Job, Limit, NumberRange, PlateItem, PlateKind, PlateValue};
use crate::spoken;

/// A checked job sheet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sheet {
    /// Who does the job.
    pub by: Option<String>,
    /// Who relays readings.
    pub relayed_by: Option<String>,
    /// Plate items.
    pub plate: BTreeMap<String, PlateValue>,
    /// Limits that replace those of the job.
    pub limits: BTreeMap<String, Limit>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct RawSheet {
    by: Option<Spanned<String>>,
    relayed_by: Option<Spanned<String>>,
    #[serde(default)]
    plate: BTreeMap<String, Spanned<String>>,
    #[serde(default)]
    limit: BTreeMap<String, Spanned<RawLimit>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawLimit {
    value: String,
    source: String,
}

/// Reads a job sheet from a file.
///
/// # Errors
/// If it cannot be read or has faults.
pub fn file(path: &Path, job: &Job) -> Result<Sheet, Faults> {
    parse(&read_text(path)?, &path.display().to_string(), job)
}

/// Reads and checks a job sheet against a job.
///
/// # Errors
/// All faults found.
pub fn parse(text: &str, file_name: &str, job: &Job) -> Result<Sheet, Faults> {
    let mut gather = Gather::new(file_name, text);
    let raw: RawSheet = match toml::from_str(text) {
        Ok(raw) => raw,
        Err(error) => {
            gather.at(
                error.span().map_or(0, |span| span.start),
                error.message().trim().replace('\n', " "),
            );
            return gather.done(Sheet::default());
        }
    };
    let mut sheet = Sheet {
        by: name(raw.by.as_ref(), &mut gather),
        relayed_by: name(raw.relayed_by.as_ref(), &mut gather),
        ..Sheet::default()
    };
    for (id, value) in &raw.plate {
        let at = value.span().start;
        let Some(item) = job.plate_item(id) else {
            let hint = nearest(id, job.plate.iter().map(|item| item.id.as_str()));
            gather.at(
                at,
                format!("the job {} has no plate item {id}{hint}", job.id),
            );
            continue;
        };
        match item_value(item, value.get_ref()) {
            Ok(value) => {
                if let (PlateKind::Choice(options), PlateValue::Text(chosen)) = (&item.kind, &value)
                    && let Some(option) = options.iter().find(|option| option.id == *chosen)
                {
                    for (other, value) in &option.sets {
                        sheet
                            .plate
                            .entry(other.clone())
                            .or_insert_with(|| value.clone());
                    }
                }
                sheet.plate.insert(id.clone(), value);
            }
            Err(why) => gather.at(at, format!("{}: {why}", item.title)),
        }
    }
    for (id, raw) in &raw.limit {
        let at = raw.span().start;
        let raw = raw.get_ref();
        match (job.limits.get(id), raw.value.parse::<Decimal>()) {
            (None, _) => {
                let hint = nearest(id, job.limits.keys().map(String::as_str));
                gather.at(at, format!("the job {} has no limit {id}{hint}", job.id));
            }
            (_, Err(_)) => gather.at(
                at,
                format!("{} is no decimal number; write it like \"1.5\"", raw.value),
            ),
            (Some(_), Ok(_)) if raw.source.trim().is_empty() => {
                gather.at(
                    at,
                    "a limit says where it comes from, for example source = \"order 4711, item 3\"",
                );
            }
            (Some(limit), Ok(value)) => {
                sheet.limits.insert(
                    id.clone(),
                    Limit {
                        value,
                        source: raw.source.clone(),
                        ..limit.clone()
                    },
                );
            }
        }
    }
    gather.done(sheet)
}

fn name(raw: Option<&Spanned<String>>, gather: &mut Gather) -> Option<String> {
    let raw = raw?;
    let text = raw.get_ref().trim();
    if text.is_empty() || text.chars().count() > 80 || text.chars().any(char::is_control) {
        gather.at(raw.span().start, "a name is of 1 to 80 signs");
    }
    Some(text.to_owned())
}

/// A value of the sheet, as the item takes it.
fn item_value(item: &PlateItem, text: &str) -> Result<PlateValue, String> {
    if text == "unknown" {
        return if item.unknown_allowed {
            Ok(PlateValue::Unknown)
        } else {
            Err("the job cannot go on without this; find it out".to_owned())
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
                _ => Err(format!(
                    "{text} is not of letters, figures, dash, point and slash, up to thirty-two"
                )),
            }
        }
        PlateKind::Choice(options) => {
            if options.iter().any(|option| option.id == text) {
                return Ok(PlateValue::Text(text.to_owned()));
            }
            let ids: Vec<&str> = options.iter().map(|option| option.id.as_str()).collect();
            Err(format!("{text} is none of {}", ids.join(", ")))
        }
        PlateKind::Month => {
            let digits: String = text.chars().filter(char::is_ascii_digit).collect();
            let shaped = matches!(text.len(), 6 | 7) && digits.len() == 6;
            digits
                .parse()
                .ok()
                .filter(|_| shaped)
                .and_then(crate::core::answer::month)
                .map(PlateValue::Text)
                .ok_or_else(|| format!("{text} is no month; write it like 2027-02"))
        }
        PlateKind::Number(range) => match (plate_value(text), range) {
            (PlateValue::Number(number), NumberRange::Fixed { low, high, .. })
                if !(*low..=*high).contains(&number) =>
            {
                Err(format!(
                    "{number} is outside the plausible range {low} to {high}; check the unit"
                ))
            }
            (value @ PlateValue::Number(_), _) => Ok(value),
            _ => Err(format!(
                "{text} is no decimal number; write it like \"12.5\""
            )),
        },
    }
}

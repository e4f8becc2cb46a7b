//! Job sheets: what the office already knows about one actuator. Holds nothing.

use std::collections::BTreeMap;
use std::path::Path;

use toml::de::DeValue;

use super::load::draft::Draft;
use super::load::fault::{JobErrors, shown};
use super::load::table::{NAME, SENTENCE, Table, decimal_value, text};
use super::load::{self, FORMAT, decode, document, plate, strip_mark};
use super::{Job, Limit, PlateKind, PlateValue};

/// A checked job sheet: data for one run of one job.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sheet {
    /// Plate items that are known, with what their choices settle. Not asked again.
    pub plate: BTreeMap<String, PlateValue>,
    /// Limits that replace those of the job, each with its own source.
    pub limits: BTreeMap<String, Limit>,
    /// Who does the job.
    pub by: Option<String>,
    /// Who relays readings.
    pub relayed_by: Option<String>,
}

/// Reads and checks a job sheet from a file.
///
/// # Errors
/// If it is no plain file, cannot be read, or has faults.
pub fn file(path: &Path, job: &Job) -> Result<Sheet, JobErrors> {
    let name = path.display().to_string();
    parse(decode(&load::read(path)?, &name)?, &name, job)
}

/// Reads and checks the text of a job sheet for this job. `file_name` is only for messages.
///
/// # Errors
/// Every fault that can be told apart, see [`JobErrors`].
pub fn parse(text: &str, file_name: &str, job: &Job) -> Result<Sheet, JobErrors> {
    let text = strip_mark(text);
    let document = document(text, file_name)?;
    let mut draft = Draft::new(text);
    let mut table = Table::root(&document, "the job sheet");
    if let Some(format) = table.take("format")
        && !matches!(format.get_ref(), DeValue::Integer(number) if number.as_str() == FORMAT)
    {
        draft.faults.add(
            &format.span(),
            "this form of job sheet is not known",
            format!("write format = {FORMAT}"),
        );
    }
    if let Some(id) = table.text("job", NAME, &mut draft.faults)
        && id.text != job.id
    {
        let what = format!(
            "this sheet is for the job \"{}\", not for \"{}\"",
            shown(&id.text),
            job.id
        );
        draft.faults.add(
            &id.span,
            what,
            "take the sheet of this job, or start the other job",
        );
    }
    let by = table
        .text("by", NAME, &mut draft.faults)
        .map(|text| text.text);
    let relayed_by = table
        .text("relayed-by", NAME, &mut draft.faults)
        .map(|text| text.text);
    let values = read_plate(&mut draft, &mut table, job);
    let limits = read_limits(&mut draft, &mut table, job);
    table.done(&mut draft.faults);
    if draft.faults.is_empty() {
        Ok(Sheet {
            plate: values,
            limits,
            by,
            relayed_by,
        })
    } else {
        Err(draft.faults.into_errors(file_name))
    }
}

fn read_plate(draft: &mut Draft, table: &mut Table, job: &Job) -> BTreeMap<String, PlateValue> {
    let mut values = BTreeMap::new();
    let Some(given) = table
        .take("plate")
        .and_then(|value| Table::new(value, "`plate`", &mut draft.faults))
    else {
        return values;
    };
    let entries = given.entries();
    for (id, _) in entries
        .iter()
        .filter(|(id, _)| job.plate_item(&id.text).is_none())
    {
        draft.faults.unknown(
            &id.span,
            "plate item",
            &id.text,
            job.plate.iter().map(|item| item.id.as_str()),
        );
    }
    // In the order of the job: a range can depend on an item that stands before it.
    for item in &job.plate {
        let Some((_, value)) = entries.iter().find(|(id, _)| id.text == item.id) else {
            continue;
        };
        let Some(found) = text(value, &format!("`{}`", item.id), 60, &mut draft.faults) else {
            continue;
        };
        match plate::value(item, &found.text, &values) {
            Err((what, fix)) => draft.faults.add(&found.span, what, fix),
            Ok(value) => {
                if let (PlateKind::Choice(options), PlateValue::Text(chosen)) = (&item.kind, &value)
                    && let Some(option) = options.iter().find(|option| option.id == *chosen)
                {
                    for (other, settled) in &option.sets {
                        values.insert(other.clone(), settled.clone());
                    }
                }
                if let Some(settled) = values.get(&item.id)
                    && *settled != value
                {
                    let what = format!("{} does not go with a choice above it", item.title);
                    draft.faults.add(
                        &found.span,
                        what,
                        "leave this line out, or change the choice",
                    );
                }
                values.insert(item.id.clone(), value);
            }
        }
    }
    values
}

fn read_limits(draft: &mut Draft, table: &mut Table, job: &Job) -> BTreeMap<String, Limit> {
    let mut limits = BTreeMap::new();
    let Some(given) = table
        .take("limit")
        .and_then(|value| Table::new(value, "`limit`", &mut draft.faults))
    else {
        return limits;
    };
    for (id, value) in given.entries() {
        let name = format!("limit \"{}\"", shown(&id.text));
        let Some(mut entry) = Table::new(value, name, &mut draft.faults) else {
            continue;
        };
        let number = entry.need("value", "\"1\"", &mut draft.faults);
        let number = number.and_then(|value| decimal_value(value, "`value`", &mut draft.faults));
        let unit = entry.text("unit", 20, &mut draft.faults);
        let source = entry.need_text("source", SENTENCE, "\"order, page 2\"", &mut draft.faults);
        entry.done(&mut draft.faults);
        let Some(of_job) = job.limits.get(&id.text) else {
            draft.faults.unknown(
                &id.span,
                "limit",
                &id.text,
                job.limits.keys().map(String::as_str),
            );
            continue;
        };
        if let Some(unit) = unit.filter(|unit| unit.text != of_job.unit) {
            let what = format!(
                "the limit \"{}\" is in {}, this is in {}",
                id.text,
                of_job.unit,
                shown(&unit.text)
            );
            draft.faults.add(
                &unit.span,
                what,
                format!("give the value in {}", of_job.unit),
            );
        }
        let limit = Limit {
            about: of_job.about.clone(),
            value: number.unwrap_or_default(),
            unit: of_job.unit.clone(),
            source: source.text,
        };
        limits.insert(id.text, limit);
    }
    limits
}

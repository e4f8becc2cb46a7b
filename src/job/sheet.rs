//! Job sheets: what the office already knows about one actuator. Holds nothing.

use std::collections::BTreeMap;
use std::path::Path;

use toml::de::DeValue;

use super::load::fault::{Faults, JobErrors, shown};
use super::load::table::{NAME, SENTENCE, Table, Text, decimal_text, number, text};
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
    let mut faults = Faults::new(text);
    let mut table = Table::root(&document, "the job sheet");
    if let Some(format) = table.take("format")
        && !matches!(format.get_ref(), DeValue::Integer(number) if number.as_str() == FORMAT)
    {
        faults.add(
            &format.span(),
            "this form of job sheet is not known",
            format!("write format = {FORMAT}"),
        );
    }
    if let Some(id) = table.text("job", NAME, &mut faults)
        && id.text != job.id
    {
        let what = format!(
            "this sheet is for the job \"{}\", not for \"{}\"",
            shown(&id.text),
            job.id
        );
        faults.add(
            &id.span,
            what,
            "take the sheet of this job, or start the other job",
        );
    }
    let by = table.text("by", NAME, &mut faults).map(|text| text.text);
    let relayed_by = table
        .text("relayed-by", NAME, &mut faults)
        .map(|text| text.text);
    let given = plate_given(&mut faults, &mut table);
    let values = plate_values(&mut faults, job, &given, "");
    let given = limits_given(&mut faults, &mut table);
    let limits = limits(&mut faults, job, given, "");
    table.done(&mut faults);
    if faults.is_empty() {
        Ok(Sheet {
            plate: values,
            limits,
            by,
            relayed_by,
        })
    } else {
        Err(faults.into_errors(file_name))
    }
}

/// A limit that replaces one of the job, as given: each part with its place.
#[derive(Clone, Debug)]
pub(crate) struct GivenLimit {
    pub(crate) id: Text,
    pub(crate) value: Text,
    pub(crate) unit: Option<Text>,
    pub(crate) source: String,
}

/// The entries of `plate` in a table: ids and what they are given.
pub(crate) fn plate_given(faults: &mut Faults, table: &mut Table) -> Vec<(Text, Text)> {
    let Some(given) = table
        .take("plate")
        .and_then(|value| Table::new(value, "`plate`", faults))
    else {
        return Vec::new();
    };
    given
        .entries()
        .into_iter()
        .filter_map(|(id, value)| {
            let name = format!("`{}`", shown(&id.text));
            text(value, &name, NAME, faults).map(|value| (id, value))
        })
        .collect()
}

/// The values of the plate items that are given, with what their choices settle. `column` is
/// empty, or stands before the item's id in a fault where the id is not beside the value.
pub(crate) fn plate_values(
    faults: &mut Faults,
    job: &Job,
    given: &[(Text, Text)],
    column: &str,
) -> BTreeMap<String, PlateValue> {
    let mut values = BTreeMap::new();
    for (id, _) in given
        .iter()
        .filter(|(id, _)| job.plate_item(&id.text).is_none())
    {
        faults.unknown(
            &id.span,
            "plate item",
            &id.text,
            job.plate.iter().map(|item| item.id.as_str()),
        );
    }
    // In the order of the job: a range can depend on an item that stands before it.
    for item in &job.plate {
        let Some((_, found)) = given.iter().find(|(id, _)| id.text == item.id) else {
            continue;
        };
        match plate::value(item, &found.text, &values) {
            Err((what, fix)) => faults.add(&found.span, in_column(column, &item.id, &what), fix),
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
                    faults.add(
                        &found.span,
                        in_column(column, &item.id, &what),
                        "leave this line out, or change the choice",
                    );
                }
                values.insert(item.id.clone(), value);
            }
        }
    }
    values
}

/// The entries of `limit` in a table.
pub(crate) fn limits_given(faults: &mut Faults, table: &mut Table) -> Vec<GivenLimit> {
    let Some(given) = table
        .take("limit")
        .and_then(|value| Table::new(value, "`limit`", faults))
    else {
        return Vec::new();
    };
    given
        .entries()
        .into_iter()
        .filter_map(|(id, value)| {
            let name = format!("limit \"{}\"", shown(&id.text));
            let mut entry = Table::new(value, name, faults)?;
            let number = entry.need("value", "\"1\"", faults);
            let number = number.and_then(|value| decimal_text(value, "`value`", faults));
            let unit = entry.text("unit", 20, faults);
            let source = entry.need_text("source", SENTENCE, "\"order, page 2\"", faults);
            entry.done(faults);
            Some(GivenLimit {
                id,
                value: number?,
                unit,
                source: source.text,
            })
        })
        .collect()
}

fn in_column(column: &str, id: &str, what: &str) -> String {
    if column.is_empty() {
        what.to_owned()
    } else {
        format!("{column}{id}: {what}")
    }
}

/// The limits of the job that are replaced. `column` as for [`plate_values`].
pub(crate) fn limits(
    faults: &mut Faults,
    job: &Job,
    given: Vec<GivenLimit>,
    column: &str,
) -> BTreeMap<String, Limit> {
    let mut limits = BTreeMap::new();
    for GivenLimit {
        id,
        value,
        unit,
        source,
    } in given
    {
        let number = match number(&value.text) {
            Ok(number) => Some(number),
            Err(fix) => {
                let what = format!("\"{}\" is no number", shown(&value.text));
                let id = format!("limit {}", id.text);
                faults.add(&value.span, in_column(column, &id, &what), fix);
                None
            }
        };
        let Some(of_job) = job.limits.get(&id.text) else {
            faults.unknown(
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
            faults.add(
                &unit.span,
                what,
                format!("give the value in {}", of_job.unit),
            );
        }
        if let Some(value) = number {
            let limit = Limit {
                about: of_job.about.clone(),
                value,
                unit: of_job.unit.clone(),
                source,
            };
            limits.insert(id.text, limit);
        }
    }
    limits
}

//! What the readings are worth: uncertainty from the meter's specification on the plate.

use super::build::Folded;
use super::types::{Answer, Meter, Report};
use crate::calc::meter::MeterSpec;
use crate::calc::rounding;
use crate::core::question::{range_unit, with_unit};
use crate::core::record::{Answered, Value};
use crate::job::PlateKind;

/// The specifications on the plate: three items `NAME-percent`, `NAME-counts`, `NAME-resolution`,
/// all known; the unit of the last says which readings it is for.
pub(super) fn meters(folded: &Folded) -> Vec<Meter> {
    let job = folded.job;
    job.plate
        .iter()
        .filter_map(|item| {
            let stem = item.id.strip_suffix("-resolution")?;
            let PlateKind::Number(range) = &item.kind else {
                return None;
            };
            let number = |part: &str| {
                folded
                    .saved
                    .plate_number(&format!("{stem}-{part}"))
                    .map(|number| number.to_string())
            };
            let name = job
                .plate_item(&format!("{stem}-id"))
                .or_else(|| job.plate_item(stem))
                .map_or_else(
                    || item.title.clone(),
                    |own| {
                        format!(
                            "{} {}",
                            own.title,
                            crate::core::question::plate_text(job, &folded.saved, &own.id)
                        )
                    },
                );
            let own_due = format!("{stem}-due");
            Some(Meter {
                name,
                unit: range_unit(range, &folded.saved).to_owned(),
                percent: number("percent")?,
                counts: number("counts")?,
                resolution: number("resolution")?,
                // Its own due date where it has one, otherwise that of any instrument.
                doubtful: if job.plate_item(&own_due).is_some() {
                    folded.saved.expired.contains_key(&own_due)
                } else {
                    !folded.saved.expired.is_empty()
                },
            })
        })
        .collect()
}

/// Expanded uncertainty (k = 2) of a reading, two significant digits, with unit.
/// None where no specification, or more than one, fits its unit.
pub(super) fn of_reading(folded: &Folded, answer: &Answered) -> Option<String> {
    let Value::Number { value, unit } = &answer.value else {
        return None;
    };
    let meters = meters(folded);
    let expanded = expanded(only_one_for(&meters, unit)?, f64::try_from(*value).ok()?)?;
    let shown = rounding::significant(&expanded.to_string(), 2).ok()?;
    Some(with_unit(&shown, unit))
}

/// The specification for readings in this unit, where there is one and no other.
pub(super) fn only_one_for<'a>(meters: &'a [Meter], unit: &str) -> Option<&'a Meter> {
    let mut fitting = meters.iter().filter(|meter| meter.unit == unit);
    match (fitting.next(), fitting.next()) {
        (found, None) => found,
        _ => None,
    }
}

/// Units of readings that come without an uncertainty, each once.
pub(super) fn units_without(answers: &[Answer]) -> Vec<String> {
    let mut units: Vec<String> = answers
        .iter()
        .filter(|answer| answer.uncertainty.is_none())
        .filter_map(|answer| answer.unit.clone())
        .filter(|unit| unit != "none")
        .collect();
    units.sort();
    units.dedup();
    units
}

/// Expanded uncertainty of a reading, in its unit: a = % of reading + counts; u = a / root of three (GUM 4.3.7); U = 2 u.
pub(super) fn expanded(meter: &Meter, reading: f64) -> Option<f64> {
    let spec = MeterSpec {
        percent_of_reading: meter.percent.parse().ok()?,
        counts: meter.counts.parse().ok()?,
        resolution: meter.resolution.parse().ok()?,
    };
    spec.standard_uncertainty(reading)
        .ok()
        .map(|u| 2.0 * u)
        .filter(|expanded| *expanded > 0.0)
}

impl Report {
    /// For which readings there is an uncertainty and from what, and for which there is none.
    pub(super) fn uncertainty_words(&self) -> Vec<String> {
        let unit = |unit: &str| with_unit("", unit).trim().to_owned();
        let mut words: Vec<String> = self
            .meters
            .iter()
            .map(|meter| {
                format!(
                    "U of readings in {}: {}, {} % of reading + {} counts of {}{}.",
                    unit(&meter.unit),
                    meter.name,
                    meter.percent,
                    meter.counts,
                    with_unit(&meter.resolution, &meter.unit),
                    if meter.doubtful {
                        "; past its due date, so not assured"
                    } else {
                        ""
                    }
                )
            })
            .collect();
        if !self.without_uncertainty.is_empty() {
            let units: Vec<String> = self.without_uncertainty.iter().map(|id| unit(id)).collect();
            words.push(format!(
                "No U is given for readings in {}: the plate has no specification, or more than one, for them.",
                units.join(", ")
            ));
        }
        words
    }
}

//! What the readings can prove: uncertainty from the meter's specification on
//! the plate, and the class of a result against its limit.

use super::build::Folded;
use super::types::{Answer, Decision, FindingLine, Meter};
use crate::calc::decision;
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
    let mut fitting = meters(folded)
        .into_iter()
        .filter(|meter| meter.unit == *unit);
    let (meter, None) = (fitting.next()?, fitting.next()) else {
        return None;
    };
    let expanded = expanded(&meter, f64::try_from(*value).ok()?)?;
    let shown = rounding::significant(&expanded.to_string(), 2).ok()?;
    Some(with_unit(&shown, unit))
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

/// a = % of reading + counts; u = a / root of three (GUM 4.3.7); U = 2 u.
fn expanded(meter: &Meter, reading: f64) -> Option<f64> {
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

/// Findings that give an uncertainty: what is judged, and the input that is its limit.
const JUDGED: [(&str, &[&str], &str); 2] = [
    (
        "up-down-run",
        &["inaccuracy above", "inaccuracy below"],
        "inaccuracy",
    ),
    ("signal-point", &["deviation"], "limit"),
];

/// The class of each latest result that comes with an uncertainty. Source: ILAC-G8 4.2.3, guard band w = U.
pub(super) fn decisions(findings: &[FindingLine]) -> Vec<Decision> {
    findings
        .iter()
        .filter(|finding| finding.latest)
        .filter_map(decided)
        .collect()
}

fn decided(finding: &FindingLine) -> Option<Decision> {
    let calculation = finding.calculation.as_deref()?;
    let (_, judged, limit) = JUDGED.iter().find(|(name, ..)| *name == calculation)?;
    let figure = |name: &str| finding.figures.iter().find(|figure| figure.name == name);
    let number = |name: &str| figure(name)?.unrounded.as_deref()?.parse::<f64>().ok();
    let worst = judged
        .iter()
        .filter_map(|name| Some((number(name)?, *name)))
        .max_by(|one, other| one.0.abs().total_cmp(&other.0.abs()))?;
    let shown_limit = finding.inputs.get(*limit)?;
    let limit: f64 = shown_limit.parse().ok()?;
    let expanded = number("U")?;
    let class = decision::classify(worst.0, -limit, limit, expanded).ok()?;
    Some(Decision {
        seq: finding.seq,
        title: finding.title.clone(),
        value: with_unit(&figure(worst.1)?.value, &figure(worst.1)?.unit),
        limit: format!("\u{B1}{}", with_unit(shown_limit, &figure(worst.1)?.unit)),
        uncertainty: with_unit(
            &rounding::significant(&expanded.to_string(), 2).ok()?,
            &figure("U")?.unit,
        ),
        tur: decision::tur(-limit, limit, expanded)
            .ok()
            .map(|ratio| rounding::fixed(ratio, 1)),
        class: class.word().replace('_', " "),
        cannot_prove: expanded > limit,
    })
}

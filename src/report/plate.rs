//! Nameplate, order and instrument data, and the limits that applied.

use super::build::Folded;
use super::time;
use super::types::{Instrument, LimitLine, PlateFrom, PlateLine};
use crate::core::question::{plate_text, range_unit, with_unit};
use crate::core::record::{Body, How, Wall};
use crate::job::{self, PlateKind, PlateValue, StepKind};

impl Folded<'_> {
    pub(super) fn plate(&self) -> Vec<PlateLine> {
        let mut lines = Vec::new();
        for (id, value) in &self.saved.plate {
            let item = self.job.plate_item(id);
            let answers: Vec<(u64, Wall, &PlateValue, &How)> = self
                .bodies()
                .filter_map(|(seq, at, body)| match body {
                    Body::Plate { item, value, how } if item == id => Some((seq, at, value, how)),
                    _ => None,
                })
                .collect();
            let last = answers
                .last()
                .filter(|(.., answered, _)| *answered == value);
            let on_sheet = self.saved.started.plate.get(id);
            let mut earlier: Vec<&PlateValue> = on_sheet
                .into_iter()
                .chain(answers.iter().map(|(.., value, _)| *value))
                .collect();
            if earlier.last() == Some(&value) {
                earlier.pop();
            }
            let unit = match (value, item.map(|item| &item.kind)) {
                (PlateValue::Number(_), Some(PlateKind::Number(range))) => {
                    Some(range_unit(range, &self.saved).to_owned())
                }
                _ => None,
            };
            lines.push(PlateLine {
                id: id.clone(),
                group: item.map_or_else(|| "Other".to_owned(), |item| item.group.clone()),
                title: item.map_or_else(|| id.clone(), |item| item.title.clone()),
                shown: plate_text(self.job, &self.saved, id),
                value: value.words(),
                from: match (last, on_sheet) {
                    (Some(_), _) => PlateFrom::Asked,
                    (None, Some(sheet)) if sheet == value => PlateFrom::Sheet,
                    _ => PlateFrom::Follows,
                },
                seq: last.map(|(seq, ..)| *seq),
                time: last.map(|(_, at, ..)| time::time(*at)),
                how: last.map(|(.., how)| self.how(how)),
                replaced: earlier
                    .into_iter()
                    .map(|value| {
                        unit.as_deref()
                            .map_or_else(|| value.words(), |unit| with_unit(&value.words(), unit))
                    })
                    .collect(),
                expired: self.saved.expired.contains_key(id),
                unit,
            });
        }
        // In the job's own order; what it does not know comes last.
        lines.sort_by_key(|line| {
            self.job
                .plate
                .iter()
                .position(|item| item.id == line.id)
                .unwrap_or(usize::MAX)
        });
        lines
    }

    pub(super) fn instruments(&self) -> Vec<Instrument> {
        let plate = self.plate();
        let known = |line: &&PlateLine| {
            self.job
                .plate_item(&line.id)
                .is_some_and(|item| item.kind == PlateKind::Month)
        };
        plate
            .iter()
            .filter(known)
            .map(|due| {
                let stem = due.id.strip_suffix("-due").unwrap_or(&due.id);
                // What belongs to an instrument begins with its name: meter-id, meter-percent, meter-due.
                let own = |line: &&PlateLine| {
                    line.id != due.id
                        && (line.id == stem
                            || line
                                .id
                                .strip_prefix(stem)
                                .is_some_and(|rest| rest.starts_with('-')))
                };
                let (names, rest): (Vec<&PlateLine>, Vec<&PlateLine>) = plate
                    .iter()
                    .filter(own)
                    .partition(|line| line.id == stem || line.id.ends_with("-id"));
                let name: Vec<String> = names
                    .iter()
                    .map(|line| format!("{} {}", line.title, line.shown))
                    .collect();
                Instrument {
                    name: if name.is_empty() {
                        due.title.clone()
                    } else {
                        name.join(", ")
                    },
                    due: due.shown.clone(),
                    expired: due.expired,
                    items: names
                        .iter()
                        .chain(&rest)
                        .map(|line| line.id.clone())
                        .chain([due.id.clone()])
                        .collect(),
                    specification: rest
                        .iter()
                        .map(|line| format!("{}: {}", line.title, line.shown))
                        .collect(),
                }
            })
            .collect()
    }

    pub(super) fn limits(&self) -> Vec<LimitLine> {
        let shown = |limit: &job::Limit| with_unit(&limit.value.to_string(), &limit.unit);
        self.saved
            .started
            .limits
            .iter()
            .map(|(id, limit)| LimitLine {
                id: id.clone(),
                about: limit.about.clone(),
                shown: shown(limit),
                value: limit.value.to_string(),
                unit: limit.unit.clone(),
                source: limit.source.clone(),
                replaced: self
                    .job
                    .limits
                    .get(id)
                    .filter(|own| *own != limit)
                    .map(|own| format!("{} ({})", shown(own), own.source)),
                bears_on: self
                    .job
                    .steps
                    .iter()
                    .filter(|step| match &step.kind {
                        StepKind::Finding(wanted) => wanted
                            .inputs
                            .values()
                            .any(|input| *input == job::Source::Limit(id.clone())),
                        _ => false,
                    })
                    .map(|step| step.title.clone())
                    .collect(),
            })
            .collect()
    }
}

//! Units and plausible ranges of a job file. Holds nothing.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use toml::Spanned;
use toml::de::DeValue;

use super::draft::{Draft, Of, Owner};
use super::table::{Table, Text, decimal, decimal_value, kind_of, text, texts};
use crate::job::NumberRange;
use crate::spoken;

impl Draft<'_> {
    /// `unit`, `expect`, `set`: unit and plausible range.
    pub(in crate::job) fn range(&mut self, table: &mut Table, by: Owner) -> NumberRange {
        let nothing = NumberRange::Fixed {
            unit: String::new(),
            low: Decimal::ZERO,
            high: Decimal::ZERO,
            set: Vec::new(),
        };
        let unit = table.need("unit", "\"ohm\"", &mut self.faults);
        let expect = table.need("expect", "[\"0\", \"1200\"]", &mut self.faults);
        let only = table.take("set");
        let (Some(unit), Some(expect)) = (unit, expect) else {
            return nothing;
        };
        if matches!(unit.get_ref(), DeValue::Table(_)) {
            return self.range_by_unit(unit, expect, by).unwrap_or(nothing);
        }
        let Some(unit) = text(unit, "`unit`", 20, &mut self.faults) else {
            return nothing;
        };
        if spoken::unit(&unit.text).is_none() {
            self.faults
                .unknown(&unit.span, "unit", &unit.text, unit_names().iter().copied());
        }
        let set: Vec<Decimal> = only
            .map(|only| texts(only, "set", 30, &mut self.faults))
            .unwrap_or_default()
            .iter()
            .filter_map(|text| decimal(text, &mut self.faults))
            .collect();
        if matches!(expect.get_ref(), DeValue::Table(_)) {
            return self.range_scaled(unit.text, expect, by).unwrap_or(nothing);
        }
        let Some((low, high)) = self.pair(expect, "`expect`") else {
            return nothing;
        };
        if let (Some(outside), Some(only)) = (
            set.iter().find(|value| **value < low || **value > high),
            only,
        ) {
            let what = format!("{outside} of `set` is outside `expect`");
            self.faults.add(
                &only.span(),
                what,
                format!("use values from {low} to {high}"),
            );
        }
        NumberRange::Fixed {
            unit: unit.text,
            low,
            high,
            set,
        }
    }

    fn range_scaled(
        &mut self,
        unit: String,
        expect: &Spanned<DeValue>,
        by: Owner,
    ) -> Option<NumberRange> {
        let mut table = Table::new(expect, "`expect`", &mut self.faults)?;
        let plate = table.need_text("of", 40, "\"pot-nominal\"", &mut self.faults);
        let times = table.need("times", "[\"0\", \"1.2\"]", &mut self.faults);
        let or = table.need("or", "[\"0\", \"12000\"]", &mut self.faults);
        let times = times.and_then(|value| self.pair(value, "`times`"));
        let or = or.and_then(|value| self.pair(value, "`or`"));
        table.done(&mut self.faults);
        if !plate.text.is_empty() {
            self.mention(by, Of::PlateNumber(plate.text.clone()), &plate.span);
        }
        let ((low, high), or) = (times?, or?);
        Some(NumberRange::Scaled {
            unit,
            plate: plate.text,
            low,
            high,
            or,
        })
    }

    fn range_by_unit(
        &mut self,
        unit: &Spanned<DeValue>,
        expect: &Spanned<DeValue>,
        by: Owner,
    ) -> Option<NumberRange> {
        let mut table = Table::new(unit, "`unit`", &mut self.faults)?;
        let plate = table.need_text("plate", 40, "\"signal-unit\"", &mut self.faults);
        table.done(&mut self.faults);
        let table = match expect.get_ref() {
            DeValue::Table(_) => Table::new(expect, "`expect`", &mut self.faults)?,
            other => {
                let what = format!("`expect` is {}, but the unit is a choice", kind_of(other));
                self.faults.add(
                    &expect.span(),
                    what,
                    "give a range for each unit: { mA = [\"0\", \"22\"], V = [\"0\", \"11\"] }",
                );
                return None;
            }
        };
        let mut ranges = BTreeMap::new();
        let mut units = Vec::new();
        for (unit, value) in table.entries() {
            if spoken::unit(&unit.text).is_none() {
                self.faults
                    .unknown(&unit.span, "unit", &unit.text, unit_names().iter().copied());
            } else if let Some(pair) = self.pair(value, "a range") {
                ranges.insert(unit.text.clone(), pair);
            }
            units.push(unit);
        }
        if !plate.text.is_empty() {
            self.mention(by, Of::PlateUnits(plate.text.clone(), units), &plate.span);
        }
        Some(NumberRange::ByUnit {
            plate: plate.text,
            ranges,
        })
    }

    /// A low and a high end.
    fn pair(&mut self, value: &Spanned<DeValue>, what: &str) -> Option<(Decimal, Decimal)> {
        let list = match value.get_ref() {
            DeValue::Array(list) if list.len() == 2 => list,
            _ => {
                self.faults.add(
                    &value.span(),
                    format!("{what} is no range"),
                    "write the low and the high end: [\"0\", \"1200\"]",
                );
                return None;
            }
        };
        let low = decimal_value(&list[0], "the low end", &mut self.faults);
        let high = decimal_value(&list[1], "the high end", &mut self.faults);
        let (low, high) = (low?, high?);
        if low >= high {
            let what = format!("the low end {low} is not below the high end {high}");
            self.faults.add(
                &value.span(),
                what,
                format!("write [\"{high}\", \"{low}\"], or put the right numbers in"),
            );
            return None;
        }
        Some((low, high))
    }

    /// A unit that is not in the table of units.
    pub(in crate::job) fn unknown_unit(&mut self, unit: &Text) {
        self.faults
            .unknown(&unit.span, "unit", &unit.text, unit_names().iter().copied());
    }
}

/// Every unit id, for "did you mean".
fn unit_names() -> Vec<&'static str> {
    spoken::units().map(|unit| unit.id()).collect()
}

//! Results of calculations, and what they are worth against their limits.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::Time;
use crate::calc::finding::Grade;
use crate::job::Stage;

/// The result of a calculation.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct FindingLine {
    /// Record.
    pub seq: u64,
    /// When.
    pub time: Time,
    /// Step id.
    pub step: String,
    /// Step title.
    pub title: String,
    /// Part of the work.
    pub stage: Option<Stage>,
    /// Name of the calculation.
    pub calculation: Option<String>,
    /// The rule's source.
    pub source: Option<String>,
    /// Verdict.
    pub verdict: String,
    /// How good it is.
    pub grade: Grade,
    /// Why, with the numbers.
    pub reason: String,
    /// What the calculation advises.
    pub advice: String,
    /// What was said.
    pub said: String,
    /// The numbers.
    pub figures: Vec<FigureLine>,
    /// What it was computed from.
    pub inputs: BTreeMap<String, String>,
    /// False if the same calculation was done again later.
    pub latest: bool,
    /// Where it was worked out again because a value was put right: what was, in words.
    pub put_right: Option<String>,
    /// Where it is the one that was worked out again: the verdict before.
    pub was: Option<String>,
    /// What it was worked out from and was replaced or taken back after it, without a new
    /// calculation: the result then stands for the old value. None for earlier attempts.
    pub outdated: Option<String>,
}

/// One number of a finding.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct FigureLine {
    /// Its name.
    pub name: String,
    /// Rounded for display, without unit; a text where it is no number.
    pub value: String,
    /// The number whole.
    pub unrounded: Option<String>,
    /// Unit id.
    pub unit: String,
}

/// A result against its limit.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Decision {
    /// Record of the finding.
    pub seq: u64,
    /// What was judged.
    pub title: String,
    /// The figure of the finding that was judged.
    pub what: String,
    /// Part of the work.
    pub stage: Option<Stage>,
    /// The result, with unit.
    pub value: String,
    /// The limit, with unit.
    pub limit: String,
    /// Where the limit comes from.
    pub limit_from: String,
    /// Expanded uncertainty, k = 2, with unit; none where no specification is known for what was read.
    pub uncertainty: Option<String>,
    /// Test uncertainty ratio.
    pub tur: Option<String>,
    /// Simple acceptance: true if the result is within the limit, on the limit too.
    pub accepted: bool,
    /// Class with a guard band as wide as the uncertainty.
    pub class: Option<String>,
    /// True if the uncertainty is wider than the limit.
    pub cannot_prove: bool,
    /// Why there is no uncertainty, or why it is doubtful.
    pub note: Option<String>,
}

impl Decision {
    /// What it comes to: simple acceptance, and the class where the uncertainty is known.
    #[must_use]
    pub fn words(&self) -> String {
        let mut words = self.simple().to_owned();
        if let Some(u) = &self.uncertainty {
            words += &format!(", U {u}");
        }
        if let Some(tur) = &self.tur {
            words += &format!(", TUR {tur}");
        }
        if let Some(class) = &self.class {
            words += &format!(", with guard band {class}");
        }
        if self.cannot_prove {
            words += ", the meter cannot prove it";
        }
        if let Some(note) = &self.note {
            words += &format!("; {note}");
        }
        words
    }

    /// What simple acceptance says.
    #[must_use]
    pub fn simple(&self) -> &'static str {
        if self.accepted {
            "accepted"
        } else {
            "not accepted"
        }
    }
}

//! A job as checked data: what is to be done, in which order, with which
//! limits and where each limit comes from.
//!
//! No state lives here. A [`Job`] is made by [`load::parse`] from one TOML
//! file, has been checked whole, and never changes afterwards. A run refers to
//! it by [`Job::hash`], so a changed file is noticed on resume.

pub mod built_in;
pub mod load;
pub mod sheet;

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use self::load::{Fault, JobErrors};

/// One job: the checked form of one job file.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// `[a-z0-9-]{1,40}`, also the name in run folders.
    pub id: String,
    /// One line: what the job is.
    pub title: String,
    /// What it is for, in a sentence or two.
    pub purpose: String,
    /// What it applies to.
    pub applies_to: String,
    /// Cautions shown before the first step and printed on the record.
    pub cautions: Vec<String>,
    /// Data of the actuator and of the instruments; asked for where the job
    /// sheet does not give it.
    pub plate: Vec<PlateItem>,
    /// Limits by id, each with its source.
    pub limits: BTreeMap<String, Limit>,
    /// The steps in file order. Empty only in a list ([`Job::is_list`]).
    pub steps: Vec<Step>,
    /// BLAKE3 hash (hex) of the job file's bytes.
    pub hash: String,
}

impl Job {
    /// True for a list to choose from: it only asks, nothing is done, and nothing of it is kept.
    /// No file can be one: a job that is read has a step.
    #[must_use]
    pub fn is_list(&self) -> bool {
        self.steps.is_empty()
    }

    /// Index of the step with this id.
    #[must_use]
    pub fn index_of(&self, id: &str) -> Option<usize> {
        self.steps.iter().position(|step| step.id == id)
    }

    /// The nameplate item with this id.
    #[must_use]
    pub fn plate_item(&self, id: &str) -> Option<&PlateItem> {
        self.plate.iter().find(|item| item.id == id)
    }
}

/// One item of nameplate, order or instrument data.
#[derive(Clone, Debug, PartialEq)]
pub struct PlateItem {
    /// `[a-z0-9-]{1,40}`.
    pub id: String,
    /// The name on the record, for example "Potentiometer, nominal".
    pub title: String,
    /// The question, one sentence.
    pub ask: String,
    /// Under which head it stands on the record: "Order", "Actuator", "Feedback", "Signal", "Instruments".
    pub group: String,
    /// What kind of answer it takes.
    pub kind: PlateKind,
    /// "Unknown" is an allowed answer; calculations then leave out what needs it.
    pub unknown_allowed: bool,
    /// Asked only when all of these hold.
    pub when: Vec<Condition>,
}

/// The answer that a [`PlateItem`] takes.
#[derive(Clone, Debug, PartialEq)]
pub enum PlateKind {
    /// Spelled letters and figures: tag, order number, serial number, initials.
    Tag,
    /// A number with its unit and plausible range.
    Number(NumberRange),
    /// One of a closed list. An option may set further items ("4 to 20 mA" sets low, high and unit).
    Choice(Vec<ChoiceOption>),
    /// A calendar month as six digits, year then month, for example 202702; a due date.
    Month,
}

/// One option of a closed list.
#[derive(Clone, Debug, PartialEq)]
pub struct ChoiceOption {
    /// `[a-z0-9-]{1,40}`, stored as the answer.
    pub id: String,
    /// What is shown and read back.
    pub title: String,
    /// The phrases that mean it, each of words in the ear's vocabulary.
    pub say: Vec<String>,
    /// Where the job goes after this answer; in order where empty.
    pub next: Option<String>,
    /// Other plate items that this answer settles (plate choices only).
    pub sets: BTreeMap<String, PlateValue>,
}

/// A value that a choice or a job sheet gives to a plate item.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PlateValue {
    /// A number; the unit is that of the item.
    Number(Decimal),
    /// Spelled text, a choice id, or a month `YYYY-MM`.
    Text(String),
    /// Asked, and not known.
    Unknown,
}

impl PlateValue {
    /// As text: a number without its unit, a choice by its id.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Number(number) => number.to_string(),
            Self::Text(text) => text.clone(),
            Self::Unknown => "unknown".to_owned(),
        }
    }
}

/// Unit and plausible range of a number. Outside the range means "ask again", never "forbidden".
#[derive(Clone, Debug, PartialEq)]
pub enum NumberRange {
    /// One unit, one range.
    Fixed {
        /// Unit id of `grammars/units.toml`.
        unit: String,
        /// Lowest plausible value, in that unit.
        low: Decimal,
        /// Highest plausible value, in that unit.
        high: Decimal,
        /// Where not empty, the only plausible values.
        set: Vec<Decimal>,
    },
    /// From `low` to `high` times a plate number (for example 0 to 1.2 times the nominal resistance).
    /// Where that number is unknown, `or` is the range.
    Scaled {
        /// Unit id.
        unit: String,
        /// Plate item that is multiplied.
        plate: String,
        /// Factor of the low end.
        low: Decimal,
        /// Factor of the high end.
        high: Decimal,
        /// Range used while the plate item is unknown.
        or: (Decimal, Decimal),
    },
    /// The unit is a plate choice (the id of the option is a unit id), with a range for each.
    ByUnit {
        /// Plate item (a choice) that holds the unit id.
        plate: String,
        /// Range for each unit id that the choice can give.
        ranges: BTreeMap<String, (Decimal, Decimal)>,
    },
}

impl NumberRange {
    /// Unit id and plausible range, with the plate as far as it is known; None where the unit is not known yet.
    #[must_use]
    pub fn ends(&self, plate: &BTreeMap<String, PlateValue>) -> Option<(&str, Decimal, Decimal)> {
        match self {
            Self::Fixed {
                unit, low, high, ..
            } => Some((unit, *low, *high)),
            Self::Scaled {
                unit,
                plate: item,
                low,
                high,
                or,
            } => {
                let scaled = match plate.get(item) {
                    // A product beyond what a decimal can hold is as good as unknown.
                    Some(PlateValue::Number(base)) => {
                        low.checked_mul(*base).zip(high.checked_mul(*base))
                    }
                    _ => None,
                };
                let (low, high) = scaled.unwrap_or(*or);
                Some((unit, low.min(high), low.max(high)))
            }
            Self::ByUnit {
                plate: item,
                ranges,
            } => match plate.get(item) {
                Some(PlateValue::Text(unit)) => ranges
                    .get_key_value(unit)
                    .map(|(unit, (low, high))| (unit.as_str(), *low, *high)),
                _ => None,
            },
        }
    }
}

/// A limit, and who says so.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// What it limits.
    pub about: String,
    /// The number, as written.
    pub value: Decimal,
    /// Unit id.
    pub unit: String,
    /// Where it comes from: order, data sheet, standard and clause, or "common practice".
    pub source: String,
}

/// In which part of the work a step stands.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// Permits, isolation, proving dead.
    Safety,
    /// Before any screw is turned. Frozen when the first adjusting step starts.
    AsFound,
    /// Turning, setting, replacing.
    Adjust,
    /// What is left behind.
    AsLeft,
    /// Everything put back, hand-back.
    Close,
}

impl Stage {
    /// In words, as shown and printed.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Safety => "safety",
            Self::AsFound => "as found",
            Self::Adjust => "adjust",
            Self::AsLeft => "as left",
            Self::Close => "close out",
        }
    }
}

/// One thing that is asked or done.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// `[a-z0-9-]{1,40}`, unique in the job.
    pub id: String,
    /// Short name for big print and the record.
    pub title: String,
    /// What is said: one sentence, with placeholders (see [`Placeholder`]).
    pub ask: Template,
    /// Caution shown with the step.
    pub caution: Option<String>,
    /// Part of the work.
    pub stage: Stage,
    /// What this step is.
    pub kind: StepKind,
    /// The step is done only when all of these hold.
    pub when: Vec<Condition>,
    /// Which quantity it measures: an as-found and an as-left step with the same word stand side by side on the record.
    pub measures: Option<String>,
    /// Part that is repaired or replaced when it is done: counted in the summary of a week.
    pub part: Option<String>,
    /// Things lifted, defeated or unplugged when it is done; each must be restored before the job can close.
    pub lifts: Vec<String>,
    /// Things restored when it is done.
    pub restores: Vec<String>,
    /// Turns a screw or moves a setting: freezes the as-found readings when it is reached.
    pub adjusts: bool,
    /// Where the job goes afterwards; in order where empty. `"end"` closes the job.
    pub next: Option<String>,
}

/// What a step is: a closed set.
#[derive(Clone, Debug, PartialEq)]
pub enum StepKind {
    /// Something to do; answered "done".
    Instruction,
    /// A safety question that must be answered yes; a no blocks, or goes to `refused`.
    Gate {
        /// Where a no leads; blocks where empty.
        refused: Option<String>,
    },
    /// One number.
    Reading(NumberRange),
    /// A number for each point and direction.
    ReadingSet(ReadingSet),
    /// One of a closed list.
    Choice(Vec<ChoiceOption>),
    /// Hold for a time that is counted down.
    Hold {
        /// Seconds, at least 1.
        seconds: Decimal,
    },
    /// A named calculation of the core, done by Sayback itself.
    Finding(FindingStep),
    /// A remark, typed or recorded; may be passed over with "next".
    Memo,
}

/// Rows over points: 0/25/50/75/100 up and down.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingSet {
    /// Points in % of travel, in the order going up.
    pub points: Vec<Decimal>,
    /// Also in the order going down.
    pub both_ways: bool,
    /// What is read at each point.
    pub columns: Vec<Column>,
}

/// One reading at each point of a set.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// `[a-z0-9-]{1,40}`; also the name under which a calculation finds it in the row.
    pub id: String,
    /// Name on the record.
    pub title: String,
    /// Question, with placeholders.
    pub ask: Template,
    /// Unit and plausible range.
    pub range: NumberRange,
}

/// A calculation and what follows from its verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct FindingStep {
    /// Name of the calculation (`calc::finding::specs`).
    pub calculation: String,
    /// Its inputs by name.
    pub inputs: BTreeMap<String, Source>,
    /// For a verdict: where the job goes and what else is said. A verdict not named goes on in order.
    pub outcomes: BTreeMap<String, Outcome>,
}

/// What follows from one verdict.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outcome {
    /// Where the job goes; in order where empty. May lead back: the steps between are then done again.
    pub next: Option<String>,
    /// Said instead of the calculation's own advice, with placeholders.
    pub say: Option<Template>,
}

/// Where an input of a calculation comes from. In the file: `"step.ID"`, `"plate.ID"`, `"limit.ID"`,
/// `"rows.ID"`, `"figure.STEP.FIGURE"`, `{ number = "10" }`, `{ word = "rises" }`.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// The latest answer of a step: number, status, or choice id.
    Step(String),
    /// A plate item; left out while unknown.
    Plate(String),
    /// A limit's number.
    Limit(String),
    /// All rows of a reading set.
    Rows(String),
    /// A figure of an earlier finding.
    Figure {
        /// The finding step.
        step: String,
        /// The figure's name.
        figure: String,
    },
    /// A number that stands in the job file.
    Number(Decimal),
    /// A word that stands in the job file.
    Word(String),
}

/// One condition. In the file: `when = { step = "method", is = ["centre"] }` or `{ plate = …, is = … }`,
/// also with `not = […]`; a list of them must hold together.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    /// What is looked at.
    pub of: ConditionOf,
    /// Holds if the answer is one of these (choice id, verdict, `yes`/`no`, `done`, `skipped`, `unknown`).
    pub is: Vec<String>,
    /// True: holds if the answer is none of these (or there is none).
    pub negated: bool,
}

/// What a [`Condition`] looks at.
#[derive(Clone, Debug, PartialEq)]
pub enum ConditionOf {
    /// The latest answer of a step, or the verdict of a finding step.
    Step(String),
    /// A plate item.
    Plate(String),
}

/// Text with placeholders in braces, checked at load.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Template(pub Vec<Piece>);

/// A piece of a [`Template`].
#[derive(Clone, Debug, PartialEq)]
pub enum Piece {
    /// Plain text.
    Text(String),
    /// Something to be filled in.
    Placeholder(Placeholder),
}

/// What may stand in braces.
#[derive(Clone, Debug, PartialEq)]
pub enum Placeholder {
    /// `{point}`: the point of the row, in %.
    Point,
    /// `{direction}`: "going up" or "going down".
    Direction,
    /// `{signal}`: the command for the row's point, with unit, from the plate items `signal-low`, `signal-high`, `signal-unit`, `action`.
    Signal,
    /// `{signal.N}`: the command for N % of travel.
    SignalAt(Decimal),
    /// `{plate.ID}`: a plate item, with unit.
    Plate(String),
    /// `{limit.ID}`: a limit, with unit.
    Limit(String),
    /// `{step.ID}`: the latest answer of a step, with unit.
    Step(String),
    /// `{figure.STEP.NAME}`: a figure of a finding, with unit.
    Figure {
        /// The finding step.
        step: String,
        /// The figure's name.
        figure: String,
    },
    /// `{advice.STEP}`: the advice of a finding.
    Advice(String),
}

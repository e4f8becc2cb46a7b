//! The calculations that a job file can name: readings in, a verdict with its
//! reason, its figures, and one sentence of advice out.
//!
//! Pure. Limits are inputs, so that the job can say where each comes from. What
//! is unknown is left out and said; a status where a number is needed gives
//! "cannot tell", never a zero. No advice names a sense of rotation.

mod performance;
mod potentiometer;
mod setting;
mod signal;

use std::borrow::Cow;
use std::collections::BTreeMap;

use rust_decimal::Decimal;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::rounding::fixed;

/// One input of a calculation.
#[derive(Clone, Debug, PartialEq)]
pub enum Input {
    /// A number, in the unit of the input's spec.
    Number(Decimal),
    /// What a meter showed instead of a number: OL, OPEN, `NO_READING`, SHORT, UNSTABLE …
    Status(String),
    /// The id of a choice, or a word of the job file.
    Word(String),
    /// The rows of a reading set.
    Rows(Vec<Row>),
}

/// One row of a reading set.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Point, % of travel.
    pub point: f64,
    /// Which way it was approached.
    pub direction: Direction,
    /// Readings by column.
    pub values: BTreeMap<String, Input>,
}

/// Which way a point was approached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// From below.
    Up,
    /// From above.
    Down,
}

/// An input that a calculation takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct InputSpec {
    /// Its name.
    pub name: &'static str,
    /// Unit id of a number; none for words and rows.
    pub unit: Option<&'static str>,
    /// Whether the calculation can do without.
    pub required: bool,
    /// What it is.
    pub about: &'static str,
}

/// A verdict that a calculation can give.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct VerdictSpec {
    /// Its name.
    pub name: &'static str,
    /// How good it is.
    pub grade: Grade,
}

/// A calculation that a job file can name.
pub struct FindingSpec {
    /// Its name.
    pub name: &'static str,
    /// What it finds.
    pub about: &'static str,
    /// Where its rule comes from.
    pub source: &'static str,
    /// What it takes.
    pub inputs: &'static [InputSpec],
    /// What it can say.
    pub verdicts: &'static [VerdictSpec],
    call: fn(&Given) -> Result<Finding, FindingError>,
}

/// How good a verdict is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Grade {
    /// As it should be.
    Good,
    /// Usable, or to be looked at.
    Watch,
    /// A fault.
    Bad,
    /// The readings do not tell.
    CannotTell,
}

/// What a calculation found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Its verdict, one of the spec's.
    pub verdict: Cow<'static, str>,
    /// How good it is.
    pub grade: Grade,
    /// The numbers.
    pub figures: Vec<Figure>,
    /// Why, with the numbers.
    pub reason: String,
    /// What to do, one sentence, value first.
    pub advice: String,
}

/// One number of a finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    /// Its name.
    pub name: Cow<'static, str>,
    /// The number, unrounded.
    pub value: Option<f64>,
    /// Unit id.
    pub unit: Cow<'static, str>,
    /// Decimals to show.
    pub places: u8,
    /// Text, where it is no number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
}

/// Why a calculation could not be done.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FindingError {
    /// No calculation of that name.
    #[error("there is no calculation {0}")]
    Unknown(String),
    /// Something it needs was not given.
    #[error("{about} is missing")]
    Missing {
        /// The input.
        name: &'static str,
        /// What it is.
        about: &'static str,
    },
    /// An input of the wrong kind.
    #[error("{about} is {found}, which is no {wanted}")]
    WrongKind {
        /// What it is.
        about: &'static str,
        /// As given.
        found: String,
        /// What is wanted.
        wanted: &'static str,
    },
    /// The numbers do not make sense together.
    #[error(transparent)]
    Calculation(#[from] super::CalcError),
}

/// All calculations that a job file can name.
#[must_use]
pub fn specs() -> &'static [&'static FindingSpec] {
    static ALL: &[&FindingSpec] = &[
        &potentiometer::ISOLATION,
        &potentiometer::POT_DIAGNOSIS,
        &setting::POT_CENTRE,
        &setting::POT_CLOSED_END,
        &setting::TIGHTEN_SHIFT,
        &potentiometer::SWEEP,
        &potentiometer::MOVE_TEST,
        &potentiometer::END_LEAD,
        &setting::ENDS_CHECK,
        &signal::SUPPLY,
        &signal::AS_FOUND_POSITION,
        &signal::SIGNAL_POINT,
        &performance::UP_DOWN_RUN,
        &performance::STROKE_TIME,
        &signal::LOSS_OF_SIGNAL,
        &signal::METER_CHECK,
        &performance::TRAVEL,
        &performance::HUNTING,
        &signal::ACTION,
    ];
    ALL
}

/// The spec with this name.
#[must_use]
pub fn spec(name: &str) -> Option<&'static FindingSpec> {
    specs().iter().copied().find(|spec| spec.name == name)
}

/// Does a calculation.
///
/// # Errors
/// If there is none of that name, or a required input is missing, of the wrong kind, or makes no sense.
pub fn find(name: &str, inputs: &BTreeMap<String, Input>) -> Result<Finding, FindingError> {
    let spec = spec(name).ok_or_else(|| FindingError::Unknown(name.to_owned()))?;
    let given = Given { spec, inputs };
    match (spec.call)(&given) {
        Err(FindingError::WrongKind { about, found, .. }) if found.starts_with("showing ") => {
            // A status where a number is needed: that is the finding.
            Ok(given.told(
                CANNOT_TELL,
                vec![],
                format!("{about} is {found}, not a number."),
                format!("Measure {about} again."),
            ))
        }
        other => other,
    }
}

/// What each calculation gives.
type Found = Result<Finding, FindingError>;

const CANNOT_TELL: &str = "cannot-tell";

/// The inputs of one call, read by the names of the spec.
pub(super) struct Given<'a> {
    spec: &'static FindingSpec,
    inputs: &'a BTreeMap<String, Input>,
}

impl Given<'_> {
    fn about(&self, name: &'static str) -> &'static str {
        self.spec
            .inputs
            .iter()
            .find(|input| input.name == name)
            .map_or(name, |input| input.about)
    }

    /// A number, or nothing if it is not given or unknown.
    fn maybe(&self, name: &'static str) -> Result<Option<f64>, FindingError> {
        let wrong = |found: String| FindingError::WrongKind {
            about: self.about(name),
            found,
            wanted: "number",
        };
        match self.inputs.get(name) {
            None => Ok(None),
            Some(Input::Number(number)) => f64::try_from(*number)
                .map(Some)
                .map_err(|_| wrong(number.to_string())),
            Some(Input::Status(code)) => Err(wrong(format!(
                "showing {}",
                code.replace('_', " ").to_lowercase()
            ))),
            Some(Input::Word(word)) => Err(wrong(word.clone())),
            Some(Input::Rows(_)) => Err(wrong("rows".to_owned())),
        }
    }

    fn number(&self, name: &'static str) -> Result<f64, FindingError> {
        self.maybe(name)?.ok_or_else(|| FindingError::Missing {
            name,
            about: self.about(name),
        })
    }

    fn maybe_word(&self, name: &'static str) -> Option<&str> {
        match self.inputs.get(name) {
            Some(Input::Word(word)) => Some(word),
            _ => None,
        }
    }

    fn word(&self, name: &'static str) -> Result<&str, FindingError> {
        self.maybe_word(name).ok_or_else(|| FindingError::Missing {
            name,
            about: self.about(name),
        })
    }

    fn status(&self, name: &'static str) -> Option<&str> {
        match self.inputs.get(name) {
            Some(Input::Status(code)) => Some(code),
            _ => None,
        }
    }

    fn rows(&self, name: &'static str) -> Result<&[Row], FindingError> {
        match self.inputs.get(name) {
            Some(Input::Rows(rows)) => Ok(rows),
            _ => Err(FindingError::Missing {
                name,
                about: self.about(name),
            }),
        }
    }

    /// A resistance, or over limit; any other status stops the calculation.
    fn ohms(&self, name: &'static str) -> Result<super::diagnosis::Ohms, FindingError> {
        match self.status(name) {
            Some("OL" | "OPEN") => Ok(super::diagnosis::Ohms::OverLimit),
            _ => self.number(name).map(super::diagnosis::Ohms::Value),
        }
    }

    /// Largest error of the meter at a reading, from the inputs of [`meter_spec`], if all are known.
    fn meter_limit(&self, reading: f64) -> Result<Option<f64>, FindingError> {
        let (percent, counts, resolution) = (
            self.maybe("meter_percent")?,
            self.maybe("meter_counts")?,
            self.maybe("meter_resolution")?,
        );
        let (Some(percent_of_reading), Some(counts), Some(resolution)) =
            (percent, counts, resolution)
        else {
            return Ok(None);
        };
        Ok(Some(
            super::meter::MeterSpec {
                percent_of_reading,
                counts,
                resolution,
            }
            .limit(reading)?,
        ))
    }

    fn told(
        &self,
        verdict: &'static str,
        figures: Vec<Figure>,
        reason: String,
        advice: String,
    ) -> Finding {
        let grade = self
            .spec
            .verdicts
            .iter()
            .find(|spec| spec.name == verdict)
            .map_or(Grade::CannotTell, |spec| spec.grade);
        Finding {
            verdict: Cow::Borrowed(verdict),
            grade,
            figures,
            reason,
            advice,
        }
    }
}

pub(super) const fn need(name: &'static str, unit: &'static str, about: &'static str) -> InputSpec {
    InputSpec {
        name,
        unit: Some(unit),
        required: true,
        about,
    }
}

pub(super) const fn may(name: &'static str, unit: &'static str, about: &'static str) -> InputSpec {
    InputSpec {
        name,
        unit: Some(unit),
        required: false,
        about,
    }
}

/// The three inputs of a meter's specification, all or none known (see `Given::meter_limit`);
/// one count is in the unit of the reading.
pub(super) const fn meter_spec(unit: &'static str) -> [InputSpec; 3] {
    [
        may(
            "meter_percent",
            "%",
            "accuracy of the meter, part of reading",
        ),
        may("meter_counts", "none", "accuracy of the meter, counts"),
        may("meter_resolution", unit, "one count of the meter"),
    ]
}

pub(super) const fn word(name: &'static str, required: bool, about: &'static str) -> InputSpec {
    InputSpec {
        name,
        unit: None,
        required,
        about,
    }
}

pub(super) const fn verdict(name: &'static str, grade: Grade) -> VerdictSpec {
    VerdictSpec { name, grade }
}

fn figure(name: &'static str, value: f64, unit: &'static str, places: u8) -> Figure {
    Figure {
        name: Cow::Borrowed(name),
        value: Some(value),
        unit: Cow::Borrowed(unit),
        places,
        text: None,
    }
}

/// A number as said in advice: sign only where it matters, no trailing zeros.
fn say(value: f64, places: u32) -> String {
    let text = fixed(value, places);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

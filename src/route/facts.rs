//! What a route needs to know of a run, from its journal. Holds nothing; the
//! journals stay the truth, and these facts can be thrown away and read again.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::RouteMark;
use crate::calc::finding::Grade;
use crate::core::question::value_text;
use crate::core::record::{Body, Cursor, Record, Value, Wall};
use crate::core::run::Saved;
use crate::job::{Job, PlateValue, Stage, StepKind};

/// The calculation that judges a meter against what is known.
const METER_CHECK: &str = "meter-check";
/// The reason that says that an actuator waits for a part.
pub(super) const WAITING: &str = "waiting for a part";

/// A run, as far as a route needs it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunFacts {
    /// Name of its folder.
    pub name: String,
    /// The tag, once it is known.
    pub tag: Option<String>,
    /// Job id.
    pub job: String,
    /// The route that it came from.
    pub route: Option<RouteMark>,
    /// When it began.
    pub began: Wall,
    /// When its last record was written.
    pub last: Wall,
    /// Where it stands.
    pub stands: Stands,
    /// As-found readings were taken.
    pub as_found: bool,
    /// An adjusting step was done.
    pub adjusted: bool,
    /// Steps that were passed over, with the reason.
    pub skipped: Vec<String>,
    /// Nameplate data that the sheet or the route gave when it began.
    #[serde(skip)]
    pub plate: BTreeMap<String, PlateValue>,
    /// The readings that count, digits and unit as given: by step, and by row and column of a set.
    #[serde(skip)]
    pub readings: BTreeMap<(String, usize, String), String>,
    /// When readings were given, in the order of the journal.
    pub read_at: Vec<Wall>,
    /// The meters that were used, by what is written on them.
    pub meters: Vec<String>,
    /// What a meter check came to; None where the run is none.
    pub check: Option<Check>,
    /// Its readings were those of the jobs before: whether each was measured, as was said.
    #[serde(default)]
    pub measured: Option<bool>,
}

/// Where a run stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Stands {
    /// It can be gone on with.
    Open {
        /// At which question, in words.
        at: String,
        /// It was to end, and something that was lifted is still to be restored, or the last thing
        /// that was done is that a step was passed over: why.
        because: Option<String>,
    },
    /// Gone through to its end.
    Complete,
    /// Ended before its last step.
    Ended {
        /// Why.
        reason: String,
    },
    /// Its journal or its job file cannot be read.
    Unreadable {
        /// Why.
        why: String,
    },
}

/// What a meter check came to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Check {
    /// What is written on the meter.
    pub meter: String,
    /// Said to be that at the end of the day.
    pub at_end: bool,
    /// When it was judged; when it was left, where it was not.
    pub at: Wall,
    /// How it came out.
    pub result: CheckResult,
}

/// How a meter check came out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum CheckResult {
    /// Each range reads what it should.
    Good,
    /// At least one range does not.
    Failed(String),
    /// It was not finished, or the meter's limits are not known.
    CannotTell(String),
}

impl RunFacts {
    /// The facts of a run, from its records. None where they do not begin as a run does.
    #[must_use]
    pub fn of(name: &str, job: &Job, records: &[Record]) -> Option<Self> {
        let (first, rest) = records.split_first()?;
        let Body::Started(started) = &first.body else {
            return None;
        };
        let mut saved = Saved::new(job, started.clone());
        for record in rest {
            saved.apply(job, record);
        }
        let last = records.last().map_or(first.at, |record| record.at);
        let mut facts = Self {
            name: name.to_owned(),
            tag: saved.plate_word("tag").map(str::to_owned),
            job: started.job.clone(),
            route: started.route.clone(),
            began: first.at,
            last,
            stands: stands(job, &saved, records),
            as_found: false,
            adjusted: saved.adjusted_at.is_some(),
            skipped: saved
                .skipped
                .iter()
                .map(|(step, reason)| format!("{}: {reason}", title(job, step)))
                .collect(),
            plate: started.plate.clone(),
            readings: BTreeMap::new(),
            read_at: records
                .iter()
                .filter(|record| matches!(&record.body, Body::Answered(answer) if matches!(answer.value, Value::Number { .. })))
                .map(|record| record.at)
                .collect(),
            meters: job
                .plate
                .iter()
                .filter(|item| item.id.ends_with("meter-id"))
                .filter_map(|item| saved.plate_word(&item.id).map(str::to_owned))
                .collect(),
            check: None,
            measured: records.iter().rev().find_map(|record| match &record.body {
                Body::Alike { measured, .. } => Some(*measured),
                _ => None,
            }),
        };
        for kept in saved
            .answers
            .iter()
            .filter(|kept| !kept.withdrawn && kept.stale.is_none())
        {
            let answer = &kept.answer;
            facts.as_found |= answer.stage == Stage::AsFound;
            if matches!(answer.value, Value::Number { .. }) {
                let (row, column) = answer
                    .row
                    .as_ref()
                    .map_or((0, String::new()), |row| (row.index, row.column.clone()));
                facts.readings.insert(
                    (answer.step.clone(), row, column),
                    value_text(job, &answer.step, &answer.value),
                );
            }
        }
        facts.check = check(job, &saved, records);
        Some(facts)
    }

    /// A run of which no more is known than that it cannot be read.
    #[must_use]
    pub fn unreadable(name: &str, why: String) -> Self {
        let nothing = Wall {
            utc_ms: 0,
            offset_min: 0,
        };
        Self {
            name: name.to_owned(),
            tag: None,
            job: String::new(),
            route: None,
            began: nothing,
            last: nothing,
            stands: Stands::Unreadable { why },
            as_found: false,
            adjusted: false,
            skipped: Vec::new(),
            plate: BTreeMap::new(),
            readings: BTreeMap::new(),
            read_at: Vec::new(),
            meters: Vec::new(),
            check: None,
            measured: None,
        }
    }

    /// True if it can be gone on with.
    #[must_use]
    pub fn is_open(&self) -> bool {
        matches!(self.stands, Stands::Open { .. })
    }
}

fn title(job: &Job, step: &str) -> String {
    job.index_of(step)
        .map_or_else(|| step.to_owned(), |at| job.steps[at].title.clone())
}

fn stands(job: &Job, saved: &Saved, records: &[Record]) -> Stands {
    if let Some(Body::Closed { complete, reason }) = records
        .iter()
        .rev()
        .map(|record| &record.body)
        .find(|body| matches!(body, Body::Closed { .. }))
    {
        return if *complete {
            Stands::Complete
        } else {
            Stands::Ended {
                reason: reason
                    .clone()
                    .unwrap_or_else(|| "no reason was given".to_owned()),
            }
        };
    }
    let at = match &saved.cursor {
        Cursor::Plate(item) => job
            .plate_item(item)
            .map_or_else(|| item.clone(), |item| item.title.clone()),
        Cursor::Step { id, .. } => title(job, id),
        Cursor::Ending | Cursor::Closed => saved.outstanding.iter().next().map_or_else(
            || "the close-out".to_owned(),
            |item| format!("{item}, to be restored"),
        ),
    };
    Stands::Open {
        at,
        because: saved.ending.clone().or_else(|| last_skip(records)),
    }
}

/// Why the last step was passed over, if nothing was answered since.
fn last_skip(records: &[Record]) -> Option<String> {
    records.iter().rev().find_map(|record| match &record.body {
        Body::Skipped { reason, .. } => Some(Some(reason.clone())),
        Body::Answered(_) | Body::Plate { .. } | Body::Held { .. } | Body::Withdrawn { .. } => {
            Some(None)
        }
        _ => None,
    })?
}

fn check(job: &Job, saved: &Saved, records: &[Record]) -> Option<Check> {
    let judged: Vec<&str> = job
        .steps
        .iter()
        .filter(|step| matches!(&step.kind, StepKind::Finding(finding) if finding.calculation == METER_CHECK))
        .map(|step| step.id.as_str())
        .collect();
    if judged.is_empty() {
        return None;
    }
    let at = records
        .iter()
        .rev()
        .find(|record| matches!(&record.body, Body::Found { step, .. } if judged.contains(&step.as_str())))
        .or(records.last())?
        .at;
    let mut bad = Vec::new();
    let mut open = Vec::new();
    for step in &judged {
        match saved.findings.get(*step) {
            Some(finding) if finding.grade == Grade::Good => {}
            Some(finding) if finding.grade == Grade::Bad => bad.push(title(job, step)),
            Some(_) => open.push(format!("{}: cannot tell", title(job, step))),
            None => open.push(format!("{}: not judged", title(job, step))),
        }
    }
    let result = if !bad.is_empty() {
        CheckResult::Failed(format!("{}: outside", bad.join(", ")))
    } else if !open.is_empty() {
        CheckResult::CannotTell(open.join(", "))
    } else {
        CheckResult::Good
    };
    Some(Check {
        meter: saved.plate_word("meter-id").unwrap_or_default().to_owned(),
        at_end: saved.plate_word("when") == Some("end"),
        at,
        result,
    })
}

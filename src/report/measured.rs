//! Readings as found and as left: single ones in pairs, sets as tables.

use rust_decimal::Decimal;

use super::build::Folded;
use super::types::{Answer, Pair, Run, RunCell, RunColumn, RunLimit, RunRow, Side};
use crate::calc::finding::Grade;
use crate::calc::{rounding, signal};
use crate::core::question::{command_at, with_unit};
use crate::core::record::{Row, Value};
use crate::core::run::{Kept, Saved};
use crate::job::{ReadingSet, Source, Stage, Step, StepKind};

/// One pair for each quantity that a single step measures as found or as left.
pub(super) fn pairs(folded: &Folded, answers: &[Answer]) -> Vec<Pair> {
    let single = |step: &&Step| {
        matches!(step.stage, Stage::AsFound | Stage::AsLeft)
            && !matches!(step.kind, StepKind::ReadingSet(_))
    };
    let mut words: Vec<&str> = Vec::new();
    for word in folded
        .job
        .steps
        .iter()
        .filter(single)
        .filter_map(|step| step.measures.as_deref())
    {
        if !words.contains(&word) {
            words.push(word);
        }
    }
    words
        .into_iter()
        .filter_map(|word| {
            let steps = |stage| {
                folded.job.steps.iter().filter(single).filter(move |step| {
                    step.stage == stage && step.measures.as_deref() == Some(word)
                })
            };
            let (found, found_side) = side(folded, answers, steps(Stage::AsFound));
            let (left, left_side) = side(folded, answers, steps(Stage::AsLeft));
            if found_side.shown.is_none()
                && left_side.shown.is_none()
                && found_side.missing.is_none()
                && left_side.missing.is_none()
            {
                return None;
            }
            let change = found
                .zip(left)
                .and_then(|(found, left)| change(&found.answer.value, &left.answer.value));
            Some(Pair {
                measures: word.to_owned(),
                as_found: found_side,
                as_left: left_side,
                change,
            })
        })
        .collect()
}

fn side<'a, 'f>(
    folded: &'f Folded,
    answers: &[Answer],
    steps: impl Iterator<Item = &'a Step>,
) -> (Option<&'f Kept>, Side) {
    let steps: Vec<&Step> = steps.collect();
    let kept = steps
        .iter()
        .filter_map(|step| folded.saved.answer(&step.id))
        .max_by_key(|kept| kept.seq);
    let side = Side {
        shown: kept.map(|kept| folded.shown(&kept.answer)),
        missing: if kept.is_some() {
            None
        } else {
            steps
                .iter()
                .find_map(|step| folded.why_missing(&step.id, None))
        },
        uncertainty: kept.and_then(|kept| {
            answers
                .iter()
                .find(|answer| answer.seq == kept.seq)?
                .uncertainty
                .clone()
        }),
        seq: kept.map(|kept| kept.seq),
        replaced: kept
            .map(|kept| folded.replaced_by(&kept.answer))
            .unwrap_or_default(),
        corrected_after_freeze: kept
            .is_some_and(|kept| folded.is_after_freeze(kept.seq, &kept.answer)),
        out_of_range: kept.is_some_and(|kept| kept.answer.out_of_range),
    };
    (kept, side)
}

fn change(found: &Value, left: &Value) -> Option<String> {
    match (found, left) {
        (
            Value::Number {
                value: found,
                unit: one,
            },
            Value::Number {
                value: left,
                unit: other,
            },
        ) if one == other => Some(with_unit(&signed(left.checked_sub(*found)?), one)),
        _ => None,
    }
}

/// One table for each reading set that has a reading.
pub(super) fn runs(folded: &Folded, answers: &[Answer]) -> Vec<Run> {
    folded
        .job
        .steps
        .iter()
        .filter_map(|step| match &step.kind {
            StepKind::ReadingSet(set) if answers.iter().any(|answer| answer.step == step.id) => {
                Some(run(folded, answers, step, set))
            }
            _ => None,
        })
        .collect()
}

fn run(folded: &Folded, answers: &[Answer], step: &Step, set: &ReadingSet) -> Run {
    let limit = run_limit(folded, step);
    let kept = folded.saved.rows(&step.id);
    let most = limit
        .as_ref()
        .and_then(|limit| limit.value.parse::<Decimal>().ok());
    let mut rows: Vec<RunRow> = Vec::new();
    for cell in 0.. {
        let Some(row) = Saved::row_at(set, cell) else {
            break;
        };
        let found = kept
            .iter()
            .copied()
            .rfind(|kept| kept.answer.row.as_ref() == Some(&row));
        let made = run_cell(folded, step, &row, found, most);
        if cell % set.columns.len() == 0 {
            let command = command_at(&folded.saved, row.point);
            rows.push(RunRow {
                point: row.point.to_string(),
                up: row.up,
                command,
                cells: Vec::new(),
            });
        }
        if let Some(row) = rows.last_mut() {
            row.cells.push(made);
        }
    }
    Run {
        step: step.id.clone(),
        title: step.title.clone(),
        stage: step.stage,
        measures: step.measures.clone(),
        limit,
        columns: set
            .columns
            .iter()
            .map(|column| RunColumn {
                id: column.id.clone(),
                title: column.title.clone(),
            })
            .collect(),
        rows,
        earlier_readings: answers
            .iter()
            .filter(|answer| {
                answer.step == step.id && answer.counts == super::types::Counts::EarlierAttempt
            })
            .count(),
        judged: folded.job.steps.iter().any(|other| match &other.kind {
            StepKind::Finding(wanted) => {
                wanted
                    .inputs
                    .values()
                    .any(|input| *input == Source::Rows(step.id.clone()))
                    && folded
                        .saved
                        .findings
                        .get(&other.id)
                        .is_some_and(|finding| finding.grade != Grade::CannotTell)
            }
            _ => false,
        }),
    }
}

fn run_cell(
    folded: &Folded,
    step: &Step,
    row: &Row,
    kept: Option<&Kept>,
    most: Option<Decimal>,
) -> RunCell {
    let deviation = kept.and_then(|kept| deviation(folded, row, &kept.answer.value));
    RunCell {
        seq: kept.map(|kept| kept.seq),
        shown: kept.map(|kept| folded.shown(&kept.answer)),
        missing: match kept {
            Some(_) => None,
            None => Some(
                folded
                    .why_missing(&step.id, Some(row))
                    .unwrap_or_else(|| "not read".to_owned()),
            ),
        },
        beyond: deviation
            .zip(most)
            .is_some_and(|(deviation, most)| deviation.abs() > most),
        deviation: deviation.map(shown_deviation),
        deviation_unrounded: deviation,
        replaced: kept
            .map(|kept| folded.replaced_by(&kept.answer))
            .unwrap_or_default(),
        out_of_range: kept.is_some_and(|kept| kept.answer.out_of_range),
    }
}

/// Deviation from the point in % of span: of a position in %, or of a signal in its own unit.
fn deviation(folded: &Folded, row: &Row, value: &Value) -> Option<Decimal> {
    let Value::Number { value, unit } = value else {
        return None;
    };
    if unit == "%" {
        return value.checked_sub(row.point);
    }
    if folded.saved.plate_word("signal-unit")? != unit {
        return None;
    }
    let (low, high) = (
        folded.saved.plate_number("signal-low")?,
        folded.saved.plate_number("signal-high")?,
    );
    let action = folded
        .saved
        .plate_word("action")
        .and_then(signal::Action::named)
        .unwrap_or(signal::Action::Direct);
    let number = |decimal: Decimal| f64::try_from(decimal).ok();
    let (low, high) = (number(low)?, number(high)?);
    let percent = signal::signal_to_percent(number(*value)?, low, high, action).ok()?;
    // Nine decimals: far beyond any meter, and free of the noise of binary numbers.
    rounding::fixed(percent - number(row.point)?, 9)
        .parse::<Decimal>()
        .ok()
        .map(|decimal| decimal.normalize())
}

/// At most three decimals, with sign.
fn shown_deviation(deviation: Decimal) -> String {
    if deviation.scale() <= 3 {
        return signed(deviation);
    }
    let rounded = rounding::half_even(&deviation.to_string(), 3)
        .ok()
        .and_then(|text| text.parse().ok());
    signed(rounded.unwrap_or(deviation))
}

fn signed(number: Decimal) -> String {
    if number.is_zero() {
        number.abs().to_string()
    } else if number.is_sign_positive() {
        format!("+{number}")
    } else {
        number.to_string()
    }
}

/// The limit named "inaccuracy" of a finding that is worked out from this set.
fn run_limit(folded: &Folded, step: &Step) -> Option<RunLimit> {
    folded.job.steps.iter().find_map(|other| {
        let StepKind::Finding(wanted) = &other.kind else {
            return None;
        };
        if !wanted
            .inputs
            .values()
            .any(|input| *input == Source::Rows(step.id.clone()))
        {
            return None;
        }
        let Some(Source::Limit(id)) = wanted.inputs.get("inaccuracy") else {
            return None;
        };
        let limit = folded.saved.started.limits.get(id)?;
        Some(RunLimit {
            id: id.clone(),
            value: limit.value.to_string(),
            source: limit.source.clone(),
        })
    })
}

/// Runs that measure the same stand side by side.
pub(super) fn grouped(runs: &[Run]) -> Vec<Vec<&Run>> {
    let mut groups: Vec<Vec<&Run>> = Vec::new();
    for run in runs {
        let same = |group: &&mut Vec<&Run>| {
            run.measures.is_some()
                && group.iter().all(|other| {
                    other.measures == run.measures
                        && other.columns == run.columns
                        && other.stage != run.stage
                })
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(run),
            None => groups.push(vec![run]),
        }
    }
    groups
}

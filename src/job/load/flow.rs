//! Follows the ways through a job: every step can be reached, every step leads to
//! the end, no ring goes round without a question, and nothing is used before it
//! can be known. Holds nothing.

use super::check::END;
use super::draft::Draft;
use super::fault::shown;
use crate::calc::finding::spec;
use crate::core::finding::CANNOT_TELL;
use crate::job::{ConditionOf, Piece, Placeholder, Source, Stage, Step, StepKind, Template};

/// Checks the ways through the job. The references are sound by now.
pub(in crate::job) fn follow(draft: &mut Draft) {
    let ways: Vec<Vec<usize>> = (0..draft.steps.len())
        .map(|at| ways_from(draft, at))
        .collect();
    let mut first = Vec::new();
    arrive(&draft.steps, None, 0, &mut first);
    let reached = spread(&ways, &first);
    for (at, _) in reached
        .iter()
        .enumerate()
        .take(draft.steps.len())
        .filter(|(_, reached)| !**reached)
    {
        let what = format!("step \"{}\" is never reached", shown(&draft.steps[at].id));
        let span = draft.step_ids[at].span.clone();
        draft
            .faults
            .add(&span, what, "lead a `next` to it, or take it out");
    }
    let end = draft.steps.len();
    let mut back = vec![Vec::new(); end + 1];
    for (from, tos) in ways.iter().enumerate() {
        for to in tos {
            back[*to].push(from);
        }
    }
    let ends = spread(&back, &[end]);
    // Where there is no way out, the steps in front have none either: the last one tells it.
    if let Some(at) = (0..end).rev().find(|at| reached[*at] && !ends[*at]) {
        let what = format!(
            "from step \"{}\" there is no way to the end",
            shown(&draft.steps[at].id)
        );
        let span = draft.step_ids[at].span.clone();
        draft.faults.add(
            &span,
            what,
            format!("let some outcome go on in order, or to \"{END}\""),
        );
    }
    frozen_too_early(draft, &ways, &first);
    rings(draft, &ways);
    unknown_yet(draft, &ways);
}

/// Where a run can go from a step; `steps.len()` is the end.
fn ways_from(draft: &Draft, at: usize) -> Vec<usize> {
    let steps = &draft.steps;
    let step = &steps[at];
    let mut ways = Vec::new();
    let mut go = |target: Option<&str>| match target.or(step.next.as_deref()) {
        Some(END) => ways.push(steps.len()),
        Some(id) => {
            if let Some(to) = steps.iter().position(|step| step.id == id) {
                arrive(steps, Some(step), to, &mut ways);
            }
        }
        None => arrive(steps, Some(step), at + 1, &mut ways),
    };
    match &step.kind {
        StepKind::Choice(options) => {
            for option in options {
                go(option.next.as_deref());
            }
        }
        StepKind::Gate { refused } => {
            go(None);
            if refused.is_some() {
                go(refused.as_deref());
            }
        }
        StepKind::Finding(finding) => {
            for outcome in finding.outcomes.values() {
                go(outcome.next.as_deref());
            }
            let spec = spec(&finding.calculation);
            let verdicts = spec
                .iter()
                .flat_map(|spec| spec.verdicts.iter().map(|verdict| verdict.name));
            if verdicts
                .chain([CANNOT_TELL])
                .any(|name| !finding.outcomes.contains_key(name))
            {
                go(None);
            }
        }
        _ => go(None),
    }
    ways.sort_unstable();
    ways.dedup();
    ways
}

/// The steps that a run can stand on when it is sent to `to`: those whose conditions
/// do not hold are passed over.
fn arrive(steps: &[Step], from: Option<&Step>, to: usize, ways: &mut Vec<usize>) {
    for (at, step) in steps.iter().enumerate().skip(to) {
        ways.push(at);
        // What held when the step before was asked still holds, unless it is about that very step.
        let holds = step.when.iter().all(|condition| {
            from.is_some_and(|from| {
                from.when.contains(condition)
                    && !matches!(&condition.of, ConditionOf::Step(id) if *id == from.id)
            })
        });
        if holds {
            return;
        }
    }
    ways.push(steps.len());
}

/// Everything that can be reached from `first`, `first` included.
fn spread(ways: &[Vec<usize>], first: &[usize]) -> Vec<bool> {
    let size = ways
        .len()
        .max(first.iter().max().map_or(0, |at| at + 1))
        .max(ways.iter().flatten().max().map_or(0, |at| at + 1));
    let mut reached = vec![false; size];
    let mut open: Vec<usize> = first.to_vec();
    while let Some(at) = open.pop() {
        if !reached[at] {
            reached[at] = true;
            open.extend(ways.get(at).into_iter().flatten());
        }
    }
    reached
}

/// As found is what was there before a screw was turned: some way must lead to it without.
fn frozen_too_early(draft: &mut Draft, ways: &[Vec<usize>], first: &[usize]) {
    let untouched: Vec<Vec<usize>> = ways
        .iter()
        .zip(&draft.steps)
        .map(|(ways, step)| {
            if step.adjusts {
                Vec::new()
            } else {
                ways.clone()
            }
        })
        .collect();
    let reached = spread(&untouched, first);
    for (at, step) in draft.steps.iter().enumerate() {
        if step.stage == Stage::AsFound && reached.get(at) != Some(&true) {
            let what = format!(
                "as-found step \"{}\" comes only after an adjusting step",
                shown(&step.id)
            );
            let span = draft.step_ids[at].span.clone();
            draft.faults.add(
                &span,
                what,
                "move it in front, or give it stage = \"as-left\"",
            );
        }
    }
}

/// A ring of findings would go round for ever without asking anybody.
fn rings(draft: &mut Draft, ways: &[Vec<usize>]) {
    let is_finding: Vec<bool> = draft
        .steps
        .iter()
        .map(|step| matches!(step.kind, StepKind::Finding(_)))
        .collect();
    let by_itself: Vec<Vec<usize>> = ways
        .iter()
        .enumerate()
        .map(|(from, tos)| {
            let tos = tos
                .iter()
                .copied()
                .filter(|to| is_finding[from] && is_finding.get(*to) == Some(&true));
            tos.collect()
        })
        .collect();
    for at in (0..draft.steps.len()).filter(|at| is_finding[*at]) {
        if spread(&by_itself, &by_itself[at]).get(at) == Some(&true) {
            let what = format!(
                "finding \"{}\" can lead back to itself without a question",
                shown(&draft.steps[at].id)
            );
            let span = draft.step_ids[at].span.clone();
            draft.faults.add(
                &span,
                what,
                "let the ring pass a step that the technician answers, without `when`",
            );
        }
    }
}

/// A sentence or a calculation can use only what has been answered before it.
fn unknown_yet(draft: &mut Draft, ways: &[Vec<usize>]) {
    let count = draft.steps.len();
    let mut after: Vec<Option<Vec<bool>>> = vec![None; count];
    let mut faults = Vec::new();
    for (at, step) in draft.steps.iter().enumerate() {
        for (used, itself_counts) in used_by(step) {
            let Some(source) = draft.steps.iter().position(|other| other.id == used) else {
                continue;
            };
            if itself_counts && source == at {
                continue;
            }
            let from = after[source].get_or_insert_with(|| spread(ways, &ways[source]));
            if from.get(at) != Some(&true) {
                faults.push((at, used.to_owned()));
            }
        }
    }
    for (at, used) in faults {
        let what = format!(
            "step \"{}\" uses step \"{}\", which never comes before it",
            draft.steps[at].id,
            shown(&used)
        );
        let span = draft.step_ids[at].span.clone();
        draft
            .faults
            .add(&span, what, "name an earlier step, or change their order");
    }
}

/// Steps whose answers a step uses; true where it may be the step itself.
fn used_by(step: &Step) -> Vec<(&str, bool)> {
    let mut used: Vec<(&str, bool)> = Vec::new();
    in_template(&step.ask, false, &mut used);
    match &step.kind {
        StepKind::ReadingSet(set) => {
            for column in &set.columns {
                in_template(&column.ask, false, &mut used);
            }
        }
        StepKind::Finding(finding) => {
            for source in finding.inputs.values() {
                if let Source::Step(id) | Source::Rows(id) | Source::Figure { step: id, .. } =
                    source
                {
                    used.push((id, false));
                }
            }
            for outcome in finding.outcomes.values() {
                // What is said can depend on this very finding.
                if let Some(say) = &outcome.say {
                    in_template(say, true, &mut used);
                }
            }
        }
        _ => {}
    }
    for condition in &step.when {
        if let ConditionOf::Step(id) = &condition.of {
            used.push((id, false));
        }
    }
    used
}

fn in_template<'s>(template: &'s Template, itself: bool, used: &mut Vec<(&'s str, bool)>) {
    for piece in &template.0 {
        if let Piece::Placeholder(
            Placeholder::Step(id) | Placeholder::Advice(id) | Placeholder::Figure { step: id, .. },
        ) = piece
        {
            used.push((id, itself));
        }
    }
}

//! Checks over a whole job: references, branches, and what must be put back.

use std::collections::BTreeSet;

use super::fault::{Gather, nearest};
use super::{
    Condition, ConditionOf, Job, NumberRange, Piece, Placeholder, PlateKind, Source, Step,
    StepKind, Template,
};

/// Checks a job whose single parts are right.
pub(super) fn whole(job: &Job, gather: &mut Gather) {
    let check = Check { job };
    for item in &job.plate {
        check.conditions(&item.when, &item.id, gather);
        if let PlateKind::Number(range) = &item.kind {
            check.range(range, &item.id, gather);
        }
        if let PlateKind::Choice(options) = &item.kind {
            for other in options.iter().flat_map(|option| option.sets.keys()) {
                check.plate(other, &item.id, gather);
            }
        }
    }
    for step in &job.steps {
        check.step(step, gather);
    }
    check.reachable(gather);
    check.rings(gather);
    for step in &job.steps {
        for item in &step.lifts {
            if !job.steps.iter().any(|other| other.restores.contains(item)) {
                check.at(&step.id, gather, format!("{item} is lifted here and restored nowhere; add restores = [\"{item}\"] to the step that puts it back"));
            }
        }
    }
}

struct Check<'a> {
    job: &'a Job,
}

impl Check<'_> {
    /// Faults here stand at the id of the step or item they belong to.
    fn at(&self, id: &str, gather: &mut Gather, why: String) {
        let quoted = format!("\"{id}\"");
        let place = gather
            .text
            .match_indices(&quoted)
            .find(|(at, _)| gather.text[..*at].trim_end().ends_with("id ="))
            .map_or(0, |(at, _)| at);
        let _ = self.job;
        gather.at(place, why);
    }

    fn plate(&self, item: &str, id: &str, gather: &mut Gather) {
        if self.job.plate_item(item).is_none() {
            let hint = nearest(item, self.job.plate.iter().map(|item| item.id.as_str()));
            self.at(id, gather, format!("there is no plate item {item}{hint}"));
        }
    }

    fn step_there(&self, step: &str, id: &str, gather: &mut Gather) {
        if self.job.index_of(step).is_none() {
            let hint = nearest(step, self.job.steps.iter().map(|step| step.id.as_str()));
            self.at(id, gather, format!("there is no step {step}{hint}"));
        }
    }

    fn limit(&self, limit: &str, id: &str, gather: &mut Gather) {
        if !self.job.limits.contains_key(limit) {
            let hint = nearest(limit, self.job.limits.keys().map(String::as_str));
            self.at(id, gather, format!("there is no limit {limit}{hint}"));
        }
    }

    fn conditions(&self, conditions: &[Condition], id: &str, gather: &mut Gather) {
        for condition in conditions {
            match &condition.of {
                ConditionOf::Step(step) => self.step_there(step, id, gather),
                ConditionOf::Plate(item) => self.plate(item, id, gather),
            }
        }
    }

    fn range(&self, range: &NumberRange, id: &str, gather: &mut Gather) {
        match range {
            NumberRange::Fixed { .. } => {}
            NumberRange::Scaled { plate, .. } => {
                self.plate(plate, id, gather);
                if let Some(item) = self.job.plate_item(plate)
                    && !matches!(item.kind, PlateKind::Number(_))
                {
                    self.at(
                        id,
                        gather,
                        format!("{plate} is no number, so no range can be worked out from it"),
                    );
                }
            }
            NumberRange::ByUnit { plate, ranges } => {
                self.plate(plate, id, gather);
                if ranges.is_empty() {
                    self.at(id, gather, "give one pair for each unit".to_owned());
                }
                if let Some(PlateKind::Choice(options)) =
                    self.job.plate_item(plate).map(|item| &item.kind)
                {
                    for option in options {
                        if !ranges.contains_key(&option.id) {
                            self.at(id, gather, format!("{plate} can be {}, which has no range here; add {} = [\"low\", \"high\"]", option.id, option.id));
                        }
                    }
                }
            }
        }
    }

    fn template(&self, template: &Template, id: &str, gather: &mut Gather) {
        for piece in &template.0 {
            let Piece::Placeholder(place) = piece else {
                continue;
            };
            match place {
                Placeholder::Plate(item) => self.plate(item, id, gather),
                Placeholder::Limit(limit) => self.limit(limit, id, gather),
                Placeholder::Step(step) => self.step_there(step, id, gather),
                Placeholder::Figure { step, .. } | Placeholder::Advice(step) => {
                    self.finding_there(step, id, gather);
                }
                Placeholder::Signal | Placeholder::SignalAt(_) => {
                    for item in ["signal-low", "signal-high", "signal-unit", "action"] {
                        self.plate(item, id, gather);
                    }
                }
                Placeholder::Point | Placeholder::Direction => {}
            }
        }
    }

    fn finding_there(&self, step: &str, id: &str, gather: &mut Gather) {
        self.step_there(step, id, gather);
        if let Some(at) = self.job.index_of(step)
            && !matches!(self.job.steps[at].kind, StepKind::Finding(_))
        {
            self.at(id, gather, format!("{step} is no finding"));
        }
    }

    fn next(&self, next: &str, id: &str, gather: &mut Gather) {
        if next != "end" {
            self.step_there(next, id, gather);
        }
    }

    fn step(&self, step: &Step, gather: &mut Gather) {
        let id = step.id.as_str();
        self.conditions(&step.when, id, gather);
        self.template(&step.ask, id, gather);
        for next in self.nexts(step) {
            self.next(&next, id, gather);
        }
        match &step.kind {
            StepKind::Reading(range) => self.range(range, id, gather),
            StepKind::ReadingSet(set) => {
                for column in &set.columns {
                    self.range(&column.range, id, gather);
                    self.template(&column.ask, id, gather);
                }
            }
            StepKind::Finding(finding) => {
                for source in finding.inputs.values() {
                    match source {
                        Source::Step(step) => self.step_there(step, id, gather),
                        Source::Plate(item) => self.plate(item, id, gather),
                        Source::Limit(limit) => self.limit(limit, id, gather),
                        Source::Rows(step) => {
                            self.step_there(step, id, gather);
                            if let Some(at) = self.job.index_of(step)
                                && !matches!(self.job.steps[at].kind, StepKind::ReadingSet(_))
                            {
                                self.at(
                                    id,
                                    gather,
                                    format!("{step} is no set of readings; write step.{step}"),
                                );
                            }
                        }
                        Source::Figure { step, .. } => self.finding_there(step, id, gather),
                        Source::Number(_) | Source::Word(_) => {}
                    }
                }
                for outcome in finding.outcomes.values() {
                    if let Some(say) = &outcome.say {
                        self.template(say, id, gather);
                    }
                }
            }
            _ => {}
        }
    }

    /// Where a step can lead by name.
    fn nexts(&self, step: &Step) -> Vec<String> {
        let mut nexts: Vec<String> = step.next.iter().cloned().collect();
        match &step.kind {
            StepKind::Gate {
                refused: Some(next),
            } => nexts.push(next.clone()),
            StepKind::Choice(options) => {
                nexts.extend(options.iter().filter_map(|option| option.next.clone()));
            }
            StepKind::Finding(finding) => {
                nexts.extend(
                    finding
                        .outcomes
                        .values()
                        .filter_map(|outcome| outcome.next.clone()),
                );
            }
            _ => {}
        }
        let _ = self.job;
        nexts
    }

    fn successors(&self, at: usize) -> Vec<usize> {
        let step = &self.job.steps[at];
        let mut next: Vec<usize> = self
            .nexts(step)
            .iter()
            .filter_map(|next| self.job.index_of(next))
            .collect();
        let leads_on = match &step.kind {
            _ if step.next.is_some() => !step.when.is_empty(),
            StepKind::Choice(options) => {
                options.iter().any(|option| option.next.is_none()) || !step.when.is_empty()
            }
            _ => true,
        };
        if leads_on && at + 1 < self.job.steps.len() {
            next.push(at + 1);
        }
        next
    }

    fn reachable(&self, gather: &mut Gather) {
        let mut seen = BTreeSet::from([0]);
        let mut open = vec![0];
        while let Some(at) = open.pop() {
            for next in self.successors(at) {
                if seen.insert(next) {
                    open.push(next);
                }
            }
        }
        for (at, step) in self.job.steps.iter().enumerate() {
            if !seen.contains(&at) {
                self.at(&step.id, gather, format!("nothing leads to the step {}; give another step next = \"{}\", or take it out", step.id, step.id));
            }
        }
    }

    /// A ring of findings alone would go round for ever without asking anybody.
    fn rings(&self, gather: &mut Gather) {
        let is_finding = |at: usize| matches!(self.job.steps[at].kind, StepKind::Finding(_));
        for start in (0..self.job.steps.len()).filter(|at| is_finding(*at)) {
            let mut seen = BTreeSet::new();
            let mut open = vec![start];
            while let Some(at) = open.pop() {
                for next in self
                    .successors(at)
                    .into_iter()
                    .filter(|next| is_finding(*next))
                {
                    if next == start {
                        let id = &self.job.steps[start].id;
                        self.at(id, gather, format!("from {id} the job can come back to {id} without a question; put a reading or an instruction between"));
                        return;
                    }
                    if seen.insert(next) {
                        open.push(next);
                    }
                }
            }
        }
    }
}

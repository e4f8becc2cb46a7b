//! Found, done, left: what a supervisor reads first after the exceptions.

use super::types::{Answer, AnswerKind, Counts, FindingLine, Summary};
use crate::calc::finding::Grade;
use crate::job::Stage;

pub(super) fn summary(findings: &[FindingLine], answers: &[Answer], frozen: bool) -> Summary {
    Summary {
        found: judged(findings, Stage::AsFound),
        done: done(answers, frozen),
        left: judged(findings, Stage::AsLeft),
    }
}

/// The latest findings of a part of the work: how many are good, and the others by name.
fn judged(findings: &[FindingLine], stage: Stage) -> String {
    let latest: Vec<&FindingLine> = findings
        .iter()
        .filter(|finding| finding.latest && finding.stage == Some(stage))
        .collect();
    let is_good =
        |finding: &&&FindingLine| finding.grade == Grade::Good && finding.outdated.is_none();
    let good = latest.iter().filter(is_good).count();
    if latest.is_empty() {
        return "not judged".to_owned();
    }
    let rest: Vec<String> = latest
        .iter()
        .filter(|finding| !is_good(finding))
        .map(|finding| {
            let verdict = finding.verdict.replace('-', " ");
            if finding.outdated.is_some() {
                format!(
                    "{}: {verdict}, from a value that was replaced",
                    finding.title
                )
            } else {
                format!("{}: {verdict}", finding.title)
            }
        })
        .collect();
    let count = format!("{good} of {} findings good", latest.len());
    if rest.is_empty() {
        count
    } else {
        format!("{}; {count}", rest.join("; "))
    }
}

/// What was adjusted, each thing once, with what was chosen.
fn done(answers: &[Answer], frozen: bool) -> String {
    let mut done: Vec<String> = Vec::new();
    for answer in answers.iter().filter(|answer| {
        answer.stage == Stage::Adjust
            && matches!(answer.counts, Counts::Yes | Counts::EarlierAttempt)
    }) {
        let line = match answer.kind {
            AnswerKind::Instruction => answer.title.clone(),
            AnswerKind::Choice => format!("{}: {}", answer.title, answer.shown),
            _ => continue,
        };
        if !done.contains(&line) {
            done.push(line);
        }
    }
    match (done.is_empty(), frozen) {
        (false, _) => done.join("; "),
        (true, true) => {
            "an adjusting step was reached, and nothing was said to be done there".to_owned()
        }
        (true, false) => "nothing was adjusted".to_owned(),
    }
}

//! A finding does not outlive the readings that it was worked out from.

use sayback::core::record::{Body, Cursor};
use sayback::report::{self, Weight};

use super::scenario::{Journal, fv_118, number};

pub fn as_left(journal: &Journal) -> String {
    let text = report::text(&journal.report());
    let line = text
        .lines()
        .find_map(|line| line.strip_prefix("Left: "))
        .unwrap();
    line.rsplit("; ").next().unwrap().to_owned()
}

fn outdated(journal: &Journal, step: &str) -> Option<String> {
    let report = journal.report();
    let finding = report
        .findings
        .iter()
        .rfind(|finding| finding.step == step)
        .unwrap();
    let told = report.exceptions.iter().any(|exception| {
        exception.weight == Weight::Bad
            && exception.seq == Some(finding.seq)
            && exception
                .what
                .starts_with("Worked out from a value that was replaced")
    });
    assert_eq!(told, finding.outdated.is_some());
    let on_page = report::html(&report).contains("from a value that was replaced</span>");
    assert_eq!(
        on_page,
        report
            .findings
            .iter()
            .any(|finding| finding.outdated.is_some())
    );
    finding.outdated.clone()
}

#[test]
fn a_finding_does_not_outlive_the_reading_it_was_worked_out_from() {
    let mut journal = fv_118();
    assert!(
        journal
            .report()
            .findings
            .iter()
            .all(|finding| finding.outdated.is_none())
    );
    assert_eq!(as_left(&journal), "3 of 3 findings good");
    let cell = journal
        .saved
        .rows("run-left")
        .iter()
        .find(|kept| kept.answer.row.as_ref().unwrap().index == 2)
        .unwrap()
        .seq;
    let new = journal.correct(cell, number("56.6", "%"), "misread");
    assert_eq!(
        outdated(&journal, "run-left-judged"),
        Some(format!(
            "Run as left: position at 50 % up: 50.6 % was replaced by 56.6 % [{new}]"
        ))
    );
    assert_eq!(outdated(&journal, "ends"), None);
    assert_eq!(as_left(&journal), "2 of 3 findings good");
    journal.find("run-left-judged");
    assert_eq!(outdated(&journal, "run-left-judged"), None);
}

#[test]
fn a_finding_does_not_outlive_a_reading_taken_back_or_given_again() {
    let mut journal = fv_118();
    let end = journal.saved.answer("end-open").unwrap().seq;
    journal.push(Body::Withdrawn {
        seq: end,
        then: Cursor::Ending,
    });
    assert_eq!(
        outdated(&journal, "ends").as_deref(),
        Some("A to wiper, open: 908 Ω was taken back")
    );
    let new = journal.number("end-open", "600", "ohm");
    assert_eq!(
        outdated(&journal, "ends"),
        Some(format!(
            "A to wiper, open: 908 Ω was replaced by 600 Ω [{new}]"
        ))
    );
    // What was replaced before the finding is not held against it: 410 became 140 before the diagnosis.
    assert_eq!(outdated(&journal, "diagnosis"), None);
}

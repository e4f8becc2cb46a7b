//! Who relayed which reading, where that changed while the job ran.

use sayback::core::record::{Body, How};
use sayback::report::{self, EventKind};

use super::scenario::{Journal, job, keys, number};

#[test]
fn each_reading_has_its_own_and_the_head_has_all() {
    let mut journal = Journal::start(job());
    assert_eq!(
        journal.report().head.relayed_by.as_deref(),
        Some("B. T."),
        "as it was begun"
    );
    for by in [Some("G. R."), None, Some("G. R.")] {
        journal.push(Body::Relayed {
            by: by.map(str::to_owned),
            how: keys(by.unwrap_or("-")),
        });
    }
    journal.answer(
        "r-ab",
        number("1012", "ohm"),
        How {
            relayed_by: Some("G. R.".to_owned()),
            ..keys("1012")
        },
    );
    let report = journal.report();
    assert_eq!(report.head.relayed_by.as_deref(), Some("B. T., then G. R."));
    let changes: Vec<&str> = report
        .events
        .iter()
        .filter(|event| event.kind == EventKind::Relayed)
        .map(|event| event.text.as_str())
        .collect();
    assert_eq!(changes, ["G. R.", "nobody, from here on", "G. R."]);
    let page = report::html(&report);
    assert!(page.contains("B. T., then G. R.") && page.contains("relayed by G. R."));
    assert!(page.contains("nobody, from here on"));
    let table = report::csv(&report).unwrap();
    let table = String::from_utf8(table).unwrap();
    let row = table
        .lines()
        .find(|line| line.contains("1012"))
        .expect("the answer's row");
    assert!(row.contains("G. R."), "{row}");
}

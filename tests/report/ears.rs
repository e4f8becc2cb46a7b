//! Which ear listened: in the journal, in all forms of the record, and in journals of before.

use sayback::core::record::{Body, EarMark, Record, Started};
use sayback::report::{self, EarKind, Report, Weight};

use super::scenario::{Journal, WEIGHTS, job};

const PROGRAM: &str = "sayback 0.1.0";

fn begun_with(ear: Option<EarMark>) -> Journal {
    let mut journal = Journal::start(job());
    if let Body::Started(started) = &mut journal.records[0].1.body {
        started.ear = ear;
    }
    journal
}

fn resumed_with(journal: &mut Journal, ear: Option<EarMark>) {
    journal.push(Body::Resumed {
        program: PROGRAM.to_owned(),
        ear,
    });
}

fn common() -> EarMark {
    EarMark::Common {
        weights: "c0".repeat(32),
    }
}

fn kinds(report: &Report) -> Vec<(u64, EarKind)> {
    let ears = report.head.ears.iter();
    ears.map(|ear| (ear.seq, ear.which)).collect()
}

fn words(report: &Report) -> Vec<&str> {
    let ears = report.head.ears.iter();
    ears.map(|ear| ear.words.as_str()).collect()
}

#[test]
fn each_ear_that_listened_stands_in_every_form_of_the_record() {
    let mut journal = Journal::start(job());
    resumed_with(&mut journal, Some(common()));
    resumed_with(&mut journal, Some(common()));
    resumed_with(&mut journal, Some(EarMark::Nothing));
    resumed_with(
        &mut journal,
        Some(EarMark::Given {
            folder: "loud-plant".to_owned(),
            weights: Some("71".repeat(32)),
        }),
    );
    let report = journal.report();
    assert_eq!(
        kinds(&report),
        [
            (0, EarKind::Fitted),
            (1, EarKind::Common),
            (3, EarKind::Nothing),
            (4, EarKind::Given)
        ]
    );
    let fitted = &report.head.ears[0];
    assert_eq!(fitted.fitted_to.as_deref(), Some("K. L."));
    assert_eq!(fitted.weights_hash.as_deref(), Some(WEIGHTS));
    let at = fitted.fitted_at.as_ref().map(|time| time.utc.as_str());
    assert_eq!(at, Some("2026-11-24T08:10:00Z"));
    let told = words(&report);
    assert_eq!(
        told[0],
        "ears fitted to the voice of K. L. at 2026-11-24T08:10:00Z listened (weights 9e07000000000000)"
    );
    let page = report::html(&report);
    let table = String::from_utf8(report::csv(&report).unwrap()).unwrap();
    let data = report::json(&report);
    let text = report::text(&report);
    for words in &told {
        // On pages the first begins a sentence.
        let words = &words[1..];
        for form in [&page, &table, &data, &text] {
            assert!(form.contains(words), "{words} in {form}");
        }
    }
    assert!(page.contains("from record 3 on nothing listened"));
    let rows: Vec<&str> = table.lines().filter(|row| row.contains(",ear,")).collect();
    assert_eq!(rows.len(), 4);
    assert!(
        rows[0].starts_with("0,") && rows[0].contains(WEIGHTS),
        "{}",
        rows[0]
    );
}

#[test]
fn a_journal_of_before_says_that_it_does_not_know() {
    let mut journal = begun_with(None);
    let first = serde_json::to_string(&journal.records[0].1).unwrap();
    assert!(!first.contains("\"ear\""), "{first}");
    let read: Record = serde_json::from_str(&first).unwrap();
    assert_eq!(read, journal.records[0].1);
    resumed_with(&mut journal, None);
    let resumed = serde_json::to_string(&journal.records[1].1).unwrap();
    assert!(!resumed.contains("\"ear\""), "{resumed}");
    assert_eq!(
        serde_json::from_str::<Record>(&resumed).unwrap(),
        journal.records[1].1
    );
    let report = journal.report();
    assert_eq!(kinds(&report), [(0, EarKind::NotRecorded)]);
    assert!(report::html(&report).contains("Which ear listened is not in the journal."));
    resumed_with(&mut journal, Some(common()));
    let report = journal.report();
    assert_eq!(
        kinds(&report),
        [(0, EarKind::NotRecorded), (2, EarKind::Common)]
    );
}

#[test]
fn every_mark_reads_back_as_it_was_written() {
    for ear in [
        EarMark::Nothing,
        common(),
        EarMark::Fitted {
            to: "K. L.".to_owned(),
            made_utc_ms: -1,
            weights: WEIGHTS.to_owned(),
        },
        EarMark::Given {
            folder: "x".to_owned(),
            weights: None,
        },
    ] {
        let journal = begun_with(Some(ear));
        let text = serde_json::to_string(&journal.records[0].1).unwrap();
        let read: Record = serde_json::from_str(&text).unwrap();
        assert_eq!(read, journal.records[0].1);
    }
}

#[test]
fn an_ear_fitted_to_another_than_the_one_who_did_the_job_is_to_be_looked_at() {
    let fitted_to = |to: &str| {
        let mut journal = begun_with(Some(EarMark::Fitted {
            to: to.to_owned(),
            made_utc_ms: 0,
            weights: WEIGHTS.to_owned(),
        }));
        if let Body::Started(Started { ear, .. }) = &journal.records[0].1.body {
            journal.saved.started.ear.clone_from(ear);
        }
        journal.report()
    };
    let about = |report: &Report| {
        let exceptions = report.exceptions.iter();
        exceptions
            .filter(|one| one.what.contains("another person"))
            .map(|one| (one.weight, one.seq))
            .collect::<Vec<_>>()
    };
    assert_eq!(about(&fitted_to("G. R.")), [(Weight::Watch, Some(0))]);
    assert_eq!(about(&fitted_to("k.  l.")), []);
}

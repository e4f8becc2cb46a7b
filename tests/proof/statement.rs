//! The text that is signed.

use std::collections::BTreeMap;

use proptest::prelude::*;
use sayback::proof::{Statement, StatementFault};

fn statement() -> Statement {
    Statement {
        run: "2026-11-25-001-slipped".to_owned(),
        tag: "FV-118".to_owned(),
        state: "closed, complete".to_owned(),
        records: 57,
        journal_bytes: 30_000,
        last_line: "5b".repeat(32),
        by: "K. L.".to_owned(),
        at: "2026-11-25T19:53:57Z".to_owned(),
        program: "sayback 0.1.0".to_owned(),
        files: BTreeMap::from([
            ("journal.txt".to_owned(), "0a".repeat(32)),
            ("clips/506-5.wav".to_owned(), "0b".repeat(32)),
        ]),
    }
}

#[test]
fn it_is_read_as_it_was_written() {
    assert_eq!(Statement::parse(&statement().text()), Ok(statement()));
}

#[test]
fn what_it_looks_like() {
    insta::assert_snapshot!(statement().text());
}

#[test]
fn what_is_no_statement_is_refused_with_what_to_do() {
    let good = statement().text();
    let cases = [
        (String::new(), StatementFault::NotOne),
        (good.replace("format 1", "format 2"), StatementFault::NotOne),
        (
            good.replace("# signed at: 2026-11-25T19:53:57Z\n", ""),
            StatementFault::Missing("signed at"),
        ),
        (
            good.replace("records: 57", "records: many"),
            StatementFault::Missing("records"),
        ),
        (
            good.replace("clips/506-5.wav", "../../etc/passwd"),
            StatementFault::Line(11),
        ),
        (
            good.replace("clips/506-5.wav", "clips/.."),
            StatementFault::Line(11),
        ),
        (good.replace("0b0b", "zzzz"), StatementFault::Line(11)),
    ];
    for (text, fault) in cases {
        assert_eq!(Statement::parse(&text), Err(fault.clone()), "{text}");
        assert!(fault.to_string().contains("get the file again"), "{fault}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_name_or_tag_adds_a_line(text in any::<String>()) {
        let mut said = statement();
        said.by.clone_from(&text);
        said.tag = text;
        let read = Statement::parse(&said.text()).unwrap();
        prop_assert_eq!(&read.files, &said.files);
        prop_assert_eq!(&read.at, &said.at);
        prop_assert_eq!(said.text().lines().count(), statement().text().lines().count());
    }
}

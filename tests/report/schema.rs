//! The published JSON Schema: it is the one that the program makes, it is a schema, and it judges.

use serde_json::Value;

use super::scenario::{both_runs, fv_118};
use sayback::report::{self, Sound};

const PUBLISHED: &str = include_str!("../../src/report/record.schema.json");

fn schema() -> Value {
    serde_json::from_str(PUBLISHED).unwrap()
}

#[test]
fn the_published_schema_is_the_one_that_the_program_prints() {
    assert!(
        PUBLISHED == report::schema(),
        "the shape of the record changed: `sayback schema > src/report/record.schema.json`, and raise report::FORMAT if readers must know"
    );
}

#[test]
fn it_is_a_schema_of_draft_2020_12() {
    assert_eq!(
        schema()["$schema"],
        "https://json-schema.org/draft/2020-12/schema"
    );
    jsonschema::meta::validate(&schema()).unwrap();
}

type Change = (&'static str, fn(&mut Value));

fn faults(record: &Value) -> Vec<String> {
    let validator = jsonschema::draft202012::new(&schema()).unwrap();
    validator
        .iter_errors(record)
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect()
}

#[test]
fn what_is_written_keeps_to_it() {
    let mut early = both_runs();
    early.sounds.insert("-2-4.wav".to_owned(), Sound::Changed);
    let mut empty = fv_118();
    empty.records.clear();
    for journal in [fv_118(), both_runs(), early, empty] {
        let record: Value = serde_json::from_str(&report::json(&journal.report())).unwrap();
        assert_eq!(faults(&record), Vec::<String>::new());
    }
}

#[test]
fn a_field_that_is_missing_unknown_or_of_the_wrong_kind_is_refused() {
    let good: Value = serde_json::from_str(&report::json(&fv_118().report())).unwrap();
    let changes: [Change; 6] = [
        ("missing", |record| {
            record["head"].as_object_mut().unwrap().remove("job_hash");
        }),
        ("unknown", |record| {
            record["answers"][0]["surprise"] = 1.into();
        }),
        ("a number for a reading", |record| {
            record["answers"][3]["value"] = 1013.into();
        }),
        ("a word that is none of the states", |record| {
            record["head"]["state"] = "finished".into();
        }),
        ("below zero", |record| {
            record["answers"][0]["seq"] = (-1).into();
        }),
        ("a time without its zone", |record| {
            record["head"]["started"]["utc"] = "2026-11-25 08:10".into();
        }),
    ];
    for (name, change) in changes {
        let mut record = good.clone();
        change(&mut record);
        assert_ne!(record, good, "{name}");
        assert_eq!(faults(&record).len(), 1, "{name}: {:?}", faults(&record));
    }
}

//! Nothing that was said or typed can break out of a page.

use proptest::prelude::*;
use sayback::core::record::{Body, Value};
use sayback::job::PlateValue;
use sayback::report;

use super::scenario::{Journal, job, number, voice};

/// A run whose every free text is this one.
pub fn journal_of(text: &str) -> Journal {
    let mut job = job();
    text.clone_into(&mut job.title);
    job.cautions = vec![text.to_owned()];
    let mut journal = Journal::start(job);
    if let Body::Started(started) = &mut journal.records[0].1.body {
        started.by = Some(text.to_owned());
        text.clone_into(&mut started.title);
        text.clone_into(&mut started.program);
        started
            .plate
            .insert("tag".to_owned(), PlateValue::Text(text.to_owned()));
        for limit in started.limits.values_mut() {
            text.clone_into(&mut limit.source);
        }
    }
    let how = || {
        let mut how = voice(text);
        how.doubt = Some(text.to_owned());
        how.relayed_by = Some(text.to_owned());
        text.clone_into(&mut how.clip.as_mut().unwrap().file);
        how
    };
    let old = journal.answer("position-found", Value::Status(text.to_owned()), how());
    journal.correct(old, Value::Tag(text.to_owned()), text);
    journal.skip("run-found", text, true);
    journal.answer("r-ab", number("1013", "ohm"), how());
    journal.push(Body::Noted {
        step: Some(text.to_owned()),
        text: text.to_owned(),
        how: how(),
    });
    journal.push(Body::Microphone {
        state: text.to_owned(),
    });
    journal.push(Body::Closed {
        complete: false,
        reason: Some(text.to_owned()),
    });
    journal
}

/// The tags of a page in order with the names of their attributes; nothing of what stands between or in them.
fn skeleton(html: &str) -> String {
    let mut skeleton = String::new();
    let mut quoted = false;
    let mut inside = false;
    for c in html.chars() {
        match c {
            '"' if inside => quoted = !quoted,
            '<' if !quoted => inside = true,
            '>' if !quoted && inside => {
                inside = false;
                skeleton.push('\n');
            }
            c if inside && !quoted => skeleton.push(c),
            _ => {}
        }
    }
    skeleton
}

fn unwanted(c: char) -> bool {
    (c.is_control() && c != '\n')
        || matches!(c, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{200E}' | '\u{200F}' | '\u{61C}')
}

pub fn hostile() -> impl Strategy<Value = String> {
    prop_oneof![
        any::<String>(),
        "[<>\"'&;=/ a-z\u{202E}\u{0}\r\n,+@-]{0,40}",
        Just("</style></title><script>alert(1)</script>".to_owned()),
        Just("\" onmouseover=\"x".to_owned()),
        Just("' onmouseover='x".to_owned()),
        Just("--><svg onload=x>".to_owned()),
        Just("javascript:alert(1)".to_owned()),
        Just("../../etc".to_owned()),
        Just("=cmd|' /C calc'!A0".to_owned()),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_text_changes_the_tags_of_the_page(text in hostile()) {
        let html = report::html(&journal_of(&text).report());
        prop_assert_eq!(skeleton(&html), skeleton(&report::html(&journal_of("plain").report())));
        prop_assert!(!html.chars().any(unwanted));
        for address in html.split("href=\"").skip(1) {
            prop_assert!(address.starts_with("./clips/"));
            let file = address["./clips/".len()..].split('"').next().unwrap();
            prop_assert!(file != ".." && !file.contains('/'), "{}", file);
        }
    }

    #[test]
    fn no_text_adds_a_row_or_a_formula_to_the_csv(text in hostile()) {
        let bytes = report::csv(&journal_of(&text).report()).unwrap();
        let plain = report::csv(&journal_of("plain").report()).unwrap();
        let read = |bytes: &[u8]| -> Vec<csv::StringRecord> { csv::Reader::from_reader(bytes).records().map(Result::unwrap).collect() };
        let (rows, expected) = (read(&bytes), read(&plain));
        prop_assert_eq!(rows.len(), expected.len());
        for cell in rows.iter().flatten() {
            let number = cell.parse::<rust_decimal::Decimal>().is_ok();
            prop_assert!(number || !cell.trim_start().starts_with(['=', '+', '-', '@']), "{:?}", cell);
            prop_assert!(!cell.chars().any(unwanted), "{:?}", cell);
        }
    }

    #[test]
    fn text_and_json_hold_no_control_or_bidi_characters(text in hostile()) {
        let report = journal_of(&text).report();
        let lines = report::text(&report);
        prop_assert!(!lines.chars().any(unwanted));
        let json = report::json(&report);
        prop_assert!(!json.chars().any(unwanted));
        prop_assert!(serde_json::from_str::<serde_json::Value>(&json).is_ok());
        prop_assert!(report::name(&report).chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_'));
    }
}

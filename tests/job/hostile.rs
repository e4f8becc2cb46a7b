//! Files that nobody wrote in good faith: refused, in time, without a panic.

use std::fmt::Write as _;
use std::time::{Duration, Instant};

use proptest::prelude::*;
use sayback::job::load::{from_bytes, parse};
use sayback::job::sheet;

use super::{good, good_text};

/// Runs in less than a second, and gives what it gave.
#[allow(clippy::disallowed_methods, reason = "a test of time needs a clock")]
fn quick<T>(what: &str, act: impl FnOnce() -> T) -> T {
    let start = Instant::now();
    let result = act();
    let took = start.elapsed();
    assert!(took < Duration::from_secs(1), "{what} took {took:?}");
    result
}

fn refused(what: &str, bytes: &[u8]) -> String {
    quick(what, || from_bytes(bytes, "hostile.toml"))
        .expect_err(what)
        .to_string()
}

#[test]
fn deep_nesting_is_refused() {
    for open in ["[", "{a=", "[{a="] {
        let text = format!("format = 1\nid = {}", open.repeat(200_000));
        refused(open, text.as_bytes());
        // As deep as the size limit lets in.
        let text = format!("format = 1\nid = {}", open.repeat(250_000 / open.len()));
        refused(open, text.as_bytes());
    }
    let dotted = format!("{} = 1", vec!["a"; 100_000].join("."));
    refused("dotted", dotted.as_bytes());
    refused(
        "header",
        format!("[{}]", vec!["a"; 100_000].join(".")).as_bytes(),
    );
}

#[test]
fn eight_megabytes_are_refused_before_they_are_read() {
    let told = refused("8 MB", &vec![b'a'; 8 * 1024 * 1024]);
    assert!(
        told.contains("8388608 bytes") && told.contains("262144"),
        "{told}"
    );
    let text = "a".repeat(8 * 1024 * 1024);
    assert!(quick("8 MB of text", || parse(&text, "x")).is_err());
}

#[test]
fn a_full_file_of_small_faults_is_told_in_time() {
    for line in [
        "a=1\n",
        "[[step]]\n",
        "[[step]]\nid=\"x\"\n",
        "[[plate]]\nkind=\"choice\"\n",
        "\"\n",
        "=\n",
        "[[limit]]\nid=\"x\"\n",
    ] {
        let mut text = String::from("format = 1\n");
        let mut number = 0;
        while text.len() + 20 < 256 * 1024 {
            if line.starts_with("a=") {
                let _ = writeln!(text, "a{number}=1");
            } else {
                text.push_str(line);
            }
            number += 1;
        }
        refused(line, text.as_bytes());
    }
}

#[test]
fn a_long_sound_job_is_read_in_time() {
    let mut text = good_text();
    let mut number = 0;
    while text.len() + 300 < 256 * 1024 {
        let _ = write!(
            text,
            "\n[[step]]\nid = \"m{number}\"\ntitle = \"M\"\nask = \"Read {{step.r-ab}}.\"\nkind = \"reading\"\nstage = \"as-left\"\nunit = \"ohm\"\nexpect = [\"0\", \"1\"]\n"
        );
        number += 1;
    }
    let text = text.replace(
        "restores = [\"power\"]\nnext = \"end\"",
        "restores = [\"power\"]",
    );
    quick("a long job", || parse(&text, "long.toml")).unwrap_or_else(|errors| panic!("{errors}"));
}

#[test]
fn bytes_that_are_no_text_are_refused_with_their_place() {
    insta::assert_snapshot!(refused("invalid UTF-8", b"format = 1\nid = \"a\xFF\"\n"));
    insta::assert_snapshot!(refused("NUL", b"format = 1\nid = \"a\0\"\n"));
}

#[test]
fn byte_order_mark_and_carriage_returns_are_read() {
    let marked = format!("\u{FEFF}{}", good_text());
    assert!(parse(&marked, "x").is_ok());
    let returns = good_text().replace('\n', "\r\n");
    parse(&returns, "x").unwrap_or_else(|errors| panic!("{errors}"));
    // A fault is told at the same place.
    let broken = returns.replace("stage = \"safety\"", "stage = \"saftey\"");
    let with = parse(&broken, "x").unwrap_err();
    let without = parse(&broken.replace("\r\n", "\n"), "x").unwrap_err();
    assert_eq!(with.to_string(), without.to_string());
    // A return inside a line hides what stands before it.
    assert!(
        parse(
            &good_text().replace("Is it isolated?", "Is it\r isolated?"),
            "x"
        )
        .is_err()
    );
}

proptest! {
    #[test]
    fn any_text_is_read_without_a_panic(text in "\\PC{0,400}") {
        let _ = parse(&text, "x");
        let _ = sheet::parse(&text, "sheet", &good());
    }

    #[test]
    fn any_bytes_are_read_without_a_panic(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = from_bytes(&bytes, "x");
    }

    #[test]
    fn a_damaged_job_is_read_without_a_panic(from in 0usize..4000, length in 0usize..60, with in "\\PC{0,20}") {
        let mut text: Vec<char> = good_text().chars().collect();
        let from = from.min(text.len());
        let to = (from + length).min(text.len());
        text.splice(from..to, with.chars());
        let text: String = text.into_iter().collect();
        if let Err(errors) = parse(&text, "x") {
            prop_assert!(!errors.faults.is_empty());
            prop_assert!(!errors.to_string().is_empty());
        }
    }
}

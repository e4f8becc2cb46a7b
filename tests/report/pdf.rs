//! The record as PDF, read by tools that Sayback does not make (poppler: `pdfinfo`, `pdftotext`,
//! `pdffonts`, `pdftoppm`).

use std::path::{Path, PathBuf};
use std::process::Command;

use proptest::prelude::*;
use sayback::report::{self, Report};

use super::scenario::{Journal, both_runs, fv_118, job};

struct Written {
    _folder: tempfile::TempDir,
    path: PathBuf,
}

fn written(report: &Report) -> Written {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.pdf");
    std::fs::write(&path, report::pdf(report).unwrap()).unwrap();
    Written {
        _folder: folder,
        path,
    }
}

/// What a tool prints about a file; none, and loudly so, where the tool is not installed.
fn tool(name: &str, arguments: &[&str], path: &Path, after: &[&str]) -> Option<String> {
    let Ok(output) = Command::new(name)
        .args(arguments)
        .arg(path)
        .args(after)
        .output()
    else {
        eprintln!(
            "NOT TESTED: {name} is not installed (Debian: poppler-utils); the PDF was not read by it"
        );
        return None;
    };
    assert!(
        output.status.success(),
        "{name} cannot read {}",
        path.display()
    );
    Some(String::from_utf8_lossy(&output.stdout).into_owned())
}

fn pages(info: &str) -> usize {
    let line = info.lines().find_map(|line| line.strip_prefix("Pages:"));
    line.unwrap().trim().parse().unwrap()
}

/// The text of a PDF with single blanks, as lines end where the paper does.
fn words(path: &Path) -> Option<String> {
    let text = tool("pdftotext", &["-raw"], path, &["-"])?;
    Some(text.split_whitespace().collect::<Vec<_>>().join(" "))
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    let report = fv_118().report();
    let bytes = report::pdf(&report).unwrap();
    assert!(bytes.starts_with(b"%PDF-1.7"));
    assert!(bytes == report::pdf(&report).unwrap());
}

#[test]
fn the_letters_are_inside_and_every_one_can_be_copied() {
    let pdf = written(&fv_118().report());
    let Some(fonts) = tool("pdffonts", &[], &pdf.path, &[]) else {
        return;
    };
    let lines: Vec<&str> = fonts.lines().skip(2).collect();
    assert!(!lines.is_empty());
    for line in lines {
        // emb, sub, uni: embedded, only what is used, with a table back to Unicode.
        assert!(
            line.contains("yes yes yes") && line.contains("DejaVuSansCondensed"),
            "{line}"
        );
    }
}

#[test]
fn a_record_with_many_exceptions_fits_its_front_and_has_all_answers_behind_it() {
    let report = fv_118().report();
    let pdf = written(&report);
    let Some(text) = words(&pdf.path) else { return };
    for shown in [
        "FV-118",
        "FAULT As found, Centring: ends off track",
        "LOOK Corrected after as-found readings were frozen: 87 % to 78 %",
        "Found: Centring: ends off track; 1 of 2 findings good",
        "506.5 Ω U 3.2 Ω",
        "Reason: digits exchanged",
        "no insulation tester at hand",
        "PAST DUE",
        "order 50277, data sheet 4",
        "±1.5 %",
        "conditional pass",
        "2026-11-25T08:10:00Z",
        "2026-11-25 09:10 (+01:00)",
        "Relayed by B. T.",
        "said by K. L., relayed by B. T.",
        &report.head.job_hash,
        super::scenario::HASH,
        "Technician, date",
        "It is not a signature.",
        "Ears fitted to the voice of K. L. at 2026-11-24T08:10:00Z listened",
    ] {
        assert!(text.contains(shown), "{shown} is not in the PDF:\n{text}");
    }
    for answer in &report.answers {
        let line = format!(
            "[{}] {}",
            answer.seq,
            answer.time.local.get(11..16).unwrap()
        );
        assert!(text.contains(&line), "{line}");
    }
    // Exceptions first.
    let place = |words: &str| text.find(words).unwrap();
    assert!(
        place("Exceptions:") < place("Found:") && place("Left:") < place("As found and as left")
    );
}

#[test]
fn it_is_tagged_in_the_order_of_reading_with_words_for_the_pictures() {
    let pdf = written(&both_runs().report());
    let Some(info) = tool("pdfinfo", &[], &pdf.path, &[]) else {
        return;
    };
    assert!(info.contains("Tagged:") && info.contains("yes"));
    let title = info
        .lines()
        .find(|line| line.starts_with("Title:"))
        .unwrap();
    assert!(title.contains("FV-118 Potentiometer slipped on its shaft"));
    let Some(tree) = tool("pdfinfo", &["-struct-text"], &pdf.path, &[]) else {
        return;
    };
    let place = |words: &str| {
        tree.find(words)
            .unwrap_or_else(|| panic!("{words} in\n{tree}"))
    };
    assert!(place("H1 \"FV-118\"") < place("Exceptions:"));
    assert!(place("Exceptions:") < place("H2 \"Findings\""));
    assert!(place("H2 \"Findings\"") < place("H2 \"All answers\""));
    assert!(tree.contains("Figure") && tree.contains("TH"));
    let raw = tool("pdftotext", &["-raw"], &pdf.path, &["-"]).unwrap_or_default();
    assert!(
        raw.contains("\u{2212}1.5") || raw.contains("+1.5"),
        "the limits are written on the plot"
    );
}

#[test]
fn every_sheet_has_something_black_on_it() {
    let pdf = written(&fv_118().report());
    let Some(info) = tool("pdfinfo", &[], &pdf.path, &[]) else {
        return;
    };
    for sheet in 1..=pages(&info) {
        let number = sheet.to_string();
        let Ok(image) = Command::new("pdftoppm")
            .args(["-r", "40", "-gray", "-f", &number, "-l", &number])
            .arg(&pdf.path)
            .output()
        else {
            eprintln!("NOT TESTED: pdftoppm is not installed (Debian: poppler-utils)");
            return;
        };
        let dark = image.stdout.iter().filter(|grey| **grey < 64).count();
        assert!(dark > 500, "sheet {sheet} is nearly empty: {dark}");
    }
}

#[test]
fn a_record_of_nothing_and_one_of_very_much_can_both_be_made() {
    let empty = Journal::start(job()).report();
    let pdf = written(&empty);
    let Some(text) = words(&pdf.path) else { return };
    assert!(text.contains("nothing was adjusted") && text.contains("STILL OPEN"));

    let mut journal = fv_118();
    for at in 0..400 {
        journal.push(sayback::core::record::Body::Noted {
            step: None,
            text: format!("remark {at}, and so that it takes more than one line of the column, some more words about nothing"),
            how: super::scenario::voice("note"),
        });
    }
    let pdf = written(&journal.report());
    let Some(text) = words(&pdf.path) else { return };
    for at in 0..400 {
        assert!(
            text.contains(&format!("remark {at},")),
            "remark {at} is lost"
        );
    }
}

#[test]
fn a_character_without_a_letter_is_told_and_not_dropped() {
    let mut report = fv_118().report();
    report.head.by = Some("山田".to_owned());
    let pdf = written(&report);
    let Some(text) = words(&pdf.path) else { return };
    assert!(text.contains("By \u{FFFD}\u{FFFD}"));
    assert!(text.contains("Characters that the letters of this PDF do not have"));
    // Greek and Cyrillic are there.
    report.head.by = Some("Ωμέγα Иван".to_owned());
    let pdf = written(&report);
    let text = words(&pdf.path).unwrap();
    assert!(text.contains("By Ωμέγα Иван") && !text.contains("do not have are shown"));
}

#[test]
fn an_empty_tag_keeps_no_pdf_from_being_made() {
    for tag in ["", " ", "\u{200B}\u{202E}"] {
        let mut report = fv_118().report();
        report.head.tag = Some(tag.to_owned());
        assert!(report::pdf(&report).is_ok(), "{tag:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_text_keeps_the_pdf_from_being_made(text in super::hostile::hostile()) {
        let made = report::pdf(&super::hostile::journal_of(&text).report());
        prop_assert!(made.is_ok(), "{:?}", made.err());
    }
}

//! The meter check, walked whole: within, outside on one range and on both, and not to be told.

use sayback::report::{State, Weight};

use super::walk::{Walk, near};

const SHEET: &str = r#"
[plate]
when = "start"
by = "KD"
meter-id = "M7"
meter-due = "2027-02"
ohm-percent = "0.5"
ohm-counts = "2"
ohm-resolution = "0.1"
current-percent = "0.2"
current-counts = "2"
current-resolution = "0.01"
resistor = "499.0"
resistor-tolerance = "0.1"
reference = "12.00"
reference-tolerance = "0.1"
"#;

/// The readings, and then the instructions that follow from them.
fn walked(sheet: &str, ohms: &str, current: &str, flags: &[&str]) -> Walk {
    let mut walk = Walk::new("meter-check", sheet);
    walk.answers(&[
        ("look", "done"),
        ("shorted", "0.2"),
        ("ohms", ohms),
        ("current", current),
    ]);
    for flag in flags {
        walk.answer(flag, "done");
    }
    walk.pass_what_is_told();
    walk.is_closed();
    walk
}

/// Per cent of the reading, counts, and the tolerance of what is read, added up.
fn largest(reading: f64, percent: f64, counts: f64, known: f64, tolerance: f64) -> f64 {
    reading * percent / 100.0 + counts + known * tolerance / 100.0
}

/// A meter that is good on both ranges.
pub fn within() -> Walk {
    walked(SHEET, "501.2", "11.98", &[])
}

/// The same at the end of a day, with the ohms outside.
pub fn outside() -> Walk {
    let sheet = SHEET.replace("when = \"start\"", "when = \"end\"");
    walked(&sheet, "512.4", "11.98", &["flag"])
}

#[test]
fn a_meter_within_its_limits_is_done_after_two_readings() {
    let walk = within();
    assert_eq!(
        walk.asked[2].question,
        "Read the known resistor, 499.0 Ω. What does the meter show?"
    );
    assert_eq!(
        walk.asked[3].question,
        "Read the known current, 12.00 mA. What does the meter show?"
    );
    assert_eq!(walk.finding("ohms-judged").verdict, "within");
    near(walk.figure("ohms-judged", "error"), 2.2);
    near(
        walk.figure("ohms-judged", "largest error"),
        largest(501.2, 0.5, 0.2, 499.0, 0.1),
    );
    assert_eq!(walk.finding("current-judged").verdict, "within");
    near(walk.figure("current-judged", "error"), -0.02);
    near(
        walk.figure("current-judged", "largest error"),
        largest(11.98, 0.2, 0.02, 12.0, 0.1),
    );
    let report = walk.report();
    assert_eq!(report.head.state, State::Complete);
    assert_eq!(report.exceptions, []);
    assert_eq!(report.instruments[0].due, "2027-02");
}

#[test]
fn each_range_that_is_outside_flags_the_jobs() {
    // 3.2 off is within, and one count more is not.
    let allowed = largest(502.3, 0.5, 0.2, 499.0, 0.1);
    assert!(3.2 < allowed && allowed < 3.3);
    for (ohms, current, flags) in [
        ("502.2", "12.00", &[][..]),
        ("502.3", "12.00", &["flag"]),
        ("499.0", "12.06", &["flag-current"]),
        ("495.0", "11.90", &["flag", "flag-current"]),
    ] {
        let walk = walked(SHEET, ohms, current, flags);
        for asked in &walk.asked[4..] {
            assert!(
                asked
                    .question
                    .contains("flag every job since the last good check"),
                "{}",
                asked.question
            );
        }
        let exceptions = walk.report().exceptions;
        let bad = exceptions.iter().filter(|one| one.weight == Weight::Bad);
        assert_eq!(bad.count(), flags.len(), "{ohms} {current}");
    }
}

#[test]
fn a_meter_whose_accuracy_is_unknown_is_not_called_good() {
    let sheet = SHEET.replace("ohm-percent = \"0.5\"", "ohm-percent = \"unknown\"");
    let walk = walked(&sheet, "499.0", "12.00", &[]);
    assert_eq!(walk.finding("ohms-judged").verdict, "cannot-tell");
    assert!(walk.finding("ohms-judged").advice.contains("unknown"));
    assert_eq!(walk.finding("current-judged").verdict, "within");
    assert!(!walk.report().exceptions.is_empty());
}

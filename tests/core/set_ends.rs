//! Setting both ends, walked whole: direct, reverse, and with faults on the way.

use sayback::report::{Counts, State};

use super::walk::{Walk, checked, near};

const SHEET: &str = r#"
[plate]
tag = "FV-118"
order = "WO-2071"
permit = "P-33"
by = "KD"
signal = "4-20-ma"
action = "direct"
travel = "90"
stroke = "15"
duty = "1200"
loss = "close"
rule = "simple"
source-id = "S1"
source-due = "2027-02"
source-percent = "0.05"
source-counts = "1"
source-resolution = "0.001"
reading-error = "0.5"
"#;

/// Run E1 of the table of checks.
pub const E1: ([f64; 5], [f64; 5]) = (
    [0.1, 25.3, 50.6, 75.4, 100.2],
    [0.3, 26.1, 51.2, 75.9, 100.2],
);
pub const LEFT: ([f64; 5], [f64; 5]) = (
    [0.1, 25.2, 50.3, 75.1, 100.0],
    [0.2, 25.5, 50.6, 75.3, 100.0],
);
/// The open end three per cent short.
const SHORT: ([f64; 5], [f64; 5]) = ([0.1, 25.0, 49.5, 73.5, 97.0], [0.2, 25.2, 49.8, 73.9, 97.1]);

const POINTS: [f64; 5] = [0.0, 25.0, 50.0, 75.0, 100.0];

/// Readings in the order of their points; the run goes down from the highest.
fn downwards(mut down: [f64; 5]) -> [f64; 5] {
    down.reverse();
    down
}

const GATES_OFF: [&str; 5] = ["isolated", "locked", "tried", "proved", "stored"];
const GATES_AGAIN: [&str; 5] = [
    "isolated-again",
    "locked-again",
    "tried-again",
    "proved-again",
    "stored-again",
];

fn to_the_first_stroke(walk: &mut Walk) {
    walk.answers(&[("permit-open", "yes"), ("loop-manual", "yes")]);
    for gate in GATES_OFF {
        walk.answer(gate, "yes");
    }
    walk.answers(&[
        ("cover-off", "done"),
        ("lift", "done"),
        ("energised", "yes"),
        ("power-on", "yes"),
        ("clear", "yes"),
        ("moves", "1"),
    ]);
}

/// From the setting mode to run, with these signals measured.
fn set_both(walk: &mut Walk, closed: &str, open: &str, run: &str) {
    walk.answers(&[
        ("mode-set", "done"),
        ("signal-low-set", "done"),
        ("signal-low-read", closed),
        ("closed-reached", "yes"),
    ]);
    walk.hold("hold-closed", 4);
    walk.answers(&[
        ("signal-high-set", "done"),
        ("signal-high-read", open),
        ("open-reached", "yes"),
    ]);
    walk.hold("hold-open", 4);
    walk.answer(run, "done");
}

fn mid_and_starts(walk: &mut Walk) {
    walk.answer("signal-mid-read", "12.00");
    walk.hold("starts-wait", 60);
    walk.answer("starts", "0");
}

fn to_the_end(walk: &mut Walk) {
    walk.answer("loss-back", "done");
    for gate in GATES_AGAIN {
        walk.answer(gate, "yes");
    }
    walk.answers(&[
        ("wire-back", "done"),
        ("cover-back", "done"),
        ("power-back", "yes"),
        ("remote", "yes"),
        ("stroke-witnessed", "yes"),
        ("hand-back", "yes"),
        ("remarks", "next"),
    ]);
    walk.is_closed();
}

/// Half the height of the narrowest band around a line, by a search over its slope: the height is
/// convex in the slope. Independent of the program, which tries the slopes between two points.
fn narrowest(mean: &[f64]) -> f64 {
    let height = |slope: f64| {
        let off = || mean.iter().zip(POINTS).map(|(y, x)| y - slope * x);
        off().fold(f64::MIN, f64::max) - off().fold(f64::MAX, f64::min)
    };
    let (mut low, mut high) = (0.0, 2.0);
    for _ in 0..200 {
        let third = (high - low) / 3.0;
        if height(low + third) < height(high - third) {
            high -= third;
        } else {
            low += third;
        }
    }
    height(low) / 2.0
}

/// The figures of a run, worked out again from the readings themselves.
fn figures_fit(walk: &Walk, step: &str, up: [f64; 5], down: [f64; 5]) {
    let errors = || {
        (0..5)
            .map(|at| up[at] - POINTS[at])
            .chain((0..5).map(|at| down[at] - POINTS[at]))
    };
    let figure = |name| walk.figure(step, name);
    near(figure("inaccuracy above"), errors().fold(0.0, f64::max));
    near(figure("inaccuracy below"), errors().fold(0.0, f64::min));
    let apart = (0..5).map(|at| (down[at] - up[at]).abs());
    near(figure("hysteresis"), apart.fold(0.0, f64::max));
    let mean: Vec<f64> = (0..5).map(|at| f64::midpoint(up[at], down[at])).collect();
    near(figure("linearity, independent"), narrowest(&mean));
    // Two rectangular parts, coverage factor 2 (GUM 4.3.7, 6.2.1).
    let u = 2.0 * ((0.5_f64.powi(2) + 0.05_f64.powi(2)) / 3.0).sqrt();
    near(figure("U"), u);
}

/// Cautions and locks that hold for every walk, whatever was answered.
fn nothing_unsafe_was_asked(walk: &Walk) {
    let gate_of = |step: &str| {
        walk.asked
            .iter()
            .rposition(|asked| asked.step == step && asked.answer == "yes")
            .unwrap()
    };
    for (gates, inside) in [
        (GATES_OFF, &["cover-off", "lift"][..]),
        (GATES_AGAIN, &["wire-back", "cover-back"]),
    ] {
        for step in inside {
            let at = walk.asked.iter().position(|asked| asked.step == *step);
            let at = at.unwrap();
            assert!(walk.asked[at].is_lifted("power"), "{step}: power is on");
            let mut before = gates.map(gate_of).to_vec();
            before.push(at);
            assert!(before.is_sorted(), "{step}: {before:?}");
        }
    }
    for asked in &walk.asked {
        // Hands at the open housing while it is live.
        let at_the_housing = matches!(
            asked.step.as_str(),
            "mode-set" | "hold-closed" | "hold-open" | "run-direct" | "run-reverse"
        );
        assert_eq!(
            at_the_housing,
            asked.caution.contains("no fingers inside") && asked.step != "energised",
            "{}: {}",
            asked.step,
            asked.caution
        );
        if at_the_housing {
            assert!(asked.is_lifted("cover") && !asked.is_lifted("power"));
        }
        let moves = matches!(
            asked.step.as_str(),
            "found-run"
                | "signal-low-set"
                | "signal-high-set"
                | "signal-mid-read"
                | "left-run"
                | "open-time"
                | "close-time"
                | "at-low"
                | "at-mid"
                | "at-high"
                | "loss-before"
                | "loss-pull"
                | "loss-back"
                | "power-back"
        );
        assert_eq!(moves, asked.warns("wait for clear"), "{}", asked.step);
    }
    for (step, said) in [
        ("permit-open", "No permit, no work"),
        ("isolated", "permit holder isolates"),
        ("proved", "Test, prove, test again"),
        ("cover-off", "valid gas test"),
        ("energised", "no fingers inside"),
        ("clear", "said by the one at the valve"),
        ("closed-reached", "stalled"),
        ("open-reached", "stalled"),
        ("loss-pull", "wait for clear"),
        ("isolated-again", "permit holder isolates"),
        ("proved-again", "Test, prove, test again"),
        ("remote", "call-back"),
    ] {
        let asked = walk.asked.iter().find(|asked| asked.step == step).unwrap();
        assert!(asked.caution.contains(said), "{step}: {}", asked.caution);
    }
    // All that the job lifts was lifted at some time, and is_closed has seen it restored.
    for thing in [
        "loop in automatic",
        "power",
        "cover",
        "signal wires",
        "run mode",
        "source wire",
    ] {
        assert!(
            walk.asked.iter().any(|asked| asked.is_lifted(thing)),
            "{thing}"
        );
    }
}

/// The signals that the questions of a run name, in order.
fn signals(walk: &Walk, step: &str) -> Vec<String> {
    let of_step = walk.asked.iter().filter(|asked| asked.step == step);
    of_step
        .map(|asked| asked.question.split(',').next().unwrap().to_owned())
        .collect()
}

pub fn direct() -> Walk {
    with_runs(E1, LEFT, true)
}

/// The same with other readings up and down; set, or left as found. What is left must be within its limits.
pub fn with_runs(found: ([f64; 5], [f64; 5]), left: ([f64; 5], [f64; 5]), set: bool) -> Walk {
    let mut walk = Walk::new("set-ends", SHEET);
    to_the_first_stroke(&mut walk);
    walk.run("found-run", &found.0, &downwards(found.1));
    if set {
        walk.answer("to-setting", "1");
        set_both(&mut walk, "4.00", "20.01", "run-direct");
    } else {
        walk.answer("to-setting", "2");
    }
    mid_and_starts(&mut walk);
    walk.run("left-run", &left.0, &downwards(left.1));
    walk.answers(&[
        ("open-time", "15.2"),
        ("close-time", "14.1"),
        ("at-low", "0.1"),
        ("at-mid", "50.3"),
        ("at-high", "100"),
        ("loss-before", "50.3"),
        ("loss-pull", "done"),
        ("loss-after", "0.4"),
    ]);
    to_the_end(&mut walk);
    walk
}

#[test]
fn direct_acting_from_the_first_question_to_the_record() {
    let walk = direct();
    nothing_unsafe_was_asked(&walk);
    let up_and_down = [
        "4.00 mA", "8.00 mA", "12.00 mA", "16.00 mA", "20.00 mA", "20.00 mA", "16.00 mA",
        "12.00 mA", "8.00 mA", "4.00 mA",
    ];
    assert_eq!(signals(&walk, "found-run"), up_and_down);
    assert_eq!(signals(&walk, "left-run"), up_and_down);

    assert_eq!(walk.finding("found-judged").verdict, "pass");
    figures_fit(&walk, "found-judged", E1.0, E1.1);
    for (name, id) in [
        ("hysteresis", "hysteresis_pct_span.01"),
        ("linearity, independent", "nonlin_independent.01"),
        ("linearity, terminal-based", "nonlin_terminal_based.01"),
    ] {
        near(walk.figure("found-judged", name), checked(id));
    }
    assert_eq!(walk.finding("left-judged").verdict, "pass");
    figures_fit(&walk, "left-judged", LEFT.0, LEFT.1);

    // 20.01 mA is 0.01 of a span of 16 mA from its point; U of 0.05 % and one count of 0.001 mA.
    assert_eq!(walk.finding("signal-high-judged").verdict, "right");
    let deviation = walk.figure("signal-high-judged", "deviation");
    near(deviation, 100.0 * 0.01 / 16.0);
    let u = 2.0 * (0.0005 * 20.01 + 0.001) / 3.0_f64.sqrt() * 100.0 / 16.0;
    near(walk.figure("signal-high-judged", "U"), u);

    assert_eq!(walk.finding("hunting").verdict, "steady");
    assert_eq!(walk.finding("times").verdict, "ok");
    near(
        walk.figure("times", "asymmetry"),
        checked("speed_asymmetry_pct.01"),
    );
    near(
        walk.figure("times", "opening from nameplate"),
        100.0 * 0.2 / 15.0,
    );
    near(
        walk.figure("times", "closing from nameplate"),
        -100.0 * 0.9 / 15.0,
    );
    assert_eq!(walk.finding("acts").verdict, "as-set");
    assert_eq!(walk.finding("loss-judged").verdict, "as-wanted");
    near(walk.figure("loss-judged", "from wanted"), 0.4);
    // Within its limits: nobody is asked whether to set again.
    assert!(walk.asked.iter().all(|asked| asked.step != "again"));
}

#[test]
fn the_record_of_a_direct_one_holds_both_runs_and_what_was_found() {
    let walk = direct();
    let report = walk.report();
    assert_eq!(report.head.state, State::Complete);
    assert_eq!(report.head.tag.as_deref(), Some("FV-118"));
    assert_eq!(report.outstanding, Vec::<String>::new());
    let shown = |at: usize| -> Vec<String> {
        let rows = report.runs[at].rows.iter();
        rows.map(|row| row.cells[0].shown.clone().unwrap())
            .collect()
    };
    assert_eq!(report.runs.len(), 2);
    assert_eq!(
        shown(0),
        [
            "0.1 %", "25.3 %", "50.6 %", "75.4 %", "100.2 %", "100.2 %", "75.9 %", "51.2 %",
            "26.1 %", "0.3 %"
        ]
    );
    assert_eq!(report.runs[1].rows[1].command, "8.00 mA");
    assert_eq!(
        report.runs[1].rows[7].cells[0].deviation.as_deref(),
        Some("+0.6")
    );
    assert!(report.runs.iter().all(|run| run.judged));
    let holds: Vec<&str> = report
        .holds
        .iter()
        .map(|hold| hold.seconds.as_str())
        .collect();
    assert_eq!(holds, ["4", "4", "60"]);
    // Every gate stands with its yes, those before and those after the strokes.
    for gate in GATES_OFF.iter().chain(&GATES_AGAIN) {
        let found = report.gates.iter().find(|answer| answer.step == *gate);
        assert_eq!(found.unwrap().shown, "yes", "{gate}");
    }
    for (step, verdict) in [
        ("found-judged", "pass"),
        ("left-judged", "pass"),
        ("times", "ok"),
        ("loss-judged", "as-wanted"),
    ] {
        let found = report.findings.iter().find(|line| line.step == step);
        assert_eq!(found.unwrap().verdict, verdict, "{step}");
    }
    assert!(
        report
            .answers
            .iter()
            .all(|answer| answer.counts == Counts::Yes)
    );
    assert_eq!(report.exceptions, []);
}

#[test]
fn reverse_acting_turns_the_signals_round_and_nothing_else() {
    let sheet = SHEET
        .replace("action = \"direct\"", "action = \"reverse\"")
        .replace("loss = \"close\"", "loss = \"stay\"");
    let mut walk = Walk::new("set-ends", &sheet);
    to_the_first_stroke(&mut walk);
    walk.run("found-run", &E1.0, &downwards(E1.1));
    walk.answer("to-setting", "1");
    // Closed is at the high end of the signal now, open at the low one.
    set_both(&mut walk, "19.99", "4.00", "run-reverse");
    mid_and_starts(&mut walk);
    walk.run("left-run", &LEFT.0, &downwards(LEFT.1));
    walk.answers(&[
        ("open-time", "15.2"),
        ("close-time", "14.1"),
        ("at-low", "100"),
        ("at-mid", "50.3"),
        ("at-high", "0.1"),
        ("loss-before", "50.3"),
        ("loss-pull", "done"),
        ("loss-after", "51.3"),
    ]);
    to_the_end(&mut walk);
    nothing_unsafe_was_asked(&walk);
    assert_eq!(
        signals(&walk, "left-run"),
        [
            "20.00 mA", "16.00 mA", "12.00 mA", "8.00 mA", "4.00 mA", "4.00 mA", "8.00 mA",
            "12.00 mA", "16.00 mA", "20.00 mA"
        ]
    );
    for (step, signal) in [
        ("signal-low-set", "20.00 mA"),
        ("signal-high-set", "4.00 mA"),
    ] {
        let asked = walk.asked.iter().find(|asked| asked.step == step).unwrap();
        assert!(asked.question.contains(signal), "{}", asked.question);
    }
    // Positions are per cent open either way, so the figures are those of the direct one.
    figures_fit(&walk, "found-judged", E1.0, E1.1);
    figures_fit(&walk, "left-judged", LEFT.0, LEFT.1);
    near(walk.figure("signal-low-judged", "expected"), 20.0);
    near(
        walk.figure("signal-low-judged", "deviation"),
        -100.0 * 0.01 / 16.0,
    );
    assert_eq!(walk.finding("acts").verdict, "as-set");
    assert_eq!(walk.finding("loss-judged").verdict, "as-wanted");
    near(walk.figure("loss-judged", "from wanted"), 1.0);
    assert_eq!(walk.report().head.state, State::Complete);
}

/// Every safety question gets a no first: it blocks there, and asks again.
fn refuse_first(walk: &mut Walk, gate: &str) {
    walk.answer(gate, "no");
    walk.answer(gate, "yes");
}

#[test]
fn an_open_end_that_is_off_is_found_and_set_again() {
    let mut walk = Walk::new("set-ends", SHEET);
    for gate in ["permit-open", "loop-manual"].iter().chain(&GATES_OFF) {
        refuse_first(&mut walk, gate);
    }
    walk.answers(&[("cover-off", "done"), ("lift", "done")]);
    for gate in ["energised", "power-on", "clear"] {
        refuse_first(&mut walk, gate);
    }
    walk.answer("moves", "1");
    walk.run("found-run", &SHORT.0, &downwards(SHORT.1));
    assert_eq!(walk.finding("found-judged").verdict, "fail");
    walk.answer("to-setting", "1");
    // A source that is off by more than a quarter per cent sets nothing.
    walk.answers(&[
        ("mode-set", "done"),
        ("signal-low-set", "done"),
        ("signal-low-read", "4.00"),
        ("closed-reached", "yes"),
    ]);
    walk.hold("hold-closed", 4);
    walk.answers(&[("signal-high-set", "done"), ("signal-high-read", "19.80")]);
    assert_eq!(walk.finding("signal-high-judged").verdict, "off");
    near(walk.figure("signal-high-judged", "deviation"), -1.25);
    // Nor does a valve that does not stand at open.
    walk.answers(&[
        ("signal-high-set", "done"),
        ("signal-high-read", "20.00"),
        ("open-reached", "no"),
        ("signal-high-set", "done"),
        ("signal-high-read", "20.00"),
        ("open-reached", "yes"),
    ]);
    walk.hold("hold-open", 4);
    walk.answer("run-direct", "done");
    mid_and_starts(&mut walk);
    walk.run("left-run", &SHORT.0, &downwards(SHORT.1));
    assert_eq!(walk.finding("left-judged").verdict, "fail");
    figures_fit(&walk, "left-judged", SHORT.0, SHORT.1);
    near(walk.figure("left-judged", "inaccuracy below"), -3.0);
    // Set again, from the mode on; what was lifted with it is lifted again.
    walk.answer("again", "1");
    set_both(&mut walk, "4.00", "20.00", "run-direct");
    mid_and_starts(&mut walk);
    walk.run("left-run", &LEFT.0, &downwards(LEFT.1));
    assert_eq!(walk.finding("left-judged").verdict, "pass");
    figures_fit(&walk, "left-judged", LEFT.0, LEFT.1);
    // Slow, and it stays where it should close: told, and on the record.
    walk.answers(&[
        ("open-time", "17.1"),
        ("close-time", "15.0"),
        ("at-low", "0"),
        ("at-mid", "50"),
        ("at-high", "100"),
        ("loss-before", "50"),
        ("loss-pull", "done"),
        ("loss-after", "50"),
    ]);
    assert_eq!(walk.finding("times").verdict, "slow");
    near(
        walk.figure("times", "opening from nameplate"),
        checked("stroke_time_deviation_pct.01"),
    );
    assert_eq!(walk.finding("loss-judged").verdict, "wrong");
    near(walk.figure("loss-judged", "from wanted"), 50.0);
    walk.answer("loss-back", "done");
    for gate in GATES_AGAIN {
        refuse_first(&mut walk, gate);
    }
    walk.answers(&[("wire-back", "done"), ("cover-back", "done")]);
    for gate in ["power-back", "remote", "stroke-witnessed", "hand-back"] {
        refuse_first(&mut walk, gate);
    }
    walk.answer("remarks", "next");
    walk.is_closed();
    nothing_unsafe_was_asked(&walk);

    let report = walk.report();
    assert_eq!(report.head.state, State::Complete);
    // The run before it was set again is there as an earlier attempt, the last one as it was left.
    assert_eq!(report.runs[1].earlier_readings, 10);
    let last = report.runs[1].rows[4].cells[0].shown.as_deref();
    assert_eq!(last, Some("100 %"));
    let verdicts: Vec<(&str, bool)> = report
        .findings
        .iter()
        .filter(|line| line.step == "left-judged")
        .map(|line| (line.verdict.as_str(), line.latest))
        .collect();
    assert_eq!(verdicts, [("fail", false), ("pass", true)]);
    assert_eq!(report.holds.len(), 6);
    let said: Vec<&str> = report
        .exceptions
        .iter()
        .map(|exception| exception.what.as_str())
        .collect();
    for what in ["Stroke times", "Loss of signal"] {
        assert!(said.iter().any(|said| said.contains(what)), "{said:?}");
    }
}

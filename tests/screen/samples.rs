//! Views as they come up in a job, written out.

use sayback::core::{Mark, View};

/// A view of a run in the middle of a job.
fn base() -> View {
    View {
        title: "MOV-101A · Potentiometer check".to_owned(),
        place: "step 6 of 31, as found".to_owned(),
        question: "Resistance from end to end?".to_owned(),
        big: "End to end".to_owned(),
        state: "ASK",
        keys: vec![
            ("0-9", "type it"),
            ("+", "say again"),
            ("*", "correct"),
            ("/", "menu"),
        ],
        ear: "ear: open".to_owned(),
        listens: true,
        last: "4.00 mA".to_owned(),
        ..View::default()
    }
}

/// All samples, by name.
pub fn all() -> Vec<(&'static str, View)> {
    let yes_no = vec![
        ("Enter", "yes"),
        ("-", "no"),
        ("+", "say again"),
        ("/", "menu"),
    ];
    let keep = vec![
        ("Enter", "keep"),
        ("*", "clear"),
        ("+", "k, M"),
        ("/", "menu"),
    ];
    let choose = vec![("1-9", "choose"), ("0", "back to the job")];
    let menu = [
        "0 back to the job",
        "1 go back one step",
        "2 skip, with a reason",
        "3 cannot be done, with a reason",
        "4 meter shows no number",
        "5 note",
        "6 take back the last answer",
        "7 stand by",
        "8 end the job here",
        "9 leave, resume later",
    ];
    vec![
        ("asking", View { message: "Kept.".to_owned(), mark: Mark::Good, ..base() }),
        (
            "typed",
            View { state: "TYPED", big: "512.3".to_owned(), unit: "Ω".to_owned(), keys: keep.clone(), message: "Kept. The keypad sends arrows: turn NumLock on. They are read as figures.".to_owned(),
                mark: Mark::Good,
                ..base() },
        ),
        (
            "right",
            View {
                state: "RIGHT?",
                big: "512.3 Ω".to_owned(),
                message: "Five one two decimal three ohms. Right?".to_owned(),
                keys: vec![("Enter", "yes, keep"), ("-", "no"), ("+", "say again"), ("/", "menu")],
                ..base()
            },
        ),
        (
            "long_question",
            View {
                question: "With the supply isolated and the wiper lead lifted, what is the resistance from the wiper to \
                           the end that is lower at closed, after the meter has settled for four seconds?"
                    .to_owned(),
                big: "Wiper to end".to_owned(),
                ear: "ear: LOST, use the keypad".to_owned(),
                listens: false,
                ..base()
            },
        ),
        (
            "gate",
            View {
                question: "Is the actuator isolated, locked, and proved dead?".to_owned(),
                big: "Proved dead?".to_owned(),
                caution: Some("Stored spring force can turn the valve without warning. Keep hands clear.".to_owned()),
                keys: yes_no.clone(),
                ..base()
            },
        ),
        (
            "menu",
            View {
                state: "MENU",
                big: "Menu".to_owned(),
                list: menu.map(str::to_owned).to_vec(),
                keys: choose,
                ..base()
            },
        ),
        (
            "finding_bad",
            View {
                state: "BAD",
                big: "open track".to_owned(),
                question: "Next goes on.".to_owned(),
                message: "The track is open near 40 percent: the wiper reads OL there in both directions. Replace the \
                          potentiometer, then read it again."
                    .to_owned(),
                mark: Mark::Bad,
                keys: vec![("Enter", "next"), ("+", "say again"), ("/", "menu")],
                ..base()
            },
        ),
        (
            "hold",
            View {
                state: "HOLD",
                big: "4".to_owned(),
                unit: "s".to_owned(),
                question: "Hold the calibrate button.".to_owned(),
                keys: vec![("/", "break off"), ("Esc", "STOP")],
                ..base()
            },
        ),
        (
            "stopped",
            View {
                state: "STOPPED",
                big: "STOPPED".to_owned(),
                message: "Stopped. Sayback cannot stop the actuator: use the site's own stop. Go ahead when it is over."
                    .to_owned(),
                mark: Mark::Bad,
                keys: vec![("Enter", "go ahead"), ("/", "menu")],
                ..base()
            },
        ),
        (
            "not_saved",
            View {
                state: "NOT SAVED",
                big: "End to end".to_owned(),
                message: "NOT SAVED. Write it on paper. The disk is full: make room, then enter it again.".to_owned(),
                mark: Mark::Bad,
                keys: vec![("Enter", "enter it again"), ("/", "leave")],
                ..base()
            },
        ),
        (
            "done",
            View {
                state: "DONE",
                big: "Done".to_owned(),
                question: String::new(),
                message: "The job is complete.".to_owned(),
                mark: Mark::Good,
                keys: Vec::new(),
                ..base()
            },
        ),
        (
            "spelling",
            View {
                state: "TYPED",
                place: "data 1 of 9".to_owned(),
                question: "Tag of the actuator?".to_owned(),
                big: "MOV-101A".to_owned(),
                keys: vec![("Enter", "keep"), ("+", "to letters"), ("*", "clear"), ("/", "menu")],
                last: String::new(),
                ..base()
            },
        ),
        (
            "choice",
            View {
                question: "What does the actuator do on loss of signal?".to_owned(),
                big: "Loss of signal".to_owned(),
                list: ["1 closes", "2 opens", "3 stays put", "4 not set"].map(str::to_owned).to_vec(),
                keys: vec![("1-9", "choose"), ("+", "say again"), ("/", "menu")],
                ..base()
            },
        ),
    ]
}

//! What the keys do now, in words for the screen. No state.

use crate::core::question::Asked;
use crate::core::{Live, Phase};
use crate::job::{Step, StepKind};

/// What the keys do now, for the screen: key and act.
#[must_use]
pub fn hints(phase: &Phase, asked: &Asked, live: &Live) -> Vec<(&'static str, &'static str)> {
    match phase {
        Phase::Idle | Phase::Saving | Phase::Done => Vec::new(),
        Phase::Confirming(_) => vec![
            ("Enter", "yes, keep"),
            ("-", "no"),
            ("+", "say again"),
            ("/", "menu"),
        ],
        Phase::Telling => vec![("Enter", "next"), ("+", "say again"), ("/", "menu")],
        Phase::Menu => vec![
            ("1-9", "choose"),
            ("0", "back to the job"),
            ("+", "who relays"),
        ],
        Phase::Reason(_) | Phase::Statuses => {
            vec![("1-9", "choose"), ("0", "back to the job")]
        }
        Phase::Noting => vec![("Enter", "keep"), ("*", "clear"), ("/", "drop it")],
        Phase::Relaying(Some(_)) => vec![
            ("Enter", "yes, keep"),
            ("-", "no"),
            ("+", "say again"),
            ("/", "as before"),
        ],
        Phase::Relaying(None) => vec![
            ("Enter", "keep"),
            ("-", "nobody"),
            ("+", letters(live)),
            ("/", "as before"),
        ],
        Phase::Holding { .. } => vec![("/", "break off"), ("Esc", "STOP")],
        Phase::Paused | Phase::Stopped => vec![("Enter", "go ahead"), ("/", "menu")],
        Phase::NotSaved { again: true } => vec![("Enter", "enter it again"), ("/", "leave")],
        Phase::NotSaved { again: false } => vec![("Enter", "leave")],
        Phase::Leaving => vec![("Enter", "yes, end it"), ("-", "no")],
        Phase::Asking if !live.typed.is_empty() => match asked {
            Asked::Plate(item) if matches!(item.kind, crate::job::PlateKind::Tag) => {
                vec![
                    ("Enter", "keep"),
                    ("+", letters(live)),
                    ("*", "clear"),
                    ("/", "menu"),
                ]
            }
            _ if is_ohms(asked) => vec![
                ("Enter", "keep"),
                ("*", "clear"),
                ("+", "k, M"),
                ("/", "menu"),
            ],
            _ => vec![("Enter", "keep"), ("*", "clear"), ("/", "menu")],
        },
        Phase::Asking => match asked {
            Asked::Plate(item) if matches!(item.kind, crate::job::PlateKind::Tag) => {
                vec![("0-9", "figures"), ("+", letters(live)), ("/", "menu")]
            }
            Asked::Restore(_)
            | Asked::Step(Step {
                kind: StepKind::Gate { .. },
                ..
            }) => {
                vec![
                    ("Enter", "yes"),
                    ("-", "no"),
                    ("+", "say again"),
                    ("/", "menu"),
                ]
            }
            Asked::Step(Step {
                kind: StepKind::Instruction,
                ..
            }) => {
                vec![
                    ("Enter", "done"),
                    ("+", "say again"),
                    ("*", "correct"),
                    ("/", "menu"),
                ]
            }
            Asked::Step(Step {
                kind: StepKind::Hold { .. },
                ..
            }) => {
                vec![
                    ("Enter", "start the hold"),
                    ("+", "say again"),
                    ("/", "menu"),
                ]
            }
            Asked::Step(Step {
                kind: StepKind::Memo,
                ..
            }) => vec![("Enter", "next"), ("/", "menu, 5 note")],
            _ if !asked.options().is_empty() => {
                vec![("1-9", "choose"), ("+", "say again"), ("/", "menu")]
            }
            _ => vec![
                ("0-9", "type it"),
                ("+", "say again"),
                ("*", "correct"),
                ("/", "menu"),
            ],
        },
    }
}

fn is_ohms(asked: &Asked) -> bool {
    use crate::job::{NumberRange, PlateItem, PlateKind};
    let range = match asked {
        Asked::Plate(PlateItem {
            kind: PlateKind::Number(range),
            ..
        })
        | Asked::Step(Step {
            kind: StepKind::Reading(range),
            ..
        }) => range,
        Asked::Cell(_, column, _) => &column.range,
        _ => return false,
    };
    matches!(range, NumberRange::Fixed { unit, .. } | NumberRange::Scaled { unit, .. } if unit == "ohm" || unit == "Mohm")
}

fn letters(live: &Live) -> &'static str {
    if live.letters {
        "to figures"
    } else {
        "to letters"
    }
}

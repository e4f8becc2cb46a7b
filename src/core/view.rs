//! `view`: what every output shows. The screen, the plain lines and the voice
//! all take their words from here.

use super::keypad::{self, MENU, STATUSES};
use super::question::{Asked, asked, value_text};
use super::record::Cursor;
use super::run::Saved;
use super::step::Turn;
use super::{EarState, Live, Mark, Microphone, Phase, Run};
use crate::job::{PlateItem, Step, StepKind};
use crate::spoken::SlotKind;

/// All that is shown at one moment. Plain data.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct View {
    /// Job and tag.
    pub title: String,
    /// Where in the job one is.
    pub place: String,
    /// Caution that belongs to this step.
    pub caution: Option<String>,
    /// The question, one sentence.
    pub question: String,
    /// What stands in very large print: the value typed or heard, or what is asked for.
    pub big: String,
    /// Symbol of the unit that belongs to it, empty if there is none.
    pub unit: String,
    /// State, as a word: ASK, RIGHT?, SAVING, KEPT, WATCH, BAD, HOLD, STOPPED, NOT SAVED …
    pub state: &'static str,
    /// The last thing said.
    pub message: String,
    /// Its mark.
    pub mark: Mark,
    /// Numbered list to choose from, if there is one.
    pub list: Vec<String>,
    /// What each key does now.
    pub keys: Vec<(&'static str, &'static str)>,
    /// State of the ear, in words.
    pub ear: String,
    /// Whether what is said now is listened for.
    pub listens: bool,
    /// The last value kept.
    pub last: String,
}

/// What is to be shown now.
#[must_use]
pub fn view(run: &Run) -> View {
    let job = &run.job;
    let live = &run.live;
    let asked = asked(job, &run.saved, &open_cursor(run));
    let mut shown = View {
        title: title(run),
        place: place(run),
        caution: asked.step().and_then(|step| step.caution.clone()),
        question: asked.sentence(job, &run.saved),
        big: if live.typed.is_empty() {
            asked.short()
        } else {
            live.typed.clone()
        },
        unit: String::new(),
        state: "ASK",
        message: live.message.text.clone(),
        mark: live.message.mark,
        list: options(&asked),
        keys: keypad::hints(&live.phase, &asked, live),
        ear: match &live.ear {
            EarState::None => "keypad only".to_owned(),
            EarState::Loading => "mic: getting ready".to_owned(),
            EarState::Lost(_) => "mic: LOST, use the keypad".to_owned(),
            EarState::Open => microphone(live).to_owned(),
        },
        listens: live.ear == EarState::Open
            && !live.microphone.closed
            && !matches!(live.phase, Phase::Paused | Phase::Stopped),
        last: live.last_kept.clone().unwrap_or_default(),
    };
    if !live.typed.is_empty() {
        shown.state = "TYPED";
        match asked.slot(&run.saved).kind {
            SlotKind::Number(range) => shown.unit = range.unit.symbol().to_owned(),
            SlotKind::Choice(_) => {
                if let Some(title) = live
                    .typed
                    .parse::<usize>()
                    .ok()
                    .and_then(|at| asked.options().get(at.wrapping_sub(1)))
                {
                    shown.big.clone_from(&title.title);
                }
            }
            _ => {}
        }
    }
    phase(run, &mut shown);
    shown
}

/// Whether the microphone is open, in words whose first tell the most.
fn microphone(live: &Live) -> &'static str {
    match (live.microphone, &live.phase) {
        (Microphone { closed: true, .. }, _) => "mic: CLOSED, Tab opens it",
        (_, Phase::Paused | Phase::Stopped) => "mic: PAUSED, say go ahead",
        (
            Microphone {
                push_to_talk: true, ..
            },
            _,
        ) => "mic: OPEN, Tab closes it",
        _ => "mic: OPEN",
    }
}

fn phase(run: &Run, shown: &mut View) {
    match &run.live.phase {
        Phase::Idle => shown.state = "START",
        Phase::Asking => {
            if run.live.correcting.is_some() {
                shown.state = "CORRECT";
            } else if run.live.typed.is_empty()
                && let Some(known) = known(run)
            {
                shown.message = format!("{} Kept before: {known}. Next keeps it.", shown.message)
                    .trim()
                    .to_owned();
            }
        }
        Phase::Confirming(candidate) => {
            shown.state = "RIGHT?";
            shown.big.clone_from(&candidate.shown);
            shown.unit.clear();
        }
        Phase::Saving => shown.state = "SAVING",
        Phase::Telling => {
            shown.state = match run.live.message.mark {
                Mark::Bad => "BAD",
                Mark::Watch => "WATCH",
                _ => "GOOD",
            };
            // The verdict is big; the whole sentence stands in the message.
            shown.big = last_verdict(run);
            shown.question = "Next goes on.".to_owned();
            shown.caution = None;
            shown.list.clear();
        }
        Phase::Reason(reason) => {
            shown.state = "WHY?";
            shown.big = "Why?".to_owned();
            shown.list = Turn::reason_options(run, reason)
                .iter()
                .enumerate()
                .map(|(at, option)| format!("{} {}", at + 1, option.title))
                .collect();
        }
        Phase::Menu => {
            shown.state = "MENU";
            shown.caution = None;
            shown.big = "Menu".to_owned();
            shown.list = MENU
                .iter()
                .enumerate()
                .map(|(at, act)| format!("{at} {act}"))
                .collect();
        }
        Phase::Statuses => {
            shown.state = "METER";
            shown.big = "Meter shows".to_owned();
            shown.list = STATUSES
                .iter()
                .enumerate()
                .map(|(at, (_, words))| format!("{} {words}", at + 1))
                .collect();
        }
        Phase::Noting => shown.state = "NOTE",
        Phase::Relaying(waiting) => {
            shown.state = if waiting.is_some() { "RIGHT?" } else { "RELAY" };
            shown.caution = None;
            shown.list.clear();
            shown.unit.clear();
            shown.question = "Who relays the readings?".to_owned();
            shown.big = match waiting {
                Some(relay) => relay.by.clone().unwrap_or_else(|| "nobody".to_owned()),
                None if run.live.typed.is_empty() => "Relayed by?".to_owned(),
                None => run.live.typed.clone(),
            };
        }
        Phase::Holding { until_ms, .. } => {
            shown.state = "HOLD";
            let left = until_ms.saturating_sub(run.live.now_ms).div_ceil(1000);
            shown.big = left.to_string();
            shown.unit = "s".to_owned();
        }
        Phase::Paused => {
            shown.state = "STANDING BY";
            shown.big = "Standing by".to_owned();
        }
        Phase::Stopped => {
            shown.state = "STOPPED";
            shown.big = "STOPPED".to_owned();
        }
        Phase::NotSaved { .. } => {
            shown.state = "NOT SAVED";
            shown.big = "NOT SAVED".to_owned();
            shown.caution = None;
        }
        Phase::Leaving => {
            shown.state = "END?";
            shown.big = "End here?".to_owned();
            shown.list.clear();
        }
        Phase::Done => {
            shown.state = "DONE";
            shown.big = "Done".to_owned();
            shown.list.clear();
            shown.question = String::new();
        }
    }
}

/// The cursor whose question is open: that of the run, or of the answer that is being corrected.
#[must_use]
pub fn open_cursor(run: &Run) -> Cursor {
    let Some(seq) = run.live.correcting else {
        return run.saved.cursor.clone();
    };
    let Some(kept) = run.saved.answers.iter().find(|kept| kept.seq == seq) else {
        return run.saved.cursor.clone();
    };
    Saved::cursor_of(&run.job, &kept.answer)
}

fn known(run: &Run) -> Option<String> {
    match asked(&run.job, &run.saved, &run.saved.cursor) {
        Asked::Step(
            step @ Step {
                kind: StepKind::Reading(_) | StepKind::Choice(_),
                ..
            },
        ) => {
            let kept = run
                .saved
                .answer(&step.id)
                .filter(|kept| kept.stale.is_none())?;
            Some(value_text(&run.job, &step.id, &kept.answer.value))
        }
        Asked::Cell(step, _, row) => {
            let kept = run.saved.cell(&step.id, &row)?;
            Some(value_text(&run.job, &step.id, &kept.answer.value))
        }
        _ => None,
    }
}

fn last_verdict(run: &Run) -> String {
    run.live
        .last_finding
        .as_deref()
        .map(|verdict| verdict.replace('-', " "))
        .unwrap_or_default()
}

fn options(asked: &Asked) -> Vec<String> {
    let unknown = matches!(
        asked,
        Asked::Plate(PlateItem {
            unknown_allowed: true,
            ..
        })
    );
    let mut list: Vec<String> = asked
        .options()
        .iter()
        .enumerate()
        .map(|(at, option)| format!("{} {}", at + 1, option.title))
        .collect();
    if unknown {
        list.push("skip, if it is unknown".to_owned());
    }
    list
}

fn title(run: &Run) -> String {
    match run.saved.plate_word("tag") {
        Some(tag) => format!("{tag} · {}", run.job.title),
        None => run.job.title.clone(),
    }
}

fn place(run: &Run) -> String {
    let here = where_in(run);
    match &run.saved.relayed_by {
        Some(by) => format!("{here}, relayed by {by}"),
        None => here,
    }
}

fn where_in(run: &Run) -> String {
    let job = &run.job;
    if job.is_list() {
        return job.purpose.clone();
    }
    match &run.saved.cursor {
        Cursor::Plate(item) => {
            let at = job
                .plate
                .iter()
                .position(|other| other.id == *item)
                .map_or(0, |at| at + 1);
            format!("data {at} of {}", job.plate.len())
        }
        Cursor::Step { id, cell } => {
            let Some(at) = job.index_of(id) else {
                return String::new();
            };
            let step = &job.steps[at];
            let row = match &step.kind {
                StepKind::ReadingSet(set) => {
                    let rows = set.points.len() * if set.both_ways { 2 } else { 1 };
                    format!(", reading {} of {}", cell + 1, rows * set.columns.len())
                }
                _ => String::new(),
            };
            format!(
                "step {} of {}, {}{row}",
                at + 1,
                job.steps.len(),
                step.stage.words()
            )
        }
        Cursor::Ending => "close out".to_owned(),
        Cursor::Closed => "closed".to_owned(),
    }
}

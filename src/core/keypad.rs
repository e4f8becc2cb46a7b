//! What each key does now. Every act has one key; none needs two at once, a
//! held key, or a time limit.
//!
//! No state of its own: it changes `Live` on behalf of `step`.

mod hints;

pub use hints::hints;

use super::answer::{self, Outcome};
use super::record::{Channel, How, Value};
use super::step::{Turn, can_bounce, keyed};
use super::{Candidate, Key, Live, Mark, Phase, ReasonFor};
use crate::spoken::SlotKind;

/// A repeat of a key that is no digit within this time is a bounce of a gloved finger.
pub const BOUNCE_MS: u64 = 150;

/// The longest text that can be typed; enough for any reading, tag or remark.
const LONGEST: usize = 120;

/// What a meter can show instead of a number, in the order of the list.
pub const STATUSES: [(&str, &str); 7] = [
    ("OL", "OL, over limit"),
    ("OPEN", "open circuit"),
    ("NO_READING", "no reading"),
    ("SHORT", "short circuit"),
    ("UNSTABLE", "unstable, jumping"),
    ("NOT_APPLICABLE", "not applicable"),
    ("UNABLE", "cannot reach it"),
];

/// The menu, in the order of its digits.
pub const MENU: [&str; 10] = [
    "back to the job",
    "go back one step",
    "skip, with a reason",
    "cannot be done, with a reason",
    "meter shows no number",
    "note",
    "take back the last answer",
    "stand by",
    "end the job here",
    "leave, resume later",
];

/// True if this key is a bounce, to be dropped.
pub fn is_bounce(live: &mut Live, key: Key, now_ms: u64) -> bool {
    if !can_bounce(key) {
        live.last_key = None;
        return false;
    }
    let bounce = live
        .last_key
        .is_some_and(|(last, at)| last == key && now_ms.saturating_sub(at) < BOUNCE_MS);
    live.last_key = Some((key, now_ms));
    bounce
}

/// Takes in one key.
pub(super) fn take(turn: &mut Turn, key: Key) {
    if key == Key::Stop {
        turn.stop(keyed("stop key"));
        return;
    }
    match turn.run.live.phase.clone() {
        Phase::Idle | Phase::Saving | Phase::Done => {}
        Phase::Asking => asking(turn, key),
        Phase::Confirming(candidate) => confirming(turn, key, candidate),
        Phase::Telling => match key {
            Key::Enter => turn.take_next(),
            Key::Plus => {
                let text = turn.run.live.message.text.clone();
                turn.say(&text);
            }
            Key::Slash => menu(turn),
            _ => {}
        },
        Phase::Reason(reason) => reason_key(turn, key, reason),
        Phase::Menu => menu_key(turn, key),
        Phase::Statuses => status_key(turn, key),
        Phase::Noting => note_key(turn, key),
        Phase::Relaying(waiting) => turn.relay_key(key, waiting),
        Phase::Holding { .. } => {
            if matches!(key, Key::Slash | Key::Minus | Key::Star) {
                turn.ask_again();
            }
        }
        Phase::Paused | Phase::Stopped => match key {
            Key::Enter => turn.ask_again(),
            Key::Slash => menu(turn),
            _ => {}
        },
        Phase::NotSaved { again } => match key {
            Key::Enter if again => turn.ask_again(),
            Key::Enter | Key::Slash => turn.effects.push(super::Effect::Quit(3)),
            _ => {}
        },
        Phase::Leaving => match key {
            Key::Enter => turn.leave(),
            Key::Minus | Key::Digit(0) => turn.ask_again(),
            _ => {}
        },
    }
}

fn asking(turn: &mut Turn, key: Key) {
    let slot = turn.asked().slot(&turn.run.saved).kind;
    let is_text = matches!(slot, SlotKind::Tag);
    match key {
        Key::Slash => menu(turn),
        Key::Enter => enter(turn),
        Key::Erase => {
            turn.run.live.typed.pop();
        }
        Key::Star if turn.run.live.typed.is_empty() => turn.correct(),
        Key::Star => turn.run.live.typed.clear(),
        Key::Plus if is_text => turn.run.live.letters = !turn.run.live.letters,
        Key::Plus if !turn.run.live.typed.is_empty() => next_suffix(turn, &slot),
        Key::Plus => turn.ask_again(),
        Key::Minus if is_text || matches!(slot, SlotKind::Number(_)) => push(turn, '-'),
        Key::Minus if !turn.run.live.typed.is_empty() => push(turn, '-'),
        Key::Minus => turn.no(keyed("no key")),
        Key::Digit(digit) => digit_typed(turn, digit, &slot),
        Key::Point => push(turn, '.'),
        Key::Letter(letter) if is_text => push(turn, letter.to_ascii_uppercase()),
        // Shown and refused whole: a sign that is dropped would leave an answer that nobody gave.
        Key::Letter(letter) => push(turn, letter),
        Key::Stop | Key::Talk => {}
    }
}

fn push(turn: &mut Turn, character: char) {
    if turn.run.live.typed.chars().count() < LONGEST {
        turn.run.live.typed.push(character);
    } else {
        turn.run.live.typed.clear();
        turn.tell(Mark::Watch, "Too long. It is cleared; type it again.");
    }
}

/// Takes in a whole line as one answer: kept or refused as it stands, no part of it acts.
pub(super) fn line(turn: &mut Turn, text: &str) {
    let text = text.trim();
    if text.chars().count() > LONGEST {
        turn.tell(Mark::Watch, "Too long. Nothing was stored; type it again.");
        return;
    }
    let figure = match text.as_bytes() {
        [figure @ b'0'..=b'9'] => Some(Key::Digit(figure - b'0')),
        _ => None,
    };
    match (turn.run.live.phase.clone(), figure) {
        (Phase::Idle | Phase::Saving | Phase::Done, _) => {}
        (Phase::Noting, _) => turn.note(text, Channel::Keypad, None),
        (Phase::Relaying(_), _) => turn.relay_typed(text),
        (Phase::Menu, None) if text == "+" => take(turn, Key::Plus),
        (Phase::Reason(_) | Phase::Menu | Phase::Statuses, Some(key)) => take(turn, key),
        (Phase::Reason(_) | Phase::Menu | Phase::Statuses, None) => {
            turn.tell(
                Mark::Watch,
                "One figure of the list is wanted. Nothing was stored.",
            );
        }
        (Phase::Asking | Phase::Confirming(_), _) => {
            // A value typed instead of a yes: the one read back is dropped.
            turn.run.live.phase = Phase::Asking;
            text.clone_into(&mut turn.run.live.typed);
            enter(turn);
        }
        _ => turn.tell(Mark::Watch, "Not now. Nothing was stored. Enter goes on."),
    }
}

fn digit_typed(turn: &mut Turn, digit: u8, slot: &SlotKind) {
    let character = char::from(b'0' + digit.min(9));
    match slot {
        SlotKind::Tag if turn.run.live.letters => letter_code(turn, character),
        _ => push(turn, character),
    }
}

/// A key of a name: letters, figures by the mode that is on, marks.
pub(super) fn spell(turn: &mut Turn, key: Key) {
    match key {
        Key::Digit(digit) => digit_typed(turn, digit, &SlotKind::Tag),
        Key::Letter(letter) => push(turn, letter.to_ascii_uppercase()),
        Key::Minus => push(turn, '-'),
        Key::Point => push(turn, '.'),
        _ => {}
    }
}

/// Letters by their place in the alphabet, two digits each: 01 is A, 26 is Z. The first digit waits as `_`.
fn letter_code(turn: &mut Turn, digit: char) {
    let typed = &mut turn.run.live.typed;
    let waiting = typed.rfind('_').map(|at| (at, typed[at + 1..].to_owned()));
    if let Some((at, first)) = waiting {
        typed.truncate(at);
        if let Ok(place @ 1..=26) = format!("{first}{digit}").parse::<u8>() {
            typed.push(char::from(b'A' + place - 1));
        } else {
            turn.tell(Mark::Watch, "Letters go from 0 1, A, to 2 6, Z.");
        }
    } else {
        typed.push('_');
        typed.push(digit);
    }
}

/// Ohm, kilohm, megohm: the plus key goes round, and the screen shows which.
fn next_suffix(turn: &mut Turn, slot: &SlotKind) {
    let ohms = matches!(slot, SlotKind::Number(range) if matches!(range.unit.id(), "ohm" | "Mohm"));
    if !ohms {
        push(turn, '+');
        return;
    }
    let typed = &mut turn.run.live.typed;
    match typed.chars().last() {
        Some('k') => {
            typed.pop();
            typed.push('M');
        }
        Some('M') => {
            typed.pop();
        }
        _ => typed.push('k'),
    }
}

fn enter(turn: &mut Turn) {
    let typed = turn.run.live.typed.clone();
    if typed.is_empty() {
        turn.yes(keyed("enter"));
        return;
    }
    let job = turn.run.job.clone();
    let asked = super::question::asked(&job, &turn.run.saved, &turn.cursor());
    if let Some(option) = typed
        .parse::<usize>()
        .ok()
        .filter(|_| typed.len() == 1)
        .and_then(|place| asked.options().get(place.wrapping_sub(1)))
    {
        let candidate = Candidate {
            value: Value::Choice(option.id.clone()),
            out_of_range: false,
            how: keyed(&typed),
            shown: option.title.clone(),
            said: option.title.clone(),
            level_db: None,
            talk_heard: false,
        };
        turn.keep(candidate);
        return;
    }
    match answer::typed(turn.run, &asked, &typed) {
        // It stood in big print; this Enter keeps it.
        Outcome::Candidate(candidate) => turn.keep(candidate),
        Outcome::Command(_) => {}
        Outcome::Ask(message) => {
            turn.run.live.typed.clear();
            turn.tell(message.mark, &message.text);
        }
    }
}

fn confirming(turn: &mut Turn, key: Key, candidate: Candidate) {
    match key {
        Key::Enter => turn.keep(candidate),
        Key::Plus => turn.say(&candidate.said),
        Key::Minus | Key::Star => {
            turn.run.live.phase = Phase::Asking;
            turn.tell(Mark::Watch, "Not stored. Say or type it again.");
        }
        Key::Slash => menu(turn),
        // Typing a value instead of answering: the one read back is dropped.
        Key::Digit(_) | Key::Point | Key::Letter(_) => {
            turn.run.live.phase = Phase::Asking;
            turn.run.live.message = super::Message {
                mark: Mark::Watch,
                text: "Not stored.".to_owned(),
            };
            asking(turn, key);
        }
        _ => {}
    }
}

fn reason_key(turn: &mut Turn, key: Key, reason: ReasonFor) {
    match key {
        Key::Digit(digit) if digit >= 1 => {
            turn.reason_given(
                usize::from(digit) - 1,
                reason,
                Channel::Keypad,
                &digit.to_string(),
            );
        }
        Key::Digit(_) | Key::Minus | Key::Star | Key::Slash => {
            turn.run.live.correcting = None;
            turn.ask_again();
        }
        _ => {}
    }
}

fn menu(turn: &mut Turn) {
    turn.effects.push(super::Effect::Hush);
    turn.run.live.typed.clear();
    turn.run.live.phase = Phase::Menu;
    turn.run.live.message = super::Message::default();
}

fn menu_key(turn: &mut Turn, key: Key) {
    match key {
        Key::Digit(1) => turn.back(),
        Key::Digit(2) => turn.skip(false, keyed("skip")),
        Key::Digit(3) => turn.skip(true, keyed("cannot be done")),
        Key::Digit(4) => {
            if matches!(turn.asked().slot(&turn.run.saved).kind, SlotKind::Number(_)) {
                turn.run.live.phase = Phase::Statuses;
            } else {
                turn.ask_again();
                turn.tell(Mark::Watch, "No reading is asked for now.");
            }
        }
        Key::Digit(5) => turn.begin_note(),
        Key::Digit(6) => turn.undo(),
        Key::Digit(7) => turn.pause(),
        Key::Digit(8) => {
            turn.run.live.phase = Phase::Leaving;
            turn.tell(Mark::Watch, "End the job here? Affirm or negative.");
        }
        Key::Digit(9) => {
            turn.run.live.phase = Phase::Done;
            turn.tell(
                Mark::Plain,
                "Left. Everything kept is saved. Resume goes on from here.",
            );
            turn.effects.push(super::Effect::Quit(1));
        }
        Key::Plus => turn.begin_relaying(),
        Key::Digit(0) | Key::Slash | Key::Enter | Key::Minus | Key::Star => turn.ask_again(),
        _ => {}
    }
    if turn.run.live.phase == Phase::Menu {
        // The act was refused and said why; the question is still open.
        turn.run.live.phase = Phase::Asking;
    }
}

fn status_key(turn: &mut Turn, key: Key) {
    match key {
        Key::Digit(digit @ 1..=7) => {
            let (code, shown) = STATUSES[usize::from(digit) - 1];
            turn.confirm(Candidate {
                value: Value::Status(code.to_owned()),
                out_of_range: false,
                how: How {
                    channel: Channel::Keypad,
                    heard: format!("list {digit}"),
                    ..How::default()
                },
                shown: code.replace('_', " "),
                said: format!("{shown}. Enter keeps it."),
                level_db: None,
                talk_heard: false,
            });
        }
        Key::Digit(0) | Key::Slash | Key::Minus | Key::Star => turn.ask_again(),
        _ => {}
    }
}

fn note_key(turn: &mut Turn, key: Key) {
    match key {
        Key::Enter => {
            let text = turn.run.live.typed.trim().to_owned();
            if text.is_empty() {
                turn.ask_again();
            } else {
                turn.note(&text, Channel::Keypad, None);
            }
        }
        Key::Erase => {
            turn.run.live.typed.pop();
        }
        Key::Star => turn.run.live.typed.clear(),
        Key::Slash => turn.ask_again(),
        Key::Digit(digit) => push(turn, char::from(b'0' + digit.min(9))),
        Key::Point => push(turn, '.'),
        Key::Minus => push(turn, '-'),
        Key::Plus => push(turn, '+'),
        Key::Letter(letter) => push(turn, letter),
        Key::Stop | Key::Talk => {}
    }
}

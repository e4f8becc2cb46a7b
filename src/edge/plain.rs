//! Plain lines: one fact a line, the newest last, the question at the very end,
//! so that a screen reader, a pipe or a log ends on it. No escapes.
//!
//! The state is the last view printed; only [`Plain`] changes it.

use std::io::{self, Write};

use super::screen::{ascii, mark_word};
use crate::core::View;
use crate::drive::Output;

/// Prints what changed, line by line, to standard output.
#[derive(Debug)]
pub struct Plain {
    before: Option<View>,
    unicode: bool,
}

impl Plain {
    /// Nothing printed yet. Without `unicode`, letters beyond ASCII are written in words: Ω is ohm.
    #[must_use]
    pub fn new(unicode: bool) -> Self {
        Self {
            before: None,
            unicode,
        }
    }
}

impl Output for Plain {
    fn show(&mut self, view: &View) -> io::Result<()> {
        if self.before.as_ref() == Some(view) {
            return Ok(());
        }
        let lines = lines(self.before.as_ref(), view);
        if !lines.is_empty() {
            let mut out = io::stdout().lock();
            for line in lines {
                let line = if self.unicode { line } else { ascii(&line) };
                writeln!(out, "{line}")?;
            }
            out.flush()?;
        }
        self.before = Some(view.clone());
        Ok(())
    }

    /// Plain lines have no voice: a screen reader is the voice here.
    fn say(&mut self, _: &str) {}

    fn hush(&mut self) {}

    fn hint(&mut self, text: &str) {
        super::tell(text);
    }

    fn suspend(&mut self) {
        // If the system refuses, the program simply goes on.
        let _ = signal_hook::low_level::emulate_default_handler(signal_hook::consts::SIGTSTP);
    }
}

/// The lines that tell how this view differs from the one before; nothing if nobody would notice.
#[must_use]
pub fn lines(before: Option<&View>, now: &View) -> Vec<String> {
    let is_new = |field: fn(&View) -> &str| before.is_none_or(|before| field(before) != field(now));
    let mut lines = Vec::new();
    let mut fact = |is_new: bool, text: String| {
        if is_new && !text.trim().is_empty() {
            lines.push(clean(&text));
        }
    };
    // A hold counts down each second: only its start and its end are facts.
    let counts_on = now.state == "HOLD" && before.is_some_and(|before| before.state == "HOLD");
    if counts_on {
        return lines;
    }
    fact(is_new(|view| &view.title), now.title.clone());
    fact(is_new(|view| &view.ear), now.ear.clone());
    fact(
        is_new(|view| &view.last),
        labelled("Last kept: ", &now.last),
    );
    let message_new =
        is_new(|view| &view.message) || before.is_none_or(|before| before.mark != now.mark);
    fact(message_new, labelled(&mark_prefix(now), &now.message));
    let place_new = is_new(|view| &view.place);
    fact(place_new, now.place.clone());
    let state_new = is_new(|view| view.state);
    // What is asked for stands in the question; a value stands nowhere else.
    let is_value = !matches!(now.state, "ASK" | "START" | "SAVING" | "DONE" | "RIGHT?");
    let list_asks = matches!(now.state, "MENU" | "METER" | "WHY?");
    let value = format!("{} {}", now.big, now.unit);
    let value_new = state_new || is_new(|view| &view.big) || is_new(|view| &view.unit);
    let stands_for_itself = list_asks || now.big.eq_ignore_ascii_case(now.state);
    let told = if stands_for_itself {
        now.state.to_owned()
    } else {
        format!("{}: {}", now.state, value.trim())
    };
    fact(is_value && value_new, told);
    let question_new = is_new(|view| &view.question) || place_new;
    let asks_again = question_new || state_new || value_new || message_new;
    // While a list of the program itself is open, the list is what is asked.
    let is_asking = !list_asks && !matches!(now.state, "START" | "SAVING" | "DONE");
    let caution = now.caution.as_deref().unwrap_or_default();
    fact(
        question_new || is_new(|view| view.caution.as_deref().unwrap_or_default()),
        labelled("CAUTION: ", caution),
    );
    let list_new = question_new || before.is_none_or(|before| before.list != now.list);
    for choice in &now.list {
        fact(list_new, choice.clone());
    }
    let keys: Vec<String> = now
        .keys
        .iter()
        .map(|(key, act)| format!("{key} = {act}"))
        .collect();
    fact(
        before.is_none_or(|before| before.keys != now.keys),
        labelled("Keys: ", &keys.join("; ")),
    );
    let question = if now.state == "RIGHT?" {
        format!("Right: {}? {}", value.trim(), now.question)
    } else {
        now.question.clone()
    };
    fact(is_asking && asks_again, question);
    lines
}

fn mark_prefix(view: &View) -> String {
    mark_word(view.mark)
        .map(|word| format!("{word}: "))
        .unwrap_or_default()
}

fn labelled(label: &str, text: &str) -> String {
    if text.is_empty() {
        String::new()
    } else {
        format!("{label}{text}")
    }
}

/// One line, without anything that a terminal could take for a command.
fn clean(text: &str) -> String {
    text.chars()
        .map(|character| {
            if character.is_control() {
                ' '
            } else {
                character
            }
        })
        .collect::<String>()
        .trim()
        .to_owned()
}

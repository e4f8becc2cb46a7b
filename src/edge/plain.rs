//! Plain lines: for screen readers, pipes and terminals that can do no more.
//!
//! One fact a line, no escape codes, newest last, the question last. State: the
//! last view, so that only what changed is said.

use std::io::Write;

use crate::core::{Mark, View};
use crate::drive::Output;

/// Plain lines on standard output.
#[derive(Debug, Default)]
pub struct Plain {
    before: Option<View>,
}

impl Plain {
    /// Nothing has been said yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }
}

impl Output for Plain {
    fn show(&mut self, view: &View) -> std::io::Result<()> {
        let lines = lines(self.before.as_ref(), view);
        self.before = Some(view.clone());
        if lines.is_empty() {
            return Ok(());
        }
        let mut out = std::io::stdout().lock();
        for line in lines {
            writeln!(out, "{line}")?;
        }
        out.flush()
    }

    fn say(&mut self, _text: &str) {}

    fn hush(&mut self) {}
}

/// The lines that are new since the last view.
#[must_use]
pub fn lines(before: Option<&View>, now: &View) -> Vec<String> {
    let nothing = View::default();
    let before = before.unwrap_or(&nothing);
    let mut out = Vec::new();
    if now.state == "TYPED" || now.state == "SAVING" {
        return out;
    }
    let asked_anew =
        now.question != before.question || now.state != before.state || now.big != before.big;
    if now.title != before.title {
        out.push(now.title.clone());
    }
    if now.ear != before.ear {
        out.push(now.ear.clone());
    }
    if !now.message.is_empty() && (now.message != before.message || asked_anew) {
        let mark = match now.mark {
            Mark::Plain => "",
            Mark::Good => "OK: ",
            Mark::Watch => "WATCH: ",
            Mark::Bad => "BAD: ",
        };
        out.push(format!("{mark}{}", now.message));
    }
    if !asked_anew {
        return out;
    }
    if now.place != before.place && !now.place.is_empty() {
        out.push(now.place.clone());
    }
    if let Some(caution) = now
        .caution
        .as_ref()
        .filter(|caution| before.caution.as_ref() != Some(caution))
    {
        out.push(format!("CAUTION: {caution}"));
    }
    out.extend(now.list.iter().map(|item| format!("  {item}")));
    match now.state {
        "ASK" | "NOTE" | "CORRECT" => out.push(now.question.clone()),
        "RIGHT?" => out.push(format!("RIGHT? {}", now.big)),
        "HOLD" => out.push(format!("HOLD: {} {}", now.big, now.unit)),
        "DONE" => out.push("DONE".to_owned()),
        state if now.big.eq_ignore_ascii_case(state) || now.big.is_empty() => {
            out.push(state.to_owned());
        }
        state => out.push(format!("{state}: {}", now.big)),
    }
    out
}

//! Lines typed where lines are read, on a real job: a text is taken whole or not
//! at all, and its Enter affirms nothing else.

use std::sync::Arc;

use proptest::prelude::*;
use sayback::core::record::{Body, Record, Started, Value, Wall};
use sayback::core::run::Saved;
use sayback::core::{Effect, Event, Phase, Run, Stamp, step, view};
use sayback::edge::keys::{Line, read_line};
use sayback::job::{built_in, load};

pub struct Desk {
    pub run: Run,
    records: Vec<Record>,
}

impl Desk {
    /// At the first question of the built-in job.
    pub fn new() -> Self {
        let job = load::parse(built_in::text("centre-potentiometer").unwrap(), "job").unwrap();
        let plate = job
            .plate
            .iter()
            .map(|item| (item.id.clone(), sayback::job::PlateValue::Unknown))
            .collect();
        let started = Started::of(&job, "test", plate);
        let saved = Saved::new(&job, started);
        let mut desk = Self {
            run: Run::new(Arc::new(job), saved),
            records: Vec::new(),
        };
        desk.give(Event::Begin);
        desk
    }

    /// All lines come within one millisecond, as from a pipe.
    fn give(&mut self, event: Event) {
        let wall = Wall {
            utc_ms: 1_760_000_000_000,
            offset_min: 0,
        };
        let mut events = std::collections::VecDeque::from([event]);
        while let Some(event) = events.pop_front() {
            for effect in step(&mut self.run, event, Stamp { mono_ms: 1, wall }) {
                if let Effect::Append(record) = effect {
                    self.records.push(*record);
                    events.push_back(Event::Saved);
                }
            }
        }
    }

    fn line(&mut self, text: &str) -> usize {
        let before = self.records.len();
        match read_line(text) {
            Line::Keys(keys) => keys
                .into_iter()
                .for_each(|key| self.give(Event::Typed(key))),
            Line::Text(text) => self.give(Event::Line(text)),
        }
        self.records.len() - before
    }

    /// Goes on until the question is of this kind.
    fn until(&mut self, is_there: impl Fn(&sayback::job::StepKind) -> bool) {
        for _ in 0..200 {
            if let sayback::core::record::Cursor::Step { id, .. } = &self.run.saved.cursor
                && is_there(&self.run.job.steps[self.run.job.index_of(id).unwrap()].kind)
            {
                return;
            }
            let kind = view(&self.run);
            let text = if kind.list.is_empty() { "yes" } else { "1" };
            if self.line(text) == 0 {
                self.line("12");
            }
        }
        panic!("not reached: {:?}", view(&self.run));
    }
}

fn is_reading(kind: &sayback::job::StepKind) -> bool {
    matches!(kind, sayback::job::StepKind::Reading(_))
}

fn is_gate(kind: &sayback::job::StepKind) -> bool {
    matches!(kind, sayback::job::StepKind::Gate { .. })
}

#[test]
fn two_lines_in_the_same_instant_are_two_answers() {
    let mut desk = Desk::new();
    desk.until(is_gate);
    let before = desk.run.saved.cursor.clone();
    assert_eq!(desk.line(""), 1);
    assert_ne!(desk.run.saved.cursor, before);
}

#[test]
fn a_text_with_more_than_is_asked_for_is_refused_whole() {
    for text in [
        "12 ohm", "12 mm", "1 2", "1/2", "4+2", "1*2", "12x", "about 12",
    ] {
        let mut desk = Desk::new();
        desk.until(is_reading);
        assert_eq!(desk.line(text), 0, "{text}");
        let shown = view(&desk.run);
        assert_eq!(shown.mark, sayback::core::Mark::Watch, "{text}: {shown:?}");
    }
}

#[test]
fn the_enter_of_a_menu_line_does_not_affirm_the_gate() {
    let mut desk = Desk::new();
    desk.until(is_gate);
    let cursor = desk.run.saved.cursor.clone();
    desk.line("/");
    assert_eq!(desk.run.live.phase, Phase::Menu);
    // Back to the job: the gate is open again, and the Enter of this line is not its yes.
    assert_eq!(desk.line("0"), 0);
    assert_eq!(desk.run.live.phase, Phase::Asking);
    assert_eq!(desk.run.saved.cursor, cursor);
    // Nor is a figure that the gate does not take.
    assert_eq!(desk.line("1"), 0);
    assert_eq!(desk.line("-1"), 0);
    assert_eq!(desk.run.saved.cursor, cursor);
    assert_eq!(desk.line("yes"), 1);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    /// Whatever is kept from a line of text is that text.
    #[test]
    fn no_line_becomes_a_value_that_was_not_typed(text in "[-+0-9.,kKmM/* aeohst]{2,8}") {
        prop_assume!(matches!(read_line(&text), Line::Text(_)));
        let mut desk = Desk::new();
        desk.until(is_reading);
        let before = desk.records.len();
        desk.line(&text);
        for record in &desk.records[before..] {
            let Body::Answered(answer) = &record.body else { continue };
            let Value::Number { .. } = &answer.value else { continue };
            prop_assert_eq!(&answer.how.heard, text.trim());
        }
    }
}

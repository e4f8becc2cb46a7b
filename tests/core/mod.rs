//! The core, driven by events: what must hold whatever happens.

mod corrections;
mod faint;
mod gates;
mod keys;
mod long_day;
pub mod meter_check;
mod relaying;
pub mod set_ends;
mod talk;
pub mod walk;
mod whatever;

use sayback::core::record::{Body, Channel, Record, Started, Value, Wall};
use sayback::core::run::Saved;
use sayback::core::{Effect, Event, Key, Phase, Run, Stamp, step, view};
use sayback::job::{Job, built_in, load, sheet};
use std::sync::Arc;

const SHEET: &str = r#"
[plate]
tag = "FV-118"
order = "WO-2071"
permit = "P-33"
by = "KD"
pot-nominal = "1000"
pot-tolerance = "10"
electrical-angle = "340"
gear-ratio = "3"
travel = "90"
sense = "rises"
signal = "4-20-ma"
action = "direct"
ohm-meter-id = "M7"
ohm-meter-due = "2027-02"
ohm-meter-percent = "0.5"
ohm-meter-counts = "2"
ohm-meter-resolution = "0.1"
"#;

/// A run in a world of its own: a clock that the test moves, and a disk that says yes.
pub struct World {
    run: Run,
    records: Vec<Record>,
    now_ms: u64,
    quit: Option<u8>,
    disk_full: bool,
    said: Vec<String>,
}

impl World {
    fn new() -> Self {
        Self::with_sheet(SHEET)
    }

    fn with_sheet(sheet: &str) -> Self {
        Self::of(built_in::text("centre-potentiometer").unwrap(), sheet)
    }

    fn of(job: &str, sheet: &str) -> Self {
        let job = load::parse(job, "job").unwrap();
        let sheet = sheet::parse(sheet, "sheet", &job).unwrap();
        let started = Started::of(&job, "test", sheet.plate);
        let saved = Saved::new(&job, started.clone());
        let first = Record {
            at: wall(0),
            body: Body::Started(started),
        };
        let mut world = Self {
            run: Run::new(Arc::new(job), saved),
            records: vec![first],
            now_ms: 0,
            quit: None,
            disk_full: false,
            said: Vec::new(),
        };
        world.give(Event::Begin);
        world
    }

    fn job(&self) -> Arc<Job> {
        self.run.job.clone()
    }

    fn give(&mut self, event: Event) {
        let mut events = std::collections::VecDeque::from([event]);
        while let Some(event) = events.pop_front() {
            let at = Stamp {
                mono_ms: self.now_ms,
                wall: wall(self.now_ms),
            };
            let before = self.run.clone();
            for effect in step(&mut self.run, event.clone(), at) {
                match effect {
                    Effect::Append(record) => {
                        check_kept(&before, &event, &record.body);
                        if self.disk_full {
                            events.push_back(Event::NotSaved {
                                why: "full".into(),
                                again: true,
                            });
                        } else {
                            self.records.push(*record);
                            events.push_back(Event::Saved);
                        }
                    }
                    Effect::Quit(code) => self.quit = Some(code),
                    Effect::Say(text) => {
                        #[cfg(feature = "voice")]
                        crate::voice::has_clips(&self.run.job.id, &text);
                        self.said.push(text);
                    }
                    Effect::Hush
                    | Effect::CloseEar
                    | Effect::Slower
                    | Effect::Louder
                    | Effect::Listen { .. } => {}
                }
            }
        }
        let _ = view(&self.run);
    }

    fn hear(&mut self, words: &str) {
        self.hear_at(words, None);
    }

    /// The same, so loud.
    fn hear_at(&mut self, words: &str, level_db: Option<f32>) {
        self.now_ms += 2000;
        let listen = self.run.live.listen;
        self.give(Event::Heard {
            words: words.into(),
            listen,
            clip: None,
            damaged: false,
            level_db,
        });
    }

    /// One line: an act by its keys, anything else as a whole line.
    fn keys(&mut self, text: &str) {
        use sayback::edge::keys::{Line, read_line};
        self.now_ms += 400;
        match read_line(text) {
            Line::Text(text) => self.give(Event::Line(text)),
            Line::Keys(keys) => {
                for key in keys {
                    self.now_ms += 400;
                    self.give(Event::Key(key));
                }
            }
        }
    }

    /// The same signs, pressed one by one on a full keyboard, then Enter.
    fn press(&mut self, text: &str) {
        for sign in text.chars() {
            self.now_ms += 400;
            self.give(Event::Key(sayback::edge::keys::sign_key(sign)));
        }
        self.now_ms += 400;
        self.give(Event::Key(Key::Enter));
    }

    fn kept(&self) -> Vec<(String, Value)> {
        let answers = self.records.iter().filter_map(|record| match &record.body {
            Body::Answered(answer) => Some((answer.step.clone(), answer.value.clone())),
            _ => None,
        });
        answers.collect()
    }
}

fn wall(ms: u64) -> Wall {
    Wall {
        utc_ms: 1_760_000_000_000 + i64::try_from(ms).unwrap(),
        offset_min: 60,
    }
}

/// A run that has answered the questions up to and with "proved dead".
fn proved_dead() -> World {
    let mut world = World::new();
    for line in ["yes", "31", "12.02", "", "yes", "yes", "yes", "yes"] {
        world.keys(line);
    }
    world
}

/// Answers until the resistances, with no voltage found and the plug out.
fn at_the_resistances() -> World {
    let mut world = proved_dead();
    for line in ["yes", "", "0.00", "0.00", "0.00", "", "0.3", "2"] {
        world.keys(line);
    }
    assert_eq!(open_step(&world), "r-ab");
    world
}

fn open_step(world: &World) -> String {
    let job = world.job();
    world
        .run
        .saved
        .step(&job)
        .map_or_else(String::new, |(step, _)| step.id.clone())
}

const YES: [&str; 3] = ["affirm", "affirmative", "yes"];

/// A value is kept only by a yes to what was read back, or by the Enter key.
fn check_kept(before: &Run, event: &Event, body: &Body) {
    let Body::Answered(answer) = body else { return };
    if answer.value == Value::Done {
        return;
    }
    let by_enter = matches!(
        event,
        Event::Key(Key::Enter) | Event::Typed(Key::Enter) | Event::Line(_)
    );
    let by_minus = matches!(event, Event::Key(Key::Minus)) && answer.value == Value::No;
    let by_word = matches!(event, Event::Heard { words, .. } if YES.contains(&words.as_str()));
    // A correction is kept by its reason, after the value was affirmed.
    let by_reason = matches!(before.live.phase, Phase::Reason(_)) && answer.reason.is_some();
    assert!(
        by_enter || by_minus || by_word || by_reason,
        "{event:?} kept {answer:?}"
    );
    if answer.how.channel == Channel::Voice && !by_reason {
        match &before.live.phase {
            Phase::Confirming(candidate) => assert_eq!(candidate.value, answer.value),
            other => panic!("kept in {other:?}: {answer:?}"),
        }
    }
}

#[test]
fn a_spoken_reading_is_read_back_and_kept_on_affirm_only() {
    let mut world = World::new();
    world.hear("yes");
    world.hear("affirm");
    world.hear("three one percent");
    for no_yes in ["roger", "okay", "copy", ""] {
        world.hear(no_yes);
        assert_eq!(world.kept().len(), 1, "{no_yes} is no yes");
    }
    world.hear("three one percent");
    world.hear("negative");
    assert_eq!(world.kept().len(), 1);
    world.hear("three two percent");
    world.hear("affirm");
    let (step, value) = world.kept()[1].clone();
    assert_eq!(step, "position-found");
    assert_eq!(
        value,
        Value::Number {
            value: "32".parse().unwrap(),
            unit: "%".into()
        }
    );
}

/// What holds for the whole job is told before its first question, and again on resuming.
#[test]
fn the_cautions_of_a_job_come_before_its_first_question() {
    let mut world = World::new();
    let cautions = world.job().cautions.join(" ");
    assert!(cautions.contains("prove dead"), "{cautions}");
    assert_eq!(view(&world.run).message, cautions);
    assert_eq!(view(&world.run).mark, sayback::core::Mark::Watch);
    world.give(Event::Key(Key::Enter));
    assert_eq!(view(&world.run).message, "Kept.");
    let said = step(
        &mut world.run,
        Event::Begin,
        Stamp {
            mono_ms: 1,
            wall: wall(1),
        },
    );
    assert!(
        said.iter()
            .any(|effect| matches!(effect, Effect::Say(text) if text.starts_with(&cautions))),
        "{said:?}"
    );
}

#[test]
fn digits_said_stay() {
    let mut world = World::new();
    world.keys("yes");
    world.keys("31");
    world.hear("four point zero zero milliamps");
    world.hear("affirm");
    let value = world.kept()[2].1.clone();
    assert!(matches!(value, Value::Number { value, .. } if value.to_string() == "4.00"));
}

#[test]
fn a_word_for_an_earlier_question_is_dropped() {
    let mut world = World::new();
    let old = world.run.live.listen;
    world.keys("yes");
    world.give(Event::Heard {
        words: "yes".into(),
        listen: old,
        clip: None,
        damaged: false,
        level_db: None,
    });
    assert_eq!(world.run.live.phase, Phase::Asking);
    assert_eq!(world.kept().len(), 1);
}

#[test]
fn out_of_range_is_asked_and_the_same_again_is_kept_and_flagged() {
    let mut world = World::new();
    world.keys("yes");
    world.keys("31");
    world.keys("24.5");
    assert_eq!(world.kept().len(), 2);
    world.keys("24.5");
    let flagged = world
        .records
        .iter()
        .any(|record| matches!(&record.body, Body::Answered(answer) if answer.out_of_range));
    assert!(flagged);
}

#[test]
fn stop_acts_at_once_even_late_and_says_that_it_cannot_stop_the_actuator() {
    let mut world = World::new();
    world.give(Event::Heard {
        words: "stop".into(),
        listen: 0,
        clip: None,
        damaged: false,
        level_db: None,
    });
    assert_eq!(world.run.live.phase, Phase::Stopped);
    assert!(
        view(&world.run)
            .message
            .contains("cannot stop the actuator")
    );
    assert!(
        world
            .records
            .iter()
            .any(|record| matches!(record.body, Body::Stopped { .. }))
    );
    world.hear("go ahead");
    assert_eq!(world.run.live.phase, Phase::Asking);
}

#[test]
fn what_is_not_saved_is_said_and_is_not_kept() {
    let mut world = World::new();
    world.disk_full = true;
    world.keys("yes");
    assert!(matches!(
        world.run.live.phase,
        Phase::NotSaved { again: true }
    ));
    assert!(view(&world.run).message.contains("NOT SAVED"));
    assert_eq!(world.run.saved.answers.len(), 0);
    world.disk_full = false;
    world.keys("");
    world.keys("yes");
    assert_eq!(world.run.saved.answers.len(), 1);
}

#[test]
fn a_lost_microphone_is_written_down_and_disturbs_nothing() {
    let mut world = World::new();
    world.hear("yes");
    assert!(matches!(world.run.live.phase, Phase::Confirming(_)));
    world.give(Event::EarLost {
        why: "The microphone is gone. The keypad goes on.".into(),
    });
    assert!(matches!(world.run.live.phase, Phase::Confirming(_)));
    assert!(view(&world.run).message.contains("keypad goes on"));
    assert!(
        world
            .records
            .iter()
            .any(|record| matches!(record.body, Body::Microphone { .. }))
    );
    world.keys("");
    assert_eq!(world.kept().len(), 1);
}

#[test]
fn a_value_outside_the_range_counts_for_its_own_question_only() {
    let mut world = World::new();
    world.keys("yes");
    world.keys("31");
    // 300 is outside for the command; then the position is corrected, and 300 is outside there too.
    world.keys("300");
    world.keys("*");
    world.keys("300");
    assert!(
        matches!(world.run.live.phase, Phase::Asking),
        "{:?}",
        world.run.live.phase
    );
    assert_eq!(world.kept().len(), 2);
}

#[test]
fn a_plate_number_as_large_as_can_be_typed_leaves_the_questions_answerable() {
    let mut world = World::new();
    // Whatever the keypad lets in, the core cannot fail on it.
    let huge = "79228162514264337593543950335".parse().unwrap();
    let number = sayback::job::PlateValue::Number(huge);
    world.run.saved.plate.insert("pot-nominal".into(), number);
    for line in [
        "yes", "31", "12.02", "", "yes", "yes", "yes", "yes", "yes", "", "0.00", "0.00", "0.00",
        "", "0.3", "2",
    ] {
        world.keys(line);
    }
    assert_eq!(open_step(&world), "r-ab");
    world.keys("1013");
    assert_eq!(open_step(&world), "r-aw");
}

#[test]
fn no_command_is_worked_out_from_an_action_or_a_unit_that_is_not_known() {
    use sayback::core::question::command_at;
    let world = World::new();
    let mut saved = world.run.saved.clone();
    assert_eq!(command_at(&saved, "25".parse().unwrap()), "8.00 mA");
    saved.plate.remove("action");
    assert_eq!(command_at(&saved, "25".parse().unwrap()), "25 %");
    let mut saved = world.run.saved.clone();
    saved.plate.remove("signal-unit");
    assert_eq!(command_at(&saved, "25".parse().unwrap()), "25 %");
}

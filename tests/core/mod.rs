//! The core, driven by events: what must hold whatever happens.

mod corrections;
mod faint;
mod relaying;

use std::sync::Arc;

use proptest::prelude::*;
use sayback::core::record::{Body, Channel, Record, Started, Value, Wall};
use sayback::core::run::Saved;
use sayback::core::{Effect, Event, Key, Phase, Run, Stamp, step, view};
use sayback::job::{Job, Stage, built_in, load, sheet};

mod long_day;
pub mod meter_check;
pub mod set_ends;
pub mod walk;

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
fn a_gate_is_never_skipped_and_no_blocks() {
    let mut world = World::new();
    world.hear("skip");
    assert!(matches!(world.run.live.phase, Phase::Asking));
    world.keys("no");
    world.keys("");
    let gates: Vec<_> = world
        .kept()
        .into_iter()
        .filter(|(step, _)| step == "permit-open")
        .collect();
    assert_eq!(
        gates
            .iter()
            .map(|(_, value)| value.clone())
            .collect::<Vec<_>>(),
        [Value::No, Value::Yes]
    );
}

#[test]
fn a_bounce_is_dropped() {
    let mut world = World::new();
    world.give(Event::Key(Key::Enter));
    world.now_ms += 60;
    world.give(Event::Key(Key::Enter));
    assert_eq!(world.kept().len(), 1);
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
fn live_volts_lead_back_to_isolation() {
    let mut world = World::new();
    for line in [
        "yes", "31", "12.02", "", "yes", "yes", "yes", "yes", "yes", "", "24.1", "0.00", "24.1",
    ] {
        world.keys(line);
    }
    assert!(matches!(world.run.live.phase, Phase::Telling));
    world.keys("");
    assert_eq!(
        world
            .run
            .saved
            .step(&world.job())
            .map(|(step, _)| step.id.as_str()),
        Some("isolated")
    );
}

#[test]
fn what_is_no_answer_is_never_a_yes_to_a_gate() {
    for text in [
        "nope", "no way", "5", "yes no", "maybe", "512", "y e s", "-no", "n o",
    ] {
        let mut world = World::new();
        world.keys(text);
        assert_eq!(world.kept(), [], "line {text}");
    }
    for text in ["nope", "5", "x", "yes"] {
        let mut world = World::new();
        world.press(text);
        assert_eq!(world.kept(), [], "keys {text}");
    }
}

#[test]
fn no_sign_of_a_typed_answer_is_dropped() {
    for text in [
        "5l2.3", "5O.3", "5 2", "5+2", "5*2", "5/2", "1e1", "3x1", "5..2", "-", "3-1", "31 V",
    ] {
        let mut world = World::new();
        world.keys("yes");
        world.keys(text);
        assert_eq!(world.kept().len(), 1, "line {text}");
    }
    for text in ["5l2.3", "5O.3", "5 2", "5+2", "3x1", "3-1"] {
        let mut world = World::new();
        world.keys("yes");
        world.press(text);
        assert_eq!(world.kept().len(), 1, "keys {text}");
    }
}

#[test]
fn a_line_is_no_yes_to_a_read_back_and_no_number_of_a_list_by_its_last_figure() {
    let mut world = World::new();
    world.keys("yes");
    world.hear("three one percent");
    world.keys("nope");
    assert_eq!(world.kept().len(), 1);
    for line in [
        "31", "12.02", "", "yes", "yes", "yes", "yes", "yes", "", "0.00", "0.00", "0.00", "", "0.3",
    ] {
        world.keys(line);
    }
    let before = world.kept().len();
    world.keys("12");
    world.keys("9");
    assert_eq!(world.kept().len(), before);
    world.keys("2");
    assert_eq!(
        world.kept().last(),
        Some(&("valve-at".to_owned(), Value::Choice("mid".to_owned())))
    );
}

/// A run that has answered the questions up to and with "proved dead".
fn proved_dead() -> World {
    let mut world = World::new();
    for line in ["yes", "31", "12.02", "", "yes", "yes", "yes", "yes"] {
        world.keys(line);
    }
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

#[test]
fn a_gate_that_is_corrected_to_no_blocks_there() {
    let mut world = proved_dead();
    assert_eq!(open_step(&world), "stored");
    world.keys("*");
    world.keys("no");
    world.keys("1");
    assert_eq!(world.kept().last(), Some(&("proved".to_owned(), Value::No)));
    assert_eq!(open_step(&world), "proved");
    world.keys("yes");
    assert_eq!(open_step(&world), "stored");
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

#[test]
fn waiting_for_a_part_leaves_it_isolated_and_begins_there_again() {
    let mut world = at_the_resistances();
    for line in ["OL", "512", "OL"] {
        if line == "OL" {
            for key in ["/ 4", "1"] {
                world.keys(key);
            }
            world.keys("");
        } else {
            world.keys(line);
        }
    }
    assert!(matches!(world.run.live.phase, Phase::Telling));
    world.keys("");
    assert_eq!(open_step(&world), "part");
    world.keys("2");
    assert_eq!(open_step(&world), "waiting");
    assert!(world.run.saved.outstanding.contains("potentiometer plug"));
    // Power is not given back on the way; when the part is here, isolation is asked again.
    world.keys("");
    assert_eq!(open_step(&world), "isolated");
    assert!(!world.kept().iter().any(|(step, _)| step == "power-back"));
}

#[test]
fn the_closed_end_method_has_its_own_way_to_the_end() {
    let mut world = at_the_resistances();
    for line in [
        "1013", "140.2", "873.1", "", "yes", "140.2", "873.1", "", "2",
    ] {
        world.keys(line);
    }
    assert_eq!(open_step(&world), "ce-closed");
    for line in ["", "", "", "12", "", "", "806", "", "12.5"] {
        world.keys(line);
    }
    assert_eq!(world.run.saved.findings["ce-judged"].verdict, "set");
    // Sweep, small move, and everything put back.
    for line in [
        "", "12", "806", "0", "", "410", "", "490", "", "", "yes", "", "12.01", "50.2", "yes", "",
    ] {
        world.keys(line);
    }
    assert_eq!(world.run.live.phase, Phase::Done, "{}", open_step(&world));
    assert_eq!(world.quit, Some(0));
    assert!(world.run.saved.outstanding.is_empty());
}

#[test]
fn an_option_leads_where_the_job_says() {
    let mut world = at_the_resistances();
    for line in [
        "1013", "140.2", "873.1", "", "yes", "140.2", "873.1", "", "2",
    ] {
        world.keys(line);
    }
    for line in [
        "", "", "", "12", "", "", "806", "", "12.5", "", "12", "806", "90", "",
    ] {
        world.keys(line);
    }
    assert_eq!(world.run.saved.findings["sweep"].verdict, "worn-spot");
    assert_eq!(open_step(&world), "worn");
    // "Leave it" goes on past waiting and replacing.
    world.keys("3");
    assert_eq!(open_step(&world), "move-to-mid");
}

#[test]
fn a_job_that_ends_early_closes_only_when_all_is_said_to_be_restored() {
    let mut world = at_the_resistances();
    for line in ["/ 8", "", "5"] {
        world.keys(line);
    }
    let lifted = world.run.saved.outstanding.clone();
    assert!(
        lifted.contains("potentiometer plug") && lifted.contains("cover"),
        "{lifted:?}"
    );
    assert!(
        !world
            .records
            .iter()
            .any(|record| matches!(record.body, Body::Closed { .. }))
    );
    // A no leaves it open, to be resumed.
    world.keys("no");
    assert_eq!(world.quit, Some(1));
    assert!(
        !world
            .records
            .iter()
            .any(|record| matches!(record.body, Body::Closed { .. }))
    );
    let mut world = World {
        run: Run::new(world.job(), world.run.saved.clone()),
        quit: None,
        ..world
    };
    world.give(Event::Begin);
    for _ in &lifted {
        assert!(view(&world.run).question.starts_with("Is it restored"));
        world.keys("yes");
    }
    let closed = world.records.last().map(|record| record.body.clone());
    assert_eq!(
        closed,
        Some(Body::Closed {
            complete: false,
            reason: Some("waiting for a part".into())
        })
    );
    assert!(world.run.saved.outstanding.is_empty());
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
fn the_channel_is_the_one_it_came_in_by() {
    let mut world = World::new();
    world.hear("note");
    world.hear("check wiper");
    let noted = world.records.iter().find_map(|record| match &record.body {
        Body::Noted { how, .. } => Some(how.channel),
        _ => None,
    });
    assert_eq!(noted, Some(Channel::Voice));
    let mut world = World::with_sheet(&SHEET.replace("ohm-meter-id = \"M7\"\n", ""));
    world.hear("skip");
    let plate = world.records.iter().find_map(|record| match &record.body {
        Body::Plate { how, .. } => Some(how.clone()),
        _ => None,
    });
    let how = plate.expect("the meter's number is unknown now");
    assert_eq!((how.channel, how.heard.as_str()), (Channel::Voice, "skip"));
}

#[test]
fn go_ahead_leaves_the_menu() {
    let mut world = World::new();
    world.keys("/");
    assert_eq!(world.run.live.phase, Phase::Menu);
    world.hear("go ahead");
    assert_eq!(world.run.live.phase, Phase::Asking);
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

fn phrases() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("affirm".to_owned()),
        Just("yes".to_owned()),
        Just("negative".to_owned()),
        prop::sample::select(vec![
            "done",
            "next",
            "roger",
            "correction",
            "go back",
            "skip",
            "undo",
            "stop",
            "go ahead",
            "stand by",
            "note",
            "one",
            "two",
            "three",
            "five one two",
            "one zero one three ohms",
            "five zero six",
            "zero",
            "o l",
            "five hundred and fifteen",
            "twelve",
            "one two point zero",
            "fifty percent",
            "unable",
            "say again",
            "",
        ])
        .prop_map(str::to_owned),
    ]
}

#[derive(Clone, Debug)]
enum Act {
    Hear(String),
    Key(Key),
    Line(String),
    Late,
    Tick(u64),
    Full(bool),
    Ear(bool),
}

fn acts() -> impl Strategy<Value = Act> {
    prop_oneof![
        4 => phrases().prop_map(Act::Hear),
        4 => prop::sample::select(vec![
            Key::Enter, Key::Enter, Key::Digit(1), Key::Digit(5), Key::Digit(0), Key::Point, Key::Minus, Key::Plus,
            Key::Star, Key::Slash, Key::Erase, Key::Stop, Key::Letter('k'),
        ]).prop_map(Act::Key),
        2 => prop::sample::select(vec!["5l2", "512", "nope", "1", "0.0", "zz", "yes"]).prop_map(|text| Act::Line(text.to_owned())),
        1 => Just(Act::Late),
        1 => (0..9000_u64).prop_map(Act::Tick),
        1 => any::<bool>().prop_map(Act::Full),
        1 => any::<bool>().prop_map(Act::Ear),
    ]
}

fn cases() -> u32 {
    if std::env::var_os("SAYBACK_LONG").is_some() {
        100_000
    } else {
        120
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), ..ProptestConfig::default() })]

    #[test]
    fn whatever_happens(list in prop::collection::vec(acts(), 1..90)) {
        let mut world = World::new();
        for act in list {
            match act {
                Act::Hear(words) => world.hear(&words),
                Act::Key(key) => { world.now_ms += 300; world.give(Event::Key(key)); }
                Act::Line(text) => world.give(Event::Line(text)),
                Act::Late => world.give(Event::Heard { words: "affirm".into(), listen: 0, clip: None, damaged: false, level_db: None }),
                Act::Tick(ms) => { world.now_ms += ms; world.give(Event::Tick); }
                Act::Ear(true) => world.give(Event::EarBack),
                Act::Ear(false) => world.give(Event::EarLost { why: "gone".into() }),
                Act::Full(full) => world.disk_full = full,
            }
        }
        // The run is the fold of its records.
        let job = world.job();
        let Body::Started(started) = world.records[0].body.clone() else { unreachable!() };
        let mut folded = Saved::new(&job, started);
        for record in &world.records[1..] {
            folded.apply(&job, record);
        }
        prop_assert_eq!(&folded, &world.run.saved);
        // As found is frozen: after that only corrections that name what they correct.
        let frozen = world.records.iter().position(|record| matches!(record.body, Body::AsFoundFrozen { .. }));
        for record in world.records.iter().skip(frozen.unwrap_or(world.records.len())) {
            if let Body::Answered(answer) = &record.body {
                prop_assert!(answer.stage != Stage::AsFound || answer.corrects.is_some());
            }
        }
        // No question stands while a finding that the run is past was worked out from a value put right since.
        if world.run.live.phase == Phase::Asking {
            prop_assert!(corrections::left_standing(&world).is_none());
        }
        // What was lifted must be restored before the job closes as complete.
        if world.records.iter().any(|record| matches!(record.body, Body::Closed { .. })) {
            prop_assert!(world.run.saved.outstanding.is_empty());
        }
        // Records survive the journal.
        for record in &world.records {
            let text = serde_json::to_string(record).unwrap();
            let back: Record = serde_json::from_str(&text).unwrap();
            prop_assert_eq!(&back, record);
        }
    }
}

#[test]
fn the_core_and_the_calculations_name_no_edge() {
    let forbidden = [
        "std::fs",
        "std::net",
        "std::thread",
        "std::env",
        "Instant::now",
        "SystemTime",
        "crate::edge",
        "println!",
    ];
    for folder in [
        "src/core",
        "src/calc",
        "src/calc/finding",
        "src/spoken",
        "src/report",
        "src/history",
    ] {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
        for entry in std::fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_some_and(|end| end == "rs") {
                let text = std::fs::read_to_string(&path).unwrap();
                for word in forbidden {
                    assert!(!text.contains(word), "{} names {word}", path.display());
                }
            }
        }
    }
}

/// The talk key: one press opens, one closes; what was said before the close is still an answer,
/// and while it is closed nothing is listened for, whatever is asked.
#[test]
fn the_talk_key_opens_and_closes_the_microphone() {
    let mut world = World::of(built_in::text("meter-check").unwrap(), "");
    let press = |world: &mut World, key: Key| {
        world.now_ms += 400;
        let at = Stamp {
            mono_ms: world.now_ms,
            wall: wall(world.now_ms),
        };
        step(&mut world.run, Event::Key(key), at)
    };
    let listens = |effects: &[Effect]| {
        effects
            .iter()
            .any(|one| matches!(one, Effect::Listen { .. }))
    };
    // Without an ear there is nothing to open, and it is said.
    assert!(!listens(&press(&mut world, Key::Talk)));
    assert!(view(&world.run).message.contains("by keypad"));
    world.run.live.ear = sayback::core::EarState::Open;
    assert_eq!(view(&world.run).ear, "mic: OPEN");
    let number = world.run.live.listen;
    assert_eq!(press(&mut world, Key::Talk), [Effect::CloseEar]);
    assert_eq!(
        world.run.live.listen, number,
        "the utterance that it ends is still an answer"
    );
    assert_eq!(view(&world.run).ear, "mic: CLOSED, Tab opens it");
    // Another question: a new number, and nobody listens for it.
    let effects = press(&mut world, Key::Slash);
    assert!(!listens(&effects) && world.run.live.listen > number);
    let opened = press(&mut world, Key::Talk);
    assert!(listens(&opened));
    assert_eq!(view(&world.run).ear, "mic: OPEN");
    // Pressed twice within the time of a bounce it is pressed once.
    world.now_ms += 400;
    let at = Stamp {
        mono_ms: world.now_ms,
        wall: wall(world.now_ms),
    };
    let _ = step(&mut world.run, Event::Key(Key::Talk), at);
    let _ = step(&mut world.run, Event::Key(Key::Talk), at);
    assert!(world.run.live.microphone.closed);
}

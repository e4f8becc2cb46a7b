//! The ear's thread in virtual time, with an engine and a microphone of our own.

mod gate;
mod lost;

use cpal::ErrorKind;
use sayback::edge::listening::{Engine, FromEar, HeardUtterance, Listening, OpenEar, Rule};
use sayback::edge::mic::{Alarm, Capture, Fault, Intake, MicError, RING_SECONDS, Source, connect};
use sayback::spoken::WordGraph;
use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;
use std::time::Duration;

const RATE: u32 = 16_000;

/// A sample that ends an utterance; one that the engine fails on; one it panics on.
const END: i16 = 1_000;
const FAIL: i16 = 2_000;
const PANIC: i16 = 3_000;

/// What the engines of a test share: how often one was opened and asked.
#[derive(Default)]
struct Log {
    opened: usize,
    listened: Vec<(usize, u32)>,
    refuse_open_from: Option<usize>,
    refuse_listen: bool,
}

/// Hears each sample as a word, its number; an utterance ends at `END`.
struct Counting(Rc<RefCell<Log>>);

struct Words {
    said: Vec<i16>,
    rate: u32,
}

impl Engine for Counting {
    type Open = Words;

    fn listen(&mut self, graph: &WordGraph, rate: u32) -> Result<Words, String> {
        let mut log = self.0.borrow_mut();
        log.listened.push((graph.states, rate));
        if log.refuse_listen {
            return Err("the words form no grammar.".to_owned());
        }
        Ok(Words { said: vec![], rate })
    }
}

impl Words {
    fn utterance(&mut self) -> HeardUtterance {
        let samples = std::mem::take(&mut self.said);
        let words: Vec<String> = samples.iter().map(ToString::to_string).collect();
        HeardUtterance {
            words: words.join(" "),
            samples,
            rate: self.rate,
        }
    }
}

impl OpenEar for Words {
    fn accept(&mut self, samples: &[i16]) -> Result<Option<HeardUtterance>, String> {
        for &sample in samples {
            match sample {
                END => return Ok(Some(self.utterance())),
                FAIL => return Err("the decoder stopped.".to_owned()),
                PANIC => panic!("wanted by the test"),
                0 => {}
                word => self.said.push(word),
            }
        }
        Ok(None)
    }

    fn finish(&mut self) -> Result<HeardUtterance, String> {
        Ok(self.utterance())
    }
}

/// A microphone whose cable the test holds: each attempt to open it takes the
/// next of `plan`, and none left means that it is not there.
#[derive(Clone, Default)]
struct Cable(Rc<RefCell<CableState>>);

#[derive(Default)]
struct CableState {
    plan: VecDeque<u32>,
    attempts: usize,
    ends: Option<(Intake, Alarm)>,
}

impl Source for Cable {
    fn open(&mut self) -> Result<Capture, MicError> {
        let mut state = self.0.borrow_mut();
        state.attempts += 1;
        let Some(rate) = state.plan.pop_front() else {
            return Err(MicError::Device {
                device: "cable".to_owned(),
                fault: ErrorKind::DeviceNotAvailable.into(),
                said: String::new(),
            });
        };
        let (intake, alarm, capture) = connect("cable", 1, rate);
        state.ends = Some((intake, alarm));
        Ok(capture)
    }
}

impl Cable {
    fn plug(&self, rate: u32) {
        self.0.borrow_mut().plan.push_back(rate);
    }

    fn say(&self, samples: &[i16]) {
        let mut state = self.0.borrow_mut();
        state.ends.as_mut().expect("open").0.take(samples);
    }

    fn fault(&self, kind: ErrorKind) {
        let state = self.0.borrow();
        state.ends.as_ref().expect("open").1.note(Fault::from(kind));
    }

    fn attempts(&self) -> usize {
        self.0.borrow().attempts
    }
}

type News = Rc<RefCell<Vec<FromEar>>>;

/// A [`Listening`] with all its ends.
struct Bench<O, T>
where
    O: FnMut() -> Result<Counting, String>,
    T: Fn(FromEar),
{
    listening: Listening<Counting, O, Cable, T>,
    cable: Cable,
    log: Rc<RefCell<Log>>,
    news: News,
    now: Duration,
}

fn bench() -> Bench<impl FnMut() -> Result<Counting, String>, impl Fn(FromEar)> {
    let cable = Cable::default();
    let log = Rc::new(RefCell::new(Log::default()));
    let news = News::default();
    let shared = Rc::clone(&log);
    let open = move || {
        let mut log = shared.borrow_mut();
        log.opened += 1;
        if log.refuse_open_from.is_some_and(|from| log.opened >= from) {
            return Err("voice model m: missing or empty: am. Give a complete one.".to_owned());
        }
        Ok(Counting(Rc::clone(&shared)))
    };
    let told = Rc::clone(&news);
    let tell = move |one| told.borrow_mut().push(one);
    Bench {
        listening: Listening::new(open, cable.clone(), tell).with_gate(Rule::Always),
        cable,
        log,
        news,
        now: Duration::ZERO,
    }
}

/// A graph that can be told from others by its number of states.
fn graph(states: usize) -> WordGraph {
    WordGraph {
        states,
        start: 0,
        finals: vec![],
        arcs: vec![],
    }
}

impl<O, T> Bench<O, T>
where
    O: FnMut() -> Result<Counting, String>,
    T: Fn(FromEar),
{
    /// A bench whose microphone is open and has given its first sound.
    fn ready(mut self) -> Self {
        self.cable.plug(RATE);
        self.step(0);
        self.cable.say(&[0; 10]);
        self.step(20);
        assert_eq!(
            self.news(),
            [FromEar::Ready {
                device: "cable".to_owned(),
                rate: RATE
            }]
        );
        self
    }

    fn step(&mut self, later_ms: u64) {
        self.now += Duration::from_millis(later_ms);
        self.listening.step(self.now);
    }

    /// What was said since, without the level.
    fn news(&self) -> Vec<FromEar> {
        let mut news = self.news.borrow_mut();
        news.retain(|one| !matches!(one, FromEar::Level { .. }));
        news.drain(..).collect()
    }
}

fn heard(words: &[i16], listen: u64, damaged: bool) -> FromEar {
    let texts: Vec<String> = words.iter().map(ToString::to_string).collect();
    FromEar::Heard {
        words: texts.join(" "),
        listen,
        samples: words.to_vec(),
        rate: RATE,
        damaged,
    }
}

#[test]
fn an_utterance_comes_with_the_number_of_its_question() {
    let mut bench = bench().ready();
    bench.listening.listen(graph(3), 41);
    bench.cable.say(&[7, 8]);
    bench.step(20);
    assert_eq!(bench.news(), []);
    bench.cable.say(&[9, END]);
    bench.step(20);
    assert_eq!(bench.news(), [heard(&[7, 8, 9], 41, false)]);
    assert_eq!(bench.log.borrow().listened, [(3, RATE)]);
}

#[test]
fn nothing_of_the_old_question_leaks_into_the_new() {
    let mut bench = bench().ready();
    bench.listening.listen(graph(3), 1);
    bench.cable.say(&[7, 8]);
    bench.step(20);
    // Still in the ring when the question changes.
    bench.cable.say(&[9, END]);
    bench.listening.listen(graph(4), 2);
    bench.cable.say(&[5, END]);
    bench.step(20);
    assert_eq!(bench.news(), [heard(&[5], 2, false)]);
}

#[test]
fn deaf_drops_the_sound_until_the_next_question() {
    let mut bench = bench().ready();
    bench.listening.listen(graph(3), 1);
    bench.cable.say(&[7]);
    bench.step(20);
    bench.listening.deaf();
    bench.cable.say(&[8, END]);
    bench.step(20);
    bench.cable.say(&[9]);
    bench.listening.listen(graph(3), 2);
    bench.cable.say(&[4, END]);
    bench.step(20);
    assert_eq!(bench.news(), [heard(&[4], 2, false)]);
}

#[test]
fn a_let_go_key_ends_the_utterance() {
    let mut bench = bench().ready();
    bench.listening.listen(graph(3), 6);
    bench.cable.say(&[7]);
    bench.step(20);
    bench.cable.say(&[8]);
    bench.listening.end_utterance();
    assert_eq!(bench.news(), [heard(&[7, 8], 6, false)]);
    bench.cable.say(&[9, END]);
    bench.step(20);
    assert_eq!(bench.news(), [], "deaf after it");
}

#[test]
fn lost_samples_spoil_the_utterance_they_fell_in_and_no_other() {
    let mut bench = bench().ready();
    bench.listening.listen(graph(3), 1);
    bench.cable.say(&[7]);
    bench.step(20);
    bench.cable.fault(ErrorKind::Xrun);
    bench.cable.say(&[8]);
    bench.step(20);
    bench.cable.say(&[9, END]);
    bench.step(20);
    bench.cable.say(&[6, END]);
    bench.step(20);
    assert_eq!(
        bench.news(),
        [heard(&[7, 8, 9], 1, true), heard(&[6], 1, false)]
    );
}

#[test]
fn an_overflow_of_the_ring_spoils_the_utterance() {
    let mut bench = bench().ready();
    bench.listening.listen(graph(3), 1);
    bench.cable.say(&[7]);
    bench
        .cable
        .say(&vec![0; (RATE * RING_SECONDS) as usize + 5]);
    bench.step(20);
    assert_eq!(bench.news(), []);
    bench.cable.say(&[8, END]);
    bench.step(20);
    assert_eq!(bench.news(), [heard(&[7, 8], 1, true)]);
    // While nobody is asked it spoils nothing.
    bench.listening.deaf();
    bench
        .cable
        .say(&vec![0; (RATE * RING_SECONDS) as usize + 5]);
    bench.step(20);
    bench.cable.say(&[0]);
    bench.step(20);
    bench.listening.listen(graph(3), 2);
    bench.cable.say(&[5, END]);
    bench.step(20);
    assert_eq!(bench.news(), [heard(&[5], 2, false)]);
}

#[test]
fn the_level_is_told_with_clipping() {
    let mut bench = bench().ready();
    let tenth = (RATE / 10) as usize;
    bench.cable.say(&vec![0; tenth]);
    bench.step(100);
    bench.cable.say(&[i16::MAX, i16::MIN].repeat(tenth / 2));
    bench.step(100);
    let news = bench.news.borrow().clone();
    let [
        FromEar::Level {
            db: quiet,
            clipping: false,
        },
        FromEar::Level {
            db: loud,
            clipping: true,
        },
    ] = news[..]
    else {
        panic!("{news:?}");
    };
    assert!(quiet <= -90.0 && loud > -0.1, "{quiet} {loud}");
}

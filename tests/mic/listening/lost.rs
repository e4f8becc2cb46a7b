//! The ear or the microphone fails, is not there, and comes back.

use std::time::Duration;

use cpal::ErrorKind;
use sayback::edge::listening::{FIRST_PAUSE, FromEar, LONGEST_PAUSE, WATCHDOG};

use super::{END, FAIL, PANIC, RATE, bench, graph, heard};

#[test]
fn silence_of_the_stream_is_a_lost_microphone() {
    let mut bench = bench().ready();
    bench.listening.listen(graph(3), 1);
    bench.cable.say(&[7]);
    bench.step(20);
    bench.step(u64::try_from(WATCHDOG.as_millis()).expect("small") - 1);
    assert_eq!(bench.news(), [], "not yet");
    bench.step(1);
    assert!(lost(&bench.news()).contains("no sound comes"));
    // It comes back, and what follows may be the other half of the answer.
    bench.cable.plug(RATE);
    bench.step(500);
    assert_eq!(bench.news(), [], "open, but no sound yet");
    bench.cable.say(&[8, END, 9, END]);
    bench.step(20);
    bench.cable.say(&[9, END]);
    bench.step(20);
    assert_eq!(
        bench.news(),
        [FromEar::Back, heard(&[8], 1, true), heard(&[9], 1, false)]
    );
}

#[test]
fn a_fault_is_said_once_and_the_attempts_are_spaced_out() {
    let mut bench = bench().ready();
    bench.cable.say(&[7]);
    bench.cable.fault(ErrorKind::BackendError);
    bench.step(20);
    assert!(lost(&bench.news()).contains("unplugged"));
    let mut attempts = Vec::new();
    let (start, mut before) = (bench.now, bench.cable.attempts());
    while bench.now < start + Duration::from_secs(40) {
        bench.step(20);
        if bench.cable.attempts() > before {
            before = bench.cable.attempts();
            attempts.push((bench.now - start).as_millis());
        }
    }
    // 0.5, then 1, 2, 4, 8, 8, 8 later, each seen at the next step of 20 ms.
    assert_eq!(
        attempts,
        [500, 1_500, 3_500, 7_500, 15_500, 23_500, 31_500, 39_500]
    );
    assert_eq!(bench.news(), [], "said once");
    assert_eq!(FIRST_PAUSE.as_millis(), 500);
    assert_eq!(LONGEST_PAUSE.as_secs(), 8);

    bench.cable.plug(48_000);
    bench.step(8_000);
    bench.cable.say(&[1]);
    bench.step(20);
    assert_eq!(bench.news(), [FromEar::Back]);
    // Sound has come, so the pauses start over.
    bench.cable.fault(ErrorKind::DeviceNotAvailable);
    bench.step(20);
    lost(&bench.news());
    let before = bench.cable.attempts();
    bench.step(500);
    assert_eq!(bench.cable.attempts(), before + 1);
}

#[test]
fn a_microphone_that_opens_but_stays_silent_is_not_back() {
    let mut bench = bench().ready();
    bench.step(1_000);
    lost(&bench.news());
    let start = bench.now;
    let mut opened = Vec::new();
    let mut before = bench.cable.attempts();
    while bench.now < start + Duration::from_secs(20) {
        if bench.cable.0.borrow().plan.is_empty() {
            bench.cable.plug(RATE);
        }
        bench.step(20);
        if bench.cable.attempts() > before {
            before = bench.cable.attempts();
            opened.push((bench.now - start).as_millis());
        }
    }
    // Each attempt is watched for a second before the next pause begins.
    assert_eq!(opened, [500, 2_500, 5_500, 10_500, 19_500]);
    assert_eq!(bench.news(), [], "neither Back nor a second Lost");
}

#[test]
fn no_microphone_at_the_start_is_said_and_one_plugged_later_is_ready() {
    let mut bench = bench();
    bench.step(0);
    assert!(lost(&bench.news()).contains("it is not there"));
    bench.listening.listen(graph(5), 9);
    bench.cable.plug(48_000);
    bench.step(500);
    bench.cable.say(&[4, END]);
    bench.step(20);
    let news = bench.news();
    assert_eq!(
        news[0],
        FromEar::Ready {
            device: "cable".to_owned(),
            rate: 48_000
        }
    );
    assert!(
        matches!(&news[1], FromEar::Heard { words, listen: 9, rate: 48_000, damaged: false, .. } if words == "4"),
        "{news:?}"
    );
}

#[test]
fn a_failing_ear_is_opened_again_once() {
    for failure in [FAIL, PANIC] {
        let mut bench = bench().ready();
        bench.listening.listen(graph(3), 1);
        bench.cable.say(&[7, failure]);
        bench.step(20);
        assert_eq!(bench.news(), [], "once is not said");
        assert_eq!(bench.log.borrow().opened, 2);
        bench.cable.say(&[8, END]);
        bench.step(20);
        assert_eq!(
            bench.news(),
            [heard(&[8], 1, true)],
            "its first half is gone"
        );
        // A result came between, so it may fail once more, but not twice.
        bench.cable.say(&[failure]);
        bench.step(20);
        assert_eq!(bench.news(), []);
        bench.cable.say(&[failure]);
        bench.step(20);
        lost(&bench.news());
        bench.cable.say(&[9, END]);
        bench.step(20);
        assert_eq!(bench.news(), [], "left to the keypad");
        // The next question tries anew.
        bench.listening.listen(graph(4), 2);
        bench.cable.say(&[5, END]);
        bench.step(20);
        assert_eq!(bench.news(), [FromEar::Back, heard(&[5], 2, false)]);
    }
}

#[test]
fn a_question_that_cannot_be_listened_for_is_left_to_the_keypad() {
    let mut bench = bench().ready();
    bench.log.borrow_mut().refuse_listen = true;
    bench.listening.listen(graph(3), 1);
    assert!(lost(&bench.news()).contains("form no grammar"));
    bench.log.borrow_mut().refuse_listen = false;
    bench.listening.listen(graph(3), 2);
    assert_eq!(bench.news(), [FromEar::Back]);
}

#[test]
fn an_ear_that_cannot_be_opened_is_said_and_gives_the_microphone_back() {
    let mut bench = bench();
    bench.log.borrow_mut().refuse_open_from = Some(1);
    bench.cable.plug(RATE);
    bench.step(0);
    assert!(lost(&bench.news()).contains("voice model m"));
    bench.listening.listen(graph(3), 1);
    bench.step(60_000);
    assert_eq!(bench.news(), []);
    assert_eq!(bench.cable.attempts(), 0);
    assert_eq!(bench.log.borrow().opened, 1);
}

#[test]
fn an_ear_that_cannot_be_opened_again_is_off() {
    let mut bench = bench().ready();
    bench.log.borrow_mut().refuse_open_from = Some(2);
    bench.listening.listen(graph(3), 1);
    bench.cable.say(&[FAIL]);
    bench.step(20);
    assert!(lost(&bench.news()).contains("voice model m"));
    bench.step(20);
    bench.listening.listen(graph(3), 2);
    bench.step(10_000);
    assert_eq!(bench.news(), []);
}

fn lost(news: &[FromEar]) -> &str {
    match news {
        [FromEar::Lost { why }] => {
            assert!(why.to_lowercase().contains("the keypad goes on"), "{why}");
            why
        }
        other => panic!("not one Lost: {other:?}"),
    }
}

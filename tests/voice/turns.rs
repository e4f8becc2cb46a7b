//! The ear and the voice take turns, in the loop that the program runs.

use std::sync::{Arc, Mutex, mpsc};

use sayback::core::record::{Body, Record, Started};
use sayback::core::run::Saved;
use sayback::core::{Key, Run, View};
use sayback::drive::{Fed, FromWorld, Output, Session, Sound, Utterance};
use sayback::edge::clock::{self, Clock};
use sayback::edge::runs::RunFolder;
use sayback::job::{built_in, load};
use sayback::journal::Journal;
use sayback::spoken::{CommandSet, Slot};
use sayback::storage::FileStorage;

type Log = Arc<Mutex<Vec<String>>>;

struct Room {
    log: Log,
    headset: bool,
}

impl Sound for Room {
    fn listen(&mut self, _: &Slot, _: CommandSet, listen: u64) {
        self.log.lock().unwrap().push(format!("listen {listen}"));
    }
    fn deaf(&mut self) {
        self.log.lock().unwrap().push("deaf".to_owned());
    }
    fn close(&mut self) {
        self.log.lock().unwrap().push("close".to_owned());
    }
    fn hears_own_voice(&self) -> bool {
        !self.headset
    }
    fn feed(&mut self) -> Option<Fed> {
        None
    }
}

/// Speaks until it is hushed or until the test says that it is silent, two looks later.
struct Talker {
    log: Log,
    speaking: Arc<Mutex<bool>>,
}

impl Output for Talker {
    fn show(&mut self, _: &View) -> std::io::Result<()> {
        Ok(())
    }
    fn last_words(&mut self, view: &View) {
        self.log
            .lock()
            .unwrap()
            .push(format!("last words {}", view.message));
    }
    fn say(&mut self, _: &str) {
        self.log.lock().unwrap().push("say".to_owned());
        *self.speaking.lock().unwrap() = true;
    }
    fn hush(&mut self) {
        self.log.lock().unwrap().push("hush".to_owned());
    }
    fn is_speaking(&self) -> bool {
        *self.speaking.lock().unwrap()
    }
}

/// A job of one step, that Enter completes.
const SHORT: &str = r#"
format = 1
id = "short"
title = "Short"
purpose = "Ends at once."
applies-to = "Tests."

[[step]]
id = "only"
title = "Only"
ask = "Turn it."
stage = "safety"
kind = "instruction"
"#;

fn session(
    headset: bool,
    drive: impl FnOnce(mpsc::SyncSender<FromWorld>, Arc<Mutex<bool>>, Log) + Send + 'static,
) -> Vec<String> {
    of_job(built_in::text("meter-check").unwrap(), headset, drive)
}

fn of_job(
    text: &str,
    headset: bool,
    drive: impl FnOnce(mpsc::SyncSender<FromWorld>, Arc<Mutex<bool>>, Log) + Send + 'static,
) -> Vec<String> {
    let runs = tempfile::tempdir().unwrap();
    let job = load::parse(text, "job").unwrap();
    let started = Started::of(&job, "test", std::collections::BTreeMap::new());
    let folder = RunFolder::create(runs.path(), &clock::day(), &job.id, text).unwrap();
    let storage = FileStorage::create_new(&folder.journal()).unwrap();
    let first = Record {
        at: clock::wall(),
        body: Body::Started(started.clone()),
    };
    let saved = Saved::new(&job, started);
    let (sender, world) = mpsc::sync_channel(64);
    let log = Log::default();
    let speaking = Arc::new(Mutex::new(false));
    let (theirs, flag) = (Arc::clone(&log), Arc::clone(&speaking));
    let script = std::thread::spawn(move || drive(sender, flag, theirs));
    let _ = Session {
        run: Run::new(Arc::new(job), saved),
        journal: Journal::create(storage, &first).unwrap(),
        folder,
        output: &mut Talker {
            log: Arc::clone(&log),
            speaking,
        },
        sound: &mut Room {
            log: Arc::clone(&log),
            headset,
        },
        world,
        clock: Clock::start(),
        unsaved: Vec::new(),
        keys_gone: false,
        unseen: None,
        question: None,
        deaf: false,
    }
    .drive();
    script.join().unwrap();
    log.lock().unwrap().clone()
}

/// Waits until the log is as wanted, at most ten seconds: a busy machine is no fault.
fn until(log: &Log, what: &str, wanted: impl Fn(&[String]) -> bool) {
    for _ in 0..500 {
        if wanted(&log.lock().unwrap()) {
            return;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    panic!("{what}: {:?}", log.lock().unwrap());
}

fn ends_with(line: &'static str) -> impl Fn(&[String]) -> bool {
    move |log| log.last().is_some_and(|last| last == line)
}

#[test]
fn the_ear_is_deaf_while_the_voice_speaks_and_then_hears_the_question_that_stands() {
    let log = session(false, |sender, speaking, log| {
        until(&log, "deaf at once", |log| log == ["say", "deaf"]);
        *speaking.lock().unwrap() = false;
        sender.send(FromWorld::Silent).unwrap();
        until(&log, "listening again", ends_with("listen 1"));
        // A key hushes at once, before anything else happens.
        let before = log.lock().unwrap().len();
        sender.send(FromWorld::Key(Key::Plus)).unwrap();
        until(&log, "deaf again", |log| {
            log.len() > before + 1 && ends_with("deaf")(log)
        });
        assert_eq!(log.lock().unwrap()[before], "hush");
        sender.send(FromWorld::End(130)).unwrap();
    });
    assert_eq!(
        log.iter().filter(|line| line.starts_with("listen")).count(),
        1,
        "{log:?}"
    );
}

#[test]
fn with_a_headset_a_stop_word_cuts_the_voice_off() {
    let log = session(true, |sender, _, log| {
        until(&log, "listening", |log| {
            log.iter().any(|line| line == "listen 1")
        });
        assert!(log.lock().unwrap().iter().all(|line| line != "deaf"));
        let before = log.lock().unwrap().len();
        sender
            .send(FromWorld::Heard(Utterance {
                words: "stop".to_owned(),
                listen: 1,
                samples: vec![0; 10],
                rate: 16_000,
                damaged: false,
            }))
            .unwrap();
        until(&log, "something came of it", |log| log.len() > before);
        assert_eq!(
            log.lock().unwrap()[before],
            "hush",
            "{:?}",
            log.lock().unwrap()
        );
        sender.send(FromWorld::End(130)).unwrap();
    });
    assert!(log.iter().all(|line| line != "deaf"), "{log:?}");
}

#[test]
fn the_voice_falling_silent_does_not_open_what_the_person_closed() {
    let log = session(false, |sender, speaking, log| {
        until(&log, "deaf at once", ends_with("deaf"));
        sender.send(FromWorld::EarBack).unwrap();
        sender.send(FromWorld::Key(Key::Talk)).unwrap();
        until(&log, "closed", |log| log.iter().any(|line| line == "close"));
        *speaking.lock().unwrap() = false;
        sender.send(FromWorld::Silent).unwrap();
        // Long enough for the loop to open it, if it did.
        std::thread::sleep(std::time::Duration::from_millis(300));
        sender.send(FromWorld::End(130)).unwrap();
    });
    assert!(
        log.iter().all(|line| !line.starts_with("listen")),
        "{log:?}"
    );
}

/// The program ends when its last sentence has been said, and not before.
#[test]
fn the_job_is_complete_is_said_to_its_end() {
    let log = of_job(SHORT, false, |sender, speaking, log| {
        until(&log, "asked", |log| log.iter().any(|line| line == "say"));
        sender.send(FromWorld::Key(Key::Enter)).unwrap();
        until(&log, "the last words", |log| {
            log.iter()
                .any(|line| line == "last words The job is complete.")
        });
        // The loop waits for the voice: it still takes in what comes.
        std::thread::sleep(std::time::Duration::from_millis(400));
        sender
            .send(FromWorld::Hint("still there".to_owned()))
            .expect("the session waits");
        log.lock().unwrap().push("silent".to_owned());
        *speaking.lock().unwrap() = false;
    });
    assert_eq!(log.last().unwrap(), "silent", "{log:?}");
}

/// A key cuts the last sentence off, and one that never ends keeps nobody.
#[test]
fn a_key_cuts_the_last_words_off() {
    let log = of_job(SHORT, false, |sender, _, log| {
        until(&log, "asked", |log| log.iter().any(|line| line == "say"));
        sender.send(FromWorld::Key(Key::Enter)).unwrap();
        until(&log, "the last words", |log| {
            log.iter().any(|line| line.starts_with("last words"))
        });
        sender.send(FromWorld::Key(Key::Plus)).unwrap();
    });
    assert_eq!(log.last().unwrap(), "hush", "{log:?}");
}

//! Enrolment through a live microphone: a sound server of one's own, into which somebody reads what the
//! program asks for, at a person's pace.
//!
//! Who reads is Sayback's own voice, word by word, as a smaller vocal tract would say it: the common
//! ears hear it badly.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::{self, sleep};
use std::time::Duration;

use sayback::edge::voice::clips::Clips;
use sayback::edge::voice::render::resample;
use sayback::enrolment::PROMPTS;

use super::command::{kept, program, run};
use crate::mic::alsa::server::{Owned, play_room, served};
use crate::mic::alsa::{PCM, clock, skipped};

/// The voice of the pack is at 24,000 samples a second: so much higher and quicker does it speak.
const SPOKEN_RATE: u32 = 34_000;

/// What is to be read, in the voice of the pack; none where it has not every word.
fn spoken(words: &str) -> Option<Vec<i16>> {
    let pack = Clips::own();
    let clip = |name: &str| {
        let place = pack.find(name).or_else(|| pack.find(&format!("{name}.")))?;
        Some(resample(&pack.samples(place).ok()?, SPOKEN_RATE, 16_000))
    };
    let sound = clip(words).or_else(|| {
        let parts: Option<Vec<Vec<f32>>> = words.split(' ').map(clip).collect();
        Some(parts?.concat())
    })?;
    #[allow(clippy::cast_possible_truncation)]
    Some(sound.iter().map(|step| (step * 32_767.0) as i16).collect())
}

/// The program, who reads to it, and what it says.
struct Room {
    process: Owned,
    keys: ChildStdin,
    lines: Receiver<String>,
    says: Sender<Vec<i16>>,
    seen: Vec<String>,
    /// Of each prompt: how often it was asked.
    asked: BTreeMap<String, usize>,
}

impl Room {
    fn new(mut command: Command, says: Sender<Vec<i16>>, config: &Path) -> Self {
        let mut child = command
            .args(["--plain", "--microphone", PCM])
            .env(
                "ALSA_CONFIG_PATH",
                format!("/usr/share/alsa/alsa.conf:{}", config.display()),
            )
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let keys = child.stdin.take().unwrap();
        let (give, lines) = channel();
        let outputs: [Box<dyn std::io::Read + Send>; 2] = [
            Box::new(child.stdout.take().unwrap()),
            Box::new(child.stderr.take().unwrap()),
        ];
        for output in outputs {
            let give = give.clone();
            thread::spawn(move || {
                for line in BufReader::new(output).lines().map_while(Result::ok) {
                    if give.send(line).is_err() {
                        break;
                    }
                }
            });
        }
        Self {
            process: Owned(child),
            keys,
            lines,
            says,
            seen: Vec::new(),
            asked: BTreeMap::new(),
        }
    }

    /// Reads aloud what is asked for, and passes over what is not among `wanted`, until a line begins
    /// with `last`; gives that line.
    fn read_until(&mut self, last: &str, wanted: impl Fn(&str) -> bool) -> String {
        self.read(&[last], wanted)
    }

    fn read(&mut self, last: &[&str], wanted: impl Fn(&str) -> bool) -> String {
        loop {
            let Ok(line) = self.lines.recv_timeout(Duration::from_secs(120)) else {
                panic!("no {last:?}; seen: {:#?}", self.seen);
            };
            self.seen.push(line.clone());
            if last.iter().any(|last| line.starts_with(last)) {
                return line;
            }
            let prompt = line
                .strip_prefix("READ: ")
                .or_else(|| line.strip_prefix("AGAIN: "));
            if let Some(prompt) = prompt {
                *self.asked.entry(prompt.to_owned()).or_default() += 1;
                // A person looks first, and not always equally long.
                let looks = 500 + 130 * (self.seen.len() as u64 % 4);
                match spoken(prompt).filter(|_| wanted(prompt)) {
                    Some(sound) => {
                        sleep(Duration::from_millis(looks));
                        self.says.send(sound).unwrap();
                    }
                    None => self.types("-"),
                }
            }
        }
    }

    /// The same; false if a line begins with `end` before that.
    fn read_until_or(&mut self, last: &str, end: &str, wanted: impl Fn(&str) -> bool) -> bool {
        self.read(&[last, end], wanted).starts_with(last)
    }

    fn types(&mut self, line: &str) {
        writeln!(self.keys, "{line}").unwrap();
    }

    fn ends(&mut self) -> (Option<i32>, String) {
        let code = self.process.0.wait().unwrap().code();
        self.seen.extend(self.lines.iter());
        (code, self.seen.join("\n"))
    }
}

/// The whole way of a person: the microphone check, the offer, a yes by voice, reading on, learning,
/// and a run that listens with the result. What the check heard is not read again.
#[test]
fn after_the_microphone_check_a_yes_goes_on_to_fit_the_ear() {
    let what = "the microphone check with enrolment behind it, through a sound server";
    if std::env::var("SAYBACK_LONG").as_deref() != Ok("1") {
        return skipped(what, "it takes minutes; set SAYBACK_LONG=1");
    }
    let Some((folder, server, config)) = served(what) else {
        return;
    };
    let _microphone = server.plug();
    let says = play_room(&server.folder);
    let home = folder.path().join("home");
    // On a machine that is too busy the sound stops for a second, which ends a check: it is done again.
    let check = || {
        for _ in 0..5 {
            let mut command = program(&home);
            command.args(["microphone-check", "--by", "Kim Orr"]);
            let mut room = Room::new(command, says.clone(), &config);
            if room.read_until_or("OFFER", "sayback: microphone", |_| true) {
                return room;
            }
        }
        panic!("no check came to its end: the sound stopped each time");
    };
    // Silence is no yes: nothing is read, nothing is learnt, and it says how to come back to it.
    let mut room = check();
    let (code, told) = room.ends();
    assert!(code == Some(0) || code == Some(1), "{told}");
    assert!(
        told.contains("The ear can be fitted to your voice") && told.contains("--by \"Kim Orr\""),
        "{told}"
    );
    assert_eq!(kept(&home), vec![]);

    let mut room = check();
    sleep(Duration::from_millis(700));
    room.says.send(spoken("affirm").unwrap()).unwrap();
    // Of what is left, so much that there is enough to learn from and to try it on.
    let first = &PROMPTS[..40];
    room.asked.clear();
    room.read_until("sayback: learning", |prompt| first.contains(&prompt));
    let read_again = room.asked.get("five one two");
    assert_eq!(read_again, None, "{:?}", room.asked);
    let (_, told) = room.ends();
    assert!(told.contains("Kept"), "{told}");
    let (person, names) = &kept(&home)[0];
    assert_eq!(names.len(), 2, "{names:?}");
    let list = std::fs::read_to_string(person.join(&names[1]).join("clips.tsv")).unwrap();
    assert!(list.contains("\tfive one two\tlearn"), "{list}");
    assert!(list.contains("\ttwo seven point nine\tcheck"), "{list}");
    let (_, ear) = run(&home, &[]);
    assert_eq!(ear["which"], "fitted");
}

/// Prints how long all 64 prompts take, and the learning after them.
#[test]
#[ignore = "takes minutes: cargo test --release --test all enrolment::live -- --ignored --nocapture"]
fn all_prompts_at_a_persons_pace() {
    let Some((folder, server, config)) = served("enrolment through a sound server") else {
        panic!("not tested: there is no sound server");
    };
    let _microphone = server.plug();
    let says = play_room(&server.folder);
    let home = folder.path().join("home");
    let mut command = program(&home);
    command.args(["enrol", "--by", "Kim Orr"]);
    let began = clock();
    let mut room = Room::new(command, says, &config);
    room.read_until("READ", |_| true);
    // The first prompt came with that line: it is read as the others are.
    room.says.send(spoken(PROMPTS[0]).unwrap()).unwrap();
    println!("ready after {:.1} s", began.elapsed().as_secs_f64());
    let learning = room.read_until("sayback: learning", |_| true);
    let read = began.elapsed();
    let cpu = || {
        let pid = room.process.0.id();
        let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).ok()?;
        let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
        // Fields 14 and 15 (proc(5)), in hundredths of a second on Linux.
        let ticks: u32 = fields[11..=12]
            .iter()
            .filter_map(|f| f.parse::<u32>().ok())
            .sum();
        Some(f64::from(ticks) / 100.0)
    };
    let before = cpu().unwrap();
    let mut last = before;
    while let Some(now) = cpu().filter(|now| *now >= last) {
        last = now;
        sleep(Duration::from_millis(50));
        if std::fs::read_to_string(format!("/proc/{}/stat", room.process.0.id()))
            .is_ok_and(|stat| stat.contains(") Z "))
        {
            break;
        }
    }
    let learnt = began.elapsed().saturating_sub(read);
    println!(
        "read after {:.0} s; {learning}; learnt and tried after {:.0} s more, {:.0} s of processor, on {} cores, load {}",
        read.as_secs_f64(),
        learnt.as_secs_f64(),
        last - before,
        thread::available_parallelism().unwrap(),
        std::fs::read_to_string("/proc/loadavg").unwrap().trim(),
    );
    let again: Vec<_> = room.asked.iter().filter(|(_, times)| **times > 2).collect();
    println!("asked more than twice: {again:?}");
    let (code, told) = room.ends();
    println!("{told}");
    assert_eq!(code, Some(0));
}

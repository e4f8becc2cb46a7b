//! The real sound library, in a child process of its own: known sound through
//! an ALSA `file` device, no card, and a sound server's source taken away.
//!
//! ALSA reads its configuration once a process, so each case runs this test
//! binary again with `ALSA_CONFIG_PATH` set. Where something is missing, the
//! test says SKIPPED and what was not tested.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread::{self, sleep};
use std::time::{Duration, Instant};

use sayback::edge::ear::{Ear, ModelChoice};
use sayback::edge::listening::{Engine, FromEar, HeardUtterance, OpenEar, Rule, start};
use sayback::edge::mic::{MicChoice, MicError, RING_SECONDS, devices, open};
use sayback::spoken::WordGraph;

const ALSA: &str = "/usr/share/alsa/alsa.conf";
const CHILD: &str = "SAYBACK_TEST_MIC_CHILD";
const PCM: &str = "sayback_known";
const RATE: usize = 16_000;

#[expect(clippy::disallowed_methods, reason = "a test of the real clock")]
fn clock() -> Instant {
    Instant::now()
}

fn skipped(what: &str, missing: &str) {
    eprintln!("SKIPPED: {what}: not tested, since {missing}");
}

/// Runs the child case of this file with a configuration of its own.
fn child(case: &str, config: &Path) -> Command {
    let mut command = Command::new(std::env::current_exe().expect("this test binary"));
    command
        .args([
            "--exact",
            "mic::alsa::child_case",
            "--ignored",
            "--nocapture",
        ])
        .env(CHILD, case)
        .env("ALSA_CONFIG_PATH", format!("{ALSA}:{}", config.display()));
    command
}

/// The child: does nothing unless a parent asked for a case.
#[test]
#[ignore = "run by the other tests of this file in a process of its own"]
fn child_case() {
    match std::env::var(CHILD).as_deref() {
        Ok("known sound") => child_known_sound(),
        Ok("overflow") => child_overflow(),
        Ok("no card") => child_no_card(),
        Ok("server") => child_server(),
        Ok("ear") => child_ear(),
        _ => skipped("a child case", "no parent asked for one"),
    }
}

fn passes(case: &str, config: &Path) {
    let done = child(case, config).output().expect("the child runs");
    let said = String::from_utf8_lossy(&done.stdout);
    assert!(
        done.status.success() && said.contains("1 passed") && said.contains("CHECKED"),
        "{case}: {}\n{said}\n{}",
        done.status,
        String::from_utf8_lossy(&done.stderr)
    );
}

/// Two seconds that no silence and no other sound looks like.
fn known_sound() -> Vec<i16> {
    (0..2 * RATE)
        .map(|n| i16::try_from((n * 7_919) % 65_536).unwrap_or_else(|_| -((n % 32_000) as i16)))
        .collect()
}

fn known_device(folder: &Path) -> PathBuf {
    let sound = folder.join("known.raw");
    let bytes: Vec<u8> = known_sound().iter().flat_map(|s| s.to_le_bytes()).collect();
    fs::write(&sound, bytes).expect("written");
    let config = folder.join("asound.conf");
    let text = format!(
        "pcm.{PCM} {{ type file slave.pcm null file /dev/null infile {} format raw\n\
         hint {{ show on description \"Known sound\" }} }}\n",
        sound.display()
    );
    fs::write(&config, text).expect("written");
    config
}

#[test]
fn known_sound_comes_through_the_sound_library_bit_for_bit() {
    if !Path::new(ALSA).exists() {
        return skipped("known sound through ALSA", "alsa.conf is not installed");
    }
    let folder = tempfile::tempdir().expect("a folder");
    passes("known sound", &known_device(folder.path()));
}

fn child_known_sound() {
    let listed = devices().expect("listed");
    assert!(listed.iter().any(|one| one.id == PCM), "{listed:?}");
    assert!(listed.iter().all(|one| one.id != "null"), "{listed:?}");
    for name in [PCM, "known sound"] {
        let mut capture = open(&MicChoice::Named(name.to_owned())).expect("opened");
        assert_eq!((capture.device(), capture.rate()), (PCM, 16_000));
        let wanted = known_sound();
        let mut sound = Vec::new();
        let until = clock() + Duration::from_secs(5);
        while sound.len() < wanted.len() && clock() < until {
            let left = wanted.len() - sound.len();
            assert!(!capture.read(&mut sound, left).gap);
            sleep(Duration::from_millis(5));
        }
        assert!(sound == wanted, "{} samples, or other ones", sound.len());
    }
    println!("CHECKED {} samples twice", 2 * RATE);
}

/// The `file` device gives sound as fast as it is taken, so the ring overflows.
#[test]
fn an_overflow_of_the_real_path_is_counted_and_placed() {
    if !Path::new(ALSA).exists() {
        return skipped("an overflow through ALSA", "alsa.conf is not installed");
    }
    let folder = tempfile::tempdir().expect("a folder");
    passes("overflow", &known_device(folder.path()));
}

fn child_overflow() {
    let mut capture = open(&MicChoice::Named(PCM.to_owned())).expect("opened");
    let room = RATE * RING_SECONDS as usize;
    let until = clock() + Duration::from_secs(5);
    while capture.dropped() == 0 && clock() < until {
        sleep(Duration::from_millis(5));
    }
    assert!(capture.dropped() > 0);
    assert_eq!(capture.waiting(), room, "no more than the ring holds");
    let mut sound = Vec::new();
    assert!(
        !capture.read(&mut sound, room).gap,
        "what was before is whole"
    );
    while capture.waiting() == 0 && clock() < until {
        sleep(Duration::from_millis(5));
    }
    assert!(capture.read(&mut sound, 1).gap, "and the next sample tells");
    assert!(sound.starts_with(&known_sound()));
    println!("CHECKED");
}

#[test]
fn no_such_card_is_a_sentence() {
    if !Path::new(ALSA).exists() {
        return skipped("a card that is not there", "alsa.conf is not installed");
    }
    let folder = tempfile::tempdir().expect("a folder");
    let config = folder.path().join("asound.conf");
    let text = "pcm.!default { type hw card 29 }\n\
                pcm.away { type hw card 29 hint { show on description \"Away\" } }\n";
    fs::write(&config, text).expect("written");
    passes("no card", &config);
}

fn child_no_card() {
    for choice in [MicChoice::Default, MicChoice::Named("away".to_owned())] {
        let why = open(&choice)
            .err()
            .expect("there is no card 29")
            .to_string();
        assert!(why.contains("the keypad goes on"), "{why}");
        println!("{why}");
    }
    let unknown = open(&MicChoice::Named("no such name".to_owned())).err();
    assert!(
        matches!(unknown, Some(MicError::NoSuchDevice { .. })),
        "{unknown:?}"
    );
    println!("CHECKED");
}

/// Takes each second of sound as an utterance.
struct Seconds;

struct Second {
    heard: usize,
    rate: u32,
}

impl Engine for Seconds {
    type Open = Second;

    fn listen(&mut self, _graph: &WordGraph, rate: u32) -> Result<Second, String> {
        Ok(Second { heard: 0, rate })
    }
}

impl OpenEar for Second {
    fn accept(&mut self, samples: &[i16]) -> Result<Option<HeardUtterance>, String> {
        self.heard += samples.len();
        if self.heard < self.rate as usize {
            return Ok(None);
        }
        self.heard = 0;
        self.finish().map(Some)
    }

    fn finish(&mut self) -> Result<HeardUtterance, String> {
        Ok(HeardUtterance {
            words: "second".to_owned(),
            samples: vec![],
            rate: self.rate,
        })
    }
}

/// Tells what the ear's thread says, a line each, until the parent closes its
/// input.
fn child_server() {
    let mic = MicChoice::Named(PCM.to_owned());
    let handle = start(
        || Ok(Seconds),
        mic,
        Rule::Always,
        |news| match news {
            FromEar::Level { .. } => {}
            FromEar::Heard { damaged, .. } => println!("\nnews: Heard damaged={damaged}"),
            other => println!("\nnews: {other:?}"),
        },
    );
    let graph = WordGraph {
        states: 1,
        start: 0,
        finals: vec![0],
        arcs: vec![],
    };
    handle.listen(graph, 1);
    for _ in std::io::stdin().lines() {}
    handle.stop();
    println!("\nCHECKED");
}

/// The real ear behind the real gate, listening for yes or no.
fn child_ear() {
    let handle = start(
        || Ear::open(&ModelChoice::BuiltIn).map_err(|error| error.to_string()),
        MicChoice::Named(PCM.to_owned()),
        Rule::default(),
        |news| match news {
            FromEar::Level { .. } => {}
            FromEar::Heard { words, damaged, .. } => {
                println!("\nnews: Heard {words:?} damaged={damaged}");
            }
            other => println!("\nnews: {other:?}"),
        },
    );
    let graph = sayback::spoken::named_listening("yes-no").expect("a grammar");
    handle.listen(graph, 1);
    for _ in std::io::stdin().lines() {}
    handle.stop();
    println!("\nCHECKED");
}

/// A process that ends with the test.
struct Owned(Child);

impl Drop for Owned {
    fn drop(&mut self) {
        let _ended = self.0.kill();
        let _reaped = self.0.wait();
    }
}

struct Server {
    folder: PathBuf,
    _process: Owned,
}

impl Server {
    fn start(folder: &Path) -> Option<Self> {
        let socket = folder.join("native");
        let process = Command::new("pulseaudio")
            .args([
                "-n",
                "--daemonize=no",
                "--exit-idle-time=-1",
                "--use-pid-file=no",
                "-L",
            ])
            .arg(format!(
                "module-native-protocol-unix auth-anonymous=1 socket={}",
                socket.display()
            ))
            .env("HOME", folder)
            .env("XDG_RUNTIME_DIR", folder)
            .env_remove("DBUS_SESSION_BUS_ADDRESS")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .ok()?;
        let server = Self {
            folder: folder.to_owned(),
            _process: Owned(process),
        };
        let until = clock() + Duration::from_secs(10);
        while clock() < until {
            if server.control(&["info"]).is_some() {
                return Some(server);
            }
            sleep(Duration::from_millis(100));
        }
        None
    }

    fn control(&self, words: &[&str]) -> Option<String> {
        let done = Command::new("pactl")
            .args(words)
            .env("HOME", &self.folder)
            .env("XDG_RUNTIME_DIR", &self.folder)
            .env(
                "PULSE_SERVER",
                format!("unix:{}", self.folder.join("native").display()),
            )
            .output()
            .ok()?;
        done.status
            .success()
            .then(|| String::from_utf8_lossy(&done.stdout).trim().to_owned())
    }

    /// Plugs a microphone in; gives its number.
    fn plug(&self) -> String {
        let fifo = format!("file={}", self.folder.join("fifo").display());
        self.control(&[
            "load-module",
            "module-pipe-source",
            "source_name=known",
            &fifo,
            "format=s16le",
            "rate=16000",
            "channels=1",
        ])
        .expect("plugged in")
    }

    /// Speaks into it, in real time, for as long as it is there.
    fn speak(&self) {
        let fifo = self.folder.join("fifo");
        thread::spawn(move || {
            let mut pipe = fs::OpenOptions::new().write(true).open(fifo)?;
            let tenth: Vec<u8> = (0..RATE / 10)
                .flat_map(|n| ((n % 99) as i16 * 50).to_le_bytes())
                .collect();
            loop {
                pipe.write_all(&tenth)?;
                sleep(Duration::from_millis(100));
            }
            #[expect(unreachable_code, reason = "gives the closure its type")]
            Ok::<(), std::io::Error>(())
        });
    }
}

/// A room's noise, in real time, and between it whatever is sent; ends when it is taken away.
fn play_room(folder: &Path) -> std::sync::mpsc::Sender<Vec<i16>> {
    let fifo = folder.join("fifo");
    let (send, sent) = channel::<Vec<i16>>();
    thread::spawn(move || {
        let mut pipe = fs::OpenOptions::new().write(true).open(fifo)?;
        let mut state = 1_u32;
        let mut speech: Vec<i16> = Vec::new();
        let (began, mut blocks) = (clock(), 0);
        loop {
            while let Ok(more) = sent.try_recv() {
                speech.extend(more);
            }
            let bytes: Vec<u8> = (0..RATE / 10)
                .flat_map(|at| {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    let noise = (state >> 24) as i16 - 128;
                    (speech
                        .get(at)
                        .copied()
                        .unwrap_or(0)
                        .saturating_add(noise / 4))
                    .to_le_bytes()
                })
                .collect();
            speech.drain(..speech.len().min(RATE / 10));
            pipe.write_all(&bytes)?;
            blocks += 1;
            sleep(Duration::from_millis(100 * blocks).saturating_sub(began.elapsed()));
        }
        #[expect(unreachable_code, reason = "gives the closure its type")]
        Ok::<(), std::io::Error>(())
    });
    send
}

/// The real ear: what it takes while nobody speaks, a word, a word whose second half is lost.
#[test]
fn a_word_is_heard_and_half_a_word_is_not_when_the_source_is_taken_away() {
    let what = "a word through a sound server, cut in its middle";
    if std::env::var("SAYBACK_LONG").as_deref() != Ok("1") {
        return skipped(what, "it takes a minute; set SAYBACK_LONG=1");
    }
    for tool in ["pulseaudio", "pactl"] {
        if Command::new(tool).arg("--version").output().is_err() {
            return skipped(what, &format!("{tool} is not installed"));
        }
    }
    let folder = tempfile::tempdir().expect("a folder");
    let Some(server) = Server::start(folder.path()) else {
        return skipped(what, "pulseaudio does not start here");
    };
    let config = folder.path().join("asound.conf");
    let socket = folder.path().join("native");
    let text = format!(
        "pcm.{PCM} {{ type pulse server \"unix:{}\" hint {{ show on description \"Server\" }} }}\n",
        socket.display()
    );
    fs::write(&config, text).expect("written");
    let module = server.plug();
    let speak = play_room(&server.folder);
    let mut process = child("ear", &config)
        .env("HOME", folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the child runs");
    let pid = process.id();
    let input = process.stdin.take();
    let output = process.stdout.take().expect("piped");
    let mut process = Owned(process);
    let (give, lines) = channel();
    thread::spawn(move || {
        for line in BufReader::new(output).lines().map_while(Result::ok) {
            if give.send(line).is_err() {
                break;
            }
        }
    });
    wait_for(&lines, "news: Ready", Duration::from_secs(30));
    sleep(Duration::from_secs(2));
    let ear = ear_thread(pid);
    let (from, own_from, began) = (processor_seconds(pid), thread_seconds(&ear), clock());
    sleep(Duration::from_secs(20));
    let share = |seconds: f64| seconds / began.elapsed().as_secs_f64();
    let own = share(thread_seconds(&ear) - own_from);
    println!(
        "listening, nobody speaks, 20 s: the ear's thread {:.1} % of a core; with the sound library's {:.1} %",
        own * 100.0,
        share(processor_seconds(pid) - from) * 100.0
    );
    // The rest is the sound library's thread: through a sound server it wakes up far too often.
    assert!(own < 0.05, "{own} of a core while nobody speaks");
    let word = |name: &str| {
        let clips = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/clips");
        sayback::edge::sound::read(&clips.join(name))
            .expect("a recording")
            .samples
    };
    speak.send(word("yes.flac")).expect("it plays");
    wait_for(
        &lines,
        "news: Heard \"yes\" damaged=false",
        Duration::from_secs(10),
    );
    // The source goes in the middle of it.
    let affirm = word("affirm.flac");
    speak.send(affirm).expect("it plays");
    sleep(Duration::from_millis(700));
    server
        .control(&["unload-module", &module])
        .expect("unplugged");
    wait_for(&lines, "news: Lost", Duration::from_secs(5));
    let _module = server.plug();
    let speak = play_room(&server.folder);
    wait_for(&lines, "news: Back", Duration::from_secs(12));
    speak.send(word("no.flac")).expect("it plays");
    // What follows half a word may be its other half: it is marked, and asked again.
    let (_, first) = wait_for(&lines, "news: Heard", Duration::from_secs(10));
    assert!(first.ends_with("damaged=true"), "{first}");
    speak.send(word("no.flac")).expect("it plays");
    wait_for(
        &lines,
        "news: Heard \"no\" damaged=false",
        Duration::from_secs(10),
    );
    drop(input);
    wait_for(&lines, "CHECKED", Duration::from_secs(5));
    assert!(process.0.wait().expect("ended").success());
}

/// Waits for a line that begins with `wanted`; gives how long it took and it.
fn wait_for(lines: &Receiver<String>, wanted: &str, limit: Duration) -> (Duration, String) {
    let began = clock();
    let mut seen = Vec::new();
    loop {
        let left = limit.saturating_sub(began.elapsed());
        match lines.recv_timeout(left) {
            Ok(line) if line.starts_with(wanted) => return (began.elapsed(), line),
            Ok(line) => seen.push(line),
            Err(_) => panic!("no {wanted:?} within {limit:?}; seen: {seen:#?}"),
        }
    }
}

/// Seconds of processor that a process has used: fields 14 and 15 of
/// `/proc/PID/stat` (proc(5)), in hundredths of a second on Linux.
fn processor_seconds(pid: u32) -> f64 {
    thread_seconds(&PathBuf::from(format!("/proc/{pid}")))
}

/// Where the system keeps what the ear's thread of a process has used.
fn ear_thread(pid: u32) -> PathBuf {
    fs::read_dir(format!("/proc/{pid}/task"))
        .expect("it runs")
        .flatten()
        .map(|thread| thread.path())
        .find(|path| fs::read_to_string(path.join("comm")).is_ok_and(|name| name.trim() == "ear"))
        .expect("the ear's thread")
}

/// The same for a process or a thread by its folder.
fn thread_seconds(folder: &Path) -> f64 {
    let stat = fs::read_to_string(folder.join("stat")).expect("it runs");
    let after_name = stat.rsplit_once(')').expect("a name").1;
    let fields: Vec<&str> = after_name.split_whitespace().collect();
    let ticks: u32 = [11, 12]
        .iter()
        .map(|&n: &usize| fields[n].parse::<u32>().unwrap())
        .sum();
    f64::from(ticks) / 100.0
}

#[test]
fn a_source_that_is_taken_away_is_lost_and_comes_back() {
    let what = "a sound server's source taken away";
    if std::env::var("SAYBACK_LONG").as_deref() != Ok("1") {
        return skipped(what, "it takes half a minute; set SAYBACK_LONG=1");
    }
    for tool in ["pulseaudio", "pactl"] {
        if Command::new(tool).arg("--version").output().is_err() {
            return skipped(what, &format!("{tool} is not installed"));
        }
    }
    let folder = tempfile::tempdir().expect("a folder");
    let Some(server) = Server::start(folder.path()) else {
        return skipped(what, "pulseaudio does not start here");
    };
    let config = folder.path().join("asound.conf");
    let socket = folder.path().join("native");
    let text = format!(
        "pcm.{PCM} {{ type pulse server \"unix:{}\" hint {{ show on description \"Server\" }} }}\n",
        socket.display()
    );
    fs::write(&config, text).expect("written");
    let mut module = server.plug();
    server.speak();

    let mut process = child("server", &config)
        .env("HOME", folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the child runs");
    let pid = process.id();
    let input = process.stdin.take();
    let output = process.stdout.take().expect("piped");
    let mut process = Owned(process);
    let (give, lines) = channel();
    thread::spawn(move || {
        for line in BufReader::new(output).lines().map_while(Result::ok) {
            if give.send(line).is_err() {
                break;
            }
        }
    });
    let (ready, _) = wait_for(&lines, "news: Ready", Duration::from_secs(10));
    wait_for(&lines, "news: Heard damaged=false", Duration::from_secs(5));
    println!("ready after {ready:?}");
    for round in 1..=2 {
        server
            .control(&["unload-module", &module])
            .expect("unplugged");
        let (lost, why) = wait_for(&lines, "news: Lost", Duration::from_secs(5));
        assert!(lost <= Duration::from_secs(2), "{lost:?}");
        let (from, began) = (processor_seconds(pid), clock());
        sleep(Duration::from_secs(6));
        let share = (processor_seconds(pid) - from) / began.elapsed().as_secs_f64();
        assert!(share < 0.05, "{share} of a core while lost");
        module = server.plug();
        server.speak();
        let (back, _) = wait_for(&lines, "news: Back", Duration::from_secs(12));
        assert!(back <= Duration::from_secs(10), "{back:?}");
        let (_, first) = wait_for(&lines, "news: Heard", Duration::from_secs(5));
        assert_eq!(first, "news: Heard damaged=true", "half of it was lost");
        wait_for(&lines, "news: Heard damaged=false", Duration::from_secs(5));
        println!(
            "round {round}: lost said after {lost:?} ({why}); {:.1} % of a core while lost; back after {back:?}",
            share * 100.0
        );
    }
    drop(input);
    wait_for(&lines, "CHECKED", Duration::from_secs(5));
    assert!(process.0.wait().expect("ended").success());
}

//! A sound server's source, taken away and given back, and what listening to it costs.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread::{self, sleep};
use std::time::Duration;

use super::{PCM, RATE, child, clock, skipped};

/// A process that ends with the test.
pub struct Owned(pub Child);

impl Drop for Owned {
    fn drop(&mut self) {
        let _ended = self.0.kill();
        let _reaped = self.0.wait();
    }
}

pub struct Server {
    pub folder: PathBuf,
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
    pub fn plug(&self) -> String {
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
pub fn play_room(folder: &Path) -> std::sync::mpsc::Sender<Vec<i16>> {
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

/// A sound server of one's own, its folder, and the ALSA configuration that leads to it; none, loudly,
/// where there can be none.
pub fn served(what: &str) -> Option<(tempfile::TempDir, Server, std::path::PathBuf)> {
    for tool in ["pulseaudio", "pactl"] {
        if Command::new(tool).arg("--version").output().is_err() {
            skipped(what, &format!("{tool} is not installed"));
            return None;
        }
    }
    let folder = tempfile::tempdir().expect("a folder");
    let Some(server) = Server::start(folder.path()) else {
        skipped(what, "pulseaudio does not start here");
        return None;
    };
    let config = folder.path().join("asound.conf");
    let socket = folder.path().join("native");
    let text = format!(
        "pcm.{PCM} {{ type pulse server \"unix:{}\" hint {{ show on description \"Server\" }} }}\n",
        socket.display()
    );
    fs::write(&config, text).expect("written");
    Some((folder, server, config))
}

/// The real ear: what it takes while nobody speaks, a word, a word whose second half is lost.
#[test]
fn a_word_is_heard_and_half_a_word_is_not_when_the_source_is_taken_away() {
    let what = "a word through a sound server, cut in its middle";
    if std::env::var("SAYBACK_LONG").as_deref() != Ok("1") {
        return skipped(what, "it takes a minute; set SAYBACK_LONG=1");
    }
    let Some((folder, server, config)) = served(what) else {
        return;
    };
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
    let all = share(processor_seconds(pid) - from);
    println!(
        "listening, nobody speaks, 20 s: the ear's thread {:.1} % of a core; with the sound library's {:.1} %",
        own * 100.0,
        all * 100.0
    );
    assert!(all < 0.05, "{all} of a core while nobody speaks");
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
    let Some((folder, server, config)) = served(what) else {
        return;
    };
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

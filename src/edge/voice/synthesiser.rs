//! A synthesiser of the system, for sentences that there are no clips for.
//!
//! A program of its own, never linked: it gets the text on its standard input, so that
//! no sign of it means anything to a shell or as an option, and writes a WAV file to
//! its standard output. No state but which program was found. One that takes longer
//! than [`PATIENCE`] is ended by its own process.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

use super::clips::RATE;
use super::render::resample;

/// How long a sentence may take.
pub const PATIENCE: Duration = Duration::from_secs(10);

/// The most that a synthesiser may write: a minute of sound and more.
const MOST_BYTES: u64 = 16 << 20;

/// Programs that are looked for, with what makes them read standard input and write WAV to standard output.
const KNOWN: [(&str, &[&str]); 3] = [
    ("espeak-ng", &["--stdin", "--stdout", "-v", "en"]),
    ("espeak", &["--stdin", "--stdout", "-v", "en"]),
    ("flite", &["-f", "/dev/stdin", "-o", "/dev/stdout"]),
];

/// Why a sentence has no sound. Each says what to do.
#[derive(Debug, thiserror::Error)]
pub enum SynthesiserError {
    /// It could not be started.
    #[error(
        "the speech program {program} cannot be started ({source}); the sentence is on the screen. Install it again, or leave --speech out."
    )]
    Start {
        /// Which.
        program: String,
        /// What the system says.
        source: std::io::Error,
    },
    /// It took too long and was ended.
    #[error("the speech program {program} did not answer within {} seconds and was ended; the sentence is on the screen.", PATIENCE.as_secs())]
    Hung {
        /// Which.
        program: String,
    },
    /// What it wrote is no WAV file.
    #[error(
        "the speech program {program} gave no sound ({why}); the sentence is on the screen. Try it by hand, or remove it."
    )]
    NoSound {
        /// Which.
        program: String,
        /// What is wrong with it.
        why: String,
    },
}

/// A synthesiser that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Synthesiser {
    program: PathBuf,
    arguments: &'static [&'static str],
}

impl Synthesiser {
    /// The first of the known programs in the folders of `path` (as the variable PATH writes them).
    #[must_use]
    pub fn find(path: &std::ffi::OsStr) -> Option<Self> {
        KNOWN.iter().find_map(|(name, arguments)| {
            std::env::split_paths(path)
                .filter(|folder| folder.is_absolute())
                .map(|folder| folder.join(name))
                .find(|program| is_program(program))
                .map(|program| Self { program, arguments })
        })
    }

    /// Sound of a sentence at [`RATE`]; `None` where `is_cut` said so meanwhile.
    ///
    /// # Errors
    /// If it cannot be started, hangs, or gives no WAV file.
    pub fn say(
        &self,
        sentence: &str,
        is_cut: &mut dyn FnMut() -> bool,
    ) -> Result<Option<Vec<f32>>, SynthesiserError> {
        let program = self.program.display().to_string();
        let mut child = Command::new(&self.program)
            .args(self.arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|source| SynthesiserError::Start {
                program: program.clone(),
                source,
            })?;
        let written = read_and_write(&mut child, sentence);
        let begun = now();
        let wav = loop {
            match written.recv_timeout(Duration::from_millis(10)) {
                Ok(wav) => break Some(wav),
                Err(RecvTimeoutError::Disconnected) => break Some(Vec::new()),
                Err(RecvTimeoutError::Timeout) if is_cut() => break None,
                Err(RecvTimeoutError::Timeout) if now() - begun > PATIENCE => {
                    end(&mut child);
                    return Err(SynthesiserError::Hung { program });
                }
                Err(RecvTimeoutError::Timeout) => {}
            }
        };
        // It has closed its output, or is not wanted any more.
        end(&mut child);
        let Some(wav) = wav else { return Ok(None) };
        read_wav(&wav)
            .map(Some)
            .map_err(|why| SynthesiserError::NoSound { program, why })
    }
}

fn is_program(path: &Path) -> bool {
    use std::os::unix::fs::PermissionsExt;
    path.metadata()
        .is_ok_and(|data| data.is_file() && data.permissions().mode() & 0o111 != 0)
}

/// Ends this one process and takes its result, so that none is left behind.
fn end(child: &mut Child) {
    let _ = child.kill();
    let _ = child.wait();
}

/// Feeds the sentence and collects the sound, each on a thread, so that neither pipe can block the other.
fn read_and_write(child: &mut Child, sentence: &str) -> Receiver<Vec<u8>> {
    let (sender, written) = channel();
    let line = format!("{}\n", sentence.replace(char::is_control, " "));
    if let Some(mut stdin) = child.stdin.take() {
        thread::spawn(move || {
            // One that does not read will give no sound, and that is told.
            let _ = stdin.write_all(line.as_bytes());
        });
    }
    if let Some(stdout) = child.stdout.take() {
        thread::spawn(move || {
            let mut wav = Vec::new();
            let _ = stdout.take(MOST_BYTES).read_to_end(&mut wav);
            let _ = sender.send(wav);
        });
    }
    written
}

/// Reads a WAV file that came through a pipe: its lengths may be wrong, so sound counts to the end.
fn read_wav(bytes: &[u8]) -> Result<Vec<f32>, String> {
    let word = |at: usize| {
        bytes
            .get(at..at + 4)
            .map(|four| u32::from_le_bytes([four[0], four[1], four[2], four[3]]))
    };
    let half = |at: usize| {
        bytes
            .get(at..at + 2)
            .map(|two| u16::from_le_bytes([two[0], two[1]]))
    };
    if bytes.get(..4) != Some(b"RIFF") || bytes.get(8..12) != Some(b"WAVE") {
        return Err("what it wrote is no WAV file".to_owned());
    }
    let (mut at, mut form) = (12, None);
    while let (Some(name), Some(length)) = (bytes.get(at..at + 4), word(at + 4)) {
        match name {
            b"fmt " => {
                form = half(at + 8)
                    .zip(half(at + 10))
                    .zip(word(at + 12))
                    .zip(half(at + 22));
            }
            b"data" => {
                let Some((((1, channels @ 1..=8), rate @ 4_000..=192_000), 16)) = form else {
                    return Err("its WAV file is not of 16 bits".to_owned());
                };
                let end = (at + 8).saturating_add(length as usize).min(bytes.len());
                let sound: Vec<f32> = bytes[at + 8..end]
                    .chunks_exact(2 * usize::from(channels))
                    .map(|frame| f32::from(i16::from_le_bytes([frame[0], frame[1]])) / 32_768.0)
                    .collect();
                return Ok(resample(&sound, rate, RATE));
            }
            _ => {}
        }
        at = (at + 8)
            .saturating_add(length as usize)
            .saturating_add(length as usize % 2);
    }
    Err("its WAV file has no sound in it".to_owned())
}

#[expect(clippy::disallowed_methods, reason = "the edge reads the clock")]
fn now() -> Instant {
    Instant::now()
}

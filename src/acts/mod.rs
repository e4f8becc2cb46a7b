//! What the command line can ask for, each act in its own file.
//!
//! Data goes to standard output, messages to standard error. Every error says
//! what was found and what to do.

#[cfg(feature = "voice")]
mod enrol;
mod history;
mod merge;
#[cfg(feature = "voice")]
mod mic_check;
mod proof;
#[cfg(feature = "voice")]
mod reading_aloud;
mod record;
mod route;
mod run;
mod summary;
mod tables;

use std::process::ExitCode;

use crate::args::{Act, CommandLine};
use crate::edge::tell;

pub use self::record::write_pages;

/// Exit code: done.
pub const DONE: u8 = 0;
/// Exit code: not done.
pub const NOT_DONE: u8 = 1;
/// Exit code: wrong use.
pub const WRONG_USE: u8 = 2;
/// Exit code: could not save.
pub const NOT_SAVED: u8 = 3;

/// Exit code: the terminal hung up, 128 and the number of that signal.
pub const HUNG_UP: u8 = 129;

/// An error with the exit code that belongs to it.
#[derive(Debug)]
pub struct Failure {
    /// Exit code.
    pub code: u8,
    /// What to print on standard error.
    pub text: String,
}

impl Failure {
    /// Wrong use: the command line or a file given on it.
    pub fn wrong(text: impl ToString) -> Self {
        Self {
            code: WRONG_USE,
            text: text.to_string(),
        }
    }

    /// Something could not be written.
    pub fn not_saved(text: impl ToString) -> Self {
        Self {
            code: NOT_SAVED,
            text: text.to_string(),
        }
    }

    /// Standard output cannot be written.
    fn from_output(error: &std::io::Error) -> Self {
        Self::not_saved(format!(
            "cannot write to standard output: {error}. Make room there, or send it elsewhere"
        ))
    }
}

/// Does what was asked; the exit code says how it went.
#[must_use]
pub fn carry_out(line: CommandLine) -> ExitCode {
    let done = match line.act {
        Act::Run(args) => run::start(&args),
        Act::Resume(args) => run::resume(&args),
        Act::Route(args) => route::route(&args),
        Act::Runs(args) => record::list(&args),
        Act::Jobs { name } => tables::jobs(name.as_deref()),
        #[cfg(feature = "voice")]
        Act::CheckJob { job, sheet, model } => {
            tables::check_job(&job, sheet.as_deref(), model.as_deref())
        }
        #[cfg(not(feature = "voice"))]
        Act::CheckJob { job, sheet } => tables::check_job(&job, sheet.as_deref(), None),
        Act::Record(args) => record::make(&args),
        Act::History(args) => history::history(&args),
        Act::Merge(args) => merge::merge(&args),
        Act::Summary(args) => summary::summary(&args),
        Act::Verify(args) => proof::verify(&args),
        Act::Key(args) => proof::key(&args),
        Act::Sign(args) => proof::sign(&args),
        Act::Calc {
            name,
            inputs,
            table,
        } => tables::calc(name.as_deref(), inputs.as_deref(), table.as_deref()),
        Act::Parse {
            slot,
            phrase,
            table,
        } => tables::parse(slot.as_deref(), phrase.as_deref(), table.as_deref()),
        #[cfg(feature = "voice")]
        Act::Hear(args) => tables::hear(&args),
        #[cfg(feature = "voice")]
        Act::Microphones(args) => mic_check::microphones(&args),
        #[cfg(feature = "voice")]
        Act::MicrophoneCheck(args) => mic_check::check(&args),
        #[cfg(feature = "voice")]
        Act::Enrol(args) => enrol::enrol(&args),
        Act::Schema => print(&crate::report::schema()).map(|()| DONE),
        Act::Completions { shell } => tables::completions(shell),
    };
    match done {
        Ok(code) => ExitCode::from(code),
        Err(failure) => {
            tell(&failure.text);
            ExitCode::from(failure.code)
        }
    }
}

/// Prints the help, the version, or what is wrong with the command line.
#[must_use]
pub fn answer(answer: &clap::Error) -> ExitCode {
    match answer.print() {
        Err(error) if !answer.use_stderr() && !is_broken_pipe(&error) => {
            let failure = Failure::from_output(&error);
            tell(&failure.text);
            ExitCode::from(failure.code)
        }
        _ => ExitCode::from(if answer.use_stderr() { WRONG_USE } else { DONE }),
    }
}

/// True if this is a reader that went away: that is no error.
#[must_use]
pub fn is_broken_pipe(error: &std::io::Error) -> bool {
    error.kind() == std::io::ErrorKind::BrokenPipe
}

/// Prints to standard output; a reader that went away ends the program quietly.
///
/// # Errors
/// If standard output cannot be written for another reason.
pub fn print(text: &str) -> Result<(), Failure> {
    print_bytes(text.as_bytes())
}

/// As [`print`], for what is no text.
fn print_bytes(bytes: &[u8]) -> Result<(), Failure> {
    use std::io::Write;
    let mut out = std::io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Err(error) if is_broken_pipe(&error) => Ok(()),
        other => other.map_err(|error| Failure::from_output(&error)),
    }
}

//! The terminal as a thing that is taken and given back.

use std::fs::{File, OpenOptions};
use std::io::{self, IsTerminal, Stdout, Write};
use std::os::fd::{AsFd, OwnedFd};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};
use std::thread::ThreadId;

use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::cursor::{Hide, Show};
use ratatui::crossterm::event::{DisableBracketedPaste, EnableBracketedPaste};
use ratatui::crossterm::style::Print;
use ratatui::crossterm::terminal::{
    Clear, ClearType, EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode,
    enable_raw_mode, size,
};
use ratatui::crossterm::{execute, queue};
use ratatui::layout::{Rect, Size};
use ratatui::{Terminal, TerminalOptions, Viewport};

use super::{Look, Meter, draw};
use crate::core::View;
use crate::drive::{Level, Output};
use crate::edge::tell;

/// The keypad sends characters, not application sequences, which arrive as no key at all (DECKPNM).
const NUMERIC_KEYPAD: &str = "\u{1b}>";

/// True while the terminal is ours. The panic hook gives it back as well.
static ENTERED: AtomicBool = AtomicBool::new(false);

/// Standard error as it was, while it goes to a file.
static STDERR: Mutex<Option<OwnedFd>> = Mutex::new(None);

/// The whole screen, taken from the terminal until it is dropped.
pub struct Screen {
    terminal: Terminal<CrosstermBackend<Stdout>>,
    look: Look,
    hint: Option<(String, String)>,
    meter: Meter,
    /// Where standard error goes while the screen is up, and its name if it has one.
    log: Option<(File, Option<PathBuf>)>,
}

impl Screen {
    /// Takes the terminal: raw mode, alternate screen, numeric keypad, bracketed
    /// paste (so that a paste is not read as answers), no mouse.
    ///
    /// # Errors
    /// If standard output is no terminal, or it refuses.
    pub fn enter(look: Look) -> io::Result<Self> {
        let terminal = canvas()?;
        let mut screen = Self {
            terminal,
            look,
            hint: None,
            meter: Meter::default(),
            log: None,
        };
        give_back_on_panic(std::thread::current().id());
        screen.take()?;
        Ok(screen)
    }

    fn take(&mut self) -> io::Result<()> {
        enable_raw_mode()?;
        ENTERED.store(true, Ordering::SeqCst);
        let taken = execute!(
            io::stdout(),
            EnterAlternateScreen,
            Print(NUMERIC_KEYPAD),
            EnableBracketedPaste,
            Hide
        );
        if let Err(error) = taken {
            give_back();
            return Err(error);
        }
        if io::stderr().is_terminal() {
            if self.log.is_none() {
                self.log = new_log();
            }
            if let Some((log, _)) = &self.log {
                turn_stderr_aside(log);
            }
        }
        self.clear()
    }

    /// An empty screen of the size that the terminal has now.
    fn clear(&mut self) -> io::Result<()> {
        self.terminal = canvas()?;
        execute!(io::stdout(), Clear(ClearType::All))
    }
}

/// A canvas of a fixed size. One that follows the terminal by itself asks it for the place of the
/// cursor at each change, and a terminal that does not answer would end the run.
fn canvas() -> io::Result<Terminal<CrosstermBackend<Stdout>>> {
    let (width, height) = size()?;
    Terminal::with_options(
        CrosstermBackend::new(io::stdout()),
        TerminalOptions {
            viewport: Viewport::Fixed(Rect::new(0, 0, width, height)),
        },
    )
}

impl Output for Screen {
    fn show(&mut self, view: &View) -> io::Result<()> {
        if !ENTERED.load(Ordering::SeqCst) {
            // A panic that was caught gave the terminal back, and the program goes on.
            self.take()?;
        }
        // Asked each time: a change of size can go unreported.
        if self.terminal.get_frame().area().as_size() != Size::from(size()?) {
            self.clear()?;
        }
        let look = self.look;
        // A remark stays until the next question.
        if self
            .hint
            .as_ref()
            .is_some_and(|(place, _)| !place.is_empty() && *place != view.place)
        {
            self.hint = None;
        }
        let mut shown = view.clone();
        if let Some((place, text)) = &mut self.hint {
            place.clone_from(&view.place);
            shown.message = format!("{} {text}", view.message).trim().to_owned();
        }
        shown.ear = self.meter.beside(&view.ear);
        self.terminal.draw(|frame| draw(frame, &shown, &look))?;
        Ok(())
    }

    /// The screen has no voice: what would be said is the message and the question on it.
    fn say(&mut self, _: &str) {}

    /// No voice, so nothing to silence.
    fn hush(&mut self) {}

    fn level(&mut self, level: Level) -> bool {
        self.meter.take(level)
    }

    fn hint(&mut self, text: &str) {
        self.hint = Some((String::new(), text.to_owned()));
    }

    fn suspend(&mut self) {
        give_back();
        // If the system refuses to stop the program, it simply goes on.
        let _ = signal_hook::low_level::emulate_default_handler(signal_hook::consts::SIGTSTP);
        // What fails here fails again in `show`, which reports it.
        let _ = self.take();
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        give_back();
        if let Some((_, Some(path))) = &self.log
            && path.metadata().is_ok_and(|data| data.len() == 0)
        {
            // An empty file is of no use; that it stays would harm nobody.
            let _ = std::fs::remove_file(path);
        }
    }
}

/// Gives the terminal back, once; errors cannot be shown anywhere by now.
fn give_back() {
    if !ENTERED.swap(false, Ordering::SeqCst) {
        return;
    }
    let mut out = io::stdout();
    let _ = queue!(out, DisableBracketedPaste, LeaveAlternateScreen, Show);
    let is_gone = out.flush().is_err();
    let _ = disable_raw_mode();
    if is_gone {
        // A terminal that hung up takes no message either: they stay in the log, or printing one would panic.
        return;
    }
    if let Some(before) = STDERR.lock().unwrap_or_else(PoisonError::into_inner).take() {
        let _ = rustix::stdio::dup2_stderr(before.as_fd());
    }
}

/// A panic of this thread gives the terminal back before its message is printed.
/// One of another thread does not end the program: its message goes to the log.
fn give_back_on_panic(owner: ThreadId) {
    let before = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        let ends = std::thread::current().id() == owner;
        if ends {
            give_back();
        }
        before(info);
        if ends {
            tell(
                "that is a fault in Sayback, not in what you did. Everything kept is saved. \
                 Go on with: sayback resume",
            );
        }
    }));
}

/// A new file in the folder for temporary files, or nowhere, if there can be none.
fn new_log() -> Option<(File, Option<PathBuf>)> {
    let path = std::env::temp_dir().join(format!("sayback-{}.log", std::process::id()));
    // A new file only: a name that is there already may be anybody's.
    match OpenOptions::new().append(true).create_new(true).open(&path) {
        Ok(file) => Some((file, Some(path))),
        Err(_) => OpenOptions::new()
            .write(true)
            .open("/dev/null")
            .ok()
            .map(|file| (file, None)),
    }
}

/// Sends standard error to the log, so that what a library prints does not land on the picture.
fn turn_stderr_aside(log: &File) {
    let Ok(before) = io::stderr().as_fd().try_clone_to_owned() else {
        return;
    };
    if rustix::stdio::dup2_stderr(log.as_fd()).is_ok() {
        *STDERR.lock().unwrap_or_else(PoisonError::into_inner) = Some(before);
    }
}

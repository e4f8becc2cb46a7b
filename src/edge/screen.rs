//! The screen: one question in very large print.
//!
//! [`draw`] is pure. [`Screen`] owns the terminal from [`Screen::enter`] until it
//! is dropped, and standard error with it, so that nothing a library prints
//! lands on the picture.

mod layout;
mod letters;
mod meter;
mod paint;
mod terminal;

pub use self::layout::draw;
pub use self::letters::{Print, ascii, print_of};
pub use self::meter::Meter;
pub use self::terminal::Screen;

use crate::core::Mark;

/// What this terminal can show and what its user wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Colour as an ornament. Every state has its word as well.
    pub colour: bool,
    /// Bold and reverse only.
    pub contrast: bool,
    /// Letters beyond ASCII can be shown.
    pub unicode: bool,
    /// Half and quarter blocks can be shown: not on the Linux console.
    pub half_blocks: bool,
}

impl Look {
    /// As the environment says: `NO_COLOR`, `LC_ALL`, `LC_CTYPE`, `LANG`, `TERM`.
    #[must_use]
    pub fn of_environment(contrast: bool) -> Self {
        Self::from_variables(contrast, |name| std::env::var(name).ok())
    }

    /// The same from any source of variables. An empty variable counts as not set.
    pub fn from_variables(contrast: bool, variable: impl Fn(&str) -> Option<String>) -> Self {
        let set = |name: &str| variable(name).filter(|value| !value.is_empty());
        // The first that is set decides (POSIX, Base Definitions, 8.2).
        let locale = set("LC_ALL")
            .or_else(|| set("LC_CTYPE"))
            .or_else(|| set("LANG"))
            .unwrap_or_default();
        let locale = locale.to_ascii_lowercase();
        let unicode = locale.contains("utf-8") || locale.contains("utf8");
        let is_console = set("TERM").is_some_and(|term| term == "linux");
        Self {
            colour: !contrast && set("NO_COLOR").is_none(),
            contrast,
            unicode,
            half_blocks: unicode && !is_console,
        }
    }
}

/// The word of a mark, so that colour is never alone.
#[must_use]
pub fn mark_word(mark: Mark) -> Option<&'static str> {
    match mark {
        Mark::Plain => None,
        Mark::Good => Some("GOOD"),
        Mark::Watch => Some("WATCH"),
        Mark::Bad => Some("BAD"),
    }
}

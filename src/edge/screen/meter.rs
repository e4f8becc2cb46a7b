//! How loud the microphone is: a bar of figures' signs and a word, so that neither
//! colour nor a fine font is needed.
//!
//! State: [`Meter`], which the screen owns: the loudest of late, and how long it
//! was too loud.

use crate::drive::Level;

/// Cells of the bar; each is [`CELL_DB`] decibels.
const CELLS: usize = 5;

/// What one cell stands for, decibels.
const CELL_DB: f32 = 10.0;

/// What the first cell begins at, decibels below full scale: a quiet room is below it.
const LEAST_DB: f32 = -60.0;

/// Speech that is weaker than this at the microphone is called quiet, decibels below full scale:
/// from there on the noise of a plain microphone is near (from memory; the microphone check measures it).
const QUIET_DB: f32 = -45.0;

/// Tenths of a second that "TOO LOUD" stays: long enough to be read with a glance.
const SHOWN: u8 = 15;

/// What is shown falls by this a tenth of a second, decibels, so that the eye can follow.
const FALL_DB: f32 = 2.0;

/// The level as it is shown.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Meter {
    /// The loudest of late; none before the first sound.
    peak_db: Option<f32>,
    too_loud: u8,
}

impl Meter {
    /// Takes in the next tenth of a second; true if it looks different now.
    pub fn take(&mut self, level: Level) -> bool {
        let before = self.text();
        let fallen = self.peak_db.map_or(level.db, |peak| peak - FALL_DB);
        self.peak_db = Some(fallen.max(level.db));
        self.too_loud = if level.clipping {
            SHOWN
        } else {
            self.too_loud.saturating_sub(1)
        };
        self.text() != before
    }

    /// What is said of the ear, with the bar and the word where the microphone is heard.
    #[must_use]
    pub fn beside(&self, ear: &str) -> String {
        let Some((bar, word)) = self.text() else {
            return ear.to_owned();
        };
        let (first, rest) = ear.split_once(',').unwrap_or((ear, ""));
        if !first.ends_with("OPEN") {
            // Closed, paused or lost: a moving bar would say that it listens.
            return ear.to_owned();
        }
        // "TOO LOUD" has to stand on the smallest screen too, before the rest.
        let first = if self.too_loud > 0 {
            format!("{first} {bar} {word}")
        } else {
            format!("{first} {bar}, {word}")
        };
        if rest.is_empty() {
            first
        } else {
            format!("{first},{rest}")
        }
    }

    fn text(&self) -> Option<(String, &'static str)> {
        let db = self.peak_db?;
        let full = (0..CELLS)
            .filter(|cell| db >= LEAST_DB + CELL_DB * (*cell as f32))
            .count();
        let bar = format!("[{}{}]", "#".repeat(full), "-".repeat(CELLS - full));
        let word = if self.too_loud > 0 {
            "TOO LOUD"
        } else if db < QUIET_DB {
            "quiet"
        } else {
            "good"
        };
        Some((bar, word))
    }
}

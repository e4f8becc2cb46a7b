//! The pure core: `step` decides, `run::Saved::apply` remembers, `view` shows.
//!
//! Nothing here reads a clock, a file or a device; time comes with each event,
//! and everything to be done in the world goes out as an [`Effect`]. The core
//! cannot fail on input: what it does not understand it says.

pub mod answer;
mod answering;
pub mod finding;
mod going;
pub mod keypad;
pub mod question;
pub mod record;
mod relaying;
pub mod run;
pub mod step;
pub mod view;
mod writing;

use std::collections::VecDeque;
use std::sync::Arc;

use rust_decimal::Decimal;

use self::record::{Body, Clip, Cursor, How, Record, Value, Wall};
use self::run::Saved;
pub use self::step::{deadline, step};
pub use self::view::{View, view};
use crate::job::Job;
use crate::spoken::{CommandSet, Slot};

/// When something happened: a monotonic clock for deadlines, the wall clock as a label.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Milliseconds on a clock that never goes back; its zero is arbitrary.
    pub mono_ms: u64,
    /// Wall time.
    pub wall: Wall,
}

/// Everything that can happen to a run: a closed set.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// The run starts or is opened again: ask the first question.
    Begin,
    /// A key, already mapped to what it means on the keypad.
    Key(Key),
    /// A key from a line of text, not from a finger: it cannot bounce.
    Typed(Key),
    /// A whole line of text, to be taken as one answer or not at all: no sign of it is left out.
    Line(String),
    /// The ear heard words, for the question with this number.
    Heard {
        /// The words, in lower case; empty if nothing was understood.
        words: String,
        /// Number of the question ([`Effect::Listen`]) that was open.
        listen: u64,
        /// Sound of the utterance.
        clip: Option<Clip>,
        /// True if sound was lost in the middle: the words are not to be trusted.
        damaged: bool,
        /// How loud its loudest tenth of a second was, decibels below full scale, where that is known.
        level_db: Option<f32>,
    },
    /// The record that was to be appended is on the disk.
    Saved,
    /// It is not.
    NotSaved {
        /// What went wrong and what to do.
        why: String,
        /// True if the same journal can still take records once the cause is gone.
        again: bool,
    },
    /// The microphone or the ear is not there.
    EarLost {
        /// What happened and what to do.
        why: String,
    },
    /// The ear is ready.
    EarBack,
    /// A deadline came.
    Tick,
    /// The terminal or the system asks the program to end.
    Hangup {
        /// Exit code.
        code: u8,
    },
}

/// A key by what it means; which physical key it is, the edge knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// 0 to 9.
    Digit(u8),
    /// The decimal key, `.` or `,`.
    Point,
    /// Yes, done, next, keep.
    Enter,
    /// Say again; in letters and units: change over.
    Plus,
    /// Minus at the start of a number; otherwise no.
    Minus,
    /// Put right: clear what is typed, or correct the last value.
    Star,
    /// Pause and menu.
    Slash,
    /// Erase one.
    Erase,
    /// Stop.
    Stop,
    /// Opens the microphone, or closes it: pressed, never held.
    Talk,
    /// A letter of a full keyboard.
    Letter(char),
}

/// What is to be done in the world.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Write this record; answer with [`Event::Saved`] or [`Event::NotSaved`].
    Append(Box<Record>),
    /// Say this aloud, instead of whatever is being said.
    Say(String),
    /// Stop speaking at once.
    Hush,
    /// Speak slower from now on.
    Slower,
    /// Speak louder from now on.
    Louder,
    /// Listen for what can answer this, and give back the number with what was heard.
    Listen {
        /// What may answer.
        slot: Slot,
        /// Which commands are live.
        commands: CommandSet,
        /// Number of this question.
        listen: u64,
    },
    /// The microphone was closed: what was said so far is an utterance, and nothing is
    /// listened for until the next [`Effect::Listen`].
    CloseEar,
    /// End the program with this exit code.
    Quit(u8),
}

/// A run: the job, what is saved, and what is not.
#[derive(Clone, Debug)]
pub struct Run {
    /// The job. Never changes.
    pub job: Arc<Job>,
    /// What is in the journal. Only `apply` changes it.
    pub saved: Saved,
    /// What would be lost by a crash: only `step` changes it.
    pub live: Live,
}

impl Run {
    /// A run that goes on from these saved facts.
    #[must_use]
    pub fn new(job: Arc<Job>, saved: Saved) -> Self {
        Self {
            job,
            saved,
            live: Live::default(),
        }
    }

    /// The same, begun where another run ended without a break: ear and microphone stay as they
    /// are, and what was said or bounced for that one is not taken for this.
    #[must_use]
    pub fn after(mut self, before: &Live) -> Self {
        self.live.ear = before.ear.clone();
        self.live.microphone = before.microphone;
        self.live.listen = before.listen;
        self.live.last_key = before.last_key;
        self
    }
}

/// The part of a run that is not saved.
#[derive(Clone, Debug, Default)]
pub struct Live {
    /// What is going on.
    pub phase: Phase,
    /// What has been typed and not yet kept.
    pub typed: String,
    /// Spelling on a numeric keypad: letters by their place in the alphabet.
    pub letters: bool,
    /// The last thing said.
    pub message: Message,
    /// Number of the question that the ear listens for.
    pub listen: u64,
    /// A value outside the plausible range that was given once, and the question it was given to.
    pub odd: Option<(Cursor, Decimal)>,
    /// Answer that is being corrected; the question is that of the answer.
    pub correcting: Option<u64>,
    /// Record that is being written.
    pub pending: Option<Record>,
    /// What is still to be written after it.
    pub queue: VecDeque<Body>,
    /// Last key that can bounce, and when.
    pub last_key: Option<(Key, u64)>,
    /// State of the ear.
    pub ear: EarState,
    /// When it listens.
    pub microphone: Microphone,
    /// Text of the last value kept, for the screen.
    pub last_kept: Option<String>,
    /// Verdict of the finding that is being told.
    pub last_finding: Option<String>,
    /// Time of the last event.
    pub now_ms: u64,
}

/// What is going on.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Phase {
    /// Nothing yet.
    #[default]
    Idle,
    /// A question is open.
    Asking,
    /// A value was read back; yes keeps it.
    Confirming(Candidate),
    /// A record is being written.
    Saving,
    /// A finding that needs attention was told; next goes on.
    Telling,
    /// A reason is wanted from a closed list.
    Reason(ReasonFor),
    /// The menu is open.
    Menu,
    /// The list of what a meter can show instead of a number is open.
    Statuses,
    /// A remark is being said or typed.
    Noting,
    /// Who relays the readings is asked, or was read back and waits for its yes.
    Relaying(Option<Relay>),
    /// A hold is being counted down.
    Holding {
        /// End of the hold.
        until_ms: u64,
        /// Length of the hold.
        seconds: Decimal,
    },
    /// Standing by.
    Paused,
    /// A stop word or the stop key.
    Stopped,
    /// A record could not be written.
    NotSaved {
        /// True if it can be tried again here.
        again: bool,
    },
    /// Asked whether to end the job here.
    Leaving,
    /// Closed, or left.
    Done,
}

/// A value that was read back and is not kept yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// The value.
    pub value: Value,
    /// Outside the plausible range, given twice.
    pub out_of_range: bool,
    /// How it came in, with the doubt if there is one.
    pub how: How,
    /// As shown.
    pub shown: String,
    /// As read back.
    pub said: String,
    /// How loud it was said, decibels below full scale; None where it was typed, or is not known.
    pub level_db: Option<f32>,
    /// Speech that was no answer was heard since it was read back: somebody else may be talking.
    pub talk_heard: bool,
}

/// Who relays the readings, read back and not kept yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Relay {
    /// The letters and figures that were spelled; None is nobody.
    pub by: Option<String>,
    /// How it came in.
    pub how: How,
}

/// What a reason is wanted for.
#[derive(Clone, Debug, PartialEq)]
pub enum ReasonFor {
    /// Passing over the step.
    Skip {
        /// It cannot be done.
        unable: bool,
    },
    /// A correction.
    Correction(Box<Candidate>),
    /// Ending the job before its last step.
    End,
}

/// The last thing said, and what kind of thing it is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Message {
    /// Mark, as a word.
    pub mark: Mark,
    /// The sentence.
    pub text: String,
}

/// Kind of a message: shown as a word, so that colour is never alone.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Mark {
    /// Nothing special.
    #[default]
    Plain,
    /// Kept or good.
    Good,
    /// Worth a look.
    Watch,
    /// Bad or refused.
    Bad,
}

/// When the ear listens, always shown. The talk key changes it, and nothing else.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Microphone {
    /// Push-to-talk: it begins closed, and each answer begins with the key.
    pub push_to_talk: bool,
    /// Closed by the talk key: nothing is heard, not even a stop word.
    pub closed: bool,
    /// Nobody else talks near it, or so the person says: *yes* keeps what was read back, and *done*
    /// ends an instruction. Otherwise only *affirm* does, since anybody says *yes* and *done*.
    pub alone: bool,
}

/// State of the ear, always shown.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum EarState {
    /// This run has no ear: keypad only.
    #[default]
    None,
    /// Being made ready.
    Loading,
    /// Listening.
    Open,
    /// Not there.
    Lost(String),
}

impl Wall {
    /// The calendar month, local, as `YYYY-MM`.
    #[must_use]
    pub fn month(self) -> String {
        self.civil().strftime("%Y-%m").to_string()
    }

    /// Local date and time with its offset from UTC, as RFC 3339.
    #[must_use]
    pub fn rfc3339(self) -> String {
        let sign = if self.offset_min < 0 { '-' } else { '+' };
        let minutes = self.offset_min.unsigned_abs();
        format!(
            "{}{sign}{:02}:{:02}",
            self.civil().strftime("%Y-%m-%dT%H:%M:%S"),
            minutes / 60,
            minutes % 60
        )
    }

    /// The local date, as `YYYY-MM-DD`.
    #[must_use]
    pub fn day(self) -> String {
        self.civil().strftime("%Y-%m-%d").to_string()
    }

    /// Local date and time to the minute, as `YYYY-MM-DD HH:MM`.
    #[must_use]
    pub fn minute(self) -> String {
        self.civil().strftime("%Y-%m-%d %H:%M").to_string()
    }

    fn civil(self) -> jiff::civil::DateTime {
        // A clock outside the years -9999 to 9999 shows as 1970: the label is wrong then, the order is not.
        let local = self
            .utc_ms
            .saturating_add(i64::from(self.offset_min) * 60_000);
        let stamp = jiff::Timestamp::from_millisecond(local).unwrap_or(jiff::Timestamp::UNIX_EPOCH);
        jiff::tz::TimeZone::UTC.to_datetime(stamp)
    }
}

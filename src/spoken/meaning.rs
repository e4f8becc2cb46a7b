//! What a phrase comes to: a decision, and what it means.

use rust_decimal::Decimal;
use serde::{Serialize, Serializer, ser::SerializeStruct};

use super::unit::Unit;

/// What is to be done with a phrase.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "UPPERCASE")]
pub enum Expect {
    /// One value, read back as a statement.
    Value,
    /// One value with a doubt: asked, and kept only after an explicit yes.
    Confirm,
    /// More than one value fits: say digits.
    Ambiguous,
    /// No value: ask again.
    Reject,
    /// What stands instead of a number.
    Status,
    /// A command.
    Command,
}

/// A decision about a phrase.
#[derive(Clone, Debug, PartialEq)]
pub struct Decision {
    /// What is to be done.
    pub expect: Expect,
    /// What it means, for a value, a confirm, a status and a command.
    pub meaning: Option<Meaning>,
    /// What it could mean.
    pub candidates: Vec<String>,
    /// Unit of the value, if it has one.
    pub unit: Option<Unit>,
    /// Why.
    pub why: String,
    /// What is said: one sentence.
    pub ask: String,
    /// The one number understood, if it lies outside the slot: given twice and affirmed it may be kept, flagged.
    pub outside: Option<Decimal>,
}

impl Decision {
    /// The value as text: 4.02, YES, OL, GT 200, MOV104A; empty if there is none.
    #[must_use]
    pub fn value_text(&self) -> String {
        match &self.meaning {
            None => String::new(),
            Some(Meaning::Number(number)) => number.to_string(),
            Some(Meaning::Status(status)) => status.code(),
            Some(Meaning::Command(command)) => command.code().to_owned(),
            Some(Meaning::Tag(text) | Meaning::Choice(text)) => text.clone(),
        }
    }
}

impl Serialize for Decision {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut out = serializer.serialize_struct("Decision", 6)?;
        out.serialize_field("expect", &self.expect)?;
        out.serialize_field("value", &self.value_text())?;
        out.serialize_field("unit", self.unit.map_or("", |unit| unit.id()))?;
        out.serialize_field("candidates", &self.candidates)?;
        out.serialize_field("why", &self.why)?;
        out.serialize_field("ask", &self.ask)?;
        out.end()
    }
}

/// What a phrase means.
#[derive(Clone, Debug, PartialEq)]
pub enum Meaning {
    /// A number in the slot's unit; its scale is that of the digits said.
    Number(Decimal),
    /// What stands instead of a number.
    Status(Status),
    /// A command.
    Command(Command),
    /// Spelled text.
    Tag(String),
    /// Id of an option.
    Choice(String),
}

/// What stands instead of a number.
#[derive(Clone, Debug, PartialEq)]
pub enum Status {
    /// The display shows over limit.
    Ol,
    /// No continuity.
    Open,
    /// No number on the display.
    NoReading,
    /// Near zero.
    Short,
    /// It jumps or drifts.
    Unstable,
    /// There is no such reading here.
    NotApplicable,
    /// It cannot be reached.
    Unable,
    /// More than this, in the slot's unit.
    GreaterThan(Decimal),
    /// Less than this, in the slot's unit.
    LessThan(Decimal),
    /// Position open.
    PosOpen,
    /// Position closed.
    PosClosed,
    /// Mid travel.
    PosMid,
}

impl Status {
    /// Its code, as stored.
    #[must_use]
    pub fn code(&self) -> String {
        match self {
            Self::Ol => "OL",
            Self::Open => "OPEN",
            Self::NoReading => "NO_READING",
            Self::Short => "SHORT",
            Self::Unstable => "UNSTABLE",
            Self::NotApplicable => "NOT_APPLICABLE",
            Self::Unable => "UNABLE",
            Self::GreaterThan(bound) => return format!("GT {bound}"),
            Self::LessThan(bound) => return format!("LT {bound}"),
            Self::PosOpen => "POS_OPEN",
            Self::PosClosed => "POS_CLOSED",
            Self::PosMid => "POS_MID",
        }
        .to_owned()
    }

    pub(super) fn from_code(code: &str) -> Option<Self> {
        Some(match code {
            "OL" => Self::Ol,
            "OPEN" => Self::Open,
            "NO_READING" => Self::NoReading,
            "SHORT" => Self::Short,
            "UNSTABLE" => Self::Unstable,
            "NOT_APPLICABLE" => Self::NotApplicable,
            "UNABLE" => Self::Unable,
            "POS_OPEN" => Self::PosOpen,
            "POS_CLOSED" => Self::PosClosed,
            "POS_MID" => Self::PosMid,
            _ => return None,
        })
    }
}

macro_rules! commands {
    ($($name:ident $code:literal $about:literal,)*) => {
        /// A command, always a whole utterance.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Command {
            $(#[doc = $about] $name,)*
        }

        impl Command {
            /// Its code.
            #[must_use]
            pub fn code(self) -> &'static str {
                match self { $(Self::$name => $code,)* }
            }

            pub(super) fn from_code(code: &str) -> Option<Self> {
                match code { $($code => Some(Self::$name),)* _ => None }
            }
        }
    };
}

commands! {
    Yes "YES" "Yes, keep it.",
    No "NO" "No.",
    Ack "ACK" "Received; never a yes.",
    AckWillDo "ACK_WILL_DO" "Received and will be done; never a yes.",
    RepeatPrompt "REPEAT_PROMPT" "Say the question again.",
    RepeatLastValue "REPEAT_LAST_VALUE" "Say the last value again.",
    ReadBack "READ_BACK" "Read back what was kept.",
    Pause "PAUSE" "Stand by.",
    PauseLong "PAUSE_LONG" "Stand by for longer.",
    Resume "RESUME" "Go ahead.",
    Back "BACK" "Go back a step.",
    Disregard "DISREGARD" "Drop what was just said.",
    Correction "CORRECTION" "The last value was wrong.",
    Undo "UNDO" "Take the last answer back.",
    Stop "STOP" "Stop.",
    Help "HELP" "Where one is and what can be said.",
    Status "STATUS" "Where one is.",
    RadioCheck "RADIO_CHECK" "Is anybody listening.",
    EndOfTurn "END_OF_TURN" "Nothing more follows.",
    Note "NOTE" "A remark follows.",
    Slower "SLOWER" "Speak slower.",
    Faster "FASTER" "Speak faster.",
    Louder "LOUDER" "Speak louder.",
    Quieter "QUIETER" "Speak less loud.",
    Skip "SKIP" "Pass over this step.",
    Next "NEXT" "Done; go on.",
    Unable "UNABLE" "It cannot be done.",
    WordsTwice "WORDS_TWICE" "Say or hear everything twice.",
}

//! What a phrase was taken to mean. No state.

use std::fmt;

use rust_decimal::Decimal;
use serde::ser::SerializeMap;
use serde::{Deserialize, Serialize, Serializer};

use super::unit::Unit;

/// What is to be done with a phrase.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "UPPERCASE")]
pub enum Expect {
    /// Understood: read back, kept after a yes.
    Value,
    /// Understood with a doubt that the question names: kept only after a yes.
    Confirm,
    /// More than one meaning: asked again, nothing to say yes to.
    Ambiguous,
    /// No answer to this question: asked again.
    Reject,
    /// An answer that is no number.
    Status,
    /// Steers the program.
    Command,
}

impl Expect {
    /// The upper-case word of tables and records.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Expect::Value => "VALUE",
            Expect::Confirm => "CONFIRM",
            Expect::Ambiguous => "AMBIGUOUS",
            Expect::Reject => "REJECT",
            Expect::Status => "STATUS",
            Expect::Command => "COMMAND",
        }
    }
}

impl fmt::Display for Expect {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.code())
    }
}

/// What was meant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Meaning {
    /// A number in the slot's unit, with the decimals that were said.
    Number(Decimal),
    /// An answer that is no number.
    Status(Status),
    /// A command.
    Command(Command),
    /// A tag, upper case.
    Tag(String),
    /// The id of an option of a closed list.
    Choice(String),
}

impl Meaning {
    /// The meaning as one text, as tables have it: `4.02`, `OL`, `GT 200`, `YES`, `FV-201B`.
    #[must_use]
    pub fn text(&self) -> String {
        match self {
            Meaning::Number(value) => value.to_string(),
            Meaning::Status(status) => status.code(),
            Meaning::Command(command) => command.code(),
            Meaning::Tag(text) | Meaning::Choice(text) => text.clone(),
        }
    }
}

/// Answers that are no number. Never turned into one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Status {
    /// Over limit: the display shows that the value is above its range.
    Ol,
    /// Open circuit.
    Open,
    /// The display shows no value.
    NoReading,
    /// Short circuit.
    Short,
    /// The value does not settle.
    Unstable,
    /// The question does not apply here.
    NotApplicable,
    /// It cannot be done or reached.
    Unable,
    /// Greater than this value, in the slot's unit.
    GreaterThan(Decimal),
    /// Less than this value, in the slot's unit.
    LessThan(Decimal),
    /// The valve is open.
    PosOpen,
    /// The valve is closed.
    PosClosed,
    /// The valve is at mid travel.
    PosMid,
}

const STATUSES: [(&str, Status); 10] = [
    ("OL", Status::Ol),
    ("OPEN", Status::Open),
    ("NO_READING", Status::NoReading),
    ("SHORT", Status::Short),
    ("UNSTABLE", Status::Unstable),
    ("NOT_APPLICABLE", Status::NotApplicable),
    ("UNABLE", Status::Unable),
    ("POS_OPEN", Status::PosOpen),
    ("POS_CLOSED", Status::PosClosed),
    ("POS_MID", Status::PosMid),
];

impl Status {
    /// The words that say it, numbers in figures.
    #[must_use]
    pub fn said(&self) -> String {
        match self {
            Status::Ol => "over limit".to_owned(),
            Status::Open => "open circuit".to_owned(),
            Status::NoReading => "no reading".to_owned(),
            Status::Short => "short circuit".to_owned(),
            Status::Unstable => "not stable".to_owned(),
            Status::NotApplicable => "not applicable".to_owned(),
            Status::Unable => "unable to do it".to_owned(),
            Status::PosOpen => "open".to_owned(),
            Status::PosClosed => "closed".to_owned(),
            Status::PosMid => "mid travel".to_owned(),
            Status::GreaterThan(value) => format!("greater than {value}"),
            Status::LessThan(value) => format!("less than {value}"),
        }
    }

    /// The upper-case code of tables and records; `GT 200` keeps its number.
    #[must_use]
    pub fn code(&self) -> String {
        match self {
            Status::GreaterThan(value) => format!("GT {value}"),
            Status::LessThan(value) => format!("LT {value}"),
            plain => STATUSES
                .iter()
                .find(|(_, one)| one == plain)
                .map_or("", |(code, _)| code)
                .to_owned(),
        }
    }

    /// The status of a code, or None.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        if let Some((_, status)) = STATUSES.iter().find(|(one, _)| *one == code) {
            return Some(status.clone());
        }
        let (sign, number) = code.split_once(' ')?;
        let value = Decimal::from_str_exact(number).ok()?;
        match sign {
            "GT" => Some(Status::GreaterThan(value)),
            "LT" => Some(Status::LessThan(value)),
            _ => None,
        }
    }

    /// The same with numbers in words, digit by digit.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Status::GreaterThan(value) => format!(
                "greater than {}",
                super::readback::digit_words(value).join(" ")
            ),
            Status::LessThan(value) => format!(
                "less than {}",
                super::readback::digit_words(value).join(" ")
            ),
            plain => plain.said(),
        }
    }
}

macro_rules! commands {
    ($($(#[$doc:meta])* $name:ident = $code:literal,)*) => {
        /// What steers the program, always live.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum Command { $($(#[$doc])* $name,)* }

        impl Command {
            /// Every command.
            pub const ALL: &'static [Command] = &[$(Command::$name,)*];

            /// The upper-case code of tables and records.
            #[must_use]
            pub fn code(&self) -> String {
                match self { $(Command::$name => $code,)* }.to_owned()
            }
        }
    };
}

commands! {
    /// Yes: affirm.
    Yes = "YES",
    /// No: negative.
    No = "NO",
    /// Received, nothing more. Never a yes.
    Ack = "ACK",
    /// Received and will be done. Never a yes.
    AckWillDo = "ACK_WILL_DO",
    /// Ask the question again.
    RepeatPrompt = "REPEAT_PROMPT",
    /// Say the last value again.
    RepeatLastValue = "REPEAT_LAST_VALUE",
    /// Read back what was understood.
    ReadBack = "READ_BACK",
    /// Stop listening for a short while.
    Pause = "PAUSE",
    /// Stop listening until called back.
    PauseLong = "PAUSE_LONG",
    /// Go on after a pause.
    Resume = "RESUME",
    /// To the question before.
    Back = "BACK",
    /// Treat what was just said as not said.
    Disregard = "DISREGARD",
    /// Drop the last value and wait for the right one.
    Correction = "CORRECTION",
    /// Take the last step back.
    Undo = "UNDO",
    /// Stop prompting at once. It cannot stop the actuator.
    Stop = "STOP",
    /// What can be said here.
    Help = "HELP",
    /// Where the job stands.
    Status = "STATUS",
    /// Whether speech is heard.
    RadioCheck = "RADIO_CHECK",
    /// End of what was said.
    EndOfTurn = "END_OF_TURN",
    /// Free speech follows.
    Note = "NOTE",
    /// Another person relays the readings from here on, or nobody does.
    Relay = "RELAY",
    /// Speak slower.
    Slower = "SLOWER",
    /// Speak louder.
    Louder = "LOUDER",
    /// Leave this step out; a reason is asked for.
    Skip = "SKIP",
    /// On to the next step.
    Next = "NEXT",
    /// It cannot be done; a reason is asked for.
    Unable = "UNABLE",
    /// Say every phrase twice.
    WordsTwice = "WORDS_TWICE",
}

impl Command {
    /// The command of a code, or None.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        Command::ALL
            .iter()
            .copied()
            .find(|command| command.code() == code)
    }
}

/// What a phrase was taken to mean for one slot, and what to say about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Decision {
    /// What is to be done with it.
    pub expect: Expect,
    /// What was meant, where there is one meaning.
    pub meaning: Option<Meaning>,
    /// Everything it may have meant, in words of the trade.
    pub candidates: Vec<String>,
    /// The unit of the value or of what is asked.
    pub unit: Option<Unit>,
    /// Why it was decided so.
    pub why: String,
    /// The one sentence to say.
    pub ask: String,
    /// The one number understood that lies outside the slot: said twice and affirmed,
    /// it may be kept with a flag.
    pub outside: Option<Decimal>,
}

impl Decision {
    /// The meaning as a table has it; empty where there is none.
    #[must_use]
    pub fn value(&self) -> String {
        self.meaning
            .as_ref()
            .map_or_else(String::new, Meaning::text)
    }

    /// The unit's id; empty where there is none.
    #[must_use]
    pub fn unit_id(&self) -> &'static str {
        self.unit.as_ref().map_or("", Unit::id)
    }
}

impl Serialize for Decision {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut map = to.serialize_map(Some(6))?;
        map.serialize_entry("expect", &self.expect)?;
        map.serialize_entry("value", &self.value())?;
        map.serialize_entry("unit", self.unit_id())?;
        map.serialize_entry("candidates", &self.candidates)?;
        map.serialize_entry("why", &self.why)?;
        map.serialize_entry("ask", &self.ask)?;
        map.end()
    }
}

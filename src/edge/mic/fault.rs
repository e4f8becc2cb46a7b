//! What the system can report about a microphone, in words. No state.

use std::fmt;

use cpal::ErrorKind;

/// What the system can report about a microphone: a place in [`FAULTS`].
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Fault(u8);

/// What a fault does to the stream.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Harm {
    None,
    LosesSound,
    EndsStream,
}

/// Each kind of error of cpal 0.18.2: what it does, what happened, what to do.
const FAULTS: [(ErrorKind, Harm, &str, &str); 15] = [
    (
        ErrorKind::Other,
        Harm::EndsStream,
        "it failed for a reason that the system does not name",
        "Plug it in again, or choose another microphone.",
    ),
    (
        ErrorKind::DeviceBusy,
        Harm::EndsStream,
        "another program is using it",
        "Close that program; Sayback keeps trying.",
    ),
    (
        ErrorKind::DeviceChanged,
        Harm::LosesSound,
        "the system has put another device in its place",
        "Check that the microphone in use is the one you speak into.",
    ),
    (
        ErrorKind::DeviceNotAvailable,
        Harm::EndsStream,
        "it is not there",
        "Plug it in; Sayback keeps trying.",
    ),
    (
        ErrorKind::HostUnavailable,
        Harm::EndsStream,
        "the sound system is not running",
        "Start the sound system of this machine; Sayback keeps trying.",
    ),
    (
        ErrorKind::InvalidInput,
        Harm::EndsStream,
        "the sound system does not accept its name or settings",
        "Choose it again from the list of microphones.",
    ),
    (
        ErrorKind::PermissionDenied,
        Harm::EndsStream,
        "this user may not record from it",
        "Allow the microphone for this program; on Linux put the user into the group \"audio\".",
    ),
    (
        ErrorKind::RealtimeDenied,
        Harm::None,
        "the system gives recording no priority",
        "Nothing to do unless sound is lost often.",
    ),
    (
        ErrorKind::ResourceExhausted,
        Harm::EndsStream,
        "the system has no memory or threads left for recording",
        "Close other programs; Sayback keeps trying.",
    ),
    (
        ErrorKind::StreamInvalidated,
        Harm::EndsStream,
        "its settings were changed while it was in use",
        "Nothing to do; Sayback opens it again.",
    ),
    (
        ErrorKind::UnsupportedConfig,
        Harm::EndsStream,
        "it does not record in the format that it offered",
        "Choose the \"plughw\" or \"default\" form of the device, which converts.",
    ),
    (
        ErrorKind::UnsupportedOperation,
        Harm::EndsStream,
        "it cannot record",
        "Choose a microphone; this may be a loudspeaker.",
    ),
    (
        ErrorKind::Xrun,
        Harm::LosesSound,
        "the machine was too busy and lost some of the sound",
        "Say it again; close other programs if this comes back.",
    ),
    (
        ErrorKind::BackendError,
        Harm::EndsStream,
        "the sound system reports a failure; the microphone may have been unplugged",
        "Check its plug; Sayback keeps trying.",
    ),
    (
        // A place for what a later cpal may add; never looked up by its kind.
        ErrorKind::Other,
        Harm::EndsStream,
        "it failed in a way that this version does not know",
        "Plug it in again, or choose another microphone.",
    ),
];

impl Fault {
    const UNKNOWN: usize = FAULTS.len() - 1;

    /// Its number, from 1.
    #[must_use]
    pub fn code(self) -> u8 {
        self.0 + 1
    }

    /// The fault of a number; none for 0 and for what is no number of one.
    #[must_use]
    pub fn from_code(code: u8) -> Option<Self> {
        let place = code.checked_sub(1)?;
        (usize::from(place) < FAULTS.len()).then_some(Self(place))
    }

    /// What happened, to follow the device's name.
    #[must_use]
    pub fn happened(self) -> &'static str {
        self.row().2
    }

    /// What to do about it.
    #[must_use]
    pub fn remedy(self) -> &'static str {
        self.row().3
    }

    /// Whether no more sound comes after it.
    #[must_use]
    pub fn ends_stream(self) -> bool {
        self.row().1 == Harm::EndsStream
    }

    /// Whether some sound was lost, but more comes.
    #[must_use]
    pub fn loses_sound(self) -> bool {
        self.row().1 == Harm::LosesSound
    }

    fn row(self) -> &'static (ErrorKind, Harm, &'static str, &'static str) {
        &FAULTS[usize::from(self.0)]
    }
}

impl fmt::Debug for Fault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "Fault({:?})", self.row().0)
    }
}

impl From<ErrorKind> for Fault {
    fn from(kind: ErrorKind) -> Self {
        let place = FAULTS
            .iter()
            .position(|row| row.0 == kind)
            .unwrap_or(Self::UNKNOWN);
        // The table has far fewer than 255 rows.
        Self(u8::try_from(place).unwrap_or(0))
    }
}

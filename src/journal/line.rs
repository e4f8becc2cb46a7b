//! One record as one line of text, and back. Pure.
//!
//! ```text
//! 1f8a03c2 152 3 {"prev":"<64 hex digits>","record":{…}}
//! └ crc    │   │ └ the record, and the hash of the line before it
//!          │   └ seq: 0, 1, 2, … without gaps
//!          └ how many bytes stand between it and the newline
//! ```
//!
//! The CRC-32 (ISO-HDLC, as in zlib) is taken over what `length` counts: seq, a
//! space, and the JSON. Line 0 also says the format: `{"format":1,"prev":…`.
//! There is exactly one way to write a line, so a changed byte cannot hide in a
//! spelling that means the same.

use std::fmt;

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// The journal format that this program writes, and the newest it reads. It counts
/// up whenever the form of a line or the meaning of a record changes.
pub const FORMAT: u32 = 1;

/// The longest line, its newline counted: 1 MiB.
pub const LONGEST_LINE: usize = 1 << 20;

/// The place of a record in its journal: 0, 1, 2, … without gaps.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Seq(pub u64);

impl Seq {
    pub(super) fn next(self) -> Self {
        Self(self.0 + 1)
    }
}

impl fmt::Display for Seq {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(formatter)
    }
}

/// The BLAKE3 hash of a whole line, newline counted. Each line carries the hash of
/// the line before it, so this one value stands for everything up to its line.
///
/// It shows *that* something was changed, to whoever kept the value elsewhere (on
/// the printed record). Anyone can compute it: it proves nothing about *who*
/// wrote the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChainHash(blake3::Hash);

impl ChainHash {
    pub(super) fn of(line: &[u8]) -> Self {
        Self(blake3::hash(line))
    }

    /// What the first line carries, having none before it: the hash of nothing.
    pub(super) fn before_the_first() -> Self {
        Self::of(b"")
    }
}

/// 64 lower-case hex digits.
impl fmt::Display for ChainHash {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.0.to_hex())
    }
}

/// Why a text is not a [`ChainHash`].
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("a hash has 64 hex digits (0-9, a-f), and this is not one: {found}")]
pub struct NotAHash {
    /// The text.
    pub found: String,
}

impl std::str::FromStr for ChainHash {
    type Err = NotAHash;

    fn from_str(text: &str) -> Result<Self, NotAHash> {
        match blake3::Hash::from_hex(text) {
            Ok(hash) => Ok(Self(hash)),
            Err(_) => Err(NotAHash {
                found: text.chars().take(80).collect(),
            }),
        }
    }
}

/// A line that fits its own length and check sum, cut into its parts.
#[derive(Debug)]
pub(super) struct Line<'a> {
    pub seq: Seq,
    pub previous: ChainHash,
    /// The JSON of the record, not yet looked at.
    pub record: &'a [u8],
    pub hash: ChainHash,
}

/// What is wrong with a line taken by itself.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum LineFault {
    /// It ends without a newline.
    #[error("it has no newline at its end: its last bytes are missing or were changed")]
    NoNewline,
    /// It is longer than [`LONGEST_LINE`].
    #[error("it is longer than {LONGEST_LINE} bytes, which no line of a journal is")]
    TooLong,
    /// It does not begin with check sum and length.
    #[error("it does not begin with a check sum and a length, as each line of a journal does")]
    NoHead,
    /// Bytes were added or taken away.
    #[error("it says that it has {said} bytes after its length, and it has {found}")]
    Length {
        /// What the line says.
        said: usize,
        /// What there is.
        found: usize,
    },
    /// A byte was changed.
    #[error(
        "its check sum is {said:08x}, and the sum of its text is {found:08x}: a byte of it was changed"
    )]
    CheckSum {
        /// What the line says.
        said: u32,
        /// What its text gives.
        found: u32,
    },
    /// The check sum fits, the rest is not what Sayback writes.
    #[error("its check sum fits, but its text is not of the form that Sayback writes")]
    Form,
    /// The first line names a later format.
    #[error("it is of journal format {found}; this Sayback knows formats up to {FORMAT}")]
    LaterFormat {
        /// What the line names.
        found: u32,
    },
}

/// Writes one record, given as JSON without a newline, as its line.
pub(super) fn encode(seq: Seq, previous: ChainHash, record: &str) -> Vec<u8> {
    let format = if seq == Seq(0) {
        format!("\"format\":{FORMAT},")
    } else {
        String::new()
    };
    let text = format!("{seq} {{{format}\"prev\":\"{previous}\",\"record\":{record}}}");
    let sum = crc32fast::hash(text.as_bytes());
    format!("{sum:08x} {} {text}\n", text.len()).into_bytes()
}

impl<'a> Line<'a> {
    /// Takes a line apart. `line` ends with its newline.
    pub(super) fn parse(line: &'a [u8]) -> Result<Self, LineFault> {
        if line.len() > LONGEST_LINE {
            return Err(LineFault::TooLong);
        }
        let inner = line.strip_suffix(b"\n").ok_or(LineFault::NoNewline)?;
        let (sum, rest) = split_space(inner).ok_or(LineFault::NoHead)?;
        let (length, text) = split_space(rest).ok_or(LineFault::NoHead)?;
        let said = check_sum(sum).ok_or(LineFault::NoHead)?;
        let length: usize = decimal(length).ok_or(LineFault::NoHead)?;
        if length != text.len() {
            return Err(LineFault::Length {
                said: length,
                found: text.len(),
            });
        }
        let found = crc32fast::hash(text);
        if said != found {
            return Err(LineFault::CheckSum { said, found });
        }
        let (seq, json) = split_space(text).ok_or(LineFault::Form)?;
        let seq = Seq(decimal(seq).ok_or(LineFault::Form)?);
        let (previous, record) = if seq == Seq(0) {
            let rest = json.strip_prefix(b"{\"format\":").ok_or(LineFault::Form)?;
            let comma = rest
                .iter()
                .position(|&byte| byte == b',')
                .ok_or(LineFault::Form)?;
            let format: u32 = decimal(&rest[..comma]).ok_or(LineFault::Form)?;
            // Told before anything else of the line is looked at: a later format
            // may have changed all of it.
            if format > FORMAT {
                return Err(LineFault::LaterFormat { found: format });
            }
            if format != FORMAT {
                return Err(LineFault::Form);
            }
            split_envelope(&rest[comma + 1..])
        } else {
            json.strip_prefix(b"{").and_then(split_envelope)
        }
        .ok_or(LineFault::Form)?;
        Ok(Self {
            seq,
            previous,
            record,
            hash: ChainHash::of(line),
        })
    }
}

/// How many bytes a line has, newline counted, as far as its beginning says.
pub(super) fn said_length(beginning: &[u8]) -> Option<usize> {
    let (_, rest) = split_space(beginning)?;
    let (length, text) = split_space(rest)?;
    let head = beginning.len() - text.len();
    decimal::<usize>(length)?.checked_add(head + 1)
}

fn split_space(bytes: &[u8]) -> Option<(&[u8], &[u8])> {
    let space = bytes.iter().position(|&byte| byte == b' ')?;
    Some((&bytes[..space], &bytes[space + 1..]))
}

fn check_sum(digits: &[u8]) -> Option<u32> {
    let lower_hex = |byte: &u8| byte.is_ascii_digit() || (b'a'..=b'f').contains(byte);
    if digits.len() != 8 || !digits.iter().all(lower_hex) {
        return None;
    }
    u32::from_str_radix(std::str::from_utf8(digits).ok()?, 16).ok()
}

/// A decimal number as Sayback writes it: no sign, no leading zeros.
fn decimal<N: std::str::FromStr>(digits: &[u8]) -> Option<N> {
    let plain = digits.iter().all(u8::is_ascii_digit);
    if !plain || (digits.len() > 1 && digits[0] == b'0') {
        return None;
    }
    std::str::from_utf8(digits).ok()?.parse().ok()
}

/// `"prev":"…","record":…}` → the hash and the record.
fn split_envelope(rest: &[u8]) -> Option<(ChainHash, &[u8])> {
    let rest = rest.strip_prefix(b"\"prev\":\"")?;
    let (hex, rest) = rest.split_at_checked(64)?;
    let record = rest.strip_prefix(b"\",\"record\":")?.strip_suffix(b"}")?;
    let hex = std::str::from_utf8(hex).ok()?;
    if hex.bytes().any(|byte| byte.is_ascii_uppercase()) {
        return None;
    }
    Some((hex.parse().ok()?, record))
}

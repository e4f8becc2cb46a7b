//! Wall times as text, in UTC and in the local time of the record.

use jiff::Timestamp;
use jiff::tz::Offset;

use super::types::Time;
use crate::core::record::Wall;

/// Both times to the second, RFC 3339. A time outside the calendar's range is said to be unknown.
pub(super) fn time(wall: Wall) -> Time {
    let offset = wall
        .offset_min
        .checked_mul(60)
        .and_then(|seconds| Offset::from_seconds(seconds).ok());
    let (Ok(stamp), Some(offset)) = (Timestamp::from_millisecond(wall.utc_ms), offset) else {
        return Time {
            utc: "unknown".to_owned(),
            local: "unknown".to_owned(),
        };
    };
    Time {
        utc: stamp.strftime("%Y-%m-%dT%H:%M:%SZ").to_string(),
        local: format!(
            "{}{}",
            offset.to_datetime(stamp).strftime("%Y-%m-%dT%H:%M:%S"),
            offset_words(wall.offset_min)
        ),
    }
}

/// A moment in UTC, to the second, RFC 3339.
#[must_use]
pub fn utc(wall: Wall) -> String {
    time(wall).utc
}

fn offset_words(minutes: i32) -> String {
    let sign = if minutes < 0 { '-' } else { '+' };
    format!("{sign}{:02}:{:02}", minutes.abs() / 60, minutes.abs() % 60)
}

impl Time {
    /// Local hours and minutes.
    pub(super) fn clock(&self) -> &str {
        self.local.get(11..16).unwrap_or("--:--")
    }

    /// Local date and time, to be read.
    pub(super) fn to_read(&self) -> String {
        match (
            self.local.get(..10),
            self.local.get(11..16),
            self.local.get(19..),
        ) {
            (Some(date), Some(clock), Some(offset)) => format!("{date} {clock} ({offset})"),
            _ => self.local.clone(),
        }
    }
}

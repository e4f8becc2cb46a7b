//! The clock: the only place where the time is read.
//!
//! While a recording is played, the monotonic time is that of the recording, so
//! that a hold lasts its seconds of sound however fast it is replayed.

#![allow(
    clippy::disallowed_methods,
    reason = "this is the one place that reads the clock"
)]

use std::time::{Instant, SystemTime, UNIX_EPOCH};

use crate::core::Stamp;
use crate::core::record::Wall;

/// A clock that follows a recording, or runs by itself.
#[derive(Debug)]
pub struct Clock {
    base_ms: u64,
    since: Option<Instant>,
}

impl Clock {
    /// A clock that runs by itself from now.
    #[must_use]
    pub fn start() -> Self {
        Self {
            base_ms: 0,
            since: Some(Instant::now()),
        }
    }

    /// A clock that stands until [`Clock::follow`] moves it.
    #[must_use]
    pub fn standing() -> Self {
        Self {
            base_ms: 0,
            since: None,
        }
    }

    /// Sets the time of the recording; never back.
    pub fn follow(&mut self, at_ms: u64) {
        self.base_ms = self.base_ms.max(at_ms);
    }

    /// From now on the clock runs by itself.
    pub fn run_free(&mut self) {
        if self.since.is_none() {
            self.since = Some(Instant::now());
        }
    }

    /// The time now.
    #[must_use]
    pub fn now(&self) -> Stamp {
        let run = self.since.map_or(0, |since| {
            u64::try_from(since.elapsed().as_millis()).unwrap_or(u64::MAX)
        });
        Stamp {
            mono_ms: self.base_ms.saturating_add(run),
            wall: wall(),
        }
    }
}

/// Wall time and the offset of the local time zone.
#[must_use]
pub fn wall() -> Wall {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    let utc_ms = since.map_or(0, |since| {
        i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
    });
    let offset_min = jiff::Timestamp::from_millisecond(utc_ms).map_or(0, |stamp| {
        jiff::tz::TimeZone::system().to_offset(stamp).seconds() / 60
    });
    Wall { utc_ms, offset_min }
}

/// The local date.
#[must_use]
pub fn today() -> jiff::civil::Date {
    let now = wall();
    let offset =
        jiff::tz::Offset::from_seconds(now.offset_min * 60).unwrap_or(jiff::tz::Offset::UTC);
    offset
        .to_datetime(jiff::Timestamp::from_millisecond(now.utc_ms).unwrap_or_default())
        .date()
}

/// The local date, `YYYY-MM-DD`, for the names of runs.
#[must_use]
pub fn day() -> String {
    today().to_string()
}

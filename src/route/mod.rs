//! A route: a list of actuators for a week, each with its job and what is known
//! of it beforehand.
//!
//! No state lives here and nothing is written. A [`Route`] is read once from a file
//! and never changes; where each actuator stands is worked out anew from the
//! journals ([`progress`]), which stay the only truth. Pure: what has to be read from
//! the disk (job files, journals) is handed in.

mod alike;
mod change;
mod check;
mod csv;
mod facts;
mod lines;
mod menu;
mod meter;
mod state;
mod told;
mod toml;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::job::load::{
    LARGEST, all_visible, decode, fault::Faults, fault::whole_file, strip_mark,
};
use crate::job::sheet::Sheet;
use crate::job::{Job, JobErrors};

pub use self::alike::{Alike, alike};
pub use self::change::changes;
pub use self::facts::{Check, CheckResult, RunFacts, Stands};
pub use self::lines::lines;
pub use self::menu::{
    Chosen, ask_alike, check_first, checks_first, chosen, each_was_measured, menu,
};
pub use self::meter::{Doubt, Wanted, doubts, wanted_at_end, wanted_at_start};
pub use self::state::{KINDS, Progress, Standing, State, progress, state};
pub use self::told::{
    could_be, meter_failed, not_on_route, route_changed, stands_now, what_is_left,
};

/// The checked form of one route file.
#[derive(Clone, Debug, PartialEq)]
pub struct Route {
    /// `[a-z0-9-]{1,40}`: by this name runs know the route that they came from. It stays the same
    /// when the file changes under way. Of a table, the name of the file.
    pub id: String,
    /// One line: which week, which plant.
    pub title: String,
    /// Local date `YYYY-MM-DD`: runs that began before it are not of this route.
    pub from: Option<String>,
    /// BLAKE3 hash (hex) of the file's bytes.
    pub hash: String,
    /// The actuators, in the order of the file. Never empty; no two with the same tag and job.
    pub items: Vec<Item>,
    /// The jobs, by the name that the file gives them.
    pub jobs: BTreeMap<String, RouteJob>,
}

/// A job of a route.
#[derive(Clone, Debug, PartialEq)]
pub struct RouteJob {
    /// The checked job.
    pub job: Arc<Job>,
    /// Text of its file, for the copy that each run keeps.
    pub text: String,
}

/// One actuator of a route.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// Its place on the route, from 1, in the order of the file.
    pub number: usize,
    /// Line in the file, from 1.
    pub line: usize,
    /// The tag, in capitals, as runs have it.
    pub tag: String,
    /// The job, by the name that the file gives it: a key of [`Route::jobs`].
    pub job: String,
    /// Id of that job, as journals have it.
    pub job_id: String,
    /// What a job sheet would give: nameplate data (the tag among them), limits, who does it.
    pub sheet: Sheet,
    /// Part of the plant.
    pub area: Option<String>,
    /// What shares one cause: the same cabinet, the same supply.
    pub group: Option<String>,
    /// Comes first.
    pub critical: bool,
    /// A remark of whoever planned it.
    pub note: Option<String>,
}

impl Item {
    /// What makes it the same actuator and job in another file, or in a journal.
    #[must_use]
    pub fn key(&self) -> (&str, &str) {
        (&self.tag, &self.job_id)
    }
}

/// The route that a run came from, as its opening record has it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RouteMark {
    /// [`Route::id`].
    pub id: String,
    /// [`Route::hash`] when the run began.
    pub hash: String,
}

/// Finds a job by the name that a route gives it: its text and its checked form, or why there is none.
pub type FindJob<'f> = dyn FnMut(&str) -> Result<(String, Job), String> + 'f;

/// Reads a route file that a person named.
///
/// # Errors
/// If it is no plain file, cannot be read, or has faults.
pub fn file(path: &Path, jobs: &mut FindJob) -> Result<(Vec<u8>, Route), JobErrors> {
    let bytes = crate::job::load::read(path)?;
    let route = from_bytes(&bytes, &path.display().to_string(), jobs)?;
    Ok((bytes, route))
}

/// Reads and checks the bytes of a route file: TOML where `file_name` ends in `.toml`, else a table.
/// The name is also that of the route where it is a table.
///
/// # Errors
/// Every fault that can be told apart, see [`JobErrors`].
pub fn from_bytes(bytes: &[u8], file_name: &str, jobs: &mut FindJob) -> Result<Route, JobErrors> {
    let text = strip_mark(decode(bytes, file_name)?);
    let hash = blake3::hash(bytes).to_hex().to_string();
    if text.trim().is_empty() {
        return Err(whole_file(
            file_name,
            "the route is empty",
            "begin with a line of column names: tag, job, and what the jobs take; jobs/README.md shows both forms",
        ));
    }
    let is_toml = Path::new(file_name)
        .extension()
        .is_some_and(|end| end.eq_ignore_ascii_case("toml"));
    let mut faults = Faults::new(text);
    let read = if is_toml {
        toml::read(text, file_name, &mut faults)?
    } else {
        all_visible(text, &mut faults);
        if !faults.is_empty() {
            return Err(faults.into_errors(file_name));
        }
        csv::read(text, file_name, &mut faults)
    };
    // What is known of the jobs is only of use where every line could be read.
    let checked = read.and_then(|draft| check::check(draft, hash, &mut faults, jobs));
    match checked {
        Some(route) if faults.is_empty() => Ok(route),
        _ if faults.is_empty() => Err(whole_file(
            file_name,
            "the route cannot be read",
            "write it as jobs/README.md shows",
        )),
        _ => Err(faults.into_errors(file_name)),
    }
}

/// Largest route file, in bytes.
pub const LARGEST_ROUTE: usize = LARGEST;

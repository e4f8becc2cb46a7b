//! Where each actuator of a route stands, worked out from its runs. Pure; holds
//! nothing: what is not in a journal did not happen.

use super::facts::{Check, RunFacts, Stands, WAITING};
use super::meter::{Doubt, doubts};
use super::{Item, Route};
use crate::core::record::Wall;
use crate::job::PlateValue;

/// Where one actuator of a route stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum State {
    /// No run of it.
    NotStarted,
    /// A run of it can be gone on with.
    UnderWay {
        /// At which question, in words.
        at: String,
    },
    /// As-found readings were taken, nothing was adjusted, and the run ended.
    AsFoundOnly {
        /// Why it ended.
        reason: String,
    },
    /// It waits for a part.
    WaitingForPart {
        /// Where its run stands; None where the run was ended.
        at: Option<String>,
    },
    /// Gone through to the end of the job.
    Done {
        /// Steps that were passed over on the way, with the reasons.
        left_out: Vec<String>,
    },
    /// Refused, or ended for another reason before anything was found, or after adjusting.
    NotDone {
        /// Why.
        reason: String,
    },
    /// A run that could be of it cannot be read.
    Unreadable {
        /// Why.
        why: String,
    },
}

impl State {
    /// A few words, as shown and said.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::NotStarted => "not started".to_owned(),
            Self::UnderWay { at } => format!("under way, at: {at}"),
            Self::AsFoundOnly { reason } => format!("as found only: {reason}"),
            Self::WaitingForPart { at: None } => WAITING.to_owned(),
            Self::WaitingForPart { at: Some(at) } => format!("{WAITING}, at: {at}"),
            Self::Done { left_out } if left_out.is_empty() => "done".to_owned(),
            Self::Done { left_out } => format!("done, but for {}", left_out.join("; ")),
            Self::NotDone { reason } => format!("not done: {reason}"),
            Self::Unreadable { why } => format!("cannot be read: {why}"),
        }
    }

    /// The kind alone, for counting: one of the words of [`KINDS`].
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::NotStarted => KINDS[0],
            Self::UnderWay { .. } => KINDS[1],
            Self::AsFoundOnly { .. } => KINDS[2],
            Self::WaitingForPart { .. } => KINDS[3],
            Self::Done { .. } => KINDS[4],
            Self::NotDone { .. } => KINDS[5],
            Self::Unreadable { .. } => KINDS[6],
        }
    }

    /// True if there is work left that can be gone on with or begun.
    #[must_use]
    pub fn is_left(&self) -> bool {
        !matches!(self, Self::Done { .. } | Self::NotDone { .. })
    }
}

/// The kinds of state, in the order in which they are counted.
pub const KINDS: [&str; 7] = [
    "not started",
    "under way",
    "as found only",
    WAITING,
    "done",
    "not done",
    "cannot be read",
];

/// One actuator of a route, and what its runs say.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing<'a> {
    /// The actuator.
    pub item: &'a Item,
    /// Where it stands.
    pub state: State,
    /// Its runs of this route, oldest first.
    pub runs: Vec<&'a RunFacts>,
    /// The one that decides where it stands: the last that is open, else the last.
    pub deciding: Option<&'a RunFacts>,
    /// Why its readings are in doubt.
    pub doubts: Vec<Doubt>,
    /// Nameplate data that the route now gives otherwise than when the run began, in words.
    pub plate_changed: Vec<String>,
}

impl Standing<'_> {
    /// The run that is to be gone on with when this actuator is chosen.
    #[must_use]
    pub fn resumable(&self) -> Option<&RunFacts> {
        self.deciding.filter(|run| run.is_open())
    }
}

/// A whole route as it stands now.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress<'a> {
    /// Each actuator, in the order of the file.
    pub standings: Vec<Standing<'a>>,
    /// Runs that came from this route, but whose actuator is no longer on it.
    pub taken_out: Vec<&'a RunFacts>,
    /// Runs that cannot be read; one of them may be of an actuator of the route.
    pub unreadable: Vec<&'a RunFacts>,
    /// The runs that decide where an actuator stands although they began more than [`OLD_DAYS`] days ago,
    /// where the route does not say from when on runs count.
    pub old: Vec<&'a RunFacts>,
}

/// A route is for a week or two. A run older than this is more likely one of an earlier route of the same name.
const OLD_DAYS: i64 = 31;

/// Works out where a route stands, from the runs of a folder in any order.
///
/// A run is of an actuator of the route if tag and job are the same, it did not begin before
/// [`Route::from`], and it came from no other route.
#[must_use]
pub fn progress<'a>(route: &'a Route, runs: &'a [RunFacts], now: Wall) -> Progress<'a> {
    let mut sorted: Vec<&RunFacts> = runs.iter().collect();
    sorted.sort_by(|one, other| {
        (one.began.utc_ms, &one.name).cmp(&(other.began.utc_ms, &other.name))
    });
    let checks: Vec<Check> = runs.iter().filter_map(|run| run.check.clone()).collect();
    let of_route: Vec<&RunFacts> = sorted
        .iter()
        .copied()
        .filter(|run| {
            run.tag.is_some()
                && run.route.as_ref().is_none_or(|mark| mark.id == route.id)
                && route
                    .from
                    .as_ref()
                    .is_none_or(|from| *from <= run.began.day())
        })
        .collect();
    let standings: Vec<Standing> = route
        .items
        .iter()
        .map(|item| {
            let runs: Vec<&RunFacts> = of_route
                .iter()
                .copied()
                .filter(|run| is_of(run, item))
                .collect();
            let deciding = runs.iter().rev().copied().find(|run| run.is_open());
            let deciding = deciding.or(runs.last().copied());
            Standing {
                item,
                state: deciding.map_or(State::NotStarted, state),
                doubts: deciding.map_or_else(Vec::new, |run| doubts(run, &checks, now)),
                plate_changed: deciding.map_or_else(Vec::new, |run| plate_changed(item, run)),
                runs,
                deciding,
            }
        })
        .collect();
    let taken_out = of_route
        .into_iter()
        .filter(|run| run.route.is_some() && !route.items.iter().any(|item| is_of(run, item)))
        .collect();
    let unreadable = sorted
        .into_iter()
        .filter(|run| matches!(run.stands, Stands::Unreadable { .. }))
        .collect();
    let oldest = now.utc_ms - OLD_DAYS * 24 * 3_600_000;
    let old = standings
        .iter()
        .filter_map(|standing| standing.deciding)
        .filter(|run| route.from.is_none() && run.began.utc_ms < oldest)
        .collect();
    Progress {
        standings,
        taken_out,
        unreadable,
        old,
    }
}

fn is_of(run: &RunFacts, item: &Item) -> bool {
    run.job == item.job_id && run.tag.as_deref() == Some(item.tag.as_str())
}

/// What a run says about its actuator.
#[must_use]
pub fn state(run: &RunFacts) -> State {
    match &run.stands {
        Stands::Unreadable { why } => State::Unreadable { why: why.clone() },
        Stands::Complete => State::Done {
            left_out: run.skipped.clone(),
        },
        Stands::Open { at, because } if because.as_deref() == Some(WAITING) => {
            State::WaitingForPart {
                at: Some(at.clone()),
            }
        }
        Stands::Open { at, .. } => State::UnderWay { at: at.clone() },
        Stands::Ended { reason } if reason == WAITING => State::WaitingForPart { at: None },
        Stands::Ended { reason } if run.as_found && !run.adjusted => State::AsFoundOnly {
            reason: reason.clone(),
        },
        Stands::Ended { reason } => State::NotDone {
            reason: if run.adjusted {
                format!("{reason}, after adjusting")
            } else {
                reason.clone()
            },
        },
    }
}

/// How the route's data for an actuator differ from those that its run began with.
fn plate_changed(item: &Item, run: &RunFacts) -> Vec<String> {
    item.sheet
        .plate
        .iter()
        .filter_map(|(id, now)| {
            let was = run.plate.get(id)?;
            (was != now).then(|| format!("{id} was {} and is now {}", shown(was), shown(now)))
        })
        .collect()
}

pub(super) fn shown(value: &PlateValue) -> String {
    match value {
        PlateValue::Number(number) => number.to_string(),
        PlateValue::Text(text) => text.clone(),
        PlateValue::Unknown => "unknown".to_owned(),
    }
}

impl<'a> Progress<'a> {
    /// Which actuator is best done next: what is under way, then what was not started, then what was
    /// found only; within each the critical ones first, then in the order of the file. What waits for
    /// a part is not suggested.
    #[must_use]
    pub fn next(&self) -> Option<&Standing<'a>> {
        let rank = |standing: &&Standing| match standing.state {
            State::UnderWay { .. } => Some(0),
            State::NotStarted => Some(1),
            State::AsFoundOnly { .. } => Some(2),
            _ => None,
        };
        self.standings
            .iter()
            .filter_map(|standing| rank(&standing).map(|rank| (rank, standing)))
            .min_by_key(|(rank, standing)| (*rank, !standing.item.critical, standing.item.number))
            .map(|(_, standing)| standing)
    }

    /// How many stand where, in the order of [`KINDS`]; kinds without any are left out.
    #[must_use]
    pub fn counts(&self) -> Vec<(&'static str, usize)> {
        KINDS
            .iter()
            .map(|kind| {
                let many = self
                    .standings
                    .iter()
                    .filter(|standing| standing.state.kind() == *kind)
                    .count();
                (*kind, many)
            })
            .filter(|(_, many)| *many > 0)
            .collect()
    }

    /// The counts in one sentence.
    #[must_use]
    pub fn left(&self) -> String {
        let left = self
            .standings
            .iter()
            .filter(|standing| standing.state.is_left())
            .count();
        let counts: Vec<String> = self
            .counts()
            .into_iter()
            .map(|(kind, many)| format!("{many} {kind}"))
            .collect();
        format!(
            "{left} of {} left: {}.",
            self.standings.len(),
            counts.join(", ")
        )
    }

    /// What is to be said about [`Progress::old`]; None where there is none.
    #[must_use]
    pub fn old_words(&self) -> Option<String> {
        let first = self.old.iter().min_by_key(|run| run.began.utc_ms)?;
        Some(format!(
            "{} of {} stand by runs of more than {OLD_DAYS} days ago, the first of {}. To begin anew, give --from with the first day that counts.",
            self.old.len(),
            self.standings.len(),
            first.began.day()
        ))
    }

    /// The actuators with this tag as spelled or typed, or with this number on the list: marks
    /// between letters and figures need not be said. More than one where the tag is there with
    /// several jobs, or where two tags differ by marks alone.
    #[must_use]
    pub fn find(&self, text: &str) -> Vec<&Standing<'a>> {
        let bare = |text: &str| {
            text.chars()
                .filter(char::is_ascii_alphanumeric)
                .collect::<String>()
                .to_ascii_uppercase()
        };
        let matching = |is: &dyn Fn(&Item) -> bool| {
            self.standings
                .iter()
                .filter(|standing| is(standing.item))
                .collect::<Vec<_>>()
        };
        let exact = matching(&|item| item.tag.eq_ignore_ascii_case(text));
        if !exact.is_empty() {
            return exact;
        }
        let by_tag = matching(&|item| bare(&item.tag) == bare(text));
        if !by_tag.is_empty() {
            return by_tag;
        }
        match text.parse::<usize>() {
            Ok(number) => matching(&|item| item.number == number),
            Err(_) => Vec::new(),
        }
    }
}

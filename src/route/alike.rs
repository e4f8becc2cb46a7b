//! Three jobs in a row with exactly the same readings: worth a question, because
//! readings that were copied look like that. Nothing is blocked; the answer goes into the journal
//! of the last of them. Pure; holds nothing.

use super::facts::RunFacts;

/// So many in a row are questioned.
const IN_A_ROW: usize = 3;
/// Sets of fewer readings are not compared: one or two equal values (0.0 V) are common.
const LEAST: usize = 3;

/// Jobs in a row with exactly the same readings for the same steps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alike {
    /// Names of the runs, in order of time.
    pub runs: Vec<String>,
    /// Their tags.
    pub tags: Vec<String>,
    /// How many readings each has.
    pub readings: usize,
    /// Whether each was measured, as was said after the last of them; None where nobody answered.
    pub measured: Option<bool>,
}

impl Alike {
    /// The question with its answer, in words.
    #[must_use]
    pub fn answered(&self) -> String {
        let answer = match self.measured {
            None => "Not answered.",
            Some(true) => "Answered: each was measured.",
            Some(false) => "Answered: not each was measured.",
        };
        format!("{} {answer}", self.question())
    }

    /// The question, in words.
    #[must_use]
    pub fn question(&self) -> String {
        format!(
            "{} jobs in a row, {}, have exactly the same {} readings. Was each of them measured?",
            self.runs.len(),
            self.tags.join(", "),
            self.readings
        )
    }
}

/// All stretches of at least three ended jobs of one kind, one after another in time, whose
/// readings are the same to the last digit.
#[must_use]
pub fn alike(runs: &[RunFacts]) -> Vec<Alike> {
    let mut ended: Vec<&RunFacts> = runs
        .iter()
        .filter(|run| run.check.is_none() && run.tag.is_some() && !run.is_open())
        .collect();
    ended.sort_by(|one, other| (one.last.utc_ms, &one.name).cmp(&(other.last.utc_ms, &other.name)));
    let mut found: Vec<Alike> = Vec::new();
    let mut at = 0;
    while at < ended.len() {
        let first = ended[at];
        let long = ended[at..]
            .iter()
            .take_while(|run| run.job == first.job && run.readings == first.readings)
            .count();
        if long >= IN_A_ROW && first.readings.len() >= LEAST {
            let stretch = &ended[at..at + long];
            found.push(Alike {
                runs: stretch.iter().map(|run| run.name.clone()).collect(),
                tags: stretch.iter().filter_map(|run| run.tag.clone()).collect(),
                readings: first.readings.len(),
                measured: stretch.last().and_then(|run| run.measured),
            });
        }
        at += long.max(1);
    }
    found
}

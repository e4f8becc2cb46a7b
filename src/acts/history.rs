//! `history`: the past jobs of an actuator, from the index that is made from the journals.

use std::collections::HashMap;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use super::{DONE, Failure, NOT_DONE, record};
use crate::args::HistoryArgs;
use crate::core::record::Record;
use crate::edge::index::{self, Answer, Index, IndexFault};
use crate::edge::runs::{self, RunFolder};
use crate::edge::{clock, tell};
use crate::history::tag::TagHistory;
use crate::history::{PastJob, tag_key, words};
use crate::job::{Job, load};
use crate::report::{self, Sounds, Source};
use crate::spelling;

/// Most texts that are shown of a search.
const MOST_FOUND: usize = 100;

/// Tells a tag's history, finds words, or lists the tags.
///
/// # Errors
/// If the folder of the runs cannot be read.
pub fn history(args: &HistoryArgs) -> Result<u8, Failure> {
    let runs = runs::runs_folder(args.folder.runs.as_deref()).map_err(Failure::wrong)?;
    match &args.tag {
        _ if !args.find.is_empty() => find(&runs, &args.find),
        Some(tag) => of_tag(&runs, tag),
        None => all_tags(&runs),
    }
}

/// Asks the index, and tells what is to be known about it and about journals that are not in it.
fn ask<T>(runs: &Path, question: &dyn Fn(&Index) -> Result<T, IndexFault>) -> Result<T, Failure> {
    ask_with_left_out(runs, question).map(|(answer, _)| answer)
}

/// The same, with the runs that are not in the index, each with why.
pub(super) fn ask_with_left_out<T>(
    runs: &Path,
    question: &dyn Fn(&Index) -> Result<T, IndexFault>,
) -> Result<(T, Vec<(String, String)>), Failure> {
    let jobs = JobFiles::default();
    let Answer {
        answer,
        told,
        left_out,
    } = index::ask(runs, &|folder| jobs.past(folder), question).map_err(Failure::wrong)?;
    for sentence in told {
        tell(&sentence);
    }
    for (run, why) in &left_out {
        tell(&format!("LEFT OUT, {run}: {why}"));
    }
    Ok((answer, left_out))
}

fn of_tag(runs: &Path, tag: &str) -> Result<u8, Failure> {
    let (jobs, tags) = ask(runs, &|index| Ok((index.of_tag(tag)?, index.spellings()?)))?;
    let tag = tag_key(tag);
    let mut text = String::new();
    if !jobs.is_empty() {
        let today = clock::day();
        for line in words::lines(&tag, &TagHistory::of(&jobs), &today) {
            text += &format!("{}\n", report::one_line(&line));
        }
    }
    // A tag spelled by voice has no dash: the same actuator can stand under two spellings. That is told, never assumed.
    let bare = |tag: &str| -> String { tag.chars().filter(|c| c.is_alphanumeric()).collect() };
    for other in tags
        .iter()
        .filter(|(other, _)| *other != tag && bare(other) == bare(&tag))
    {
        let (other, jobs) = other;
        text += &format!(
            "Not counted here: {} under {other}. If that is the same actuator, see `sayback history {other}`\n",
            words::count(*jobs, "job", "jobs"),
        );
    }
    super::print(&text)?;
    if !jobs.is_empty() {
        return Ok(DONE);
    }
    let near = tags
        .iter()
        .map(|(other, _)| (spelling::distance(&tag, other), other))
        .filter(|(distance, _)| *distance <= 2)
        .min()
        .map_or_else(String::new, |(_, other)| format!(" Did you mean {other}?"));
    tell(&format!(
        "no job of {tag} in {}.{near} `sayback history` lists the tags; --runs names another folder",
        runs.display()
    ));
    Ok(NOT_DONE)
}

fn all_tags(runs: &Path) -> Result<u8, Failure> {
    let tags = ask(runs, &|index| index.tags())?;
    let mut text = String::new();
    for tag in &tags {
        text += &format!(
            "{}\t{}\t{}\t{}\n",
            tag.tag,
            words::count(tag.jobs, "job", "jobs"),
            tag.date,
            report::one_line(&tag.line)
        );
    }
    if tags.is_empty() {
        tell(&format!(
            "no job with a tag in {}. --runs names another folder",
            runs.display()
        ));
    }
    super::print(&text)?;
    Ok(DONE)
}

fn find(runs: &Path, wanted: &[String]) -> Result<u8, Failure> {
    let (hits, all) = ask(runs, &|index| index.find(wanted, MOST_FOUND))?;
    let mut text = String::new();
    for hit in &hits {
        text += &format!(
            "{}\t{}\t{}, {}: {}\t[{} record {}]\n",
            hit.date,
            hit.tag.as_deref().unwrap_or("no tag"),
            hit.text.kind,
            hit.text.at,
            report::one_line(&hit.text.text),
            hit.run,
            hit.text.seq
        );
    }
    super::print(&text)?;
    if hits.is_empty() {
        tell(
            "nothing found. All of the words must stand in one note, reason or finding; the beginning of a word is enough",
        );
        return Ok(NOT_DONE);
    }
    if all > hits.len() {
        tell(&format!(
            "{} more were found; give one more word",
            all - hits.len()
        ));
    }
    Ok(DONE)
}

/// Job files that were read, by the hash of their bytes: of ten thousand runs most have the same few.
#[derive(Default)]
pub(super) struct JobFiles {
    known: Mutex<HashMap<blake3::Hash, Arc<Job>>>,
}

impl JobFiles {
    /// What a run tells, or why it is left out.
    pub(super) fn past(&self, folder: &RunFolder) -> Result<PastJob, String> {
        let read = record::read(folder).map_err(|failure| failure.text)?;
        if read.whole.starts_with("DAMAGED") {
            return Err(format!(
                "its journal is damaged ({}). Put a whole copy back; nothing in it was changed",
                read.whole.trim_start_matches("DAMAGED: ")
            ));
        }
        let job = self.job(folder)?;
        let records: Vec<(u64, Record)> = read
            .entries
            .into_iter()
            .map(|entry| (entry.seq.0, entry.record))
            .collect();
        match records.first().map(|(_, record)| &record.body) {
            Some(crate::core::record::Body::Started(started)) if started.job_hash == job.hash => {}
            Some(crate::core::record::Body::Started(_)) => {
                return Err(
                    "the job file beside its journal is not the one it began with. Put the right copy back"
                        .to_owned(),
                );
            }
            _ => {
                return Err(
                    "its journal does not begin with the start of a run; it is not one of Sayback's"
                        .to_owned(),
                );
            }
        }
        Ok(PastJob::of(
            &folder.name(),
            &Source {
                job: &job,
                records: &records,
                chain_hash: &read.chain_hash,
                whole: &read.whole,
                clips_folder: "clips",
                sounds: &Sounds::new(),
                doubts: &[],
            },
        ))
    }

    fn job(&self, folder: &RunFolder) -> Result<Arc<Job>, String> {
        let path = folder.job_file();
        let back = "Put its copy of the job file back";
        let about = std::fs::metadata(&path)
            .map_err(|error| format!("{} cannot be read: {error}. {back}", path.display()))?;
        if !about.is_file() || about.len() > load::LARGEST as u64 {
            return Err(format!("{} is no job file. {back}", path.display()));
        }
        let bytes = std::fs::read(&path)
            .map_err(|error| format!("{} cannot be read: {error}. {back}", path.display()))?;
        let hash = blake3::hash(&bytes);
        let lock = || self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(job) = lock().get(&hash) {
            return Ok(Arc::clone(job));
        }
        let job = load::from_bytes(&bytes, &path.display().to_string())
            .map_err(|faults| format!("{}. {back}", first_line(&faults.to_string())))?;
        let job = Arc::new(job);
        lock().insert(hash, Arc::clone(&job));
        Ok(job)
    }
}

fn first_line(text: &str) -> String {
    text.lines().next().unwrap_or_default().to_owned()
}

//! What the index can be asked. Nothing here writes; every row is held against its seal.

use rusqlite::{OptionalExtension as _, params};

use super::rows::opened;
use super::{Hit, Index, IndexFault, TagLine};
use crate::history::{PastJob, tag_key};

impl Index {
    /// The jobs of a tag, oldest first. Case makes no difference.
    ///
    /// # Errors
    /// If the index is damaged.
    pub fn of_tag(&self, tag: &str) -> Result<Vec<PastJob>, IndexFault> {
        self.jobs(
            "SELECT run.name, past.body, past.seal FROM run JOIN past ON past.run = run.id WHERE run.tag = ?1 ORDER BY run.started, run.name",
            params![tag_key(tag)],
        )
    }

    /// The jobs whose local dates of start lie in a range, both ends included, oldest first.
    ///
    /// # Errors
    /// If the index is damaged.
    pub fn between(&self, from: &str, to: &str) -> Result<Vec<PastJob>, IndexFault> {
        self.jobs(
            "SELECT run.name, past.body, past.seal FROM run JOIN past ON past.run = run.id WHERE run.date BETWEEN ?1 AND ?2 ORDER BY run.started, run.name",
            params![from, to],
        )
    }

    fn jobs(&self, query: &str, values: impl rusqlite::Params) -> Result<Vec<PastJob>, IndexFault> {
        let mut query = self.database.prepare(query)?;
        let mut rows = query.query(values)?;
        let mut jobs = Vec::new();
        while let Some(row) = rows.next()? {
            let (name, body, seal): (String, String, Vec<u8>) =
                (row.get(0)?, row.get(1)?, row.get(2)?);
            jobs.push(opened(&name, &body, &seal)?);
        }
        Ok(jobs)
    }

    /// Every tag with its last job, by tag.
    ///
    /// # Errors
    /// If the index is damaged.
    pub fn tags(&self) -> Result<Vec<TagLine>, IndexFault> {
        let mut query = self.database.prepare(
            "SELECT tag, count(*), date, line, max(started) FROM run WHERE tag <> '' GROUP BY tag ORDER BY tag",
        )?;
        let lines = query
            .query_map([], |row| {
                Ok(TagLine {
                    tag: row.get(0)?,
                    jobs: usize::try_from(row.get::<_, i64>(1)?).unwrap_or_default(),
                    date: row.get(2)?,
                    line: row.get(3)?,
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(lines)
    }

    /// Every tag, as it is compared, with its number of jobs.
    ///
    /// # Errors
    /// If the index is damaged.
    pub fn spellings(&self) -> Result<Vec<(String, usize)>, IndexFault> {
        let mut query = self
            .database
            .prepare("SELECT tag, count(*) FROM run WHERE tag <> '' GROUP BY tag")?;
        let tags = query
            .query_map([], |row| {
                Ok((
                    row.get(0)?,
                    usize::try_from(row.get::<_, i64>(1)?).unwrap_or_default(),
                ))
            })?
            .collect::<Result<_, _>>()?;
        Ok(tags)
    }

    /// Texts that hold all of the words, or words that begin so; of the newest runs first, at most
    /// `most`, and how many there are in all.
    ///
    /// # Errors
    /// If the index is damaged.
    pub fn find(&self, words: &[String], most: usize) -> Result<(Vec<Hit>, usize), IndexFault> {
        // In quotes nothing is a command of the search; the star takes words that begin so.
        let wanted: Vec<String> = words
            .iter()
            .flat_map(|words| words.split_whitespace())
            .filter(|word| word.chars().any(char::is_alphanumeric))
            .map(|word| format!("\"{}\"*", word.replace('"', "\"\"")))
            .collect();
        if wanted.is_empty() {
            return Ok((Vec::new(), 0));
        }
        let wanted = wanted.join(" ");
        let all: i64 = self.database.query_row(
            "SELECT count(*) FROM words WHERE words MATCH ?1",
            [&wanted],
            |row| row.get(0),
        )?;
        let mut query = self.database.prepare(
            "SELECT run.name, said.place, past.body, past.seal FROM words JOIN said ON said.id = words.rowid JOIN run ON run.id = said.run JOIN past ON past.run = run.id WHERE words MATCH ?1 ORDER BY run.started DESC, run.name DESC, said.place LIMIT ?2",
        )?;
        let mut rows = query.query(params![wanted, i64::try_from(most).unwrap_or(i64::MAX)])?;
        let mut hits = Vec::new();
        while let Some(row) = rows.next()? {
            let (name, place, body, seal): (String, i64, String, Vec<u8>) =
                (row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?);
            let mut past = opened(&name, &body, &seal)?;
            let place = usize::try_from(place).unwrap_or(usize::MAX);
            if place >= past.texts.len() {
                return Err(IndexFault::Row);
            }
            hits.push(Hit {
                run: name,
                date: past.date(),
                text: past.texts.swap_remove(place),
                tag: past.tag,
            });
        }
        Ok((hits, usize::try_from(all).unwrap_or_default()))
    }

    /// The date of the newest run.
    ///
    /// # Errors
    /// If the index is damaged.
    pub fn newest_date(&self) -> Result<Option<String>, IndexFault> {
        Ok(self
            .database
            .query_row("SELECT max(date) FROM run", [], |row| row.get(0))
            .optional()?
            .flatten())
    }
}

//! The rows of the index: how a past job is written, taken out and read again. No state.

use rusqlite::{Transaction, params};

use super::{IndexFault, Journal};
use crate::history::{PastJob, tag_key};

pub(super) fn insert(
    change: &Transaction,
    journal: &Journal,
    past: &PastJob,
) -> Result<(), IndexFault> {
    let line = format!("{}: {}", past.title, past.stands());
    change
        .prepare_cached("INSERT INTO run (name, bytes, modified, changed, chain, tag, started, date, line) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)")?
        .execute(params![
            journal.name,
            journal.bytes,
            journal.modified,
            journal.changed,
            past.chain_hash,
            past.tag.as_deref().map(tag_key).unwrap_or_default(),
            past.start.utc_ms,
            past.date(),
            line,
        ])?;
    let id = change.last_insert_rowid();
    // Cannot fail: a past job has no map with other keys than text, and no number that is not finite.
    let body = serde_json::to_string(past).map_err(|_| IndexFault::Row)?;
    change
        .prepare_cached("INSERT INTO past (run, body, seal) VALUES (?1, ?2, ?3)")?
        .execute(params![id, body, seal(&journal.name, &body)])?;
    for (place, text) in past.texts.iter().enumerate() {
        change
            .prepare_cached("INSERT INTO said (run, place) VALUES (?1, ?2)")?
            .execute(params![id, i64::try_from(place).unwrap_or(i64::MAX)])?;
        let said = change.last_insert_rowid();
        change
            .prepare_cached("INSERT INTO words (rowid, text) VALUES (?1, ?2)")?
            .execute(params![said, format!("{} {}", text.at, text.text)])?;
    }
    Ok(())
}

pub(super) fn remove(change: &Transaction, id: i64) -> Result<(), IndexFault> {
    for statement in [
        "DELETE FROM words WHERE rowid IN (SELECT id FROM said WHERE run = ?1)",
        "DELETE FROM said WHERE run = ?1",
        "DELETE FROM past WHERE run = ?1",
        "DELETE FROM run WHERE id = ?1",
    ] {
        change.prepare_cached(statement)?.execute([id])?;
    }
    Ok(())
}

/// What shows that a row is as it was written. No signature: whoever can write the file can write this too.
fn seal(name: &str, body: &str) -> Vec<u8> {
    let mut hasher = blake3::Hasher::new();
    hasher
        .update(name.as_bytes())
        .update(b"\n")
        .update(body.as_bytes());
    hasher.finalize().as_bytes().to_vec()
}

pub(super) fn opened(name: &str, body: &str, kept: &[u8]) -> Result<PastJob, IndexFault> {
    if seal(name, body) != kept {
        return Err(IndexFault::Row);
    }
    serde_json::from_str(body).map_err(|_| IndexFault::Row)
}

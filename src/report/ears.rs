//! What listened: from the journal's start and resumptions to lines in words.

use super::time;
use super::types::{EarKind, EarLine};
use crate::core::record::{Body, EarMark, Wall};

/// Digits of a hash that are shown in a sentence; the data have all of them.
const SHOWN: usize = 16;

/// A line for the start, and for each time that another ear began to listen.
pub(super) fn ears<'a>(bodies: impl Iterator<Item = (u64, Wall, &'a Body)>) -> Vec<EarLine> {
    let mut lines: Vec<EarLine> = Vec::new();
    for (seq, _, body) in bodies {
        let (Body::Started(crate::core::record::Started { ear, .. }) | Body::Resumed { ear, .. }) =
            body
        else {
            continue;
        };
        let line = line(seq, ear.as_ref());
        let is_as_before = lines.last().is_some_and(|before| {
            EarLine {
                seq,
                ..before.clone()
            } == line
        });
        if !is_as_before {
            lines.push(line);
        }
    }
    lines
}

fn line(seq: u64, ear: Option<&EarMark>) -> EarLine {
    let mut line = EarLine {
        seq,
        which: EarKind::NotRecorded,
        fitted_to: None,
        fitted_at: None,
        folder: None,
        weights_hash: None,
        words: "which ear listened is not in the journal".to_owned(),
    };
    match ear {
        None => {}
        Some(EarMark::Nothing) => {
            line.which = EarKind::Nothing;
            line.words = "nothing listened: the keypad alone".to_owned();
        }
        Some(EarMark::Common { weights }) => {
            line.which = EarKind::Common;
            line.words = format!(
                "the common ears listened, fitted to nobody (weights {})",
                shown(weights)
            );
            line.weights_hash = Some(weights.clone());
        }
        Some(EarMark::Fitted {
            to,
            made_utc_ms,
            weights,
        }) => {
            let at = time::time(Wall {
                utc_ms: *made_utc_ms,
                offset_min: 0,
            });
            line.which = EarKind::Fitted;
            line.words = format!(
                "ears fitted to the voice of {to} at {} listened (weights {})",
                at.utc,
                shown(weights)
            );
            line.fitted_to = Some(to.clone());
            line.fitted_at = Some(at);
            line.weights_hash = Some(weights.clone());
        }
        Some(EarMark::Given { folder, weights }) => {
            line.which = EarKind::Given;
            line.words = format!(
                "a voice model that was given listened, folder {folder} (weights {})",
                weights
                    .as_deref()
                    .map_or("unknown: they could not be read", shown)
            );
            line.folder = Some(folder.clone());
            line.weights_hash.clone_from(weights);
        }
    }
    line
}

fn shown(hash: &str) -> &str {
    hash.get(..SHOWN).unwrap_or(hash)
}

/// All lines in one sentence: for pages.
pub(super) fn sentence(lines: &[EarLine]) -> String {
    let mut words = String::new();
    for (place, line) in lines.iter().enumerate() {
        if place > 0 {
            words += &format!("; from record {} on ", line.seq);
        }
        words += &line.words;
    }
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        format!("{}{}.", first.to_uppercase(), letters.as_str())
    })
}

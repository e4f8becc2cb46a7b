//! Recordings made before, as clips to learn from. No state.

use std::path::Path;

use super::super::Failure;
use super::at_rate;
use crate::edge::sound::{self, Sound};
use crate::edge::tell;
use crate::enrolment::{Acoustics, Clip};

/// The longest clip, in seconds: the longest prompt, read slowly, takes half of it.
const MOST_SECONDS: f64 = 20.0;
/// All clips together, in seconds: five times what the prompts take. What is heard in them is held in
/// memory while it learns.
const MOST_SECONDS_IN_ALL: f64 = 600.0;

/// Reads a list of recordings, each with what is said in it and whether it is held back. All lines and
/// lengths are looked at before any clip is listened to.
///
/// # Errors
/// If the list or a recording cannot be used: the line, what is wrong, and the fix.
pub(super) fn read(list: &Path, acoustics: &Acoustics) -> Result<Vec<(Clip, bool)>, Failure> {
    let mut clips = Vec::new();
    for row in rows(list, acoustics)? {
        let clip = Clip {
            samples: at_rate(&row.sound.samples, row.sound.rate),
            words: row.words,
        };
        if row.held_back || acoustics.fits(&clip).map_err(Failure::wrong)? {
            clips.push((clip, row.held_back));
        } else {
            tell(&format!(
                "{}, line {}: {} does not sound like \"{}\"; not learnt from",
                list.display(),
                row.line,
                row.file,
                clip.words.join(" ")
            ));
        }
    }
    Ok(clips)
}

struct Row {
    line: u64,
    file: String,
    words: Vec<String>,
    sound: Sound,
    held_back: bool,
}

fn rows(list: &Path, acoustics: &Acoustics) -> Result<Vec<Row>, Failure> {
    let at =
        |line: u64, what: &str| Failure::wrong(format!("{}, line {line}: {what}", list.display()));
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(b'\t')
        .quoting(false)
        .flexible(true)
        .from_path(list)
        .map_err(|fault| Failure::wrong(format!("{}: {fault}", list.display())))?;
    let columns = reader
        .headers()
        .map_err(|fault| at(1, &fault.to_string()))?
        .clone();
    let column = |name: &str| columns.iter().position(|known| known.trim() == name);
    let (Some(path), Some(transcript)) = (column("path"), column("transcript")) else {
        return Err(at(
            1,
            "the first line names the columns, divided by tabs: path, transcript, and optionally use",
        ));
    };
    let purpose = column("use");
    let folder = list.parent().unwrap_or(Path::new("."));
    let mut rows = Vec::new();
    let mut seconds_in_all = 0.0;
    for (number, row) in reader.records().enumerate() {
        let line = number as u64 + 2;
        let row = row.map_err(|fault| at(line, &fault.to_string()))?;
        let file = row.get(path).unwrap_or_default();
        let words: Vec<String> = row
            .get(transcript)
            .unwrap_or_default()
            .split_whitespace()
            .map(str::to_lowercase)
            .collect();
        if file.is_empty() || words.is_empty() {
            return Err(at(line, "a path and the words said are needed"));
        }
        if !acoustics.knows(&words) {
            return Err(at(
                line,
                &format!(
                    "the ear does not know every word of \"{}\"; write numbers as words, digit by digit",
                    words.join(" ")
                ),
            ));
        }
        let held_back = match purpose.and_then(|column| row.get(column)).map(str::trim) {
            None | Some("") => number % 5 == 4,
            Some("learn") => false,
            Some("check") => true,
            Some(other) => {
                return Err(at(line, &format!("use is learn or check, not {other}")));
            }
        };
        let read = sound::read(&folder.join(file)).map_err(|fault| at(line, &fault.to_string()))?;
        let seconds = read.seconds();
        if seconds > MOST_SECONDS {
            return Err(at(
                line,
                &format!(
                    "{file} is {seconds:.0} s long; a clip is one thing said, {MOST_SECONDS:.0} s at most. Cut it into clips, a line each"
                ),
            ));
        }
        seconds_in_all += seconds;
        if seconds_in_all > MOST_SECONDS_IN_ALL {
            return Err(at(
                line,
                &format!(
                    "with {file} the clips are longer than {:.0} minutes together; three are plenty. Leave some out, those said most often first",
                    MOST_SECONDS_IN_ALL / 60.0
                ),
            ));
        }
        rows.push(Row {
            line,
            file: file.to_owned(),
            words,
            sound: read,
            held_back,
        });
    }
    Ok(rows)
}

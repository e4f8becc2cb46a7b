//! The figures over a list of clips. No state between calls.

use std::collections::HashMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use super::value;
use super::{HearError, HeardAll, elsewhere, hear};
use crate::edge::ear::{Ear, Listener, ModelChoice};
use crate::edge::sound;
use crate::spoken::named_listening as named;

/// The first line of the table of figures.
pub const TABLE_HEADER: &str = "group\tclips\twords\tword_errors\tsentence_errors\tvalue_errors\tempty\tfalse_accepts\tp50_ms\tp95_ms\trtf";

/// How a table of clips is measured.
#[derive(Debug, Clone, Default)]
pub struct TableOptions {
    /// The voice model.
    pub model: ModelChoice,
    /// Whether each clip gets a line of its own before the figures.
    pub each: bool,
    /// Whether words are listened for in any order in place of the strict
    /// grammar; for comparison only.
    pub word_list: bool,
    /// Whether only the first of two models listens; for comparison only.
    pub one_ear: bool,
    /// What another recogniser heard in the same clips, to score that in the
    /// ear's place: one line a clip in the order of the list, tab-separated, no
    /// header: path as in the list, words, seconds of computing, and seconds of
    /// it after the last sample.
    pub heard: Option<PathBuf>,
}

/// One line of a list of clips.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Clip {
    path: PathBuf,
    transcript: String,
    group: String,
    grammar: String,
}

/// Hears every clip of a list and writes the figures.
///
/// The list is tab-separated with a header: `path` (absolute, or from the list's
/// folder), `transcript` (empty where nothing is to be heard), `group`, and
/// optionally `grammar` (all, numbers, digits, yes-no, tag, commands). The
/// figures have one row a group in the order of first appearance and a row
/// `total`:
///
/// - `words`, `word_errors`: of clips with a transcript; a word error is a word
///   replaced, left out or put in (Levenshtein distance), after hyphens have
///   become spaces and capitals small letters.
/// - `sentence_errors`: clips with a transcript and at least one word error.
/// - `value_errors`: clips whose transcript and whose heard words both have a
///   value, and not the same one. What was not understood is no value error.
/// - `empty`: clips with a transcript of which nothing was understood. They are
///   sentence errors too, and all their words are word errors.
/// - `false_accepts`: clips without a transcript in which words were heard. They
///   count nowhere else.
/// - `p50_ms`, `p95_ms`: computing time from a clip's last sample to its result,
///   nearest-rank percentiles. `rtf`: computing time by duration of sound.
///
/// With `each`, a line for each clip comes first: `clip`, path, group, grammar,
/// transcript, heard words, verdict (`right`, `empty`, `value_error`, `same_value`,
/// `sentence_error`, `false_accept`), and the words as `word:start-end:confidence`.
/// `same_value` is a sentence error in words only: "oh" for "zero".
///
/// # Errors
/// The first file or line that cannot be used.
pub fn run_table(
    table: &Path,
    options: &TableOptions,
    out: &mut impl Write,
) -> Result<(), HearError> {
    let clips = read_table(table)?;
    let results = match &options.heard {
        Some(path) => heard_elsewhere(path, &clips)?,
        None => heard_here(&clips, options)?,
    };
    let mut groups: Vec<(String, Figures)> = Vec::new();
    let mut total = Figures::default();
    for (clip, (heard, seconds)) in clips.iter().zip(&results) {
        let score = Score::of(clip, heard);
        if options.each {
            writeln!(
                out,
                "clip\t{}\t{}\t{}\t{}\t{}\t{}\t{}",
                clip.path.display(),
                clip.group,
                clip.grammar,
                clip.transcript,
                heard.phrase,
                score.verdict(),
                heard.timed_words()
            )?;
        }
        let place = groups
            .iter()
            .position(|(name, _)| *name == clip.group)
            .unwrap_or_else(|| {
                groups.push((clip.group.clone(), Figures::default()));
                groups.len() - 1
            });
        groups[place].1.add(&score, heard, *seconds);
        total.add(&score, heard, *seconds);
    }
    writeln!(out, "{TABLE_HEADER}")?;
    for (name, figures) in &groups {
        figures.write(name, out)?;
    }
    total.write("total", out)?;
    Ok(())
}

/// What the ear hears in these clips, with the seconds of sound of each, in the order of the list.
/// Those of one grammar are heard one after another, since the ear keeps one loaded.
fn heard_here(clips: &[Clip], options: &TableOptions) -> Result<Vec<(HeardAll, f64)>, HearError> {
    let mut ear = Ear::open(&options.model)?;
    if options.one_ear {
        ear.keep_one_model();
    }
    let mut order: Vec<usize> = (0..clips.len()).collect();
    order.sort_by_key(|at| &clips[*at].grammar);
    let mut results: Vec<(usize, (HeardAll, f64))> = Vec::new();
    for at in order {
        let sound = sound::read(&clips[at].path)?;
        let listener = listener(&mut ear, &clips[at], options, sound.rate)?;
        results.push((at, (hear(listener, &sound)?, sound.seconds())));
    }
    results.sort_by_key(|(at, _)| *at);
    Ok(results.into_iter().map(|(_, result)| result).collect())
}

fn listener(
    ear: &mut Ear,
    clip: &Clip,
    options: &TableOptions,
    rate: u32,
) -> Result<Listener, HearError> {
    let graph = named(&clip.grammar).ok_or_else(|| HearError::Grammar(clip.grammar.clone()))?;
    if !options.word_list {
        return Ok(ear.listen(&graph, rate)?);
    }
    let mut words: Vec<String> = graph.arcs.into_iter().filter_map(|arc| arc.word).collect();
    words.sort();
    words.dedup();
    Ok(ear.listen_word_list(&words, rate)?)
}

/// What another recogniser heard in these clips, each by its line, with the seconds of sound.
fn heard_elsewhere(path: &Path, clips: &[Clip]) -> Result<Vec<(HeardAll, f64)>, HearError> {
    let heard = elsewhere::read(path)?;
    let other = clips
        .iter()
        .zip(&heard)
        .position(|(clip, (path, _))| !clip.path.ends_with(path))
        .or_else(|| (clips.len() != heard.len()).then_some(clips.len().min(heard.len())));
    if let Some(at) = other {
        return Err(HearError::Table {
            path: path.to_owned(),
            line: at + 1,
            fault: format!(
                "not the clip that stands in the list at this place ({} clips, {} lines). Write one line for each clip, in the order of the list.",
                clips.len(),
                heard.len()
            ),
        });
    }
    clips
        .iter()
        .zip(&heard)
        .map(|(clip, (_, words))| Ok((words.heard(), sound::read(&clip.path)?.seconds())))
        .collect()
}

/// What is counted for one clip.
#[derive(Debug, Clone, Copy, Default)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "one for each column that is counted"
)]
struct Score {
    words: usize,
    word_errors: usize,
    sentence_error: bool,
    value_error: bool,
    same_value: bool,
    empty: bool,
    false_accept: bool,
}

impl Score {
    fn of(clip: &Clip, heard: &HeardAll) -> Self {
        let said = spelled(&clip.transcript);
        let got = spelled(&heard.phrase);
        if said.is_empty() {
            return Self {
                false_accept: !got.is_empty(),
                ..Self::default()
            };
        }
        let word_errors = word_errors(&said, &got);
        let values = value(&said.join(" ")).zip(value(&got.join(" ")));
        Self {
            words: said.len(),
            word_errors,
            sentence_error: word_errors > 0,
            value_error: values.as_ref().is_some_and(|(said, got)| said != got),
            same_value: values.is_some_and(|(said, got)| said == got),
            empty: got.is_empty(),
            false_accept: false,
        }
    }

    fn verdict(&self) -> &'static str {
        match self {
            Self {
                false_accept: true, ..
            } => "false_accept",
            Self { empty: true, .. } => "empty",
            Self {
                value_error: true, ..
            } => "value_error",
            Self {
                sentence_error: true,
                same_value: true,
                ..
            } => "same_value",
            Self {
                sentence_error: true,
                ..
            } => "sentence_error",
            _ => "right",
        }
    }
}

/// Words as they are compared: lower case, hyphens as spaces, no punctuation.
fn spelled(text: &str) -> Vec<String> {
    text.to_lowercase()
        .split(|c: char| c.is_whitespace() || c == '-')
        .map(|word| {
            word.chars()
                .filter(|c| c.is_alphanumeric() || *c == '\'')
                .collect::<String>()
        })
        .filter(|word| !word.is_empty())
        .collect()
}

/// The least number of words to replace, leave out or put in (Levenshtein, 1965).
fn word_errors(said: &[String], got: &[String]) -> usize {
    let mut row: Vec<usize> = (0..=got.len()).collect();
    for (i, a) in said.iter().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, b) in got.iter().enumerate() {
            let replaced = diagonal + usize::from(a != b);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(row[j + 1] + 1);
        }
    }
    row[got.len()]
}

/// The sums over a group.
#[derive(Debug, Clone, Default)]
struct Figures {
    clips: usize,
    words: usize,
    word_errors: usize,
    sentence_errors: usize,
    value_errors: usize,
    empty: usize,
    false_accepts: usize,
    waits: Vec<f64>,
    busy: f64,
    sound: f64,
}

impl Figures {
    fn add(&mut self, score: &Score, heard: &HeardAll, seconds: f64) {
        self.clips += 1;
        self.words += score.words;
        self.word_errors += score.word_errors;
        self.sentence_errors += usize::from(score.sentence_error);
        self.value_errors += usize::from(score.value_error);
        self.empty += usize::from(score.empty);
        self.false_accepts += usize::from(score.false_accept);
        self.waits.push(heard.last);
        self.busy += heard.busy;
        self.sound += seconds;
    }

    fn write(&self, name: &str, out: &mut impl Write) -> std::io::Result<()> {
        let mut waits = self.waits.clone();
        waits.sort_by(f64::total_cmp);
        writeln!(
            out,
            "{name}\t{}\t{}\t{}\t{}\t{}\t{}\t{}\t{:.1}\t{:.1}\t{:.4}",
            self.clips,
            self.words,
            self.word_errors,
            self.sentence_errors,
            self.value_errors,
            self.empty,
            self.false_accepts,
            1000.0 * nearest_rank(&waits, 50),
            1000.0 * nearest_rank(&waits, 95),
            if self.sound > 0.0 {
                self.busy / self.sound
            } else {
                0.0
            },
        )
    }
}

/// The percentile by the nearest-rank method; 0 of nothing.
fn nearest_rank(sorted: &[f64], percent: usize) -> f64 {
    let rank = (sorted.len() * percent).div_ceil(100);
    sorted.get(rank.saturating_sub(1)).copied().unwrap_or(0.0)
}

/// Reads a list of clips: tab-separated, with a header that names the columns.
fn read_table(table: &Path) -> Result<Vec<Clip>, HearError> {
    let text = std::fs::read_to_string(table).map_err(|fault| HearError::Read {
        path: table.to_owned(),
        fault,
    })?;
    let faulty = |line: usize, fault: String| HearError::Table {
        path: table.to_owned(),
        line,
        fault,
    };
    let folder = table.parent().unwrap_or(Path::new(""));
    let mut lines = text
        .lines()
        .enumerate()
        .map(|(at, line)| (at + 1, line.trim_end_matches('\r')))
        .filter(|(_, line)| !line.trim().is_empty() && !line.starts_with("# "));
    let (header_line, header) = lines.next().ok_or_else(|| {
        faulty(1, "the list is empty. Give it a header: path, transcript, group and optionally grammar, with tabs between.".to_owned())
    })?;
    let columns: HashMap<&str, usize> = header
        .split('\t')
        .enumerate()
        .map(|(at, name)| (name.trim(), at))
        .collect();
    let column = |name: &str| {
        columns.get(name).copied().ok_or_else(|| {
            faulty(header_line, format!("the header has no column '{name}'. Write: path, transcript, group and optionally grammar, with tabs between."))
        })
    };
    let (path, transcript, group) = (column("path")?, column("transcript")?, column("group")?);
    let grammar = columns.get("grammar").copied();
    lines
        .map(|(at, line)| {
            let cells: Vec<&str> = line.split('\t').map(str::trim).collect();
            let cell = |column: usize| cells.get(column).copied().unwrap_or("");
            if cell(path).is_empty() || cell(group).is_empty() {
                return Err(faulty(at, "the path or the group is missing. Fill both in; only the transcript may be empty (nothing to be heard).".to_owned()));
            }
            let grammar = grammar.map(cell).filter(|name| !name.is_empty()).unwrap_or("all");
            if named(grammar).is_none() {
                return Err(faulty(at, format!("there is no grammar '{grammar}'. Use all, numbers, digits, yes-no, tag or commands.")));
            }
            Ok(Clip {
                path: folder.join(cell(path)),
                transcript: cell(transcript).to_owned(),
                group: cell(group).to_owned(),
                grammar: grammar.to_owned(),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn errors(said: &str, got: &str) -> usize {
        word_errors(&spelled(said), &spelled(got))
    }

    #[test]
    fn word_errors_are_the_least_edits() {
        assert_eq!(errors("four point zero two", "four point zero two"), 0);
        assert_eq!(errors("four point zero two", "four zero two"), 1);
        assert_eq!(errors("four point zero two", "four point five zero two"), 1);
        assert_eq!(errors("fifteen", "fifty"), 1);
        assert_eq!(errors("one two three", ""), 3);
        assert_eq!(errors("", "no"), 1);
        assert_eq!(errors("one two", "two one"), 2);
    }

    #[test]
    fn spelling_does_not_count() {
        assert_eq!(errors("X-Ray, Victor.", "x-ray victor"), 0);
        assert_eq!(errors("twenty-one", "twenty one"), 0);
    }

    #[test]
    fn percentiles_are_of_the_nearest_rank() {
        let hundred: Vec<f64> = (1..=100).map(f64::from).collect();
        assert!((nearest_rank(&hundred, 50) - 50.0).abs() < 1e-9);
        assert!((nearest_rank(&hundred, 95) - 95.0).abs() < 1e-9);
        assert!((nearest_rank(&[7.0], 95) - 7.0).abs() < 1e-9);
        assert!(nearest_rank(&[], 95).abs() < 1e-9);
    }

    fn read(text: &str) -> Result<Vec<Clip>, String> {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("list.tsv");
        std::fs::write(&path, text).expect("written");
        read_table(&path).map_err(|fault| {
            let fault = fault.to_string();
            let name = fault.find("list.tsv").unwrap_or(0);
            fault[name..].to_owned()
        })
    }

    #[test]
    fn columns_are_found_by_name_and_the_grammar_may_be_left_out() {
        let clips = read("group\tpath\ttranscript\n# a comment\ng\t/a.wav\tyes\r\n\ng\t/b.wav\t\n")
            .expect("read");
        assert_eq!(clips.len(), 2);
        assert_eq!(clips[0].path, Path::new("/a.wav"));
        assert_eq!(clips[0].transcript, "yes");
        assert_eq!(clips[0].grammar, "all");
        assert_eq!(clips[1].transcript, "");
    }

    #[test]
    fn faults_of_a_list_have_their_line_and_a_fix() {
        let head = "path\ttranscript\tgroup\tgrammar\n";
        assert!(
            read("")
                .expect_err("refused")
                .contains("line 1: the list is empty")
        );
        assert_eq!(
            read("path\tgroup\n").expect_err("refused"),
            "list.tsv, line 1: the header has no column 'transcript'. Write: path, transcript, group and optionally grammar, with tabs between."
        );
        assert!(
            read(&format!("{head}a.wav\tyes\t\n"))
                .expect_err("refused")
                .starts_with("list.tsv, line 2: ")
        );
        assert_eq!(
            read(&format!("{head}a.wav\tyes\tg\tall\na.wav\tyes\tg\tpoems\n"))
                .expect_err("refused"),
            "list.tsv, line 3: there is no grammar 'poems'. Use all, numbers, digits, yes-no, tag or commands."
        );
    }
}

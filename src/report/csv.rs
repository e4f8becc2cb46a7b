//! The record as CSV (RFC 4180): one row for each plate item, limit, answer,
//! figure and input of a finding, decision, thing left out, hold, event and ear that listened, by record.
//!
//! A text that a spreadsheet would take for a formula gets an apostrophe in
//! front; numbers stay numbers.

use super::plain::plain;
use super::types::{
    Answer, Decision, EarLine, Event, FindingLine, HowLine, LimitLine, PlateLine, Report, Skip,
    Time,
};
use crate::calc::finding::Grade;

/// Why no CSV could be made.
#[derive(Debug, thiserror::Error)]
pub enum CsvError {
    /// A row could not be written.
    #[error(
        "a row of the CSV could not be written: {0}. Make the record again; if it stays, report it as a fault of Sayback"
    )]
    Row(#[from] ::csv::Error),
    /// The rows could not be gathered.
    #[error(
        "the CSV could not be finished: {0}. Make the record again; if it stays, report it as a fault of Sayback"
    )]
    Finish(String),
}

/// The columns, in order.
const COLUMNS: [&str; 33] = [
    "seq",
    "utc",
    "local",
    "row",
    "stage",
    "step",
    "title",
    "point_percent",
    "direction",
    "column",
    "value",
    "unit",
    "uncertainty",
    "channel",
    "heard",
    "doubt",
    "by",
    "relayed_by",
    "attempt",
    "counts",
    "out_of_range",
    "corrects",
    "corrected_by",
    "reason",
    "verdict",
    "grade",
    "clip",
    "tag",
    "job",
    "calculation",
    "unrounded",
    "limit",
    "tur",
];

/// The record as CSV in UTF-8.
///
/// # Errors
/// If a row cannot be written, which would be a fault of Sayback.
pub fn csv(report: &Report) -> Result<Vec<u8>, CsvError> {
    let mut rows: Vec<Row> = Vec::new();
    rows.extend(report.plate.iter().map(Row::plate));
    rows.extend(report.answers.iter().map(Row::answer));
    rows.extend(report.findings.iter().flat_map(Row::finding));
    rows.extend(report.findings.iter().flat_map(Row::inputs));
    rows.extend(report.decisions.iter().map(Row::decision));
    rows.extend(report.limits.iter().map(Row::limit));
    rows.extend(report.skipped.iter().map(Row::skip));
    rows.extend(report.events.iter().map(Row::event));
    rows.extend(report.head.ears.iter().map(Row::ear));
    rows.extend(report.holds.iter().map(|hold| {
        Row::of("hold", Some(hold.seq), Some(&hold.time))
            .text("title", &hold.title)
            .number("value", &hold.seconds)
            .text("unit", "s")
    }));
    if let Some(since) = &report.since {
        rows.extend(since.lines.iter().map(|line| {
            Row::of("since last as left", Some(line.seq), None)
                .text("title", &line.measures)
                .number("point_percent", line.point.as_deref().unwrap_or_default())
                .maybe("direction", line.direction)
                .number("value", line.drift.as_deref().unwrap_or_default())
                .maybe("unit", line.unit.as_deref())
                .number("unrounded", line.per_year.as_deref().unwrap_or_default())
                .text("reason", &line.words)
        }));
    }
    // Stable: what comes from one record keeps its order.
    rows.sort_by_key(|row| row.seq);
    let mut writer = ::csv::WriterBuilder::new()
        .terminator(::csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    for row in rows {
        let row = row
            .text("tag", report.head.tag.as_deref().unwrap_or_default())
            .text("job", &report.head.job);
        writer.write_record(&row.cells)?;
    }
    writer
        .into_inner()
        .map_err(|error| CsvError::Finish(error.to_string()))
}

/// A row being filled in.
struct Row {
    seq: Option<u64>,
    cells: [String; COLUMNS.len()],
}

impl Row {
    fn of(kind: &'static str, seq: Option<u64>, time: Option<&Time>) -> Self {
        let row = Self {
            seq,
            cells: std::array::from_fn(|_| String::new()),
        };
        let row = row
            .text("row", kind)
            .number("seq", &seq.map_or_else(String::new, |seq| seq.to_string()));
        match time {
            Some(time) => row.text("utc", &time.utc).text("local", &time.local),
            None => row,
        }
    }

    fn set(mut self, column: &str, cell: String) -> Self {
        if let Some(at) = COLUMNS.iter().position(|name| *name == column) {
            self.cells[at] = cell;
        }
        self
    }

    fn text(self, column: &str, text: &str) -> Self {
        self.set(column, safe_text(text))
    }

    fn maybe(self, column: &str, text: Option<&str>) -> Self {
        self.text(column, text.unwrap_or_default())
    }

    /// A number as it is; anything else is taken as a text.
    fn number(self, column: &str, number: &str) -> Self {
        if is_number(number) {
            self.set(column, number.to_owned())
        } else {
            self.text(column, number)
        }
    }

    fn how(self, how: &HowLine) -> Self {
        self.text("channel", how.channel)
            .text("heard", &how.heard)
            .maybe("doubt", how.doubt.as_deref())
            .maybe("by", how.by.as_deref())
            .maybe("relayed_by", how.relayed_by.as_deref())
            .maybe("clip", how.clip.as_deref())
    }

    fn plate(line: &PlateLine) -> Self {
        let row = Self::of("plate", line.seq, line.time.as_ref())
            .text("step", &line.id)
            .text("title", &line.title)
            .maybe("unit", line.unit.as_deref())
            .text("counts", "counts");
        // Only what the job asks for as a number is one; an order number is a text.
        let row = if line.unit.is_some() {
            row.number("value", &line.value)
        } else {
            row.text("value", &line.value)
        };
        match &line.how {
            Some(how) => row.how(how),
            None => row,
        }
    }

    fn answer(answer: &Answer) -> Self {
        let row = Self::of("answer", Some(answer.seq), Some(&answer.time))
            .text("stage", answer.stage.words())
            .text("step", &answer.step)
            .text("title", &answer.title)
            .number("point_percent", answer.point.as_deref().unwrap_or_default())
            .maybe("direction", answer.direction)
            .maybe("column", answer.column.as_deref())
            .maybe("unit", answer.unit.as_deref())
            .maybe("uncertainty", answer.uncertainty.as_deref())
            .number("attempt", &answer.attempt.to_string())
            .text("counts", answer.counts.words())
            .text("out_of_range", if answer.out_of_range { "yes" } else { "" })
            .number(
                "corrects",
                &answer
                    .corrects
                    .map_or_else(String::new, |seq| seq.to_string()),
            )
            .number(
                "corrected_by",
                &answer
                    .corrected_by
                    .map_or_else(String::new, |seq| seq.to_string()),
            )
            .maybe("reason", answer.reason.as_deref())
            .how(&answer.how);
        if answer.unit.is_some() {
            row.number("value", &answer.value)
        } else {
            row.text("value", &answer.value)
        }
    }

    /// One row for each figure; one without a value where there is none.
    fn finding(finding: &FindingLine) -> Vec<Self> {
        let row = || {
            Self::of("finding", Some(finding.seq), Some(&finding.time))
                .maybe("stage", finding.stage.map(crate::job::Stage::words))
                .text("step", &finding.step)
                .text("title", &finding.title)
                .text("verdict", &finding.verdict)
                .text("grade", grade(finding.grade))
                .text("reason", &finding.reason)
                .maybe("calculation", finding.calculation.as_deref())
                .text(
                    "counts",
                    match (finding.latest, &finding.outdated, &finding.put_right) {
                        (true, None, _) => "counts",
                        (true, Some(_), _) => "from a value that was replaced afterwards",
                        (false, _, None) => "earlier attempt",
                        (false, _, Some(_)) => "before a correction",
                    },
                )
        };
        if finding.figures.is_empty() {
            return vec![row()];
        }
        finding
            .figures
            .iter()
            .map(|figure| {
                row()
                    .text("column", &figure.name)
                    .number("value", &figure.value)
                    .text("unit", &figure.unit)
                    .number("unrounded", figure.unrounded.as_deref().unwrap_or_default())
            })
            .collect()
    }

    /// What a finding was worked out from, one row each, so that it can be worked out again.
    fn inputs(finding: &FindingLine) -> Vec<Self> {
        finding
            .inputs
            .iter()
            .map(|(name, value)| {
                Self::of("input", Some(finding.seq), Some(&finding.time))
                    .text("step", &finding.step)
                    .text("column", name)
                    .number("value", value)
                    .maybe("calculation", finding.calculation.as_deref())
            })
            .collect()
    }

    /// The value stands without its unit, which is that of the figure.
    fn decision(decision: &Decision) -> Self {
        let (value, unit) = decision
            .value
            .split_once([' ', '\u{A0}'])
            .unwrap_or((&decision.value, ""));
        Self::of("decision", Some(decision.seq), None)
            .maybe("stage", decision.stage.map(crate::job::Stage::words))
            .text("title", &decision.title)
            .text("column", &decision.what)
            .number("value", value)
            .text("unit", unit)
            .maybe("uncertainty", decision.uncertainty.as_deref())
            .maybe("verdict", decision.class.as_deref())
            .text("grade", decision.simple())
            .text("limit", &decision.limit)
            .number("tur", decision.tur.as_deref().unwrap_or_default())
            .text("reason", &decision.limit_from)
            .maybe("doubt", decision.note.as_deref())
    }

    fn limit(limit: &LimitLine) -> Self {
        Self::of("limit", None, None)
            .text("step", &limit.id)
            .text("title", &limit.about)
            .number("value", &limit.value)
            .text("unit", &limit.unit)
            .text("reason", &limit.source)
            .maybe("doubt", limit.replaced.as_deref())
    }

    fn skip(skip: &Skip) -> Self {
        Self::of(
            if skip.unable { "unable" } else { "skipped" },
            Some(skip.seq),
            Some(&skip.time),
        )
        .maybe("stage", skip.stage.map(crate::job::Stage::words))
        .text("step", &skip.step)
        .text("title", &skip.title)
        .text("reason", &skip.reason)
        .how(&skip.how)
    }

    fn ear(ear: &EarLine) -> Self {
        Self::of("ear", Some(ear.seq), None)
            .text("title", "What listened")
            .text("column", ear.which.words())
            .maybe("by", ear.fitted_to.as_deref())
            .text("value", &ear.words)
            .maybe("reason", ear.weights_hash.as_deref())
    }

    fn event(event: &Event) -> Self {
        let row = Self::of("event", Some(event.seq), Some(&event.time))
            .text("title", event.kind.words())
            .maybe("step", event.at.as_deref())
            .text("value", &event.text);
        match &event.how {
            Some(how) => row.how(how),
            None => row,
        }
    }
}

/// A cell that no spreadsheet takes for a formula; a number stays one.
pub(super) fn safe_text(text: &str) -> String {
    let text = plain(text);
    if is_formula(&text) {
        format!("'{text}")
    } else {
        text
    }
}

/// The grade in a word.
pub(super) fn grade(grade: Grade) -> &'static str {
    match grade {
        Grade::Good => "good",
        Grade::Watch => "watch",
        Grade::Bad => "bad",
        Grade::CannotTell => "cannot tell",
    }
}

/// True for what spreadsheets take for a formula. Common practice: the signs that begin one, also behind blanks.
fn is_formula(text: &str) -> bool {
    text.trim_start().starts_with([
        '=', '+', '-', '@', '\u{FF1D}', '\u{FF0B}', '\u{FF0D}', '\u{FF20}', '\u{2212}',
    ]) || text.starts_with(['\t', '\r', '\n'])
}

/// An optional minus, digits, and optionally a point with digits.
fn is_number(text: &str) -> bool {
    let digits = text.strip_prefix('-').unwrap_or(text);
    let (whole, part) = digits.split_once('.').unwrap_or((digits, "0"));
    let all_digits =
        |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    all_digits(whole) && all_digits(part)
}

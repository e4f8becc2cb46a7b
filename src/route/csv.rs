//! A route as a table, as a plant's own list or a spreadsheet gives it: one line of
//! column names, one line an actuator. Holds nothing.
//!
//! Which cells a line has is read by the `csv-core` crate (RFC 4180); here each cell
//! gets its place in the file, so that every fault can show it.

use csv_core::{ReadFieldResult, ReaderBuilder};

use super::check::{Draft, Row};
use crate::job::load::fault::{Faults, Span, shown};
use crate::job::load::table::{NAME, SENTENCE, Text, is_id};
use crate::job::sheet::GivenLimit;

/// Columns that every route can have, whatever its jobs.
const COLUMNS: [&str; 8] = [
    "tag",
    "job",
    "area",
    "group",
    "critical",
    "by",
    "relayed-by",
    "note",
];
/// Begins the name of a column that is not read.
const LEFT_OUT: char = '#';

/// What one column holds.
#[derive(Clone, Debug, PartialEq)]
enum Column {
    LeftOut,
    Own(&'static str),
    Plate(Text),
    Limit(Text),
    LimitSource(Text),
}

pub(super) fn read(text: &str, file_name: &str, faults: &mut Faults) -> Option<Draft> {
    let separator = separator(text, faults)?;
    let mut lines = lines(text, separator, faults).into_iter();
    let head = lines.next()?;
    let columns = columns(&head, faults);
    let mut rows = Vec::new();
    for cells in lines {
        if let Some(row) = row(&cells, &columns, separator, faults) {
            rows.push(row);
        }
    }
    if !faults.is_empty() {
        return None;
    }
    let (id, title) = name(file_name);
    Some(Draft {
        id,
        title,
        from: None,
        rows,
        head: "column ",
    })
}

/// Comma, semicolon or tab: the one that stands in the line of column names.
fn separator(text: &str, faults: &mut Faults) -> Option<u8> {
    let start = text.len() - text.trim_start_matches(['\r', '\n']).len();
    let line = text[start..].lines().next().unwrap_or_default();
    let mut found: Vec<u8> = Vec::new();
    let mut quoted = false;
    for byte in line.bytes() {
        match byte {
            b'"' => quoted = !quoted,
            b',' | b';' | b'\t' if !quoted && !found.contains(&byte) => found.push(byte),
            _ => {}
        }
    }
    match found[..] {
        [one] => Some(one),
        [] => {
            faults.add(
                &(start..start + line.len()),
                "one column only, or columns apart by something else than , ; or tab",
                "the first line holds the names of the columns, at least tag and job, apart by comma, semicolon or tab",
            );
            None
        }
        _ => {
            let names: Vec<&str> = found.iter().map(|byte| separator_name(*byte)).collect();
            faults.add(
                &(start..start + line.len()),
                format!("the line of column names holds {}", names.join(" and ")),
                "put one of them between the columns; a name that holds the other one stands in quotes",
            );
            None
        }
    }
}

fn separator_name(separator: u8) -> &'static str {
    match separator {
        b',' => "comma",
        b';' => "semicolon",
        _ => "tab",
    }
}

/// The cells of each line that has any, each with its place.
fn lines(text: &str, separator: u8, faults: &mut Faults) -> Vec<Vec<Text>> {
    let bytes = text.as_bytes();
    let mut reader = ReaderBuilder::new().delimiter(separator).build();
    let mut lines = Vec::new();
    let mut cells = Vec::new();
    let mut output = vec![0; bytes.len() + 1];
    let mut at = 0;
    loop {
        let (result, read, written) = reader.read_field(&bytes[at..], &mut output);
        let raw = at..at + read;
        at += read;
        match result {
            ReadFieldResult::Field { record_end } => {
                cells.push(cell(text, &raw, separator, &output[..written], faults));
                if record_end {
                    take_line(&mut lines, &mut cells);
                }
            }
            // Everything was given at once: what is left is the last cell, ended by the end of the file.
            ReadFieldResult::InputEmpty => {
                let (last, _, more) = reader.read_field(&[], &mut output[written..]);
                if let ReadFieldResult::Field { .. } = last {
                    let whole = output[..written + more].to_vec();
                    cells.push(cell(text, &raw, separator, &whole, faults));
                    take_line(&mut lines, &mut cells);
                }
                return lines;
            }
            // The output is as long as the input, and a cell is never longer than what it is read from.
            ReadFieldResult::OutputFull | ReadFieldResult::End => return lines,
        }
    }
}

fn take_line(lines: &mut Vec<Vec<Text>>, cells: &mut Vec<Text>) {
    let line = std::mem::take(cells);
    // Spreadsheets leave lines of nothing but separators behind.
    if line.iter().any(|cell| !cell.text.is_empty()) {
        lines.push(line);
    }
}

fn cell(text: &str, raw: &Span, separator: u8, content: &[u8], faults: &mut Faults) -> Text {
    let found = &text[raw.clone()];
    let body = found
        .trim_start_matches(['\r', '\n'])
        .trim_end_matches(['\r', '\n']);
    let body = body.strip_suffix(char::from(separator)).unwrap_or(body);
    // An empty last cell is all line end: its place is before that.
    let start = if body.is_empty() {
        raw.start
    } else {
        raw.start + (found.len() - found.trim_start_matches(['\r', '\n']).len())
    };
    let span = start..start + body.len();
    let quoted = body.trim_start().starts_with('"');
    let closed = body.trim_end().len() >= 2 && body.trim_end().ends_with('"');
    let quotes = body.matches('"').count();
    if quoted && (!closed || quotes % 2 == 1 || !body.starts_with('"') || !body.ends_with('"')) {
        let end = body.find('\n').map_or(span.end, |at| span.start + at);
        faults.add(
            &(span.start..end),
            "a cell in quotes is not closed before the next cell",
            "close it with one quote, and write a quote inside it twice: \"6\"\" valve\"",
        );
    }
    // The content comes from a text, with only ASCII taken out.
    let content = String::from_utf8_lossy(content);
    Text {
        text: content.trim().to_owned(),
        span,
    }
}

fn columns(head: &[Text], faults: &mut Faults) -> Vec<Column> {
    let mut columns: Vec<Column> = Vec::new();
    for cell in head {
        let column = column(cell, faults);
        if column != Column::LeftOut && columns.iter().any(|other| same(other, &column)) {
            faults.add(
                &cell.span,
                format!("a second column {}", shown(&cell.text)),
                "each column stands there once",
            );
        }
        columns.push(column);
    }
    for wanted in ["tag", "job"] {
        if !columns.contains(&Column::Own(wanted)) {
            let end = head.last().map_or(0, |cell| cell.span.end);
            let start = head.first().map_or(0, |cell| cell.span.start);
            let near = head
                .iter()
                .find(|cell| crate::spelling::distance(&id_of(&cell.text), wanted) == 1);
            let fix = near.map_or_else(
                || format!("name one column {wanted}"),
                |cell| {
                    format!(
                        "name one column {wanted}; \"{}\" may be it",
                        shown(&cell.text)
                    )
                },
            );
            faults.add(&(start..end), format!("there is no column {wanted}"), fix);
        }
    }
    columns
}

/// The same column, whatever its place in the file.
fn same(one: &Column, other: &Column) -> bool {
    match (one, other) {
        (Column::Plate(one), Column::Plate(other))
        | (Column::Limit(one), Column::Limit(other))
        | (Column::LimitSource(one), Column::LimitSource(other)) => one.text == other.text,
        _ => one == other,
    }
}

fn column(cell: &Text, faults: &mut Faults) -> Column {
    if cell.text.starts_with(LEFT_OUT) {
        return Column::LeftOut;
    }
    let id = id_of(&cell.text);
    if let Some(own) = COLUMNS.iter().find(|own| **own == id) {
        return Column::Own(own);
    }
    let named = |id: &str| Text {
        text: id.to_owned(),
        span: cell.span.clone(),
    };
    if !is_id(&id) {
        let what = if cell.text.is_empty() {
            "a column without a name".to_owned()
        } else {
            format!("\"{}\" is no name of a column", shown(&cell.text))
        };
        faults.add(
            &cell.span,
            what,
            format!("name it after what the job takes, or begin its name with {LEFT_OUT} to have it left out"),
        );
        return Column::LeftOut;
    }
    if let Some(limit) = id.strip_prefix("limit-") {
        return match limit.strip_suffix("-source") {
            Some(limit) => Column::LimitSource(named(limit)),
            None => Column::Limit(named(limit)),
        };
    }
    // A plate item can have the name of a column of the route: `plate by` are the initials.
    Column::Plate(named(id.strip_prefix("plate-").unwrap_or(&id)))
}

/// A column name as an id: "Pot nominal" is pot-nominal.
fn id_of(name: &str) -> String {
    name.to_lowercase()
        .split(|c: char| c.is_whitespace() || c == '_' || c == '-')
        .filter(|part| !part.is_empty())
        .collect::<Vec<&str>>()
        .join("-")
}

fn row(cells: &[Text], columns: &[Column], separator: u8, faults: &mut Faults) -> Option<Row> {
    let span = cells.first()?.span.start..cells.last()?.span.end;
    if cells.len() != columns.len() {
        let what = format!(
            "this line has {} cell{}, the line of column names {}",
            cells.len(),
            if cells.len() == 1 { "" } else { "s" },
            columns.len()
        );
        let fix = if cells.len() > columns.len() && separator == b',' {
            "a cell that holds a comma stands in quotes; a decimal is written with a point"
        } else if cells.len() > columns.len() {
            "a cell that holds the separator stands in quotes"
        } else {
            "give each column its cell, empty where nothing is known"
        };
        faults.add(&span, what, fix);
        return None;
    }
    let mut row = Row {
        span,
        ..Row::default()
    };
    let mut limits: Vec<(Text, Text)> = Vec::new();
    let mut sources: Vec<(Text, Text)> = Vec::new();
    for (cell, column) in cells.iter().zip(columns) {
        if cell.text.is_empty() || *column == Column::LeftOut {
            continue;
        }
        let most = match column {
            Column::Own("note" | "job") | Column::LimitSource(_) => SENTENCE,
            _ => NAME,
        };
        let length = cell.text.chars().count();
        if length > most {
            faults.add(
                &cell.span,
                format!("this cell has {length} characters"),
                format!("use at most {most}"),
            );
            continue;
        }
        if cell.text.contains(['\n', '\r', '\t']) {
            faults.add(
                &cell.span,
                "a cell goes over more than one line, or holds a tab",
                "write it on one line, with spaces",
            );
            continue;
        }
        let text = Some(cell.clone());
        match column {
            Column::Own("tag") => row.tag = text,
            Column::Own("job") => row.job = text,
            Column::Own("area") => row.area = text,
            Column::Own("group") => row.group = text,
            Column::Own("by") => row.by = text,
            Column::Own("relayed-by") => row.relayed_by = text,
            Column::Own("note") => row.note = text,
            Column::Own("critical") => row.critical = is_critical(cell, faults),
            Column::Own(_) | Column::LeftOut => {}
            Column::Plate(id) => row.plate.push((id.clone(), cell.clone())),
            Column::Limit(id) => limits.push((id.clone(), cell.clone())),
            Column::LimitSource(id) => sources.push((id.clone(), cell.clone())),
        }
    }
    for (id, value) in limits {
        let source = sources.iter().position(|(of, _)| of.text == id.text);
        let Some(source) = source.map(|at| sources.remove(at)) else {
            faults.add(
                &value.span,
                format!("the limit {} has no source", id.text),
                format!("say where it comes from in a column \"limit {} source\": order and page, data sheet", id.text),
            );
            continue;
        };
        row.limits.push(GivenLimit {
            id,
            value,
            unit: None,
            source: source.1.text,
        });
    }
    for (id, source) in sources {
        faults.add(
            &source.span,
            format!("the source of a limit {} that is not given", id.text),
            format!(
                "give the limit in a column \"limit {}\", or leave this cell empty",
                id.text
            ),
        );
    }
    Some(row)
}

fn is_critical(cell: &Text, faults: &mut Faults) -> bool {
    match cell.text.to_lowercase().as_str() {
        "yes" | "y" | "x" | "true" => true,
        "no" | "n" | "false" => false,
        _ => {
            faults.add(
                &cell.span,
                format!(
                    "\"{}\" under critical is neither yes nor no",
                    shown(&cell.text)
                ),
                "write yes or no; empty is no",
            );
            false
        }
    }
}

/// The route is named after its file: as an id, and as it is shown.
fn name(file_name: &str) -> (String, String) {
    let stem = std::path::Path::new(file_name)
        .file_stem()
        .map(|stem| stem.to_string_lossy().into_owned())
        .unwrap_or_default();
    let mut id: String = stem
        .to_lowercase()
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
        .take(40)
        .collect();
    if id.is_empty() {
        "route".clone_into(&mut id);
    }
    let title: String = shown(&stem).chars().take(NAME).collect();
    (id, title)
}

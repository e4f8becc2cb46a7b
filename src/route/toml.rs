//! A route as TOML. Holds nothing.

use toml::de::DeValue;

use super::check::{Draft, Row};
use crate::job::JobErrors;
use crate::job::load::fault::{Faults, Span};
use crate::job::load::table::{NAME, SENTENCE, Table, Text, check_id};
use crate::job::load::{FORMAT, document};
use crate::job::sheet::{limits_given, plate_given};

pub(super) fn read(
    text: &str,
    file_name: &str,
    faults: &mut Faults,
) -> Result<Option<Draft>, JobErrors> {
    let document = document(text, file_name)?;
    let mut table = Table::root(&document, "the head of the route");
    if let Some(format) = table.need("format", FORMAT, faults)
        && !matches!(format.get_ref(), DeValue::Integer(number) if number.as_str() == FORMAT)
    {
        faults.add(
            &format.span(),
            "this form of route is not known",
            format!("write format = {FORMAT}"),
        );
    }
    let id = table.need_text("id", NAME, "\"week-48\"", faults);
    if !id.text.is_empty() {
        check_id(&id, faults);
    }
    let title = table.need_text("title", NAME, "\"Week 48, pump houses\"", faults);
    let from = table.text("from", 20, faults);
    if let Some(from) = &from {
        check_date(from, faults);
    }
    let job = table.text("job", SENTENCE, faults);
    let by = table.text("by", NAME, faults);
    let relayed_by = table.text("relayed-by", NAME, faults);
    let common = plate_given(faults, &mut table);
    for (id, _) in common.iter().filter(|(id, _)| id.text == "tag") {
        faults.add(
            &id.span,
            "one tag for every actuator",
            "give each [[actuator]] its own tag",
        );
    }
    let mut rows = Vec::new();
    for mut actuator in table.tables("actuator", "an actuator", faults) {
        let span = first_line(faults.text(), &actuator.span);
        rows.push(Row {
            span,
            tag: actuator.text("tag", NAME, faults),
            job: actuator.text("job", SENTENCE, faults).or(job.clone()),
            by: actuator.text("by", NAME, faults).or(by.clone()),
            relayed_by: actuator
                .text("relayed-by", NAME, faults)
                .or(relayed_by.clone()),
            area: actuator.text("area", NAME, faults),
            group: actuator.text("group", NAME, faults),
            critical: actuator.flag("critical", faults),
            note: actuator.text("note", SENTENCE, faults),
            plate: plate_given(faults, &mut actuator),
            common: common.clone(),
            limits: limits_given(faults, &mut actuator),
        });
        actuator.done(faults);
    }
    table.done(faults);
    Ok(Some(Draft {
        id: id.text,
        title: title.text,
        from: from.map(|from| from.text),
        rows,
        head: "",
    }))
}

fn check_date(from: &Text, faults: &mut Faults) {
    let date: Result<jiff::civil::Date, _> = from.text.parse();
    if from.text.len() != 10 || date.is_err() {
        faults.add(
            &from.span,
            format!("\"{}\" is no date", from.text),
            "write year, month and day, for example \"2026-11-23\"",
        );
    }
}

/// The head of a table: a fault of the whole of it is shown there.
fn first_line(text: &str, span: &Span) -> Span {
    let end = text
        .get(span.start..)
        .and_then(|rest| rest.find('\n'))
        .map_or(span.end, |at| span.start + at);
    span.start..end.min(span.end).max(span.start)
}

//! One `[[step]]` of a job file, key by key. Holds nothing.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use toml::Spanned;
use toml::de::DeValue;

use super::draft::{Draft, InputMention, Of, Owner};
use super::fault::shown;
use super::table::{NAME, SENTENCE, Table, Text, decimal, decimal_value, kind_of, text};
use crate::calc::finding::{spec, specs};
use crate::core::finding::CANNOT_TELL;
use crate::job::{
    Column, FindingStep, Outcome, ReadingSet, Source, Stage, Step, StepKind, Template,
};

const KINDS: [&str; 8] = [
    "instruction",
    "gate",
    "reading",
    "set",
    "choice",
    "hold",
    "finding",
    "memo",
];
const STAGES: [(&str, Stage); 5] = [
    ("safety", Stage::Safety),
    ("as-found", Stage::AsFound),
    ("adjust", Stage::Adjust),
    ("as-left", Stage::AsLeft),
    ("close", Stage::Close),
];
/// Longest hold, in seconds.
const LONGEST_HOLD: u32 = 3600;

/// Reads a step and adds it to the draft.
pub(in crate::job) fn read(draft: &mut Draft, mut table: Table) {
    let by = Owner::Step(draft.steps.len());
    let id = table.need_id(&mut draft.faults);
    if !id.text.is_empty() {
        table.name = format!("step \"{}\"", shown(&id.text));
    }
    let title = table.need_text("title", NAME, "\"Wiper to A\"", &mut draft.faults);
    let kind = table.need_text("kind", 20, "\"reading\"", &mut draft.faults);
    // A finding tells, and a set asks in its columns.
    let ask = if matches!(kind.text.as_str(), "finding" | "set") {
        table.text("ask", SENTENCE, &mut draft.faults)
    } else {
        Some(table.need_text("ask", SENTENCE, "\"Read wiper to A.\"", &mut draft.faults))
    };
    let ask = ask.map_or_else(Template::default, |ask| draft.template(&ask, by, false));
    let caution = table
        .text("caution", SENTENCE, &mut draft.faults)
        .map(|text| text.text);
    let stage = stage(draft, &mut table);
    let adjusts = table.flag("adjusts", &mut draft.faults);
    if adjusts && stage != Stage::Adjust {
        let fix = "give it stage = \"adjust\": what turns a screw is no reading";
        draft.faults.add(
            &id.span,
            format!(
                "step \"{}\" adjusts in stage \"{}\"",
                shown(&id.text),
                stage.words()
            ),
            fix,
        );
    }
    let when = draft.when(&mut table, by);
    let measures = table
        .text("measures", NAME, &mut draft.faults)
        .map(|text| text.text);
    let part = table.text("part", NAME, &mut draft.faults);
    let lifts = table.texts("lifts", NAME, &mut draft.faults);
    let restores = table.texts("restores", NAME, &mut draft.faults);
    let can_lift = matches!(kind.text.as_str(), "instruction" | "gate");
    if let (Some(thing), false) = (lifts.iter().chain(&restores).next(), can_lift) {
        let what = format!(
            "a step of kind \"{}\" lifts or restores something",
            shown(&kind.text)
        );
        draft.faults.add(
            &thing.span,
            what,
            "only an instruction or a gate says that it was done",
        );
    }
    if let (Some(part), true) = (&part, kind.text != "instruction") {
        let what = format!("a step of kind \"{}\" has a part", shown(&kind.text));
        draft.faults.add(
            &part.span,
            what,
            "only an instruction says that a part was repaired or replaced",
        );
    }
    let next = draft.target(&mut table, "next", by);
    let is_known = KINDS.contains(&kind.text.as_str());
    let kind = step_kind(draft, &mut table, &kind, by);
    // Which keys belong there, only the kind tells.
    if is_known {
        table.done(&mut draft.faults);
    }
    draft.steps.push(Step {
        id: id.text.clone(),
        title: title.text,
        ask,
        caution,
        stage,
        kind,
        when,
        measures,
        part: part.map(|text| text.text),
        lifts: lifts.iter().map(|text| text.text.clone()).collect(),
        restores: restores.iter().map(|text| text.text.clone()).collect(),
        adjusts,
        next,
    });
    draft.step_ids.push(id);
    draft.lifts.extend(lifts);
    draft.restores.extend(restores);
}

fn stage(draft: &mut Draft, table: &mut Table) -> Stage {
    let word = table.need_text("stage", 20, "\"as-found\"", &mut draft.faults);
    if let Some((_, stage)) = STAGES.iter().find(|(name, _)| *name == word.text) {
        return *stage;
    }
    if !word.text.is_empty() {
        draft.faults.unknown(
            &word.span,
            "stage",
            &word.text,
            STAGES.iter().map(|(name, _)| *name),
        );
    }
    Stage::Safety
}

fn step_kind(draft: &mut Draft, table: &mut Table, kind: &Text, by: Owner) -> StepKind {
    match kind.text.as_str() {
        "instruction" => StepKind::Instruction,
        "memo" => StepKind::Memo,
        "gate" => StepKind::Gate {
            refused: draft.target(table, "refused", by),
        },
        "reading" => StepKind::Reading(draft.range(table, by)),
        "choice" => StepKind::Choice(draft.options(table, by)),
        "hold" => StepKind::Hold {
            seconds: seconds(draft, table),
        },
        "set" => StepKind::ReadingSet(reading_set(draft, table, by)),
        "finding" => StepKind::Finding(finding(draft, table, by)),
        other => {
            if !other.is_empty() {
                draft
                    .faults
                    .unknown(&kind.span, "kind of step", other, KINDS.iter().copied());
            }
            StepKind::Memo
        }
    }
}

fn seconds(draft: &mut Draft, table: &mut Table) -> Decimal {
    let Some(value) = table.need("seconds", "\"4\"", &mut draft.faults) else {
        return Decimal::ONE;
    };
    let Some(seconds) = decimal_value(value, "`seconds`", &mut draft.faults) else {
        return Decimal::ONE;
    };
    if seconds < Decimal::ONE || seconds > Decimal::from(LONGEST_HOLD) {
        draft.faults.add(
            &value.span(),
            format!("a hold of {seconds} seconds"),
            format!("use 1 to {LONGEST_HOLD}"),
        );
    }
    seconds
}

fn reading_set(draft: &mut Draft, table: &mut Table, by: Owner) -> ReadingSet {
    let points = table.need(
        "points",
        "[\"0\", \"25\", \"50\", \"75\", \"100\"]",
        &mut draft.faults,
    );
    let point_texts = points
        .map(|value| super::table::texts(value, "points", 30, &mut draft.faults))
        .unwrap_or_default();
    let numbers: Vec<Decimal> = point_texts
        .iter()
        .filter_map(|text| decimal(text, &mut draft.faults))
        .collect();
    if let Some(points) = points {
        let rising = numbers.windows(2).all(|pair| pair[0] < pair[1]);
        if numbers.is_empty() || numbers.len() > 101 || !rising {
            draft.faults.add(
                &points.span(),
                "the points do not rise one by one",
                "give 1 to 101 points in % of travel, lowest first",
            );
        }
    }
    let both_ways = table.flag("both-ways", &mut draft.faults);
    let span = table.span.clone();
    let mut columns: Vec<Column> = Vec::new();
    for mut entry in table.tables("columns", "a column", &mut draft.faults) {
        let id = entry.need_id(&mut draft.faults);
        if columns.iter().any(|other| other.id == id.text) && !id.text.is_empty() {
            draft.faults.add(
                &id.span,
                format!("a second column \"{}\"", shown(&id.text)),
                "give each column its own id",
            );
        }
        let title = entry.need_text("title", NAME, "\"Position\"", &mut draft.faults);
        let ask = entry.need_text(
            "ask",
            SENTENCE,
            "\"Go to {signal}, then read the position.\"",
            &mut draft.faults,
        );
        let ask = draft.template(&ask, by, true);
        let range = draft.range(&mut entry, by);
        entry.done(&mut draft.faults);
        columns.push(Column {
            id: id.text,
            title: title.text,
            ask,
            range,
        });
    }
    if columns.is_empty() {
        draft.faults.add(
            &span,
            "a set without columns",
            "add columns = [{ … }] with id, title, ask, unit and expect",
        );
    }
    ReadingSet {
        points: numbers,
        both_ways,
        columns,
    }
}

fn finding(draft: &mut Draft, table: &mut Table, by: Owner) -> FindingStep {
    let calculation = table.need_text("calculation", 60, "\"pot-diagnosis\"", &mut draft.faults);
    let spec = spec(&calculation.text);
    if spec.is_none() && !calculation.text.is_empty() {
        draft.faults.unknown(
            &calculation.span,
            "calculation",
            &calculation.text,
            specs()
                .iter()
                .map(|spec| spec.name)
                .collect::<Vec<_>>()
                .into_iter(),
        );
    }
    let mut inputs = BTreeMap::new();
    let given = table.need("inputs", "{ r-ab = \"step.r-ab\" }", &mut draft.faults);
    if let Some(given) = given.and_then(|value| Table::new(value, "`inputs`", &mut draft.faults)) {
        for (name, value) in given.entries() {
            let known =
                spec.and_then(|spec| spec.inputs.iter().find(|input| input.name == name.text));
            if let (Some(spec), None) = (spec, known) {
                let what = format!("input of {}:", spec.name);
                draft.faults.unknown(
                    &name.span,
                    &what,
                    &name.text,
                    spec.inputs.iter().map(|input| input.name),
                );
            }
            let Some(source) = source(draft, value, by) else {
                continue;
            };
            if let (Some(known), Owner::Step(step)) = (known, by) {
                let span = value.span();
                draft.inputs.push(InputMention {
                    step,
                    name: known.name,
                    unit: known.unit,
                    source: source.clone(),
                    span,
                });
            }
            inputs.insert(name.text, source);
        }
        for input in spec.iter().flat_map(|spec| spec.inputs.iter()) {
            if input.required
                && !inputs.contains_key(input.name)
                && given
                    .entries()
                    .iter()
                    .all(|(name, _)| name.text != input.name)
            {
                let what = format!("{} needs the input \"{}\"", calculation.text, input.name);
                draft.faults.add(
                    &given.span,
                    what,
                    format!("add {} = \"step.ID\": {}", input.name, input.about),
                );
            }
        }
    }
    let mut outcomes = BTreeMap::new();
    if let Some(given) = table
        .take("outcomes")
        .and_then(|value| Table::new(value, "`outcomes`", &mut draft.faults))
    {
        for (verdict, value) in given.entries() {
            if let Some(spec) = spec {
                let known = spec
                    .verdicts
                    .iter()
                    .map(|verdict| verdict.name)
                    .chain([CANNOT_TELL]);
                if !known.clone().any(|name| name == verdict.text) {
                    draft.faults.unknown(
                        &verdict.span,
                        &format!("verdict of {}:", spec.name),
                        &verdict.text,
                        known,
                    );
                }
            }
            let Some(mut entry) = Table::new(value, "an outcome", &mut draft.faults) else {
                continue;
            };
            let next = draft.target(&mut entry, "next", by);
            let say = entry
                .text("say", SENTENCE, &mut draft.faults)
                .map(|text| draft.template(&text, by, false));
            if next.is_none() && say.is_none() {
                draft.faults.add(
                    &entry.span,
                    "an outcome that changes nothing",
                    "give it `next` or `say`, or leave it out",
                );
            }
            entry.done(&mut draft.faults);
            outcomes.insert(verdict.text, Outcome { next, say });
        }
    }
    FindingStep {
        calculation: calculation.text,
        inputs,
        outcomes,
    }
}

/// Where an input comes from.
fn source(draft: &mut Draft, value: &Spanned<DeValue>, by: Owner) -> Option<Source> {
    const FORMS: &str = "write \"step.ID\", \"plate.ID\", \"limit.ID\", \"rows.ID\", \"figure.STEP.FIGURE\", { number = \"10\" } or { word = \"rises\" }";
    let span = value.span();
    match value.get_ref() {
        DeValue::Table(_) => {
            let mut table = Table::new(value, "an input", &mut draft.faults)?;
            let number = table.take("number");
            let word = table.text("word", 40, &mut draft.faults);
            table.done(&mut draft.faults);
            match (number, word) {
                (Some(number), None) => {
                    decimal_value(number, "`number`", &mut draft.faults).map(Source::Number)
                }
                (None, Some(word)) => Some(Source::Word(word.text)),
                _ => {
                    draft
                        .faults
                        .add(&span, "an input comes from one place", FORMS);
                    None
                }
            }
        }
        DeValue::String(_) => {
            let text = text(value, "an input", 120, &mut draft.faults)?;
            let parts: Vec<&str> = text.text.split('.').collect();
            let id = |id: &str| id.to_owned();
            let (source, of) = match parts.as_slice() {
                ["step", step] => (Source::Step(id(step)), Of::Answer(id(step))),
                ["plate", item] => (Source::Plate(id(item)), Of::Plate(id(item))),
                ["limit", limit] => (Source::Limit(id(limit)), Of::Limit(id(limit))),
                ["rows", step] => (Source::Rows(id(step)), Of::Target(id(step))),
                ["figure", step, figure] => (
                    Source::Figure {
                        step: id(step),
                        figure: id(figure),
                    },
                    Of::Finding(id(step)),
                ),
                _ => {
                    draft.faults.add(
                        &span,
                        format!("\"{}\" is no source of an input", shown(&text.text)),
                        FORMS,
                    );
                    return None;
                }
            };
            // Rows are checked with the inputs, where their kind of step is known to be wanted.
            if !matches!(source, Source::Rows(_)) {
                draft.mention(by, of, &span);
            }
            Some(source)
        }
        other => {
            draft
                .faults
                .add(&span, format!("an input is {}", kind_of(other)), FORMS);
            None
        }
    }
}

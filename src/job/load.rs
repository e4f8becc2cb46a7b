//! From a job file to a checked [`Job`].
//!
//! Everything is checked here, so that a run cannot meet a fault on the ladder:
//! ids, units, ranges, references, calculations and their inputs, verdicts,
//! branches, words that the ear knows. All faults are told, not only the first.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::path::Path;

use rust_decimal::Decimal;
use serde::Deserialize;
use toml::Spanned;

use super::fault::{Fault, Faults, Gather, nearest};
use super::{
    ChoiceOption, Column, Condition, ConditionOf, FindingStep, Job, Limit, NumberRange, Outcome,
    Piece, Placeholder, PlateItem, PlateKind, PlateValue, ReadingSet, Source, Stage, Step,
    StepKind, Template, check,
};
use crate::calc::finding as calculation;
use crate::spoken;

/// Largest job file, in bytes.
pub const LARGEST: usize = 256 * 1024;

/// Longest hold, in seconds.
const LONGEST_HOLD: i64 = 3600;

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct RawJob {
    format: Spanned<i64>,
    id: Spanned<String>,
    title: String,
    purpose: String,
    applies_to: String,
    #[serde(default)]
    cautions: Vec<String>,
    #[serde(default)]
    plate: Vec<RawPlate>,
    #[serde(default)]
    limit: Vec<RawLimit>,
    step: Vec<RawStep>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct RawPlate {
    id: Spanned<String>,
    title: String,
    ask: String,
    group: String,
    kind: Spanned<String>,
    #[serde(default)]
    unknown: bool,
    #[serde(default)]
    when: Vec<Spanned<RawCondition>>,
    unit: Option<Spanned<RawUnit>>,
    expect: Option<Spanned<RawExpect>>,
    #[serde(default)]
    set: Vec<Spanned<String>>,
    #[serde(default)]
    options: Vec<RawOption>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawLimit {
    id: Spanned<String>,
    about: String,
    value: Spanned<String>,
    unit: Spanned<String>,
    source: Spanned<String>,
}

#[derive(Deserialize)]
#[serde(
    untagged,
    expecting = "unit is a unit like \"ohm\", or { plate = \"ID\" }"
)]
enum RawUnit {
    Id(String),
    Plate(RawUnitPlate),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawUnitPlate {
    plate: String,
}

#[derive(Deserialize)]
#[serde(
    untagged,
    expecting = "expect is [\"low\", \"high\"], { of = \"ID\", times = [\"low\", \"high\"], or = [\"low\", \"high\"] }, or one pair for each unit"
)]
enum RawExpect {
    Fixed([String; 2]),
    Scaled(RawScaled),
    ByUnit(BTreeMap<String, [String; 2]>),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawScaled {
    of: String,
    times: [String; 2],
    or: [String; 2],
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawOption {
    id: Spanned<String>,
    title: String,
    #[serde(default)]
    say: Vec<Spanned<String>>,
    next: Option<Spanned<String>>,
    #[serde(default)]
    sets: BTreeMap<String, Spanned<String>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawCondition {
    step: Option<String>,
    plate: Option<String>,
    #[serde(default)]
    is: Vec<String>,
    #[serde(default)]
    not: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct RawStep {
    id: Spanned<String>,
    title: String,
    ask: Option<Spanned<String>>,
    caution: Option<String>,
    stage: Stage,
    kind: Spanned<String>,
    #[serde(default)]
    when: Vec<Spanned<RawCondition>>,
    measures: Option<String>,
    #[serde(default)]
    lifts: Vec<Spanned<String>>,
    #[serde(default)]
    restores: Vec<String>,
    #[serde(default)]
    adjusts: bool,
    next: Option<Spanned<String>>,
    refused: Option<Spanned<String>>,
    unit: Option<Spanned<RawUnit>>,
    expect: Option<Spanned<RawExpect>>,
    #[serde(default)]
    set: Vec<Spanned<String>>,
    seconds: Option<Spanned<String>>,
    points: Option<Vec<Spanned<String>>>,
    #[serde(default)]
    both_ways: bool,
    #[serde(default)]
    columns: Vec<RawColumn>,
    #[serde(default)]
    options: Vec<RawOption>,
    calculation: Option<Spanned<String>>,
    #[serde(default)]
    inputs: BTreeMap<String, Spanned<RawSource>>,
    #[serde(default)]
    outcomes: BTreeMap<String, Spanned<RawOutcome>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawColumn {
    id: Spanned<String>,
    title: String,
    ask: Spanned<String>,
    unit: Option<Spanned<RawUnit>>,
    expect: Option<Spanned<RawExpect>>,
}

#[derive(Deserialize)]
#[serde(
    untagged,
    expecting = "an input is \"step.ID\", \"plate.ID\", \"limit.ID\", \"rows.ID\", \"figure.STEP.NAME\", { number = \"10\" } or { word = \"rises\" }"
)]
enum RawSource {
    Reference(String),
    Number(RawNumber),
    Word(RawWord),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawNumber {
    number: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawWord {
    word: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawOutcome {
    next: Option<String>,
    say: Option<String>,
}

/// Reads a job file, with its text.
///
/// # Errors
/// If it is no plain file, is too large, or has faults.
pub fn file(path: &Path) -> Result<(String, Job), Faults> {
    let name = path.display().to_string();
    let text = read_text(path)?;
    parse(&text, &name).map(|job| (text, job))
}

/// Text of a file that a person gave: a plain file, not too large, UTF-8.
pub(super) fn read_text(path: &Path) -> Result<String, Faults> {
    let name = path.display().to_string();
    let one = |why: String| Faults {
        file: name.clone(),
        faults: vec![Fault {
            line: 1,
            column: 1,
            text: String::new(),
            why,
        }],
    };
    // Looked at first: opening a pipe would wait for ever.
    let about = std::fs::metadata(path)
        .map_err(|error| one(format!("cannot be read: {error}. Check the path")))?;
    if !about.is_file() {
        return Err(one("is no plain file. Give the path of a file".to_owned()));
    }
    if about.len() > LARGEST as u64 {
        return Err(one(format!(
            "is {} bytes, and {LARGEST} is the most. Split the job",
            about.len()
        )));
    }
    let bytes = std::fs::read(path).map_err(|error| one(format!("cannot be read: {error}")))?;
    String::from_utf8(bytes).map_err(|error| {
        one(format!(
            "is not UTF-8 at byte {}. Save it as UTF-8",
            error.utf8_error().valid_up_to()
        ))
    })
}

/// Reads and checks a job file's text.
///
/// # Errors
/// All faults found.
pub fn parse(text: &str, file_name: &str) -> Result<Job, Faults> {
    let mut gather = Gather::new(file_name, text);
    let Some(raw) = from_toml::<RawJob>(text, &mut gather) else {
        return gather.done(()).map(|()| unreachable_job());
    };
    let job = convert(raw, text, &mut gather);
    if gather.faults.is_empty() {
        check::whole(&job, &mut gather);
    }
    gather.done(job)
}

/// Never used: a file that is no TOML has at least one fault.
fn unreachable_job() -> Job {
    Job {
        id: String::new(),
        title: String::new(),
        purpose: String::new(),
        applies_to: String::new(),
        cautions: Vec::new(),
        plate: Vec::new(),
        limits: BTreeMap::new(),
        steps: Vec::new(),
        hash: String::new(),
    }
}

/// TOML with the limits of what we take: size, and no sign that would act on a terminal or hide text.
fn from_toml<'de, T: Deserialize<'de>>(text: &'de str, gather: &mut Gather) -> Option<T> {
    if text.len() > LARGEST {
        gather.at(
            0,
            format!(
                "the file is {} bytes, and {LARGEST} is the most; split the job",
                text.len()
            ),
        );
        return None;
    }
    if let Some((at, sign)) = text.char_indices().find(|(at, sign)| is_hidden(*at, *sign)) {
        gather.at(
            at,
            format!(
                "the sign U+{:04X} stands here, which a terminal would act on or hide; take it out",
                u32::from(sign)
            ),
        );
        return None;
    }
    match toml::from_str(text.trim_start_matches('\u{feff}')) {
        Ok(raw) => Some(raw),
        Err(error) => {
            let shift = text.len() - text.trim_start_matches('\u{feff}').len();
            let at = error.span().map_or(0, |span| span.start) + shift;
            gather.at(at, error.message().trim().replace('\n', " "));
            None
        }
    }
}

fn is_hidden(at: usize, sign: char) -> bool {
    let plain = matches!(sign, '\n' | '\r' | '\t') || (at == 0 && sign == '\u{feff}');
    let bidi = matches!(sign, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}');
    !plain && (sign.is_control() || bidi)
}

/// True if an id is of small letters, figures and dashes, 1 to 40 of them.
pub(super) fn is_id(id: &str) -> bool {
    (1..=40).contains(&id.len())
        && id
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

fn id(raw: &Spanned<String>, gather: &mut Gather) -> String {
    if !is_id(raw.get_ref()) {
        gather.at(
            raw.span().start,
            format!(
                "{} is no id; use small letters, figures and dashes, 1 to 40",
                raw.get_ref()
            ),
        );
    }
    raw.get_ref().clone()
}

fn decimal(text: &str, at: usize, gather: &mut Gather) -> Decimal {
    let plain = !text.is_empty()
        && text.len() <= 20
        && text
            .strip_prefix('-')
            .unwrap_or(text)
            .bytes()
            .all(|b| b.is_ascii_digit() || b == b'.');
    match text.parse::<Decimal>() {
        Ok(number) if plain => number,
        _ => {
            gather.at(at, format!("{text} is no decimal number; write it like \"12.50\", with a point and in quotes"));
            Decimal::ZERO
        }
    }
}

fn unit_id(id: &str, at: usize, gather: &mut Gather) -> String {
    if spoken::unit(id).is_none() {
        let hint = nearest(
            id,
            [
                "mA", "A", "V", "ohm", "Mohm", "%", "deg", "degC", "s", "N m", "none",
            ]
            .into_iter(),
        );
        gather.at(at, format!("there is no unit {id}{hint}"));
    }
    id.to_owned()
}

fn pair(raw: &[String; 2], at: usize, gather: &mut Gather) -> (Decimal, Decimal) {
    let (low, high) = (decimal(&raw[0], at, gather), decimal(&raw[1], at, gather));
    if low > high {
        gather.at(
            at,
            format!("{low} is above {high}; write the lower value first"),
        );
    }
    (low, high)
}

fn range(
    unit: Option<&Spanned<RawUnit>>,
    expect: Option<&Spanned<RawExpect>>,
    set: &[Spanned<String>],
    at: &Range<usize>,
    gather: &mut Gather,
) -> NumberRange {
    let nothing = || NumberRange::Fixed {
        unit: "none".to_owned(),
        low: Decimal::ZERO,
        high: Decimal::ZERO,
        set: Vec::new(),
    };
    let (Some(unit), Some(expect)) = (unit, expect) else {
        gather.at(at.start, "a number needs its unit and what to expect: unit = \"ohm\", expect = [\"0\", \"1200\"]");
        return nothing();
    };
    let (unit_at, expect_at) = (unit.span().start, expect.span().start);
    match (unit.get_ref(), expect.get_ref()) {
        (RawUnit::Id(unit), RawExpect::Fixed(ends)) => {
            let (low, high) = pair(ends, expect_at, gather);
            let set = set
                .iter()
                .map(|one| decimal(one.get_ref(), one.span().start, gather))
                .collect();
            NumberRange::Fixed {
                unit: unit_id(unit, unit_at, gather),
                low,
                high,
                set,
            }
        }
        (RawUnit::Id(unit), RawExpect::Scaled(scaled)) => {
            let (low, high) = pair(&scaled.times, expect_at, gather);
            NumberRange::Scaled {
                unit: unit_id(unit, unit_at, gather),
                plate: scaled.of.clone(),
                low,
                high,
                or: pair(&scaled.or, expect_at, gather),
            }
        }
        (RawUnit::Plate(plate), RawExpect::ByUnit(ranges)) => NumberRange::ByUnit {
            plate: plate.plate.clone(),
            ranges: ranges
                .iter()
                .map(|(unit, ends)| {
                    (
                        unit_id(unit, expect_at, gather),
                        pair(ends, expect_at, gather),
                    )
                })
                .collect(),
        },
        _ => {
            gather.at(expect_at, "this unit and this range do not go together: a unit of a plate item needs one pair for each unit, as { mA = [\"0\", \"22\"] }");
            nothing()
        }
    }
}

fn options(raw: &[RawOption], gather: &mut Gather) -> Vec<ChoiceOption> {
    let mut ids = BTreeSet::new();
    let mut phrases = BTreeSet::new();
    let known: BTreeSet<&str> = spoken::vocabulary().collect();
    if raw.len() > 9 {
        gather.at(
            raw[9].id.span().start,
            "a list has at most nine options, one for each key; split the question",
        );
    }
    raw.iter()
        .map(|option| {
            // The option of a unit is named like the unit: mA, V.
            let option_id = match spoken::unit(option.id.get_ref()) {
                Some(unit) => unit.id().to_owned(),
                None => id(&option.id, gather),
            };
            if !ids.insert(option_id.clone()) {
                gather.at(option.id.span().start, format!("the option {option_id} is there twice; give one another id"));
            }
            for phrase in &option.say {
                let (text, at) = (phrase.get_ref(), phrase.span().start);
                if let Some(word) = text.split(' ').find(|word| !known.contains(word)) {
                    let hint = nearest(word, known.iter().copied());
                    gather.at(at, format!("the ear does not know the word {word}{hint}; use a word of grammars/vocabulary.txt, or leave the phrase out: each option can also be chosen by its number"));
                }
                let bare = spoken::Slot { name: String::new(), kind: spoken::SlotKind::Choice(Vec::new()) };
                if spoken::parse(&bare, text).expect == spoken::Expect::Command {
                    gather.at(at, format!("{text} is a command in every question; say it another way"));
                }
                if !phrases.insert(text.clone()) {
                    gather.at(at, format!("{text} means two options; take it from one"));
                }
            }
            ChoiceOption {
                id: option_id,
                title: option.title.clone(),
                say: option.say.iter().map(|phrase| phrase.get_ref().clone()).collect(),
                next: option.next.as_ref().map(|next| next.get_ref().clone()),
                sets: option
                    .sets
                    .iter()
                    .map(|(item, value)| (item.clone(), plate_value(value.get_ref())))
                    .collect(),
            }
        })
        .collect()
}

/// A value as a sheet or an option writes it; what the item really takes is checked where the item is known.
pub(super) fn plate_value(text: &str) -> PlateValue {
    if text == "unknown" {
        return PlateValue::Unknown;
    }
    let numeric = text
        .strip_prefix('-')
        .unwrap_or(text)
        .bytes()
        .all(|b| b.is_ascii_digit() || b == b'.');
    match text.parse::<Decimal>() {
        Ok(number) if numeric => PlateValue::Number(number),
        _ => PlateValue::Text(text.to_owned()),
    }
}

fn conditions(raw: &[Spanned<RawCondition>], gather: &mut Gather) -> Vec<Condition> {
    raw.iter()
        .filter_map(|spanned| {
            let raw = spanned.get_ref();
            let of = match (&raw.step, &raw.plate) {
                (Some(step), None) => ConditionOf::Step(step.clone()),
                (None, Some(item)) => ConditionOf::Plate(item.clone()),
                _ => {
                    gather.at(spanned.span().start, "a condition looks at one thing: { step = \"ID\", is = [\"…\"] } or { plate = \"ID\", is = [\"…\"] }");
                    return None;
                }
            };
            match (raw.is.is_empty(), raw.not.is_empty()) {
                (false, true) => Some(Condition { of, is: raw.is.clone(), negated: false }),
                (true, false) => Some(Condition { of, is: raw.not.clone(), negated: true }),
                _ => {
                    gather.at(spanned.span().start, "a condition has either is = [\"…\"] or not = [\"…\"]");
                    None
                }
            }
        })
        .collect()
}

/// Text with placeholders.
pub(super) fn template(text: &str, at: usize, gather: &mut Gather) -> Template {
    let mut pieces = Vec::new();
    let mut rest = text;
    while let Some(open) = rest.find('{') {
        if open > 0 {
            pieces.push(Piece::Text(rest[..open].to_owned()));
        }
        let Some(close) = rest[open..].find('}') else {
            gather.at(at, "a placeholder has no end; close it with }");
            return Template(pieces);
        };
        let inside = &rest[open + 1..open + close];
        match placeholder(inside) {
            Some(place) => pieces.push(Piece::Placeholder(place)),
            None => gather.at(at, format!("there is no placeholder {{{inside}}}; there are point, direction, signal, signal.50, plate.ID, limit.ID, step.ID, figure.STEP.NAME, advice.STEP")),
        }
        rest = &rest[open + close + 1..];
    }
    if !rest.is_empty() {
        pieces.push(Piece::Text(rest.to_owned()));
    }
    Template(pieces)
}

fn placeholder(inside: &str) -> Option<Placeholder> {
    let parts: Vec<&str> = inside.splitn(3, '.').collect();
    Some(match parts.as_slice() {
        ["point"] => Placeholder::Point,
        ["direction"] => Placeholder::Direction,
        ["signal"] => Placeholder::Signal,
        ["signal", percent] => Placeholder::SignalAt(percent.parse().ok()?),
        ["plate", id] => Placeholder::Plate((*id).to_owned()),
        ["limit", id] => Placeholder::Limit((*id).to_owned()),
        ["step", id] => Placeholder::Step((*id).to_owned()),
        ["advice", id] => Placeholder::Advice((*id).to_owned()),
        ["figure", step, figure] => Placeholder::Figure {
            step: (*step).to_owned(),
            figure: (*figure).to_owned(),
        },
        _ => return None,
    })
}

fn source(raw: &Spanned<RawSource>, gather: &mut Gather) -> Source {
    let at = raw.span().start;
    match raw.get_ref() {
        RawSource::Number(raw) => Source::Number(decimal(&raw.number, at, gather)),
        RawSource::Word(raw) => Source::Word(raw.word.clone()),
        RawSource::Reference(text) => {
            let parts: Vec<&str> = text.splitn(3, '.').collect();
            match parts.as_slice() {
                ["step", id] => Source::Step((*id).to_owned()),
                ["plate", id] => Source::Plate((*id).to_owned()),
                ["limit", id] => Source::Limit((*id).to_owned()),
                ["rows", id] => Source::Rows((*id).to_owned()),
                ["figure", step, figure] => Source::Figure {
                    step: (*step).to_owned(),
                    figure: (*figure).to_owned(),
                },
                _ => {
                    gather.at(at, format!("{text} is no input; write step.ID, plate.ID, limit.ID, rows.ID or figure.STEP.NAME"));
                    Source::Word(String::new())
                }
            }
        }
    }
}

fn convert(raw: RawJob, text: &str, gather: &mut Gather) -> Job {
    if *raw.format.get_ref() != 1 {
        gather.at(
            raw.format.span().start,
            format!(
                "this is format {}, and this Sayback knows format 1",
                raw.format.get_ref()
            ),
        );
    }
    let mut limits = BTreeMap::new();
    for limit in &raw.limit {
        let value = decimal(limit.value.get_ref(), limit.value.span().start, gather);
        if limit.source.get_ref().trim().is_empty() {
            gather.at(limit.source.span().start, "a limit says where it comes from: order, data sheet, standard and clause, or common practice");
        }
        let made = Limit {
            about: limit.about.clone(),
            value,
            unit: unit_id(limit.unit.get_ref(), limit.unit.span().start, gather),
            source: limit.source.get_ref().clone(),
        };
        let limit_id = id(&limit.id, gather);
        if limits.insert(limit_id.clone(), made).is_some() {
            gather.at(
                limit.id.span().start,
                format!("the limit {limit_id} is there twice; give one another id"),
            );
        }
    }
    let plate = raw
        .plate
        .iter()
        .map(|item| plate_item(item, gather))
        .collect();
    let steps: Vec<Step> = raw.step.iter().map(|step| one_step(step, gather)).collect();
    if steps.is_empty() {
        gather.at(0, "a job has at least one [[step]]");
    }
    let mut seen = BTreeSet::new();
    for step in &raw.step {
        if !seen.insert(step.id.get_ref()) {
            gather.at(
                step.id.span().start,
                format!(
                    "the step {} is there twice; give one another id",
                    step.id.get_ref()
                ),
            );
        }
    }
    let mut seen = BTreeSet::new();
    for item in &raw.plate {
        if !seen.insert(item.id.get_ref()) {
            gather.at(
                item.id.span().start,
                format!(
                    "the plate item {} is there twice; give one another id",
                    item.id.get_ref()
                ),
            );
        }
    }
    Job {
        id: id(&raw.id, gather),
        title: raw.title,
        purpose: raw.purpose,
        applies_to: raw.applies_to,
        cautions: raw.cautions,
        plate,
        limits,
        steps,
        hash: blake3::hash(text.as_bytes()).to_hex().to_string(),
    }
}

fn plate_item(raw: &RawPlate, gather: &mut Gather) -> PlateItem {
    let kind = match raw.kind.get_ref().as_str() {
        "tag" => PlateKind::Tag,
        "month" => PlateKind::Month,
        "choice" => PlateKind::Choice(options(&raw.options, gather)),
        "number" => PlateKind::Number(range(
            raw.unit.as_ref(),
            raw.expect.as_ref(),
            &raw.set,
            &raw.kind.span(),
            gather,
        )),
        other => {
            gather.at(
                raw.kind.span().start,
                format!("there is no kind {other}; a plate item is tag, number, choice or month"),
            );
            PlateKind::Tag
        }
    };
    if matches!(&kind, PlateKind::Choice(options) if options.is_empty()) {
        gather.at(
            raw.kind.span().start,
            "a choice needs its options: options = [{ id = \"…\", title = \"…\" }]",
        );
    }
    PlateItem {
        id: id(&raw.id, gather),
        title: raw.title.clone(),
        ask: raw.ask.clone(),
        group: raw.group.clone(),
        kind,
        unknown_allowed: raw.unknown,
        when: conditions(&raw.when, gather),
    }
}

fn one_step(raw: &RawStep, gather: &mut Gather) -> Step {
    let at = raw.kind.span();
    let kind = match raw.kind.get_ref().as_str() {
        "instruction" => StepKind::Instruction,
        "gate" => StepKind::Gate {
            refused: raw.refused.as_ref().map(|next| next.get_ref().clone()),
        },
        "reading" => StepKind::Reading(range(
            raw.unit.as_ref(),
            raw.expect.as_ref(),
            &raw.set,
            &at,
            gather,
        )),
        "set" => StepKind::ReadingSet(reading_set(raw, gather)),
        "choice" => {
            if raw.options.is_empty() {
                gather.at(
                    at.start,
                    "a choice needs its options: options = [{ id = \"…\", title = \"…\" }]",
                );
            }
            StepKind::Choice(options(&raw.options, gather))
        }
        "hold" => {
            let seconds = raw.seconds.as_ref().map_or(Decimal::ZERO, |text| {
                decimal(text.get_ref(), text.span().start, gather)
            });
            if seconds < Decimal::ONE || seconds > Decimal::from(LONGEST_HOLD) {
                gather.at(
                    at.start,
                    "a hold needs its time: seconds = \"4\", from 1 to 3600",
                );
            }
            StepKind::Hold { seconds }
        }
        "memo" => StepKind::Memo,
        "finding" => StepKind::Finding(finding(raw, gather)),
        other => {
            gather.at(at.start, format!("there is no kind {other}; a step is instruction, gate, reading, set, choice, hold, finding or memo"));
            StepKind::Memo
        }
    };
    let is_finding = matches!(kind, StepKind::Finding(_));
    let ask = if let Some(ask) = &raw.ask {
        template(ask.get_ref(), ask.span().start, gather)
    } else {
        if !is_finding && !matches!(kind, StepKind::ReadingSet(_)) {
            gather.at(at.start, "a step needs its question: ask = \"…\"");
        }
        Template::default()
    };
    Step {
        id: id(&raw.id, gather),
        title: raw.title.clone(),
        ask,
        caution: raw.caution.clone(),
        stage: raw.stage,
        kind,
        when: conditions(&raw.when, gather),
        measures: raw.measures.clone(),
        lifts: raw
            .lifts
            .iter()
            .map(|item| item.get_ref().clone())
            .collect(),
        restores: raw.restores.clone(),
        adjusts: raw.adjusts,
        next: raw.next.as_ref().map(|next| next.get_ref().clone()),
    }
}

fn reading_set(raw: &RawStep, gather: &mut Gather) -> ReadingSet {
    let at = raw.kind.span().start;
    let points: Vec<Decimal> = raw
        .points
        .iter()
        .flatten()
        .map(|point| decimal(point.get_ref(), point.span().start, gather))
        .collect();
    if points.is_empty() || points.windows(2).any(|two| two[0] >= two[1]) || points.len() > 41 {
        gather.at(
            at,
            "a set needs its points, rising: points = [\"0\", \"50\", \"100\"]",
        );
    }
    if raw.columns.is_empty() {
        gather.at(
            at,
            "a set needs what is read at each point: columns = [{ id = \"position\", … }]",
        );
    }
    ReadingSet {
        points,
        both_ways: raw.both_ways,
        columns: raw
            .columns
            .iter()
            .map(|column| Column {
                id: id(&column.id, gather),
                title: column.title.clone(),
                ask: template(column.ask.get_ref(), column.ask.span().start, gather),
                range: range(
                    column.unit.as_ref(),
                    column.expect.as_ref(),
                    &[],
                    &column.id.span(),
                    gather,
                ),
            })
            .collect(),
    }
}

fn finding(raw: &RawStep, gather: &mut Gather) -> FindingStep {
    let nothing = FindingStep {
        calculation: String::new(),
        inputs: BTreeMap::new(),
        outcomes: BTreeMap::new(),
    };
    let Some(name) = &raw.calculation else {
        gather.at(
            raw.kind.span().start,
            "a finding names its calculation: calculation = \"pot-diagnosis\"",
        );
        return nothing;
    };
    let at = name.span().start;
    let Some(spec) = calculation::spec(name.get_ref()) else {
        let hint = nearest(
            name.get_ref(),
            calculation::specs().iter().map(|spec| spec.name),
        );
        gather.at(
            at,
            format!("there is no calculation {}{hint}", name.get_ref()),
        );
        return nothing;
    };
    for (input, value) in &raw.inputs {
        if !spec.inputs.iter().any(|known| known.name == input) {
            let hint = nearest(input, spec.inputs.iter().map(|known| known.name));
            gather.at(
                value.span().start,
                format!("{} takes no input {input}{hint}", spec.name),
            );
        }
    }
    for known in spec
        .inputs
        .iter()
        .filter(|known| known.required && !raw.inputs.contains_key(known.name))
    {
        gather.at(
            at,
            format!(
                "{} needs the input {}: {}",
                spec.name, known.name, known.about
            ),
        );
    }
    for (verdict, outcome) in &raw.outcomes {
        if !spec.verdicts.iter().any(|known| known.name == verdict) {
            let hint = nearest(verdict, spec.verdicts.iter().map(|known| known.name));
            gather.at(
                outcome.span().start,
                format!("{} never finds {verdict}{hint}", spec.name),
            );
        }
    }
    FindingStep {
        calculation: name.get_ref().clone(),
        inputs: raw
            .inputs
            .iter()
            .map(|(name, raw)| (name.clone(), source(raw, gather)))
            .collect(),
        outcomes: raw
            .outcomes
            .iter()
            .map(|(verdict, raw)| {
                let say = raw
                    .get_ref()
                    .say
                    .as_ref()
                    .map(|text| template(text, raw.span().start, gather));
                (
                    verdict.clone(),
                    Outcome {
                        next: raw.get_ref().next.clone(),
                        say,
                    },
                )
            })
            .collect(),
    }
}

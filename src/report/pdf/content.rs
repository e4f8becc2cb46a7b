//! What stands on the PDF, exceptions first: the same record as on the page, in
//! fewer words. The front is what a supervisor signs; behind it are all answers.

mod behind;

pub(super) use self::behind::behind;

use self::behind::section;
use super::super::markup::Markup;
use super::super::plot;
use super::super::types::{Report, Run, RunCell, RunRow, Side, State, Weight};
use super::blocks::{Block, Mark, Span, Table, bold, mark, small, struck, text};
use crate::calc::finding::Grade;
use crate::job::Stage;

const NONE: &str = "\u{2013}";

/// What a supervisor signs.
pub(super) fn front(report: &Report, unwritable: bool) -> Vec<Block> {
    let mut blocks = head(report);
    blocks.push(Block::Boxed(exceptions(report)));
    blocks.extend(summary(report));
    blocks.extend(found_and_left(report));
    blocks.extend(runs(report));
    blocks.extend(strokes(report));
    blocks.extend(behind::since(report));
    blocks.extend(findings(report));
    blocks.extend(decisions(report));
    blocks.extend(behind::corrections_and_skips(report));
    blocks.push(Block::Beside(
        instruments(report),
        limits_in_short(report),
        0.5,
    ));
    blocks.push(Block::Signatures([
        "Technician, date",
        "Reviewer, date",
        "Customer, date",
    ]));
    blocks.extend(behind::proof(report, unwritable));
    blocks
}

fn head(report: &Report) -> Vec<Block> {
    let head = &report.head;
    let state = if head.state == State::Complete {
        Mark::Framed
    } else {
        Mark::Reversed
    };
    let mut facts = vec![
        small("By "),
        text(head.by.as_deref().unwrap_or("not given")),
    ];
    let mut fact = |name: &str, value: &str| {
        facts.push(small(format!("   {name} ")));
        facts.push(text(value));
    };
    if let Some(partner) = &head.relayed_by {
        fact("Relayed by", partner);
    }
    for line in report
        .plate
        .iter()
        .filter(|line| matches!(line.id.as_str(), "order" | "permit"))
    {
        fact(&line.title, &line.shown);
    }
    fact("Start", &head.started.to_read());
    fact("End", &head.last.to_read());
    fact("UTC", &format!("{} to {}", head.started.utc, head.last.utc));
    vec![
        Block::Heading(1, head.tag.clone().unwrap_or_else(|| "no tag".to_owned())),
        Block::Paragraph(vec![
            text(format!("{}  ", head.title)),
            mark(head.state.words(), state),
        ]),
        Block::Paragraph(facts),
    ]
}

fn exceptions(report: &Report) -> Vec<Block> {
    if report.exceptions.is_empty() {
        return vec![Block::Paragraph(vec![bold("No exceptions")])];
    }
    let items = report.exceptions.iter().map(|exception| {
        let mut item = vec![
            match exception.weight {
                Weight::Bad => mark("FAULT", Mark::Reversed),
                Weight::Watch => mark("LOOK", Mark::Framed),
            },
            text(" "),
            bold(&exception.what),
        ];
        if !exception.detail.is_empty() {
            item.push(text(format!(" {NONE} {}", exception.detail)));
        }
        if let Some(seq) = exception.seq {
            item.push(small(format!(" [{seq}]")));
        }
        item
    });
    vec![
        Block::Paragraph(vec![bold(format!(
            "Exceptions: {}",
            report.exceptions.len()
        ))]),
        Block::List(items.collect()),
    ]
}

fn summary(report: &Report) -> [Block; 3] {
    [
        ("Found", &report.summary.found),
        ("Done", &report.summary.done),
        ("Left", &report.summary.left),
    ]
    .map(|(name, words)| Block::Paragraph(vec![bold(format!("{name}: ")), text(words)]))
}

fn found_and_left(report: &Report) -> Vec<Block> {
    let track = report
        .track
        .as_ref()
        .map(|track| picture(|page| plot::track(page, track)));
    let pairs = (!report.pairs.is_empty()).then(|| {
        Block::Table(Table {
            widths: vec![0.34, 0.25, 0.25, 0.16],
            head: vec!["Reading", "As found", "As left", "Change"],
            numbers: vec![1, 2, 3],
            rows: report
                .pairs
                .iter()
                .map(|pair| {
                    vec![
                        vec![text(&pair.measures)],
                        side(&pair.as_found),
                        side(&pair.as_left),
                        vec![text(pair.change.as_deref().unwrap_or(NONE))],
                    ]
                })
                .collect(),
        })
    });
    let mut blocks = match (pairs, track) {
        (None, None) => return Vec::new(),
        (Some(pairs), None) => vec![pairs],
        (None, Some(track)) => vec![track],
        (Some(pairs), Some(track)) => vec![Block::Beside(vec![pairs], vec![track], 0.57)],
    };
    blocks.insert(0, Block::Heading(2, "As found and as left".to_owned()));
    blocks
}

fn side(side: &Side) -> Vec<Span> {
    let mut spans = Vec::new();
    for old in &side.replaced {
        spans.push(struck(old));
        spans.push(text(" "));
    }
    match (&side.shown, &side.missing) {
        (Some(shown), _) => spans.push(bold(shown)),
        (None, Some(missing)) => spans.push(small(missing)),
        (None, None) => spans.push(text(NONE)),
    }
    if let Some(u) = &side.uncertainty {
        // Number and unit stay together.
        spans.push(small(format!(" U\u{A0}{}", u.replace(' ', "\u{A0}"))));
    }
    if side.corrected_after_freeze {
        spans.push(text(" "));
        spans.push(mark("corrected after freezing", Mark::Framed));
    }
    if side.out_of_range {
        spans.push(text(" "));
        spans.push(mark("outside range", Mark::Framed));
    }
    spans
}

/// Each run with its plot; the readings in one line a direction.
fn runs(report: &Report) -> Vec<Block> {
    let mut blocks = Vec::new();
    for group in super::super::measured::grouped(&report.runs) {
        let columns = group.first().map_or(0, |run| run.columns.len());
        for column in 0..columns {
            let [first, ..] = group[..] else { continue };
            let title = first.measures.as_deref().unwrap_or(&first.title);
            blocks.push(Block::Heading(
                2,
                format!("{title}: {}", first.columns[column].title),
            ));
            let table = Block::Table(run_table(&group, column));
            let mut page = Markup::default();
            plot::deviations(&mut page, &group, column);
            let svg = page.finish();
            blocks.push(if svg.is_empty() {
                table
            } else {
                let picture = Block::Picture {
                    alt: alternative(&svg),
                    svg,
                };
                Block::Beside(vec![table], vec![picture], 0.5)
            });
            if let Some(limit) = group.iter().find_map(|run| run.limit.as_ref()) {
                blocks.push(Block::Paragraph(vec![small(format!(
                    "Deviation in % of span. Limit \u{B1}{} % ({}); beyond it: bold, with !.",
                    limit.value, limit.source
                ))]));
            }
        }
    }
    blocks
}

/// One row for each point, up and down beside each other.
fn run_table(group: &[&Run], column: usize) -> Table {
    let mut rows = Vec::new();
    for run in group {
        let mut points: Vec<&RunRow> = Vec::new();
        for row in &run.rows {
            if points.iter().all(|other| other.point != row.point) {
                points.push(row);
            }
        }
        for at in points {
            let mut cells = vec![
                vec![text(run.stage.words())],
                vec![text(format!("{}\u{A0}%", at.point))],
                vec![text(&at.command)],
            ];
            for up in [true, false] {
                let row = run
                    .rows
                    .iter()
                    .find(|row| row.up == up && row.point == at.point);
                cells.extend(read(row.and_then(|row| row.cells.get(column))));
            }
            rows.push(cells);
        }
    }
    Table {
        widths: vec![0.17, 0.1, 0.17, 0.15, 0.13, 0.15, 0.13],
        head: vec!["Part", "Point", "Command", "Up", "Dev.", "Down", "Dev."],
        numbers: vec![1, 2, 3, 4, 5, 6],
        rows,
    }
}

/// What was read, and its deviation.
fn read(cell: Option<&RunCell>) -> [Vec<Span>; 2] {
    let Some(cell) = cell else {
        return [vec![text(NONE)], vec![text(NONE)]];
    };
    let mut read = Vec::new();
    for old in &cell.replaced {
        read.push(struck(old));
        read.push(text(" "));
    }
    read.push(text(
        cell.shown
            .as_deref()
            .or(cell.missing.as_deref())
            .unwrap_or(NONE),
    ));
    if cell.out_of_range {
        read.push(text(" "));
        read.push(mark("outside range", Mark::Framed));
    }
    let deviation = cell.deviation.as_deref().unwrap_or(NONE);
    let deviation = if cell.beyond {
        bold(format!("{deviation} !"))
    } else {
        text(deviation)
    };
    [read, vec![deviation]]
}

fn strokes(report: &Report) -> Vec<Block> {
    if report.strokes.is_empty() {
        return Vec::new();
    }
    vec![
        Block::Heading(2, "Stroke".to_owned()),
        picture(|page| plot::strokes(page, &report.strokes)),
    ]
}

fn picture(draw: impl FnOnce(&mut Markup)) -> Block {
    let mut page = Markup::default();
    draw(&mut page);
    let svg = page.finish();
    Block::Picture {
        alt: alternative(&svg),
        svg,
    }
}

/// What the picture says of itself, for those who do not see it.
fn alternative(svg: &str) -> String {
    let inside = |name: &str| {
        let (_, rest) = svg.split_once(&format!("<{name} id="))?;
        let (_, rest) = rest.split_once('>')?;
        rest.split_once('<').map(|(words, _)| words.to_owned())
    };
    let words = [inside("title"), inside("desc")]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(". ");
    super::super::markup::unescaped(&words)
}

fn findings(report: &Report) -> Vec<Block> {
    let latest = report.findings.iter().filter(|finding| finding.latest);
    let rows: Vec<Vec<Vec<Span>>> = latest
        .map(|finding| {
            let sign = match finding.grade {
                Grade::Good => "\u{2713}",
                Grade::Watch => "!",
                Grade::Bad => "\u{2717}",
                Grade::CannotTell => "?",
            };
            let verdict = format!("{sign} {}", finding.verdict.replace('-', " "));
            let mut why = Vec::new();
            if let Some(outdated) = &finding.outdated {
                why.push(mark("from a value that was replaced", Mark::Framed));
                why.push(text(format!(" {outdated}. ")));
            }
            if let Some(was) = &finding.was {
                why.push(mark("worked out again", Mark::Framed));
                let was = was.replace('-', " ");
                why.push(text(format!(" before the correction: {was}. ")));
            }
            why.push(text(&finding.reason));
            vec![
                vec![
                    bold(&finding.title),
                    small(format!(
                        " [{}] {}",
                        finding.seq,
                        finding.stage.map_or("", Stage::words)
                    )),
                ],
                vec![if finding.grade == Grade::Good {
                    text(verdict)
                } else {
                    bold(verdict)
                }],
                why,
            ]
        })
        .collect();
    section("Findings", rows.is_empty(), || {
        vec![Block::Table(Table {
            widths: vec![0.25, 0.14, 0.61],
            head: vec!["Finding", "Verdict", "Why"],
            numbers: Vec::new(),
            rows,
        })]
    })
}

fn decisions(report: &Report) -> Vec<Block> {
    let rows: Vec<Vec<Vec<Span>>> = report
        .decisions
        .iter()
        .map(|decision| {
            let mut class = vec![match decision.class.as_deref() {
                Some("pass") => text("pass"),
                Some(class) => bold(class),
                None => text(NONE),
            }];
            if decision.cannot_prove {
                class.push(text(" "));
                class.push(mark("the meter cannot prove it", Mark::Framed));
            }
            if decision.note.is_some() && decision.uncertainty.is_some() {
                class.push(text(" *"));
            }
            vec![
                vec![
                    text(format!("{}, {}", decision.title, decision.what)),
                    small(format!(" [{}]", decision.seq)),
                ],
                vec![text(&decision.value)],
                vec![text(&decision.limit)],
                vec![small(&decision.limit_from)],
                vec![text(decision.uncertainty.as_deref().unwrap_or("no U"))],
                vec![text(decision.tur.as_deref().unwrap_or(NONE))],
                vec![if decision.accepted {
                    text(decision.simple())
                } else {
                    bold(decision.simple())
                }],
                class,
            ]
        })
        .collect();
    section("Results against limits", rows.is_empty(), || {
        let mut blocks = vec![Block::Table(Table {
            widths: vec![0.28, 0.08, 0.08, 0.17, 0.08, 0.06, 0.12, 0.13],
            head: vec![
                "Result",
                "Value",
                "Limit",
                "Limit from",
                "U (k = 2)",
                "TUR",
                "Simple",
                "Guard band U",
            ],
            numbers: vec![1, 2, 4, 5],
            rows,
        })];
        let mut notes: Vec<&str> = report
            .decisions
            .iter()
            .filter(|decision| decision.uncertainty.is_some())
            .filter_map(|decision| decision.note.as_deref())
            .collect();
        notes.dedup();
        if !notes.is_empty() {
            blocks.push(Block::Paragraph(vec![small(format!(
                "* {}.",
                notes.join("; ")
            ))]));
        }
        blocks
    })
}

fn instruments(report: &Report) -> Vec<Block> {
    let rows: Vec<Vec<Vec<Span>>> = report
        .instruments
        .iter()
        .map(|instrument| {
            let mut due = vec![text(&instrument.due)];
            if instrument.expired {
                due.push(text(" "));
                due.push(mark("PAST DUE", Mark::Reversed));
            }
            let specification = instrument.specification.join("; ");
            vec![
                vec![text(&instrument.name)],
                due,
                vec![small(if specification.is_empty() {
                    "not given".to_owned()
                } else {
                    specification
                })],
            ]
        })
        .collect();
    section("Instruments", rows.is_empty(), || {
        vec![Block::Table(Table {
            widths: vec![0.27, 0.2, 0.53],
            head: vec!["Instrument", "Due", "Specification"],
            numbers: Vec::new(),
            rows,
        })]
    })
}

/// Where the limits come from; the list stands behind.
fn limits_in_short(report: &Report) -> Vec<Block> {
    let mut sources: Vec<(&str, Vec<String>)> = Vec::new();
    for (at, limit) in report.limits.iter().enumerate() {
        let number = format!("L{}", at + 1);
        match sources
            .iter_mut()
            .find(|(source, _)| *source == limit.source)
        {
            Some((_, numbers)) => numbers.push(number),
            None => sources.push((&limit.source, vec![number])),
        }
    }
    section(
        "Limits and where they come from",
        sources.is_empty(),
        || {
            let mut blocks: Vec<Block> = sources
                .into_iter()
                .map(|(source, numbers)| {
                    Block::Paragraph(vec![bold(source), text(format!(": {}", numbers.join(" ")))])
                })
                .collect();
            blocks.push(Block::Paragraph(vec![small(
            "Their values stand behind, with all answers. \u{201C}Common practice\u{201D} binds nobody; the order comes first.",
        )]));
            blocks
        },
    )
}

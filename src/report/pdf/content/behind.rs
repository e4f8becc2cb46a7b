//! What stands behind the front: nameplate, limits, safety questions, events, all answers.

use super::super::super::ears;
use super::super::super::types::{Answer, Counts, PlateLine, Report};
use super::super::blocks::{Block, Mark, Span, Table, bold, mark, small, struck, text};
use crate::job::Stage;

/// The sheets behind the front.
pub(in super::super) fn behind(report: &Report) -> Vec<Block> {
    let mut blocks = vec![Block::NewSheet];
    let mut left = safety(report);
    left.extend(plate(report));
    let mut right = limits(report);
    right.extend(events(report));
    blocks.push(Block::Beside(left, right, 0.48));
    blocks.extend(answers(report));
    blocks
}

/// Corrections and what was left out: short, and part of what is signed.
pub(super) fn corrections_and_skips(report: &Report) -> Vec<Block> {
    let corrections = section("Corrections", report.corrections.is_empty(), || {
        let items = report.corrections.iter().map(|correction| {
            let mut item = vec![
                text(format!(
                    "{} {}: ",
                    correction.time.clock(),
                    correction.title
                )),
                struck(&correction.old),
                text(" to "),
                bold(&correction.new),
                text(format!(
                    ". Reason: {}; by {} ",
                    correction.reason,
                    correction.by.as_deref().unwrap_or("nobody named")
                )),
                small(format!(
                    "[{} instead of {}]",
                    correction.seq, correction.old_seq
                )),
            ];
            if correction.after_freeze {
                item.push(text(" "));
                item.push(mark("after as found was frozen", Mark::Framed));
            }
            item
        });
        vec![Block::List(items.collect())]
    });
    let skips = section("Left out", report.skipped.is_empty(), || {
        let items = report.skipped.iter().map(|skip| {
            let how = if skip.unable {
                "could not be done"
            } else {
                "skipped"
            };
            let later = if skip.done_later { "; done later" } else { "" };
            vec![
                text(format!(
                    "{} {}, {how}{later}: {} ",
                    skip.time.clock(),
                    skip.title,
                    skip.reason
                )),
                small(format!("[{}]", skip.seq)),
            ]
        });
        vec![Block::List(items.collect())]
    });
    match (corrections.is_empty(), skips.is_empty()) {
        (true, true) => Vec::new(),
        (false, true) => corrections,
        (true, false) => skips,
        (false, false) => vec![Block::Beside(corrections, skips, 0.55)],
    }
}

fn safety(report: &Report) -> Vec<Block> {
    section("Safety questions", report.gates.is_empty(), || {
        let rows = report.gates.iter().map(|gate| {
            let mut answer = vec![if gate.value == "yes" {
                text("YES")
            } else {
                mark(gate.value.to_uppercase(), Mark::Reversed)
            }];
            if gate.counts != Counts::Yes {
                answer.push(small(format!(" {}", gate.counts.words())));
            }
            vec![
                vec![text(gate.time.clock())],
                vec![text(&gate.title)],
                answer,
                vec![small(who(gate))],
            ]
        });
        vec![Block::Table(Table {
            widths: vec![0.12, 0.38, 0.24, 0.26],
            head: vec!["Time", "Asked", "Answer", "By"],
            numbers: Vec::new(),
            rows: rows.collect(),
        })]
    })
}

fn who(answer: &Answer) -> String {
    let by = answer.how.by.as_deref().unwrap_or("nobody named");
    answer.how.relayed_by.as_deref().map_or_else(
        || by.to_owned(),
        |relayed| format!("{by}, relayed by {relayed}"),
    )
}

fn plate(report: &Report) -> Vec<Block> {
    let lines: Vec<&PlateLine> = report
        .plate
        .iter()
        .filter(|line| !report.is_of_instrument(line))
        .collect();
    section("Nameplate and order", lines.is_empty(), || {
        let mut spans = Vec::new();
        for (at, line) in lines.iter().enumerate() {
            spans.push(text(format!(
                "{}{} ",
                if at > 0 { "; " } else { "" },
                line.title
            )));
            for old in &line.replaced {
                spans.push(struck(old));
                spans.push(text(" "));
            }
            spans.push(bold(&line.shown));
        }
        vec![Block::Paragraph(spans)]
    })
}

fn limits(report: &Report) -> Vec<Block> {
    section("Limits", report.limits.is_empty(), || {
        let rows = report.limits.iter().enumerate().map(|(at, limit)| {
            let mut source = limit.source.clone();
            if let Some(own) = &limit.replaced {
                source += &format!("; from the job sheet, instead of {own}");
            }
            vec![
                vec![text(format!("L{}", at + 1))],
                vec![text(&limit.about)],
                vec![text(&limit.shown)],
                vec![small(source)],
            ]
        });
        let mut blocks = vec![Block::Table(Table {
            widths: vec![0.08, 0.48, 0.14, 0.3],
            head: vec!["No.", "Limit", "Value", "From"],
            numbers: vec![2],
            rows: rows.collect(),
        })];
        blocks.extend(
            report
                .uncertainty_words()
                .into_iter()
                .map(|words| Block::Paragraph(vec![small(words)])),
        );
        blocks
    })
}

fn events(report: &Report) -> Vec<Block> {
    section(
        "Notes and events",
        report.events.is_empty() && report.holds.is_empty(),
        || {
            let mut items: Vec<(u64, Vec<Span>)> = report
                .events
                .iter()
                .map(|event| {
                    let at = event
                        .at
                        .as_deref()
                        .map_or_else(String::new, |at| format!(" at {at}"));
                    let words = if event.text.is_empty() {
                        String::new()
                    } else {
                        format!(": {}", event.text)
                    };
                    let item = vec![
                        text(format!("{} ", event.time.clock())),
                        bold(event.kind.words()),
                        text(format!("{at}{words} ")),
                        small(format!("[{}]", event.seq)),
                    ];
                    (event.seq, item)
                })
                .chain(report.holds.iter().map(|hold| {
                    let words = format!(
                        "{} Held {} s: {} ",
                        hold.time.clock(),
                        hold.seconds,
                        hold.title
                    );
                    (
                        hold.seq,
                        vec![text(words), small(format!("[{}]", hold.seq))],
                    )
                }))
                .collect();
            items.sort_by_key(|(seq, _)| *seq);
            vec![Block::List(
                items.into_iter().map(|(_, item)| item).collect(),
            )]
        },
    )
}

fn answers(report: &Report) -> Vec<Block> {
    section("All answers", report.answers.is_empty(), || {
        let mut items: Vec<Vec<Span>> = Vec::new();
        for stage in [
            Stage::Safety,
            Stage::AsFound,
            Stage::Adjust,
            Stage::AsLeft,
            Stage::Close,
        ] {
            let of_stage = report.answers.iter().filter(|answer| answer.stage == stage);
            for (at, answer) in of_stage.enumerate() {
                if at == 0 {
                    items.push(vec![bold(stage.words())]);
                }
                items.push(answer_line(report, answer));
            }
        }
        vec![
            Block::Paragraph(vec![small(
                "[number of the record in the journal] local time. v: heard; readings, choices and yes or no were read back and affirmed, done was taken as said. k: typed. The sounds can be heard from the page (HTML) or the folder of clips.",
            )]),
            Block::Columns(items),
        ]
    })
}

fn answer_line(report: &Report, answer: &Answer) -> Vec<Span> {
    let mut line = vec![text(format!(
        "[{}] {} {}: ",
        answer.seq,
        answer.time.clock(),
        answer.title
    ))];
    if answer.counts == Counts::Yes {
        line.push(bold(&answer.shown));
    } else {
        line.push(struck(&answer.shown));
        line.push(text(format!(" ({})", answer.counts.words())));
    }
    line.push(text(if answer.how.channel == "voice" {
        " v"
    } else {
        " k"
    }));
    for number in report.limit_numbers(answer) {
        line.push(small(format!(" L{number}")));
    }
    if answer.attempt > 1 {
        line.push(text(format!(", attempt {}", answer.attempt)));
    }
    if answer.out_of_range {
        line.push(text(" "));
        line.push(mark("outside range, given twice", Mark::Framed));
    }
    if let Some(old) = answer.corrects {
        line.push(text(format!(
            ", corrects [{old}]: {}",
            answer.reason.as_deref().unwrap_or("no reason was given")
        )));
    }
    if let Some(doubt) = &answer.how.doubt {
        line.push(text(format!(
            ", asked back: {doubt}; heard: {}",
            answer.how.heard
        )));
    }
    if answer.how.relayed_by.is_some() {
        line.push(text(format!(", said by {}", who(answer))));
    }
    line
}

/// What this record is, by whom and with what it was made, and how it can be checked.
pub(super) fn proof(report: &Report, unwritable: bool) -> Vec<Block> {
    let head = &report.head;
    let mut programs = vec![head.program.as_str()];
    programs.extend(head.resumed_with.iter().map(String::as_str));
    let mut blocks = Vec::new();
    for signature in &report.signatures {
        blocks.push(Block::Paragraph(vec![
            if signature.good {
                bold("Signed: ")
            } else {
                mark("SIGNATURE NOT GOOD", Mark::Reversed)
            },
            small(format!(" {} ({})", signature.words, signature.file)),
        ]));
    }
    if !report.cautions.is_empty() {
        blocks.push(Block::Paragraph(vec![
            small("Cautions of the job: "),
            small(report.cautions.join(" ")),
        ]));
    }
    blocks.push(Block::Paragraph(vec![small(report.statements.join(" "))]));
    blocks.push(Block::Paragraph(vec![small(format!(
        "Job {}, made by {}. Journal of {} records: {}. Job file {}. Journal {} (hash of its last line, no signature). {}{}",
        head.job,
        programs.join(", then "),
        head.records,
        head.journal,
        head.job_hash,
        head.journal_hash,
        ears::sentence(&head.ears),
        if head.from_recording {
            " Sound from a recording."
        } else {
            ""
        }
    ))]));
    if unwritable {
        blocks.push(Block::Paragraph(vec![mark(
            "Characters that the letters of this PDF do not have are shown as \u{FFFD}; the page (HTML) and the data have them whole.",
            Mark::Framed,
        )]));
    }
    blocks
}

/// Of each quantity the largest drift, and the suggestion of the next check.
pub(super) fn since(report: &Report) -> Vec<Block> {
    let Some(since) = &report.since else {
        return Vec::new();
    };
    let largest = since
        .lines
        .iter()
        .filter(|line| line.largest)
        .map(|line| &line.words);
    section("Since last as left", false, || {
        vec![Block::List(
            largest
                .chain(&since.next)
                .map(|line| vec![text(line)])
                .collect(),
        )]
    })
}

/// A heading with what stands under it; nothing where there is nothing.
pub(super) fn section(name: &str, empty: bool, blocks: impl FnOnce() -> Vec<Block>) -> Vec<Block> {
    if empty {
        return Vec::new();
    }
    let mut made = vec![Block::Heading(2, name.to_owned())];
    made.extend(blocks());
    made
}

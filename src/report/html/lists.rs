//! The small print: nameplate, limits, and every answer.

use super::super::markup::Markup;
use super::super::types::{Answer, Counts, PlateFrom, PlateLine, Report};
use super::measured::heads;
use super::sound::sound;
use crate::job::Stage;

pub(super) fn plate_and_limits(page: &mut Markup, report: &Report) {
    page.element("div", &[("class", "halves")], |page| {
        page.element("section", &[], |page| {
            plate(page, report);
            instruments(page, report);
        });
        page.element("section", &[], |page| limits(page, report));
    });
}

fn plate(page: &mut Markup, report: &Report) {
    let lines: Vec<&PlateLine> = report
        .plate
        .iter()
        .filter(|line| !report.is_of_instrument(line))
        .collect();
    let mut groups: Vec<&str> = Vec::new();
    for line in &lines {
        if !groups.contains(&line.group.as_str()) {
            groups.push(&line.group);
        }
    }
    if groups.is_empty() {
        return;
    }
    page.leaf("h2", "", "Nameplate and order");
    for group in groups {
        page.element("p", &[], |page| {
            page.leaf("b", "", group).text(": ");
            for (at, line) in lines.iter().filter(|line| line.group == group).enumerate() {
                if at > 0 {
                    page.text("; ");
                }
                plate_line(page, report, line);
            }
            page.text(".");
        });
    }
    page.leaf(
        "p",
        "why",
        "* asked on the job; the rest is from the job sheet or follows from it.",
    );
}

fn instruments(page: &mut Markup, report: &Report) {
    if report.instruments.is_empty() {
        return;
    }
    page.leaf("h2", "", "Instruments");
    page.element("table", &[], |page| {
        heads(page, &["Instrument", "Due", "Specification"], &[]);
        page.element("tbody", &[], |page| {
            for instrument in &report.instruments {
                page.element("tr", &[], |page| {
                    page.leaf("td", "", &instrument.name);
                    page.element("td", &[("class", "due")], |page| {
                        page.text(&instrument.due);
                        if instrument.expired {
                            page.text(" ").leaf("span", "mark", "PAST DUE");
                        }
                    });
                    let specification = if instrument.specification.is_empty() {
                        "not given".to_owned()
                    } else {
                        instrument.specification.join("; ")
                    };
                    page.element("td", &[("class", "small")], |page| {
                        page.text(&specification);
                        let own = report
                            .plate
                            .iter()
                            .filter(|line| instrument.items.contains(&line.id));
                        for line in own {
                            if let (Some(seq), Some(how)) = (line.seq, &line.how) {
                                sound(page, report, seq, how);
                            }
                        }
                    });
                });
            }
        });
    });
}

fn plate_line(page: &mut Markup, report: &Report, line: &PlateLine) {
    page.text(&line.title).text(" ");
    for old in &line.replaced {
        page.leaf("span", "old", old).text(" ");
    }
    page.leaf("b", "", &line.shown);
    if line.from == PlateFrom::Asked {
        page.text("*");
    }
    if line.expired {
        page.text(" ").leaf("span", "mark", "PAST DUE");
    }
    if let (Some(seq), Some(how)) = (line.seq, &line.how) {
        sound(page, report, seq, how);
    }
}

fn limits(page: &mut Markup, report: &Report) {
    if report.limits.is_empty() {
        return;
    }
    page.leaf("h2", "", "Limits and where they come from");
    page.element("table", &[("class", "limits")], |page| {
        page.element("tbody", &[], |page| {
            for (at, limit) in report.limits.iter().enumerate() {
                page.element("tr", &[], |page| {
                    page.leaf("td", "n", &format!("L{}", at + 1))
                        .leaf("td", "", &limit.about);
                    page.leaf("td", "n", &limit.shown);
                    page.element("td", &[("class", "small")], |page| {
                        page.text(&limit.source);
                        if let Some(own) = &limit.replaced {
                            page.text(&format!("; from the job sheet, instead of {own}"));
                        }
                    });
                });
            }
        });
    });
    for words in report.uncertainty_words() {
        page.leaf("p", "why", &words);
    }
}

pub(super) fn all_answers(page: &mut Markup, report: &Report) {
    page.element("section", &[], |page| {
        page.leaf("h2", "", "All answers");
        page.element("ul", &[("class", "answers")], |page| {
            for stage in [Stage::Safety, Stage::AsFound, Stage::Adjust, Stage::AsLeft, Stage::Close] {
                let answers: Vec<&Answer> = report.answers.iter().filter(|answer| answer.stage == stage).collect();
                if !answers.is_empty() {
                    page.leaf("li", "stage", stage.words());
                }
                // The cells of a reading set share a line where nothing is to be said about them.
                for line in answers.chunk_by(|one, other| is_plain_cell(one) && is_plain_cell(other) && one.step == other.step) {
                    page.element("li", &[], |page| match line {
                        [answer] => answer_line(page, report, answer),
                        cells => cells_line(page, report, cells),
                    });
                }
            }
        });
        page.leaf(
            "p",
            "why",
            "[number of the record in the journal]. v: heard; readings, choices and yes or no were read back and affirmed, done was taken as said; k: typed. L1, L2: the limits above that it was judged by.",
        );
    });
}

fn is_plain_cell(answer: &Answer) -> bool {
    answer.point.is_some()
        && answer.counts == Counts::Yes
        && !answer.out_of_range
        && answer.corrects.is_none()
        && answer.how.doubt.is_none()
        && answer.how.relayed_by.is_none()
}

fn cells_line(page: &mut Markup, report: &Report, cells: &[&Answer]) {
    let [first, .., last] = cells else { return };
    let title = first.title.split(':').next().unwrap_or_default();
    page.text(&format!(
        "[{}\u{2013}{}] {} {title}: ",
        first.seq,
        last.seq,
        first.time.clock()
    ));
    for (at, cell) in cells.iter().enumerate() {
        let arrow = if cell.direction == Some("up") {
            '\u{2191}'
        } else {
            '\u{2193}'
        };
        let comma = if at == 0 { "" } else { ", " };
        page.text(&format!(
            "{comma}{}{arrow} ",
            cell.point.as_deref().unwrap_or_default()
        ));
        page.leaf("b", "", &cell.shown)
            .text(if cell.how.channel == "voice" {
                " v"
            } else {
                " k"
            });
        sound(page, report, cell.seq, &cell.how);
    }
    limit_numbers(page, report, first);
}

fn limit_numbers(page: &mut Markup, report: &Report, answer: &Answer) {
    let numbers = report.limit_numbers(answer);
    if !numbers.is_empty() {
        let numbers: Vec<String> = numbers.iter().map(|number| format!("L{number}")).collect();
        page.text(" ").leaf("span", "why", &numbers.join(" "));
    }
}

fn answer_line(page: &mut Markup, report: &Report, answer: &Answer) {
    page.text(&format!(
        "[{}] {} {}: ",
        answer.seq,
        answer.time.clock(),
        answer.title
    ));
    if answer.counts == Counts::Yes {
        page.leaf("b", "", &answer.shown);
    } else {
        page.leaf("span", "old", &answer.shown)
            .text(&format!(" ({})", answer.counts.words()));
    }
    page.text(if answer.how.channel == "voice" {
        " v"
    } else {
        " k"
    });
    sound(page, report, answer.seq, &answer.how);
    limit_numbers(page, report, answer);
    if answer.attempt > 1 {
        page.text(&format!(", attempt {}", answer.attempt));
    }
    if answer.out_of_range {
        page.text(" ")
            .leaf("span", "mark", "outside range, given twice");
    }
    if let Some(old) = answer.corrects {
        page.text(&format!(
            ", corrects [{old}]: {}",
            answer.reason.as_deref().unwrap_or("no reason was given")
        ));
    }
    if let Some(doubt) = &answer.how.doubt {
        page.text(&format!(
            ", asked back: {doubt}; heard: {}",
            answer.how.heard
        ));
    }
    if let Some(relayed) = &answer.how.relayed_by {
        page.text(&format!(
            ", said by {}, relayed by {relayed}",
            answer.how.by.as_deref().unwrap_or("nobody named")
        ));
    }
}

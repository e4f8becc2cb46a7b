//! The record as one page for people: self-contained, for screen, phone and
//! one or two sheets of A4 in black and white.

use super::markup::{Markup, beside};
use super::plot;
use super::types::{
    Answer, Counts, Event, EventKind, FindingLine, Head, Hold, HowLine, PlateFrom, PlateLine, Report, Run, RunCell, Side, State, Weight,
};
use crate::calc::finding::Grade;
use crate::core::question::with_unit;
use crate::job::Stage;

/// The record as a page that needs nothing but itself and, for the sound, its clips folder.
#[must_use]
pub fn html(report: &Report) -> String {
    let mut page = Markup::default();
    page.literal("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    page.literal("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n");
    page.leaf("title", "", &format!("{} {}", report.head.tag.as_deref().unwrap_or("no tag"), report.head.title));
    page.literal("\n<style>\n").literal(include_str!("style.css")).literal("</style>\n</head>\n<body>\n<main>\n");
    top(&mut page, report);
    exceptions(&mut page, report);
    found_and_left(&mut page, report);
    runs(&mut page, report);
    findings(&mut page, report);
    safety_and_events(&mut page, report);
    plate_and_limits(&mut page, report);
    all_answers(&mut page, report);
    bottom(&mut page, report);
    page.literal("</main>\n</body>\n</html>\n");
    page.finish()
}

fn top(page: &mut Markup, report: &Report) {
    let head = &report.head;
    page.element("header", &[], |page| {
        page.element("div", &[("class", "top")], |page| {
            page.element("div", &[], |page| {
                page.leaf("h1", "", head.tag.as_deref().unwrap_or("no tag"));
                page.leaf("div", "title", &head.title);
            });
            let class = if head.state == State::Complete { "state" } else { "state bad" };
            page.leaf("div", class, head.state.words());
        });
        page.element("dl", &[("class", "facts")], |page| {
            fact(page, "By", head.by.as_deref().unwrap_or("not given"));
            if let Some(partner) = &head.relayed_by {
                fact(page, "Relayed by", partner);
            }
            for line in report.plate.iter().filter(|line| matches!(line.id.as_str(), "order" | "permit")) {
                fact(page, &line.title, &line.shown);
            }
            fact(page, "Start", &head.started.to_read());
            fact(page, "End", &head.last.to_read());
            if let Some(words) = report.as_left_in_words() {
                fact(page, "As left", &words);
            }
            fact(page, "UTC", &format!("{} to {}", short_utc(&head.started.utc), short_utc(&head.last.utc)));
        });
    });
}

fn short_utc(utc: &str) -> String {
    utc.get(..16).map_or_else(|| utc.to_owned(), |utc| utc.replace('T', " "))
}

fn fact(page: &mut Markup, name: &str, value: &str) {
    page.element("div", &[], |page| {
        page.leaf("dt", "", name);
        page.leaf("dd", "", value);
    });
}

fn exceptions(page: &mut Markup, report: &Report) {
    page.element("section", &[("class", "exceptions")], |page| {
        if report.exceptions.is_empty() {
            page.leaf("h2", "", "No exceptions");
            return;
        }
        page.leaf("h2", "", &format!("Exceptions: {}", report.exceptions.len()));
        page.element("ul", &[], |page| {
            for exception in &report.exceptions {
                let (class, sign) = match exception.weight {
                    Weight::Bad => ("bad", "FAULT"),
                    Weight::Watch => ("watch", "LOOK"),
                };
                page.element("li", &[("class", class)], |page| {
                    page.literal("<span class=\"sign\">").leaf("span", "", sign).literal("</span>");
                    page.leaf("b", "", &exception.what);
                    if !exception.detail.is_empty() {
                        page.text(" \u{2013} ").text(&exception.detail);
                    }
                    if let Some(seq) = exception.seq {
                        page.text(" ").leaf("span", "why", &format!("[{seq}]"));
                    }
                });
            }
        });
    });
}

fn found_and_left(page: &mut Markup, report: &Report) {
    if report.pairs.is_empty() && report.track.is_none() {
        return;
    }
    page.element("section", &[], |page| {
        page.leaf("h2", "", "As found | as left");
        page.element("div", &[("class", "beside")], |page| {
            page.element("div", &[], |page| {
                if report.pairs.is_empty() {
                    return;
                }
                page.element("table", &[], |page| {
                    heads(page, &["", "As found", "As left", "Change"], &[1, 2, 3]);
                    page.element("tbody", &[], |page| {
                        for pair in &report.pairs {
                            page.element("tr", &[], |page| {
                                page.leaf("td", "", &pair.measures);
                                page.element("td", &[("class", "n")], |page| side(page, &pair.as_found));
                                page.element("td", &[("class", "n")], |page| side(page, &pair.as_left));
                                page.leaf("td", "n", pair.change.as_deref().unwrap_or("\u{2013}"));
                            });
                        }
                    });
                });
            });
            page.element("div", &[], |page| {
                if let Some(track) = &report.track {
                    plot::track(page, track);
                    page.leaf("p", "why", &track_words(track.margin_limit.as_deref()));
                }
            });
        });
    });
}

fn track_words(margin: Option<&str>) -> String {
    let mut words = "Track of the potentiometer in %. Dashed: ends of travel as predicted; solid: as measured.".to_owned();
    if let Some(margin) = margin {
        words.push_str(&format!(" Grey: margin of {margin} % to be kept."));
    }
    words
}

fn side(page: &mut Markup, side: &Side) {
    for old in &side.replaced {
        page.leaf("span", "old", old).text(" ");
    }
    match (&side.shown, &side.missing) {
        (Some(shown), _) => page.leaf("span", "big", shown),
        (None, Some(missing)) => page.leaf("span", "small", missing),
        (None, None) => page.text("\u{2013}"),
    };
    if let Some(uncertainty) = &side.uncertainty {
        page.text(" ").leaf("span", "why", &format!("U {uncertainty}"));
    }
    for (holds, words) in [(side.corrected_after_freeze, "corrected after freezing"), (side.out_of_range, "outside range")] {
        if holds {
            page.literal("<br>").leaf("span", "mark", words);
        }
    }
}

fn heads(page: &mut Markup, names: &[&str], numbers: &[usize]) {
    page.element("thead", &[], |page| {
        page.element("tr", &[], |page| {
            for (at, name) in names.iter().enumerate() {
                page.leaf("th", if numbers.contains(&at) { "n" } else { "" }, name);
            }
        });
    });
}

/// Runs that measure the same stand side by side, each column in a table of its own.
fn runs(page: &mut Markup, report: &Report) {
    let mut groups: Vec<Vec<&Run>> = Vec::new();
    for run in &report.runs {
        let same = |group: &&mut Vec<&Run>| {
            run.measures.is_some()
                && group.iter().all(|other| other.measures == run.measures && other.columns == run.columns && other.stage != run.stage)
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(run),
            None => groups.push(vec![run]),
        }
    }
    for group in groups {
        let columns = group.first().map_or(0, |run| run.columns.len());
        for column in 0..columns {
            page.element("section", &[], |page| run_column(page, &group, column));
        }
    }
}

fn run_column(page: &mut Markup, group: &[&Run], column: usize) {
    let [first, ..] = group else { return };
    let title = first.measures.as_deref().unwrap_or(&first.title);
    page.leaf("h2", "", &format!("{title}: {}", first.columns[column].title));
    page.element("div", &[("class", "beside")], |page| {
        page.element("div", &[("class", "scroll")], |page| {
            page.element("table", &[], |page| {
                let mut names = vec!["%".to_owned(), "Command".to_owned()];
                for run in group {
                    for way in ["up", "down"].into_iter().filter(|way| *way == "up" || run.rows.iter().any(|row| !row.up)) {
                        names.push(format!("{}, {way}", run.stage.words()));
                        names.push("dev. %".to_owned());
                    }
                }
                heads(page, &names.iter().map(String::as_str).collect::<Vec<_>>(), &(0..names.len()).collect::<Vec<_>>());
                page.element("tbody", &[], |page| {
                    for row in first.rows.iter().filter(|row| row.up) {
                        page.element("tr", &[], |page| {
                            page.leaf("td", "n", &row.point).leaf("td", "n", &row.command);
                            for run in group {
                                for up in [true, false].into_iter().filter(|up| *up || run.rows.iter().any(|row| !row.up)) {
                                    let cell = run
                                        .rows
                                        .iter()
                                        .find(|other| other.up == up && other.point == row.point)
                                        .and_then(|row| row.cells.get(column));
                                    run_cell(page, cell);
                                }
                            }
                        });
                    }
                });
            });
            if let Some(limit) = group.iter().find_map(|run| run.limit.as_ref()) {
                page.leaf(
                    "p",
                    "why",
                    &format!("Deviation in % of span. Limit \u{B1}{} % ({}); beyond it: bold, with a mark.", limit.value, limit.source),
                );
            }
            for run in group.iter().filter(|run| run.earlier_readings > 0) {
                page.leaf("p", "why", &format!("{}: {} readings of earlier attempts stand among all answers.", run.title, run.earlier_readings));
            }
        });
        page.element("div", &[], |page| plot::deviations(page, group, column));
    });
}

fn run_cell(page: &mut Markup, cell: Option<&RunCell>) {
    let Some(cell) = cell else {
        page.leaf("td", "n", "\u{2013}").leaf("td", "n", "");
        return;
    };
    page.element("td", &[("class", "n")], |page| {
        for old in &cell.replaced {
            page.leaf("span", "old", old).text(" ");
        }
        page.text(cell.shown.as_deref().or(cell.missing.as_deref()).unwrap_or("\u{2013}"));
        if cell.out_of_range {
            page.text(" ").leaf("span", "mark", "outside range");
        }
    });
    let deviation = cell.deviation.as_deref().unwrap_or_default();
    page.element("td", &[("class", "n")], |page| {
        if cell.beyond {
            page.leaf("b", "", deviation).text(" ").leaf("span", "mark", "!");
        } else {
            page.text(deviation);
        }
    });
}

fn findings(page: &mut Markup, report: &Report) {
    if report.findings.is_empty() {
        return;
    }
    page.element("section", &[], |page| {
        page.leaf("h2", "", "Findings");
        page.element("table", &[("class", "findings")], |page| {
            page.element("tbody", &[], |page| {
                for finding in &report.findings {
                    page.element("tr", &[], |page| finding_row(page, report, finding));
                }
            });
        });
    });
}

fn finding_row(page: &mut Markup, report: &Report, finding: &FindingLine) {
    let sign = match finding.grade {
        Grade::Good => "\u{2713} good",
        Grade::Watch => "! look",
        Grade::Bad => "\u{2717} fault",
        Grade::CannotTell => "? cannot tell",
    };
    page.element("td", &[], |page| {
        page.leaf("b", "", &finding.title);
        let stage = finding.stage.map_or("", Stage::words);
        let attempt = if finding.latest { "" } else { ", earlier attempt" };
        page.literal("<br>").leaf("span", "why", &format!("[{}] {} {stage}{attempt}", finding.seq, finding.time.clock()));
    });
    page.element("td", &[], |page| {
        let verdict = format!("{sign}: {}", finding.verdict.replace('-', " "));
        page.leaf(if finding.grade == Grade::Good { "span" } else { "b" }, "", &verdict);
    });
    page.element("td", &[], |page| {
        page.text(&finding.reason).literal(" ").leaf("i", "", &finding.said);
        if finding.said != finding.advice && finding.grade != Grade::Good {
            page.literal(" ").leaf("i", "why", &finding.advice);
        }
        if let Some(decision) = report.decisions.iter().find(|decision| decision.seq == finding.seq) {
            page.literal("<br>").text(&format!(
                "{} against {}, U {}{}: ",
                decision.value,
                decision.limit,
                decision.uncertainty,
                decision.tur.as_deref().map_or_else(String::new, |tur| format!(", TUR {tur}"))
            ));
            page.leaf("b", "", &decision.class).text(" with a guard band of U.");
            if decision.cannot_prove {
                page.text(" ").leaf("b", "", "The meter cannot prove it.");
            }
        }
    });
}

fn safety_and_events(page: &mut Markup, report: &Report) {
    page.element("div", &[("class", "halves")], |page| {
        page.element("section", &[], |page| gates(page, report));
        page.element("section", &[], |page| {
            corrections_and_skips(page, report);
            events(page, report);
        });
    });
}

fn gates(page: &mut Markup, report: &Report) {
    if report.gates.is_empty() {
        return;
    }
    page.leaf("h2", "", "Safety questions");
    page.element("table", &[], |page| {
        page.element("tbody", &[], |page| {
            for gate in &report.gates {
                page.element("tr", &[], |page| {
                    page.leaf("td", "n", gate.time.clock());
                    page.leaf("td", "", &gate.title);
                    page.element("td", &[], |page| {
                        let answer = gate.value.to_uppercase();
                        page.leaf(if gate.value == "yes" { "span" } else { "b" }, if gate.value == "yes" { "" } else { "mark" }, &answer);
                        not_counting(page, gate);
                    });
                    page.leaf("td", "why", &who(&gate.how));
                });
            }
        });
    });
}

fn who(how: &HowLine) -> String {
    let by = how.by.as_deref().unwrap_or("nobody named");
    how.relayed_by.as_deref().map_or_else(|| by.to_owned(), |relayed| format!("{by}, relayed by {relayed}"))
}

fn not_counting(page: &mut Markup, answer: &Answer) {
    if answer.counts != Counts::Yes {
        page.text(" ").leaf("span", "why", answer.counts.words());
    }
}

fn corrections_and_skips(page: &mut Markup, report: &Report) {
    if !report.corrections.is_empty() {
        page.leaf("h2", "", "Corrections");
        page.element("ul", &[], |page| {
            for correction in &report.corrections {
                page.element("li", &[], |page| {
                    page.text(&format!("{} {}: ", correction.time.clock(), correction.title));
                    page.leaf("span", "old", &correction.old).text(" to ").leaf("b", "", &correction.new);
                    page.text(&format!(". Reason: {}", correction.reason));
                    if correction.after_freeze {
                        page.text(" ").leaf("span", "mark", "after as found was frozen");
                    }
                });
            }
        });
    }
    if !report.skipped.is_empty() {
        page.leaf("h2", "", "Left out");
        page.element("ul", &[], |page| {
            for skip in &report.skipped {
                page.element("li", &[], |page| {
                    let how = if skip.unable { "could not be done" } else { "skipped" };
                    let later = if skip.done_later { "; done later" } else { "" };
                    page.text(&format!("{} {}, {how}{later}: {}", skip.time.clock(), skip.title, skip.reason));
                });
            }
        });
    }
}

fn events(page: &mut Markup, report: &Report) {
    if report.events.is_empty() && report.holds.is_empty() {
        return;
    }
    page.leaf("h2", "", "Notes and events");
    page.element("ul", &[], |page| {
        let mut holds = report.holds.iter().peekable();
        for event in &report.events {
            while let Some(hold) = holds.next_if(|hold| hold.seq < event.seq) {
                hold_line(page, hold);
            }
            event_line(page, report, event);
        }
        for hold in holds {
            hold_line(page, hold);
        }
    });
}

fn event_line(page: &mut Markup, report: &Report, event: &Event) {
    page.element("li", &[], |page| {
        page.text(&format!("{} ", event.time.clock()));
        let name = if matches!(event.kind, EventKind::Stop | EventKind::Note) { "b" } else { "span" };
        page.leaf(name, "", event.kind.words());
        if let Some(at) = &event.at {
            page.text(&format!(" at {at}"));
        }
        if !event.text.is_empty() {
            page.text(&format!(": {}", event.text));
        }
        if let Some(how) = &event.how {
            clip_link(page, report, how);
        }
    });
}

fn hold_line(page: &mut Markup, hold: &Hold) {
    page.element("li", &[], |page| {
        page.text(&format!("{} Held {} s: {}", hold.time.clock(), hold.seconds, hold.title));
    });
}

fn clip_link(page: &mut Markup, report: &Report, how: &HowLine) {
    if let Some(clip) = &how.clip {
        let address = beside(&report.head.clips_folder, clip);
        page.text(" ").element("a", &[("class", "sound"), ("href", &address), ("title", &format!("heard: {}", how.heard))], |page| {
            page.text("sound");
        });
    }
}

fn plate_and_limits(page: &mut Markup, report: &Report) {
    page.element("div", &[("class", "halves")], |page| {
        page.element("section", &[], |page| plate(page, report));
        page.element("section", &[], |page| limits(page, report));
    });
}

fn plate(page: &mut Markup, report: &Report) {
    let mut groups: Vec<&str> = Vec::new();
    for line in &report.plate {
        if !groups.contains(&line.group.as_str()) {
            groups.push(&line.group);
        }
    }
    if groups.is_empty() {
        return;
    }
    page.leaf("h2", "", "Nameplate, order, instruments");
    for group in groups {
        page.element("p", &[], |page| {
            page.leaf("b", "", group).text(": ");
            for (at, line) in report.plate.iter().filter(|line| line.group == group).enumerate() {
                if at > 0 {
                    page.text("; ");
                }
                plate_line(page, line);
            }
            page.text(".");
        });
    }
    page.leaf("p", "why", "* asked on the job; the rest is from the job sheet or follows from it.");
}

fn plate_line(page: &mut Markup, line: &PlateLine) {
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
}

fn limits(page: &mut Markup, report: &Report) {
    if report.limits.is_empty() {
        return;
    }
    page.leaf("h2", "", "Limits and where they come from");
    page.element("table", &[], |page| {
        page.element("tbody", &[], |page| {
            for (at, limit) in report.limits.iter().enumerate() {
                page.element("tr", &[], |page| {
                    page.leaf("td", "n", &format!("L{}", at + 1)).leaf("td", "", &limit.about);
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
    for meter in &report.meters {
        let doubt = if meter.doubtful { "; past its due date, so not assured" } else { "" };
        page.leaf(
            "p",
            "why",
            &format!(
                "U of readings in {}: {}, {} % of reading + {} counts of {}{doubt}.",
                with_unit("", &meter.unit).trim(),
                meter.name,
                meter.percent,
                meter.counts,
                with_unit(&meter.resolution, &meter.unit)
            ),
        );
    }
}

fn all_answers(page: &mut Markup, report: &Report) {
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
            "[number of the record in the journal]. v: heard, read back and affirmed; k: typed. L1, L2: the limits above that it was judged by.",
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
    page.text(&format!("[{}\u{2013}{}] {} {title}: ", first.seq, last.seq, first.time.clock()));
    for (at, cell) in cells.iter().enumerate() {
        let arrow = if cell.direction == Some("up") { '\u{2191}' } else { '\u{2193}' };
        let comma = if at == 0 { "" } else { ", " };
        page.text(&format!("{comma}{}{arrow} ", cell.point.as_deref().unwrap_or_default()));
        page.leaf("b", "", &cell.shown).text(if cell.how.channel == "voice" { " v" } else { " k" });
        clip_link(page, report, &cell.how);
    }
    limit_numbers(page, report, first);
}

fn limit_numbers(page: &mut Markup, report: &Report, answer: &Answer) {
    let mut numbers: Vec<usize> =
        answer.limits.iter().filter_map(|id| report.limits.iter().position(|limit| limit.id == *id)).collect();
    numbers.sort_unstable();
    if !numbers.is_empty() {
        let numbers: Vec<String> = numbers.iter().map(|at| format!("L{}", at + 1)).collect();
        page.text(" ").leaf("span", "why", &numbers.join(" "));
    }
}

fn answer_line(page: &mut Markup, report: &Report, answer: &Answer) {
    page.text(&format!("[{}] {} {}: ", answer.seq, answer.time.clock(), answer.title));
    if answer.counts == Counts::Yes {
        page.leaf("b", "", &answer.shown);
    } else {
        page.leaf("span", "old", &answer.shown).text(&format!(" ({})", answer.counts.words()));
    }
    page.text(if answer.how.channel == "voice" { " v" } else { " k" });
    clip_link(page, report, &answer.how);
    limit_numbers(page, report, answer);
    if answer.attempt > 1 {
        page.text(&format!(", attempt {}", answer.attempt));
    }
    if answer.out_of_range {
        page.text(" ").leaf("span", "mark", "outside range, given twice");
    }
    if let Some(old) = answer.corrects {
        page.text(&format!(", corrects [{old}]: {}", answer.reason.as_deref().unwrap_or("no reason was given")));
    }
    if let Some(doubt) = &answer.how.doubt {
        page.text(&format!(", asked back: {doubt}; heard: {}", answer.how.heard));
    }
    if let Some(relayed) = &answer.how.relayed_by {
        page.text(&format!(", relayed by {relayed}"));
    }
}

fn bottom(page: &mut Markup, report: &Report) {
    page.element("section", &[("class", "signatures")], |page| {
        for name in ["Technician, date", "Reviewer, date", "Customer, date"] {
            page.leaf("div", "", name);
        }
    });
    page.element("footer", &[("class", "small")], |page| {
        if !report.cautions.is_empty() {
            page.element("p", &[], |page| {
                page.leaf("b", "", "Cautions of the job: ").text(&report.cautions.join(" "));
            });
        }
        page.leaf("p", "", &report.statements.join(" "));
        let head = &report.head;
        page.leaf("p", "", &identity(head));
        page.leaf("p", "mono", &format!("job file {}", head.job_hash));
        page.leaf("p", "mono", &format!("journal {} (hash of its last line, no signature)", head.journal_hash));
    });
}

fn identity(head: &Head) -> String {
    let mut programs = vec![head.program.as_str()];
    programs.extend(head.resumed_with.iter().map(String::as_str));
    let sound = if head.from_recording { " Sound from a recording." } else { "" };
    format!("Job {}, \u{201C}{}\u{201D}. Made by {}. Journal of {} records: {}.{sound}", head.job, head.title, programs.join(", then "), head.records, head.journal)
}

//! The record as one page for people: self-contained, for screen, phone and
//! one or two sheets of A4 in black and white.

mod decisions;
mod lists;
mod measured;
mod sound;

use self::sound::sound;
use super::ears;
use super::markup::Markup;
use super::plot;
use super::types::{
    Answer, Counts, Event, EventKind, FindingLine, Head, Hold, HowLine, Report, State, Weight,
};
use crate::calc::finding::Grade;
use crate::job::Stage;

/// The record as a page that needs nothing but itself and, for the sound, its clips folder.
#[must_use]
pub fn html(report: &Report) -> String {
    let mut page = Markup::page(
        &format!(
            "{} {}",
            report.head.tag.as_deref().unwrap_or("no tag"),
            report.head.title
        ),
        &[include_str!("style.css"), plot::STYLE],
    );
    top(&mut page, report);
    exceptions(&mut page, report);
    summary(&mut page, report);
    measured::found_and_left(&mut page, report);
    measured::runs(&mut page, report);
    measured::strokes(&mut page, report);
    measured::since(&mut page, report);
    findings(&mut page, report);
    decisions::decisions(&mut page, report);
    safety_and_events(&mut page, report);
    lists::plate_and_limits(&mut page, report);
    lists::all_answers(&mut page, report);
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
            let class = if head.state == State::Complete {
                "state"
            } else {
                "state bad"
            };
            page.leaf("div", class, head.state.words());
        });
        page.element("dl", &[("class", "facts")], |page| {
            fact(page, "By", head.by.as_deref().unwrap_or("not given"));
            if let Some(partner) = &head.relayed_by {
                fact(page, "Relayed by", partner);
            }
            for line in report
                .plate
                .iter()
                .filter(|line| matches!(line.id.as_str(), "order" | "permit"))
            {
                fact(page, &line.title, &line.shown);
            }
            fact(page, "Start", &head.started.to_read());
            fact(page, "End", &head.last.to_read());
            fact(
                page,
                "UTC",
                &format!(
                    "{} to {}",
                    short_utc(&head.started.utc),
                    short_utc(&head.last.utc)
                ),
            );
        });
    });
}

fn short_utc(utc: &str) -> String {
    utc.get(..16)
        .map_or_else(|| utc.to_owned(), |utc| utc.replace('T', " "))
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
        page.leaf(
            "h2",
            "",
            &format!("Exceptions: {}", report.exceptions.len()),
        );
        page.element("ul", &[], |page| {
            for exception in &report.exceptions {
                let (class, sign) = match exception.weight {
                    Weight::Bad => ("bad", "FAULT"),
                    Weight::Watch => ("watch", "LOOK"),
                };
                page.element("li", &[("class", class)], |page| {
                    page.literal("<span class=\"sign\">")
                        .leaf("span", "", sign)
                        .literal("</span>");
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

fn summary(page: &mut Markup, report: &Report) {
    page.element("dl", &[("class", "summary")], |page| {
        for (name, words) in [
            ("Found", &report.summary.found),
            ("Done", &report.summary.done),
            ("Left", &report.summary.left),
        ] {
            page.element("div", &[], |page| {
                page.leaf("dt", "", name);
                page.leaf("dd", "", words);
            });
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
                    page.element("tr", &[], |page| finding_row(page, finding));
                }
            });
        });
    });
}

fn finding_row(page: &mut Markup, finding: &FindingLine) {
    let sign = match finding.grade {
        Grade::Good => "\u{2713} good",
        Grade::Watch => "! look",
        Grade::Bad => "\u{2717} fault",
        Grade::CannotTell => "? cannot tell",
    };
    page.element("td", &[], |page| {
        page.leaf("b", "", &finding.title);
        let stage = finding.stage.map_or("", Stage::words);
        let attempt = match (finding.latest, &finding.put_right) {
            (true, _) => "",
            (false, None) => ", earlier attempt",
            (false, Some(_)) => ", before a correction",
        };
        page.literal("<br>").leaf(
            "span",
            "why",
            &format!(
                "[{}] {} {stage}{attempt}",
                finding.seq,
                finding.time.clock()
            ),
        );
    });
    page.element("td", &[], |page| {
        let verdict = format!("{sign}: {}", finding.verdict.replace('-', " "));
        page.leaf(
            if finding.grade == Grade::Good {
                "span"
            } else {
                "b"
            },
            "",
            &verdict,
        );
    });
    page.element("td", &[], |page| {
        if let Some(outdated) = &finding.outdated {
            page.leaf("span", "mark", "from a value that was replaced")
                .text(&format!(" {outdated}. "));
        }
        if let Some(put_right) = &finding.put_right {
            page.leaf("span", "mark", "worked out again")
                .text(&format!(" {put_right}. "));
        }
        if let Some(was) = &finding.was {
            let was = was.replace('-', " ");
            page.leaf("span", "mark", "worked out again")
                .text(&format!(" before the correction: {was}. "));
        }
        page.text(&finding.reason)
            .literal(" ")
            .leaf("i", "", &finding.said);
        if finding.said != finding.advice && finding.grade != Grade::Good {
            page.literal(" ").leaf("i", "why", &finding.advice);
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
                        page.leaf(
                            if gate.value == "yes" { "span" } else { "b" },
                            if gate.value == "yes" { "" } else { "mark" },
                            &answer,
                        );
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
    how.relayed_by.as_deref().map_or_else(
        || by.to_owned(),
        |relayed| format!("{by}, relayed by {relayed}"),
    )
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
                    page.text(&format!(
                        "{} {}: ",
                        correction.time.clock(),
                        correction.title
                    ));
                    page.leaf("span", "old", &correction.old).text(" to ").leaf(
                        "b",
                        "",
                        &correction.new,
                    );
                    page.text(&format!(". Reason: {}", correction.reason));
                    page.text(&format!(
                        " [{} instead of {}], by {}",
                        correction.seq,
                        correction.old_seq,
                        correction.by.as_deref().unwrap_or("nobody named")
                    ));
                    if correction.after_freeze {
                        page.text(" ")
                            .leaf("span", "mark", "after as found was frozen");
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
                    let how = if skip.unable {
                        "could not be done"
                    } else {
                        "skipped"
                    };
                    let later = if skip.done_later { "; done later" } else { "" };
                    page.text(&format!(
                        "{} {}, {how}{later}: {}",
                        skip.time.clock(),
                        skip.title,
                        skip.reason
                    ));
                    sound(page, report, skip.seq, &skip.how);
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
        let name = if matches!(event.kind, EventKind::Stop | EventKind::Note) {
            "b"
        } else {
            "span"
        };
        page.leaf(name, "", event.kind.words());
        if let Some(at) = &event.at {
            page.text(&format!(" at {at}"));
        }
        if !event.text.is_empty() {
            page.text(&format!(": {}", event.text));
        }
        if let Some(how) = &event.how {
            sound(page, report, event.seq, how);
        }
    });
}

fn hold_line(page: &mut Markup, hold: &Hold) {
    page.element("li", &[], |page| {
        page.text(&format!(
            "{} Held {} s: {}",
            hold.time.clock(),
            hold.seconds,
            hold.title
        ));
    });
}

fn bottom(page: &mut Markup, report: &Report) {
    if !report.signatures.is_empty() {
        page.element("section", &[], |page| {
            page.leaf("h2", "", "Signed with a key");
            page.element("ul", &[], |page| {
                for signature in &report.signatures {
                    page.element("li", &[], |page| {
                        if !signature.good {
                            page.leaf("span", "mark", "NOT GOOD").text(" ");
                        }
                        page.text(&signature.words).text(" ").leaf(
                            "span",
                            "why",
                            &format!("[{}]", signature.file),
                        );
                    });
                }
            });
        });
    }
    page.element("section", &[("class", "signatures")], |page| {
        for name in ["Technician, date", "Reviewer, date", "Customer, date"] {
            page.leaf("div", "", name);
        }
    });
    page.element("footer", &[("class", "small")], |page| {
        if !report.cautions.is_empty() {
            page.element("p", &[], |page| {
                page.leaf("b", "", "Cautions of the job: ")
                    .text(&report.cautions.join(" "));
            });
        }
        page.leaf("p", "", &report.statements.join(" "));
        let head = &report.head;
        page.leaf("p", "", &identity(head));
        page.leaf("p", "", &ears::sentence(&head.ears));
        page.leaf("p", "mono", &format!("job file {}", head.job_hash));
        page.leaf(
            "p",
            "mono",
            &format!(
                "journal {} (hash of its last line, no signature)",
                head.journal_hash
            ),
        );
    });
}

fn identity(head: &Head) -> String {
    let mut programs = vec![head.program.as_str()];
    programs.extend(head.resumed_with.iter().map(String::as_str));
    let sound = if head.from_recording {
        " Sound from a recording."
    } else {
        ""
    };
    format!(
        "Job {}, \u{201C}{}\u{201D}. Made by {}. Journal of {} records: {}.{sound}",
        head.job,
        head.title,
        programs.join(", then "),
        head.records,
        head.journal
    )
}

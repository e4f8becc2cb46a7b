//! The summary of a week as one page: self-contained, for screen, phone and A4 in black and white.

use super::{Figure, MeterLine, RunLine, Week, table};
use crate::report::markup::{Markup, beside};
use crate::route::CheckResult;

/// The summary as a page that needs nothing but itself; it lies in the folder of the runs and leads
/// to their records.
#[must_use]
pub fn html(week: &Week) -> String {
    let mut page = Markup::page(
        &format!("Summary {} to {}", week.from, week.to),
        &[include_str!("../style.css"), include_str!("week.css")],
    );
    top(&mut page, week);
    at_a_glance(&mut page, week);
    for (at, figure) in week.figures.iter().enumerate() {
        section(&mut page, at, figure);
    }
    meters(&mut page, &week.meters);
    page.element("section", &[("class", "signatures")], |page| {
        for name in ["Supervisor, date", "Reviewer, date", "Customer, date"] {
            page.leaf("div", "", name);
        }
    });
    page.element("footer", &[("class", "small")], |page| {
        page.leaf("p", "", &week.statements.join(" "));
    });
    page.literal("</main>\n</body>\n</html>\n");
    page.finish()
}

fn top(page: &mut Markup, week: &Week) {
    let (runs, tags) = week.counts;
    page.element("header", &[], |page| {
        page.element("div", &[("class", "top")], |page| {
            page.element("div", &[], |page| {
                page.leaf("h1", "", &format!("{} to {}", week.from, week.to));
                page.leaf(
                    "div",
                    "title",
                    week.plan.as_deref().unwrap_or("Summary of the runs"),
                );
            });
            page.leaf("div", "state", &format!("{runs} runs, {tags} actuators"));
        });
    });
}

/// Every figure in a line, each leading to its section.
fn at_a_glance(page: &mut Markup, week: &Week) {
    page.element("section", &[("class", "exceptions")], |page| {
        page.leaf("h2", "", "At a glance");
        page.element("dl", &[("class", "glance")], |page| {
            for (at, figure) in week.figures.iter().enumerate() {
                page.element("div", &[], |page| {
                    page.element("dt", &[], |page| {
                        page.element("a", &[("href", &format!("#f{at}"))], |page| {
                            page.text(figure.name);
                        });
                    });
                    page.leaf("dd", "", &figure.value);
                });
            }
        });
    });
}

fn section(page: &mut Markup, at: usize, figure: &Figure) {
    page.element("section", &[("id", &format!("f{at}"))], |page| {
        page.leaf("h2", "", &format!("{}: {}", figure.name, figure.value));
        page.leaf("p", "why", &figure.how);
        if figure.runs.is_empty() {
            return;
        }
        page.element("table", &[("class", "runs")], |page| {
            page.element("tbody", &[], |page| {
                for run in &figure.runs {
                    page.element("tr", &[], |page| run_row(page, run));
                }
            });
        });
    });
}

fn run_row(page: &mut Markup, run: &RunLine) {
    page.element("td", &[], |page| {
        if run.tag.is_empty() {
            link(page, &run.run, &run.run);
        } else {
            link(page, &run.run, &run.tag);
        }
    });
    page.leaf("td", "date", &run.date);
    page.element("td", &[], |page| {
        page.text(&run.detail);
        if !run.run.is_empty() && !run.tag.is_empty() {
            page.text(" ").leaf("span", "why", &run.run);
        }
    });
}

/// Leads to the record of a run; what has no run is only named.
fn link(page: &mut Markup, run: &str, text: &str) {
    if run.is_empty() {
        page.leaf("b", "", text);
        return;
    }
    page.element("a", &[("href", &beside(run, "record.html"))], |page| {
        page.text(text);
    });
}

fn meters(page: &mut Markup, meters: &[MeterLine]) {
    page.element("section", &[], |page| {
        page.leaf(
            "h2",
            "",
            &format!("Meters and their checks: {}", meters.len()),
        );
        if meters.is_empty() {
            page.leaf("p", "why", "No run names one.");
            return;
        }
        page.element("table", &[("class", "runs")], |page| {
            page.element("tbody", &[], |page| {
                for meter in meters {
                    page.element("tr", &[], |page| meter_row(page, meter));
                }
            });
        });
    });
}

fn meter_row(page: &mut Markup, meter: &MeterLine) {
    page.leaf("td", "strong", &meter.name);
    page.element("td", &[("class", "date")], |page| {
        page.text(&format!("due {}", meter.due));
        if meter.expired {
            page.text(" ").leaf("span", "mark", "PAST DUE");
        }
    });
    page.element("td", &[], |page| {
        page.text(&format!("used in {}", meter.runs.len()));
        for (at, run) in meter.runs.iter().enumerate() {
            page.text(if at == 0 { ": " } else { ", " });
            link(page, run, run);
        }
        page.text(". ");
        if meter.checks.is_empty() {
            page.text("No check with a meter check job.");
        }
        for (run, check) in &meter.checks {
            let is_good = check.result == CheckResult::Good;
            page.literal("<br>");
            page.element("a", &[("href", &beside(run, "record.html"))], |page| {
                page.text(&format!("{}, {}", check.at.day(), table::day_end(check)));
            });
            page.text(": ");
            page.leaf(
                if is_good { "span" } else { "b" },
                if is_good { "" } else { "mark" },
                table::good(&check.result),
            );
            page.text(&format!(" {}", table::what(&check.result)));
        }
        for day in &meter.unchecked {
            page.literal("<br>");
            page.leaf("span", "mark", "NOT CHECKED")
                .text(&format!(" {day}"));
        }
    });
}

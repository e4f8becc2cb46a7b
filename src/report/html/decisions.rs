//! Results against limits: simple acceptance, and what the uncertainty lets them prove.

use super::super::markup::Markup;
use super::super::types::{Decision, Report};
use super::measured::heads;
use crate::job::Stage;

pub(super) fn decisions(page: &mut Markup, report: &Report) {
    if report.decisions.is_empty() {
        return;
    }
    page.element("section", &[], |page| {
        page.leaf("h2", "", "Results against limits");
        page.element("div", &[("class", "scroll")], |page| {
            page.element("table", &[("class", "decisions")], |page| {
                heads(
                    page,
                    &[
                        "Result",
                        "Value",
                        "Limit",
                        "Limit from",
                        "U (k = 2)",
                        "TUR",
                        "Simple acceptance",
                        "Guard band w = U",
                    ],
                    &[1, 2, 4, 5],
                );
                page.element("tbody", &[], |page| {
                    for decision in &report.decisions {
                        page.element("tr", &[], |page| row(page, decision));
                    }
                });
            });
        });
        if report.decisions.iter().any(|decision| decision.uncertainty.is_none()) {
            page.leaf(
                "p",
                "why",
                "No U: no specification is known for what was read, so only simple acceptance is given.",
            );
        }
    });
}

fn row(page: &mut Markup, decision: &Decision) {
    page.element("td", &[], |page| {
        page.text(&format!("{}, {} ", decision.title, decision.what));
        let stage = decision.stage.map_or("", Stage::words);
        page.leaf("span", "why", &format!("[{}] {stage}", decision.seq));
    });
    page.leaf("td", "n", &decision.value);
    page.leaf("td", "n", &decision.limit);
    page.leaf("td", "small", &decision.limit_from);
    page.leaf("td", "n", decision.uncertainty.as_deref().unwrap_or("no U"));
    page.leaf("td", "n", decision.tur.as_deref().unwrap_or("\u{2013}"));
    page.leaf(
        "td",
        if decision.accepted { "" } else { "strong" },
        decision.simple(),
    );
    page.element("td", &[], |page| {
        match &decision.class {
            Some(class) if class == "pass" => page.text(class),
            Some(class) => page.leaf("b", "", class),
            None => page.text("\u{2013}"),
        };
        if decision.cannot_prove {
            page.text(" ")
                .leaf("b", "mark", "the meter cannot prove it");
        }
        // Where there is no U, the foot of the table says why.
        if let (Some(note), Some(_)) = (&decision.note, &decision.uncertainty) {
            page.text(" ").leaf("span", "why", note);
        }
    });
}

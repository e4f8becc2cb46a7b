//! As found and as left: pairs, the track, runs with their plot.

use super::super::markup::Markup;
use super::super::measured::grouped;
use super::super::plot;
use super::super::types::{Report, Run, RunCell, Side};

pub(super) fn found_and_left(page: &mut Markup, report: &Report) {
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
                page.element("table", &[("class", "pairs")], |page| {
                    heads(page, &["", "As found", "As left", "Change"], &[1, 2, 3]);
                    page.element("tbody", &[], |page| {
                        for pair in &report.pairs {
                            page.element("tr", &[], |page| {
                                page.leaf("td", "", &pair.measures);
                                page.element("td", &[("class", "n")], |page| {
                                    side(page, &pair.as_found);
                                });
                                page.element("td", &[("class", "n")], |page| {
                                    side(page, &pair.as_left);
                                });
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
    let grey = margin.map_or_else(String::new, |margin| {
        format!(" Grey: margin of {margin} % to be kept.")
    });
    format!(
        "Track of the potentiometer in %. Dashed: ends of travel as predicted; solid: as measured.{grey}"
    )
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
        page.text(" ")
            .leaf("span", "why", &format!("U {uncertainty}"));
    }
    for (holds, words) in [
        (side.corrected_after_freeze, "corrected after freezing"),
        (side.out_of_range, "outside range"),
    ] {
        if holds {
            page.literal("<br>").leaf("span", "mark", words);
        }
    }
}

pub(super) fn heads(page: &mut Markup, names: &[&str], numbers: &[usize]) {
    page.element("thead", &[], |page| {
        page.element("tr", &[], |page| {
            for (at, name) in names.iter().enumerate() {
                page.leaf("th", if numbers.contains(&at) { "n" } else { "" }, name);
            }
        });
    });
}

pub(super) fn strokes(page: &mut Markup, report: &Report) {
    if report.strokes.is_empty() {
        return;
    }
    page.element("section", &[], |page| {
        page.leaf("h2", "", "Stroke");
        plot::strokes(page, &report.strokes);
    });
}

/// Of each quantity the largest drift, and the suggestion of the next check.
pub(super) fn since(page: &mut Markup, report: &Report) {
    let Some(since) = &report.since else { return };
    page.element("section", &[], |page| {
        page.leaf("h2", "", "Since last as left");
        page.element("ul", &[], |page| {
            for line in since.lines.iter().filter(|line| line.largest) {
                let points = since
                    .lines
                    .iter()
                    .filter(|other| other.measures == line.measures && other.point.is_some())
                    .count();
                page.element("li", &[], |page| {
                    page.text(&line.words);
                    if points > 1 {
                        page.text(" ").leaf(
                            "span",
                            "why",
                            &format!("the largest of {points} points"),
                        );
                    }
                });
            }
            for line in &since.next {
                page.leaf("li", "", line);
            }
        });
    });
}

/// Each column of a group in a table of its own.
pub(super) fn runs(page: &mut Markup, report: &Report) {
    for group in grouped(&report.runs) {
        let columns = group.first().map_or(0, |run| run.columns.len());
        for column in 0..columns {
            page.element("section", &[], |page| run_column(page, &group, column));
        }
    }
}

fn run_column(page: &mut Markup, group: &[&Run], column: usize) {
    let [first, ..] = group else { return };
    let title = first.measures.as_deref().unwrap_or(&first.title);
    page.leaf(
        "h2",
        "",
        &format!("{title}: {}", first.columns[column].title),
    );
    page.element("div", &[("class", "beside")], |page| {
        page.element("div", &[("class", "scroll")], |page| {
            page.element("table", &[], |page| {
                run_heads(page, group);
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
                                    run_cell(page, cell, up);
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

/// Two lines: as found and as left, and under each up and down with their deviations.
fn run_heads(page: &mut Markup, group: &[&Run]) {
    let both_ways = |run: &Run| run.rows.iter().any(|row| !row.up);
    page.element("thead", &[], |page| {
        page.element("tr", &[], |page| {
            page.element("th", &[("colspan", "2")], |_| {});
            for run in group {
                let columns = if both_ways(run) { "4" } else { "2" };
                page.element("th", &[("colspan", columns), ("class", "group")], |page| {
                    page.text(run.stage.words());
                });
            }
        });
        page.element("tr", &[], |page| {
            page.leaf("th", "n", "%").leaf("th", "n", "command");
            for run in group {
                page.leaf("th", "n first", "up").leaf("th", "n", "dev.");
                if both_ways(run) {
                    page.leaf("th", "n", "down").leaf("th", "n", "dev.");
                }
            }
        });
    });
}

fn run_cell(page: &mut Markup, cell: Option<&RunCell>, first_of_run: bool) {
    let class = if first_of_run { "n first" } else { "n" };
    let Some(cell) = cell else {
        page.leaf("td", class, "\u{2013}").leaf("td", "n", "");
        return;
    };
    page.element("td", &[("class", class)], |page| {
        for old in &cell.replaced {
            page.leaf("span", "old", old).text(" ");
        }
        page.text(
            cell.shown
                .as_deref()
                .or(cell.missing.as_deref())
                .unwrap_or("\u{2013}"),
        );
        if cell.out_of_range {
            page.text(" ").leaf("span", "mark", "outside range");
        }
    });
    let deviation = cell.deviation.as_deref().unwrap_or_default();
    page.element("td", &[("class", "n")], |page| {
        if cell.beyond {
            page.leaf("b", "", deviation)
                .text(" ")
                .leaf("span", "mark", "!");
        } else {
            page.text(deviation);
        }
    });
}

//! Deviation over travel, up and down, as found and as left, against the limits.

use super::super::markup::Markup;
use super::super::types::Run;
use super::{label, line, px};
use crate::calc::rounding::fixed;
use crate::job::Stage;

/// Deviation over travel, one column of runs that measure the same; nothing where no deviation is known.
pub(in super::super) fn deviations(page: &mut Markup, runs: &[&Run], column: usize) {
    // Unique on the page: a step belongs to one group of runs only.
    let id = runs
        .first()
        .map_or_else(String::new, |run| format!("{}-{column}", run.step));
    let (title_id, about_id) = (
        format!("deviation-title-{id}"),
        format!("deviation-desc-{id}"),
    );
    let both_ids = format!("{title_id} {about_id}");
    let series: Vec<Series> = runs
        .iter()
        .flat_map(|run| {
            [
                Series::of(run, column, true),
                Series::of(run, column, false),
            ]
        })
        .collect();
    let marks: Vec<&Mark> = series.iter().flat_map(|series| &series.marks).collect();
    if marks.is_empty() {
        return;
    }
    let limit = runs
        .iter()
        .find_map(|run| run.limit.as_ref())
        .and_then(|limit| limit.value.parse::<f64>().ok());
    let (low, high) = marks
        .iter()
        .fold((f64::MAX, f64::MIN), |(low, high), mark| {
            (low.min(mark.point), high.max(mark.point))
        });
    let most = marks
        .iter()
        .map(|mark| mark.deviation.abs())
        .fold(limit.unwrap_or(0.0), f64::max)
        .max(0.1)
        * 1.15;
    let frame = Frame {
        low,
        span: (high - low).max(1.0),
        most,
    };
    page.element(
        "svg",
        &[
            ("viewBox", "0 0 360 176"),
            ("role", "img"),
            ("aria-labelledby", &both_ids),
            ("class", "plot"),
        ],
        |page| {
            page.element("title", &[("id", &title_id)], |page| {
                page.text("Deviation in % of span over travel");
            });
            page.element("desc", &[("id", &about_id)], |page| {
                for series in series.iter().filter(|series| !series.marks.is_empty()) {
                    let values: Vec<String> = series
                        .marks
                        .iter()
                        .map(|mark| format!("{} % {}", mark.point_shown, mark.deviation_shown))
                        .collect();
                    page.text(&format!("{}: {}. ", series.name(), values.join(", ")));
                }
                if let Some(limit) = limit {
                    page.text(&format!("Limit \u{B1}{limit} %."));
                }
            });
            draw_frame(page, &frame, limit);
            for series in &series {
                series.draw(page, &frame);
            }
            draw_legend(page, &series, limit.is_some());
        },
    );
}

struct Frame {
    low: f64,
    span: f64,
    most: f64,
}

impl Frame {
    fn x(&self, point: f64) -> f64 {
        34.0 + 316.0 * (point - self.low) / self.span
    }

    fn y(&self, deviation: f64) -> f64 {
        70.0 - 62.0 * deviation / self.most
    }
}

struct Mark {
    point: f64,
    point_shown: String,
    deviation: f64,
    deviation_shown: String,
}

struct Series {
    stage: Stage,
    up: bool,
    marks: Vec<Mark>,
}

impl Series {
    fn of(run: &Run, column: usize, up: bool) -> Self {
        let marks = run
            .rows
            .iter()
            .filter(|row| row.up == up)
            .filter_map(|row| {
                let shown = row.cells.get(column)?.deviation.as_ref()?;
                Some(Mark {
                    point: row.point.parse().ok()?,
                    point_shown: row.point.clone(),
                    deviation: shown.parse().ok()?,
                    deviation_shown: shown.clone(),
                })
            })
            .collect();
        Self {
            stage: run.stage,
            up,
            marks,
        }
    }

    fn name(&self) -> String {
        format!(
            "{}, {}",
            self.stage.words(),
            if self.up { "up" } else { "down" }
        )
    }

    /// As found is hollow and dashed, what came later solid; up is a circle, down a square.
    fn class(&self) -> &'static str {
        if self.stage <= Stage::AsFound {
            "found"
        } else {
            "left"
        }
    }

    fn draw(&self, page: &mut Markup, frame: &Frame) {
        let points: Vec<String> = self
            .marks
            .iter()
            .map(|mark| {
                format!(
                    "{},{}",
                    px(frame.x(mark.point)),
                    px(frame.y(mark.deviation))
                )
            })
            .collect();
        if points.len() > 1 {
            let line = if self.stage <= Stage::AsFound {
                "line found"
            } else {
                "line left"
            };
            page.shape(
                "polyline",
                &[("points", &points.join(" ")), ("class", line)],
            );
        }
        for mark in &self.marks {
            self.draw_mark(
                page,
                frame.x(mark.point),
                frame.y(mark.deviation),
                Some(mark),
            );
        }
    }

    fn draw_mark(&self, page: &mut Markup, x: f64, y: f64, mark: Option<&Mark>) {
        page.element("g", &[("class", self.class())], |page| {
            if let Some(mark) = mark {
                page.element("title", &[], |page| {
                    page.text(&format!(
                        "{} at {} %: {} %",
                        self.name(),
                        mark.point_shown,
                        mark.deviation_shown
                    ));
                });
            }
            if self.up {
                page.shape("circle", &[("cx", &px(x)), ("cy", &px(y)), ("r", "3.4")]);
            } else {
                page.shape(
                    "rect",
                    &[
                        ("x", &px(x - 3.0)),
                        ("y", &px(y - 3.0)),
                        ("width", "6"),
                        ("height", "6"),
                    ],
                );
            }
        });
    }
}

fn draw_frame(page: &mut Markup, frame: &Frame, limit: Option<f64>) {
    page.shape(
        "line",
        &line(34.0, frame.y(0.0), 350.0, frame.y(0.0), "axis").each(),
    );
    page.shape("line", &line(34.0, 8.0, 34.0, 132.0, "axis").each());
    if let Some(limit) = limit {
        for side in [limit, -limit] {
            page.shape(
                "line",
                &line(34.0, frame.y(side), 350.0, frame.y(side), "limit").each(),
            );
            label(
                page,
                31.0,
                frame.y(side) + 3.0,
                "end",
                &format!(
                    "{}{}",
                    if side > 0.0 { "+" } else { "\u{2212}" },
                    side.abs()
                ),
            );
        }
    }
    label(page, 31.0, frame.y(0.0) + 3.0, "end", "0");
    for quarter in 0..=4 {
        let point = frame.low + frame.span * f64::from(quarter) / 4.0;
        page.shape(
            "line",
            &line(frame.x(point), 132.0, frame.x(point), 135.0, "axis").each(),
        );
        label(page, frame.x(point), 144.0, "middle", &fixed(point, 0));
    }
    label(
        page,
        192.0,
        155.0,
        "middle",
        "% of travel; deviation in % of span",
    );
}

fn draw_legend(page: &mut Markup, series: &[Series], limit: bool) {
    let mut x = 8.0;
    for series in series.iter().filter(|series| !series.marks.is_empty()) {
        series.draw_mark(page, x, 168.0, None);
        label(page, x + 6.0, 171.0, "start", &series.name());
        // About the width of the letters at the size of the picture.
        x += 14.0 + 4.7 * series.name().len() as f64;
    }
    if limit {
        page.shape(
            "line",
            &line(x - 4.0, 168.0, x + 10.0, 168.0, "limit").each(),
        );
        label(page, x + 13.0, 171.0, "start", "limit");
    }
}

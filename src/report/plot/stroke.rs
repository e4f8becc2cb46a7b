//! Stroke times, opening and closing, against the nameplate and its tolerance.

use super::super::markup::Markup;
use super::super::types::Stroke;
use super::{Box4, label, line, px};
use crate::calc::rounding::fixed;
use crate::job::Stage;

/// Left end and width of the time axis.
const AXIS: (f64, f64) = (104.0, 236.0);

/// One bar for each stroke; grey is what the tolerance allows.
pub(in super::super) fn strokes(page: &mut Markup, strokes: &[Stroke]) {
    let bars: Vec<(String, &str, bool)> = strokes
        .iter()
        .flat_map(|stroke| {
            let stage = stroke.stage.map_or("", Stage::words);
            let found = stroke.stage.is_some_and(|stage| stage <= Stage::AsFound);
            [
                (format!("{stage}, open"), stroke.open.as_str(), found),
                (format!("{stage}, close"), stroke.close.as_str(), found),
            ]
        })
        .collect();
    let number = |text: &str| text.parse::<f64>().ok();
    let allowed = strokes.iter().find_map(|stroke| {
        let nameplate = number(stroke.nameplate.as_deref()?)?;
        let part = number(stroke.tolerance.as_deref()?)? / 100.0;
        Some((
            nameplate,
            nameplate * (1.0 - part),
            nameplate * (1.0 + part),
        ))
    });
    let most = bars
        .iter()
        .filter_map(|(_, seconds, _)| number(seconds))
        .chain(allowed.map(|(.., high)| high))
        .fold(0.1, f64::max)
        * 1.1;
    let x = |seconds: f64| AXIS.0 + AXIS.1 * seconds / most;
    let bottom = 10.0 + 16.0 * bars.len() as f64;
    let view = format!("0 0 360 {}", px(bottom + 30.0));
    page.element(
        "svg",
        &[
            ("viewBox", &view),
            ("role", "img"),
            ("aria-labelledby", "stroke-title stroke-desc"),
            ("class", "plot"),
        ],
        |page| {
            page.element("title", &[("id", "stroke-title")], |page| {
                page.text("Stroke times, in seconds");
            });
            page.element("desc", &[("id", "stroke-desc")], |page| {
                for (name, seconds, _) in &bars {
                    page.text(&format!("{name}: {seconds} s. "));
                }
                if let Some((nameplate, low, high)) = allowed {
                    page.text(&format!(
                        "Nameplate {nameplate} s, allowed {} to {} s.",
                        fixed(low, 1),
                        fixed(high, 1)
                    ));
                }
            });
            if let Some((nameplate, low, high)) = allowed {
                let band = Box4 {
                    x: px(x(low)),
                    y: px(6.0),
                    width: px(x(high) - x(low)),
                    height: px(bottom - 6.0),
                    class: "margin",
                };
                page.shape("rect", &band.each());
                page.shape(
                    "line",
                    &line(x(nameplate), 6.0, x(nameplate), bottom, "limit").each(),
                );
            }
            for (at, (name, seconds, found)) in bars.iter().enumerate() {
                let top = 10.0 + 16.0 * at as f64;
                label(page, AXIS.0 - 6.0, top + 9.0, "end", name);
                if let Some(length) = number(seconds) {
                    let bar = Box4 {
                        x: px(AXIS.0),
                        y: px(top + 1.0),
                        width: px(x(length) - AXIS.0),
                        height: px(9.0),
                        class: if *found { "bar found" } else { "bar left" },
                    };
                    page.shape("rect", &bar.each());
                    // Inside the bar, where it does not meet the edge of the picture.
                    page.element(
                        "text",
                        &[
                            ("x", &px(AXIS.0 + 4.0)),
                            ("y", &px(top + 9.0)),
                            ("class", if *found { "" } else { "on-bar" }),
                        ],
                        |page| {
                            page.text(&format!("{seconds} s"));
                        },
                    );
                }
            }
            page.shape("line", &line(AXIS.0, 6.0, AXIS.0, bottom, "axis").each());
            page.shape(
                "line",
                &line(AXIS.0, bottom, AXIS.0 + AXIS.1, bottom, "axis").each(),
            );
            for quarter in 0..=4 {
                let seconds = most * f64::from(quarter) / 4.0;
                label(
                    page,
                    x(seconds),
                    bottom + 12.0,
                    "middle",
                    &fixed(seconds, 1),
                );
            }
            let words = match allowed {
                Some((nameplate, ..)) => {
                    format!("seconds; nameplate {nameplate} s, grey: allowed")
                }
                None => "seconds; no stroke time on the nameplate".to_owned(),
            };
            label(page, AXIS.0 + AXIS.1 / 2.0, bottom + 24.0, "middle", &words);
        },
    );
}

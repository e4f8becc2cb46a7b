//! The wiper on the track of the potentiometer: where it stands, the ends of
//! travel, and the margin that is left.

use super::super::markup::Markup;
use super::super::types::{Track, Wiper};
use super::{Box4, label, line, px};

/// Left end and width of the bar that is the track.
const BAR: (f64, f64) = (62.0, 236.0);

/// The wiper on its track, as found above as left.
pub(in super::super) fn track(page: &mut Markup, track: &Track) {
    let both = [("as found", &track.as_found), ("as left", &track.as_left)];
    page.element(
        "svg",
        &[
            ("viewBox", "0 0 360 132"),
            ("role", "img"),
            ("aria-labelledby", "track-title track-desc"),
            ("class", "plot"),
        ],
        |page| {
            page.element("title", &[("id", "track-title")], |page| {
                page.text("Wiper on the track of the potentiometer, from A to B");
            });
            page.element("desc", &[("id", "track-desc")], |page| {
                for (name, wiper) in both {
                    if let Some(wiper) = wiper {
                        page.text(&format!("{name}: {}. ", words(wiper)));
                    }
                }
            });
            label(page, BAR.0, 10.0, "middle", "A");
            label(page, BAR.0 + BAR.1, 10.0, "middle", "B");
            label(page, BAR.0 + BAR.1 / 2.0, 10.0, "middle", "middle");
            for (at, (name, wiper)) in both.into_iter().enumerate() {
                if let Some(wiper) = wiper {
                    draw_wiper(
                        page,
                        18.0 + 58.0 * if at == 0 { 0.0 } else { 1.0 },
                        name,
                        wiper,
                        track.margin_limit.as_deref(),
                    );
                }
            }
        },
    );
}

/// The position in words, for the text beside the picture and for those who do not see it.
pub(in super::super) fn words(wiper: &Wiper) -> String {
    let mut parts = Vec::new();
    if let Some(at) = &wiper.at {
        parts.push(format!("wiper at {at} %"));
    }
    if let (Some(low), Some(high)) = (&wiper.low, &wiper.high) {
        parts.push(format!(
            "ends {} at {low} % and {high} %",
            if wiper.ends_measured {
                "measured"
            } else {
                "predicted"
            }
        ));
    }
    if let Some(margin) = &wiper.margin {
        parts.push(format!("margin {margin} %"));
    }
    if wiper.off_track {
        parts.push("OFF THE TRACK".to_owned());
    }
    parts.join(", ")
}

fn draw_wiper(page: &mut Markup, top: f64, name: &str, wiper: &Wiper, margin: Option<&str>) {
    let x = |percent: f64| BAR.0 + BAR.1 * percent.clamp(-24.0, 124.0) / 100.0;
    let percent = |text: &Option<String>| text.as_deref().and_then(|text| text.parse::<f64>().ok());
    let bar = |from: f64, to: f64, class| Box4 {
        x: px(x(from)),
        y: px(top + 8.0),
        width: px(x(to) - x(from)),
        height: "16".to_owned(),
        class,
    };
    label(page, 1.0, top + 1.0, "start", name);
    page.shape("rect", &bar(0.0, 100.0, "track").each());
    if let Some(margin) = margin
        .and_then(|margin| margin.parse::<f64>().ok())
        .filter(|margin| (0.0..50.0).contains(margin))
    {
        page.shape("rect", &bar(0.0, margin, "margin").each());
        page.shape("rect", &bar(100.0 - margin, 100.0, "margin").each());
    }
    page.shape(
        "line",
        &line(x(50.0), top + 5.0, x(50.0), top + 27.0, "axis").each(),
    );
    if let (Some(low), Some(high)) = (percent(&wiper.low), percent(&wiper.high)) {
        let class = if wiper.ends_measured {
            "measured"
        } else {
            "predicted"
        };
        page.shape(
            "line",
            &line(x(low), top + 16.0, x(high), top + 16.0, class).each(),
        );
        // Two ends that are near each other are written to both sides of the gap.
        let near = x(high) - x(low) < 40.0;
        for (end, shown, outward) in [(low, &wiper.low, "end"), (high, &wiper.high, "start")] {
            let off = !(0.0..=100.0).contains(&end);
            page.shape(
                "line",
                &line(
                    x(end),
                    top + 9.0,
                    x(end),
                    top + 23.0,
                    if off { "off" } else { class },
                )
                .each(),
            );
            let shown = shown.as_deref().unwrap_or_default();
            let text = if off {
                format!("{shown} % OFF THE TRACK")
            } else {
                format!("{shown} %")
            };
            // Kept inside the picture: off the track there is no room on the outer side.
            let (place, anchor) = if off && end < 0.0 {
                (1.0, "start")
            } else if off {
                (359.0, "end")
            } else if near {
                (x(end), outward)
            } else {
                (x(end), "middle")
            };
            label(page, place, top + 36.0, anchor, &text);
        }
    }
    if let Some(at) = percent(&wiper.at) {
        let triangle = format!(
            "{},{} {},{} {},{}",
            px(x(at)),
            px(top + 8.0),
            px(x(at) - 5.0),
            px(top - 1.0),
            px(x(at) + 5.0),
            px(top - 1.0)
        );
        page.shape("polygon", &[("points", &triangle), ("class", "wiper")]);
        // Beside the triangle, on the side where there is room.
        let (place, anchor) = if at > 70.0 {
            (x(at) - 8.0, "end")
        } else {
            (x(at) + 8.0, "start")
        };
        label(
            page,
            place,
            top + 5.0,
            anchor,
            &format!("wiper {} %", wiper.at.as_deref().unwrap_or_default()),
        );
    }
}

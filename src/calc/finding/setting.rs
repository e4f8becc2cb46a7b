//! Is it set: centred at mid travel, or at the closed end; held on tightening;
//! both ends on the track. Power off.

use super::super::potentiometer as pot;
use super::super::{keeps, positive};
use super::{CANNOT_TELL, FindingSpec, Found, Given, Grade, figure, may, need, say, verdict};

pub(super) static POT_CENTRE: FindingSpec = FindingSpec {
    name: "pot-centre",
    about: "whether the wiper is centred at mid travel, which way and how far to move it, and whether it would leave the track",
    source: "geometry (derivation); limits from the job",
    inputs: &[
        need("r_aw", "ohm", "resistance A to wiper at mid travel"),
        need("r_ab", "ohm", "resistance A to B"),
        may("r_wb", "ohm", "resistance wiper to B at mid travel"),
        need("good", "%", "centring error that is good"),
        need("usable", "%", "centring error that is usable"),
        need("margin", "%", "least margin at each end"),
        may(
            "margin_deg",
            "deg",
            "least margin in degrees of potentiometer shaft; meeting either is enough",
        ),
        may("electrical_angle", "deg", "electrical angle"),
        may("gear_ratio", "none", "gear ratio"),
        may("travel", "deg", "travel"),
    ],
    verdicts: &[
        verdict("centred", Grade::Good),
        verdict("usable", Grade::Watch),
        verdict("raise", Grade::Bad),
        verdict("lower", Grade::Bad),
        verdict("ends-off-track", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: pot_centre,
};

fn pot_centre(g: &Given) -> Found {
    let (aw, ab) = (g.number("r_aw")?, positive("r_ab", g.number("r_ab")?)?);
    // Two sides give the fraction without the meter's gain error; the target is on this track, not on the nominal.
    let fraction = match g.maybe("r_wb")? {
        Some(wb) => pot::fraction_from_pair(aw, wb)?,
        None => aw / ab,
    };
    let error = 100.0 * (fraction - 0.5);
    let target = ab / 2.0;
    let change = target - aw;
    let mut figures = vec![
        figure("fraction", 100.0 * fraction, "%", 1),
        figure("centring error", error, "%", 2),
        figure("target", target, "ohm", 1),
        figure("change", change, "ohm", 1),
    ];
    let (angle, gear, travel) = (
        g.maybe("electrical_angle")?,
        g.maybe("gear_ratio")?,
        g.maybe("travel")?,
    );
    let mut turn = String::new();
    if let Some(angle) = angle {
        let degrees = (0.5 - fraction) * angle;
        figures.push(figure("turn of potentiometer", degrees, "deg", 1));
        turn = format!(
            ", about {} degrees of potentiometer shaft",
            say(degrees.abs(), 0)
        );
    }
    let mut margin_known = None;
    let mut margin_text = " The gear ratio or the electrical angle is unknown, so the margin at the ends cannot be predicted: measure both ends.".to_owned();
    if let (Some(angle), Some(gear), Some(travel)) = (angle, gear, travel) {
        let ends = pot::predict_ends(fraction, travel, gear, angle)?;
        figures.push(figure("predicted low end", ends.low * ab, "ohm", 1));
        figures.push(figure("predicted high end", ends.high * ab, "ohm", 1));
        figures.push(figure("margin", 100.0 * ends.margin, "%", 1));
        figures.push(figure("margin angle", ends.margin * angle, "deg", 1));
        margin_known = Some((
            ends.margin,
            ends.margin * angle,
            pot::half_use(travel, gear, angle)?,
        ));
        margin_text = format!(
            " Predicted ends {} and {} ohm, margin {} % of the track ({} degrees of potentiometer shaft).",
            say(ends.low * ab, 1),
            say(ends.high * ab, 1),
            say(100.0 * ends.margin, 1),
            say(ends.margin * angle, 1)
        );
    }
    let reason = format!(
        "A to wiper {} of {} ohm is {} % from the middle; the target is {} ohm.{margin_text}",
        say(aw, 1),
        say(ab, 1),
        say(error, 2),
        say(target, 1)
    );
    let margin_ok = match margin_known {
        Some((part, degrees, _)) => {
            100.0 * part >= g.number("margin")?
                || g.maybe("margin_deg")?.is_some_and(|least| degrees >= least)
        }
        None => true,
    };
    let way = if change > 0.0 {
        ("raise", "Up")
    } else {
        ("lower", "Down")
    };
    let move_it = format!(
        "{} {} ohms to {}{turn}; watch the first small move to learn which way.",
        way.1,
        say(change.abs(), 1),
        say(target, 1)
    );
    if let Some((part, _, half)) = margin_known
        && part < 0.0
    {
        // Half of the travel takes more than half of the track: no setting of the wiper keeps both ends on it.
        let advice = if half > 0.5 {
            "The travel needs more track than there is: wrong gear or wrong part.".to_owned()
        } else {
            format!("The wiper would leave the track. {move_it}")
        };
        return Ok(g.told("ends-off-track", figures, reason, advice));
    }
    Ok(if keeps(error.abs(), g.number("good")?) && margin_ok {
        g.told(
            "centred",
            figures,
            reason,
            format!("Centred: {} per cent from the middle.", say(error, 1)),
        )
    } else if keeps(error.abs(), g.number("usable")?) && margin_ok {
        g.told(
            "usable",
            figures,
            reason,
            format!(
                "Usable: {} per cent from the middle. {move_it}",
                say(error, 1)
            ),
        )
    } else {
        g.told(way.0, figures, reason, move_it)
    })
}

pub(super) static POT_CLOSED_END: FindingSpec = FindingSpec {
    name: "pot-closed-end",
    about: "the closed-end method: a repeatable low reading at closed, and the open end on the track",
    source: "common practice; a low reading near zero is meant",
    inputs: &[
        need("r_closed", "ohm", "resistance A to wiper at closed"),
        need("r_back", "ohm", "the same after going open and back"),
        need("r_open", "ohm", "resistance A to wiper at open"),
        need("r_ab", "ohm", "resistance A to B"),
        need("low", "%", "largest reading at closed"),
        need("repeat", "%", "largest difference on coming back"),
        need("margin", "%", "least margin at the open end"),
    ],
    verdicts: &[
        verdict("set", Grade::Good),
        verdict("too-high", Grade::Bad),
        verdict("not-repeatable", Grade::Bad),
        verdict("off-track", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: pot_closed_end,
};

fn pot_closed_end(g: &Given) -> Found {
    if g.status("r_open")
        .is_some_and(|code| matches!(code, "OL" | "OPEN"))
    {
        return Ok(g.told(
            "off-track",
            vec![],
            "The open end reads over limit: the wiper has left the track.".to_owned(),
            "The wiper leaves the track before open: set closed lower, or check the gear."
                .to_owned(),
        ));
    }
    let ab = positive("r_ab", g.number("r_ab")?)?;
    let part = |ohm: f64| 100.0 * ohm / ab;
    let (closed, back, open) = (
        part(g.number("r_closed")?),
        part(g.number("r_back")?),
        part(g.number("r_open")?),
    );
    let figures = vec![
        figure("closed", closed, "%", 1),
        figure("closed again", back, "%", 1),
        figure("open", open, "%", 1),
        figure("difference", back - closed, "%", 2),
    ];
    let reason = format!(
        "Closed {} %, open {} %, closed again {} % of the track.",
        say(closed, 1),
        say(open, 1),
        say(back, 1)
    );
    Ok(if open > 100.0 - g.number("margin")? {
        g.told(
            "off-track",
            figures,
            reason,
            "Too little track left at open: set closed lower, or check the gear.".to_owned(),
        )
    } else if (back - closed).abs() > g.number("repeat")? {
        g.told("not-repeatable", figures, reason, "It does not come back to the same reading: set it a little higher on the track and try again.".to_owned())
    } else if closed > g.number("low")? {
        g.told("too-high", figures, reason, format!("Down: closed reads {} per cent of the track; go to the lowest reading that repeats.", say(closed, 1)))
    } else {
        g.told(
            "set",
            figures,
            reason,
            "Set: the low reading repeats, and open is on the track.".to_owned(),
        )
    })
}

pub(super) static TIGHTEN_SHIFT: FindingSpec = FindingSpec {
    name: "tighten-shift",
    about: "whether tightening the set screw moved the wiper",
    source: "common practice: tightening shifts a reading by a few ohm",
    inputs: &[
        need("before", "ohm", "reading before tightening"),
        need("after", "ohm", "reading after tightening"),
        need("r_ab", "ohm", "resistance A to B"),
        need("limit", "%", "largest shift, of the track"),
    ],
    verdicts: &[
        verdict("held", Grade::Good),
        verdict("shifted", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: tighten_shift,
};

fn tighten_shift(g: &Given) -> Found {
    let shift = g.number("after")? - g.number("before")?;
    let part = 100.0 * shift / positive("r_ab", g.number("r_ab")?)?;
    let figures = vec![
        figure("shift", shift, "ohm", 1),
        figure("shift of track", part, "%", 2),
    ];
    let reason = format!(
        "Tightening moved the reading by {} ohm, {} % of the track.",
        say(shift, 1),
        say(part, 2)
    );
    Ok(if keeps(part.abs(), g.number("limit")?) {
        g.told(
            "held",
            figures,
            reason,
            format!("Held: {} ohms of shift.", say(shift, 1)),
        )
    } else {
        g.told("shifted", figures, reason, format!("{} ohms of shift on tightening: loosen, aim off by as much the other way, and tighten again.", say(shift, 1)))
    })
}

pub(super) static ENDS_CHECK: FindingSpec = FindingSpec {
    name: "ends-check",
    about: "whether both ends of travel are on the track with margin, as measured",
    source: "common practice",
    inputs: &[
        need("r_closed", "ohm", "resistance A to wiper at closed"),
        need("r_open", "ohm", "resistance A to wiper at open"),
        need("r_ab", "ohm", "resistance A to B"),
        need("margin", "%", "least margin at each end"),
    ],
    verdicts: &[
        verdict("on-track", Grade::Good),
        verdict("short-margin", Grade::Watch),
        verdict("off-track", Grade::Bad),
        verdict("not-driven", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: ends_check,
};

fn ends_check(g: &Given) -> Found {
    let over = |name| matches!(g.status(name), Some("OL" | "OPEN"));
    if over("r_closed") || over("r_open") {
        return Ok(g.told(
            "off-track",
            vec![],
            "An end reads over limit: the wiper has left the track.".to_owned(),
            "The wiper leaves the track: centre it again.".to_owned(),
        ));
    }
    let ab = positive("r_ab", g.number("r_ab")?)?;
    let (closed, open) = (g.number("r_closed")? / ab, g.number("r_open")? / ab);
    let margin = 100.0 * closed.min(open).min(1.0 - closed).min(1.0 - open);
    let figures = vec![
        figure("closed", 100.0 * closed, "%", 1),
        figure("open", 100.0 * open, "%", 1),
        figure("margin", margin, "%", 1),
        figure("track used", 100.0 * (open - closed).abs(), "%", 1),
    ];
    let reason = format!(
        "Closed stands at {} %, open at {} % of the track; the nearer end is {} % away.",
        say(100.0 * closed, 1),
        say(100.0 * open, 1),
        say(margin, 1)
    );
    Ok(
        if pot::end_lead_two_point(closed * ab, open * ab, ab, 2.0)? == "not_driven" {
            g.told(
                "not-driven",
                figures,
                reason,
                "Both ends read alike: the potentiometer is not driven.".to_owned(),
            )
        } else if margin < 0.0 {
            g.told(
                "off-track",
                figures,
                reason,
                "An end is off the track: centre it again.".to_owned(),
            )
        } else if margin < g.number("margin")? {
            g.told(
                "short-margin",
                figures,
                reason,
                format!(
                    "Margin {} per cent, which is short: centre it better.",
                    say(margin, 1)
                ),
            )
        } else {
            g.told(
                "on-track",
                figures,
                reason,
                format!(
                    "Both ends on the track, margin {} per cent.",
                    say(margin, 1)
                ),
            )
        },
    )
}

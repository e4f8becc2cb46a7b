//! Is the potentiometer whole: no voltage across it, the three readings, the
//! sweep, the small move, the end leads. Power off.

use super::super::diagnosis::{self, Ohms};
use super::super::potentiometer as pot;
use super::super::{keeps, positive};
use super::{
    CANNOT_TELL, FindingSpec, Found, Given, Grade, InputSpec, figure, may, meter_spec, need, say,
    verdict, word,
};

pub(super) static ISOLATION: FindingSpec = FindingSpec {
    name: "isolation",
    about: "no voltage across the potentiometer terminals before ohms are read",
    source: "common practice",
    inputs: &[
        need("v_ab", "V", "voltage A to B"),
        need("v_aw", "V", "voltage A to wiper"),
        need("v_wb", "V", "voltage wiper to B"),
        need("limit", "V", "largest voltage that counts as none"),
    ],
    verdicts: &[
        verdict("none-found", Grade::Good),
        verdict("live", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: isolation,
};

fn isolation(g: &Given) -> Found {
    let limit = g.number("limit")?;
    let volts = [
        ("A to B", g.number("v_ab")?),
        ("A to wiper", g.number("v_aw")?),
        ("wiper to B", g.number("v_wb")?),
    ];
    let (place, worst) = volts
        .iter()
        .copied()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .unwrap_or(volts[0]);
    let figures = vec![
        figure("largest", worst, "V", 3),
        figure("limit", limit, "V", 3),
    ];
    Ok(if worst.abs() < limit {
        g.told(
            "none-found",
            figures,
            format!(
                "The largest voltage is {} V, below {} V.",
                say(worst, 3),
                say(limit, 3)
            ),
            format!(
                "{} volts, no voltage found here; that alone does not prove it isolated.",
                say(worst, 3)
            ),
        )
    } else {
        g.told("live", figures, format!("{} V stands {place}, the limit is {} V: it is not isolated, and ohms read now would be wrong.", say(worst, 3), say(limit, 3)), format!("{} volts {place}: stop, isolate, lock and prove dead again.", say(worst, 3)))
    })
}

const METER: [InputSpec; 3] = meter_spec("ohm");

pub(super) static POT_DIAGNOSIS: FindingSpec = FindingSpec {
    name: "pot-diagnosis",
    about: "what is broken, from the three readings of the potentiometer",
    source: "common practice: order of the questions in calc::diagnosis",
    inputs: &[
        need("r_ab", "ohm", "resistance A to B"),
        need("r_aw", "ohm", "resistance A to wiper"),
        need("r_wb", "ohm", "resistance wiper to B"),
        need("nominal", "ohm", "nominal resistance"),
        need("tolerance", "%", "tolerance of the nominal"),
        need("residual", "%", "largest residual that is no fault"),
        METER[0],
        METER[1],
        METER[2],
        word(
            "position",
            false,
            "where the valve stands: closed, mid, open",
        ),
    ],
    verdicts: &[
        verdict("healthy", Grade::Good),
        verdict("at-end", Grade::Good),
        verdict("wiper-at-end", Grade::Bad),
        verdict("all-open", Grade::Bad),
        verdict("open-wiper", Grade::Bad),
        verdict("open-track-a", Grade::Bad),
        verdict("open-track-b", Grade::Bad),
        verdict("inconsistent", Grade::CannotTell),
        verdict("unit-or-range", Grade::CannotTell),
        verdict("shorted", Grade::Bad),
        verdict("loaded", Grade::CannotTell),
        verdict("wiper-path", Grade::Bad),
        verdict("wrong-part", Grade::Bad),
        verdict("total-out", Grade::Watch),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: pot_diagnosis,
};

fn pot_diagnosis(g: &Given) -> Found {
    let (ab, aw, wb) = (g.ohms("r_ab")?, g.ohms("r_aw")?, g.ohms("r_wb")?);
    let (nominal, tolerance_pct) = (g.number("nominal")?, g.number("tolerance")?);
    let total = if let Ohms::Value(total) = ab {
        total
    } else {
        nominal
    };
    // Three readings, three limits: together their root sum of squares.
    let meter_ohm = g
        .meter_limit(total)?
        .map_or(0.0, |limit| limit * 3.0_f64.sqrt());
    let limits = diagnosis::Limits {
        nominal,
        tolerance_pct,
        residual_pct: g.number("residual")?,
        meter_ohm,
    };
    let found = diagnosis::pot_diagnose(ab, aw, wb, &limits)?;
    let mut figures = Vec::new();
    let mut numbers = String::new();
    if let (Ohms::Value(ab), Ohms::Value(aw), Ohms::Value(wb)) = (ab, aw, wb) {
        let residual = aw + wb - ab;
        figures.push(figure("residual", residual, "ohm", 1));
        if ab > 0.0 {
            figures.push(figure("residual of total", 100.0 * residual / ab, "%", 2));
        }
        let (deviation, _) = pot::total_tolerance(ab, nominal, tolerance_pct)?;
        figures.push(figure("total from nominal", deviation, "%", 1));
        if aw + wb > 0.0 {
            figures.push(figure(
                "fraction",
                100.0 * pot::fraction_from_pair(aw, wb)?,
                "%",
                1,
            ));
        }
        numbers = format!(
            " A to B {} ohm is {} % from nominal {}; the sides add up to {} ohm, {} more.",
            say(ab, 1),
            say(deviation, 1),
            say(nominal, 0),
            say(aw + wb, 1),
            say(residual, 1)
        );
    }
    let stands_at_end = matches!(g.maybe_word("position"), Some("closed" | "open"));
    let (verdict, reason, advice) = match found {
        "healthy" => (
            "healthy",
            "The track and the wiper are whole.",
            "Healthy: track and wiper agree.",
        ),
        "wiper_at_end" if stands_at_end => (
            "at-end",
            "The wiper is near an end of the track, and so is the valve.",
            "Healthy track; the wiper is near its end, where the valve is.",
        ),
        "wiper_at_end" => (
            "wiper-at-end",
            "The track is healthy, but the wiper stands at its end while the valve does not.",
            "The wiper is at the end of the track: look for a slipped gear or set screw, then centre it.",
        ),
        "all_open" => (
            "all-open",
            "Nothing has continuity.",
            "All open: short the probes first, then check leads, plug and terminals.",
        ),
        "open_wiper" => (
            "open-wiper",
            "The track is whole, but the wiper reaches neither end.",
            "Open wiper: measure at the potentiometer's own lugs, then repair the wiper lead or replace it.",
        ),
        "open_track_between_wiper_and_A" => (
            "open-track-a",
            "The track or its lead is open between the wiper and A.",
            "Open on side A: measure at the lugs, then repair the lead or replace the potentiometer.",
        ),
        "open_track_between_wiper_and_B" => (
            "open-track-b",
            "The track or its lead is open between the wiper and B.",
            "Open on side B: measure at the lugs, then repair the lead or replace the potentiometer.",
        ),
        "range_or_unit_error" => (
            "unit-or-range",
            "The total is a thousand times off: kilohms may have been read as ohms.",
            "A thousand times off: look at the unit on the display and read all three again.",
        ),
        "shorted" => (
            "shorted",
            "All three are near zero.",
            "Shorted: check that the probes stand on different terminals, then replace it.",
        ),
        "loaded_connector_still_plugged" => (
            "loaded",
            "The total is low and the sides add up to much more: something is connected in parallel.",
            "Something is still connected: pull the plug, and read all three again.",
        ),
        "wiper_path_resistance_high" => (
            "wiper-path",
            "The sides add up to more than the total: resistance in the path of the wiper.",
            "High resistance in the wiper's path: check its joint and lead, then replace it.",
        ),
        "wrong_pot_value" => (
            "wrong-part",
            "The total fits another common value.",
            "Wrong part: the total fits another value; read the marking on the potentiometer.",
        ),
        "total_out_of_tolerance" => (
            "total-out",
            "The total is outside its tolerance; a controller that works on the ratio may still follow it.",
            "Total out of tolerance: the function check decides.",
        ),
        _ => (
            "inconsistent",
            "No passive network reads like this: something moved or was misread.",
            "The three readings do not fit together: read all three again.",
        ),
    };
    Ok(g.told(
        verdict,
        figures,
        format!("{reason}{numbers}"),
        advice.to_owned(),
    ))
}

pub(super) static SWEEP: FindingSpec = FindingSpec {
    name: "sweep",
    about: "whether the track is smooth over the whole stroke",
    source: "common practice; a digital meter misses short drop-outs",
    inputs: &[
        need("minimum", "ohm", "lowest reading of the sweep"),
        need("maximum", "ohm", "highest reading of the sweep"),
        need("jump", "ohm", "largest jump seen"),
        need("r_ab", "ohm", "resistance A to B"),
        need("limit", "%", "largest jump, of the track"),
    ],
    verdicts: &[
        verdict("smooth", Grade::Good),
        verdict("worn-spot", Grade::Bad),
        verdict("open-spot", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: sweep,
};

fn sweep(g: &Given) -> Found {
    let open = |name| matches!(g.status(name), Some("OL" | "OPEN"));
    if open("jump") || open("maximum") {
        return Ok(g.told(
            "open-spot",
            vec![],
            "The reading went over limit during the sweep.".to_owned(),
            "The wiper loses the track: sweep again both ways at the same angle, then replace it."
                .to_owned(),
        ));
    }
    if g.status("jump") == Some("UNSTABLE") {
        return Ok(g.told("worn-spot", vec![], "The reading was unstable during the sweep.".to_owned(), "Unstable: tap and sweep again; at one angle it is a worn spot, anywhere it is a joint.".to_owned()));
    }
    let ab = positive("r_ab", g.number("r_ab")?)?;
    let part = 100.0 * g.number("jump")?.abs() / ab;
    let (low, high) = (g.number("minimum")?, g.number("maximum")?);
    let figures = vec![
        figure("jump", part, "%", 2),
        figure("lowest", low, "ohm", 1),
        figure("highest", high, "ohm", 1),
    ];
    let reason = format!(
        "Sweep from {} to {} ohm, largest jump {} % of the track.",
        say(low, 1),
        say(high, 1),
        say(part, 2)
    );
    Ok(if keeps(part, g.number("limit")?) {
        g.told(
            "smooth",
            figures,
            reason,
            "Smooth over the stroke.".to_owned(),
        )
    } else {
        g.told("worn-spot", figures, reason, format!("A jump of {} per cent: sweep both ways; at the same angle it is a worn spot, replace it.", say(part, 1)))
    })
}

pub(super) static MOVE_TEST: FindingSpec = FindingSpec {
    name: "move-test",
    about: "whether a small move of the valve moves the reading, and the right way",
    source: "geometry (derivation); common practice",
    inputs: &[
        need("before", "ohm", "reading before the move"),
        need("after", "ohm", "reading after the move toward open"),
        need("r_ab", "ohm", "resistance A to B"),
        need(
            "least",
            "%",
            "least change that counts as driven, of the track",
        ),
        word(
            "expected",
            true,
            "whether the reading rises or falls toward open",
        ),
        may("move", "%", "size of the move, of travel"),
        may("electrical_angle", "deg", "electrical angle"),
        may("gear_ratio", "none", "gear ratio"),
        may("travel", "deg", "travel"),
    ],
    verdicts: &[
        verdict("right-way", Grade::Good),
        verdict("wrong-way", Grade::Bad),
        verdict("not-driven", Grade::Bad),
        verdict("wrong-amount", Grade::Watch),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: move_test,
};

fn move_test(g: &Given) -> Found {
    let change = g.number("after")? - g.number("before")?;
    let ab = positive("r_ab", g.number("r_ab")?)?;
    let part = 100.0 * change / ab;
    let mut figures = vec![
        figure("change", change, "ohm", 1),
        figure("change of track", part, "%", 1),
    ];
    let reason = format!(
        "The move changed the reading by {} ohm, {} % of the track.",
        say(change, 1),
        say(part, 1)
    );
    if part.abs() <= g.number("least")? {
        return Ok(g.told(
            "not-driven",
            figures,
            reason,
            "The valve moves and the reading does not: set screw, gear or pin has slipped."
                .to_owned(),
        ));
    }
    let rises = match g.word("expected")? {
        "rises" => Some(true),
        "falls" => Some(false),
        _ => None,
    };
    if rises.is_some_and(|rises| rises != (change > 0.0)) {
        return Ok(g.told("wrong-way", figures, reason, "It moves the wrong way: end leads exchanged, or the potentiometer turns the other way; trace the leads, then exchange A and B.".to_owned()));
    }
    if let (Some(moved), Some(angle), Some(gear), Some(travel)) = (
        g.maybe("move")?,
        g.maybe("electrical_angle")?,
        g.maybe("gear_ratio")?,
        g.maybe("travel")?,
    ) {
        let expected = moved * 2.0 * pot::half_use(travel, gear, angle)?;
        figures.push(figure("expected change", expected, "%", 1));
        // A move by hand is rough: half or double is still the same gear.
        if part.abs() < expected / 2.0 || part.abs() > expected * 2.0 {
            let reason = format!("{reason} About {} % was to be expected.", say(expected, 1));
            return Ok(g.told(
                "wrong-amount",
                figures,
                reason,
                format!(
                    "It moves, but not by as much as the gear says: {} instead of {} per cent.",
                    say(part.abs(), 1),
                    say(expected, 1)
                ),
            ));
        }
    }
    Ok(g.told(
        "right-way",
        figures,
        reason,
        "Driven, and the right way.".to_owned(),
    ))
}

pub(super) static END_LEAD: FindingSpec = FindingSpec {
    name: "end-lead",
    about: "which end lead the meter is on, from one reading away from mid travel",
    source: "derivation; mid travel cannot tell the ends apart",
    inputs: &[
        need("reading", "ohm", "reading A to wiper"),
        need("expected", "ohm", "reading expected here"),
        need("r_ab", "ohm", "resistance A to B"),
        need("tolerance", "%", "tolerance, of the track"),
    ],
    verdicts: &[
        verdict("as-wired", Grade::Good),
        verdict("swapped", Grade::Bad),
        verdict("indeterminate", Grade::CannotTell),
        verdict("neither", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: end_lead,
};

fn end_lead(g: &Given) -> Found {
    let (reading, expected, ab) = (
        g.number("reading")?,
        g.number("expected")?,
        g.number("r_ab")?,
    );
    let figures = vec![
        figure("from expected", reading - expected, "ohm", 1),
        figure("from the other end", ab - reading - expected, "ohm", 1),
    ];
    let reason = format!(
        "{} ohm read, {} expected; from the other end it would be {}.",
        say(reading, 1),
        say(expected, 1),
        say(ab - reading, 1)
    );
    Ok(match pot::end_lead_identify(reading, expected, ab, g.number("tolerance")?)? {
        "as_wired" => g.told("as-wired", figures, reason, "End leads as drawn.".to_owned()),
        "swapped" => g.told("swapped", figures, reason, "End leads exchanged, or turning the other way: do the ten per cent move test, then trace the leads.".to_owned()),
        "indeterminate" => g.told("indeterminate", figures, reason, "Mid travel cannot tell the ends apart: read away from the middle.".to_owned()),
        _ => g.told("neither", figures, reason, "Neither end fits: slipped gear, wrong position, or wrong part.".to_owned()),
    })
}

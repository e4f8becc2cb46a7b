//! How well it works: the run up and down, travel, stroke times, hunting. Power on.

use super::super::curves::UpDown;
use super::super::decision::{self, Class};
use super::super::{exceeds, meter, travel};
use super::{
    CANNOT_TELL, Direction, FindingSpec, Found, Given, Grade, Input, InputSpec, figure, may, need,
    say, verdict, word,
};

pub(super) static UP_DOWN_RUN: FindingSpec = FindingSpec {
    name: "up-down-run",
    about: "inaccuracy, hysteresis and linearity of a run up and down",
    source: "terms of ANSI/ISA-51.1 and IEC 61298-2; decision ILAC-G8 4.2.3; limits from the order",
    inputs: &[
        InputSpec {
            name: "rows",
            unit: None,
            required: true,
            about: "the readings up and down, column position in % of travel",
        },
        need("inaccuracy", "%", "largest inaccuracy"),
        need("hysteresis", "%", "largest hysteresis"),
        need("linearity", "%", "largest independent linearity error"),
        may("reading_error", "%", "how well a position can be read"),
        may(
            "source_percent",
            "%",
            "accuracy of the source, part of reading",
        ),
        word("rule", false, "decision rule: simple or guard-band"),
    ],
    verdicts: &[
        verdict("pass", Grade::Good),
        verdict("conditional-pass", Grade::Watch),
        verdict("conditional-fail", Grade::Bad),
        verdict("fail", Grade::Bad),
        verdict("cannot-prove", Grade::CannotTell),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: up_down_run,
};

fn up_down_run(g: &Given) -> Found {
    let mut points: Vec<(f64, Option<f64>, Option<f64>)> = Vec::new();
    for row in g.rows("rows")? {
        let Some(position) = row.values.get("position").and_then(number_of) else {
            return Ok(g.told(
                CANNOT_TELL,
                vec![],
                format!("The position at {} % is no number.", say(row.point, 1)),
                format!("Read the position at {} per cent again.", say(row.point, 1)),
            ));
        };
        let at = points
            .iter()
            .position(|(point, ..)| (point - row.point).abs() < 1e-9)
            .unwrap_or_else(|| {
                points.push((row.point, None, None));
                points.len() - 1
            });
        match row.direction {
            Direction::Up => points[at].1 = Some(position),
            Direction::Down => points[at].2 = Some(position),
        }
    }
    points.sort_by(|one, other| one.0.total_cmp(&other.0));
    let missing: Vec<String> = points
        .iter()
        .filter_map(|(point, up, down)| match (up, down) {
            (Some(_), Some(_)) => None,
            (None, _) => Some(format!("{} % up", say(*point, 1))),
            (_, None) => Some(format!("{} % down", say(*point, 1))),
        })
        .collect();
    if !missing.is_empty() || points.len() < 3 {
        return Ok(g.told(
            CANNOT_TELL,
            vec![],
            format!(
                "Missing: {}.",
                if missing.is_empty() {
                    "at least three points".to_owned()
                } else {
                    missing.join(", ")
                }
            ),
            "The run is not whole: read the missing points.".to_owned(),
        ));
    }
    let (x, up, down): (Vec<f64>, Vec<f64>, Vec<f64>) = {
        let mut columns = (Vec::new(), Vec::new(), Vec::new());
        for (point, up, down) in points {
            if let (Some(up), Some(down)) = (up, down) {
                columns.0.push(point);
                columns.1.push(up);
                columns.2.push(down);
            }
        }
        columns
    };
    let run = UpDown::new(&x, &up, &down)?;
    let (above, below) = run.max_measured_error();
    let worst = if above.abs() >= below.abs() {
        above
    } else {
        below
    };
    let (hysteresis, independent) = (run.hysteresis(), run.independent());
    let mut figures = vec![
        figure("inaccuracy above", above.max(0.0), "%", 2),
        figure("inaccuracy below", below.min(0.0), "%", 2),
        figure("hysteresis", hysteresis, "%", 2),
        figure("linearity, independent", independent, "%", 2),
        figure("linearity, terminal-based", run.terminal_based(), "%", 2),
    ];
    let (limit, most_hysteresis, most_linearity) = (
        g.number("inaccuracy")?,
        g.number("hysteresis")?,
        g.number("linearity")?,
    );
    let mut reason = format!(
        "Inaccuracy {} % (limit {}), hysteresis {} % (limit {}), independent linearity {} % (limit {}), of span.",
        say(worst, 2),
        say(limit, 2),
        say(hysteresis, 2),
        say(most_hysteresis, 2),
        say(independent, 2),
        say(most_linearity, 2)
    );
    let over = |value: f64, limit: f64| exceeds(value.abs(), limit);
    let rest_ok = !over(hysteresis, most_hysteresis) && !over(independent, most_linearity);
    let guard = g.maybe_word("rule") == Some("guard-band");
    let mut class = if over(worst, limit) {
        Class::Fail
    } else {
        Class::Pass
    };
    let reading = g.maybe("reading_error")?;
    if let Some(reading) = reading {
        let parts = [
            (meter::rectangular_u(reading)?, 1.0),
            (
                meter::rectangular_u(g.maybe("source_percent")?.unwrap_or(0.0))?,
                1.0,
            ),
        ];
        let (_, expanded) = meter::combine(&parts, 2.0)?;
        figures.push(figure("U", expanded, "%", 2));
        if expanded > 0.0 {
            figures.push(figure(
                "TUR",
                decision::tur(-limit, limit, expanded)?,
                "none",
                1,
            ));
        }
        reason += &format!(" {}", super::signal::class_words(worst, limit, expanded)?);
        if expanded > limit {
            return Ok(g.told(
                "cannot-prove",
                figures,
                reason,
                format!(
                    "The reading is too coarse to prove {} per cent: read the position better.",
                    say(limit, 2)
                ),
            ));
        }
        if guard {
            class = decision::classify(worst, -limit, limit, expanded)?;
        }
    }
    let what = format!(
        "worst {} per cent, hysteresis {}, linearity {}",
        say(worst, 2),
        say(hysteresis, 2),
        say(independent, 2)
    );
    Ok(match class {
        Class::Pass if rest_ok => {
            g.told("pass", figures, reason, format!("Within limits: {what}."))
        }
        Class::ConditionalPass if rest_ok => g.told(
            "conditional-pass",
            figures,
            reason,
            format!("Within limits, but nearer to them than the uncertainty: {what}."),
        ),
        Class::ConditionalFail => g.told(
            "conditional-fail",
            figures,
            reason,
            format!("Outside limits by less than the uncertainty: {what}."),
        ),
        Class::Pass | Class::ConditionalPass => g.told(
            "fail",
            figures,
            reason,
            format!(
                "Hysteresis or linearity is out: {what}; look for lost motion before any trim."
            ),
        ),
        Class::Fail => g.told("fail", figures, reason, format!("Out of limits: {what}.")),
    })
}

pub(super) static STROKE_TIME: FindingSpec = FindingSpec {
    name: "stroke-time",
    about: "stroke times against the nameplate and each other",
    source: "common practice",
    inputs: &[
        need("open", "s", "opening time"),
        need("close", "s", "closing time"),
        may("nameplate", "s", "stroke time on the nameplate"),
        need("tolerance", "%", "tolerance of the stroke time"),
        need(
            "asymmetry",
            "%",
            "largest difference of opening and closing",
        ),
    ],
    verdicts: &[
        verdict("ok", Grade::Good),
        verdict("slow", Grade::Bad),
        verdict("fast", Grade::Watch),
        verdict("asymmetric", Grade::Watch),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: stroke_time,
};

fn stroke_time(g: &Given) -> Found {
    let (open, close) = (g.number("open")?, g.number("close")?);
    let asymmetry = travel::speed_asymmetry_pct(open, close)?;
    let mut figures = vec![figure("asymmetry", asymmetry, "%", 1)];
    let mut reason = format!(
        "Open {} s, close {} s, {} % apart.",
        say(open, 1),
        say(close, 1),
        say(asymmetry, 1)
    );
    if let Some(nameplate) = g.maybe("nameplate")? {
        let tolerance = g.number("tolerance")?;
        let of = |measured| travel::stroke_time_deviation_pct(measured, nameplate);
        let (open_off, close_off) = (of(open)?, of(close)?);
        figures.push(figure("opening from nameplate", open_off, "%", 1));
        figures.push(figure("closing from nameplate", close_off, "%", 1));
        reason += &format!(
            " Nameplate {} s: {} % and {} %.",
            say(nameplate, 1),
            say(open_off, 1),
            say(close_off, 1)
        );
        if exceeds(open_off.max(close_off), tolerance) {
            return Ok(g.told(
                "slow",
                figures,
                reason,
                format!(
                    "Slow by {} per cent: stiff valve, low supply, or another frequency.",
                    say(open_off.max(close_off), 1)
                ),
            ));
        }
        if exceeds(-open_off.min(close_off), tolerance) {
            return Ok(g.told("fast", figures, reason, format!("Fast by {} per cent: is the whole stroke run, and is this the right nameplate?", say(-open_off.min(close_off), 1))));
        }
    }
    Ok(if exceeds(asymmetry, g.number("asymmetry")?) {
        g.told(
            "asymmetric",
            figures,
            reason,
            format!(
                "{} per cent apart: load, brake, or capacitor weak one way.",
                say(asymmetry, 1)
            ),
        )
    } else {
        g.told(
            "ok",
            figures,
            reason,
            format!("Stroke times fit, {} per cent apart.", say(asymmetry, 1)),
        )
    })
}

pub(super) static TRAVEL: FindingSpec = FindingSpec {
    name: "travel",
    about: "travel from closed to open against nominal",
    source: "common practice",
    inputs: &[
        need("closed", "deg", "closed position"),
        need("open", "deg", "open position"),
        need("nominal", "deg", "nominal travel"),
        need("limit", "deg", "largest deviation"),
    ],
    verdicts: &[
        verdict("ok", Grade::Good),
        verdict("short", Grade::Bad),
        verdict("long", Grade::Watch),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: travel_check,
};

fn travel_check(g: &Given) -> Found {
    let nominal = g.number("nominal")?;
    let (travelled, deviation) =
        travel::travel_deg(g.number("closed")?, g.number("open")?, nominal)?;
    let off = travelled - nominal;
    let figures = vec![
        figure("travel", travelled, "deg", 1),
        figure("deviation", deviation, "%", 1),
    ];
    let reason = format!(
        "{} degrees of travel, {} from nominal {}.",
        say(travelled, 1),
        say(off, 1),
        say(nominal, 0)
    );
    let limit = g.number("limit")?;
    Ok(if exceeds(-off, limit) {
        g.told(
            "short",
            figures,
            reason,
            format!(
                "{} degrees short: set the stops and limit switches before the potentiometer.",
                say(-off, 1)
            ),
        )
    } else if exceeds(off, limit) {
        g.told(
            "long",
            figures,
            reason,
            format!("{} degrees too long: check the stops.", say(off, 1)),
        )
    } else {
        g.told(
            "ok",
            figures,
            reason,
            format!("Travel {} degrees.", say(travelled, 1)),
        )
    })
}

pub(super) static HUNTING: FindingSpec = FindingSpec {
    name: "hunting",
    about: "starts of the motor while the command rests",
    source: "common practice; duty limit from the nameplate or ISO 22153 class C",
    inputs: &[
        need("starts", "none", "starts counted"),
        need("window", "s", "time they were counted in"),
        may("duty", "none", "largest starts an hour"),
    ],
    verdicts: &[
        verdict("steady", Grade::Good),
        verdict("hunting", Grade::Bad),
        verdict("over-duty", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: hunting,
};

fn hunting(g: &Given) -> Found {
    let (starts, window) = (g.number("starts")?, g.number("window")?);
    let rate = travel::starts_per_hour(starts, window)?;
    let figures = vec![figure("starts an hour", rate, "none", 0)];
    let reason = format!(
        "{} starts in {} s, {} an hour.",
        say(starts, 0),
        say(window, 0),
        say(rate, 0)
    );
    if let Some(duty) = g.maybe("duty")?
        && travel::starts_vs_duty(starts, window, duty)?.1 == "exceeds"
    {
        return Ok(g.told(
            "over-duty",
            figures,
            reason,
            format!(
                "{} starts an hour is over its duty: stop this before the motor burns.",
                say(rate, 0)
            ),
        ));
    }
    Ok(if starts < 1.0 {
        g.told(
            "steady",
            figures,
            reason,
            "Steady: no start at rest.".to_owned(),
        )
    } else {
        g.told(
            "hunting",
            figures,
            reason,
            format!(
                "Hunting: {} starts at rest; widen the dead band, look for noise and backlash.",
                say(starts, 0)
            ),
        )
    })
}

fn number_of(input: &Input) -> Option<f64> {
    match input {
        Input::Number(number) => f64::try_from(*number).ok(),
        _ => None,
    }
}

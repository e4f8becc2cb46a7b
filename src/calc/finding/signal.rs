//! Command and position: supply, position against command, signal at a point,
//! action, loss of signal, and the meter that is trusted with it. Power on.

use super::super::decision::{self};
use super::super::signal::{self, Action};
use super::super::{exceeds, keeps, meter, travel};
use super::{
    CANNOT_TELL, FindingError, FindingSpec, Found, Given, Grade, InputSpec, figure, may,
    meter_spec, need, say, verdict, word,
};

pub(super) static SUPPLY: FindingSpec = FindingSpec {
    name: "supply",
    about: "supply voltage at the actuator, idle and running",
    source: "common practice; the nameplate overrides",
    inputs: &[
        need("idle", "V", "supply voltage at rest"),
        may("running", "V", "supply voltage while it runs"),
        need("nominal", "V", "nominal supply voltage"),
        need("tolerance", "%", "tolerance of the supply"),
        need("drop", "%", "largest drop while it runs"),
    ],
    verdicts: &[
        verdict("ok", Grade::Good),
        verdict("low", Grade::Bad),
        verdict("high", Grade::Bad),
        verdict("drop", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: supply,
};

fn supply(g: &Given) -> Found {
    let (idle, nominal, tolerance) = (
        g.number("idle")?,
        g.number("nominal")?,
        g.number("tolerance")?,
    );
    let running = g.maybe("running")?;
    let (deviation, _) = travel::supply_voltage_ok(idle, nominal, tolerance)?;
    let mut figures = vec![figure("from nominal", deviation, "%", 1)];
    let mut reason = format!(
        "{} V at rest is {} % from {} V.",
        say(idle, 1),
        say(deviation, 1),
        say(nominal, 0)
    );
    let mut lowest = deviation;
    if let Some(running) = running {
        let drop = travel::voltage_drop_pct(idle, running)?;
        figures.push(figure("drop", drop, "%", 1));
        reason += &format!(
            " Running {} V, a drop of {} %.",
            say(running, 1),
            say(drop, 1)
        );
        lowest = lowest.min(travel::supply_voltage_ok(running, nominal, tolerance)?.0);
        if drop > g.number("drop")? {
            return Ok(g.told(
                "drop",
                figures,
                reason,
                format!(
                    "{} per cent drop while running: look at cable, terminals and transformer.",
                    say(drop, 1)
                ),
            ));
        }
    }
    Ok(if exceeds(-lowest, tolerance) {
        g.told(
            "low",
            figures,
            reason,
            format!(
                "Supply low by {} per cent: measured at the actuator's own terminals?",
                say(-lowest, 1)
            ),
        )
    } else if exceeds(deviation, tolerance) {
        g.told(
            "high",
            figures,
            reason,
            format!(
                "Supply high by {} per cent: compare with the nameplate.",
                say(deviation, 1)
            ),
        )
    } else {
        g.told(
            "ok",
            figures,
            reason,
            format!("Supply {} per cent from nominal.", say(deviation, 1)),
        )
    })
}

const METER: [InputSpec; 3] = meter_spec("none");

const SIGNAL: [InputSpec; 3] = [
    need("lo", "none", "low end of the signal"),
    need("hi", "none", "high end of the signal"),
    word("action", true, "action, direct or reverse"),
];

fn action(g: &Given) -> Result<Action, FindingError> {
    let given = g.word("action")?;
    Action::named(given).ok_or_else(|| FindingError::WrongKind {
        about: "the action",
        found: given.to_owned(),
        wanted: "direct or reverse",
    })
}

pub(super) static AS_FOUND_POSITION: FindingSpec = FindingSpec {
    name: "as-found-position",
    about: "whether the valve stands where the command says",
    source: "linear range, IEC 60381-1 and -2; limit from the job",
    inputs: &[
        need("signal", "none", "command at the terminals"),
        SIGNAL[0],
        SIGNAL[1],
        SIGNAL[2],
        need("position", "%", "position of the valve"),
        need("limit", "%", "largest deviation, of span"),
    ],
    verdicts: &[
        verdict("agrees", Grade::Good),
        verdict("disagrees", Grade::Bad),
        verdict("signal-lost", Grade::Bad),
        verdict("out-of-range", Grade::Watch),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: as_found_position,
};

fn as_found_position(g: &Given) -> Found {
    let (given, lo, hi) = (g.number("signal")?, g.number("lo")?, g.number("hi")?);
    let raw = signal::signal_to_percent(given, lo, hi, action(g)?)?;
    let expected = signal::clamp_travel_pct(raw);
    let position = g.number("position")?;
    let deviation = position - expected;
    let figures = vec![
        figure("expected", raw, "%", 1),
        figure("position", position, "%", 1),
        figure("deviation", deviation, "%", 1),
    ];
    let reason = format!(
        "A command of {} asks for {} %; the valve stands at {} %.",
        say(given, 3),
        say(raw, 1),
        say(position, 1)
    );
    let part = 100.0 * (given - lo) / (hi - lo);
    // A live zero tells a broken loop from 0 %; a signal that starts at zero does not.
    if lo > 0.0 && part < -12.5 {
        return Ok(g.told(
            "signal-lost",
            figures,
            reason,
            format!(
                "{} is below the live zero: the loop is broken or not powered; find that first.",
                say(given, 3)
            ),
        ));
    }
    if !(-2.5..=106.25).contains(&part) {
        return Ok(g.told(
            "out-of-range",
            figures,
            reason,
            format!(
                "The command of {} is outside its range: check the range of the loop.",
                say(given, 3)
            ),
        ));
    }
    Ok(if keeps(deviation.abs(), g.number("limit")?) {
        g.told(
            "agrees",
            figures,
            reason,
            format!(
                "Stands {} per cent from where the command says.",
                say(deviation, 1)
            ),
        )
    } else {
        g.told(
            "disagrees",
            figures,
            reason,
            format!(
                "{} per cent from where the command says: go on and find out why.",
                say(deviation, 1)
            ),
        )
    })
}

pub(super) static SIGNAL_POINT: FindingSpec = FindingSpec {
    name: "signal-point",
    about: "whether the source gives the right signal for a point of travel",
    source: "linear range, IEC 60381-1 and -2; uncertainty GUM 4.3.7; class ILAC-G8 4.2.3",
    inputs: &[
        need("measured", "none", "signal as measured"),
        need("point", "%", "point of travel"),
        SIGNAL[0],
        SIGNAL[1],
        SIGNAL[2],
        need("limit", "%", "largest deviation, of span"),
        METER[0],
        METER[1],
        METER[2],
    ],
    verdicts: &[
        verdict("right", Grade::Good),
        verdict("off", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: signal_point,
};

fn signal_point(g: &Given) -> Found {
    let (measured, point, lo, hi) = (
        g.number("measured")?,
        g.number("point")?,
        g.number("lo")?,
        g.number("hi")?,
    );
    let expected = signal::percent_to_signal(point, lo, hi, action(g)?)?;
    let deviation = signal::deviation_pct_span(measured, expected, lo, hi)?;
    let limit = g.number("limit")?;
    let mut figures = vec![
        figure("expected", expected, "none", 2),
        figure("deviation", deviation, "%", 2),
    ];
    let mut reason = format!(
        "{} measured, {} expected at {} %: {} % of span.",
        say(measured, 3),
        say(expected, 2),
        say(point, 0),
        say(deviation, 2)
    );
    if let Some(limit_of_meter) = g.meter_limit(measured)? {
        let u = 2.0 * meter::rectangular_u(limit_of_meter)? * 100.0 / (hi - lo);
        figures.push(figure("U", u, "%", 2));
        reason += &format!(" {}", class_words(deviation, limit, u)?);
    }
    Ok(if keeps(deviation.abs(), limit) {
        g.told(
            "right",
            figures,
            reason,
            format!(
                "{} is right for {} per cent.",
                say(measured, 2),
                say(point, 0)
            ),
        )
    } else {
        g.told(
            "off",
            figures,
            reason,
            format!(
                "Off by {} per cent of span: set {}.",
                say(deviation, 2),
                say(expected, 2)
            ),
        )
    })
}

pub(super) static ACTION: FindingSpec = FindingSpec {
    name: "action",
    about: "whether it acts direct or reverse as wanted",
    source: "common practice: 4, 12, 20 mA are 0, 50, 100 % direct acting",
    inputs: &[
        need("at_low", "%", "position at the low end of the signal"),
        need("at_mid", "%", "position at the middle of the signal"),
        need("at_high", "%", "position at the high end of the signal"),
        word("wanted", true, "wanted action, direct or reverse"),
    ],
    verdicts: &[
        verdict("as-set", Grade::Good),
        verdict("reversed", Grade::Bad),
        verdict("non-monotonic", Grade::Bad),
        verdict("not-moving", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: acts,
};

fn acts(g: &Given) -> Found {
    let positions = [
        g.number("at_low")?,
        g.number("at_mid")?,
        g.number("at_high")?,
    ];
    let wanted = g.word("wanted")?;
    let reason = format!(
        "Positions {} %, {} %, {} % at the low end, middle and high end of the signal; {wanted} is wanted.",
        say(positions[0], 1),
        say(positions[1], 1),
        say(positions[2], 1)
    );
    let spread = positions.iter().copied().fold(f64::NEG_INFINITY, f64::max)
        - positions.iter().copied().fold(f64::INFINITY, f64::min);
    let figures = vec![figure("spread", spread, "%", 1)];
    // Less than this is a reading error, not a stroke.
    if spread < 5.0 {
        return Ok(g.told(
            "not-moving",
            figures,
            reason,
            "It does not follow the signal: mode, local or remote, or supply?".to_owned(),
        ));
    }
    Ok(match signal::action_detect(&[0.0, 50.0, 100.0], &positions)? {
        found if found == wanted => g.told("as-set", figures, reason, format!("Acts {wanted}, as wanted.")),
        "direct" | "reverse" => g.told("reversed", figures, reason, format!("It acts the other way: {wanted} is wanted; change the action, not the wiring of the signal.")),
        _ => g.told("non-monotonic", figures, reason, "It does not go one way: read the three positions again, then look at the potentiometer.".to_owned()),
    })
}

pub(super) static LOSS_OF_SIGNAL: FindingSpec = FindingSpec {
    name: "loss-of-signal",
    about: "whether it does what is wanted when a signal wire is off",
    source: "common practice; the wanted action is the order's",
    inputs: &[
        word("wanted", true, "wanted action: close, open or stay"),
        need("before", "%", "position before"),
        need("after", "%", "position after"),
        need("limit", "%", "how near it must come"),
    ],
    verdicts: &[
        verdict("as-wanted", Grade::Good),
        verdict("wrong", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: loss_of_signal,
};

fn loss_of_signal(g: &Given) -> Found {
    let (before, after) = (g.number("before")?, g.number("after")?);
    let wanted = g.word("wanted")?;
    let target = match wanted {
        "close" => 0.0,
        "open" => 100.0,
        "stay" => before,
        _ => {
            return Ok(g.told(
                CANNOT_TELL,
                vec![],
                format!("The wanted action is {wanted}."),
                "The wanted action is not known: ask for it.".to_owned(),
            ));
        }
    };
    let figures = vec![figure("from wanted", after - target, "%", 1)];
    let reason = format!(
        "Wanted: {wanted}. From {} % it went to {} %.",
        say(before, 1),
        say(after, 1)
    );
    Ok(if keeps((after - target).abs(), g.number("limit")?) {
        g.told(
            "as-wanted",
            figures,
            reason,
            format!("As wanted: {wanted}."),
        )
    } else {
        g.told("wrong", figures, reason, format!("Not as wanted: {wanted} was wanted, it stands at {} per cent; set the action and test again.", say(after, 1)))
    })
}

pub(super) static METER_CHECK: FindingSpec = FindingSpec {
    name: "meter-check",
    about: "whether a meter reads a known value within its specification",
    source: "common practice; GUM 4.3.7",
    inputs: &[
        need("reading", "none", "what the meter reads"),
        need("known", "none", "the known value"),
        need("known_tolerance", "%", "tolerance of the known value"),
        METER[0],
        METER[1],
        METER[2],
    ],
    verdicts: &[
        verdict("within", Grade::Good),
        verdict("outside", Grade::Bad),
        verdict(CANNOT_TELL, Grade::CannotTell),
    ],
    call: meter_check,
};

fn meter_check(g: &Given) -> Found {
    let (reading, known) = (g.number("reading")?, g.number("known")?);
    let Some(limit_of_meter) = g.meter_limit(reading)? else {
        return Ok(g.told(
            CANNOT_TELL,
            vec![],
            "The meter's accuracy is unknown, so its error cannot be judged.".to_owned(),
            "Cannot tell: the meter's accuracy is unknown.".to_owned(),
        ));
    };
    let limit = limit_of_meter + g.number("known_tolerance")?.abs() / 100.0 * known.abs();
    let error = reading - known;
    let figures = vec![
        figure("error", error, "none", 3),
        figure("largest error", limit, "none", 3),
    ];
    let reason = format!(
        "{} read for {}: {} off, {} allowed.",
        say(reading, 3),
        say(known, 3),
        say(error, 3),
        say(limit, 3)
    );
    Ok(if keeps(error.abs(), limit) {
        g.told(
            "within",
            figures,
            reason,
            format!("Meter within its limits, {} off.", say(error, 3)),
        )
    } else {
        g.told(
            "outside",
            figures,
            reason,
            format!(
                "Meter off by {}: do not use it, and flag every job since its last good check.",
                say(error, 3)
            ),
        )
    })
}

pub(super) fn class_words(
    deviation: f64,
    limit: f64,
    expanded: f64,
) -> Result<String, FindingError> {
    let class = decision::classify(deviation, -limit, limit, expanded)?;
    let can = if expanded > limit {
        " The meter cannot prove it: U is wider than the limit."
    } else {
        ""
    };
    Ok(format!(
        "U {} % of span, limit {} %: {}.{can}",
        say(expanded, 2),
        say(limit, 2),
        class.word().replace('_', " ")
    ))
}

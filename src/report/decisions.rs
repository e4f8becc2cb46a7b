//! Results against their limits: what simple acceptance says, and what the
//! uncertainty lets the readings prove.

use super::types::{Decision, FindingLine, LimitLine, Meter};
use super::uncertainty::{expanded, only_one_for};
use crate::calc::decision::{self, Class};
use crate::calc::{meter, rounding};
use crate::core::question::with_unit;
use crate::job::{Job, Source, StepKind};

/// What a limit allows.
#[derive(Clone, Copy)]
enum Allows {
    /// From minus the limit to the limit.
    Within,
    /// The limit and more, up to the whole of the track.
    AtLeast,
}

/// How the uncertainty of a result is known.
#[derive(Clone, Copy)]
enum Known {
    /// The calculation gives it, as its figure U.
    Figure,
    /// From two readings of the potentiometer, `r_aw` and `r_wb`, or `r_aw` and the total.
    Fraction,
    /// From `r_closed` and `r_open`, each with the total.
    Ends,
    /// From the reading of the total, in % of the nominal.
    Total,
    /// Nobody gave one for such readings.
    Not,
}

/// What of a calculation is judged by which of its inputs; of several figures the one farthest from zero.
struct Judged {
    calculation: &'static str,
    figures: &'static [&'static str],
    limit: &'static str,
    allows: Allows,
    known: Known,
}

const fn judged(
    calculation: &'static str,
    figures: &'static [&'static str],
    limit: &'static str,
    allows: Allows,
    known: Known,
) -> Judged {
    Judged {
        calculation,
        figures,
        limit,
        allows,
        known,
    }
}

const JUDGED: [Judged; 13] = {
    use Allows::{AtLeast, Within};
    use Known::{Ends, Figure, Fraction, Not, Total};
    [
        judged(
            "up-down-run",
            &["inaccuracy above", "inaccuracy below"],
            "inaccuracy",
            Within,
            Figure,
        ),
        judged("up-down-run", &["hysteresis"], "hysteresis", Within, Not),
        judged(
            "up-down-run",
            &["linearity, independent"],
            "linearity",
            Within,
            Not,
        ),
        judged("signal-point", &["deviation"], "limit", Within, Figure),
        judged("as-found-position", &["deviation"], "limit", Within, Not),
        judged(
            "pot-diagnosis",
            &["total from nominal"],
            "tolerance",
            Within,
            Total,
        ),
        judged("pot-centre", &["centring error"], "good", Within, Fraction),
        judged("tighten-shift", &["shift of track"], "limit", Within, Not),
        judged("ends-check", &["margin"], "margin", AtLeast, Ends),
        judged("sweep", &["jump"], "limit", Within, Not),
        judged(
            "stroke-time",
            &["opening from nameplate"],
            "tolerance",
            Within,
            Not,
        ),
        judged(
            "stroke-time",
            &["closing from nameplate"],
            "tolerance",
            Within,
            Not,
        ),
        judged("stroke-time", &["asymmetry"], "asymmetry", Within, Not),
    ]
};

/// Each latest result that has a limit, in the order of the findings. Sources: ILAC-G8 4.2.1
/// (simple acceptance) and 4.2.3 (guard band w = U); JCGM 106.
pub(super) fn decisions(
    findings: &[FindingLine],
    limits: &[LimitLine],
    meters: &[Meter],
    job: &Job,
) -> Vec<Decision> {
    findings
        .iter()
        .filter(|finding| finding.latest)
        .flat_map(|finding| {
            JUDGED
                .iter()
                .filter(|judged| finding.calculation.as_deref() == Some(judged.calculation))
                .filter_map(|judged| decided(finding, judged, limits, meters, job))
        })
        .collect()
}

fn decided(
    finding: &FindingLine,
    judged: &Judged,
    limits: &[LimitLine],
    meters: &[Meter],
    job: &Job,
) -> Option<Decision> {
    let figure = |name: &str| finding.figures.iter().find(|figure| figure.name == name);
    let number = |name: &str| figure(name)?.unrounded.as_deref()?.parse::<f64>().ok();
    let (worst, name) = judged
        .figures
        .iter()
        .filter_map(|name| Some((number(name)?, *name)))
        .max_by(|one, other| one.0.abs().total_cmp(&other.0.abs()))?;
    let shown = figure(name)?;
    let shown_limit = finding.inputs.get(judged.limit)?;
    let limit: f64 = shown_limit.parse().ok()?;
    let (low, high) = match judged.allows {
        Allows::Within => (-limit, limit),
        // Nothing stands farther from an end than the track is long.
        Allows::AtLeast => (limit, 100.0),
    };
    let of_ohms = only_one_for(meters, "ohm");
    let expanded = match judged.known {
        Known::Figure => number("U"),
        Known::Not => None,
        Known::Fraction => of_ohms.and_then(|meter| of_fraction(finding, meter)),
        Known::Ends => of_ohms.and_then(|meter| of_ends(finding, meter)),
        Known::Total => of_ohms.and_then(|meter| of_total(finding, meter)),
    }
    .filter(|expanded| *expanded > 0.0);
    let simple = decision::classify(worst, low, high, 0.0).ok()?;
    let class = expanded.and_then(|u| decision::classify(worst, low, high, u).ok());
    let in_ohms = matches!(judged.known, Known::Fraction | Known::Ends | Known::Total);
    let note = match (expanded, of_ohms) {
        (Some(_), Some(meter)) if in_ohms && meter.doubtful => {
            Some("U not assured: the meter is past its due date".to_owned())
        }
        (Some(_), _) => None,
        (None, None) if in_ohms => {
            Some("no U: no one specification for readings in \u{3A9}".to_owned())
        }
        (None, _) => Some("no U: no specification for what was read here".to_owned()),
    };
    Some(Decision {
        seq: finding.seq,
        title: finding.title.clone(),
        what: name.to_owned(),
        stage: finding.stage,
        value: with_unit(&shown.value, &shown.unit),
        limit: match judged.allows {
            Allows::Within => format!("\u{B1}{}", with_unit(shown_limit, &shown.unit)),
            Allows::AtLeast => format!("\u{2265}\u{A0}{}", with_unit(shown_limit, &shown.unit)),
        },
        limit_from: limit_from(finding, judged.limit, limits, job),
        uncertainty: expanded
            .and_then(|u| rounding::significant(&u.to_string(), 2).ok())
            .map(|u| with_unit(&u, &shown.unit)),
        tur: expanded
            .filter(|_| matches!(judged.allows, Allows::Within))
            .and_then(|u| decision::tur(low, high, u).ok())
            .map(|ratio| rounding::fixed(ratio, 1)),
        accepted: simple == Class::Pass,
        class: class.map(|class| class.word().replace('_', " ")),
        cannot_prove: expanded
            .is_some_and(|u| matches!(judged.allows, Allows::Within) && u > limit),
        note,
    })
}

/// Where the limit comes from: the limit's own source, or what of the plate it is.
fn limit_from(finding: &FindingLine, input: &str, limits: &[LimitLine], job: &Job) -> String {
    let step = job.index_of(&finding.step).map(|at| &job.steps[at].kind);
    let Some(StepKind::Finding(wanted)) = step else {
        return "unknown".to_owned();
    };
    match wanted.inputs.get(input) {
        Some(Source::Limit(id)) => limits.iter().position(|limit| limit.id == *id).map_or_else(
            || "unknown".to_owned(),
            |at| format!("L{}, {}", at + 1, limits[at].source),
        ),
        Some(Source::Plate(id)) => job.plate_item(id).map_or_else(
            || "plate".to_owned(),
            |item| format!("plate: {}", item.title),
        ),
        _ => "job file".to_owned(),
    }
}

fn input(finding: &FindingLine, name: &str) -> Option<f64> {
    finding.inputs.get(name)?.parse().ok()
}

/// Standard uncertainty of a resistance.
fn u_of(meter: &Meter, ohms: f64) -> Option<f64> {
    expanded(meter, ohms).map(|expanded| expanded / 2.0)
}

/// U of the place of the wiper in % of the track. The readings are taken as independent, which a
/// common gain error of the meter only makes better. Source: GUM 5.1.2.
fn of_fraction(finding: &FindingLine, meter: &Meter) -> Option<f64> {
    let aw = input(finding, "r_aw")?;
    let (_, u) = if let Some(wb) = input(finding, "r_wb") {
        meter::ratio_of_two_readings(aw, u_of(meter, aw)?, wb, u_of(meter, wb)?)
    } else {
        let ab = input(finding, "r_ab")?;
        meter::ratio_to_total(aw, u_of(meter, aw)?, ab, u_of(meter, ab)?)
    }
    .ok()?;
    Some(200.0 * u)
}

/// U of the place of the end that is less certain, in % of the track.
fn of_ends(finding: &FindingLine, meter: &Meter) -> Option<f64> {
    let ab = input(finding, "r_ab")?;
    let of = |name| {
        let end = input(finding, name)?;
        let (_, u) = meter::ratio_to_total(end, u_of(meter, end)?, ab, u_of(meter, ab)?).ok()?;
        Some(200.0 * u)
    };
    Some(f64::max(of("r_closed")?, of("r_open")?))
}

fn of_total(finding: &FindingLine, meter: &Meter) -> Option<f64> {
    let (ab, nominal) = (input(finding, "r_ab")?, input(finding, "nominal")?);
    (nominal > 0.0).then_some(())?;
    Some(100.0 * expanded(meter, ab)? / nominal)
}

//! Where the wiper stands on its track, from the findings about the potentiometer.

use super::types::{FindingLine, LimitLine, Track, Wiper};
use crate::job::{Job, Source, Stage, StepKind};

/// The wiper as found and as left; none where no finding says where it is.
pub(super) fn track(findings: &[FindingLine], limits: &[LimitLine], job: &Job) -> Option<Track> {
    let track = Track {
        margin_limit: margin_limit(limits, job),
        as_found: wiper(findings, |stage| stage <= Stage::AsFound),
        as_left: wiper(findings, |stage| stage >= Stage::AsLeft),
    };
    (track.as_found.is_some() || track.as_left.is_some()).then_some(track)
}

/// The latest centring finding gives the wiper at mid travel and the ends it predicts; measured ends win.
fn wiper(findings: &[FindingLine], in_time: impl Fn(Stage) -> bool) -> Option<Wiper> {
    let latest = |name: &str| {
        findings.iter().rfind(|finding| {
            finding.calculation.as_deref() == Some(name) && finding.stage.is_some_and(&in_time)
        })
    };
    let percent = |finding: &FindingLine, name: &str| {
        finding
            .figures
            .iter()
            .find(|figure| figure.name == name)
            .map(|figure| figure.value.clone())
    };
    let unrounded = |finding: &FindingLine, name: &str| -> Option<f64> {
        finding
            .figures
            .iter()
            .find(|figure| figure.name == name)?
            .unrounded
            .as_deref()?
            .parse()
            .ok()
    };
    let centre = latest("pot-centre").or_else(|| latest("pot-diagnosis"));
    let ends = latest("ends-check").or_else(|| latest("pot-closed-end"));
    let mut made = Wiper {
        at: centre.and_then(|finding| percent(finding, "fraction")),
        low: None,
        high: None,
        ends_measured: false,
        margin: None,
        off_track: false,
        from: centre
            .into_iter()
            .chain(ends)
            .map(|finding| finding.seq)
            .collect(),
    };
    if let Some(finding) = ends {
        let (closed, open) = (unrounded(finding, "closed"), unrounded(finding, "open"));
        let turned = closed.zip(open).is_some_and(|(closed, open)| closed > open);
        let (low, high) = if turned {
            ("open", "closed")
        } else {
            ("closed", "open")
        };
        made.low = percent(finding, low);
        made.high = percent(finding, high);
        made.margin = percent(finding, "margin");
        made.ends_measured = true;
        made.off_track = finding.verdict == "off-track";
    } else if let Some(finding) = centre {
        let part = |name| {
            let total = 2.0 * unrounded(finding, "target")?;
            let end = unrounded(finding, name)?;
            (total > 0.0).then(|| crate::calc::rounding::fixed(100.0 * end / total, 1))
        };
        made.low = part("predicted low end");
        made.high = part("predicted high end");
        made.margin = percent(finding, "margin");
        made.off_track = unrounded(finding, "margin").is_some_and(|margin| margin < 0.0);
    }
    (made.at.is_some() || made.low.is_some() || made.off_track).then_some(made)
}

/// The limit that the centring or the ends are judged by.
fn margin_limit(limits: &[LimitLine], job: &Job) -> Option<String> {
    job.steps.iter().find_map(|step| {
        let StepKind::Finding(wanted) = &step.kind else {
            return None;
        };
        if !matches!(wanted.calculation.as_str(), "pot-centre" | "ends-check") {
            return None;
        }
        let Some(Source::Limit(id)) = wanted.inputs.get("margin") else {
            return None;
        };
        limits
            .iter()
            .find(|limit| limit.id == *id && limit.unit == "%")
            .map(|limit| limit.value.clone())
    })
}

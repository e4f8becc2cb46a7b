//! Stroke times, from the findings about them.

use super::types::{FindingLine, Stroke};

/// The latest of each part of the work, in order.
pub(super) fn strokes(findings: &[FindingLine]) -> Vec<Stroke> {
    findings
        .iter()
        .filter(|finding| finding.latest && finding.calculation.as_deref() == Some("stroke-time"))
        .filter_map(|finding| {
            let input = |name: &str| finding.inputs.get(name).cloned();
            Some(Stroke {
                seq: finding.seq,
                stage: finding.stage,
                open: input("open")?,
                close: input("close")?,
                nameplate: input("nameplate"),
                tolerance: input("tolerance"),
            })
        })
        .collect()
}

//! The history of an actuator worked out again with numpy and scipy.

use sayback::history::PastJob;
use sayback::history::tag::{TagHistory, mean_and_deviation};
use sayback::report::week;
use serde_json::{Value, json};

use super::{python, run};
use crate::core::set_ends::LEFT;
use crate::history::made::Made;

/// Five jobs, each with other drifts, at other distances.
fn jobs() -> Vec<PastJob> {
    let drifts = [
        (0, [0.0; 5]),
        (365, [0.1, 0.4, -0.2, 0.0, 0.3]),
        (547, [-0.1, 0.2, 0.6, -0.4, 0.0]),
        (912, [0.3, -0.1, 0.9, 0.2, -0.2]),
        (1100, [0.0, 0.5, 0.8, -0.3, 0.1]),
    ];
    drifts
        .into_iter()
        .map(|(day, by)| {
            let add = |run: [f64; 5]| {
                std::array::from_fn(|at| ((run[at] + by[at]) * 10.0).round() / 10.0)
            };
            Made::set_ends("FV-118", day, (add(LEFT.0), add(LEFT.1)), LEFT, true).past()
        })
        .collect()
}

fn told(jobs: &[PastJob]) -> Value {
    let history = TagHistory::of(jobs);
    let compared: Vec<Value> = history
        .compared
        .iter()
        .filter_map(|one| {
            let since = one.since.as_ref().ok()?;
            let found = one.found;
            Some(json!({
                "run": one.job.run,
                "key": [found.what, found.point, found.up, found.column],
                "drift": since.drift,
                "days": since.days,
                "per_year": since.per_year,
            }))
        })
        .collect();
    let next = history.next.as_ref().unwrap();
    let found = next.from.found;
    let (mean, deviation) = mean_and_deviation(&history.rates(found)).unwrap();
    let shares: Vec<_> = [(0, 5), (2, 4), (3, 40), (7, 7), (1, 200)]
        .map(|(part, n)| {
            let (low, high) = week::interval(part, n);
            (part, n, low, high)
        })
        .into();
    json!({
        "jobs": jobs,
        "compared": compared,
        "next": { "interval": next.interval, "due": next.due },
        "rates": {
            "key": [found.what, found.point, found.up, found.column],
            "mean": mean,
            "deviation": deviation,
        },
        "shares": shares,
    })
}

fn check(python: &std::path::Path, data: &str) -> (bool, String) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("history.json");
    std::fs::write(&path, data).unwrap();
    run(python, "history.py", &[path])
}

#[test]
fn drift_interval_and_shares_are_worked_out_again() {
    let Some(python) = python() else { return };
    let data = told(&jobs());
    let (good, text) = check(python, &data.to_string());
    eprintln!("{text}");
    assert!(good, "{text}");
    // It can fail: one number of each kind.
    for change in [
        "/compared/7/per_year",
        "/next/interval",
        "/rates/mean",
        "/rates/deviation",
        "/shares/1/2",
    ] {
        let mut changed = data.clone();
        let number = changed.pointer_mut(change).unwrap();
        *number = json!(number.as_f64().unwrap() * 1.001 + 1e-6);
        let (good, text) = check(python, &changed.to_string());
        assert!(!good, "{change} was changed and nobody saw it: {text}");
    }
}

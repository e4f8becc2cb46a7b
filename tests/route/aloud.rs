//! What a route says has clips: on a machine without a synthesiser it is heard as well.

use sayback::core::record::Wall;
use sayback::job::{Job, PlateKind};
use sayback::route::{self, Alike, RunFacts, Stands, Wanted};

use super::good;
use crate::voice::without_clips;

const NOW: Wall = Wall {
    utc_ms: 1_795_700_000_000,
    offset_min: 60,
};

fn run(number: usize, days_ago: i64, stands: Stands) -> RunFacts {
    let began = Wall {
        utc_ms: NOW.utc_ms - days_ago * 24 * 3_600_000,
        offset_min: 60,
    };
    RunFacts {
        tag: Some(format!("FV-{number}")),
        job: "set-ends".to_owned(),
        began,
        last: began,
        stands,
        ..RunFacts::unreadable(&format!("run-{number}"), String::new())
    }
}

fn has_clips(text: &str) {
    let without = without_clips(text);
    assert!(without.is_empty(), "{text}: {without:?}");
}

/// What a list says: what is told, and what it asks.
fn list_has_clips(list: &Job) {
    for told in &list.cautions {
        has_clips(told);
    }
    for item in &list.plate {
        has_clips(&item.ask);
        assert!(matches!(item.kind, PlateKind::Choice(_) | PlateKind::Tag));
    }
}

#[test]
fn what_a_route_says_between_its_jobs_has_clips() {
    let mut table = "tag,job,critical\n".to_owned();
    for number in 1..=9 {
        let critical = if number == 3 { "yes" } else { "" };
        table += &format!("FV-{number},set-ends,{critical}\n");
    }
    let route = good("week.csv", &table);
    let ended = |reason: &str| Stands::Ended {
        reason: reason.to_owned(),
    };
    let at = |at: &str| Stands::Open {
        at: at.to_owned(),
        because: None,
    };
    let title = &route.jobs["set-ends"].job.steps[0].title;
    let found = RunFacts {
        as_found: true,
        ..run(4, 1, ended("no time left"))
    };
    let adjusted = RunFacts {
        adjusted: true,
        ..run(5, 1, ended("not safe now"))
    };
    let left_out = RunFacts {
        skipped: vec![format!("{title}: no access")],
        ..run(7, 1, Stands::Complete)
    };
    let runs = [
        run(1, 40, Stands::Complete),
        run(2, 1, at(title)),
        found,
        adjusted,
        run(6, 1, ended("waiting for a part")),
        left_out,
    ];
    let mut said = Vec::new();
    // As it stands, and when everything is done or refused.
    let all: Vec<RunFacts> = (1..=9)
        .map(|number| run(number, 1, Stands::Complete))
        .collect();
    for runs in [&runs[..], &all[..], &[]] {
        let progress = route::progress(&route, runs, NOW);
        let mut told = vec![
            route::what_is_left(&progress),
            route::not_on_route("FV-99"),
            route::could_be("FV1", &["FV-1", "FV.1"]),
            route::meter_failed(&["FV-1", "FV-2"]),
        ];
        told.extend(progress.old_words());
        told.extend(progress.standings.iter().map(route::stands_now));
        list_has_clips(&route::menu("Week", &progress, &told.join(" ")));
        for wanted in [Wanted::Start, Wanted::End] {
            list_has_clips(&route::check_first("Week", &progress, wanted));
        }
        let alike = Alike {
            runs: Vec::new(),
            tags: vec!["FV-1".to_owned(), "FV-2".to_owned(), "FV-3".to_owned()],
            readings: 4,
            measured: None,
        };
        list_has_clips(&route::ask_alike("Week", &progress, &alike));
        said.push(told.join("\n"));
    }
    insta::assert_snapshot!(said.join("\n---\n"));
}

//! A built-in job walked from its first question to its end, with what was asked on the way.

use sayback::calc::finding::Finding;
use sayback::core::record::Body;
use sayback::core::{Event, Phase, view};
use sayback::report::{self, Report, Source};

use super::{World, built_in, open_step};

/// The tables of published and computed values that the calculations are checked against.
const CHECKS: &str = include_str!("../calc/checks.tsv");

/// One question as it stood when it was answered.
pub struct Asked {
    pub step: String,
    pub question: String,
    pub caution: String,
    pub answer: String,
    /// What was lifted and not yet restored at that moment.
    pub lifted: Vec<String>,
}

impl Asked {
    pub fn is_lifted(&self, thing: &str) -> bool {
        self.lifted.iter().any(|other| other == thing)
    }

    pub fn warns(&self, of: &str) -> bool {
        let said = format!("{} {}", self.question, self.caution);
        said.to_lowercase().contains(of)
    }
}

pub struct Walk {
    pub world: World,
    pub asked: Vec<Asked>,
}

impl Walk {
    pub fn new(job: &str, sheet: &str) -> Self {
        Self {
            world: World::of(built_in::text(job).unwrap(), sheet),
            asked: Vec::new(),
        }
    }

    /// Goes on past what is told.
    pub fn pass_what_is_told(&mut self) {
        while self.world.run.live.phase == Phase::Telling {
            self.world.keys("");
        }
    }

    /// Answers the question that must be open now.
    pub fn answer(&mut self, step: &str, line: &str) {
        self.pass_what_is_told();
        assert_eq!(open_step(&self.world), step, "asked for instead of {step}");
        let shown = view(&self.world.run);
        self.asked.push(Asked {
            step: step.to_owned(),
            question: shown.question,
            caution: shown.caution.unwrap_or_default(),
            answer: line.to_owned(),
            lifted: self.world.run.saved.outstanding.iter().cloned().collect(),
        });
        self.world.keys(line);
    }

    pub fn answers(&mut self, list: &[(&str, &str)]) {
        for (step, line) in list {
            self.answer(step, line);
        }
    }

    /// Ten readings, up and then down.
    pub fn run(&mut self, step: &str, up: &[f64], down: &[f64]) {
        for position in up.iter().chain(down) {
            self.answer(step, &position.to_string());
        }
    }

    /// A hold lasts its seconds to the millisecond, and no key makes it shorter.
    pub fn hold(&mut self, step: &str, seconds: u64) {
        self.answer(step, "");
        let begun = self.world.now_ms;
        assert!(matches!(self.world.run.live.phase, Phase::Holding { .. }));
        assert_eq!(view(&self.world.run).big, seconds.to_string());
        self.world.keys("");
        self.world.now_ms = begun + seconds * 1000 - 1;
        self.world.give(Event::Tick);
        assert!(matches!(self.world.run.live.phase, Phase::Holding { .. }));
        assert_eq!(view(&self.world.run).big, "1");
        self.world.now_ms += 1;
        self.world.give(Event::Tick);
        assert_eq!(
            view(&self.world.run).message,
            format!("Held {seconds} seconds. Release.")
        );
        assert_ne!(open_step(&self.world), step);
    }

    pub fn finding(&self, step: &str) -> &Finding {
        &self.world.run.saved.findings[step]
    }

    /// A number of a finding, unrounded.
    pub fn figure(&self, step: &str, name: &str) -> f64 {
        let finding = self.finding(step);
        let figure = finding.figures.iter().find(|figure| figure.name == name);
        figure.and_then(|figure| figure.value).unwrap()
    }

    /// The last question is answered, everything is restored, and the job is closed whole.
    pub fn is_closed(&self) {
        assert_eq!(self.world.run.live.phase, Phase::Done);
        assert_eq!(self.world.quit, Some(0));
        assert!(self.world.run.saved.outstanding.is_empty());
        let last = &self.world.records.last().unwrap().body;
        assert_eq!(
            *last,
            Body::Closed {
                complete: true,
                reason: None
            }
        );
    }

    /// All records so far.
    pub fn records(&self) -> &[sayback::core::record::Record] {
        &self.world.records
    }

    pub fn report(&self) -> Report {
        let records: Vec<_> = (0..).zip(self.world.records.iter().cloned()).collect();
        report::build(&Source {
            job: &self.world.job(),
            records: &records,
            chain_hash: "00",
            whole: "whole",
            clips_folder: "clips",
            sounds: &sayback::report::Sounds::new(),
            doubts: &[],
        })
    }
}

/// What the table says: its value by the name of the row.
pub fn checked(id: &str) -> f64 {
    let row = CHECKS
        .lines()
        .find(|line| line.split('\t').next() == Some(id));
    row.unwrap().split('\t').nth(3).unwrap().parse().unwrap()
}

pub fn near(found: f64, wanted: f64) {
    assert!((found - wanted).abs() < 1e-6, "{found}, wanted {wanted}");
}

//! A run of our own, made record by record: FV-118, whose potentiometer slipped
//! to 140 of 1013 ohm at mid travel and was centred at 506.5. The findings are
//! those that the core itself makes from the answers.

use std::collections::BTreeMap;

use rust_decimal::Decimal;
use sayback::core::finding;
use sayback::core::record::{
    Answered, Body, Channel, Clip, Cursor, EarMark, How, Record, Started, Value, Wall,
};
use sayback::core::run::Saved;
use sayback::job::{Job, Limit, PlateValue, Step, StepKind};
use sayback::report::{self, Report, Sounds, Source};

pub const HASH: &str = "5b1c0000000000000000000000000000000000000000000000000000000000e7";

/// Of the ears that listen: fitted the day before.
pub const WEIGHTS: &str = "9e07000000000000000000000000000000000000000000000000000000000041";

pub fn job() -> Job {
    sayback::job::load::parse(include_str!("job.toml"), "job.toml")
        .unwrap_or_else(|faults| panic!("{faults}"))
}

pub fn decimal(text: &str) -> Decimal {
    text.parse().unwrap()
}

/// A journal being made.
pub struct Journal {
    pub job: Job,
    pub saved: Saved,
    pub records: Vec<(u64, Record)>,
    minute: i64,
    /// What was found beside the journal.
    pub sounds: Sounds,
}

impl Journal {
    pub fn start(job: Job) -> Self {
        let text = |text: &str| PlateValue::Text(text.to_owned());
        let number = |text: &str| PlateValue::Number(decimal(text));
        let plate: BTreeMap<String, PlateValue> = [
            ("tag", text("FV-118")),
            ("order", text("50277")),
            ("pot-nominal", number("1000")),
            ("pot-tolerance", number("10")),
            ("electrical-angle", number("340")),
            ("gear-ratio", number("3")),
            ("travel", number("90")),
            ("signal-low", number("4")),
            ("signal-high", number("20")),
            ("signal-unit", text("mA")),
            ("action", text("direct")),
        ]
        .map(|(id, value)| (id.to_owned(), value))
        .into();
        let mut limits = job.limits.clone();
        limits.insert(
            "inaccuracy".to_owned(),
            Limit {
                about: "inaccuracy of the position".to_owned(),
                value: decimal("1.5"),
                unit: "%".to_owned(),
                source: "order 50277, data sheet 4".to_owned(),
            },
        );
        let started = Started {
            format: 1,
            program: "sayback 0.1.0".to_owned(),
            job: job.id.clone(),
            title: job.title.clone(),
            job_hash: job.hash.clone(),
            limits,
            plate,
            by: Some("K. L.".to_owned()),
            relayed_by: Some("B. T.".to_owned()),
            from_recording: false,
            route: None,
            ear: Some(EarMark::Fitted {
                to: "K. L.".to_owned(),
                made_utc_ms: 1_795_507_800_000,
                weights: WEIGHTS.to_owned(),
            }),
        };
        let saved = Saved::new(&job, started.clone());
        let mut journal = Self {
            job,
            saved,
            records: Vec::new(),
            minute: 0,
            sounds: Sounds::new(),
        };
        let at = journal.now();
        journal.records.push((
            0,
            Record {
                at,
                body: Body::Started(started),
            },
        ));
        journal
    }

    /// 25 November 2026, from 08:10 UTC on, local time one hour ahead; a minute a record.
    fn now(&mut self) -> Wall {
        let at = Wall {
            utc_ms: 1_795_594_200_000 + self.minute * 60_000,
            offset_min: 60,
        };
        self.minute += 1;
        at
    }

    pub fn push(&mut self, body: Body) -> u64 {
        let at = self.now();
        let record = Record { at, body };
        let seq = self.saved.records;
        self.saved.apply(&self.job, &record);
        self.records.push((seq, record));
        seq
    }

    fn step(&self, id: &str) -> Step {
        self.job.steps[self
            .job
            .index_of(id)
            .unwrap_or_else(|| panic!("no step {id}"))]
        .clone()
    }

    pub fn plate(&mut self, item: &str, value: PlateValue, heard: &str) {
        self.push(Body::Plate {
            item: item.to_owned(),
            value,
            how: voice(heard),
        });
    }

    /// An answer to the cell that is next in this step.
    pub fn answer(&mut self, id: &str, value: Value, how: How) -> u64 {
        self.put(id, value, how, |_| {})
    }

    pub fn put(
        &mut self,
        id: &str,
        value: Value,
        how: How,
        change: impl FnOnce(&mut Answered),
    ) -> u64 {
        let step = self.step(id);
        let (row, then) = match &step.kind {
            StepKind::ReadingSet(set) => {
                let cell = self.saved.rows(id).len();
                (
                    Saved::row_at(set, cell),
                    self.saved.after_cell(&self.job, &step, cell),
                )
            }
            _ => (None, self.saved.step_after(&self.job, &step, None)),
        };
        let mut answered = Answered {
            step: id.to_owned(),
            row,
            stage: step.stage,
            value,
            out_of_range: false,
            corrects: None,
            reason: None,
            stays: false,
            attempt: self.saved.attempts(id) + 1,
            how,
            then,
        };
        change(&mut answered);
        self.push(Body::Answered(answered))
    }

    pub fn number(&mut self, id: &str, value: &str, unit: &str) -> u64 {
        self.answer(id, number(value, unit), voice(value))
    }

    pub fn correct(&mut self, old: u64, value: Value, reason: &str) -> u64 {
        let was = self
            .saved
            .answers
            .iter()
            .find(|kept| kept.seq == old)
            .unwrap()
            .answer
            .clone();
        let then = self.saved.cursor.clone();
        self.push(Body::Answered(Answered {
            value,
            corrects: Some(old),
            reason: Some(reason.to_owned()),
            how: voice("correction"),
            then,
            ..was
        }))
    }

    pub fn find(&mut self, id: &str) {
        let step = self.step(id);
        let StepKind::Finding(wanted) = &step.kind else {
            panic!("{id} is no finding")
        };
        self.saved.cursor = Cursor::Step {
            id: id.to_owned(),
            cell: 0,
        };
        let body = finding::found(
            &self.job,
            &self.saved,
            &step,
            wanted,
            Wall {
                utc_ms: 0,
                offset_min: 0,
            },
        );
        self.push(body);
    }

    pub fn skip(&mut self, id: &str, reason: &str, unable: bool) {
        let step = self.step(id);
        let then = self.saved.step_after(&self.job, &step, None);
        self.push(Body::Skipped {
            step: id.to_owned(),
            row: None,
            reason: reason.to_owned(),
            unable,
            how: voice("unable"),
            then,
        });
    }

    pub fn run(&mut self, id: &str, positions: &[&str]) {
        for position in positions {
            self.number(id, position, "%");
        }
    }

    pub fn report(&self) -> Report {
        self.report_as("whole")
    }

    pub fn report_as(&self, whole: &str) -> Report {
        report::build(&Source {
            job: &self.job,
            records: &self.records,
            chain_hash: HASH,
            whole,
            clips_folder: "clips",
            sounds: &self.sounds,
            doubts: &[],
        })
    }
}

pub fn number(value: &str, unit: &str) -> Value {
    Value::Number {
        value: decimal(value),
        unit: unit.to_owned(),
    }
}

pub fn voice(heard: &str) -> How {
    How {
        channel: Channel::Voice,
        heard: heard.to_owned(),
        doubt: None,
        clip: Some(Clip {
            file: format!("{}.wav", heard.replace(['.', ' '], "-")),
            hash: "00".repeat(32),
        }),
        relayed_by: None,
    }
}

pub fn keys(typed: &str) -> How {
    How {
        channel: Channel::Keypad,
        heard: typed.to_owned(),
        ..How::default()
    }
}

/// The whole run, closed.
pub fn fv_118() -> Journal {
    let mut journal = Journal::start(job());
    journal.plate(
        "meter-id",
        PlateValue::Text("DMM-07".to_owned()),
        "delta mike mike dash zero seven",
    );
    journal.plate(
        "meter-due",
        PlateValue::Text("2026-09".to_owned()),
        "two zero two six zero nine",
    );
    journal.plate(
        "meter-percent",
        PlateValue::Number(decimal("0.5")),
        "zero decimal five",
    );
    journal.plate("meter-counts", PlateValue::Number(decimal("2")), "two");
    journal.plate(
        "meter-resolution",
        PlateValue::Number(decimal("0.1")),
        "zero decimal one",
    );
    journal.push(Body::InstrumentExpired {
        item: "meter-due".to_owned(),
        due: "2026-09".to_owned(),
    });
    journal.answer("permit", Value::Yes, voice("affirm"));
    let position = journal.number("position-found", "87", "%");
    journal.skip("run-found", "runs to the open end and stays there", true);
    journal.answer("isolated", Value::Yes, voice("affirm"));
    journal.answer("proved", Value::No, voice("negative"));
    journal.push(Body::Stopped {
        step: Some("proved".to_owned()),
        how: voice("stop"),
    });
    journal.answer(
        "proved",
        Value::Yes,
        How {
            relayed_by: Some("B. T.".to_owned()),
            ..voice("affirm")
        },
    );
    journal.answer("cover-off", Value::Done, voice("done"));
    journal.answer("unplug", Value::Done, voice("done"));
    let doubt = Some("outside the plausible range, given twice".to_owned());
    journal.put(
        "shorted",
        number("6.2", "ohm"),
        How {
            doubt,
            ..voice("six decimal two")
        },
        |answer| answer.out_of_range = true,
    );
    journal.skip("insulation", "no insulation tester at hand", false);
    journal.answer("r-ab", number("1013", "ohm"), keys("1013"));
    let misread = journal.number("r-aw", "410", "ohm");
    journal.correct(misread, number("140", "ohm"), "digits exchanged");
    journal.number("r-wb", "873", "ohm");
    journal.find("diagnosis");
    journal.find("centre-found");
    journal.push(Body::AsFoundFrozen {
        step: "loosen".to_owned(),
    });
    journal.answer("loosen", Value::Done, voice("done"));
    journal.number("turned", "300.0", "ohm");
    journal.find("centre-turned");
    journal.correct(
        position,
        number("78", "%"),
        "read from the indicator, not from the stem",
    );
    journal.number("turned", "507.0", "ohm");
    journal.find("centre-turned");
    journal.answer("tighten", Value::Done, voice("done"));
    let then = Cursor::Step {
        id: "left-ab".to_owned(),
        cell: 0,
    };
    journal.push(Body::Held {
        step: "set".to_owned(),
        seconds: decimal("4"),
        then,
    });
    journal.answer("left-ab", number("1013", "ohm"), keys("1013"));
    journal.number("left-aw", "506.5", "ohm");
    journal.number("left-wb", "506.5", "ohm");
    journal.find("centre-left");
    journal.number("end-closed", "105", "ohm");
    journal.number("end-open", "908", "ohm");
    journal.find("ends");
    journal.answer("plug-back", Value::Done, voice("done"));
    journal.number("position-left", "50.5", "%");
    journal.run(
        "run-left",
        &[
            "0.1", "25.3", "50.6", "75.4", "100.2", "100.2", "75.9", "51.2", "26.1", "0.3",
        ],
    );
    journal.find("run-left-judged");
    journal.push(Body::Noted {
        step: Some("cover-back".to_owned()),
        text: "Set screw was finger tight, <b>marked</b> & tightened".to_owned(),
        how: voice("note"),
    });
    journal.answer("cover-back", Value::Done, voice("done"));
    journal.answer("hand-back", Value::Yes, voice("affirm"));
    journal.push(Body::Closed {
        complete: true,
        reason: None,
    });
    journal
}

/// A run whose as-found readings over points are there too, one of them beyond its limit; still open.
pub fn both_runs() -> Journal {
    let mut journal = Journal::start(job());
    journal.answer("permit", Value::Yes, voice("affirm"));
    journal.run(
        "run-found",
        &[
            "-2.4", "22.9", "48.5", "74.4", "99.8", "99.8", "75.0", "49.3", "23.8", "-2.0",
        ],
    );
    journal.find("run-found-judged");
    journal.push(Body::AsFoundFrozen {
        step: "loosen".to_owned(),
    });
    journal.run(
        "run-left",
        &[
            "0.1", "25.3", "50.6", "75.4", "100.2", "100.2", "75.9", "51.2", "26.1", "0.3",
        ],
    );
    journal.find("run-left-judged");
    journal
}

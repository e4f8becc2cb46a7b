//! The power goes off at each operation, the disk holds each image that it then
//! may hold, and while that is being recovered the power goes off again.

use sayback::journal::{Journal, JournalError, read};
use sayback::storage::Storage;

use super::simulation::{Handle, SimStorage, WithoutAside, WithoutCutting, WithoutSync};
use super::{Record, begun, long, only_records, reading, records, say};

#[derive(Debug, Default)]
struct Tally {
    first_cuts: u64,
    second_cuts: u64,
    lost: u64,
    false_records: u64,
    mistaken_for_damage: u64,
    torn_bytes_gone: u64,
}

impl Tally {
    fn faults(&self) -> u64 {
        self.lost + self.false_records + self.mistaken_for_damage + self.torn_bytes_gone
    }

    /// `promised` must be there, `attempted` may be there (it begins with
    /// `promised`), and nothing else.
    fn judge(&mut self, disk: &SimStorage, promised: usize, attempted: &[Record]) -> Option<usize> {
        match read::<Record>(&disk.handle()) {
            Ok(contents) => {
                let found = only_records(&contents.entries);
                if found.len() < promised {
                    self.lost += 1;
                } else if !attempted.starts_with(&found) {
                    self.false_records += 1;
                }
                Some(found.len())
            }
            Err(JournalError::NotBegun { .. }) => {
                self.lost += u64::from(promised > 0);
                None
            }
            Err(JournalError::Damaged { .. }) => {
                self.mistaken_for_damage += 1;
                None
            }
            Err(other) => panic!("the simulated disk does not fail: {other}"),
        }
    }
}

/// Writes a run until the power goes off; returns how many records were called saved.
fn write_run<S: Storage>(storage: S, run: &[Record]) -> usize {
    let Ok(mut journal) = Journal::create(storage, &run[0]) else {
        return 0;
    };
    1 + run[1..]
        .iter()
        .take_while(|record| journal.append(record).is_ok())
        .count()
}

/// Opens a journal and adds one record; returns how many records were shown or
/// called saved.
fn go_on<S: Storage>(storage: S, shown_before: usize, record: &Record) -> usize {
    match Journal::open(storage) {
        Err(_) => shown_before,
        Ok(mut opened) => opened.records.len() + usize::from(opened.journal.append(record).is_ok()),
    }
}

/// Each first cut in all its images, each second cut in every `every`-th of its own.
fn explore<S: Storage>(count: u64, every: usize, wrap: impl Fn(Handle) -> S) -> Tally {
    let mut tally = Tally::default();
    let run = records(count);
    let whole_run = SimStorage::empty();
    assert_eq!(write_run(wrap(whole_run.handle()), &run), run.len());
    for cut in 0..whole_run.operations() {
        let disk = SimStorage::empty();
        disk.cut_at(cut);
        let promised = write_run(wrap(disk.handle()), &run);
        let attempted = &run[..run.len().min(promised + 1)];
        for image in disk.images(1) {
            tally.first_cuts += 1;
            let found = tally.judge(&SimStorage::holding(&image), promised, attempted);
            if let Some(found) = found {
                cut_again(&mut tally, &image, &run[..found], every, &wrap);
            }
        }
    }
    tally
}

fn cut_again<S: Storage>(
    tally: &mut Tally,
    image: &[u8],
    shown: &[Record],
    every: usize,
    wrap: &impl Fn(Handle) -> S,
) {
    let torn = read::<Record>(&SimStorage::holding(image).handle())
        .unwrap()
        .torn;
    let next = reading(999);
    let attempted = [shown, std::slice::from_ref(&next)].concat();
    for cut in 0.. {
        let disk = SimStorage::holding(image);
        disk.cut_at(cut);
        let promised = go_on(wrap(disk.handle()), shown.len(), &next);
        for second_image in disk.images(every) {
            tally.second_cuts += 1;
            let second = SimStorage::holding(&second_image);
            tally.judge(&second, promised, &attempted);
            if !torn.is_empty() && !second_image.starts_with(image) && !disk.aside().contains(&torn)
            {
                tally.torn_bytes_gone += 1;
            }
        }
        if disk.operations() <= cut {
            // The power went off after the last operation.
            return;
        }
    }
}

#[test]
fn two_power_cuts_lose_nothing_and_invent_nothing() {
    let tally = if long() {
        explore(12, 24, |handle| handle)
    } else {
        explore(4, 48, |handle| handle)
    };
    say(&format!("power cuts: {tally:?}"));
    assert_eq!(tally.faults(), 0, "{tally:?}");
    assert!(tally.first_cuts >= 1000, "{tally:?}");
}

/// The same harness must see what a journal without sync loses, or it proves nothing.
#[test]
fn mutation_without_sync_is_caught() {
    let tally = explore(3, 64, WithoutSync);
    assert!(tally.lost > 0, "{tally:?}");
}

#[test]
fn mutation_without_cutting_is_caught() {
    let tally = explore(3, 64, WithoutCutting);
    assert!(tally.mistaken_for_damage + tally.lost > 0, "{tally:?}");
}

#[test]
fn mutation_without_keeping_aside_is_caught() {
    let tally = explore(3, 64, WithoutAside);
    assert!(tally.torn_bytes_gone > 0, "{tally:?}");
    assert_eq!(tally.lost + tally.false_records, 0, "{tally:?}");
}

/// A program killed between write and sync leaves a record that only memory holds.
/// Once the next program has shown it, it must survive a power cut.
#[test]
fn what_opening_shows_survives_a_power_cut() {
    let disk = SimStorage::empty();
    let mut journal = Journal::create(disk.handle(), &begun()).unwrap();
    disk.cut_at(1); // the sync of the next record
    journal.append(&reading(1)).unwrap_err();
    let killed = disk.live();
    assert!(disk.durable().len() < killed.len());

    let disk = disk.with_power_back();
    let opened = Journal::<Record, _>::open(disk.handle()).unwrap();
    assert_eq!(only_records(&opened.records), records(2));
    assert_eq!(disk.durable(), killed);
}

/// Bytes taken one at a time, with signals in between, are still one whole line.
#[test]
fn short_writes_and_interruptions_are_gone_on_with() {
    let disk = SimStorage::empty();
    disk.take_at_most(1);
    disk.interrupt_writes();
    assert_eq!(write_run(disk.handle(), &records(5)), 5);
    let contents = read::<Record>(&disk.handle()).unwrap();
    assert_eq!(only_records(&contents.entries), records(5));
    assert_eq!(disk.durable(), super::journal_of(&records(5)));
}

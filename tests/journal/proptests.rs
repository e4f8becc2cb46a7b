//! Bytes from anywhere, and runs of any kind.

use proptest::prelude::*;
use sayback::journal::{Journal, JournalError, read, verify};

use super::simulation::{Failure, Handle, SimStorage};
use super::{Record, begun, journal_of, only_records, reading, records};

fn open_never_panics_nor_drops(bytes: &[u8]) -> Result<(), TestCaseError> {
    let disk = SimStorage::holding(bytes);
    verify(&disk.handle(), None).unwrap();
    if Journal::<Record, _>::open(disk.handle()).is_ok() {
        // Every byte is in the journal or aside.
        prop_assert_eq!([disk.durable(), disk.aside().concat()].concat(), bytes);
    } else {
        prop_assert_eq!(disk.operations(), 0);
    }
    Ok(())
}

/// What can be done to a journal by hand.
#[derive(Debug, Clone)]
enum Mischief {
    Cut(usize),
    Delete(usize, usize),
    Insert(usize, Vec<u8>),
    Copy(usize, usize, usize),
}

fn mischief() -> impl Strategy<Value = Mischief> {
    let place = 0..2000_usize;
    prop_oneof![
        place.clone().prop_map(Mischief::Cut),
        (place.clone(), 1..300_usize).prop_map(|(at, count)| Mischief::Delete(at, count)),
        (place.clone(), prop::collection::vec(any::<u8>(), 1..20))
            .prop_map(|(at, bytes)| Mischief::Insert(at, bytes)),
        (place.clone(), 1..300_usize, place)
            .prop_map(|(from, count, to)| Mischief::Copy(from, count, to)),
    ]
}

fn do_it(bytes: &mut Vec<u8>, mischief: &Mischief) {
    let length = bytes.len();
    let inside = |at: usize| at.min(length);
    match mischief {
        Mischief::Cut(at) => bytes.truncate(*at),
        Mischief::Delete(at, count) => {
            bytes.drain(inside(*at)..inside(at + count));
        }
        Mischief::Insert(at, new) => {
            bytes.splice(inside(*at)..inside(*at), new.iter().copied());
        }
        Mischief::Copy(from, count, to) => {
            let copied = bytes[inside(*from)..inside(from + count)].to_vec();
            bytes.splice(inside(*to)..inside(*to), copied);
        }
    }
}

#[derive(Debug, Clone)]
enum Step {
    Append,
    /// Close and open again.
    Reopen,
    /// The program dies in the n-th operation from now; memory stays.
    KillAt(usize),
    /// The power goes off in the n-th operation from now; which image is left is
    /// drawn too.
    PowerOffAt(usize, prop::sample::Index),
    FailAt(usize, Failure),
}

fn step() -> impl Strategy<Value = Step> {
    let failure = prop_oneof![Just(Failure::Nothing), Just(Failure::HalfWritten)];
    prop_oneof![
        6 => Just(Step::Append),
        1 => Just(Step::Reopen),
        1 => (0..5_usize).prop_map(Step::KillAt),
        2 => (0..5_usize, any::<prop::sample::Index>()).prop_map(|(at, image)| Step::PowerOffAt(at, image)),
        1 => (0..5_usize, failure).prop_map(|(at, failure)| Step::FailAt(at, failure)),
    ]
}

/// One run on one disk, and what was promised in it.
struct World {
    disk: SimStorage,
    journal: Option<Journal<Record, Handle>>,
    /// Shown or called saved, in order.
    promised: Vec<Record>,
    /// Entered last and not called saved: may be there.
    in_flight: Option<Record>,
    next: u64,
}

impl World {
    fn open(&mut self) -> Result<(), TestCaseError> {
        self.journal = None;
        for _ in 0..10 {
            match Journal::<Record, _>::open(self.disk.handle()) {
                Ok(opened) => {
                    let found = only_records(&opened.records);
                    let mut attempted = self.promised.clone();
                    attempted.extend(self.in_flight.take());
                    prop_assert!(found.len() >= self.promised.len(), "lost");
                    prop_assert!(attempted.starts_with(&found), "false record");
                    self.promised = found;
                    self.journal = Some(opened.journal);
                    return Ok(());
                }
                Err(JournalError::Storage(_)) => self.disk.repair(),
                Err(other) => prop_assert!(false, "{other}"),
            }
        }
        prop_assert!(false, "it never opens");
        Ok(())
    }

    /// Enters records until the journal gives in, at most `count`.
    fn append(&mut self, count: usize) {
        let Some(journal) = &mut self.journal else {
            return;
        };
        for _ in 0..count {
            let record = reading(self.next);
            self.next += 1;
            if journal.append(&record).is_ok() {
                self.promised.push(record);
            } else {
                if journal.is_poisoned() {
                    self.in_flight = Some(record);
                }
                return;
            }
        }
    }

    fn take(&mut self, step: &Step) -> Result<(), TestCaseError> {
        match step {
            Step::Append => {
                self.append(1);
                if self.journal.as_ref().is_some_and(Journal::is_poisoned) {
                    self.disk.repair();
                    self.open()?;
                }
            }
            Step::Reopen => self.open()?,
            Step::FailAt(at, failure) => self.disk.fail_at(*at, *failure, false),
            Step::KillAt(at) => {
                self.disk.cut_at(*at);
                self.append(3);
                self.disk = self.disk.clone().with_power_back();
                self.open()?;
            }
            Step::PowerOffAt(at, image) => {
                self.disk.cut_at(*at);
                self.append(3);
                let images = self.disk.images(1);
                let left = images.iter().nth(image.index(images.len())).unwrap();
                self.disk = SimStorage::holding(left);
                self.open()?;
            }
        }
        Ok(())
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: if super::long() { 20_000 } else { 300 }, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_open_or_are_refused(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        open_never_panics_nor_drops(&bytes)?;
    }

    #[test]
    fn any_text_like_a_journal_opens_or_is_refused(text in "([0-9a-f]{8} [0-9]{1,3} [0-9] (\\{\"(format|prev)\":[0-9a-z\"{},:]{0,90})?\n?){0,4}") {
        open_never_panics_nor_drops(text.as_bytes())?;
    }

    #[test]
    fn any_mischief_shows(all in prop::collection::vec(mischief(), 1..4)) {
        let run = records(6);
        let bytes = journal_of(&run);
        let mut changed = bytes.clone();
        for mischief in &all {
            do_it(&mut changed, mischief);
        }
        open_never_panics_nor_drops(&changed)?;
        match read::<Record>(&SimStorage::holding(&changed).handle()) {
            Ok(contents) => prop_assert!(run.starts_with(&only_records(&contents.entries))),
            Err(JournalError::Damaged { whole, .. }) => prop_assert!(run.starts_with(&only_records(&whole))),
            Err(JournalError::NotBegun { .. }) => {}
            Err(other) => prop_assert!(false, "{other}"),
        }
    }

    #[test]
    fn any_run_keeps_what_it_promised(steps in prop::collection::vec(step(), 1..25)) {
        let disk = SimStorage::empty();
        let journal = Journal::create(disk.handle(), &begun()).unwrap();
        let mut world = World { disk, journal: Some(journal), promised: vec![begun()], in_flight: None, next: 1 };
        for step in &steps {
            world.take(step)?;
        }
        world.disk.repair();
        world.open()?;
    }
}

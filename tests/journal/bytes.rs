//! What is done to the bytes of a journal: cut short, flipped, zeroed, rewritten.

use std::str::FromStr as _;

use sayback::journal::{
    ChainHash, DamageReason, Ending, Entry, FORMAT, FaultKind, Journal, JournalError, LONGEST_LINE,
    LineFault, Seq, read, verify,
};

use super::simulation::SimStorage;
use super::{Record, begun, journal_of, long, only_records, reading, records};

fn whole(bytes: &[u8]) -> Vec<Entry<Record>> {
    let contents = read::<Record>(&SimStorage::holding(bytes).handle()).unwrap();
    assert!(contents.torn.is_empty());
    contents.entries
}

/// Where each line ends.
fn line_ends(bytes: &[u8]) -> Vec<usize> {
    bytes
        .iter()
        .enumerate()
        .filter(|(_, byte)| **byte == b'\n')
        .map(|(index, _)| index + 1)
        .collect()
}

/// A line made by hand from the description of the form, not by the code under
/// test: CRC-32 bit by bit (polynomial 0xEDB88320, as in RFC 1952, section 8).
fn line_by_hand(seq: &str, json: &str) -> String {
    let text = format!("{seq} {json}");
    let mut crc = u32::MAX;
    for byte in text.bytes() {
        crc ^= u32::from(byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 {
                (crc >> 1) ^ 0xEDB8_8320
            } else {
                crc >> 1
            };
        }
    }
    format!("{:08x} {} {text}\n", !crc, text.len())
}

#[test]
fn the_form_is_as_described() {
    // BLAKE3 of nothing: first case of the published test vectors (input_len 0).
    let nothing = "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262";
    let first = line_by_hand(
        "0",
        &format!(
            r#"{{"format":{FORMAT},"prev":"{nothing}","record":{{"begun":{{"program":"sayback 0.1.0","job":"potentiometer-check"}}}}}}"#
        ),
    );
    let hash = blake3::hash(first.as_bytes()).to_hex();
    let second = line_by_hand(
        "1",
        &format!(
            r#"{{"prev":"{hash}","record":{{"reading":{{"step":"point-1","value":"1.01","unit":"mA"}}}}}}"#
        ),
    );
    let written = String::from_utf8(journal_of(&records(2))).unwrap();
    assert_eq!(written, format!("{first}{second}"));

    // The check value of this CRC in the catalogue of parametrised CRC algorithms.
    assert_eq!(crc32fast::hash(b"123456789"), 0xCBF4_3926);
    let entries = whole(written.as_bytes());
    assert_eq!(entries[1].seq, Seq(1));
    assert_eq!(
        entries[1].hash,
        ChainHash::from_str(&blake3::hash(second.as_bytes()).to_hex()).unwrap()
    );
}

#[test]
fn cut_after_each_byte_leaves_the_whole_records() {
    let run = records(if long() { 40 } else { 12 });
    let bytes = journal_of(&run);
    let ends = line_ends(&bytes);
    for length in 0..=bytes.len() {
        let disk = SimStorage::holding(&bytes[..length]);
        let count = ends.iter().filter(|end| **end <= length).count();
        match Journal::<Record, _>::open(disk.handle()) {
            Err(JournalError::NotBegun { .. }) => assert_eq!(count, 0),
            Err(other) => panic!("{length}: {other}"),
            Ok(mut opened) => {
                assert_eq!(only_records(&opened.records), run[..count]);
                let good = ends[count - 1];
                if good == length {
                    assert_eq!(opened.ending, Ending::Clean);
                } else {
                    assert_eq!(disk.aside(), [bytes[good..length].to_vec()]);
                }
                // Entered again, it is as if nothing had happened.
                for record in &run[count..] {
                    opened.journal.append(record).unwrap();
                }
                assert_eq!(disk.durable(), bytes);
            }
        }
    }
}

/// The length reached the disk, the data did not.
#[test]
fn cut_after_each_byte_and_zeros_behind_it() {
    let run = records(if long() { 40 } else { 8 });
    let bytes = journal_of(&run);
    let ends = line_ends(&bytes);
    for length in ends[0]..bytes.len() {
        let image = [&bytes[..length], &[0; 64][..]].concat();
        let count = ends.iter().filter(|end| **end <= length).count();
        let disk = SimStorage::holding(&image);
        let opened = Journal::<Record, _>::open(disk.handle()).unwrap();
        assert_eq!(only_records(&opened.records), run[..count]);
        assert_eq!(disk.aside(), [image[ends[count - 1]..].to_vec()]);
        assert_eq!(disk.durable(), bytes[..ends[count - 1]]);
    }
}

/// No flip is unnoticed, none makes a record that was not written, and after none
/// is anything cut away: a flip does not look like a line cut short.
#[test]
fn each_bit_flipped_is_noticed() {
    let run = records(if long() { 40 } else { 8 });
    let bytes = journal_of(&run);
    let kept = whole(&bytes).last().map(|last| last.hash);
    for bit in 0..bytes.len() * 8 {
        let mut flipped = bytes.clone();
        flipped[bit / 8] ^= 1 << (bit % 8);
        let disk = SimStorage::holding(&flipped);
        let error = Journal::<Record, _>::open(disk.handle()).unwrap_err();
        let JournalError::Damaged {
            whole,
            at_line,
            later,
            ..
        } = error
        else {
            panic!("bit {bit}: {error}")
        };
        let line = usize::try_from(at_line).unwrap();
        assert_eq!(only_records(&whole), run[..line - 1]);
        // Nothing after the damage is lost either. A newline belongs to two lines.
        assert!(run.len() - whole.len() - later.len() <= 2);
        assert_eq!(only_records(&later), run[run.len() - later.len()..]);
        assert_eq!(disk.operations(), 0);
        if bit % 7 == 0 {
            assert!(!verify(&disk.handle(), None).unwrap().is_empty());
            assert!(!verify(&disk.handle(), kept).unwrap().is_empty());
        }
    }
}

#[test]
fn damaged_journals_are_not_touched() {
    let bytes = journal_of(&records(6));
    let mut flipped = bytes.clone();
    let third = line_ends(&bytes)[2];
    flipped[third - 5] ^= 1;
    // A torn end on top of it must not be cut away either.
    flipped.extend_from_slice(b"0123");
    let disk = SimStorage::holding(&flipped);
    let error = Journal::<Record, _>::open(disk.handle()).unwrap_err();
    let JournalError::Damaged {
        whole,
        at_line,
        why,
        later,
        ..
    } = error
    else {
        panic!("{error}")
    };
    assert_eq!((whole.len(), at_line, later.len()), (2, 3, 3));
    assert!(matches!(
        why,
        DamageReason::Line(LineFault::CheckSum { .. })
    ));
    assert_eq!(disk.operations(), 0);
    assert_eq!(disk.live(), flipped);
}

/// A bad line in the middle is damage even when no newline stands at the end:
/// whole records after it would otherwise be taken for half of one.
#[test]
fn whole_records_after_a_bad_line_are_never_moved_aside() {
    let bytes = journal_of(&records(5));
    for cut in 1..40 {
        let mut image = bytes[..bytes.len() - cut].to_vec();
        image[line_ends(&bytes)[1] + 20] ^= 1;
        let disk = SimStorage::holding(&image);
        let error = Journal::<Record, _>::open(disk.handle()).unwrap_err();
        assert!(
            matches!(error, JournalError::Damaged { at_line: 3, .. }),
            "{error}"
        );
        assert_eq!(disk.operations(), 0);
    }
}

fn verify_words(bytes: &[u8], kept: Option<ChainHash>) -> Vec<String> {
    verify(&SimStorage::holding(bytes).handle(), kept)
        .unwrap()
        .iter()
        .map(ToString::to_string)
        .collect()
}

/// Someone changes a value and makes the check sum fit: only the chain shows it.
#[test]
fn a_changed_value_with_a_new_check_sum_shows() {
    let text = String::from_utf8(journal_of(&records(5))).unwrap();
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let body = lines[2].splitn(4, ' ').nth(3).unwrap().trim_end();
    let forged = line_by_hand("2", &body.replace("2.02", "2.00"));
    assert_ne!(forged, lines[2]);
    let changed = text.replace(lines[2], &forged);

    assert_eq!(verify_words(text.as_bytes(), None), [""; 0]);
    assert_eq!(
        verify_words(changed.as_bytes(), None),
        [
            "line 4: the line before it, line 3, is not the one that stood there when it was written: one of the two was changed, or lines between them were taken away"
        ]
    );
    let error = read::<Record>(&SimStorage::holding(changed.as_bytes()).handle()).unwrap_err();
    assert!(
        matches!(
            error,
            JournalError::Damaged {
                at_line: 4,
                why: DamageReason::Chain,
                ..
            }
        ),
        "{error}"
    );
}

/// The last line, and lines taken from the end, show only against a hash that was
/// kept elsewhere.
#[test]
fn the_kept_hash_shows_what_was_done_to_the_end() {
    let text = String::from_utf8(journal_of(&records(5))).unwrap();
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let kept = whole(text.as_bytes()).last().map(|last| last.hash);
    assert_eq!(verify_words(text.as_bytes(), kept), [""; 0]);

    let shorter = lines[..4].concat();
    assert_eq!(verify_words(shorter.as_bytes(), None), [""; 0]);
    let faults = verify(&SimStorage::holding(shorter.as_bytes()).handle(), kept).unwrap();
    assert!(matches!(faults[..], [ref fault] if fault.line == 4
        && matches!(fault.kind, FaultKind::End { .. })));
}

#[test]
fn records_taken_away_doubled_or_exchanged_show() {
    let text = String::from_utf8(journal_of(&records(6))).unwrap();
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let taken = [&lines[..2], &lines[4..]].concat().concat();
    let doubled = [&lines[..3], &lines[2..]].concat().concat();
    let exchanged = [lines[0], lines[2], lines[1], lines[3], lines[4], lines[5]].concat();
    let headless = lines[1..].concat();
    for (bytes, line, words) in [
        (
            &taken,
            3,
            "it is record 4, and record 2 should stand here: 2 records are missing",
        ),
        (
            &doubled,
            4,
            "it is record 2, and record 3 should stand here: it was copied or moved",
        ),
        (
            &exchanged,
            2,
            "it is record 2, and record 1 should stand here: 1 record is missing",
        ),
        (
            &headless,
            1,
            "it is record 1, and record 0 should stand here: 1 record is missing",
        ),
    ] {
        let said = verify_words(bytes.as_bytes(), None);
        assert_eq!(said[0], format!("line {line}: {words}"));
        let disk = SimStorage::holding(bytes.as_bytes());
        let error = Journal::<Record, _>::open(disk.handle()).unwrap_err();
        assert!(matches!(error, JournalError::Damaged { at_line, .. } if at_line == line));
        assert_eq!(disk.live(), bytes.as_bytes());
    }
}

/// One line has one spelling.
#[test]
fn other_spellings_of_a_line_are_refused() {
    let text = String::from_utf8(journal_of(&records(2))).unwrap();
    let (first, second) = text.split_at(line_ends(text.as_bytes())[0]);
    let parts: Vec<&str> = second.trim_end().splitn(4, ' ').collect();
    let [crc, length, _, json] = parts[..] else {
        panic!("{second}")
    };
    let spaced = json.replacen("{\"prev\":", "{ \"prev\":", 1);
    let upper_hash = json.replacen(&json[9..73], &json[9..73].to_uppercase(), 1);
    for other in [
        format!("{} {length} 1 {json}\n", crc.to_uppercase()),
        format!("{crc} 0{length} 1 {json}\n"),
        format!("{crc} +{length} 1 {json}\n"),
        format!("{crc}  {length} 1 {json}\n"),
        format!("{crc} {length} 1 {json}\r\n"),
        line_by_hand("01", json),
        line_by_hand("+1", json),
        line_by_hand("1", &spaced),
        line_by_hand("1", &upper_hash),
        line_by_hand("18446744073709551616", json),
    ] {
        if other == second {
            continue; // a check sum without letters has no other spelling
        }
        let bytes = format!("{first}{other}");
        let error = read::<Record>(&SimStorage::holding(bytes.as_bytes()).handle()).unwrap_err();
        assert!(
            matches!(error, JournalError::Damaged { at_line: 2, .. }),
            "{other}"
        );
    }
}

#[test]
fn a_record_that_is_not_known_is_not_passed_over() {
    let text = String::from_utf8(journal_of(&records(2))).unwrap();
    let first = &text[..line_ends(text.as_bytes())[0]];
    let hash = blake3::hash(first.as_bytes()).to_hex();
    let strange = line_by_hand(
        "1",
        &format!(r#"{{"prev":"{hash}","record":{{"torque":"7"}}}}"#),
    );
    let bytes = format!("{first}{strange}");
    let disk = SimStorage::holding(bytes.as_bytes());
    let error = Journal::<Record, _>::open(disk.handle()).unwrap_err();
    assert!(
        matches!(
            &error,
            JournalError::Damaged { at_line: 2, why: DamageReason::Record(why), .. }
                if why.contains("torque")
        ),
        "{error}"
    );
    // It is a journal all the same: nothing in it was changed.
    assert_eq!(verify(&disk.handle(), None).unwrap(), []);
}

#[test]
fn the_longest_line_is_taken_and_a_longer_one_refused() {
    let disk = SimStorage::empty();
    let mut journal = Journal::create(disk.handle(), &begun()).unwrap();
    let filled = |bytes: usize| Record::Reading {
        step: "x".repeat(bytes),
        value: "1".to_owned(),
        unit: "mA".to_owned(),
    };
    // The frame of a line of this size: check sum, length (7 digits), seq and JSON.
    let before = disk.live().len();
    journal.append(&filled(1_000_000)).unwrap();
    let frame = disk.live().len() - before - 1_000_000;
    let most = LONGEST_LINE - frame;
    journal.append(&filled(most)).unwrap();
    let error = journal.append(&filled(most + 1)).unwrap_err();
    assert_eq!(
        error.to_string(),
        "NOT SAVED: the record takes 1048577 bytes, and 1048576 is the most. Enter it in smaller parts"
    );
    assert!(!journal.is_poisoned());
    journal.append(&reading(3)).unwrap();
    assert_eq!(whole(&disk.durable()).len(), 4);
}

#[test]
fn a_line_too_long_is_damage_not_memory() {
    let good = journal_of(&records(2));
    for filler in [b'x', 0] {
        for end in [&b"\n"[..], b""] {
            let long_line = [&good[..], &vec![filler; 3 * LONGEST_LINE], end].concat();
            let disk = SimStorage::holding(&long_line);
            let error = Journal::<Record, _>::open(disk.handle()).unwrap_err();
            assert!(
                matches!(
                    &error,
                    JournalError::Damaged { at_line: 3, why: DamageReason::Line(LineFault::TooLong), whole, .. }
                        if whole.len() == 2
                ),
                "{error}"
            );
            assert_eq!(disk.operations(), 0);
        }
    }
}

/// What a lost block leaves is a cut, wherever the block lies in the line.
#[test]
fn a_lost_block_in_the_last_line_is_a_cut() {
    let mut run = records(4);
    run.push(Record::Reading {
        step: "x".repeat(1500),
        value: "1".to_owned(),
        unit: "mA".to_owned(),
    });
    let bytes = journal_of(&run);
    let start = line_ends(&bytes)[3];
    let mut cuts = 0;
    for block in (0..bytes.len()).step_by(512) {
        let lost = block.max(start)..(block + 512).min(bytes.len());
        if lost.is_empty() {
            continue;
        }
        let mut image = bytes.clone();
        image[lost].fill(0);
        let disk = SimStorage::holding(&image);
        let opened = Journal::<Record, _>::open(disk.handle()).unwrap();
        assert_eq!(only_records(&opened.records), run[..4]);
        assert_eq!(disk.aside(), [image[start..].to_vec()]);
        cuts += 1;
    }
    assert!(cuts >= 3);
}

//! A long session of the program itself: memory and open files stay as they are.

use std::io::Write;
use std::process::{Command, Stdio};
use std::time::Duration;

use super::sheet;

/// Memory in use in KiB (proc(5), status), and how many files are open.
fn held(id: u32) -> (u64, usize) {
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:"));
    let memory = line.unwrap().split_whitespace().nth(1).unwrap();
    let files = std::fs::read_dir(format!("/proc/{id}/fd")).unwrap().count();
    (memory.parse().unwrap(), files)
}

#[test]
fn twenty_thousand_lines_later_it_holds_no_more_than_before() {
    let runs = tempfile::tempdir().unwrap();
    let shown = runs.path().join("shown");
    let mut child = Command::new(env!("CARGO_BIN_EXE_sayback"))
        .args(["run", "centre-potentiometer", "--keypad", "--plain"])
        .arg("--sheet")
        .arg(sheet())
        .arg("--runs")
        .arg(runs.path().join("runs"))
        .stdin(Stdio::piped())
        .stdout(std::fs::File::create(&shown).unwrap())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut keys = child.stdin.take().unwrap();
    // Each pair opens the menu and leaves it, so that there is something new to show each time.
    let mut type_pairs = |count: usize| {
        let before = std::fs::metadata(&shown).unwrap().len();
        for _ in 0..count {
            writeln!(keys, "/\n0").unwrap();
        }
        keys.flush().unwrap();
        // The pipe holds some of it: wait until nothing more is shown.
        let mut last = before;
        for _ in 0..600 {
            std::thread::sleep(Duration::from_millis(100));
            let now = std::fs::metadata(&shown).unwrap().len();
            if now == last && now > before {
                return now - before;
            }
            last = now;
        }
        panic!("it does not come to rest");
    };
    let a_thousand = type_pairs(1_000);
    let before = held(child.id());
    assert!(type_pairs(9_000) >= 8 * a_thousand);
    let after = held(child.id());
    drop(keys);
    assert_eq!(child.wait().unwrap().code(), Some(1));
    let grown = after.0.saturating_sub(before.0);
    println!(
        "memory {} KiB, then {} KiB; files {}",
        before.0, after.0, after.1
    );
    assert!(grown < 512, "{before:?} {after:?}");
    assert_eq!(before.1, after.1);
}

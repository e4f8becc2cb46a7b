//! A route as a person works it off.

use std::path::{Path, PathBuf};
use std::process::Output;

use super::{sayback, text};

/// A week of three actuators in a folder of its own, with a short job and the sheet of a meter.
struct Week {
    folder: tempfile::TempDir,
}

const METER: &str = "[plate]\nby = \"KD\"\nmeter-id = \"M7\"\nmeter-due = \"2099-02\"\nohm-percent = \"0.5\"\nohm-counts = \"2\"\n\
    ohm-resolution = \"0.1\"\ncurrent-percent = \"0.2\"\ncurrent-counts = \"2\"\ncurrent-resolution = \"0.01\"\n\
    resistor = \"499.0\"\nresistor-tolerance = \"0.1\"\nreference = \"12.00\"\nreference-tolerance = \"0.1\"\n";

impl Week {
    fn new(table: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(
            folder.path().join("short-check.toml"),
            include_str!("route-job.toml"),
        )
        .unwrap();
        std::fs::write(folder.path().join("meter.toml"), METER).unwrap();
        let week = Self { folder };
        week.write(table);
        week
    }

    fn write(&self, table: &str) {
        let table = table.replace("JOB", "short-check.toml");
        std::fs::write(self.route(), table).unwrap();
    }

    fn route(&self) -> PathBuf {
        self.folder.path().join("week.csv")
    }

    fn runs(&self) -> PathBuf {
        self.folder.path().join("runs")
    }

    fn work(&self, keys: &str) -> Output {
        sayback()
            .arg("route")
            .arg(self.route())
            .arg("--meter")
            .arg(self.folder.path().join("meter.toml"))
            .args(["--keypad", "--plain", "--runs"])
            .arg(self.runs())
            .write_stdin(keys)
            .output()
            .unwrap()
    }

    fn list(&self) -> String {
        let output = sayback()
            .arg("route")
            .arg(self.route())
            .args(["--list", "--runs"])
            .arg(self.runs())
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(0), "{}", text(&output));
        text(&output)
    }

    /// The state of one actuator, without the name of its run and the time.
    fn state(&self, tag: &str) -> String {
        let list = self.list();
        let line = list
            .lines()
            .find(|line| line.contains(&format!(" {tag},")))
            .unwrap_or_else(|| panic!("{tag} is not in {list}"));
        let state = line.split_once(": ").unwrap().1;
        state.split(" (20").next().unwrap().to_owned()
    }

    fn run_of(&self, tag: &str) -> PathBuf {
        self.folders()
            .into_iter()
            .find(|run| journal(run).contains(&format!("\"tag\":{{\"text\":\"{tag}\"}}")))
            .unwrap()
    }

    fn folders(&self) -> Vec<PathBuf> {
        let mut all: Vec<PathBuf> = std::fs::read_dir(self.runs())
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .collect();
        all.sort();
        all
    }
}

fn journal(run: &Path) -> String {
    std::fs::read_to_string(run.join("journal.txt")).unwrap()
}

const TABLE: &str = "tag;job;pot-nominal;ohm-meter-id;critical;note\nFV-118;JOB;1000;M7;;\nFV-119;JOB;1000;M7;yes;ladder\nFV-120;JOB;500;M7;;\n";

/// A good check of the meter; the keys of one job.
const GOOD_CHECK: &str = "done\n0.2\n499.1\n12.00\n";

#[test]
fn three_actuators_one_interrupted_one_waiting_one_refused() {
    let week = Week::new(TABLE);
    assert!(
        week.list().contains("3 of 3 left: 3 not started."),
        "{}",
        week.list()
    );
    // Next is the critical one; the meter first; then two readings, and the keys are gone.
    let output = week.work(&format!("1\n1\n{GOOD_CHECK}yes\n1002.5\n501.0\n"));
    assert_eq!(output.status.code(), Some(1), "{}", text(&output));
    assert!(
        text(&output).contains("Next is FV-119, critical, not started."),
        "{}",
        text(&output)
    );
    assert_eq!(week.state("FV-119"), "under way, at: Wiper to B");
    // The nameplate came from the route, and was not asked for; the mark and the copy are there.
    let run = week.run_of("FV-119");
    assert!(
        journal(&run).contains("\"route\":{\"id\":\"week\""),
        "{}",
        journal(&run)
    );
    assert_eq!(
        std::fs::read(run.join("route.csv")).unwrap(),
        std::fs::read(week.route()).unwrap()
    );
    assert!(
        !text(&output).contains("Spell the tag of the actuator"),
        "{}",
        text(&output)
    );

    // After the battery change: next is what is under way, in the exact step.
    let output = week.work("next\n501.5\ndone\n501.2\n/\n9\n");
    assert!(
        text(&output).contains("Next is FV-119, critical, under way, at: Wiper to B."),
        "{}",
        text(&output)
    );
    let after = text(&output);
    let resumed = after.split("Next is FV-119").nth(1).unwrap();
    assert!(!resumed.contains("Resistance A to B?"), "{after}");
    assert_eq!(week.state("FV-119"), "done");
    assert!(
        week.folders()
            .iter()
            .filter(|run| run.to_string_lossy().ends_with("short-check"))
            .count()
            == 1
    );

    // By tag without its dash: it waits for a part, with as found taken. Then one by its number: no access.
    let output =
        week.work("2\nfv118\nyes\n980\n490\n490\n/\n8\nyes\n5\n2\n3\n/\n8\nyes\n2\n/\n9\n");
    assert_eq!(
        week.state("FV-118"),
        "waiting for a part",
        "{}",
        text(&output)
    );
    assert_eq!(
        week.state("FV-120"),
        "not done: no access",
        "{}",
        text(&output)
    );
    assert!(
        week.list()
            .contains("1 of 3 left: 1 waiting for a part, 1 done, 1 not done."),
        "{}",
        week.list()
    );
    // What each was told is its own: no reading went from one to another.
    // The reading as a journal writes it: a hash may hold those digits by chance.
    assert!(journal(&week.run_of("FV-118")).contains("\"980\""));
    assert!(!journal(&week.run_of("FV-120")).contains("\"980\""));
}

#[test]
fn what_waits_for_a_part_in_an_open_run_goes_on_in_that_run() {
    let week = Week::new(TABLE);
    let output = week.work(&format!(
        "1\n1\n{GOOD_CHECK}yes\n1002.5\n/\n3\n5\n/\n9\n/\n9\n"
    ));
    assert_eq!(
        week.state("FV-119"),
        "waiting for a part, at: Wiper to B",
        "{}",
        text(&output)
    );
    // Not suggested, but chosen it goes on where it stands.
    assert!(week.list().contains("next: FV-118"), "{}", week.list());
    week.work("2\n2\n501.5\n");
    assert_eq!(week.state("FV-119"), "under way, at: Centre it");
}

#[test]
fn a_failed_check_at_the_end_flags_what_was_read_since_the_last_good_one() {
    let week = Week::new(TABLE);
    let job = |a: &str| format!("yes\n1002.5\n{a}\n501.5\ndone\n501.2\n");
    let output = week.work(&format!(
        "1\n1\n{GOOD_CHECK}{}1\n{}5\n1\ndone\n0.2\n512.4\nnext\n12.00\ndone\n",
        job("501.0"),
        job("502.0")
    ));
    assert!(
        text(&output).contains("Readings were taken since the last meter check"),
        "{}",
        text(&output)
    );
    let list = week.list();
    let doubts: Vec<&str> = list
        .lines()
        .filter(|line| line.contains("IN DOUBT"))
        .collect();
    assert_eq!(doubts.len(), 2, "{list}");
    assert!(
        doubts[0].contains("meter M7 failed its check of")
            && doubts[0].contains("Ohm range: outside"),
        "{list}"
    );
    // The records of the two say so as well.
    for tag in ["FV-119", "FV-118"] {
        let json = std::fs::read_to_string(week.run_of(tag).join("record.json")).unwrap();
        assert!(json.contains("meter M7 failed its check"), "{tag}");
    }
}

#[test]
fn without_a_check_the_day_begins_with_a_question_and_nothing_is_blocked() {
    let week = Week::new(TABLE);
    let output = week.work("1\n2\nyes\n1002.5\n501.0\n501.5\ndone\n501.2\n5\n2\n");
    assert!(
        text(&output).contains("No meter was checked today"),
        "{}",
        text(&output)
    );
    assert_eq!(week.state("FV-119"), "done");
    assert!(
        week.list()
            .contains("IN DOUBT: meter M7 has no good check of"),
        "{}",
        week.list()
    );
}

#[test]
fn three_equal_sets_of_readings_are_questioned_and_the_answer_is_on_the_record() {
    let job = "yes\n1002.5\n501.0\n501.5\ndone\n501.2\n";
    let question = "3 jobs in a row, FV-119, FV-118, FV-120, have exactly the same 4 readings. Was each of them measured?";
    for (answer, listed, weight, what) in [
        (
            "1\n",
            "Answered: each was measured.",
            "watch",
            "The readings are exactly those of the jobs before",
        ),
        (
            "2\n",
            "Answered: not each was measured.",
            "bad",
            "Not each reading was measured, as was said",
        ),
        // Nobody answered: that is no yes, and nothing is written.
        ("", "Not answered.", "", ""),
    ] {
        let week = Week::new(TABLE);
        let output = week.work(&format!("1\n1\n{GOOD_CHECK}{job}1\n{job}1\n{job}{answer}"));
        assert!(text(&output).contains(question), "{}", text(&output));
        let list = week.list();
        assert!(list.contains(&format!("{question} {listed}")), "{list}");
        assert_eq!(week.state("FV-120"), "done");
        let run = week.run_of("FV-120");
        let page = std::fs::read_to_string(run.join("record.json")).unwrap();
        let record: serde_json::Value = serde_json::from_str(&page).unwrap();
        assert_eq!(record["head"]["state"], "complete");
        let told = record["exceptions"]
            .as_array()
            .unwrap()
            .iter()
            .find(|one| one["what"] == what);
        assert_eq!(told.is_some(), !what.is_empty(), "{page}");
        if let Some(told) = told {
            assert_eq!(told["weight"], weight);
            let detail = told["detail"].as_str().unwrap();
            assert!(detail.contains(&run.file_name().unwrap().to_string_lossy()[..]));
        }
        // The journal is whole with the answer behind its end, and the job is not open again.
        let verified = sayback().arg("verify").arg(&run).output().unwrap();
        assert_eq!(verified.status.code(), Some(0), "{}", text(&verified));
        let again = week.work("5\n2\n");
        assert!(!text(&again).contains("Say one:"), "{}", text(&again));
    }
    // One digit more is another reading.
    let week = Week::new(TABLE);
    let other = job.replace("501.2", "501.20");
    week.work(&format!("1\n1\n{GOOD_CHECK}{job}1\n{job}1\n{other}"));
    assert!(
        !week.list().contains("Was each of them measured"),
        "{}",
        week.list()
    );
}

#[test]
fn a_route_that_changed_under_way_is_told_and_nothing_is_lost() {
    let week = Week::new(TABLE);
    week.work("1\n2\nyes\n1002.5\n");
    week.write("tag;job;pot-nominal;ohm-meter-id\nFV-118;JOB;500;M7\nFV-121;JOB;1000;M7\n");
    let list = week.list();
    for told in [
        "route changed: FV-118 (short-check): pot-nominal was 1000, is 500",
        "route changed: FV-121 (short-check) was added",
        "route changed: FV-119 (short-check) was taken out; what was kept of it stays",
        "no longer on the route: FV-119, short-check",
    ] {
        assert!(list.contains(told), "{told}: {list}");
    }
    let output = week.work("/\n9\n");
    assert!(
        text(&output).contains("The route has changed since its last run began. FV-118"),
        "{}",
        text(&output)
    );
}

#[test]
fn wrong_choices_begin_nothing() {
    let week = Week::new(TABLE);
    let output = week.work("2\nFV-999\n2\n44\n3\n");
    let told = text(&output);
    assert!(
        told.contains("FV-999 is not on this route. Nothing was begun."),
        "{told}"
    );
    assert!(told.contains("44 is not on this route"), "{told}");
    assert!(
        told.contains("3 of 3 left: 3 not started. 1 FV-118, 2 FV-119, 3 FV-120."),
        "{told}"
    );
    assert!(!week.runs().exists() || week.folders().is_empty());
}

#[test]
fn a_damaged_run_is_told_and_the_others_go_on() {
    let week = Week::new(TABLE);
    week.work("1\n2\nyes\n1002.5\n501.0\n");
    let run = week.run_of("FV-119");
    let changed = journal(&run).replace("1002.5", "1002.6");
    std::fs::write(run.join("journal.txt"), changed).unwrap();
    assert!(
        week.state("FV-119").starts_with("cannot be read: DAMAGED"),
        "{}",
        week.state("FV-119")
    );
    assert!(week.list().contains("next: FV-118"));
}

/// The route that the README names.
#[test]
fn the_route_of_the_demo_lists_its_three_actuators() {
    let folder = tempfile::tempdir().unwrap();
    let output = sayback()
        .args(["route", "audio-fixtures/demo-route.csv", "--list", "--runs"])
        .arg(folder.path())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    for tag in ["FV-118", "FV-121", "TV-204"] {
        assert!(text(&output).contains(tag), "{}", text(&output));
    }
    assert!(text(&output).contains("3 of 3 left"), "{}", text(&output));
}

/// By voice alone: the list's second line, a tag by the spelling alphabet, and a stop before any job began.
#[cfg(feature = "voice")]
#[test]
fn an_actuator_is_chosen_by_voice_and_its_tag() {
    let folder = tempfile::tempdir().unwrap();
    let output = sayback()
        .args([
            "route",
            "audio-fixtures/demo-route.csv",
            "--fast",
            "--plain",
        ])
        .args(["--recording", "audio-fixtures/route.flac", "--runs"])
        .arg(folder.path())
        .output()
        .unwrap();
    let told = text(&output);
    for part in [
        "Right: by tag or number?",
        "Right: FV121?",
        "No meter was checked today.",
        "STOPPED",
        "3 of 3 left: 3 not started",
    ] {
        assert!(told.contains(part), "no {part} in {told}");
    }
    // Nothing that was said to a list is evidence of anything: no run was begun.
    let runs = std::fs::read_dir(folder.path()).unwrap().flatten();
    assert_eq!(runs.filter(|entry| entry.path().is_dir()).count(), 0);
}

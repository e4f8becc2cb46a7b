//! Routes.

#[cfg(feature = "voice")]
mod aloud;

use proptest::prelude::*;
use sayback::job::{Job, JobErrors, PlateValue, built_in, load};
use sayback::route::{Route, from_bytes};

/// Finds built-in jobs, as the program does; no files.
pub fn find(name: &str) -> Result<(String, Job), String> {
    let text = built_in::text(name).ok_or("the file cannot be read: there is none")?;
    let job = load::parse(text, name).map_err(|errors| errors.to_string())?;
    Ok((text.to_owned(), job))
}

fn read(name: &str, text: &str) -> Result<Route, JobErrors> {
    from_bytes(text.as_bytes(), name, &mut find)
}

pub fn good(name: &str, text: &str) -> Route {
    read(name, text).unwrap_or_else(|errors| panic!("{errors}"))
}

fn fails(name: &str, text: &str) -> String {
    let Err(told) = read(name, text) else {
        panic!("{text} was taken");
    };
    format!("{text}\n---\n{told}")
}

const TOML: &str = r#"format = 1
id = "week-48"
title = "Week 48, pump houses"
from = "2026-11-23"
job = "centre-potentiometer"
by = "K. Demo"

[plate]
ohm-meter-id = "M7"

[[actuator]]
tag = "FV-118"
area = "Pump house"
group = "cabinet 3"
critical = true
[actuator.plate]
pot-nominal = "1000"

[[actuator]]
tag = "fv-119"
job = "set-ends"
by = "T. Other"
note = "ladder wanted"
[actuator.plate]
stroke = "15"
"#;

#[test]
fn a_route_in_toml_gives_each_actuator_what_a_sheet_would() {
    let route = good("week.toml", TOML);
    assert_eq!(route.id, "week-48");
    assert_eq!(route.from.as_deref(), Some("2026-11-23"));
    let [first, second] = &route.items[..] else {
        panic!("{:?}", route.items)
    };
    assert_eq!(first.key(), ("FV-118", "centre-potentiometer"));
    assert_eq!((first.number, first.line), (1, 11));
    assert!(first.critical && !second.critical);
    assert_eq!(
        first.sheet.plate["pot-nominal"],
        PlateValue::Number(1000.into())
    );
    assert_eq!(
        first.sheet.plate["ohm-meter-id"],
        PlateValue::Text("M7".to_owned())
    );
    assert_eq!(first.sheet.by.as_deref(), Some("K. Demo"));
    assert_eq!(second.key(), ("FV-119", "set-ends"));
    assert_eq!(second.sheet.by.as_deref(), Some("T. Other"));
    assert_eq!(second.note.as_deref(), Some("ladder wanted"));
    // set-ends does not take what the other job does.
    assert!(!second.sheet.plate.contains_key("pot-nominal"));
}

const TABLE: &str = "Tag;Job;Area;Critical;Pot nominal;Limit centre-good;Limit centre-good source;#sap;plate by\n\
    FV-118;centre-potentiometer;\"Pump house; north\";yes;1000.00;1.5;order, page 2;77;KD\n\
    ;;;;;;;;\n\
    FV-119;centre-potentiometer;;;;;;78;\n";

#[test]
fn a_table_is_read_with_comma_semicolon_or_tab_mark_and_either_line_end() {
    let by_semicolon = good("Week 48.csv", TABLE);
    assert_eq!(
        (by_semicolon.id.as_str(), by_semicolon.title.as_str()),
        ("week-48", "Week 48")
    );
    let first = &by_semicolon.items[0];
    assert_eq!(first.area.as_deref(), Some("Pump house; north"));
    assert_eq!(by_semicolon.items[1].line, 4);
    let PlateValue::Number(nominal) = first.sheet.plate["pot-nominal"] else {
        panic!()
    };
    assert_eq!(nominal.to_string(), "1000.00");
    let limit = &first.sheet.limits["centre-good"];
    assert_eq!(
        (limit.value.to_string().as_str(), limit.source.as_str()),
        ("1.5", "order, page 2")
    );
    assert_eq!(first.sheet.plate["by"], PlateValue::Text("KD".to_owned()));
    for text in [
        TABLE.replace(';', "\t").replace("house\t", "house;"),
        TABLE
            .replace("order, page", "order page")
            .replace(';', ",")
            .replace("house,", "house;"),
        TABLE.replace('\n', "\r\n"),
        format!("\u{FEFF}{TABLE}"),
        TABLE.trim_end().to_owned(),
    ] {
        let other = good("Week 48.csv", &text);
        assert_eq!(
            other.items[0].area.as_deref(),
            Some("Pump house; north"),
            "{text}"
        );
        assert_eq!(other.items.len(), 2, "{text}");
        assert_eq!(other.items[0].sheet.plate, first.sheet.plate, "{text}");
    }
}

#[test]
fn a_jobs_own_file_can_be_on_the_route() {
    let text = built_in::text("centre-potentiometer")
        .unwrap()
        .replace("id = \"centre-potentiometer\"", "id = \"my-own\"");
    let mut own = |name: &str| {
        assert_eq!(name, "jobs/my-own.toml");
        load::parse(&text, name)
            .map(|job| (text.clone(), job))
            .map_err(|errors| errors.to_string())
    };
    let route = from_bytes(b"tag,job\nFV-1,jobs/my-own.toml\n", "week.csv", &mut own).unwrap();
    assert_eq!(route.items[0].key(), ("FV-1", "my-own"));
    assert_eq!(route.jobs["jobs/my-own.toml"].text, text);
}

#[test]
fn every_fault_of_a_table_is_told_with_line_column_and_fix() {
    let head = "tag;job;pot-nominal;gear-ratio\n";
    let cases = [
        "tags;job\nFV-1;set-ends\n".to_owned(),
        "tag;job;pot-nominel\nFV-1;centre-potentiometer;1000\n".to_owned(),
        "tag;tag;job\nFV-1;FV-1;set-ends\n".to_owned(),
        "tag;job;\nFV-1;set-ends;\n".to_owned(),
        "tag;job;Hersteller (neu)\nFV-1;set-ends;x\n".to_owned(),
        "tag;job,area\nFV-1;set-ends,north\n".to_owned(),
        "tag job\nFV-1 set-ends\n".to_owned(),
        format!("{head}FV-1;centre-potentiometer;4,5;3\n"),
        "tag,job,pot-nominal\nFV-1,centre-potentiometer,4,5\n".to_owned(),
        format!("{head}FV-1;centre-potentiometer;1000;3\nfv-1;centre-potentiometer;1000;3\n"),
        format!("{head}FV-1;centre-pot;1000;3\n"),
        format!("{head}FV-1;meter-check;;\n"),
        format!("{head}FV-1;mine.toml;;\n"),
        format!("{head}FV-1;;;\n;set-ends;;\n"),
        format!("{head}FV-1;set-ends;;3\nFV-2;centre-potentiometer;;\n"),
        format!("{head}FV 1;centre-potentiometer;;\n"),
        format!("{head}FV-1;centre-potentiometer;1000\n"),
        format!("{head}\"FV-1;centre-potentiometer;1000;3\nFV-2;centre-potentiometer;;\n"),
        format!("{head}FV-1;centre-potentiometer;1000;\u{202E}3\n"),
        format!("{head}FV-1;centre-potentiometer;1000;\u{7}3\n"),
        head.to_owned(),
        String::new(),
        " \n".to_owned(),
        "tag;job;critical\nFV-1;set-ends;perhaps\n".to_owned(),
        "tag;job;limit centre-good\nFV-1;centre-potentiometer;1\n".to_owned(),
        "tag;job;limit centre-good source\nFV-1;centre-potentiometer;order\n".to_owned(),
        "tag;job;limit centre-good;limit centre-good source\nFV-1;centre-potentiometer;1,5;order\n"
            .to_owned(),
        "tag;job;limit centre-god;limit centre-god source\nFV-1;centre-potentiometer;1;order\n"
            .to_owned(),
    ];
    let told: Vec<String> = cases.iter().map(|text| fails("week.csv", text)).collect();
    insta::assert_snapshot!(told.join("\n\n=====\n"));
}

#[test]
fn every_fault_of_a_route_in_toml_is_told_with_line_and_fix() {
    let cases = [
        TOML.replace("stroke = ", "strok = "),
        TOML.replace("from = \"2026-11-23\"", "from = \"23.11.2026\""),
        TOML.replace("[plate]\nohm", "[plate]\nohn"),
        TOML.replace("critical = true", "critical = \"yes\""),
        TOML.replace("area =", "aera ="),
        TOML.replace(
            "pot-nominal = \"1000\"",
            "pot-nominal = \"1000\"\ntag = \"FV-118\"",
        ),
        TOML.replace("pot-nominal = \"1000\"", "pot-nominal = \"4,5\""),
        TOML.replace("job = \"centre-potentiometer\"\n", ""),
        "format = 1\nid = \"a\"\ntitle = \"b\"\n".to_owned(),
        "format = 2\nid = \"A b\"\ntitle = \"b\"\nactuator = 3\n".to_owned(),
        "tag = ".to_owned(),
    ];
    let told: Vec<String> = cases.iter().map(|text| fails("week.toml", text)).collect();
    insta::assert_snapshot!(told.join("\n\n=====\n"));
}

#[test]
fn a_file_that_is_too_large_or_no_text_is_refused_with_the_fix() {
    let large = "tag;job\n".to_owned() + &"FV-1;set-ends\n".repeat(20_000);
    let told = read("week.csv", &large).unwrap_err().to_string();
    assert!(told.contains("at most 262144 are read"), "{told}");
    let told = from_bytes(b"PK\x03\x04\xFF\xFE", "week.xlsx", &mut find)
        .unwrap_err()
        .to_string();
    assert!(told.contains("save the file as UTF-8"), "{told}");
}

fn visible() -> impl Strategy<Value = String> {
    proptest::string::string_regex("[ -~äß€;,\"']{1,40}").unwrap()
}

proptest! {
    /// Any visible text in a cell comes back as it was, whatever quotes and separators it holds:
    /// written by the `csv` crate, which is not what reads it here.
    #[test]
    fn any_text_in_a_cell_comes_back(notes in proptest::collection::vec(visible(), 1..6), separator in prop_oneof![Just(b','), Just(b';'), Just(b'\t')]) {
        let mut writer = csv::WriterBuilder::new().delimiter(separator).from_writer(Vec::new());
        writer.write_record(["tag", "job", "note"]).unwrap();
        for (at, note) in notes.iter().enumerate() {
            writer.write_record([&format!("FV-{at}"), "set-ends", note]).unwrap();
        }
        let bytes = writer.into_inner().unwrap();
        let route = from_bytes(&bytes, "week.csv", &mut find).map_err(|errors| TestCaseError::fail(errors.to_string()))?;
        prop_assert_eq!(route.items.len(), notes.len());
        for (item, note) in route.items.iter().zip(&notes) {
            prop_assert_eq!(item.note.clone().unwrap_or_default(), note.trim());
        }
    }

    /// Any tag is kept as it is, in capitals, or refused with its place; never changed.
    #[test]
    fn any_tag_is_kept_or_refused(tag in visible()) {
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(["tag", "job"]).unwrap();
        writer.write_record([tag.as_str(), "set-ends"]).unwrap();
        match from_bytes(&writer.into_inner().unwrap(), "week.csv", &mut find) {
            Ok(route) => prop_assert_eq!(&route.items[0].tag, &tag.trim().to_ascii_uppercase()),
            Err(errors) => prop_assert!(errors.faults.iter().all(|fault| fault.line == 2), "{}", errors),
        }
    }

    /// Reading cannot fail but by telling faults, whatever the bytes.
    #[test]
    fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..300), head in any::<bool>()) {
        let mut all = if head { b"tag;job;note\n".to_vec() } else { Vec::new() };
        all.extend(bytes);
        for name in ["a.csv", "a.toml"] {
            if let Err(errors) = from_bytes(&all, name, &mut find) {
                prop_assert!(!errors.faults.is_empty());
            }
        }
    }
}

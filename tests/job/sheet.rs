//! Job sheets.

use sayback::job::PlateValue;
use sayback::job::sheet::parse;

use super::good;

fn fails(text: &str) -> String {
    parse(text, "job sheet", &good())
        .expect_err(text)
        .to_string()
}

#[test]
fn a_sheet_gives_plate_data_limits_and_people() {
    let text = "by = \"TS\"\nrelayed-by = \"ground\"\n[plate]\ntag = \"FV-201B\"\npot-nominal = \"1000\"\ndue = \"2027-02\"\nrange = \"live\"\n\
                [limit.total]\nvalue = \"5\"\nunit = \"%\"\nsource = \"order, page 2\"\n";
    let sheet = parse(text, "job sheet", &good()).unwrap_or_else(|errors| panic!("{errors}"));
    assert_eq!(sheet.by.as_deref(), Some("TS"));
    assert_eq!(sheet.relayed_by.as_deref(), Some("ground"));
    assert_eq!(sheet.plate["tag"], PlateValue::Text("FV-201B".to_owned()));
    assert_eq!(sheet.plate["due"], PlateValue::Text("2027-02".to_owned()));
    // The choice settles the range as it does when it is asked.
    assert_eq!(sheet.plate["signal-low"], PlateValue::Number(4.into()));
    assert_eq!(
        sheet.plate["signal-unit"],
        PlateValue::Text("mA".to_owned())
    );
    let limit = &sheet.limits["total"];
    assert_eq!(
        (limit.value.to_string().as_str(), limit.source.as_str()),
        ("5", "order, page 2")
    );
    assert_eq!(limit.about, "Total resistance");
}

#[test]
fn digits_are_kept_as_written() {
    let sheet = parse("[plate]\npot-nominal = \"1000.00\"\n", "job sheet", &good()).unwrap();
    assert_eq!(
        sheet.plate["pot-nominal"],
        PlateValue::Number("1000.00".parse().unwrap())
    );
    let PlateValue::Number(number) = sheet.plate["pot-nominal"] else {
        panic!()
    };
    assert_eq!(number.to_string(), "1000.00");
}

#[test]
fn unknown_only_where_the_job_allows_it() {
    let sheet = parse("[plate]\npot-nominal = \"unknown\"\n", "job sheet", &good()).unwrap();
    assert_eq!(sheet.plate["pot-nominal"], PlateValue::Unknown);
    insta::assert_snapshot!(fails("[plate]\ntag = \"unknown\"\n"));
}

#[test]
fn faults_name_the_value_and_the_fix() {
    let all = [
        "[plate]\npot-nominel = \"1000\"\n",
        "[plate]\npot-nominal = \"49\"\n",
        "[plate]\npot-nominal = 1000\n",
        "[plate]\npot-nominal = \"1,0\"\n",
        "[plate]\ndue = \"2027-13\"\n",
        "[plate]\nrange = \"lives\"\n",
        "[plate]\nrange = \"live\"\nsignal-low = \"0\"\n",
        "[limit.total]\nvalue = \"5\"\nunit = \"%\"\n",
        "[limit.total]\nvalue = \"5\"\nunit = \"ohm\"\nsource = \"order\"\n",
        "[limit.totals]\nvalue = \"5\"\nunit = \"%\"\nsource = \"order\"\n",
        "job = \"another-job\"\n",
        "[plates]\n",
    ];
    let told: Vec<String> = all.iter().map(|text| fails(text)).collect();
    insta::assert_snapshot!(told.join("\n\n"));
}

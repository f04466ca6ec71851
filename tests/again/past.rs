//! `due` and `history`, by the real program on sealed inspections.

use serde_json::Value;

use super::forge::{Said, edit, tapline};
use super::house::Made;

fn lines(said: &Said) -> Vec<Value> {
    said.stdout.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// The group of a measurand.
fn group(said: &Said, measurand: &str) -> Value {
    let of = |line: &Value| line["like"]["measurand"] == measurand;
    lines(said).into_iter().find(of).unwrap_or_else(|| panic!("{said:?}"))
}

fn lamp(said: &Said) -> Value {
    lines(said).into_iter().find(|line| line["asset"] == "P-0109").unwrap()
}

/// The lamp is due every 24 months (contrib/example/assets.csv). Two passes on 24 and 25 November
/// 2026, then a fail, which moves nothing: two years after the second (calendar).
#[test]
fn only_a_complete_scheduled_pass_moves_the_date() {
    let folder = Made::few().copy();
    let due = |args: &[&str]| {
        let said = tapline(&[&["due", "--json"], args].concat(), folder.path());
        assert_eq!(said.code, 0, "{said:?}");
        lamp(&said)
    };
    let row = due(&[]);
    assert_eq!((&row["due"], &row["last"]["outcome"]), (&"2028-11-25".into(), &"fail".into()));
    assert_eq!(due(&["--month-end"])["due"], "2028-11-30");
    // It was due on 2026-12-31: one interval on, and not two for two inspections.
    assert_eq!(due(&["--from-due"])["due"], "2028-12-31");
    assert_eq!(due(&["--on", "2028-11-25"])["state"], "due");
    assert_eq!(due(&["--on", "2028-11-26"])["state"], "overdue");
    let said = tapline(&["due", "--asset", "P-0109", "--on", "2028-11-26"], folder.path());
    assert!(said.stdout.starts_with("2028-11-25  P-0109  examination lamp, "), "{said:?}");
    assert!(said.stdout.trim_end().ends_with("FAIL; OVERDUE"), "{said:?}");
    assert_eq!(said.stdout.lines().count(), 1);
    assert_eq!(said.stderr.trim(), "assets: 1 on 2028-11-26; overdue: 1, without a date: 0");
}

#[test]
fn few_values_have_no_slope_and_a_leap_is_said() {
    let folder = Made::few().copy();
    let said = tapline(&["history", "P-0109", "--json"], folder.path());
    assert_eq!(said.code, 0, "{said:?}");
    let earth = group(&said, "protective_earth_resistance");
    let values: Vec<&str> = earth["values"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one["value"].as_str().unwrap())
        .collect();
    assert_eq!(values, ["0.214", "0.291", "0.459"]);
    assert_eq!(
        (&earth["points"], &earth["slope"], &earth["limit"]),
        (&3.into(), &Value::Null, &"too_few".into())
    );
    assert_eq!(earth["worse_than_before"], true);
    // The third was never energised: its earth had failed.
    let leak = group(&said, "equipment_leakage");
    assert_eq!((&leak["points"], &leak["worse_than_before"]), (&2.into(), &false.into()));
    assert_eq!(leak["like"]["condition"], "S5=normal S7=open, S5=reversed S7=open");
    let text = tapline(&["history", "P-0109"], folder.path()).stdout;
    assert!(text.contains("\n  WORSE THAN BEFORE: "), "{text}");
    assert!(text.contains("comparable values: 3. A slope is told from four on"), "{text}");
}

/// 0.209 ohm on 29 November and 6 milliohm a day: 0.091 ohm of room is 15 days and a bit
/// (arithmetic).
#[test]
fn a_trend_of_like_values_has_a_date() {
    let folder = Made::rising().copy();
    let said = tapline(&["history", "P-0109", "--json"], folder.path());
    let earth = group(&said, "protective_earth_resistance");
    assert_eq!((&earth["points"], &earth["limit"]), (&6.into(), &"on".into()), "{earth}");
    assert_eq!(earth["on"], "2026-12-14", "{earth}");
    // 0.006 ohm times 365.25 days is 2.1915.
    assert_eq!(
        (&earth["slope"]["per_year"], &earth["slope"]["unit"]),
        (&"2.192".into(), &"Ohm".into())
    );
    assert_eq!(earth["worse_than_before"], false);
    let text = tapline(&["history", "P-0109"], folder.path()).stdout;
    assert!(text.contains("comparable values: 6. 2.192 Ohm a year"), "{text}");
    assert!(text.contains("the limit is reached on 2026-12-14"), "{text}");
    // Leakage stays as it is.
    assert_eq!(group(&said, "equipment_leakage")["limit"], "no_trend");
}

#[test]
fn what_is_not_there_is_said_with_what_to_do() {
    let folder = Made::few().copy();
    let said = tapline(&["history", "P-9999"], folder.path());
    assert_eq!((said.code, said.stdout.as_str()), (0, ""));
    assert!(said.stderr.contains("no sealed inspection of `P-9999`"), "{said:?}");
    let said = tapline(&["due", "--asset", "P-9999"], folder.path());
    assert_eq!(said.code, 2);
    assert!(said.stderr.contains("next: see `tapline due` without --asset"), "{said:?}");
    let said = tapline(&["due", "--on", "tomorrow"], folder.path());
    assert!(said.code == 2 && said.stderr.contains("no day such as"), "{said:?}");
    let empty = tempfile::tempdir().unwrap();
    for args in [&["due"][..], &["history", "P-0109"]] {
        let said = tapline(args, empty.path());
        assert!(said.code == 2 && said.stderr.contains("no data folder is here"), "{said:?}");
    }
    // Never inspected, with and without a date in the register.
    let said = tapline(&["due", "--json"], folder.path());
    let state =
        |of: &str| lines(&said).iter().find(|l| l["asset"] == of).map(|l| l["state"].clone());
    assert_eq!(state("P-0107"), Some("due".into()), "{said:?}");
}

/// A record that is not believed moves no date and is no point, and it is said.
#[test]
fn a_damaged_record_counts_for_nothing() {
    let folder = Made::few().copy();
    let id = &Made::few().cases[1].id;
    let path = super::forge::sealed(folder.path(), id);
    edit(&path, |line| line.replace("0.291", "0.191"));
    let said = tapline(&["due", "--json"], folder.path());
    assert_eq!((said.code, &lamp(&said)["due"]), (2, &"2028-11-24".into()), "{said:?}");
    assert!(said.stderr.contains(id.as_str()), "{said:?}");
    let said = tapline(&["history", "P-0109", "--json"], folder.path());
    assert_eq!(said.code, 2);
    assert_eq!(group(&said, "protective_earth_resistance")["points"], 2);
}

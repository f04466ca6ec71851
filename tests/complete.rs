//! A record says what it is about: nothing is signed while that is missing, and whoever knows it
//! states it without beginning anew.
//!
//! IEC 62353:2014, 6.1 and the form of Annex G (from memory) want: who tests and who evaluates, the
//! equipment with type, maker, serial and inventory number and owner, the measuring equipment, each
//! result, the evaluation, the date. What can be empty when somebody signs are the four below; all
//! else is refused earlier: a station without a name does not start, an instrument, operator or
//! fixture without name, serial number or day of calibration is not imported, no plan is without
//! standard and edition, and what is no pass is not signed without the state of its tag.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs;

use serde_json::Value;
use support::look;
use support::station::{Builder, Output, Station};
use tapline_protocols::limits::Table;

const COLUMNS: [&str; 4] = ["maker", "model", "serial", "owner"];

/// All subsets of them that may be missing.
const SUBSETS: usize = 1 << COLUMNS.len();

const HEAD: &str = "asset,description,class,functional_earth,cord,switching_supply,earthed_points,\
                    accessible_parts,applied_parts,maker,model,serial,owner\n";

fn missing(subset: usize) -> Vec<&'static str> {
    let in_it = |n: &usize| subset & (1 << n) != 0;
    (0..COLUMNS.len()).filter(in_it).map(|n| COLUMNS[n]).collect()
}

fn row(asset: &str, missing: &[&str]) -> String {
    let said = COLUMNS.map(|column| if missing.contains(&column) { "" } else { "said" });
    format!("{asset},lamp,II,no,fixed,no,,case,,{}\n", said.join(","))
}

fn import(station: &Station, rows: &str) {
    let file = station.folder().join("assets.csv");
    fs::write(&file, format!("{HEAD}{rows}")).unwrap();
    station.done(&["asset", "import", file.to_str().unwrap()]);
}

fn look_at(station: &Station, asset: &str) -> (String, Output) {
    station.done(&["scan", asset]);
    let begun = station.run(&["begin", "look-only"]);
    assert_eq!(begun.code, 0, "{begun:?}");
    station.done(&["answer", "pass"]);
    station.done(&["scan", asset]);
    (begun.stdout.lines().next().unwrap().to_owned(), begun)
}

/// The assets that a record gives, in order.
fn given(station: &Station, id: &str) -> Vec<Value> {
    let facts = station.get(&format!("/v1/inspections/{id}/facts?limit=500"));
    let facts = facts["facts"].as_array().unwrap().clone();
    let assets = facts.into_iter().filter(|fact| fact["what"] == "asset");
    assets.map(|fact| fact["asset"].clone()).collect()
}

fn verified(station: &Station) {
    let data = station.data();
    let said = station.run(&["verify", data.to_str().unwrap()]);
    assert_eq!(said.code, 0, "{said:?}");
}

#[test]
fn for_every_subset_that_is_missing_exactly_that_is_named_and_can_be_stated() {
    let station = look::station(Builder::new());
    let rows: String =
        (0..SUBSETS).map(|subset| row(&format!("A-{subset}"), &missing(subset))).collect();
    import(&station, &rows);
    for subset in 0..SUBSETS {
        let (asset, lacks) = (format!("A-{subset}"), missing(subset));
        let (id, begun) = look_at(&station, &asset);
        let said = format!("nobody said the {} of `{asset}`", lacks.join(", "));
        let early = format!("Nobody said the {} of {asset} yet", lacks.join(", "));
        assert_eq!(begun.stderr.contains(&early), !lacks.is_empty(), "{begun:?}");
        let signed = station.run(&["sign"]);
        if lacks.is_empty() {
            assert_eq!(signed.code, 0, "{signed:?}");
            continue;
        }
        assert_eq!(signed.code, 2, "{signed:?}");
        assert!(signed.stderr.contains(&said), "{said}: {signed:?}");
        let told: Vec<String> = lacks.iter().map(|column| format!("{column}=none")).collect();
        assert!(signed.stderr.contains(&format!("describe {}=…", lacks[0])), "{signed:?}");
        let told: Vec<&str> = told.iter().map(String::as_str).collect();
        station.done(&[&["describe"][..], &told].concat());
        assert_eq!(station.run(&["sign"]).code, 0);
        let assets = given(&station, &id);
        let [first, then] = assets.as_slice() else { panic!("{assets:?}") };
        for column in COLUMNS {
            let (was, is) = if lacks.contains(&column) { ("", "none") } else { ("said", "said") };
            assert_eq!((&first[column], &then[column]), (&was.into(), &is.into()), "{asset}");
        }
        assert_eq!(first["class"], then["class"]);
        assert_eq!(station.get(&format!("/v1/assets/{asset}"))[lacks[0]], "none");
    }
    verified(&station);
}

#[test]
fn an_import_while_it_is_open_is_enough_and_changes_nothing_else_in_it() {
    let mut station = look::station(Builder::new());
    import(&station, &row("A-1", &["serial", "owner"]));
    let (id, _) = look_at(&station, "A-1");
    assert_eq!(station.run(&["sign"]).code, 2);
    // Its class stays what it was measured as.
    let list = station.folder().join("more.csv");
    let head = HEAD.replace("maker,", "location,maker,");
    let text = "A-1,lamp,I,no,fixed,no,base,case,,North,other,said,77,clinic\n";
    fs::write(&list, format!("{head}{text}")).unwrap();
    station.done(&["asset", "import", list.to_str().unwrap()]);
    station.kill9();
    station.restart();
    // A restart is asked about again before anything is signed.
    station.done(&["scan", "A-1"]);
    let signed = station.run(&["sign"]);
    assert_eq!(signed.code, 0, "{signed:?}");
    let assets = given(&station, &id);
    let last = assets.last().unwrap();
    let of = |column: &str| last[column].as_str().unwrap_or_default().to_owned();
    assert_eq!([of("serial"), of("owner"), of("maker")], ["77", "clinic", "said"]);
    assert_eq!([of("class"), of("location")], ["II", ""]);
    let report = format!("/v1/inspections/{id}/report.html");
    let (_, told) = support::http::ask(&station.socket(), "GET", &report, "").unwrap();
    assert!(told.contains("serial 77") && !told.contains("owner.</strong>"), "{told}");
    verified(&station);
}

#[test]
fn only_what_nobody_said_is_stated_at_the_bench() {
    let station = look::station(Builder::new());
    import(&station, &row("A-1", &["serial"]));
    look_at(&station, "A-1");
    for (tell, why) in [
        ("maker=Other", "a maker of `A-1` already"),
        ("class=I", "is open on this bench"),
        ("asset=A-2", "is open on this bench"),
        ("serial= ", "1 to 500 characters"),
    ] {
        let said = station.run(&["describe", tell]);
        assert_eq!(said.code, 2, "{said:?}");
        assert!(said.stderr.contains(why), "{why}: {said:?}");
    }
    // By codes alone it is told at once, before the badge.
    let code = tapline_drivers::scan::control::code("SIGN");
    let said = station.run(&["scan", &code]);
    assert!(said.stderr.contains("nobody said the serial of `A-1`"), "{said:?}");
    station.done(&["describe", "serial=12345"]);
    station.done(&["scan", &code]);
    assert!(station.run(&["scan", "OP-0007"]).code == 0);
    verified(&station);
}

/// What a model brings along was not measured by: then there is no way but a new inspection.
#[test]
fn a_model_with_limits_of_its_own_is_not_stated_afterwards() {
    let builder = Builder::new();
    let row = "iec62353-2014.equipment.direct.ii";
    let table = Table::parse(Table::builtin("IEC 62353", "2014").unwrap()).unwrap();
    let text = table.text_of(&[table.row(row).unwrap()]);
    let own = text.replace(row, "ours.helle").replace("100 uA", "90 uA");
    let own = format!(
        "{own}layer = \"maker\"\nmodel = \"Helle 9\"\nmaker = \"said\"\napproved_by = \"K. Vogt\"\n\
         reason = \"maker asks\"\ndate = \"2026-11-24\"\n"
    );
    fs::create_dir_all(builder.folder().join("limits")).unwrap();
    fs::write(builder.folder().join("limits/own.toml"), own).unwrap();
    let station = builder.start();
    import(&station, &self::row("A-1", &["model"]));
    station.done(&["scan", "A-1"]);
    let begun = station.run(&["begin", "iec62353-recurrent-direct"]);
    assert_eq!(begun.code, 0, "{begun:?}");
    let said = station.run(&["describe", "model=Helle 9"]);
    assert!(said.code == 2 && said.stderr.contains("has limits of its own"), "{said:?}");
    station.done(&["describe", "model=Helle 8"]);
}

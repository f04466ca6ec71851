//! Assets read from CSV.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use proptest::prelude::*;

use super::read_assets;
use crate::fault::Fault;
use crate::read::FAULTS_MAX;
use crate::register::{Class, Cord, PartType};

const EXAMPLE: &str = include_str!("../../../../contrib/example/assets.csv");
const HEAD: &str = "asset,description,class,functional_earth,cord,switching_supply,\
                    earthed_points,accessible_parts,applied_parts,cords,rated_volts,\
                    rated_amps,interval,due,plan,states,excluded,ownership,return_by,risk,\
                    retired";

#[test]
fn the_example_reads_as_it_stands() {
    let assets = read_assets(EXAMPLE).unwrap();
    assert_eq!(assets.len(), 5);
    let pump = &assets[0];
    assert_eq!((pump.id.as_str(), pump.class, pump.cord), ("P-0107", Class::I, Cord::Fixed));
    assert_eq!(pump.earthed_points, ["case screw"]);
    assert_eq!(pump.applied_parts[0].part_type, PartType::CF);
    assert_eq!(pump.excluded[0].reason, "maker forbids 500 V");
    assert_eq!(pump.interval.as_deref(), Some("P12M"));
    assert_eq!(assets[2].cords, ["C-0112A", "C-0112B"]);
    assert_eq!(assets[2].applied_parts[0].connections, 5);
    assert_eq!(assets[2].plan, None);
}

#[test]
fn semicolons_marks_and_carriage_returns_read_alike() {
    let other = EXAMPLE.replace(',', ";").replace('\n', "\r\n");
    assert_eq!(read_assets(&format!("\u{feff}{other}")), read_assets(EXAMPLE));
}

#[test]
fn a_part_may_have_a_colon_in_its_name() {
    let text = format!("{HEAD}\nP-1,pump,II,no,fixed,no,,,a: b:BF:2,,,,,,,,,,,,");
    let parts = read_assets(&text).unwrap().remove(0).applied_parts;
    assert_eq!((parts[0].name.as_str(), parts[0].connections), ("a: b", 2));
}

macro_rules! faults {
    ($($name:ident: $column:literal = $value:literal => $said:literal;)*) => {$(
        #[test]
        fn $name() {
            let good = ["P-1", "pump", "I", "no", "detachable", "no", "screw", "", "", "C-1",
                "230", "0.3", "P12M", "2026-11-30", "", "", "", "rented", "2027-01-31", "high", ""];
            let at = HEAD.split(',').position(|column| column == $column).unwrap();
            let mut fields = good;
            fields[at] = $value;
            let text = format!("{HEAD}\n{}\n{}\n", fields.join(","), "P-2".to_string()
                + &good.join(",")[3..]);
            let faults = read_assets(&text).unwrap_err();
            let found: Vec<_> = faults.iter().map(|f| (f.line, f.field.as_str())).collect();
            assert_eq!(found, [(2, $column)], "{faults:?}");
            assert!(faults[0].text.contains($said), "{}", faults[0].text);
        }
    )*};
}

faults! {
    no_number: "asset" = "" => "is empty";
    a_number_with_a_blank: "asset" = "P 1" => "no asset number";
    a_control_code_as_number: "asset" = ".TL-OK" => ".TL-";
    no_description: "description" = " " => "is empty";
    an_unknown_class: "class" = "IV" => "known here: I, II, III, internal, system";
    an_empty_class: "class" = "" => "known here";
    neither_yes_nor_no: "functional_earth" = "maybe" => "yes";
    an_unset_supply: "switching_supply" = "" => "no";
    an_unknown_cord: "cord" = "loose" => "detachable";
    a_comma_in_a_rating: "rated_volts" = "230V" => "above zero";
    a_rating_of_nothing: "rated_amps" = "0.0" => "above zero";
    a_point_twice: "earthed_points" = "screw|screw" => "stands twice";
    an_empty_entry: "earthed_points" = "screw||rail" => "empty entry";
    a_part_without_type: "applied_parts" = "line" => "name:type:connections";
    a_part_of_an_unknown_type: "applied_parts" = "line:X:1" => "BF or CF";
    a_part_with_too_many: "applied_parts" = "line:CF:65" => "1 to 64";
    no_duration: "interval" = "yearly" => "P12M";
    no_day: "due" = "2026-02-30" => "day of the calendar";
    an_unknown_risk: "risk" = "5" => "high, medium, low";
    no_day_of_return: "return_by" = "soon" => "day of the calendar";
    no_day_of_retirement: "retired" = "2026-13-01" => "day of the calendar";
    no_plan_name: "plan" = "my plan" => "no name of a plan";
    an_exclusion_without_reason: "excluded" = "insulation" => "step=reason";
}

#[test]
fn cords_by_name_need_a_detachable_cord() {
    let fault = only(&EXAMPLE.replacen("I,no,fixed,,", "I,no,fixed,C-1,", 1));
    assert_eq!((fault.line, fault.field.as_str()), (2, "cords"));
}

fn only(text: &str) -> Fault {
    let mut faults = read_assets(text).unwrap_err();
    assert_eq!(faults.len(), 1, "{faults:?}");
    faults.remove(0)
}

#[test]
fn only_what_goes_back_has_a_day_to_go_back() {
    let row = |ownership: &str| {
        format!("{HEAD}\nP-1,x,I,no,fixed,no{},{ownership},2027-01-31,,", ",".repeat(11))
    };
    for ownership in ["loaner", "rented", "patient_owned"] {
        let asset = read_assets(&row(ownership)).unwrap().remove(0);
        assert_eq!(asset.return_by.as_deref(), Some("2027-01-31"));
    }
    for ownership in ["hospital", "donated", ""] {
        let fault = only(&row(ownership));
        assert_eq!((fault.line, fault.field.as_str()), (2, "return_by"), "{ownership}");
    }
}

#[test]
fn headings_are_checked_before_rows() {
    let unknown = only(&EXAMPLE.replacen("location", "locaton", 1));
    assert!(unknown.text.contains("did you mean `location`"), "{unknown}");
    let twice = only(&EXAMPLE.replacen("location", "owner", 1));
    assert!(twice.text.contains("stands twice"), "{twice}");
    let missing = only(
        "asset,description,class,functional_earth,cord,switching_supply,\
                        earthed_points,accessible_parts\n",
    );
    assert_eq!((missing.field.as_str(), missing.line), ("applied_parts", 1));
    assert!(only("").text.contains("empty"));
}

#[test]
fn a_row_of_another_length_and_a_double_have_their_lines() {
    let mut rows: Vec<&str> = EXAMPLE.lines().collect();
    rows.push(rows[1]);
    let double = only(&rows.join("\n"));
    assert_eq!((double.line, double.text.contains("line 2 already")), (7, true), "{double}");
    rows[6] = "P-1,short";
    assert!(only(&rows.join("\n")).text.contains("has 2 fields, the heading 23"));
}

#[test]
fn faults_of_the_heading_and_of_the_rows_are_said_together() {
    let text =
        EXAMPLE.replacen("location", "locaton", 1).replacen(",I,no,fixed", ",IV,no,loose", 2);
    let found: Vec<_> = read_assets(&text).unwrap_err();
    let found: Vec<_> = found.iter().map(|f| (f.line, f.field.as_str())).collect();
    let rows = [(2, "class"), (2, "cord"), (3, "class"), (3, "cord")];
    assert_eq!(found, [[(1, "locaton")].as_slice(), &rows].concat());
}

#[test]
fn a_row_of_separators_alone_is_no_asset() {
    let blank = ",".repeat(22);
    let rows: Vec<&str> = EXAMPLE.lines().flat_map(|row| [row, &blank, " , "]).collect();
    let rows = rows.join("\n");
    assert_eq!(read_assets(&rows), read_assets(EXAMPLE));
}

#[test]
fn every_fault_is_said_up_to_a_hundred() {
    let rows: String = (0..300).map(|n| format!("P-{n},,I,no,fixed,no,,,,,,,,,,,,,,,\n")).collect();
    let faults = read_assets(&format!("{HEAD}\n{rows}")).unwrap_err();
    assert_eq!(faults.len(), FAULTS_MAX + 1);
    assert!(faults[FAULTS_MAX].text.contains("more faults"));
}

proptest! {
    #[test]
    fn no_text_panics(text in "[a-z|:=\";,\r\n.é-]{0,200}", rows in "(?s).{0,300}") {
        let _ = read_assets(&text);
        let _ = read_assets(&format!("{HEAD}\n{rows}"));
        let _ = read_assets(&format!("{HEAD}\nP-1,{rows}"));
    }
}

use alloc::string::String;
use alloc::vec::Vec;
use alloc::{format, vec};

use proptest::prelude::*;

use super::*;
use crate::register::ListMap;

const HEADING: &str = "asset,day,measurand,value,unit,source,method,kind,point\n";

fn read(rows: &str) -> Vec<Former> {
    let list = read_former(&format!("{HEADING}{rows}"), None).unwrap();
    list.values.into_iter().map(|(_, one)| one).collect()
}

fn faults(text: &str) -> Vec<(u32, String)> {
    let found = read_former(text, None).unwrap_err();
    found.into_iter().map(|fault| (fault.line, fault.field)).collect()
}

/// A byte-order mark, `;`, quotes and a decimal that stays as it was written.
#[test]
fn a_list_as_spreadsheets_write_it_is_read() {
    let text = "\u{feff}asset;day;measurand;value;unit;source\r\n\
        P-0109;2019-03-05;protective_earth_resistance;0.180;Ohm;\"folder \"\"A\"\"; page 7\"\r\n\
        ;;;;;\r\n\
        P-0109;2019-03-05;insulation_resistance;>200;MOhm;folder\r\n";
    let list = read_former(text, None).unwrap();
    let [(2, earth), (4, bound)] = &list.values[..] else { panic!("{list:?}") };
    assert_eq!(
        (earth.shown(), earth.source.as_str()),
        ("0.180 Ohm".into(), "folder \"A\"; page 7")
    );
    assert_eq!((bound.shown(), bound.bound.as_deref()), ("> 200 MOhm".into(), Some("above")));
    assert_eq!(list.without, 0);
}

/// What nobody measured has an empty cell in a list of whole inspections.
#[test]
fn a_list_of_whole_inspections_is_read_once_for_each_of_its_columns() {
    let map = "format = \"tapline-values-map-1\"\n[columns]\nasset = \"Nr\"\nday = \"am\"\n\
        value = \"I [mA]\"\n[constants]\nmeasurand = \"equipment_leakage\"\nunit = \"mA\"\n\
        source = \"card\"\n[forms]\nday = \"D.M.Y\"\nvalue = \"comma\"\n";
    let map = ListMap::read(map, &FORMER).unwrap();
    let text =
        "Nr;am;R;I [mA]\n1;5.3.2019;0,18;0,071\n2;6.3.2019;;\n\"3\";7.3.2019;\"two\nrows\";x\n";
    let found = read_former(text, Some(&map)).unwrap_err();
    let told: Vec<String> = found.iter().map(|fault| format!("{fault}")).collect();
    // The value stands on the second line of its row.
    assert_eq!((found.len(), found[0].line), (1, 5), "{told:?}");
    assert!(told[0].contains("value = I [mA]"), "{told:?}");
    let list = read_former(&text.replace(";x", ";1,5"), Some(&map)).unwrap();
    let shown: Vec<String> = list.values.iter().map(|(_, one)| one.shown()).collect();
    assert_eq!((shown, list.without), (vec!["0.071 mA".into(), "1.5 mA".into()], 1));
    assert_eq!(list.values[0].1.day, "2019-03-05");
}

/// Every fault with its line, also behind a field that goes over two.
#[test]
fn all_faults_are_told_with_their_lines() {
    let row = |text: &str| format!("{HEADING}{text}\n");
    let two = "P-1,2019-02-30,heat,1,A,\"two\nrows\",,,\nP-1,2019-03-05,touch_current,-1,uA,x,,,";
    let told = faults(&row(two));
    let found: Vec<(u32, &str)> = told.iter().map(|(line, field)| (*line, &field[..])).collect();
    assert_eq!(found, [(2, "day"), (2, "measurand"), (2, "source"), (4, "value")]);
    for (text, column) in [
        ("P-1,,touch_current,1,uA,x,,,", "day"),
        ("P-1,2019-03-05,touch_current,1,Ohm,x,,,", "unit"),
        ("P-1,2019-03-05,touch_current,1,mohm,x,,,", "unit"),
        ("P-1,2019-03-05,touch_current,1.2.3,uA,x,,,", "value"),
        ("P-1,2019-03-05,touch_current,\"1,2\",uA,x,,,", "value"),
        ("P-1,2019-03-05,touch_current,1,uA,,,,", "source"),
        ("P-1,2019-03-05,touch_current,1,uA,x,inlet,,", "method"),
        ("P-1,2019-03-05,touch_current,1,uA,x,,both,", "kind"),
        ("P-1,2019-03-05,touch_current,1,uA,x,,,a|b", "point"),
        ("P 1,2019-03-05,touch_current,1,uA,x,,,", "asset"),
        ("P-1,2019-03-05,touch_current,1,uA", ""),
    ] {
        assert_eq!(faults(&row(text)), [(2, String::from(column))], "{text}");
    }
    let twice = "P-1,2019-03-05,touch_current,1,uA,x,,,\nP-1,2019-03-05,touch_current,2,uA,y,,,";
    assert_eq!(faults(&row(twice)), [(3, "value".into())]);
    assert_eq!(faults("asset,day,mesurand,value,unit,source\n")[0], (1, "mesurand".into()));
}

/// Whatever it says is told of it must fit; what it does not say may be.
#[test]
fn what_is_told_must_fit_and_what_is_not_told_may() {
    let own = |rows: &str| read(rows).remove(0);
    let like = Like {
        measurand: "equipment_leakage".into(),
        method: "direct".into(),
        kind: "ac+dc".into(),
        point: "case".into(),
        condition: "S5=normal".into(),
        ..Like::default()
    };
    for (more, fits) in [
        (",,", true),
        ("direct,,", true),
        ("direct,ac,case", true),
        ("differential,,", false),
        (",peak,", false),
        (",,lamp head", false),
    ] {
        let one = own(&format!("P-1,2019-03-05,equipment_leakage,71,uA,card,{more}"));
        assert_eq!(one.may_be(&like), fits, "{more}");
        assert!(!one.may_be(&Like { reference: 1, ..like.clone() }), "a repair came between");
        assert!(!Former { withdrawn: Some("x".into()), ..one.clone() }.may_be(&like));
        assert!(!Former { condition: "reversed".into(), ..one.clone() }.may_be(&like));
    }
    assert!(!own("P-1,2019-03-05,touch_current,71,uA,card,,,").may_be(&like));
}

proptest! {
    #[test]
    fn what_is_written_reads_back(
        texts in proptest::collection::vec("[ -{}~äµ€Ω]{0,40}", 6),
        digits in "[0-9]{1,6}(\\.[0-9]{1,6})?",
        bound in prop_oneof![Just(None), Just(Some("above")), Just(Some("below"))],
    ) {
        let text = |n: usize| String::from(texts[n].trim());
        let mut one = Former {
            id: String::new(),
            asset: "P-1".into(),
            day: "2019-03-05".into(),
            measurand: "touch_current".into(),
            method: Some("direct".into()),
            kind: None,
            point: text(0),
            condition: text(1),
            bound: bound.map(String::from),
            value: Amount::parse(&format!("{digits} uA")).unwrap(),
            source: format!("x{}", text(2)),
            measured_by: text(3),
            meter: text(4),
            remark: text(5),
            withdrawn: None,
        };
        one.id = one.named();
        let back = read_former(&write_former([&one]), None).unwrap();
        prop_assert_eq!(back.values, vec![(2, one)]);
    }
}

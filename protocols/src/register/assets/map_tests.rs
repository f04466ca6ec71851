//! Lists of other programs, read by a map.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use super::{ASSETS, AssetList, Encoding, ListMap, read_asset_list};
use crate::register::{Class, Cord};

const MAP: &str = include_str!("../../../../contrib/example/assets-map.toml");
const LIST: &str = "\u{feff}Inventar-Nr.;Bezeichnung;Hersteller;Schutzklasse;Netzanschluss;Haus;\
Station;Raum;Strom (A);Frist;N\u{e4}chste Pr\u{fc}fung;Bemerkung\r\n\
4711;\"Infusionspumpe, \"\"gro\u{df}\"\"\";Quellhof;Klasse I;fest;Nord;3;B;0,3;12;30.11.2026;x\r\n\
4712;\"Lampe\r\nzweizeilig\";Quellhof;SK II;abnehmbar;S\u{fc}d;;A;1.5;24;1.2.2027;\r\n";

fn read(list: &str, map: &str) -> Result<AssetList, Vec<(u32, String, String)>> {
    read_asset_list(list, Some(&ListMap::read(map, &ASSETS).unwrap())).map_err(|faults| {
        faults.into_iter().map(|fault| (fault.line, fault.field, fault.text)).collect()
    })
}

#[test]
fn a_hospitals_list_is_read_by_the_example() {
    let list = read(LIST, MAP).unwrap();
    let [pump, lamp] = list.assets.as_slice() else { panic!("{list:?}") };
    assert_eq!((pump.id.as_str(), pump.class, pump.cord), ("4711", Class::I, Cord::Fixed));
    assert_eq!(pump.description, "Infusionspumpe, \"gro\u{df}\"");
    assert_eq!((pump.location.as_str(), lamp.location.as_str()), ("Nord/3/B", "S\u{fc}d/A"));
    assert_eq!(pump.rated_amps.as_deref(), Some("0.3"));
    assert_eq!(lamp.rated_amps.as_deref(), Some("1.5"), "a point is one already");
    assert_eq!((pump.interval.as_deref(), pump.due.as_deref()), (Some("P12M"), Some("2026-11-30")));
    assert_eq!((lamp.class, lamp.due.as_deref()), (Class::II, Some("2027-02-01")));
    assert_eq!(lamp.description, "Lampe\r\nzweizeilig");
    assert_eq!(pump.owner, "clinic");
    for column in ["earthed_points", "applied_parts", "plan", "excluded"] {
        assert!(list.silent.contains(column), "{column}: the workshop's own");
    }
    for column in ["asset", "location", "due", "owner"] {
        assert!(!list.silent.contains(column), "{column}: the list's");
    }
}

#[test]
fn every_fault_of_a_list_has_its_line_and_both_names() {
    let wrong = LIST.replace("Klasse I;", "Klasse 9;").replace("1.2.2027", "31.2.2027");
    let wrong = format!("{wrong}4713;zu kurz\r\n4711;L;Q;SK II;fest;;;;1;12;1.1.2027;\r\n");
    let faults = read(&wrong, MAP).unwrap_err();
    let places: Vec<_> = faults.iter().map(|(line, field, _)| (*line, field.as_str())).collect();
    assert_eq!(
        places,
        [
            (2, "class = Schutzklasse"),
            (4, "due = N\u{e4}chste Pr\u{fc}fung"),
            (5, ""),
            // Its number stands on a line whose class could not be read: that one is no asset.
        ]
    );
    assert!(faults[0].2.contains("`Klasse 9`"), "{faults:?}");
    assert!(faults[1].2.contains("`2027-02-31`"), "{faults:?}");
    assert!(faults[2].2.contains("2 fields"), "{faults:?}");
}

#[test]
fn a_column_that_the_list_lacks_is_named() {
    let faults = read(&LIST.replace("Schutzklasse", "Schutz-Klasse"), MAP).unwrap_err();
    let first = &faults[0];
    assert_eq!((first.0, first.1.as_str()), (1, "Schutzklasse"));
    assert!(first.2.contains("`Schutz-Klasse`"), "{faults:?}");
    let twice = read(&LIST.replace("Hersteller", "Station"), MAP).unwrap_err();
    assert!(twice.iter().any(|(_, field, text)| field == "Station" && text.contains("twice")));
}

#[test]
fn a_map_is_held_to_its_form() {
    let faults = |text: &str| {
        let faults = ListMap::read(text, &ASSETS).unwrap_err();
        faults.into_iter().map(|fault| (fault.line, fault.field)).collect::<Vec<_>>()
    };
    let short = "format = \"tapline-asset-map-1\"\n[columns]\nasset = \"No.\"\nclas = \"C\"\n";
    let found = faults(short);
    assert!(found.contains(&(4, "columns.clas".into())), "{found:?}");
    assert!(found.iter().any(|(_, field)| field == "columns.cord"), "{found:?}");
    let twice = format!("{MAP}\nwrong = 1\n").replacen(
        "[unless_known]",
        "[unless_known]\nasset = \"A\"\ndue = 3\n",
        1,
    );
    let found = faults(&twice);
    for field in ["unless_known.asset", "unless_known.due"] {
        assert!(found.iter().any(|(_, of)| of == field), "{field}: {found:?}");
    }
    let forms = MAP.replace("\"D.M.Y\"", "\"Y.M\"");
    assert_eq!(faults(&forms).len(), 1);
    assert_eq!(ListMap::read(MAP, &ASSETS).unwrap().encoding(), Encoding::Windows1252);
}

#[test]
fn what_is_no_day_of_the_form_stays_as_it_stands_and_is_a_fault() {
    for day in ["30.11.26", "2026.11.30", "30.11.", "30.11.2026.1", "30/11/2026", "a.b.2026"] {
        let faults = read(&LIST.replace("30.11.2026", day), MAP).unwrap_err();
        assert_eq!(faults.len(), 1, "{day}");
        assert!(faults[0].2.contains(day), "{faults:?}");
    }
    // A day of the program's own form is one in any list.
    assert!(read(&LIST.replace("30.11.2026", "2026-11-30"), MAP).is_ok());
}

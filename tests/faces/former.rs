//! Values from paper: in, put right, taken back, out, and beside what the station measured.

use std::fs;

use serde_json::Value;

use super::support::station::{Builder, Station};

const ASSETS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/contrib/example/assets.csv");
const MAP: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/contrib/example/values-map.toml");

fn house() -> Station {
    let station = Builder::new().page().start();
    station.done(&["asset", "import", ASSETS]);
    station
}

fn file(station: &Station, name: &str, bytes: &[u8]) -> String {
    let path = station.folder().join(name);
    fs::write(&path, bytes).unwrap();
    path.display().to_string()
}

/// As a spreadsheet of Western Europe writes it: `;`, quotes, a comma in decimals, windows-1252.
#[test]
fn a_spreadsheet_of_before_is_taken_in_and_shown_as_from_paper() {
    let mut station = house();
    let list = b"Inventar-Nr.;Datum;RPE (Ohm);IGA (mA);Pr\xfcfer;Pr\xfcfger\xe4t\r\n\
        P-0109;5.3.2019;0,112;0,071;\"R. Feld; H. Moor\";tester 2\r\n\
        P-0109;9.3.2021;;0,080;;\r\n\
        P-0107;9.3.2021;0,2;0,1;;\r\n";
    let list = file(&station, "list.csv", list);
    let import = ["asset", "values", "import", &list, "--map", MAP];
    let dry = station.run(&[&import[..], &["--dry-run"]].concat());
    assert!(
        dry.stdout.contains("new      P-0109 2019-03-05 protective_earth_resistance"),
        "{dry:?}"
    );
    assert!(dry.stderr.contains("without a value, passed over: 1"), "{dry:?}");
    assert!(station.get("/v1/values")["items"].as_array().unwrap().is_empty());
    station.done(&import);
    let again = station.run(&import);
    assert!(again.stderr.contains("0 new, 0 changed, 2 unchanged"), "{again:?}");

    let told = station.done(&["history", "P-0109"]);
    assert!(told.contains("2019-03-05  FROM PAPER  0.112 Ohm"), "{told}");
    assert!(told.contains("R. Feld; H. Moor, tester 2"), "{told}");

    // Out, and in again to the same; a later line puts right, another takes back.
    let out = station.done(&["asset", "values", "export"]);
    let same = file(&station, "same.csv", out.as_bytes());
    let again = station.run(&["asset", "values", "import", &same]);
    assert!(again.stderr.contains("0 new, 0 changed, 2 unchanged"), "{again:?}");
    let right = file(&station, "right.csv", out.replace("0.112", "0.121").as_bytes());
    station.done(&["asset", "values", "import", &right, "--by", "op-7"]);
    let told = station.done(&["history", "P-0109"]);
    assert!(told.contains("0.121 Ohm") && !told.contains("0.112"), "{told}");
    let back = "asset,day,measurand,value,unit,source,withdrawn\n\
        P-0109,2019-03-05,protective_earth_resistance,0.121,Ohm,x,of another asset\n";
    let back = file(&station, "back.csv", back.as_bytes());
    station.done(&["asset", "values", "import", &back]);
    let before = station.get("/v1/values");
    station.stop();
    station.restart();
    assert_eq!(station.get("/v1/values"), before, "it is folded again from the book");
    assert_eq!(station.get("/v1/assets/P-0109/history")["former"], serde_json::json!([]));
    let list = station.done(&["asset", "values", "list", "P-0109"]);
    assert!(list.contains("WITHDRAWN: of another asset"), "{list}");
    // All that was ever noted stands in the books, and who noted it.
    let books = fs::read_dir(station.data().join("station")).unwrap();
    let texts = books.filter_map(|one| fs::read_to_string(one.unwrap().path()).ok());
    let texts: String = texts.collect();
    let lines: Vec<&str> = texts.lines().filter(|l| l.contains("\"k\":\"former\"")).collect();
    assert_eq!(lines.len(), 4, "{lines:?}");
    assert!(lines.iter().all(|line| line.contains("\"by\":\"op-7\"")), "{lines:?}");
}

/// All faults at once, each with its line, and nothing is written.
#[test]
fn a_faulty_list_of_values_changes_nothing() {
    let station = house();
    let list = "asset,day,measurand,value,unit,source\n\
        P-9999,2019-03-05,touch_current,1,uA,\"two\nrows\"\n\
        P-0109,2019-03-05,touch_current,1,Ohm,x\n";
    let list = file(&station, "list.csv", list.as_bytes());
    let refused = station.run(&["asset", "values", "import", &list]);
    assert_eq!(refused.code, 2, "{refused:?}");
    for part in ["line 2, `source`", "line 4, `unit`"] {
        assert!(refused.stderr.contains(part), "{part}: {refused:?}");
    }
    let list = "asset,day,measurand,value,unit,source\n\
        P-9999,2019-03-05,touch_current,1,uA,x\n\
        P-0109,2999-03-05,touch_current,1,uA,x\n";
    let list = file(&station, "list.csv", list.as_bytes());
    let refused = station.run(&["asset", "values", "import", &list]);
    for part in ["line 2, `asset`: the register has no `P-9999`", "line 3, `day`"] {
        assert!(refused.stderr.contains(part), "{part}: {refused:?}");
    }
    let row = |n: u32| format!("P-0109,2019-03-05,touch_current,1,uA,x,part {n}\n");
    let many: String = (0..201).map(row).collect();
    let heading = "asset,day,measurand,value,unit,source,point\n";
    let list = file(&station, "list.csv", format!("{heading}{many}").as_bytes());
    let refused = station.run(&["asset", "values", "import", &list]);
    assert!(refused.stderr.contains("more than 200 values"), "{refused:?}");
    let values: Value = station.get("/v1/values");
    assert!(values["items"].as_array().unwrap().is_empty());
}

//! A damaged index under a running station: it measures, says so, and heals.

use std::fs;
use std::process::Command;

use serde_json::Value;

use super::House;
use super::support::station::{Output, TAPLINE};
use super::support::wait;

impl House {
    fn index_is(&self, state: &str) -> Value {
        wait::until(&format!("the index is {state}"), || {
            let index = self.status()?["index"].clone();
            (index["state"] == state).then_some(index)
        })
    }

    fn asides(&self) -> usize {
        let entries = fs::read_dir(self.path("data")).unwrap().flatten();
        entries.filter(|e| e.file_name().to_string_lossy().starts_with("index.aside-")).count()
    }
}

#[test]
fn a_station_measures_whatever_its_index_is_like() {
    let mut house = House::new();
    house.start();
    house.index_is("ready");
    house.stop();
    let db = house.path("data/index/db");
    let whole = fs::read(&db).unwrap();
    let used = whole.iter().rposition(|b| *b != 0).unwrap();
    let mut asides = 0;
    for n in 0..6 {
        let mut bad = fs::read(&db).unwrap();
        let at = (used * n / 6).min(bad.len() - 1);
        match n % 2 {
            0 => bad[at] ^= 0x10,
            _ => bad.truncate(at),
        }
        fs::write(&db, bad).unwrap();
        // It starts, judges and reads its meter.
        house.start();
        house.index_is("ready");
        let (status, list) = house.ask("GET", "/v1/inspections", "");
        assert_eq!((status, &list["items"]), (200, &serde_json::json!([])), "{list}");
        asides = asides.max(house.asides());
        house.stop();
    }
    assert!((1..=2).contains(&asides), "{asides} set-aside indexes are kept");
    let log = fs::read_to_string(house.path("log")).unwrap();
    assert!(log.contains("is being built again from the books"), "{log}");
    assert!(house.status().is_none());
}

#[test]
fn the_index_is_built_again_while_the_station_measures() {
    let mut house = House::new();
    house.start();
    house.index_is("ready");
    let (status, built) = house.ask("POST", "/v1/rebuild", "");
    assert_eq!((status, &built), (200, &serde_json::json!({ "books": 1 })));
    assert_eq!(house.index_is("ready"), serde_json::json!({ "state": "ready" }));
    assert_eq!(house.asides(), 1);
}

#[test]
fn an_index_that_can_not_be_written_is_said_and_leaves_the_books() {
    let mut house = House::new();
    house.start();
    house.stop();
    let book = house.station_book();
    // Files may grow to 512 bytes and no more: what a full disk says comes from the kernel.
    let config = house.path("tapline.toml");
    let script = "trap '' XFSZ; ulimit -f 1; exec \"$0\" rebuild --config \"$1\"";
    let said = Output::of(Command::new("sh").args(["-c", script, TAPLINE]).arg(&config));
    assert_eq!((said.code, &*said.stdout), (2, ""), "{said:?}");
    assert!(said.stderr.contains("the index can't be written or read"), "{said:?}");
    assert_eq!(house.station_book(), book);
    let said = Output::of(Command::new(TAPLINE).args(["rebuild", "--config"]).arg(&config));
    assert_eq!(said.code, 0, "{said:?}");
}

//! The page in a browser: Chromium without a screen, driven by Playwright through a whole
//! inspection on the simulated bench, with axe-core on each view.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde_json::{Value, json};
use support::look::{self, inspected};
use support::meter::{Meter, Scene as Bench};
use support::station::{Builder, Output, Station, TAPLINE};
use support::{http, python, wait};
use tapline_demo::clinic;
use tapline_demo::scene::Scene;
use tapline_drivers::scan::control::code;
use tempfile::TempDir;

/// A simulated bench and a station on it, with a page.
struct House {
    folder: TempDir,
    bench: Child,
    station: Child,
}

impl House {
    fn open(scene: &str) -> House {
        let folder = tempfile::Builder::new().prefix("tapline-").tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::create_dir(at("bench")).unwrap();
        let text = clinic::scene(scene).unwrap();
        let scene = Scene::parse(text).unwrap();
        fs::write(at("scene.toml"), text).unwrap();
        let mut bench = Command::new(TAPLINE);
        bench.args(["demo-bench", "--folder"]).arg(at("bench"));
        let bench = bench.arg("--scene").arg(at("scene.toml")).spawn().unwrap();
        let ports: BTreeMap<String, String> = wait::until("the bench is there", || {
            serde_json::from_str(&fs::read_to_string(at("bench/ports.json")).ok()?).ok()
        });
        let data = at("data").display().to_string();
        let config = clinic::config(&ports, &data, "127.0.0.1:0", &scene);
        fs::write(at("tapline.toml"), config).unwrap();
        fs::create_dir_all(at("data/plans")).unwrap();
        fs::write(at("data/plans/clinic-whole.toml"), clinic::PLAN).unwrap();
        let log = File::create(at("log")).unwrap();
        let mut station = Command::new(TAPLINE);
        station.args(["serve", "--config"]).arg(at("tapline.toml"));
        station.env("TAPLINE_SOCKET", at("sock")).stdout(Stdio::null()).stderr(log);
        let station = station.spawn().unwrap();
        let house = House { folder, bench, station };
        house.stock();
        house
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn post(&self, path: &str, body: &Value) {
        let (code, text) = http::ask(&self.path("sock"), "POST", path, &body.to_string()).unwrap();
        assert!((200..300).contains(&code), "{path}: {text}");
    }

    fn get(&self, path: &str) -> Option<Value> {
        let (_, text) = http::ask(&self.path("sock"), "GET", path, "").ok()?;
        serde_json::from_str(&text).ok()
    }

    /// Registers, and the rows from memory confirmed.
    fn stock(&self) {
        wait::until_true("the station judges", || {
            self.get("/v1/status").is_some_and(|status| status["halted"].is_null())
        });
        for (what, text) in [
            ("operators", clinic::OPERATORS),
            ("instruments", clinic::INSTRUMENTS),
            ("fixtures", clinic::FIXTURES),
            ("assets", clinic::ASSETS),
        ] {
            self.post(&format!("/v1/{what}"), &json!({ "text": text }));
        }
        let limits = self.get("/v1/limits").unwrap();
        let items = limits["items"].as_array().unwrap().iter();
        let rows: Vec<&Value> =
            items.filter(|row| row["confidence"] == "memory").map(|row| &row["id"]).collect();
        let body = json!({
            "rows": rows, "document": clinic::DOCUMENT, "clause": "Tables 2 and 3",
            "by": clinic::CONFIRMED_BY,
        });
        self.post("/v1/limits", &body);
    }

    fn address(&self) -> String {
        let page = self.get("/v1/page").unwrap();
        page["address"].as_str().unwrap().to_owned()
    }

    /// Drives the page by a script of the folder `browser`.
    fn drive(&self, script: &str, words: &[&str]) -> Output {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser").join(script);
        let mut command = Command::new(python::interpreter());
        command.arg(script).arg(self.path("bench/control")).arg(self.address()).args(words);
        command.args([self.bench.id(), self.station.id()].map(|pid| pid.to_string()));
        Output::of(&mut command)
    }
}

impl Drop for House {
    fn drop(&mut self) {
        for child in [&mut self.station, &mut self.bench] {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// Where the pictures go: `PICTURES=DIR` keeps them.
fn pictures(house: &House) -> String {
    let named = std::env::var("PICTURES");
    named.unwrap_or_else(|_| house.path("pictures").display().to_string())
}

#[test]
fn a_whole_inspection_is_made_in_the_browser() {
    let house = House::open("good");
    let done = house.drive("drive.py", &["P-0101", clinic::BADGE, &pictures(&house)]);
    let log = fs::read_to_string(house.path("log")).unwrap();
    assert_eq!(done.code, 0, "{}\n{}\n--- the station's log\n{log}", done.stdout, done.stderr);
    let list = house.get("/v1/inspections").unwrap();
    let items = list["items"].as_array().unwrap();
    assert_eq!(items.len(), 1, "{list}");
    assert_eq!(items[0]["verdict"], "pass", "{list}");
}

/// Three sounds that nobody takes for another or for an alarm of medical equipment
/// (IEC 60601-1-8, from memory), as loud as each other to the ear.
#[test]
fn three_tones_are_told_apart_and_none_is_an_alarm() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser/tones.py");
    let done = Output::of(Command::new(python::interpreter()).arg(script));
    assert_eq!(done.code, 0, "{}\n{}", done.stdout, done.stderr);
    assert_eq!(done.stdout.matches("\"tone\"").count(), 3, "{}", done.stdout);
}

/// The words of the sheet that the five inspections take.
const CODES: &[&str] = &[
    "BEGIN",
    "PASS",
    "NULL.L-1",
    "CAPTURE",
    "CONNECTED",
    "CLEAR",
    "LIVE",
    "ALIVE",
    "DEAD",
    "SIGN",
    "SIGN.TAG",
];

#[test]
fn five_assets_are_inspected_by_scanner_codes_alone() {
    let house = House::open("good");
    let codes: BTreeMap<&str, String> = CODES.iter().map(|word| (*word, code(word))).collect();
    let assets = clinic::SCENES.iter().map(|(_, text)| {
        let scene = Scene::parse(text).unwrap();
        let nulls = scene.id != "lead-not-nulled";
        json!({ "id": scene.id, "asset": scene.asset, "text": text, "nulls": nulls,
                "outcome": scene.expect.outcome })
    });
    let plan = json!({ "codes": codes, "assets": assets.collect::<Vec<_>>() });
    fs::write(house.path("plan.json"), plan.to_string()).unwrap();
    let path = house.path("plan.json").display().to_string();
    let done = house.drive("five.py", &[&path, clinic::BADGE, &pictures(&house)]);
    let log = fs::read_to_string(house.path("log")).unwrap();
    assert_eq!(done.code, 0, "{}\n{}\n--- the station's log\n{log}", done.stdout, done.stderr);
    let list = house.get("/v1/inspections").unwrap();
    let came = list["items"].as_array().unwrap().iter().map(|one| one["verdict"].clone());
    let due = plan["assets"].as_array().unwrap().iter().map(|one| one["outcome"].clone());
    assert_eq!(came.collect::<Vec<_>>(), due.collect::<Vec<_>>(), "{list}");
}

/// An asset whose entry is written by somebody who means no good.
const HOSTILE: &str = "X-0666,<script>window.owned=1</script>,\"\"\"><svg onload=window.owned=3>\",\
    '><img src=x onerror=window.owned=2>,66,<img src=x onerror=window.owned=2>,clinic,I,no,\
    fixed,,230,0.5,no,case screw,,,operating,,iec62353-recurrent-direct,P12M,2099-12-31,\n";

#[test]
fn what_a_barcode_or_a_register_says_is_text() {
    let house = House::open("good");
    let head = clinic::ASSETS.lines().next().unwrap();
    house.post("/v1/assets", &json!({ "text": format!("{head}\n{HOSTILE}") }));
    let done = house.drive("hostile.py", &["X-0666", clinic::BADGE, &pictures(&house)]);
    assert_eq!(done.code, 0, "{}\n{}", done.stdout, done.stderr);
}

/// What an instrument could say that a browser would run, were it no text (CWE-79).
const SAYS: &str =
    "GENERIC,<img src=x onerror=window.owned=21>,9999,<script>window.owned=22</script>";

#[test]
fn what_an_instrument_says_is_text() {
    let mut builder = Builder::new().page();
    let asked = builder.pty("dmm", "scpi", Some("DM-01"));
    let talks = builder.pty("talk", "val-unit-line", Some("TM-01"));
    let _meter = Meter::asked(&asked, &Bench::default(), SAYS);
    let station = builder.start();
    station.done(&["scan", "T-0201"]);
    station.done(&["begin"]);
    for line in
        [SAYS, "R4 <b onclick=window.owned=23>0.1</b> Ohm", "</p><svg onload=window.owned=24>"]
    {
        talks.say(format!("{line}\r\n").as_bytes());
    }
    wait::until_true("another meter is noticed", || {
        station.link("dmm")["why"].as_str().is_some_and(|why| why.contains("owned=21"))
    });
    let id = station.bench()["inspection"]["id"].as_str().unwrap().to_owned();
    drive_alone(&station, "meters.py", &[&id, "-"]);
}

/// Drives the page of a station without a simulated bench.
fn drive_alone(station: &Station, script: &str, words: &[&str]) {
    let address = station.done(&["page"]);
    let named = std::env::var("PICTURES");
    let pictures =
        named.unwrap_or_else(|_| station.folder().join("pictures").display().to_string());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser").join(script);
    let mut command = Command::new(python::interpreter());
    command.arg(script).args(["-", address.trim()]).args(words).args([&pictures, "0", "0"]);
    let done = Output::of(&mut command);
    assert_eq!(done.code, 0, "{}\n{}", done.stdout, done.stderr);
}

#[test]
fn a_sealed_inspection_is_put_right_reviewed_and_given_out_in_the_browser() {
    let station = look::station(Builder::new().page().policy("review = \"all\""));
    let id = inspected(&station, "T-0201", ["pass", "fail"]);
    drive_alone(&station, "review.py", &[&id, "OP-0007,OP-0003,OP-0005"]);
    let now = station.get(&format!("/v1/inspections/{id}"));
    assert_eq!((&now["state"], &now["outcome"]), (&"released".into(), &"pass".into()));
    let by = now["addenda"].as_array().unwrap().iter().map(|one| one["by"].as_str().unwrap());
    assert_eq!(by.collect::<Vec<_>>(), ["op-7", "op-5", "op-5"]);
}

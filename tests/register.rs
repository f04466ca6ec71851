//! The register as a workshop uses it, with the real program: lists in and out, the worklist.
//!
//! CSV is RFC 4180; what Python's own `csv` writes is imported, and what is exported it reads.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "register/desk.rs"]
mod desk;
mod support;

use std::fs;
use std::io::Write;
use std::process::{Command, Stdio};

use serde_json::{Value, json};
use support::python::interpreter;
use support::station::{Builder, Station};

const MAP: &str = include_str!("../contrib/example/assets-map.toml");
const HEAD: [&str; 14] = [
    "asset",
    "description",
    "maker",
    "serial",
    "location",
    "owner",
    "class",
    "functional_earth",
    "cord",
    "switching_supply",
    "earthed_points",
    "accessible_parts",
    "applied_parts",
    "excluded",
];

/// Text that breaks readers which are not exact: separators, quotes, line breaks, formulas.
const NASTY: [&str; 6] = [
    "a, \"b\"; c",
    "two\r\nlines\nand\rthree",
    "=HYPERLINK(\"http://x\",\"y\")",
    "@SUM(1+1)*cmd|' /C x'!A0",
    "\"",
    "gr\u{f6}\u{df}e \u{202e}\u{1f480}\u{feff}x",
];

fn python(args: &[&str], input: &str) -> Vec<u8> {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/assets_csv.py");
    let mut child = Command::new(interpreter())
        .arg(script)
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    let done = child.wait_with_output().unwrap();
    assert!(done.status.success());
    done.stdout
}

fn rows() -> Vec<Vec<String>> {
    let row = |(n, text): (usize, &&str)| {
        let id = format!("N-{n}");
        let [name, part] = ["rail; \"left\", =1".to_owned(), "=ECG: \"a\", b;c:CF:2".to_owned()];
        let excluded = format!("insulation={}", text.replace(['\r', '\n'], " ").replace('|', "/"));
        let fixed = ["I", "no", "fixed", "yes"].map(String::from);
        let [class, earth, cord, switching] = fixed;
        let text = || (*text).to_owned();
        vec![
            id,
            text(),
            text(),
            text(),
            text(),
            text(),
            class,
            earth,
            cord,
            switching,
            name,
            String::new(),
            part,
            excluded,
        ]
    };
    let heading = HEAD.iter().map(|name| (*name).to_owned()).collect();
    [heading].into_iter().chain(NASTY.iter().enumerate().map(row)).collect()
}

fn lines(station: &Station) -> String {
    let folder = fs::read_dir(station.data().join("station")).unwrap();
    folder.map(|file| fs::read_to_string(file.unwrap().path()).unwrap()).collect()
}

#[test]
fn lists_of_another_program_come_in_and_go_out_exactly() {
    let station = Builder::new().start();
    let rows = rows();
    let path = |name: &str| station.folder().join(name).to_str().unwrap().to_owned();
    for (delimiter, told) in
        [(",", "6 new, 0 changed, 0 unchanged"), (";", "0 new, 0 changed, 6 unchanged")]
    {
        let list = path("list.csv");
        fs::write(&list, python(&["write", delimiter], &json!(rows).to_string())).unwrap();
        let said = station.run(&["asset", "import", &list]);
        assert_eq!((said.code, said.stdout.as_str()), (0, ""), "{said:?}");
        assert!(said.stderr.starts_with(told), "{said:?}");
    }
    let all = path("all.csv");
    station.done(&["asset", "export", &all]);
    let read: Vec<Vec<String>> = serde_json::from_slice(&python(&["read", &all], "")).unwrap();
    for row in &rows[1..] {
        let found = read.iter().find(|other| other[0] == row[0]).unwrap();
        for (name, text) in HEAD.iter().zip(row) {
            let at = read[0].iter().position(|column| column == name).unwrap();
            assert_eq!(&found[at], text, "{name} of {}", row[0]);
        }
    }
    // What goes out comes in as the same register, and standard output is the same bytes.
    let said = station.run(&["asset", "import", &all, "--dry-run"]);
    assert_eq!((said.code, said.stdout.as_str()), (0, ""), "{said:?}");
    assert!(said.stderr.contains("0 new, 0 changed"), "{said:?}");
    assert_eq!(station.done(&["asset", "export"]).as_bytes(), fs::read(&all).unwrap());
    let again = station.run(&["asset", "export", &all]);
    assert_eq!(again.code, 2, "a file that is there is never touched: {again:?}");
}

#[test]
fn a_hospitals_list_is_tried_first_and_then_taken_in() {
    let station = Builder::new().start();
    let path = |name: &str, bytes: &[u8]| {
        let path = station.folder().join(name);
        fs::write(&path, bytes).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let text = "Inventar-Nr.;Bezeichnung;Hersteller;Schutzklasse;Netzanschluss;Haus;Station;Raum;\
        Strom (A);Frist;N\u{e4}chste Pr\u{fc}fung;Bemerkung\r\n\
        4711;Infusionspumpe gro\u{df};Quellhof;Klasse I;fest;Nord;3;B;0,3;12;30.11.2026;x\r\n";
    // As spreadsheets of Western Europe write it: a byte a letter.
    let bytes: Vec<u8> = text.chars().map(|c| u8::try_from(c).unwrap()).collect();
    let (list, map) = (path("list.csv", &bytes), path("map.toml", MAP.as_bytes()));
    let by_map = ["asset", "import", &list, "--map", &map];
    let before = lines(&station);
    let tried = station.run(&[&by_map[..], &["--dry-run"]].concat());
    assert_eq!((tried.code, tried.stdout.as_str()), (0, "new      4711\n"), "{tried:?}");
    assert!(tried.stderr.contains("nothing was written"), "{tried:?}");
    assert_eq!(lines(&station), before, "a trial leaves no line");
    let assets = station.get("/v1/assets");
    assert!(!assets.to_string().contains("4711"), "{assets}");
    assert!(station.run(&by_map).stderr.starts_with("1 new, 0 changed, 0 unchanged"));
    let pump = station.get("/v1/assets/4711");
    assert_eq!((&pump["location"], &pump["due"]), (&json!("Nord/3/B"), &json!("2026-11-30")));
    assert_eq!((&pump["class"], &pump["owner"]), (&json!("I"), &json!("clinic")));
    assert_eq!(pump["description"], "Infusionspumpe gro\u{df}");
    keeps_what_the_workshop_entered(&station, &by_map, &path);
}

fn keeps_what_the_workshop_entered(
    station: &Station,
    by_map: &[&str],
    path: &dyn Fn(&str, &[u8]) -> String,
) {
    let own = "asset,description,class,functional_earth,cord,switching_supply,earthed_points,\
               accessible_parts,applied_parts,serial\n\
               4711,pump,I,no,fixed,yes,case screw,,line:CF:1,77\n";
    station.done(&["asset", "import", &path("own.csv", own.as_bytes())]);
    let tried = station.run(&[by_map, &["--dry-run"]].concat());
    let told = "changed  4711  description: pump -> Infusionspumpe gro\u{df}\n";
    assert_eq!(tried.stdout, told, "what the list says nothing of stays: {tried:?}");
    station.done(by_map);
    let pump = station.get("/v1/assets/4711");
    assert_eq!(pump["earthed_points"], json!(["case screw"]));
    assert_eq!((&pump["serial"], &pump["due"]), (&json!("77"), &json!("2026-11-30")));
    assert_eq!(pump["applied_parts"][0]["type"], "CF");
}

const PLACES: &str = "\
asset,description,location,ownership,return_by,risk,retired,class,functional_earth,cord,\
switching_supply,earthed_points,accessible_parts,applied_parts,interval,due
W-1,pump,East/2/ICU/bed 4,hospital,,high,,II,no,fixed,no,,pump head,,P12M,2026-01-31
W-2,pump,East/21,rented,2027-01-31,low,,II,no,fixed,no,,pump head,,P12M,2026-02-28
W-3,pump,East/2/ICU,donated,,medium,2026-01-15,II,no,fixed,no,,pump head,,P12M,2026-01-31
W-4,pump,East / 2,,,,2999-12-31,II,no,fixed,no,,pump head,,P12M,2026-03-31
";

#[test]
fn places_hold_their_wards_and_what_is_retired_is_due_no_more() {
    let station = Builder::new().start();
    let file = station.folder().join("places.csv");
    fs::write(&file, PLACES).unwrap();
    station.done(&["asset", "import", file.to_str().unwrap()]);
    let first = |text: String| -> Vec<String> {
        text.lines().filter_map(|line| line.split_whitespace().next().map(String::from)).collect()
    };
    let listed = |place: &str| first(station.done(&["asset", "list", "--under", place]));
    assert_eq!(listed("East/2"), ["W-1", "W-3", "W-4"]);
    assert_eq!(listed("East/2/ICU"), ["W-1", "W-3"]);
    let places = station.done(&["asset", "places"]);
    for line in
        ["     4  East", "     3    2", "     2      ICU", "     1        bed 4", "     1    21"]
    {
        assert!(places.lines().any(|other| other == line), "{line}: {places}");
    }
    let export = station.done(&["asset", "export", "--under", "East/21"]);
    assert_eq!(export.lines().count(), 2, "{export}");
    let pages = station.get("/v1/assets?under=East/2&limit=1&after=W-1");
    assert_eq!((&pages["items"][0]["id"], &pages["next"]), (&json!("W-3"), &json!("W-3")));
    let (data, day) = (station.data(), "2026-12-01");
    let due = |more: &[&str]| {
        let args = [&["due", data.to_str().unwrap(), "--on", day, "--json"], more].concat();
        let lines = station.done(&args);
        let asset = |line: &str| serde_json::from_str::<Value>(line).unwrap()["asset"].take();
        let all = lines.lines().map(asset).filter(|id| id.as_str().unwrap().starts_with("W-"));
        all.collect::<Vec<_>>()
    };
    assert_eq!(due(&[]), ["W-1", "W-2", "W-4"], "W-3 is retired");
    assert_eq!(due(&["--under", "East/2"]), ["W-1", "W-4"]);
    let scanned = station.run(&["scan", "W-3"]);
    assert!(scanned.stderr.contains("retired since 2026-01-15"), "{scanned:?}");
    let refused = station.run(&["begin"]);
    assert_eq!(refused.code, 2, "{refused:?}");
    assert!(refused.stderr.contains("retired since 2026-01-15"), "{refused:?}");
    assert_eq!(station.run(&["begin", "--asset", "W-4"]).code, 0, "its day is to come");
}

#[test]
fn what_was_looked_for_is_known_without_an_inspection() {
    let mut station = Builder::new().start();
    let file = station.folder().join("places.csv");
    fs::write(&file, PLACES).unwrap();
    station.done(&["asset", "import", file.to_str().unwrap()]);
    let data = station.data();
    let list = |station: &Station| station.done(&["due", data.to_str().unwrap()]);
    let line = |list: &str, id: &str| {
        list.lines().find(|line| line.contains(id)).map(String::from).unwrap_or_default()
    };
    let visit = |station: &Station, id: &str, words: &[&str]| {
        station.run(&[&["asset", "visit", id, "--outcome"], words].concat())
    };
    let said = visit(&station, "W-1", &["not_found", "--place", "East/2", "--retry", "2998-12-01"]);
    assert_eq!((said.code, said.stderr.as_str()), (0, "W-1 was not found.\n"));
    assert_eq!(visit(&station, "W-4", &["in_use"]).code, 0);
    // Killed, it knows what it said.
    station.kill9();
    station.restart();
    let due = list(&station);
    let lost = line(&due, "W-1");
    assert!(lost.contains("NOT FOUND since") && lost.contains(", 0 days"), "{lost}");
    assert!(lost.contains(", East/2; again on 2998-12-01"), "{lost}");
    assert!(line(&due, "W-4").contains("; in use on"), "{due}");
    assert!(!line(&due, "W-2").contains("; in use"), "{due}");
    for (id, words, why) in [
        ("W-9", vec!["in_use"], "no asset `W-9`"),
        ("W-1", vec!["not_found", "--retry", "2020-01-01"], "needs a day from"),
        ("W-1", vec!["retired", "--retry", "2998-12-01"], "leave `retry` out"),
        ("W-3", vec!["not_found"], "retired since 2026-01-15"),
    ] {
        let refused = visit(&station, id, &words);
        assert!(refused.code == 2 && refused.stderr.contains(why), "{why}: {refused:?}");
    }
    let retired = visit(&station, "W-1", &["retired", "--reason", "sold"]);
    assert_eq!(retired.stderr, "W-1 is retired, and due no more.\n");
    assert_eq!(line(&list(&station), "W-1"), "", "a retired asset is on no list");
    // A list that has no column for it does not bring it back.
    let head = PLACES.replace("risk,retired,", "risk,").replace(",high,,", ",high,");
    fs::write(&file, head.lines().take(2).collect::<Vec<_>>().join("\n")).unwrap();
    station.done(&["asset", "import", file.to_str().unwrap()]);
    assert_eq!(line(&list(&station), "W-1"), "");
    let began = station.run(&["begin", "--asset", "W-4"]);
    assert_eq!(began.code, 0, "{began:?}");
    let refused = visit(&station, "W-4", &["not_found"]);
    assert!(refused.stderr.contains("is open"), "{refused:?}");
    station.done(&["end", "--outcome", "sent_out", "--reason", "to the maker"]);
    assert!(line(&list(&station), "W-4").contains("; sent out on"), "{}", list(&station));
}

#[test]
fn the_register_is_no_matter_of_one_bench() {
    let station = Builder::new().start();
    let (config, mut station) = (station.config(), station);
    let text = fs::read_to_string(&config).unwrap();
    let second = "[[bench]]\nid = \"b2\"\nname = \"Bench 2\"\nfixtures = []\n";
    station.stop();
    fs::write(&config, text + second).unwrap();
    station.restart();
    let file = station.folder().join("places.csv");
    fs::write(&file, PLACES).unwrap();
    station.done(&["asset", "import", file.to_str().unwrap()]);
    let visit = ["asset", "visit", "W-1", "--outcome", "in_use"];
    let nobody = station.run(&visit);
    assert!(nobody.code == 2 && nobody.stderr.contains("nobody is named"), "{nobody:?}");
    for who in [["--by", "op-7"], ["--bench", "b1"]] {
        assert_eq!(station.run(&[&visit[..], &who].concat()).code, 0);
    }
}

#[test]
fn all_faults_of_a_list_are_said_at_once_and_nothing_is_taken() {
    let station = Builder::new().start();
    let file = station.folder().join("bad.csv");
    let text = format!(
        "{}\nA-1,,m,s,l,o,IV,no,fixed,no,,,,\nA-2,lamp,m,s,l,o,I,maybe,fixed,no,,,x:CF,\nA-3,ok,m,s,l,o,I,no,fixed,no,,,,\n",
        HEAD.join(",")
    );
    fs::write(&file, text).unwrap();
    let before = lines(&station);
    let said = station.run(&["asset", "import", file.to_str().unwrap()]);
    assert_eq!((said.code, said.stdout.as_str()), (2, ""));
    let places = [
        "line 2, `class`",
        "line 2, `description`",
        "line 3, `applied_parts`",
        "line 3, `functional_earth`",
    ];
    for place in places {
        assert!(said.stderr.contains(place), "{place}: {}", said.stderr);
    }
    assert_eq!(lines(&station), before);
    let answer: Value = station.get("/v1/assets");
    assert!(!answer.to_string().contains("A-3"));
}

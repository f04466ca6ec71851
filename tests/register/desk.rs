//! What is scanned at a bench and the register: unknown assets, instruments, retests.

use std::fs;
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};
use std::sync::mpsc::channel;
use std::thread;

use serde_json::{Value, json};
use tapline_drivers::scan::control::code;

use super::lines;
use super::support::station::{Builder, Output, Station, TAPLINE};
use super::support::wait;

#[test]
fn an_unknown_asset_is_asked_what_its_plan_follows_from() {
    let station = Builder::new().start();
    station.done(&["scan", "T-0201"]);
    assert_eq!(station.bench()["selected"]["asset"], "T-0201");
    let unknown = station.run(&["scan", "N-77"]);
    assert!(unknown.code == 2 && unknown.stderr.contains("describe it"), "{unknown:?}");
    // Nothing is carried over from the asset before: not its selection, not its plan.
    assert_eq!(station.bench()["selected"], Value::Null);
    let refused = station.run(&["begin"]);
    assert!(refused.code == 2 && refused.stderr.contains("no asset is selected"), "{refused:?}");
    let asked = |station: &Station| station.bench()["stranger"]["question"].take();
    assert_eq!(asked(&station), "description", "its number is what was scanned");
    for (tell, next) in [
        ("description=infusion pump", "ownership"),
        ("ownership=loaner", "class"),
        ("class=internal", "cord"),
        ("class=I", "cord"),
        ("cord=fixed", "functional_earth"),
        ("functional_earth=no", "switching_supply"),
        ("switching_supply=yes", "earthed_points"),
        ("earthed_points=case screw", "accessible_parts"),
        ("accessible_parts=none", "applied_parts"),
    ] {
        station.done(&["describe", tell]);
        assert_eq!(asked(&station), next, "after {tell}");
    }
    let wrong = station.run(&["describe", "applied_parts=line"]);
    assert!(wrong.code == 2 && wrong.stderr.contains("name:type:connections"), "{wrong:?}");
    assert!(!station.get("/v1/assets").to_string().contains("N-77"), "not before all is told");
    let last = station.run(&["describe", "applied_parts=line:CF:1", "location=East/2"]);
    assert!(last.stderr.starts_with("N-77 is in the register; plan "), "{last:?}");
    let bench = station.bench();
    assert_eq!((&bench["selected"]["asset"], &bench["stranger"]), (&json!("N-77"), &Value::Null));
    let asset = station.get("/v1/assets/N-77");
    assert_eq!((&asset["class"], &asset["ownership"]), (&json!("I"), &json!("loaner")));
    assert_eq!(asset["applied_parts"][0]["type"], "CF");
    let id = station.done(&["begin", "iec62353-recurrent-direct"]);
    assert_eq!(station.bench()["inspection"]["asset"], "N-77", "{id}");
}

#[test]
fn a_new_asset_is_described_by_codes_but_for_its_words() {
    let station = Builder::new().start();
    let scan = |word: &str| station.run(&["scan", &code(word)]);
    let nothing = scan("ASSET.CLASS-II");
    assert!(nothing.code == 2 && nothing.stderr.contains("no unknown code"), "{nothing:?}");
    assert_eq!(station.run(&["scan", "N-79"]).code, 2);
    station.done(&["describe", "description=lamp"]);
    for word in ["DONATED", "CLASS-II", "CORD-FIXED", "FUNCTIONAL-EARTH-NO", "SWITCHING-NO"] {
        assert_eq!(scan(&format!("ASSET.{word}")).code, 0, "{word}");
    }
    assert_eq!(
        station.bench()["stranger"]["question"],
        "accessible_parts",
        "class II has no earth"
    );
    assert_eq!(scan("ASSET.ACCESSIBLE-PARTS-NONE").code, 0);
    let last = scan("ASSET.APPLIED-PARTS-NONE");
    assert!(last.stderr.starts_with("N-79 is in the register"), "{last:?}");
    assert_eq!(station.get("/v1/assets/N-79")["ownership"], "donated");
    assert_eq!(station.bench()["selected"]["asset"], "N-79");
}

#[test]
fn what_was_told_of_one_unknown_asset_is_never_told_of_the_next() {
    let station = Builder::new().start();
    assert_eq!(station.run(&["scan", "N-78"]).code, 2);
    station.done(&["describe", "class=II", "cord=none", "description=lamp"]);
    // A type with its serial number: the strongest that a label without an own number says.
    let code = "]d20105102222233336219";
    assert_eq!(station.run(&["scan", code]).code, 2);
    let told = station.bench()["stranger"]["told"].take();
    assert_eq!(told, json!({ "udi_di": "05102222233336", "serial": "9" }));
    let rest = [
        "describe",
        "asset=new",
        "description=thermometer",
        "ownership=hospital",
        "class=internal",
        "cord=none",
        "accessible_parts=none",
        "applied_parts=probe:BF:1",
    ];
    let done = station.run(&rest);
    assert!(done.stderr.starts_with("T1-NEW-0001 is in the register"), "{done:?}");
    station.done(&["scan", code]);
    assert_eq!(station.bench()["selected"]["asset"], "T1-NEW-0001");
    // A number that is known is never described anew; one may also be named without a scan.
    let known = station.run(&["describe", "asset=T-0201", "class=II"]);
    assert!(known.code == 2 && known.stderr.contains("in the register"), "{known:?}");
    station.done(&["describe", "asset=4711", "class=II", "cord=fixed"]);
    assert_eq!(station.bench()["stranger"]["question"], "description");
    let strange = station.run(&["describe", "clas=II"]);
    assert!(strange.stderr.contains("did you mean `class`"), "{strange:?}");
    station.done(&["scan", "T-0201"]);
    assert_eq!(station.bench()["stranger"], Value::Null);
    assert_eq!(station.run(&["describe", "class=II"]).code, 2, "there is none to describe");
}

#[test]
fn an_instrument_that_is_at_another_bench_is_asked_for_and_not_measured_with() {
    let mut wiring = Builder::new();
    let _meter = wiring.pty("dmm", "val-unit-line", Some("TM-01"));
    let mut station = wiring.start();
    let text = fs::read_to_string(station.config()).unwrap();
    let second = "[[bench]]\nid = \"b2\"\nname = \"Bench 2\"\nfixtures = []\n";
    let wire = |station: &mut Station, bench: &str| {
        station.stop();
        let line = format!("id = \"dmm\"\nbench = \"{bench}\"");
        let wired = text.replace("id = \"dmm\"\nbench = \"b1\"", &line);
        fs::write(station.config(), format!("{wired}{second}")).unwrap();
        station.restart();
    };
    fn at(station: &Station, bench: &str, words: &[&str]) -> Output {
        station.run(&[words, &["--bench", bench]].concat())
    }
    fn seen(station: &Station) -> Value {
        station.get("/v1/instruments/TM-01")["seen"]["bench"].take()
    }
    wire(&mut station, "b1");
    assert_eq!(at(&station, "b2", &["operator", "login", "OP-0007"]).code, 0);
    assert_eq!(seen(&station), Value::Null);
    assert!(at(&station, "b1", &["scan", "TM-01"]).stderr.starts_with("TM-01 is here"));
    assert_eq!(seen(&station), "b1");
    let strange = at(&station, "b2", &["scan", "TM-01"]);
    assert!(strange.code == 2 && strange.stderr.contains("is on line `dmm` of bench b1"));
    // Its line is wired to the other bench: it is not measured with before it was seen there.
    wire(&mut station, "b2");
    let begin = ["begin", "--asset", "T-0201"];
    let refused = at(&station, "b2", &begin);
    assert!(refused.code == 2 && refused.stderr.contains("seen at bench b1"), "{refused:?}");
    let asked = at(&station, "b2", &["scan", "TM-01"]);
    assert!(asked.code == 2 && asked.stderr.contains("is at bench b1 since"), "{asked:?}");
    assert_eq!(at(&station, "b2", &["scan", "SB-1"]).code, 0);
    assert_eq!(at(&station, "b2", &["scan", "TM-01"]).code, 2, "another code came between");
    assert_eq!(seen(&station), "b1", "one scan moves nothing");
    assert!(at(&station, "b2", &["scan", "TM-01"]).stderr.starts_with("TM-01 is here"));
    assert_eq!(seen(&station), "b2");
    assert_eq!(at(&station, "b2", &begin).code, 0);
    let lines = lines(&station);
    assert!(
        lines.contains(r#""k":"checkout","bench":"b1","instrument":"TM-01","link":"dmm","by""#)
    );
    assert!(lines.contains(r#""link":"dmm","from":"b1","by":"op-7""#), "{lines}");
}

#[test]
fn a_hand_held_instrument_is_where_its_label_was_scanned_last() {
    let mut station = Builder::new().start();
    let text = fs::read_to_string(station.config()).unwrap();
    station.stop();
    let second = "[[bench]]\nid = \"b2\"\nname = \"Bench 2\"\nfixtures = []\n";
    fs::write(station.config(), text + second).unwrap();
    station.restart();
    let at = |bench: &str, words: &[&str]| station.run(&[words, &["--bench", bench]].concat());
    let seen = || station.get("/v1/instruments/TM-01")["seen"]["bench"].take();
    // No line carries it: whoever scans it says where it is.
    assert!(at("b1", &["scan", "TM-01"]).stderr.starts_with("TM-01 is here"));
    assert_eq!(seen(), "b1");
    let nobody = at("b2", &["scan", "TM-01"]);
    assert!(nobody.code == 2 && nobody.stderr.contains("is at bench b1 since"), "{nobody:?}");
    let nobody = at("b2", &["scan", "TM-01"]);
    assert!(nobody.code == 2 && nobody.stderr.contains("nobody is logged in"), "{nobody:?}");
    assert_eq!(at("b2", &["operator", "login", "OP-0007"]).code, 0);
    assert_eq!(at("b2", &["scan", "TM-01"]).code, 2);
    assert!(at("b2", &["scan", "TM-01"]).stderr.starts_with("TM-01 is here"));
    assert_eq!(seen(), "b2");
    // It hangs on no line, so an inspection at the other bench waits for nothing.
    assert_eq!(at("b1", &["begin", "--asset", "T-0201"]).code, 0);
    let lines = lines(&station);
    let moved = r#""k":"checkout","bench":"b2","instrument":"TM-01","from":"b1","by":"op-7""#;
    assert!(lines.contains(moved), "{lines}");
}

#[test]
fn two_codes_of_one_label_name_one_asset() {
    let station = Builder::new().start();
    let list = station.folder().join("list.csv");
    let head = "asset,description,udi_di,serial,class,functional_earth,cord,switching_supply,\
                earthed_points,accessible_parts,applied_parts\n";
    fs::write(&list, format!("{head}U-1,pump,05102222233336,9,II,no,fixed,no,,case,\n")).unwrap();
    station.done(&["asset", "import", list.to_str().unwrap()]);
    let (device, serial) = ("]d20105102222233336", "]d2219");
    let alone = station.run(&["scan", serial]);
    assert!(alone.code == 2, "{alone:?}");
    let both = station.run(&["scan", device, serial]);
    assert_eq!((both.code, &station.bench()["selected"]["asset"]), (0, &json!("U-1")), "{both:?}");
    // Something between them parts them.
    station.run(&["scan", device]);
    station.done(&["scan", "T-0201"]);
    assert_eq!(station.run(&["scan", serial]).code, 2);
}

#[test]
fn what_is_refused_is_seen_in_the_log_and_kept_nowhere() {
    let station = Builder::new().start();
    let mut tail = Command::new(TAPLINE)
        .arg("tail")
        .env("TAPLINE_SOCKET", station.socket())
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let (send, told) = channel();
    let out = BufReader::new(tail.stdout.take().unwrap());
    let reader = thread::spawn(move || {
        out.lines().map_while(Result::ok).for_each(|line| drop(send.send(line)));
    });
    // Once a line of the log is seen, somebody looks on.
    wait::until_true("the log is followed", || {
        station.done(&["operator", "login", "OP-0007"]);
        told.try_iter().any(|line| line.contains("logged in"))
    });
    let before = lines(&station);
    let next =
        |what: &str| wait::until(what, || told.try_iter().find(|line| line.contains("REFUSED")));
    assert_eq!(station.run(&["begin", "--asset", "X-1"]).code, 2);
    let line = next("a refusal is told");
    let why = "REFUSED begin X-1 (op-7, command): there is no asset `X-1`";
    assert!(line.contains(why), "{line}");
    assert!(line.contains("  b1 "), "its bench: {line}");
    for _ in 0..5 {
        assert_eq!(station.run(&["sign"]).code, 2);
    }
    assert_eq!(station.run(&["park"]).code, 2);
    assert!(next("the next is told").contains("REFUSED sign"), "the same again is one line");
    let line = next("the one after it is told");
    assert!(line.contains("REFUSED park") && line.contains("4 more were refused"), "{line}");
    assert_eq!(lines(&station), before);
    tail.kill().unwrap();
    tail.wait().unwrap();
    reader.join().unwrap();
}

#[test]
fn a_port_that_is_not_there_is_named_and_is_no_fault() {
    let mut wiring = Builder::new();
    let nowhere = wiring.folder().join("nowhere");
    wiring.serial("ohm", &nowhere, "val-unit-line", Some("TM-01"));
    let station = wiring.start();
    let config = station.config();
    let said = station.run(&["serve", "--check", "--config", config.to_str().unwrap()]);
    let line = format!("link `ohm`: {} is not there now: plug it in", nowhere.display());
    assert!(said.code == 0 && said.stderr.contains(&line), "{said:?}");
}

#[test]
fn a_retest_names_the_inspection_that_was_not_passed() {
    let station = Builder::new().start();
    let inspect = |reason: &str, answer: &str| {
        station.done(&["scan", "T-0201"]);
        let id = station.done(&["begin", "--reason", reason]).trim().to_owned();
        let words = ["answer", answer, "--reason", "seen"];
        station.done(&words[..if answer == "pass" { 2 } else { 4 }]);
        station.done(&["scan", "T-0201"]);
        id
    };
    let given = |id: &str| {
        let facts = station.get(&format!("/v1/inspections/{id}/facts?limit=500"));
        let items = facts["facts"].as_array().unwrap().clone();
        items.into_iter().find(|fact| fact["what"] == "retest")
    };
    let sign = ["sign", "--as", "performed", "--tag", "attached"];
    let first = inspect("scheduled", "fail");
    assert_eq!(station.run(&sign).code, 1, "an item was answered with fail");
    let second = inspect("after_repair", "pass");
    let fact = wait::until("what was not passed is found", || given(&second));
    assert_eq!((&fact["of"], &fact["outcome"]), (&json!(first), &json!("fail")));
    assert_eq!(given(&first), None);
    assert_eq!(station.run(&sign).code, 3, "nothing was measured");
    let shown = station.run(&["show", &second]);
    assert!(shown.stdout.contains(&format!("retest of {first}, which came to FAIL")), "{shown:?}");
    let data = station.data();
    let history = ["history", "T-0201", data.to_str().unwrap()];
    let told = station.run(&history);
    let line = format!("{second}  UNDECIDED, retest (after repair) of {first}");
    assert!(told.stdout.contains(&line), "{told:?}");
    let json = station.done(&[&history[..], &["--json"]].concat());
    let retest: Value = serde_json::from_str(json.lines().next().unwrap()).unwrap();
    assert_eq!((&retest["retest"], &retest["of"]), (&json!(second), &json!(first)));
    // It came to nothing: the next one tests again what it did not show.
    let third = inspect("after_repair", "pass");
    let fact = wait::until("the chain goes on", || given(&third));
    assert_eq!((&fact["of"], &fact["outcome"]), (&json!(second), &json!("undecided")));
}

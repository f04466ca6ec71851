//! Badge and PIN, with the real program: who signs shows both, wrong ones are noted down and slow
//! down whoever guesses, and the PIN itself stands nowhere.
//!
//! What is to come of it: 21 CFR 11.200(a)(1) and 11.300(d) (from memory), two components of a
//! signature, and attempts that are noted; NIST SP 800-63B, 5.2.2 (from memory), waits that grow.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs::{self, Permissions};
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::process::{Command, Stdio};

use serde_json::{Value, json};
use support::station::{Builder, Output, Station, TAPLINE};
use support::{http, look};

/// Three that are right, and one that never is.
const PIN_7: &str = "271828";
const PIN_7_LATER: &str = "wren under 3 eaves";
const PIN_3: &str = "903174";
const WRONG: &str = "577215";
const PIN_TYPED: &str = "6180339887";

fn station(policy: &str) -> Station {
    look::station(Builder::new().policy(policy))
}

/// Runs a command with what is typed, a line each.
fn typed(station: &Station, args: &[&str], lines: &[&str]) -> Output {
    let mut command = Command::new(TAPLINE);
    let command = command.args(args).env("TAPLINE_SOCKET", station.socket());
    let pipes = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = pipes.spawn().unwrap();
    let text: String = lines.iter().map(|line| format!("{line}\n")).collect();
    // What reads nothing may be gone already.
    let _ = child.stdin.take().unwrap().write_all(text.as_bytes());
    let done = child.wait_with_output().unwrap();
    Output {
        stdout: String::from_utf8(done.stdout).unwrap(),
        stderr: String::from_utf8(done.stderr).unwrap(),
        code: done.status.code().unwrap(),
    }
}

#[track_caller]
fn set(station: &Station, id: &str, badge: &str, before: &str, pin: &str) {
    let said = typed(station, &["operator", "pin", id], &[badge, before, pin, pin]);
    assert_eq!(said.code, 0, "{said:?}");
}

#[track_caller]
fn refused(said: &Output, why: &str) {
    assert_eq!(said.code, 2, "{said:?}");
    assert!(said.stderr.contains(why), "{why}: {said:?}");
}

/// Looks at an asset, up to its signature; the inspection.
fn looked_at(station: &Station) -> String {
    station.done(&["scan", "T-0201"]);
    let said = station.done(&["begin", "look-only"]);
    station.done(&["answer", "pass"]);
    station.done(&["scan", "T-0201"]);
    said.lines().next().unwrap().to_owned()
}

/// What the station's book tells of PINs.
fn noted(station: &Station) -> Vec<Value> {
    let mut facts = Vec::new();
    for file in fs::read_dir(station.data().join("station")).unwrap() {
        let text = fs::read_to_string(file.unwrap().path()).unwrap_or_default();
        let lines = text.lines().filter_map(|line| serde_json::from_str::<Value>(line).ok());
        facts.extend(lines.filter(|line| line["k"] == "pin"));
    }
    facts
}

/// Waits as long as the station says.
fn wait_until_asked_again(station: &Station, body: &Value) {
    support::wait::until_true("the wait is over", || {
        let path = "/v1/benches/b1/sign";
        let (_, text) = http::ask(&station.socket(), "POST", path, &body.to_string()).unwrap();
        let code = serde_json::from_str::<Value>(&text).unwrap()["code"].clone();
        code != "pin_wait"
    });
}

#[test]
fn who_signs_shows_badge_and_pin_and_the_record_says_so() {
    let station = station("sign = \"badge_and_pin\"\nreview = \"all\"");
    let id = looked_at(&station);
    // Nothing but both is enough, and a code is no PIN.
    refused(&station.run(&["sign"]), "badge and the PIN");
    refused(&station.run(&["scan", ".TL-SIGN=HQ"]), "control code");
    refused(
        &station.run(&["scan", &tapline_drivers::scan::control::code("SIGN")]),
        "no code is one",
    );
    refused(&typed(&station, &["sign"], &["OP-0007", PIN_7]), "has no PIN");
    for weak in ["27182", "111111", "345678", "OP-0007"] {
        let said = typed(&station, &["operator", "pin", "op-7"], &["OP-0007", "", weak, weak]);
        refused(&said, "PIN");
    }
    let other = ["OP-0003", "", PIN_7, PIN_7];
    refused(&typed(&station, &["operator", "pin", "op-7"], &other), "not the badge of that");
    let differ = ["OP-0007", "", PIN_7, PIN_3];
    refused(&typed(&station, &["operator", "pin", "op-7"], &differ), "differ");
    set(&station, "op-7", "OP-0007", "", PIN_7);
    set(&station, "op-3", "OP-0003", "", PIN_3);
    // The name that every list shows is no badge; somebody else's badge and PIN do not sign here.
    refused(&typed(&station, &["sign"], &["op-7", PIN_7]), "badge and the PIN");
    refused(&typed(&station, &["sign"], &["OP-0003", PIN_3]), "not that of who works here");
    let said = typed(&station, &["sign"], &["OP-0007", PIN_7]);
    assert_eq!(said.code, 0, "{said:?}");
    let record = station.get(&format!("/v1/inspections/{id}"));
    assert_eq!(record["closed"]["auth"], "badge+pin");
    // The second person has both of their own.
    refused(&station.run(&["review", &id, "--by", "op-3"]), "badge and the PIN");
    let said = typed(&station, &["review", &id], &["OP-0003", PIN_3]);
    assert_eq!(said.code, 0, "{said:?}");
    let amend = ["amend", &id, "answer/look/fuses=fail", "--reason", "wrong_answer", "--text"];
    let amend = [&amend[..], &["the fuse was blown after all", "--second", "op-3"]].concat();
    let both = ["OP-0007", PIN_7, "OP-0003"];
    refused(&typed(&station, &amend, &both), "badge and the PIN");
    let said = typed(&station, &amend, &[&both[..], &[PIN_3]].concat());
    assert_eq!(said.code, 0, "{said:?}");
    let record = station.get(&format!("/v1/inspections/{id}"));
    let auth = record["addenda"].as_array().unwrap().iter().map(|one| one["auth"].clone());
    assert_eq!(auth.collect::<Vec<_>>(), ["badge+pin", "badge+pin"]);
    let report = format!("/v1/inspections/{id}/report.html");
    let (_, told) = http::ask(&station.socket(), "GET", &report, "").unwrap();
    assert!(told.contains("by badge and PIN"), "{told}");
    let shown = station.run(&["show", &id]).stdout;
    assert_eq!(shown.matches("badge and PIN").count(), 3, "{shown}");
    let said = Output::of(Command::new(TAPLINE).arg("verify").arg(station.data()));
    assert_eq!(said.code, 0, "{said:?}");
}

#[test]
fn wrong_ones_are_noted_and_waited_for_whoever_they_are_for_and_over_a_restart() {
    let mut station = station("sign = \"badge_and_pin\"");
    looked_at(&station);
    set(&station, "op-7", "OP-0007", "", PIN_7);
    refused(&typed(&station, &["sign"], &["OP-0007", WRONG]), "do not go together");
    refused(&typed(&station, &["sign"], &["OP-0007", PIN_7]), "wrong just now");
    // Nobody has this badge: that is told in the same words, and it is waited for, too.
    let said = typed(&station, &["sign"], &["OP-9999", WRONG]);
    refused(&said, "do not go together");
    refused(&typed(&station, &["sign"], &["OP-9998", WRONG]), "wrong just now");
    let told = noted(&station);
    let of = |n: usize| (told[n]["what"].clone(), told[n]["operator"].clone());
    assert_eq!(told.len(), 3, "what came too early was not looked at: {told:?}");
    assert_eq!(of(0), ("set".into(), "op-7".into()));
    assert_eq!(of(1), ("wrong".into(), "op-7".into()));
    assert_eq!(of(2), ("wrong".into(), Value::Null));
    assert_eq!(told[1]["uid"], rustix::process::getuid().as_raw());
    let right = json!({ "as": "performed", "badge": "OP-0007", "pin": PIN_7 });
    let wrong = json!({ "as": "performed", "badge": "OP-0007", "pin": WRONG });
    wait_until_asked_again(&station, &wrong);
    // The second wait is 5 s. A station that is killed and started goes on with it.
    station.kill9();
    station.restart();
    let said = typed(&station, &["sign"], &["OP-0007", PIN_7]);
    refused(&said, "wrong just now");
    wait_until_asked_again(&station, &right);
    let told = noted(&station);
    let last = told.last().unwrap();
    assert_eq!((&last["what"], &last["operator"]), (&"right".into(), &"op-7".into()));
    assert!(!station.done(&["status"]).contains("T-0201"), "it is signed");
}

/// The waits between six wrong ones, 2 to 60 s, and the hour of the lock are those of the unit test
/// in `src/station/pins.rs`; here its boot-time clock is ahead instead of anybody waiting.
#[test]
fn six_wrong_ones_lock_it_and_no_kill_unlocks_it() {
    let mut station = station("sign = \"badge_and_pin\"");
    looked_at(&station);
    set(&station, "op-7", "OP-0007", "", PIN_7);
    let mut ahead = 0;
    for wait in [2, 5, 15, 30, 60] {
        refused(&typed(&station, &["sign"], &["OP-0007", WRONG]), "do not go together");
        ahead += wait;
        station.kill9();
        station.restart_ahead(ahead);
    }
    let sixth = typed(&station, &["sign"], &["OP-0007", WRONG]);
    refused(&sixth, "so many in a row lock it");
    assert!(sixth.stderr.contains("60 min") && sixth.stderr.contains("--reset"), "{sixth:?}");
    let right = |station: &Station| typed(station, &["sign"], &["OP-0007", PIN_7]);
    refused(&right(&station), "this PIN is locked");
    // Each was on disk before it was told: nothing is won by a kill, nor short of the hour.
    for later in [0, 3_300] {
        station.kill9();
        station.restart_ahead(ahead + later);
        let said = right(&station);
        refused(&said, "this PIN is locked");
        assert!(said.stderr.contains("--reset"), "{said:?}");
    }
    let told = noted(&station);
    let what: Vec<_> = told.iter().map(|fact| fact["what"].as_str().unwrap()).collect();
    let wrong = ["wrong"; 6];
    assert_eq!(what, [&["set"], &wrong[..]].concat(), "what came while it was locked was not read");
    assert!(told.iter().all(|fact| fact["operator"] == "op-7" && fact["from"] == "socket"));
    assert!(station.done(&["status"]).contains("T-0201"), "nothing was signed");
    station.kill9();
    station.restart_ahead(ahead + 3_600);
    let said = right(&station);
    assert_eq!(said.code, 0, "the hour is over: {said:?}");
    assert_eq!(noted(&station).last().unwrap()["what"], "right");
}

#[test]
fn a_pin_is_changed_by_its_owner_and_reset_by_the_stations() {
    let station = station("sign = \"badge_and_pin\"");
    set(&station, "op-7", "OP-0007", "", PIN_7);
    let change = |before: &str| {
        let lines = ["OP-0007", before, PIN_7_LATER, PIN_7_LATER];
        typed(&station, &["operator", "pin", "op-7"], &lines)
    };
    refused(&change(""), "there is a PIN already");
    refused(&change(WRONG), "do not go together");
    let program = station.folder().join("tapline");
    fs::copy(TAPLINE, &program).unwrap();
    for path in [station.folder(), &program] {
        fs::set_permissions(path, Permissions::from_mode(0o755)).unwrap();
    }
    fs::set_permissions(station.socket(), Permissions::from_mode(0o666)).unwrap();
    let reset = ["operator", "pin", "op-7", "--reset"];
    let user = ["--reuid=65534", "--regid=65534", "--clear-groups"];
    let other = Output::of(
        Command::new("setpriv")
            .args(user)
            .arg(&program)
            .arg("--socket")
            .arg(station.socket())
            .args(reset),
    );
    refused(&other, "only the user that runs the station");
    station.done(&reset);
    refused(&station.run(&["operator", "pin", "nobody", "--reset"]), "no operator");
    set(&station, "op-7", "OP-0007", "", PIN_7_LATER);
    looked_at(&station);
    let said = typed(&station, &["sign"], &["OP-0007", PIN_7_LATER]);
    assert_eq!(said.code, 0, "{said:?}");
    let told = noted(&station);
    let what: Vec<_> = told.iter().map(|fact| fact["what"].as_str().unwrap()).collect();
    assert_eq!(what, ["set", "wrong", "reset", "set"]);
}

#[test]
fn a_pin_stands_in_no_log_book_answer_or_error() {
    let mut builder = Builder::new().policy("sign = \"badge_and_pin\"");
    builder.env("RUST_LOG", "trace");
    let station = look::station(builder);
    looked_at(&station);
    let mut said = String::new();
    let mut say = |args: &[&str], lines: &[&str]| {
        let output = typed(&station, args, lines);
        said += &format!("{output:?}");
    };
    say(&["operator", "pin", "op-7"], &["OP-0007", "", PIN_7, PIN_7]);
    say(&["operator", "pin", "op-7"], &["OP-0007", WRONG, PIN_7_LATER, PIN_7_LATER]);
    say(&["sign"], &["OP-0007", WRONG]);
    // Typed where codes go.
    say(&["scan", PIN_TYPED], &[]);
    assert!(station.run(&["scan", PIN_TYPED]).stderr.contains("may be a PIN"));
    let long = WRONG.repeat(12);
    for body in [
        json!({ "as": "performed", "badge": "OP-0007", "pin": long }),
        json!({ "as": "performed", "badge": ["x"], "pin": WRONG }),
        json!({ "as": "none", "badge": "OP-0007", "pin": WRONG, "more": 1 }),
    ] {
        let path = "/v1/benches/b1/sign";
        let asked = http::ask(&station.socket(), "POST", path, &body.to_string()).unwrap();
        assert_ne!(asked.0, 200, "{asked:?}");
        said += &asked.1;
    }
    wait_until_asked_again(
        &station,
        &json!({ "as": "performed", "badge": "OP-0007", "pin": PIN_7 }),
    );
    assert_eq!(noted(&station).last().unwrap()["what"], "right");
    let log = station.log();
    assert!(log.contains("Faces are open."), "{log}");
    for pin in [PIN_7, PIN_7_LATER, WRONG, PIN_TYPED] {
        assert!(!said.contains(pin) && !log.contains(pin), "{pin}");
        let found = Command::new("grep").args(["-rla", pin]).arg(station.data()).output().unwrap();
        assert!(found.stdout.is_empty(), "in no file: {found:?}");
    }
    let keys = station.data().join("keys/pins.json");
    let mode = fs::metadata(&keys).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o400, "nobody else reads what it is compared with");
    let archive = station.folder().join("archive");
    let config = station.config().display().to_string();
    let done = Output::of(
        Command::new(TAPLINE)
            .args(["archive", archive.to_str().unwrap()])
            .args(["--config", &config]),
    );
    assert_eq!(done.code, 0, "{done:?}");
    let found = Command::new("grep").args(["-rla", "argon2"]).arg(&archive).output().unwrap();
    assert!(found.stdout.is_empty(), "no archive takes it along: {found:?}");
}

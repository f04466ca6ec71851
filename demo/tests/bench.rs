//! The bench as a peer: read over real ptys and TCP with nothing but the standard library.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::fs::File;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::thread::JoinHandle;
use std::time::Duration;

use serde_json::{Value, json};
use tapline_demo::bench::{Options, Ports, run};
use tapline_demo::scene::Scene;

const SCENE: &str = r#"format = "tapline-scene-1"
id = "good"
title = "A good asset"
seed = 7
asset = "P-0101"
supply = { volts = "230", hertz = 50, neutral = "earthed" }
box = { switches = ["S5", "S7", "supply"], witnessed = true }
meters = { leads = "0.061 Ohm" }
parts = [
    ["C", "L", "case", "2.2 nF"],
    ["C", "N", "case", "2.2 nF"],
    ["R", "L2", "N2", "500 Ohm"],
    ["R", "case", "PE", "0.09 Ohm"],
]
expect = { outcome = "pass" }
"#;

struct Running {
    folder: tempfile::TempDir,
    bench: Option<JoinHandle<std::io::Result<()>>>,
    control: BufReader<UnixStream>,
}

impl Running {
    fn start(dmm_on_pty: bool) -> Running {
        let folder = tempfile::tempdir().unwrap();
        let options = Options { folder: folder.path().to_owned(), dmm_on_pty, with_parent: false };
        let scene = Scene::parse(SCENE).unwrap();
        let bench = std::thread::spawn(move || run(scene, &options));
        let control = connect(folder.path());
        Running { folder, bench: Some(bench), control: BufReader::new(control) }
    }

    fn port(&self, name: &str) -> String {
        Ports::read(self.folder.path()).unwrap().at[name].clone()
    }

    fn serial(&self, name: &str) -> BufReader<File> {
        let file = File::options().read(true).write(true).open(self.port(name)).unwrap();
        BufReader::new(file)
    }

    fn order(&mut self, order: &Value) -> Value {
        let line = format!("{order}\n");
        self.control.get_mut().write_all(line.as_bytes()).unwrap();
        let mut answer = String::new();
        self.control.read_line(&mut answer).unwrap();
        serde_json::from_str(&answer).unwrap()
    }

    /// Asks until the bench has noticed that somebody has a port open, or has not.
    fn until_open(&mut self, port: &str, open: bool) {
        for _ in 0..100_000 {
            let look = self.order(&json!({ "do": "look" }));
            if look["listening"].as_array().unwrap().contains(&json!(port)) == open {
                return;
            }
        }
        panic!("{port} did not become open = {open}");
    }

    fn act(&mut self, act: &Value) {
        assert_eq!(self.order(act), json!({ "ok": true }), "{act}");
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.control.get_mut().write_all(b"{\"do\":\"quit\"}\n").unwrap();
        self.bench.take().unwrap().join().unwrap().unwrap();
    }
}

/// Waits for the bench: the connection is tried until the socket is there, with a generous cap.
fn connect(folder: &Path) -> UnixStream {
    for _ in 0..5_000 {
        if Ports::read(folder).is_ok() {
            let control = UnixStream::connect(folder.join("control")).unwrap();
            control.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
            return control;
        }
        std::thread::park_timeout(Duration::from_millis(1));
    }
    panic!("the bench did not announce its ports");
}

fn line(from: &mut impl std::io::BufRead) -> String {
    let mut line = String::new();
    from.read_line(&mut line).unwrap();
    line
}

#[test]
fn the_low_resistance_meter_speaks_over_a_pty() {
    let mut bench = Running::start(false);
    let mut ohm = bench.serial("ohm");
    assert_eq!(line(&mut ohm), "R4 OL Ohm\r\n");
    bench.act(&json!({ "do": "clips", "to": "shorted" }));
    assert!(line(&mut ohm).starts_with("R4 +0.06"));
    bench.act(&json!({ "do": "clips", "to": { "on": "case screw" } }));
    bench.act(&json!({ "do": "way", "to": "minus" }));
    let shown = line(&mut ohm);
    assert!(shown.starts_with("R4 -0.1") && shown.ends_with(" Ohm\r\n"), "{shown}");
}

#[test]
fn the_contacts_tell_their_state_at_opening_and_at_each_change() {
    let mut bench = Running::start(false);
    let mut contacts = bench.serial("box");
    assert_eq!(line(&mut contacts), "C 0000\r\n");
    bench.act(&json!({ "do": "switch", "set": { "S5": "reversed", "supply": "on" } }));
    assert_eq!(line(&mut contacts), "C 1010\r\n");
    drop(contacts);
    bench.until_open("box", false);
    let mut again = bench.serial("box");
    assert_eq!(line(&mut again), "C 1010\r\n");
}

#[test]
fn the_scanner_sends_codes_with_their_line_end() {
    let mut bench = Running::start(false);
    let mut scanner = bench.serial("scanner");
    // A code scanned before the bench has noticed the reader is lost, as on a loose cable.
    bench.until_open("scanner", true);
    bench.act(&json!({ "do": "scan", "code": "P-0101" }));
    assert_eq!(line(&mut scanner), "P-0101\r\n");
}

fn measures(bench: &mut Running, mut dmm: impl std::io::Read + std::io::Write) {
    let mut ask = |text: &str| -> String {
        dmm.write_all(text.as_bytes()).unwrap();
        let mut answer = Vec::new();
        let mut byte = [0];
        while answer.last() != Some(&b'\n') {
            dmm.read_exact(&mut byte).unwrap();
            answer.push(byte[0]);
        }
        String::from_utf8(answer).unwrap()
    };
    assert_eq!(ask("*IDN?\n"), "GENERIC,BENCH-DMM,0001,1.0\n");
    bench.act(&json!({ "do": "plug", "plugged": true }));
    bench.act(&json!({ "do": "lead", "to": "case screw" }));
    let ohms: f64 = ask("CONF:RES\nREAD?\n").trim_end().parse().unwrap();
    assert!((ohms - 10_000.0).abs() < 5.0, "{ohms}");
    bench.act(&json!({ "do": "switch", "set": { "S7": "open" } }));
    let ohms: f64 = ask("READ?\n").trim_end().parse().unwrap();
    assert!((ohms - 11_000.0).abs() < 5.0, "{ohms}");
    bench.act(&json!({ "do": "switch", "set": { "supply": "on" } }));
    ask("CONF:VOLT:AC\nREAD?\nREAD?\n");
    let volts: f64 = ask("READ?\n").trim_end().parse().unwrap();
    assert!((volts - 0.1586).abs() < 0.0005, "{volts}");
    assert_eq!(ask("SYST:ERR?\n"), "-410,\"Query INTERRUPTED\"\n");
    assert_eq!(bench.order(&json!({ "do": "look" }))["lit"], json!(true));
}

#[test]
fn the_multimeter_measures_over_tcp() {
    let mut bench = Running::start(false);
    let dmm = TcpStream::connect(bench.port("dmm")).unwrap();
    dmm.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
    measures(&mut bench, dmm);
}

#[test]
fn the_multimeter_measures_over_a_pty() {
    let mut bench = Running::start(true);
    let dmm = File::options().read(true).write(true).open(bench.port("dmm")).unwrap();
    measures(&mut bench, dmm);
}

#[test]
fn a_pulled_cable_hangs_up_and_comes_back_under_its_name() {
    let mut bench = Running::start(false);
    let mut ohm = bench.serial("ohm");
    line(&mut ohm);
    bench.act(&json!({ "do": "unplug", "port": "ohm" }));
    let mut rest = Vec::new();
    let ended = ohm.read_to_end(&mut rest);
    // A hang-up reads as end of file or as an input/output error (5), by when it is noticed.
    assert!(ended.is_ok() || ended.unwrap_err().raw_os_error() == Some(5));
    bench.act(&json!({ "do": "replug", "port": "ohm" }));
    assert_eq!(line(&mut bench.serial("ohm")), "R4 OL Ohm\r\n");
    let wrong = bench.order(&json!({ "do": "replug", "port": "ohm" }));
    assert_eq!(wrong["ok"], json!(false));
}

#[test]
fn another_scene_and_what_is_not_understood() {
    let mut bench = Running::start(false);
    let text = SCENE.replace("\"good\"", "\"second\"");
    bench.act(&json!({ "do": "scene", "text": text }));
    assert_eq!(bench.order(&json!({ "do": "look" }))["scene"], json!("second"));
    let faults = bench.order(&json!({ "do": "scene", "text": "format = 1" }));
    assert!(faults["error"].as_str().unwrap().contains("expect"), "{faults}");
    assert_eq!(bench.order(&json!({ "do": "dance" }))["ok"], json!(false));
}

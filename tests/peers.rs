//! Whole inspections against instruments that nobody here wrote.
//!
//! `sinstruments` (PyPI) simulates a SCPI multimeter; one simulated meter answers on a pty and on
//! a TCP socket at once. `lewis` (PyPI) simulates it on a socket. `ser2net` (Debian), a terminal
//! server, puts the pty on the network. Over each of them an asset of class II is inspected from
//! the scan of its number to the sealed record, which `sha256sum` and `openssl` then verify; and
//! PyVISA (PyPI) then reads the same meter the same way. Everything is on loopback.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "peers/client.rs"]
mod client;
#[path = "peers/simulator.rs"]
mod simulator;
mod support;

use std::fs;
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};
use simulator::{Hands, Program, Simulator, free_port};
use support::book::Book;
use support::feed::Feed;
use support::station::{Builder, Output, Station};
use support::technician::{Bench, Hand, Technician};
use support::wait;

const ASSET: &str = "T-0201";
const SINSTRUMENTS: &str = "GENERIC,BENCH-DMM,0001,1.0";
const LEWIS: &str = "GENERIC,LEWIS-DMM,0001,1.0";

impl Bench for Hands {
    fn supply(&mut self, on: bool) {
        assert_eq!(self.ask(if on { "SIM:SUPPLY ON" } else { "SIM:SUPPLY OFF" }), "OK");
    }

    fn polarity(&mut self, word: &str) {
        assert_eq!(self.ask(&format!("SIM:S5 {word}")), "OK");
    }
}

/// From the scan to the signature. Returns the name of the inspection.
fn inspect(station: &Station, hand: Hand, hands: Hands) -> String {
    let mut technician = Technician { station, asset: ASSET, hand, bench: hands };
    let id = technician.begin();
    technician.work_until("connect");
    technician.prove_supply();
    technician.work_until("sign");
    assert_eq!(station.done(&["sign", "--as", "performed"]), format!("{id}\nPASS\n"));
    id
}

fn sealed(station: &Station, id: &str) -> PathBuf {
    let (year, month) = (&id[3..7], &id[7..9]);
    station.data().join("inspections").join(year).join(month).join(format!("{id}.jsonl"))
}

/// What the record of the class II asset must hold.
fn check(facts: &[Value], meter: &str) {
    let of = |kind: &'static str| facts.iter().filter(move |fact| fact["k"] == kind);
    let named = of("tap").chain(of("link")).any(|fact| fact["identity"] == meter);
    assert!(named, "the record names who answered");
    // R1 and R2 of the network in series, within 0.4 % of its certificate (10.012 + 0.9996).
    let network: Vec<_> = of("prove").filter(|p| p["what"] == "network_resistance").collect();
    assert!(!network.is_empty() && network.iter().all(|p| p["ok"] == true), "{network:?}");
    for proof in network {
        let shown: f64 = proof["value"].as_str().unwrap().parse().unwrap();
        assert!((11_000.0..11_003.0).contains(&shown), "{proof}");
    }
    // Ohm's law: 23.0 mV and 19.0 mV across 1 kohm are 23.0 uA and 19.0 uA. The simulator adds up
    // to 2 parts in 10 000, and the worst of the window counts.
    let values: Vec<_> = of("value").map(|v| (&v["set"]["S5"], &v["value"])).collect();
    assert_eq!(
        values,
        [(&json!("normal"), &json!("0.0230046000")), (&json!("reversed"), &json!("0.0190038000"))]
    );
    let verdict = of("verdict").find(|verdict| verdict["step"] == "leak_case").unwrap();
    assert_eq!(verdict["verdict"], "pass");
    // Volts over 1 kohm are milliamperes: 0.0230 mA are 23.0 uA.
    assert_eq!(verdict["unit"], "mA");
    assert!(verdict["shown"].as_str().unwrap().starts_with("0.0230"), "{verdict}");
    // 0.1 mA, the row of class II that a bed maker prints after DIN VDE 0751-1:2001.
    assert_eq!(verdict["limit"]["value"], "100");
    assert_eq!(verdict["limit"]["id"], "iec62353-2014.equipment.direct.ii");
    let sign = of("sign").next().unwrap();
    assert_eq!((&sign["outcome"], &sign["open"]), (&json!("pass"), &json!([])));
}

/// `contrib/verify.sh` accepts the record, and no longer when one digit of it is another.
fn verify_outside(station: &Station, file: &Path) {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/verify.sh");
    let key = station.data().join("keys/T1-1.pub.pem");
    let verify = |file: &Path| Output::of(Command::new("sh").arg(&script).arg(file).arg(&key));
    let good = verify(file);
    assert_eq!(good.code, 0, "{good:?}");
    assert!(good.stdout.starts_with("OK: "), "{good:?}");
    let copy = station.folder().join("copy");
    fs::create_dir(&copy).unwrap();
    let forged = copy.join(file.file_name().unwrap());
    for ending in ["head", "sig"] {
        let from = file.with_extension(ending);
        fs::copy(&from, copy.join(from.file_name().unwrap())).unwrap();
    }
    let text = fs::read_to_string(file).unwrap();
    fs::write(&forged, text.replacen("0.0230046", "0.0130046", 1)).unwrap();
    assert_eq!(verify(&forged).code, 1);
    let (file_name, forged) = (file.to_str().unwrap(), forged.to_str().unwrap());
    let key = key.to_str().unwrap();
    let good = station.run(&["verify", file_name]);
    assert_eq!((good.code, good.stderr.as_str()), (0, ""), "{good:?}");
    let bad = station.run(&["verify", forged, "--key", key]);
    assert_eq!((bad.code, bad.stderr.as_str()), (1, ""), "{bad:?}");
    assert!(bad.stdout.starts_with("FAILED "), "{bad:?}");
    // The raw bytes give every value and verdict once more.
    let again = station.run(&["replay", file_name]);
    assert_eq!((again.code, again.stderr.as_str()), (0, ""), "{again:?}");
    assert!(again.stdout.starts_with("same "), "{again:?}");
    let refused = station.run(&["replay", forged]);
    assert_eq!((refused.code, refused.stdout.as_str()), (2, ""), "{refused:?}");
}

#[test]
fn over_a_serial_port_and_by_scanner_an_asset_of_class_ii_passes() {
    let mut wiring = Builder::new();
    let simulator = Simulator::start(wiring.folder());
    wiring.serial("dmm", &simulator.pty, "scpi", Some("DM-01"));
    let scanner = wiring.pty("scan", "scan", None);
    let mut station = wiring.start();
    wait::until_true("the scanner is up", || station.link("scan")["state"] == "up");
    let id = inspect(&station, Hand::Scanner(scanner), simulator.hands());
    let file = sealed(&station, &id);
    check(&Book::read(&file).facts(), SINSTRUMENTS);
    verify_outside(&station, &file);
    station.stop();
    client::agrees(&format!("ASRL{}::INSTR", simulator.pty.display()), &file);
}

#[test]
fn over_tcp_and_by_command_an_asset_of_class_ii_passes_and_the_index_holds_it_too() {
    let mut wiring = Builder::new();
    let simulator = Simulator::start(wiring.folder());
    wiring.tcp("dmm", &simulator.address, "scpi", Some("DM-01"));
    let mut station = wiring.start();
    let id = inspect(&station, Hand::Typed, simulator.hands());
    let file = sealed(&station, &id);
    check(&Book::read(&file).facts(), SINSTRUMENTS);
    verify_outside(&station, &file);
    let lists = ["/v1/inspections?asset=T-0201", "/v1/inspections?instrument=DM-01"];
    let before: Vec<Value> = lists.iter().map(|path| station.get(path)).collect();
    assert_eq!(before[0]["items"][0]["id"], json!(id));
    rebuilt_from_the_books(&mut station);
    let after: Vec<Value> = lists.iter().map(|path| station.get(path)).collect();
    assert_eq!(before, after);
    let read = station
        .folder()
        .join("away")
        .join(file.strip_prefix(station.data().join("inspections")).unwrap());
    raw_bytes_from_the_index(&station, &id);
    station.stop();
    client::agrees(&socket(&simulator.address), &read);
}

/// A raw socket as PyVISA names it.
fn socket(address: &str) -> String {
    format!("TCPIP0::{}::SOCKET", address.replace(':', "::"))
}

#[test]
fn of_a_second_make_without_pauses_it_is_read_and_passes_too() {
    let mut wiring = Builder::new();
    let simulator = Simulator::lewis(wiring.folder());
    wiring.tcp("dmm", &simulator.address, "scpi-tcp", Some("DM-01"));
    let mut station = wiring.start();
    let id = inspect(&station, Hand::Typed, simulator.hands());
    let file = sealed(&station, &id);
    check(&Book::read(&file).facts(), LEWIS);
    verify_outside(&station, &file);
    station.stop();
    client::agrees(&socket(&simulator.address), &file);
}

/// `ser2net` in front of a pty.
fn terminal_server(folder: &Path, pty: &Path) -> (Program, String) {
    let (port, file) = (free_port(), folder.join("ser2net.yaml"));
    let text = format!(
        "connection: &dmm\n  accepter: tcp,127.0.0.1,{port}\n  \
         connector: serialdev,{},9600n81,local\n  options:\n    kickolduser: true\n",
        pty.display()
    );
    fs::write(&file, text).unwrap();
    let mut command = Command::new("ser2net");
    command.args(["-n", "-u", "-c"]).arg(&file);
    let mut program = Program::start(&mut command, folder.join("ser2net.log"));
    let address = format!("127.0.0.1:{port}");
    wait::until_true("ser2net listens; see contrib/packages.txt", || {
        program.runs();
        TcpStream::connect(&address).is_ok()
    });
    (program, address)
}

#[test]
fn through_a_terminal_server_and_asked_twice_it_is_the_same_meter() {
    let mut wiring = Builder::new();
    let simulator = Simulator::start(wiring.folder());
    let (_server, address) = terminal_server(wiring.folder(), &simulator.pty);
    wiring.tcp("dmm", &address, "scpi-remote-twice", Some("DM-01"));
    let mut station = wiring.start();
    // Told to be remote first, it answers who it is later than a person is quick.
    let feed = Feed::open(&station.socket(), Some(0));
    feed.find("who answers", |seen| seen.kind == "in" && seen.data.contains("GENERIC,"));
    let id = inspect(&station, Hand::Typed, simulator.hands());
    let file = sealed(&station, &id);
    check(&Book::read(&file).facts(), SINSTRUMENTS);
    verify_outside(&station, &file);
    station.stop();
    client::agrees(&socket(&address), &file);
}

/// The index is a cache: it is thrown away and made again.
fn rebuilt_from_the_books(station: &mut Station) {
    station.stop();
    fs::remove_dir_all(station.data().join("index")).unwrap();
    let config = station.config();
    let said = station.done(&["rebuild", "--config", config.to_str().unwrap()]);
    assert!(said.starts_with("index built from "), "{said}");
    station.restart();
}

/// With the sealed books away, raw bytes, stamps and verdict still come, and it is said whence.
fn raw_bytes_from_the_index(station: &Station, id: &str) {
    let from_book = station.run(&["show", id, "--raw"]);
    assert_eq!((from_book.code, from_book.stderr.as_str()), (0, ""));
    let away = station.folder().join("away");
    fs::rename(station.data().join("inspections"), &away).unwrap();
    let from_index = station.run(&["show", id, "--raw"]);
    assert_eq!(from_index.code, 0, "{from_index:?}");
    assert_eq!(from_index.stderr, "the book is not in its place; this comes from the index\n");
    for output in [&from_book, &from_index] {
        let lines: Vec<&str> = output.stdout.lines().collect();
        let has = |words: [&str; 2]| lines.iter().any(|l| words.iter().all(|w| l.contains(w)));
        assert!(has(["dmm", "\"+2.30046000E-02\\r\\n\""]), "{}", output.stdout);
        assert!(has(["leak_case", "PASS"]), "{}", output.stdout);
        assert!(lines.iter().all(|line| line.starts_with("20") && line[19..].starts_with('.')));
    }
}

//! What is plugged in, and what speaks there: `ports` and `identify`, the real program on ptys.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};

use rustix::fs::{Mode, OFlags, open};
use rustix::process::{Pid, Signal, kill_process};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use serde_json::Value;
use support::picky::{Manner, Picky};
use support::station::{Builder, Output, TAPLINE};
use support::wait;

const METER: Manner = Manner::Talks(b"R4 +0.182 Ohm\r\n");

/// A meter that speaks only when it is asked.
const ASKED: Manner = Manner::Answers(|query| match query {
    "*IDN?" => Some("GENERIC,BENCH-DMM,0042,1.0\r\n"),
    "SYST:ERR?" => Some("+0,\"No error\"\r\n"),
    _ => None,
});

/// A meter on a socket, a process of its own: what a program is that hangs.
const SOCKET_METER: &str = r#"
import socket
server = socket.create_server(("127.0.0.1", 0))
print(server.getsockname()[1], flush=True)
while True:
    client, _ = server.accept()
    stream = client.makefile("rwb")
    for line in stream:
        known = {b"*IDN?": b"GENERIC,BENCH-DMM,0001,1.0"}
        stream.write(known.get(line.strip(), b'+0,"No error"') + b"\r\n")
        stream.flush()
"#;

/// A process that ends with the test.
struct Peer(Child);

impl Drop for Peer {
    fn drop(&mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }
}

/// Fault 18 of a bench's wire: the kernel of a program that is stopped still takes connections.
#[test]
fn a_peer_that_is_stopped_is_connected_and_silent_until_it_goes_on() {
    let mut python = Command::new("python3");
    python.args(["-c", SOCKET_METER]).stdin(Stdio::null()).stdout(Stdio::piped());
    let mut peer = Peer(python.spawn().expect("this test needs python3"));
    let mut port = String::new();
    BufReader::new(peer.0.stdout.take().unwrap()).read_line(&mut port).unwrap();
    let signal = |signal| kill_process(Pid::from_child(&peer.0), signal).unwrap();
    signal(Signal::STOP);
    let mut wiring = Builder::new();
    wiring.tcp("dmm", &format!("127.0.0.1:{}", port.trim()), "scpi-tcp", Some("DM-01"));
    let station = wiring.start();
    // Only a link that is connected is called silent.
    wait::until_true("it is asked in vain", || station.link("dmm")["state"] == "silent");
    signal(Signal::CONT);
    wait::until_true("it answers", || station.link("dmm")["state"] == "up");
}

/// `identify` with nobody at the keyboard.
fn alone(port: &Path, args: &[&str]) -> Output {
    let mut command = Command::new(TAPLINE);
    command.arg("identify").arg(port).args(args).env("TAPLINE_SOCKET", "/nowhere");
    Output::of(&mut command)
}

/// `identify` in a terminal, where a person types this.
fn with_person(port: &Path, args: &[&str], types: &str) -> Output {
    let terminal = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
    grantpt(&terminal).unwrap();
    unlockpt(&terminal).unwrap();
    let name = ptsname(&terminal, Vec::new()).unwrap().into_string().unwrap();
    let keys = open(name.as_str(), OFlags::RDWR | OFlags::NOCTTY, Mode::empty()).unwrap();
    let mut keyboard = File::from(terminal);
    keyboard.write_all(types.as_bytes()).unwrap();
    let mut command = Command::new(TAPLINE);
    command.arg("identify").arg(port).args(args).env("TAPLINE_SOCKET", "/nowhere");
    command.stdin(Stdio::from(keys)).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    let (mut stdout, mut stderr) = (String::new(), String::new());
    child.stdout.take().unwrap().read_to_string(&mut stdout).unwrap();
    child.stderr.take().unwrap().read_to_string(&mut stderr).unwrap();
    Output { stdout, stderr, code: child.wait().unwrap().code().unwrap() }
}

/// Fault 32 of a bench's wire. The setting is the third that is tried.
#[test]
fn the_right_line_setting_is_found_by_listening_alone() {
    let meter = Picky::plug(19_200, METER);
    let output = alone(&meter.path, &["--seconds", "1"]);
    assert_eq!(output.code, 0, "{output:?}");
    for part in ["9600 8N1: silence", "2400 8N1: silence", "Nothing was sent."] {
        assert!(output.stderr.contains(part), "{part}: {output:?}");
    }
    assert!(!output.stderr.contains("115200"), "it goes on after it was found: {output:?}");
    for part in ["baud = 19200, bits = \"8N1\"", "driver     = \"val-unit-line\""] {
        assert!(output.stdout.contains(part), "{part}: {output:?}");
    }
    assert_eq!(meter.heard(), b"");
    accepted(&output.stdout);
}

/// The piece is taken as it is, at the end of a configuration.
fn accepted(piece: &str) {
    accepted_in(tempfile::tempdir().unwrap().path(), piece);
}

fn accepted_in(folder: &Path, piece: &str) {
    let file = folder.join("tapline.toml");
    let text = include_str!("../contrib/example/one-meter.toml");
    fs::write(&file, format!("{text}\n{piece}")).unwrap();
    let mut check = Command::new(TAPLINE);
    let output = Output::of(check.args(["serve", "--check", "--config"]).arg(&file));
    assert_eq!(output.code, 0, "{output:?}\n{piece}");
}

/// What lies in `drivers` beside the configuration is tried, at the setting that it says first.
#[test]
fn a_driver_that_a_file_describes_is_found_with_its_setting() {
    let clamp = Picky::plug(600, Manner::Talks(b"\xaaI1 01820\x80\x12\0'\r"));
    let folder = tempfile::tempdir().unwrap();
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/drivers/leakage-frame14.toml");
    let text = fs::read_to_string(file).unwrap().replace("baud = 2400", "baud = 600");
    fs::create_dir(folder.path().join("drivers")).unwrap();
    let described = folder.path().join("drivers/leakage-frame14.toml");
    fs::write(&described, &text).unwrap();
    fs::write(folder.path().join("drivers/half.toml"), "name = \"half\"\n").unwrap();
    accepted_in(folder.path(), "");
    let config = folder.path().join("tapline.toml");
    let output = alone(&clamp.path, &["--config", config.to_str().unwrap()]);
    assert_eq!(output.code, 0, "{output:?}");
    let first = output.stderr.lines().find(|line| line.starts_with("  ")).unwrap();
    assert!(first.starts_with("  600 8N1:"), "{output:?}");
    assert!(output.stderr.contains("Not tried: ") && output.stderr.contains("half.toml"));
    for part in ["baud = 600", "driver     = \"leakage-frame14\"   # its layout is from memory"] {
        assert!(output.stdout.contains(part), "{part}: {output:?}");
    }
    accepted_in(folder.path(), &output.stdout);
    // Without a configuration the file is named, and then it is named by its path.
    let named = ["--driver", described.to_str().unwrap(), "--setting", "600 8N1", "--json"];
    let output = alone(&clamp.path, &named);
    let found: Value = serde_json::from_str(&output.stdout).unwrap();
    let best = &found["heard"][0]["fits"][0];
    assert_eq!(best["driver"], described.to_str().unwrap(), "{found}");
    assert_eq!((&best["described"], &best["layout"]), (&true.into(), &"unconfirmed".into()));
    let half = folder.path().join("drivers/half.toml");
    let output = alone(&clamp.path, &["--driver", half.to_str().unwrap()]);
    assert_eq!(output.code, 2, "{output:?}");
    assert!(output.stderr.contains("half.toml: "), "{output:?}");
    assert_eq!(clamp.heard(), b"");
}

#[test]
fn nothing_is_sent_without_a_person_and_without_a_declaration() {
    let meter = Picky::plug(9600, ASKED);
    let one = ["--seconds", "1", "--setting", "9600 8N1"];
    let output = alone(&meter.path, &one);
    assert_eq!(output.code, 3, "{output:?}");
    assert!(output.stderr.contains("nobody is there to answer"), "{output:?}");
    for types in ["\n", "no\n", "yes\n", "Harmless?\n", "harmless harmless\n"] {
        let output = with_person(&meter.path, &one, types);
        assert_eq!(output.code, 3, "{types:?}: {output:?}");
        assert!(output.stderr.contains("Can this instrument put a voltage"), "{output:?}");
        assert!(output.stderr.contains("Nothing was sent."), "{output:?}");
    }
    let only = [&one[..], &["--listen-only"]].concat();
    let output = with_person(&meter.path, &only, "harmless\n");
    assert!(output.stderr.contains("you asked for listening only"), "{output:?}");
    assert_eq!(meter.heard(), b"");
}

#[test]
fn a_meter_that_is_declared_harmless_is_asked_who_it_is_and_nothing_else() {
    let meter = Picky::plug(19_200, ASKED);
    let args = ["--seconds", "1", "--setting", "9600 8N1", "--json"];
    let output = with_person(&meter.path, &args, "harmless\n");
    assert_eq!(output.code, 0, "{output:?}");
    let found: Value = serde_json::from_str(&output.stdout).unwrap();
    assert_eq!(found["answer"]["identity"], "GENERIC,BENCH-DMM,0042,1.0");
    assert_eq!(found["answer"]["errors"], "+0,\"No error\"");
    assert_eq!(found["answer"]["line"], "19200 8N1");
    assert_eq!(found["sent"], true);
    accepted(found["link"].as_str().unwrap());
    assert!(found["instrument"].as_str().unwrap().contains("serial = \"0042\""), "{found}");
    // Once at 9600 in vain, then at 19200.
    assert_eq!(String::from_utf8(meter.heard()).unwrap(), "*IDN?\n*IDN?\nSYST:ERR?\n");
}

/// Whatever a person types: the register says that it can put out a voltage.
#[test]
fn what_the_register_calls_hazardous_is_never_asked() {
    let tester = Picky::plug(9600, ASKED);
    let mut wiring = Builder::new();
    wiring.serial("ins", &tester.path, "val-unit-line", Some("IR-01"));
    let mut station = wiring.start();
    let register = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/example/instruments.toml");
    station.done(&["instrument", "import", register.to_str().unwrap()]);
    let config = station.config();
    let args = ["--seconds", "1", "--setting", "9600 8N1", "--config", config.to_str().unwrap()];

    // The station has the port: it is left alone.
    let held = with_person(&tester.path, &args, "harmless\n");
    assert_eq!(held.code, 2, "{held:?}");
    let pid = station.pid().as_raw_nonzero().to_string();
    assert!(held.stderr.contains(&format!("in use by process {pid}")), "{held:?}");

    // What is declared is shown, whether the station runs or not.
    let shown = |output: String| {
        let ports: Value = serde_json::from_str(&output).unwrap();
        assert_eq!(ports["not_here"][0]["there"], true, "a pty is none of the kernel's ports");
        let link = ports["not_here"][0]["link"].clone();
        assert_eq!(link["source_class"], "hazardous", "{ports}");
        assert_eq!(link["layout"], "confirmed", "{ports}");
        assert_eq!(link["isolation"]["volts"], 1000, "{ports}");
    };
    let ports = ["ports", "--json", "--config", config.to_str().unwrap()];
    shown(station.done(&ports));
    station.stop();
    shown(station.done(&ports));

    let output = with_person(&tester.path, &args, "harmless\nyes\n");
    assert_eq!(output.code, 3, "{output:?}");
    assert!(output.stderr.contains("the register calls IR-01 hazardous"), "{output:?}");
    assert!(!output.stderr.contains("Can this instrument"), "nobody is asked: {output:?}");
    assert_eq!(tester.heard(), b"");
}

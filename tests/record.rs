//! The real program at the end of a cable: standard input as a link, and `record`.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs::{self, File};
use std::io::Write;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;
use support::port::Port;
use support::station::{Builder, Output, TAPLINE};
use support::{book, wait};

/// The link of a station, as its status tells it.
fn link(station: &support::station::Station, id: &str) -> Value {
    let status = station.get("/v1/status");
    let links = status["benches"][0]["links"].as_array().unwrap().clone();
    links.into_iter().find(|link| link["id"] == id).unwrap()
}

#[test]
fn what_is_piped_in_is_heard_and_its_end_is_told() {
    let mut wiring = Builder::new();
    let mut meter = wiring.stdin("dmm", "val-unit-line", Some("TM-01"));
    let station = wiring.start();
    wait::until_true("the pipe is open", || link(&station, "dmm")["state"] == "up");
    meter.write_all(b"R4 +0.182 Ohm\r\n").unwrap();
    wait::until_true("the reading is stored", || {
        let books = book::all(&station.data());
        let facts = books.values().flat_map(book::Book::facts);
        facts.into_iter().any(|fact| fact["raw"] == "R4 +0.182 Ohm\r\n")
    });
    drop(meter);
    wait::until_true("its end is told", || link(&station, "dmm")["state"] == "down");
    let why = link(&station, "dmm")["why"].as_str().unwrap().to_owned();
    assert_eq!(why, "standard input has ended: start the station and the program before it");
}

/// Bytes of another day must not be taken for what an instrument says now.
#[test]
fn a_file_is_no_instrument() {
    let mut wiring = Builder::new();
    let meter = wiring.stdin("dmm", "val-unit-line", Some("TM-01"));
    let mut station = wiring.start();
    station.stop();
    drop(meter);
    let file = station.folder().join("stdin");
    fs::remove_file(&file).unwrap();
    fs::write(&file, "R4 +0.182 Ohm\r\n").unwrap();
    station.restart();
    // A link is down from the start; why it stays so is known when it was tried.
    wait::until_true("it is refused", || link(&station, "dmm")["why"].is_string());
    assert_eq!(link(&station, "dmm")["state"], "down");
    let why = link(&station, "dmm")["why"].as_str().unwrap().to_owned();
    assert!(why.contains("bytes of another day are no instrument"), "{why}");
}

#[test]
fn a_check_says_what_was_never_run_on_the_real_thing() {
    let wiring = Builder::new();
    let folder = wiring.folder().to_owned();
    let mut station = wiring.start();
    station.stop();
    let config = folder.join("tapline.toml");
    let mut file = File::options().append(true).open(&config).unwrap();
    let link = "[[link]]\nid = \"box\"\nbench = \"b1\"\ninputs = \"/dev/ttyS9\"\n\
                driver = \"contacts\"\n";
    file.write_all(link.as_bytes()).unwrap();
    let mut check = Command::new(TAPLINE);
    check.args(["serve", "--check", "--config"]).arg(&config).stdin(Stdio::null());
    let said = Output::of(&mut check);
    assert_eq!(said.code, 0, "{said:?}");
    let mut lines = said.stderr.lines();
    assert!(lines.next().unwrap().ends_with("no fault found"));
    let second = lines.next().unwrap();
    assert!(second.starts_with("tapline: link `box`: modem inputs of a serial port"), "{second}");
    assert!(second.contains("never run on such hardware"), "{second}");
}

/// `record` at work.
struct Recorder {
    program: Child,
    file: PathBuf,
}

impl Recorder {
    fn start(folder: &Path, args: &[&str]) -> Recorder {
        let file = folder.join("meter.cap");
        let program = Command::new(TAPLINE)
            .arg("record")
            .args(args)
            .arg("--write")
            .arg(&file)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        Recorder { program, file }
    }

    /// What is in the file, once a text is there.
    fn has(&self, text: &str) -> String {
        wait::until("it is in the file", || {
            fs::read_to_string(&self.file).ok().filter(|all| all.contains(text))
        })
    }

    /// ^C.
    fn stop(self) -> Output {
        let pid = Pid::from_raw(i32::try_from(self.program.id()).unwrap()).unwrap();
        kill_process(pid, Signal::INT).unwrap();
        self.end()
    }

    fn end(self) -> Output {
        let done = self.program.wait_with_output().unwrap();
        Output {
            stdout: String::from_utf8(done.stdout).unwrap(),
            stderr: String::from_utf8(done.stderr).unwrap(),
            code: done.status.code().unwrap(),
        }
    }
}

fn decoded(file: &Path) -> String {
    let mut decode = Command::new(TAPLINE);
    let said = Output::of(decode.args(["decode", "--driver", "val-unit-line"]).arg(file));
    assert_eq!(said.code, 0, "{said:?}");
    said.stdout
}

#[test]
fn what_a_port_says_is_recorded_and_decoded_and_nothing_is_sent() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("ttyMETER");
    let meter = Port::plug(&name);
    meter.say(b"OLD 0.999\r\n");
    let port = name.to_str().unwrap();
    let args = [port, "--line", "9600 8N1", "--driver", "val-unit-line", "--kind", "test meter"];
    let recorder = Recorder::start(folder.path(), &args);
    recorder.has("! open\n");
    meter.say(b"R4 +0.182 Ohm\r\n");
    recorder.has("< R4 +0.182 Ohm\\r\\n\n");
    meter.say(b"\xff\x00\\");
    let text = recorder.has("< \\xff\\x00\\\\\n");
    assert_eq!(meter.heard(), b"", "nothing was sent");
    let file = recorder.file.clone();
    let said = recorder.stop();
    assert_eq!((said.code, said.stdout.as_str()), (0, ""));
    assert!(said.stderr.contains("18 bytes in 2 reads; it was stopped"), "{said:?}");
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("# kind: test meter"));
    assert_eq!(lines.next(), Some("# driver: val-unit-line"));
    assert_eq!(lines.next(), Some("# link: 9600 8N1, DTR on, RTS on"));
    let source = lines.next().unwrap();
    assert!(source.starts_with("# source: recorded by tapline "), "{source}");
    assert!(source.contains(port) && source.ends_with("nothing was sent"), "{source}");
    assert!(!text.contains("OLD"), "what was said before belongs to nobody");
    let first = decoded(&file).lines().next().unwrap().to_owned();
    let first: Value = serde_json::from_str(&first).unwrap();
    assert_eq!((&first["value"], &first["raw"]), (&"0.182".into(), &"R4 +0.182 Ohm\r\n".into()));
}

#[test]
fn a_file_that_is_there_is_never_touched() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("ttyMETER");
    let _meter = Port::plug(&name);
    fs::write(folder.path().join("meter.cap"), "evidence").unwrap();
    let args = [name.to_str().unwrap(), "--line", "9600 8N1"];
    let recorder = Recorder::start(folder.path(), &args);
    let file = recorder.file.clone();
    let said = recorder.end();
    let stderr = format!("tapline: {} is there already: choose another name\n", file.display());
    assert_eq!(said, Output { stdout: String::new(), stderr, code: 2 });
    assert_eq!(fs::read_to_string(file).unwrap(), "evidence");
}

#[test]
fn a_port_that_the_station_has_is_refused_with_its_name() {
    let mut wiring = Builder::new();
    let _meter = wiring.pty("dmm", "val-unit-line", Some("TM-01"));
    let station = wiring.start();
    wait::until_true("the port is open", || link(&station, "dmm")["state"] == "up");
    let port = station.folder().join("ttydmm");
    let args = [port.to_str().unwrap(), "--line", "9600 8N1"];
    let recorder = Recorder::start(station.folder(), &args);
    let file = recorder.file.clone();
    let said = recorder.end();
    let holder = format!("in use by process {} (tapline)", station.pid().as_raw_nonzero());
    assert_eq!(said.code, 2);
    assert!(said.stderr.contains(&holder), "{said:?}");
    assert!(!file.exists(), "nothing is left behind");
    assert_eq!(link(&station, "dmm")["state"], "up", "and the station has it still");
}

/// Killed, it leaves every line that was there; the last words of a socket are kept.
#[test]
fn a_socket_is_recorded_to_its_end_and_a_kill_loses_no_line() {
    let folder = tempfile::tempdir().unwrap();
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = server.local_addr().unwrap().to_string();
    let recorder = Recorder::start(folder.path(), &[&address]);
    let (mut meter, _) = server.accept().unwrap();
    meter.write_all(b"R4 +0.182 Ohm\r\nR4 +0.1").unwrap();
    drop(meter);
    let text = recorder.has("# ended: unplugged or switched off\n");
    assert!(text.contains("# link: TCP\n"), "{text}");
    assert!(text.contains("R4 +0.1\n"), "{text}");
    let file = recorder.file.clone();
    assert_eq!(recorder.end().code, 0);
    assert_eq!(decoded(&file).lines().count(), 2, "a reading, and what was cut off");
    fs::remove_file(&file).unwrap();
    let mut recorder = Recorder::start(folder.path(), &[&address]);
    let (mut meter, _) = server.accept().unwrap();
    meter.write_all(b"R4 +0.183 Ohm\r\n").unwrap();
    recorder.has("0.183");
    recorder.program.kill().unwrap();
    recorder.program.wait().unwrap();
    assert!(decoded(&file).contains("0.183"));
}

#[test]
fn a_recording_ends_by_time_and_by_its_bound() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("ttyMETER");
    let meter = Port::plug(&name);
    let port = name.to_str().unwrap();
    let recorder = Recorder::start(folder.path(), &[port, "--line", "9600 7O1", "--seconds", "1"]);
    let file = recorder.file.clone();
    let said = recorder.end();
    assert!(said.stderr.contains("0 bytes in 0 reads; the time is over"), "{said:?}");
    assert!(said.stderr.contains("Nothing came."), "{said:?}");
    fs::remove_file(file).unwrap();
    let recorder =
        Recorder::start(folder.path(), &[port, "--line", "9600 8N1", "--most", "4", "--json"]);
    recorder.has("! open\n");
    meter.say(b"123456789");
    let file = recorder.file.display().to_string();
    let said: Value = serde_json::from_str(&recorder.end().stdout).unwrap();
    let ended = "as many bytes as were to be taken";
    let want = serde_json::json!({ "file": file, "bytes": 4, "reads": 1, "ended": ended });
    assert_eq!(said, want);
}

#[test]
fn what_can_not_be_recorded_is_said_in_words() {
    let folder = tempfile::tempdir().unwrap();
    for (args, part) in [
        (&["/dev/none"][..], "say it, such as --line"),
        (&["/dev/none", "--line", "9600 9N1"], "`9600 9N1` is no setting of a line"),
        (&["/dev/none", "--line", "9600 8N1"], "/dev/none is not there"),
        (&["127.0.0.1"], "is neither a path nor HOST:PORT"),
        (&["127.0.0.1:1", "--line", "9600 8N1"], "a socket has no settings"),
        (&["127.0.0.1:1", "--kind", "a\nb"], "write one line each"),
    ] {
        let said = Recorder::start(folder.path(), args).end();
        assert_eq!(said.code, 2, "{said:?}");
        assert!(said.stderr.contains(part), "{said:?}");
    }
    assert!(!folder.path().join("meter.cap").exists());
}

//! Drivers that files describe, with the real program: how the daemon and `decode` take them, and
//! that one damaged bit never is another reading that counts.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "described/noise.rs"]
mod noise;
mod support;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::mpsc::{RecvTimeoutError, channel};

use support::station::{Builder, Output, Station, TAPLINE};
use support::{book, wait};
use tapline::config::drivers;
use tapline_drivers::described::{DescribedDriver, Layout};
use tapline_drivers::{Driver, Input, Now, Output as Said, Reading};

const LINE: &str = include_str!("../contrib/drivers/bench-ohm-line.toml");

fn worked() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/drivers");
    let files = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<_> = files.filter(|f| f.extension() == Some("toml".as_ref())).collect();
    files.sort();
    assert!(files.len() >= 3, "the worked files are there");
    files
}

fn tapline(args: &[&str]) -> Output {
    Output::of(Command::new(TAPLINE).args(args).env_remove("TAPLINE_CONFIG"))
}

/// A station whose low-resistance meter is read by the worked file, under this name.
fn station(driver: &str) -> (Station, support::port::Port) {
    let mut builder = Builder::new();
    let drivers = builder.folder().join("drivers");
    fs::create_dir(&drivers).unwrap();
    fs::write(drivers.join("bench-ohm-line.toml"), LINE).unwrap();
    let port = builder.pty("ohm", driver, Some("LR-01"));
    (builder.start(), port)
}

#[test]
fn the_daemon_reads_by_a_file_beside_its_configuration() {
    for name in ["bench-ohm-line", "drivers/bench-ohm-line.toml"] {
        let (mut station, port) = station(name);
        wait::until_true("the meter is there", || station.link("ohm")["state"] == "up");
        let read = |fact: &serde_json::Value| fact["read"][0]["v"] == "0.182";
        wait::until_true("its reading is kept", || {
            port.say(b"R4 +0.182 Ohm\r\n");
            book::all(&station.data()).values().any(|book| book.facts().iter().any(read))
        });
        assert_eq!(station.link("ohm")["driver"], "bench-ohm-line");
        station.stop();
        // The file is gone: what was kept is read again without it, and nothing starts.
        fs::remove_file(station.folder().join("drivers/bench-ohm-line.toml")).unwrap();
        let days = fs::read_dir(station.data().join("idle")).unwrap();
        let days: Vec<_> = days.map(|day| day.unwrap().path()).collect();
        assert!(!days.is_empty());
        for day in days {
            let said = tapline(&["replay", day.to_str().unwrap()]);
            assert_eq!(said.code, 0, "{said:?}");
        }
        let config = station.config();
        let said = tapline(&["serve", "--config", config.to_str().unwrap()]);
        let want = if name.contains('/') { "can't read " } else { "there is no drivers/bench" };
        assert!(said.code == 2 && said.stderr.contains(want), "{said:?}");
    }
}

/// A configuration in a folder of its own, with this driver.
fn configured(driver: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let text = fs::read_to_string("contrib/example/one-meter.toml").unwrap();
    let text = text.replace("\"val-unit-line\"", &format!("\"{driver}\""));
    let file = folder.path().join("tapline.toml");
    fs::write(&file, text).unwrap();
    fs::create_dir(folder.path().join("drivers")).unwrap();
    (folder, file)
}

fn check(config: &Path) -> Output {
    tapline(&["serve", "--check", "--config", config.to_str().unwrap()])
}

#[test]
fn a_broken_file_is_a_fault_of_the_check_and_of_the_start_with_all_its_lines() {
    let (folder, config) = configured("bench-ohm-line");
    let file = folder.path().join("drivers/bench-ohm-line.toml");
    fs::write(&file, LINE).unwrap();
    assert_eq!(check(&config).code, 0, "{:?}", check(&config));
    let broken = LINE.replace("longest = 40", "longest = 4000").replace("\"mOhm\"\n", "\"mohm\"\n");
    fs::write(&file, broken).unwrap();
    let said = check(&config);
    assert_eq!(said.code, 2);
    let lines: Vec<_> = said.stderr.lines().collect();
    let at = file.display();
    assert_eq!(lines.len(), 2, "{said:?}");
    assert!(lines[0].contains(&format!("`link.driver`: {at}: line 11, `frame.longest`: ")));
    assert!(lines[1].contains(&format!("`link.driver`: {at}: line 22, `map.unit.mOhm`: ")));
    let start = tapline(&["serve", "--config", config.to_str().unwrap()]);
    assert_eq!((start.code, &start.stderr), (2, &said.stderr));
    fs::write(&file, LINE.replace("\"bench-ohm-line\"", "\"other\"")).unwrap();
    assert!(check(&config).stderr.contains("calls itself `other`"), "{:?}", check(&config));
    fs::write(&file, b"\xff").unwrap();
    assert!(check(&config).stderr.contains("is no UTF-8 text: byte 0"), "{:?}", check(&config));
}

#[test]
fn decode_takes_a_file_and_tries_its_examples() {
    for file in worked() {
        let said = tapline(&["decode", "--driver", file.to_str().unwrap()]);
        assert_eq!(said.code, 0, "{said:?}");
        let name = file.file_stem().unwrap().to_str().unwrap();
        assert!(said.stdout.starts_with(&format!("{name}: the file is in order, and each of its")));
    }
    let line = "contrib/drivers/bench-ohm-line.toml";
    let capture = "tests/captures/described_ohm_line.cap";
    let said = tapline(&["decode", "--driver", line, capture]);
    assert_eq!(said.code, 0, "{said:?}");
    assert_eq!(said.stdout.lines().count(), 17, "{said:?}");
    let first = said.stdout.lines().next().unwrap();
    assert!(first.contains(r#""driver":"bench-ohm-line","function":"resistance_4w""#), "{first}");
    let folder = tempfile::tempdir().unwrap();
    let broken = folder.path().join("x.toml");
    fs::write(&broken, LINE.replace("\"0.182\"", "\"0.183\"")).unwrap();
    let said = tapline(&["decode", "--driver", broken.to_str().unwrap(), capture]);
    assert!(said.code == 2 && said.stderr.contains("line 31, `example.1`"), "{said:?}");
}

/// Readings of three equal conversions, of which the middle one may be damaged.
fn readings(driver: &Path, frame: &[u8], damaged: &[u8]) -> Vec<Reading> {
    let about = drivers::load(driver).unwrap().description;
    let period = u64::from(about.period_ms) * 1_000;
    let mut driver = DescribedDriver::new(about);
    let mut out = Vec::new();
    for (n, bytes) in (0..).zip([frame, damaged, frame]) {
        driver.handle(Now(n * period), Input::Bytes(bytes));
        out.extend(std::iter::from_fn(|| driver.poll()));
        let due = driver.deadline().filter(|due| due.0 < (n + 1) * period);
        if let Some(due) = due {
            driver.handle(due, Input::Tick);
            out.extend(std::iter::from_fn(|| driver.poll()));
        }
    }
    let reading = |said| match said {
        Said::Reading(reading) => Some(reading),
        _ => None,
    };
    out.into_iter().filter_map(reading).collect()
}

/// Of a line of text one flipped bit may be one other digit, as of every line; its function and
/// unit stay. A frame with a sum says the same or nothing.
#[test]
fn a_flipped_bit_of_a_worked_file_is_at_most_another_digit_of_a_line() {
    let frames: [(&str, &[u8]); 3] = [
        ("bench-ohm-line", b"R4 +0.182 Ohm\r\n"),
        ("leakage-frame14", b"\xaaI1 01820\x80\x12\x00'\r"),
        ("address-line", b"01,ACV,+230.4,V,N\r\n"),
    ];
    assert_eq!(frames.len(), worked().len(), "a frame of each worked file");
    for (name, frame) in frames {
        let file = Path::new("contrib/drivers").join(format!("{name}.toml"));
        let good = readings(&file, frame, frame);
        assert_eq!(good.len(), 3, "{name}");
        let about = drivers::load(&file).unwrap().description;
        let line = matches!(about.layout, Layout::Line { .. });
        for (at, bit) in (0..frame.len()).flat_map(|at| (0..8).map(move |bit| (at, bit))) {
            let mut damaged = frame.to_vec();
            damaged[at] ^= 1 << bit;
            for reading in readings(&file, frame, &damaged) {
                let place = format!("{name} byte {at} bit {bit}: {reading:?}");
                let (function, unit) = (reading.function, reading.unit.quantity);
                assert_eq!((function, unit), (good[0].function, good[0].unit.quantity), "{place}");
                let same = reading.indication == good[0].indication;
                assert!(line || same, "{place}");
            }
        }
    }
}

/// The files of a page by the names behind their fences, and the commands of its `sh` blocks.
fn page(text: &str) -> (Vec<(&str, &str)>, Vec<&str>) {
    let (mut files, mut commands) = (Vec::new(), Vec::new());
    for block in text.split("\n```").skip(1).step_by(2) {
        let (info, body) = block.split_once('\n').unwrap();
        match info.split_once(' ') {
            Some((_, name)) => files.push((name, body)),
            None => {
                assert_eq!(info, "sh", "a block is a file or commands");
                commands.extend(body.lines());
            }
        }
    }
    (files, commands)
}

#[test]
fn the_page_for_newcomers_is_true() {
    let (files, commands) = page(include_str!("../contrib/drivers/README.md"));
    assert_eq!((files.len(), commands.len()), (3, 4));
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("drivers")).unwrap();
    for (name, body) in files {
        fs::write(folder.path().join(name), format!("{body}\n")).unwrap();
    }
    let mut said = Vec::new();
    for command in commands {
        let mut words = command.split(' ');
        assert_eq!(words.next(), Some("tapline"));
        let mut run = Command::new(TAPLINE);
        run.args(words).current_dir(folder.path()).env_remove("TAPLINE_CONFIG");
        let output = Output::of(&mut run);
        assert_eq!(output.code, 0, "{command}: {output:?}");
        said.push(output);
    }
    for guess in ["frames of 10 bytes", "xor8 of bytes 2 to 8 in byte 9", "5b 31 30 31 38 32 30 40"]
    {
        assert!(said[0].stderr.contains(guess), "{guess}: {}", said[0].stderr);
    }
    let draft = fs::read_to_string(folder.path().join("draft.toml")).unwrap();
    assert!(draft.contains("function = \"?\""), "{draft}");
    let values = ["0.1820", "0.1823", "0.1820", "18.200", "", "0.1823"];
    let lines: Vec<serde_json::Value> =
        said[2].stdout.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let shown = |line: &serde_json::Value| line["value"].as_str().unwrap_or_default().to_owned();
    assert_eq!(lines.iter().map(shown).collect::<Vec<_>>(), values);
    assert_eq!(lines[3]["flags"][0], "hold");
    assert_eq!(lines[4]["indication"], "overload");
}

#[test]
fn learn_listens_to_a_port_and_never_sends_a_byte() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().join("ttynew");
    let port = support::port::Port::plug(&name);
    let draft = folder.path().join("draft.toml");
    let speaker = port.clone();
    let (stop, stopped) = channel::<()>();
    let speaks = std::thread::spawn(move || {
        let pace = std::time::Duration::from_millis(50);
        while stopped.recv_timeout(pace) == Err(RecvTimeoutError::Timeout) {
            speaker.say(b"R4 +0.182 Ohm\r\n");
        }
    });
    let said = tapline(&["learn", name.to_str().unwrap(), "--seconds", "2"]);
    drop(stop);
    speaks.join().unwrap();
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.stdout.contains("pattern = \"{function} {value} {unit}\""), "{said:?}");
    assert!(port.heard().is_empty(), "nothing was sent");
    // Nothing is over-written, and a silent port says what to look at.
    fs::write(&draft, "mine").unwrap();
    let draft_name = draft.to_str().unwrap();
    let said = tapline(&["learn", "tests/captures/low_ohm.cap", "--write", draft_name]);
    assert!(said.code == 2 && said.stderr.contains("never touched"), "{said:?}");
    assert_eq!(fs::read_to_string(&draft).unwrap(), "mine");
    let said = tapline(&["learn", name.to_str().unwrap(), "--seconds", "1"]);
    assert!(said.code == 2 && said.stderr.contains("Nothing came in 1 s"), "{said:?}");
}

#[test]
fn learn_is_refused_a_port_that_the_station_has() {
    let (station, _port) = station("bench-ohm-line");
    wait::until_true("the meter is there", || station.link("ohm")["state"] == "up");
    let said = tapline(&["learn", station.folder().join("ttyohm").to_str().unwrap()]);
    let pid = station.pid().as_raw_nonzero();
    assert_eq!(said.code, 2, "{said:?}");
    assert!(said.stderr.contains(&format!("is in use by process {pid} (")), "{said:?}");
}

//! What the kernel sees of a port that is only listened to: the station runs under `strace`, the
//! cable comes out and goes in, and noise comes over it.

use std::path::Path;

use crate::support::port::Port;
use crate::support::station::{Builder, Output, Station, TAPLINE};
use crate::support::trace::{Call, calls};
use crate::support::wait;

/// Requests of ioctl_tty(2) that tell the port nothing, or set it right after opening.
const HARMLESS: [&str; 6] = ["TIOCEXCL", "TCGETS", "TCSETS", "TCFLSH", "TIOCGICOUNT", "TIOCNXCL"];

/// And those that move its control lines: only between opening and the first byte read.
const SIGNALS: [&str; 3] = ["TIOCMBIS", "TIOCMBIC", "TIOCMSET"];

fn register(station: &Station) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/example/instruments.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    let ir = text.split("[[instrument]]").find(|one| one.contains("IR-01")).unwrap().to_owned();
    let ir2 = ir.replace("IR-01", "IR-02").replace("\"hazardous\"", "\"unknown\"");
    let path = station.folder().join("testers.toml");
    let text =
        format!("format = \"tapline-instruments-1\"\n[[instrument]]{ir}\n[[instrument]]{ir2}");
    std::fs::write(&path, text).unwrap();
    station.done(&["instrument", "import", path.to_str().unwrap()]);
}

/// The port behind a call, where it is one of ours.
fn port(call: &Call) -> Option<&str> {
    let named = call.result.split_once('<').and_then(|(_, rest)| rest.split_once('>'));
    let opened = call.name.starts_with("open").then(|| named.map(|(file, _)| file)).flatten();
    Some(opened.unwrap_or(&call.file)).filter(|file| file.starts_with("/dev/pts/"))
}

/// Goes through the calls on ports, in order; what it counts proves that it saw something.
fn inspect(trace: &[Call]) -> (usize, usize) {
    let (mut opened, mut read) = (0, 0);
    let mut listening = std::collections::BTreeSet::new();
    for call in trace {
        let Some(port) = port(call) else { continue };
        match call.name.as_str() {
            "open" | "openat" => {
                assert!(call.text.contains("O_RDONLY"), "{call:?}");
                listening.remove(port);
                opened += 1;
            }
            "read" => {
                listening.insert(port.to_owned());
                read += 1;
            }
            "ioctl" => {
                let has = |list: &[&str]| list.iter().any(|word| call.text.contains(word));
                let signals = has(&SIGNALS) && !listening.contains(port);
                assert!(has(&HARMLESS) || signals, "{call:?}");
            }
            _ => panic!("a port that is only listened to: {call:?}"),
        }
    }
    (opened, read)
}

#[test]
fn a_recorded_port_sees_no_byte_and_no_signal_moved() {
    let mut wiring = Builder::new().listened();
    let folder = wiring.folder().to_owned();
    let names = [("ins", "val-unit-line", "IR-01"), ("odd", "scpi", "IR-02")];
    for (id, driver, instrument) in names {
        wiring.serial(id, &folder.join(format!("tty{id}")), driver, Some(instrument));
    }
    let mut station = wiring.start();
    register(&station);
    station.done(&["scan", "T-0201"]);
    station.done(&["begin"]);
    let mut heard = Vec::new();
    for round in 0..3_u8 {
        let ports = names.map(|(id, ..)| Port::plug(&folder.join(format!("tty{id}"))));
        let up =
            |id: &str| ["up", "refused"].contains(&station.link(id)["state"].as_str().unwrap());
        wait::until_true("both are heard", || up("ins") && up("odd"));
        for port in &ports {
            for said in
                [&b"INS >200 MOhm\r\n"[..], b"*IDN?\nREAD?\n", &[round, 0, 0xff, 0x13], b"INS +1"]
            {
                port.say(said);
            }
        }
        let _ = station.run(&["act", "connected"]);
        let down = |id: &str| station.link(id)["state"] == "down";
        heard.extend(ports.iter().flat_map(Port::heard));
        drop(ports);
        wait::until_true("both are gone", || down("ins") && down("odd"));
    }
    assert_eq!(heard, b"", "bytes at the instrument's end");
    station.stop();
    let (opened, read) = inspect(&calls(&station.trace()));
    assert!(opened >= 6 && read >= 6, "{opened} opened, {read} read: strace saw the ports");

    let mut check = std::process::Command::new(TAPLINE);
    let output = Output::of(check.args(["serve", "--check", "--config"]).arg(station.config()));
    assert_eq!(output.code, 2, "{output:?}");
    assert!(output.stderr.contains("`link.odd.driver`: `scpi` sends"), "{output:?}");
}

/// The inspection of the trace can fail: each of these is seen.
#[test]
fn a_byte_or_a_signal_would_be_seen() {
    let open = "7 openat(AT_FDCWD, \"/dev/pts/3\", O_RDONLY|O_NOCTTY) = 5</dev/pts/3>\n";
    let read = "7 read(5</dev/pts/3>, \"R\", 4096) = 1\n";
    let seen = |rows: &str| {
        let trace = calls(rows);
        std::panic::catch_unwind(|| inspect(&trace)).is_err()
    };
    assert!(!seen(&format!("{open}7 ioctl(5</dev/pts/3>, TIOCMBIS, [TIOCM_DTR]) = 0\n{read}")));
    for row in [
        "7 write(5</dev/pts/3>, \"x\", 1) = 1\n",
        "7 ioctl(5</dev/pts/3>, TIOCMBIC, [TIOCM_RTS]) = 0\n",
        "7 ioctl(5</dev/pts/3>, TIOCSBRK) = 0\n",
        "7 ioctl(5</dev/pts/3>, TCSBRK, 0) = 0\n",
        "7 openat(AT_FDCWD, \"/dev/pts/3\", O_RDWR|O_NOCTTY) = 6</dev/pts/3>\n",
    ] {
        assert!(seen(&format!("{open}{read}{row}")), "{row}");
    }
}

//! A meter without a line, with the real program: who measures enters what it shows, twice.
//!
//! Manual entries of critical data are checked a second time (EU GMP Annex 11 section 6, from
//! memory). That such a value can fail and never passes is our own rule, see
//! `protocols/src/inspection/tests/typed.rs`.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs;

use support::station::{Builder, Station, TAPLINE};
use support::wait;

const TESTER: &str = r#"
format = "tapline-instruments-1"
[[instrument]]
id = "IR-01"
what = "insulation tester, its display alone"
serial = "0002"
source_class = "hazardous"
isolation = { kind = "none" }
calibration_due = 2099-12-31
certificate = "C-2"
[[instrument.range]]
function = "insulation_resistance"
to = "200 MOhm"
accuracy = { reading_percent = "3", digits = 5, coverage = "none" }
resolution = "0.01 MOhm"
gives = { test_voltage = "500 V", kind = "dc" }
"#;

/// Does it as soon as a second has gone by since the last step.
#[track_caller]
fn soon(station: &Station, args: &[&str]) -> String {
    wait::until(&args.join(" "), || {
        let said = station.run(args);
        (said.code == 0).then_some(said.stdout)
    })
}

/// An inspection of a lamp of class II, at its insulation with the test voltage on.
fn under_voltage() -> (Station, String) {
    let builder = Builder::new().typed("IR-01").policy("unconfirmed_limits = \"judge_and_say_so\"");
    let station = builder.start();
    let file = station.folder().join("tester.toml");
    fs::write(&file, TESTER).unwrap();
    station.done(&["instrument", "import", file.to_str().unwrap()]);
    station.done(&["scan", "T-0201"]);
    let said = station.done(&["begin", "--with", "insulation_parts"]);
    soon(&station, &["answer", "pass"]);
    for act in ["connected", "clear", "live"] {
        soon(&station, &["act", act]);
    }
    assert_eq!(station.prompt()["state"], "enter_live");
    (station, said.lines().next().unwrap().to_owned())
}

/// From the value to the sealed record.
fn signed(station: &Station, word: &str) {
    for args in [&["act", "dead"][..], &["answer", "pass"], &["scan", "T-0201"]] {
        soon(station, args);
    }
    // The outcome is the exit code.
    let said = station.run(&["sign", "--tag", "attached"]);
    assert!(said.stdout.contains(word), "{said:?}");
}

#[test]
fn what_two_entries_agree_on_is_judged_marked_and_replayed() {
    // 7 Mohm for class II (IEC 62353:2014, from memory).
    for (shows, word) in [("6.99 MOhm", "FAIL"), ("7.00 MOhm", "UNDECIDED")] {
        let (station, id) = under_voltage();
        soon(&station, &["enter", shows]);
        let other = station.run(&["enter", "69.9 MOhm"]);
        assert_eq!(other.code, 2, "{other:?}");
        assert!(other.stderr.contains("the two entries differ"), "{other:?}");
        assert!(!other.stderr.contains("69.9") && !other.stderr.contains(shows), "{other:?}");
        // Unquoted, as it is typed.
        for _ in 0..2 {
            let words: Vec<&str> = shows.split(' ').collect();
            station.done(&[&["enter"], &words[..]].concat());
        }
        assert_eq!(station.prompt()["state"], "voltage_off");
        signed(&station, word);
        let data = station.data();
        let data = data.to_str().unwrap();
        let told = station.run(&["explain", &id, "insulation_parts", "--folder", data]).stdout;
        assert!(
            told.contains(&format!("was entered twice, as a display shows it: {shows}")),
            "{told}"
        );
        assert!(told.contains(&format!("verdict: {word}")), "{told}");
        assert_eq!(told.contains("A person entered"), word == "UNDECIDED", "{told}");
        for (language, mark) in
            [("en", "typed twice by hand"), ("de", "zweimal von Hand eingegeben")]
        {
            let args = ["report", &id, "--as", "html", "--language", language, "--folder", data];
            let paper = station.run(&args).stdout;
            assert!(paper.contains(&format!("<td>{mark}")), "{paper}");
        }
        let shown = station.run(&["show", &id]).stdout;
        assert!(
            shown.contains(&format!("typed twice by hand: insulation_parts/1 {shows}")),
            "{shown}"
        );
        let again = station.run(&["replay", "--all", data]);
        assert_eq!(again.code, 0, "{again:?}");
        assert!(again.stdout.contains("the same: 1") || again.stderr.contains("the same: 1"));
        station.done(&["verify", data]);
    }
}

#[test]
fn a_bench_names_its_meters_without_a_line_once() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("tapline.toml");
    let config = "format = \"tapline-config-1\"\n[station]\nid = \"T1\"\nname = \"Test\"\n\
         zone = \"Etc/UTC\"\n[store]\nfolder = \"data\"\n[page]\nlisten = \"off\"\n[[bench]]\n\
         id = \"b1\"\nname = \"One\"\ntyped = [\"A\", \"B\", \"A\"]\n[[bench]]\nid = \"b2\"\n\
         name = \"Two\"\ntyped = [\"B\"]\n[[link]]\nid = \"ohm\"\nbench = \"b1\"\n\
         tcp = \"127.0.0.1:9\"\ndriver = \"scpi\"\ninstrument = \"A\"\n";
    fs::write(&file, config).unwrap();
    let said = std::process::Command::new(TAPLINE)
        .args(["serve", "--check", "--config", file.to_str().unwrap()])
        .output()
        .unwrap();
    let told = String::from_utf8(said.stdout).unwrap() + &String::from_utf8(said.stderr).unwrap();
    assert_ne!(said.status.code(), Some(0), "{told}");
    for fault in [
        "link `ohm` reads `A`: nobody has to enter what it shows",
        "`A` stands here twice",
        "bench `b1` has `B` already",
    ] {
        assert!(told.contains(fault), "{fault}: {told}");
    }
}

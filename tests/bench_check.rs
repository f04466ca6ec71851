//! The bench check through the command line, on a real pty: register, check, chart, restart.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs;

use support::station::Builder;
use support::wait;

const STANDARD: &str = r#"format = "tapline-standards-1"
[[standard]]
id = "CS-3"
what = "resistor"
function = "resistance_2w"
value = "11.000 kOhm"
room = "0.044 kOhm"
certificate = "C-2026-153"
calibration_due = 2099-03-31
"#;

#[test]
fn a_bench_is_checked_from_the_command_line_and_its_chart_outlives_a_restart() {
    let mut wiring = Builder::new();
    let meter = wiring.pty("dmm", "val-unit-line", Some("TM-01"));
    let mut station = wiring.start();
    let file = station.folder().join("standards.toml");
    fs::write(&file, STANDARD.replace("0.044 kOhm", "0.044 V")).unwrap();
    let refused = station.run(&["standard", "import", file.to_str().unwrap()]);
    assert_eq!(refused.code, 2, "{refused:?}");
    assert!(refused.stderr.contains("line 7"), "{refused:?}");
    fs::write(&file, STANDARD).unwrap();
    station.done(&["standard", "import", file.to_str().unwrap()]);
    assert!(station.done(&["standard", "list"]).starts_with("CS-3"));
    wait::until_true("the link is up", || station.link("dmm")["state"] == "up");
    let none = station.run(&["instrument", "chart", "TM-01"]);
    assert!(none.stderr.contains("no bench check"), "{none:?}");
    for shows in ["+11.002", "+11.100"] {
        let begun = station.run(&["check", "CS-3"]);
        assert!(begun.stderr.contains("hold TM-01 against CS-3 (resistor)"), "{begun:?}");
        assert!(station.done(&["status"]).contains("bench check: hold TM-01 against CS-3"));
        wait::until_true("the check is taken", || {
            meter.say(format!("R2 {shows} kOhm\r\n").as_bytes());
            station.bench()["check"].is_null()
        });
    }
    let chart = station.done(&["instrument", "chart", "TM-01"]);
    let lines: Vec<&str> = chart.lines().collect();
    assert_eq!(lines[0], "CS-3: 11.000 kOhm within 0.044 kOhm (certificate C-2026-153)");
    assert!(lines[1].contains("+11.002 kOhm") || lines[1].contains("11.002 kOhm"), "{chart}");
    assert!(lines[1].ends_with("[............o............]  fine"), "{chart}");
    assert!(lines[2].ends_with("[............|...........o]  off"), "{chart}");
    let qualified = station.run(&["instrument", "qualify", "TM-01"]);
    assert_eq!(qualified.code, 1, "the newest check was off: {qualified:?}");
    assert!(qualified.stdout.starts_with("CS-3        off "), "{qualified:?}");
    let another = STANDARD.replace("CS-3", "CS-4").replace("\nvalue", "\nof = \"DM-01\"\nvalue");
    fs::write(&file, another).unwrap();
    station.done(&["standard", "import", file.to_str().unwrap()]);
    let never = station.run(&["instrument", "qualify", "DM-01"]);
    assert_eq!(never.code, 3, "it was never held against it: {never:?}");
    assert!(never.stdout.contains("\nCS-4        never"), "{never:?}");
    station.done(&["check", "CS-4"]);
    wait::until_true("the check is taken", || {
        meter.say(b"R2 +11.002 kOhm\r\n");
        station.bench()["check"].is_null()
    });
    let fine = station.run(&["instrument", "qualify", "DM-01"]);
    assert!(fine.stdout.contains("\nCS-4        fine"), "another meter read it: {fine:?}");
    assert_eq!(fine.code, 3, "it was never held against CS-3: {fine:?}");
    station.kill9();
    station.restart();
    assert_eq!(station.done(&["instrument", "chart", "TM-01"]), chart);
    assert!(station.done(&["instrument", "chart", "DM-01"]).contains("fine"));
}

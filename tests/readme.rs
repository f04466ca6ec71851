//! The commands of the README, as a newcomer would type them: the blocks of "The first five
//! minutes" run in one shell, in an empty home, with a meter that talks on a pty.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use support::port::Port;
use support::wait::until_true;

const README: &str = include_str!("../README.md");

/// The `sh` blocks below a heading, up to the next heading of that rank.
fn blocks(heading: &str) -> Vec<&'static str> {
    let rest = README.split_once(heading).expect("the README has this heading").1;
    let part = rest.split("\n## ").next().unwrap();
    let parts = part.split("```sh\n").skip(1);
    parts.map(|block| block.split("```").next().unwrap()).collect()
}

/// What a newcomer does between the blocks: the port of their own meter. The build is there
/// already, and what runs in the background ends with the shell.
fn script(meter: &Path, built: &Path) -> String {
    let mut script = String::from(
        "set -eu\ncargo() { test \"$*\" = 'build --release'; }\ntrap 'kill $(jobs -p) 2>/dev/null || true' EXIT\n",
    );
    for (number, block) in blocks("## The first five minutes").iter().enumerate() {
        if number == 1 {
            let port = "/dev/serial/by-id/usb-0001-if00-port0";
            script += &format!("sed -i 's|{port}|{}|' one-meter.toml\n", meter.display());
        }
        let block = block.replace("$PWD/target/release", &built.display().to_string());
        for line in block.lines() {
            script += &format!("echo '$ {}'\n{line}\n", line.replace('\'', ""));
            if line.ends_with('&') {
                script += "until tapline status >/dev/null 2>&1; do sleep 0.1; done\n";
            }
        }
    }
    script
}

#[test]
fn the_first_five_minutes_go_as_written() {
    let home = tempfile::tempdir().unwrap();
    let name = home.path().join("meter");
    let meter = Port::plug(&name);
    let binary = Path::new(env!("CARGO_BIN_EXE_tapline")).parent().unwrap();
    let mut shell = Command::new("bash")
        .arg("-c")
        .arg(script(&name, binary))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("HOME", home.path())
        .env_remove("TAPLINE_SOCKET")
        .stdin(Stdio::null())
        .stdout(Stdio::from(fs::File::create(home.path().join("out")).unwrap()))
        .stderr(Stdio::from(fs::File::create(home.path().join("talk")).unwrap()))
        .spawn()
        .unwrap();
    let mut ended = None;
    until_true("the end of the README's commands", || {
        meter.say(b"R4 OL Ohm\r\n");
        ended = shell.try_wait().unwrap();
        ended.is_some()
    });
    let out = fs::read_to_string(home.path().join("out")).unwrap();
    let talk = fs::read_to_string(home.path().join("talk")).unwrap();
    assert!(ended.unwrap().success(), "{out}\n{talk}");
    for said in ["Station K3", "val-unit-line  connected", "K3-", "Join the clips"] {
        assert!(out.contains(said), "no `{said}` in:\n{out}\n{talk}");
    }
}

#[test]
fn the_two_commands_are_there() {
    let first = blocks("# Tapline")[0];
    let commands: Vec<&str> = first.lines().map(|l| l.split('#').next().unwrap().trim()).collect();
    assert_eq!(commands, ["cargo run --release -- demo", "sh contrib/ci.sh"]);
    assert!(Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/ci.sh").is_file());
    let run = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/.ci/run")).unwrap();
    assert!(run.contains("exec sh contrib/ci.sh\n"), "CI runs the test command of the README");
}

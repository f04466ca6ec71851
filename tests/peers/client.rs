//! A general-purpose instrument-control client, PyVISA: what it reads of a meter is what the
//! station read of it, through the same pty or socket, one after the other.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use super::simulator::outside;
use crate::support::book::Book;
use crate::support::python;
use crate::support::station::Output;

/// Everything that the meter of `outside/bench_meter.py` can show in an inspection: each reading
/// is one of three in turn.
const DEAD: &[&str] = &[
    "SIM:SUPPLY OFF",
    "CONF:VOLT:DC",
    "READ?*3",
    "CONF:RES",
    "READ?*3",
    "CONF:VOLT:AC",
    "READ?*3",
];
const LIVE: &[&str] = &[
    "CONF:VOLT:AC",
    "SIM:SUPPLY ON",
    "SIM:S5 NORMAL",
    "READ?*3",
    "SIM:S5 REVERSED",
    "READ?*3",
    "SYST:ERR?",
];

/// The answers to `READ?` that PyVISA gets.
fn visa(resource: &str, messages: &[&str]) -> BTreeSet<String> {
    let mut command = Command::new(python::interpreter());
    command.arg(outside().join("visa_reads.py")).arg(resource).arg("*IDN?").args(messages);
    let said = Output::of(&mut command);
    assert_eq!(said.code, 0, "PyVISA, see contrib/packages.txt: {}", said.stderr);
    let answers = || said.stdout.lines().filter_map(|line| line.split_once('\t'));
    let of = |asked| answers().filter(move |(ask, _)| *ask == asked).map(|(_, answer)| answer);
    assert!(of("*IDN?").all(|name| name.starts_with("GENERIC,")), "{said:?}");
    assert!(of("SYST:ERR?").all(|error| error == "+0,\"No error\""), "{said:?}");
    of("READ?").map(str::to_owned).collect()
}

/// The answers to `READ?` in a record: its `CONF?` answers have six digits, these have eight.
fn recorded(file: &Path) -> BTreeSet<String> {
    let facts = Book::read(file).facts();
    let raw = facts.iter().filter(|fact| fact["k"] == "in").filter_map(|fact| fact["raw"].as_str());
    let text: String = raw.collect();
    let reading = |line: &&str| line.len() == 15 && line.contains("E") && line.starts_with('+');
    text.split("\n")
        .map(|line| line.trim_end_matches("\\r").trim_end())
        .filter(reading)
        .map(str::to_owned)
        .collect()
}

/// The record holds what PyVISA reads, and nothing else was read.
pub(crate) fn agrees(resource: &str, file: &Path) {
    let station = recorded(file);
    let live = visa(resource, LIVE);
    assert_eq!(live.len(), 6, "{live:?}");
    assert!(live.is_subset(&station), "{live:?} {station:?}");
    let all: BTreeSet<String> = visa(resource, DEAD).union(&live).cloned().collect();
    assert!(station.is_subset(&all), "{station:?} {all:?}");
}

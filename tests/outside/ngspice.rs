//! Asks ngspice, a circuit simulator that nobody here wrote, for the voltages of a circuit.

use std::io::Write as _;
use std::process::{Command, Stdio};

/// Magnitudes of the node voltages that the deck prints, in the order of its `print` lines.
///
/// # Panics
/// If ngspice can't be started or prints anything but one number a node: the comparison would
/// prove nothing.
pub(crate) fn magnitudes(deck: &str) -> Vec<f64> {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(deck.as_bytes()).unwrap();
    let run = Command::new("ngspice").arg("-b").arg(file.path()).stdin(Stdio::null()).output();
    let run = run.expect("ngspice is needed here: install the package `ngspice`");
    let said = String::from_utf8_lossy(&run.stdout);
    let wanted = deck.lines().filter(|l| l.starts_with("print ")).count();
    let found: Vec<f64> = said
        .lines()
        .filter_map(|line| line.strip_prefix("mag(v("))
        .filter_map(|line| line.split_once(" = "))
        .map(|(_, number)| number.trim().parse().unwrap())
        .collect();
    let errors = String::from_utf8_lossy(&run.stderr);
    assert_eq!(found.len(), wanted, "ngspice said:\n{said}\n{errors}\nof the deck:\n{deck}");
    found
}

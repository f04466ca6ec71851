//! Codes against programs of other makes: element strings against zint and biip, check characters
//! of HIBC against zint.
//!
//! 5 000 strings are made each time, the same ones; `STRINGS=100000` makes more. The disagreements
//! that are decisions are listed in `outside/barcodes.py`, and each is counted.
#![allow(clippy::unwrap_used, clippy::print_stderr, reason = "a test may panic and tell")]

#[path = "support/python.rs"]
mod python;

use std::io::{BufWriter, Read, Write};
use std::process::{Command, Stdio};

use serde_json::{Value, json};
use tapline_drivers::scan::{Content, Fault, Profile, read};

const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/barcodes.py");
const TABLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/drivers/src/scan/gs1/dictionary.txt");
const CHARACTERS: &str = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%";

fn outside(args: &[&str], input: &str) -> String {
    let mut child = Command::new(python::interpreter())
        .arg(SCRIPT)
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut pipe = BufWriter::new(child.stdin.take().unwrap());
    let input = input.to_owned();
    let writer = std::thread::spawn(move || pipe.write_all(input.as_bytes()).unwrap());
    let mut told = String::new();
    child.stdout.take().unwrap().read_to_string(&mut told).unwrap();
    writer.join().unwrap();
    assert!(child.wait().unwrap().success(), "the other program failed: {told}");
    told
}

fn lines(text: &str) -> impl Iterator<Item = Value> {
    text.lines().map(|line| serde_json::from_str(line).unwrap())
}

fn understood(code: &str) -> Result<Content, Fault> {
    let profile = Profile { proven: true, ..Profile::default() };
    read(code.as_bytes(), &profile).map_err(|(_, fault)| fault)
}

/// What is made of one string: its elements, or why there are none.
fn made_of(case: &Value) -> Value {
    let read = understood(&format!("]d2{}", case["raw"].as_str().unwrap()));
    let elements = read.as_ref().ok().map(|content| {
        let elements = content.elements.iter();
        elements.map(|one| [one.key.clone(), one.value.clone()]).collect::<Vec<_>>()
    });
    let refused = read.err().map(|fault| fault.word);
    json!({ "raw": case["raw"], "pairs": case["pairs"], "ours": elements, "refused": refused })
}

#[test]
fn element_strings_are_cut_and_judged_as_by_other_programs() {
    let count = std::env::var("STRINGS").unwrap_or_else(|_| "5000".into());
    let cases = outside(&["make", &count, "1", TABLE], "");
    let made: String = lines(&cases).map(|case| format!("{}\n", made_of(&case))).collect();
    let told = outside(&["hold", TABLE], &made);
    eprintln!("{told}");
    assert!(!told.contains("differs"), "{}", told.chars().take(4_000).collect::<String>());
    for kind in ["taken by both", "refused by both", "torn, and taken by both", "cut alike by biip"]
    {
        assert!(told.contains(kind), "the cases tell something: {told}");
    }
}

#[test]
fn check_characters_are_those_of_another_program() {
    let labels = outside(&["hibc", "500", "1"], "");
    for label in lines(&labels) {
        let (body, label) = (label["body"].as_str().unwrap(), label["label"].as_str().unwrap());
        let read = understood(label);
        assert!(read.is_ok(), "{label}: {read:?}");
        for wrong in CHARACTERS.chars().filter(|wrong| !label.ends_with(*wrong)) {
            let refused = understood(&format!("{body}{wrong}"));
            let word = refused.map_or_else(|fault| fault.word, |_| "taken");
            assert_eq!(word, "check_character", "{body}{wrong}");
        }
    }
}

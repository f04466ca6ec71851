//! Readers of what comes from outside, tried with what nobody thought of: each rule is a function
//! from an input to what it did or the rule that it broke (`fuzz/rules.rs`, `grammar.rs`,
//! `texts.rs`, `book.rs`), and `fuzz/hunt.rs` looks for an input that breaks one.
//!
//! Seeds are the captures, the examples and `fuzz/corpus/`, where what once was found stays. A run
//! is the same on every machine: `RUNS=100000` tries more, `MINUTES=2` takes so much time of a core
//! for each target, `SOAK=1` ten minutes. `KEEP=1` with them adds to the corpus what did something
//! new.
#![allow(clippy::unwrap_used, reason = "a test may panic")]
#![allow(clippy::print_stderr, reason = "it says how many inputs it tried")]

#[path = "fuzz/book.rs"]
mod book;
#[path = "fuzz/clock.rs"]
mod clock;
#[path = "fuzz/corpus.rs"]
mod corpus;
#[path = "fuzz/faulty.rs"]
mod faulty;
#[path = "fuzz/grammar.rs"]
mod grammar;
#[path = "fuzz/hunt.rs"]
mod hunt;
#[path = "fuzz/mutant.rs"]
mod mutant;
#[path = "fuzz/random.rs"]
mod random;
#[path = "fuzz/rules.rs"]
mod rules;
#[path = "fuzz/script.rs"]
mod script;
#[path = "fuzz/texts.rs"]
mod texts;

use std::path::Path;
use std::sync::Arc;

use clock::Watch;
use faulty::{FAULTS, Faulty};
use hunt::{Broken, Hunt, Verdict};
use mutant::Mutant;
use rules::Subject;
use script::Script;
use tapline_drivers::wire::number::{Numeric, numeric};
use tapline_drivers::{AnyDriver, Number, by_name, catalogue};

/// Inputs of a target of bytes, and scripts of a driver: about a second each.
const BYTES: u64 = 40_000;
const SCRIPTS: u64 = 2_500;
const BOOKS: u64 = 2_000;
const TEXTS: u64 = 1_500;

/// Hunts as long as it was told to, and says what it found as somebody needs it.
fn hunt<I: Mutant + std::fmt::Debug>(hunt: &Hunt<'_, I>, usual: u64) {
    let number = |name: &str| std::env::var(name).ok().map(|text| text.parse::<f64>().unwrap());
    let soak = std::env::var_os("SOAK").map(|_| 10.0);
    let minutes = number("MINUTES").or(soak);
    let runs = std::env::var("RUNS").map_or(usual, |text| text.parse().unwrap());
    let (runs, watch) = match minutes {
        Some(minutes) => (u64::MAX, Watch::minutes(minutes)),
        None => (runs, Watch::never()),
    };
    match hunt.run(runs, &watch) {
        Ok(quiet) => {
            let (runs, features) = (quiet.runs, quiet.features);
            eprintln!("{}: {runs} inputs, {features} different things done", hunt.name);
            if std::env::var_os("KEEP").is_some() {
                corpus::keep(hunt, quiet.kept);
            }
        }
        Err(Broken { rule, input, runs }) => panic!(
            "{}: {rule}\nafter {runs} inputs, with\n\n{}\nfirst put that into {}, then mend it",
            hunt.name,
            input.text(),
            corpus::path(hunt.name).display(),
        ),
    }
}

fn words(list: &[&str]) -> Vec<Vec<u8>> {
    list.iter().map(|word| word.as_bytes().to_vec()).collect()
}

/// A target of bytes.
fn bytes(name: &str, seeds: &[&str], list: &[&str], check: &dyn Fn(&[u8]) -> Verdict) {
    let check = &|bytes: &Vec<u8>| check(bytes);
    let seeds = words(seeds).into_iter().chain(corpus::read(name)).collect();
    hunt(&Hunt { name, seeds, words: words(list), check }, BYTES);
}

/// A built-in driver.
fn style(name: &str) {
    let make = || Box::new(by_name(name).unwrap()) as Box<dyn Subject>;
    driver(name, name, &make);
}

fn driver(name: &str, driver: &str, make: &dyn Fn() -> Box<dyn Subject>) {
    let seeds = corpus::captures(|head| head == driver);
    assert!(!seeds.is_empty(), "{driver}: put a capture of it into tests/captures");
    let words = corpus::reads(&seeds);
    let seeds = seeds.into_iter().chain(corpus::read(name)).collect();
    // The one style whose digits are drawn.
    let digits = name != "seg14";
    let check = |script: &Script| rules::driver(make, digits, script);
    hunt(&Hunt { name, seeds, words, check: &check }, SCRIPTS);
}

/// A driver of `contrib/drivers`.
fn worked(file: &str) {
    let path = format!("contrib/drivers/{file}");
    let text = std::fs::read_to_string(corpus::root().join(&path)).unwrap();
    let about = Arc::new(tapline_protocols::described::parse(&text).unwrap().description);
    let make = || Box::new(AnyDriver::described(&about)) as Box<dyn Subject>;
    driver(file.trim_end_matches(".toml"), &path, &make);
}

macro_rules! styles {
    ($($test:ident: $name:literal,)*) => {
        const STYLES: &[&str] = &[$($name),*];
        mod styles { $(#[test] fn $test() { super::style($name); })* }
    };
}

styles! {
    scpi: "scpi",
    scpi_remote: "scpi-remote",
    scpi_lang: "scpi-lang",
    scpi_elements: "scpi-elements",
    scpi_tcp: "scpi-tcp",
    scpi_remote_clear: "scpi-remote-clear",
    scpi_twice: "scpi-twice",
    scpi_remote_twice: "scpi-remote-twice",
    scpi_list: "scpi-list",
    scpi_low_ohm_8: "scpi-low-ohm-8",
    scpi_low_ohm_9: "scpi-low-ohm-9",
    scpi_auto: "scpi-auto",
    val_unit_line: "val-unit-line",
    contacts: "contacts",
    scan: "scan",
    csv_line: "csv-line",
    report: "report",
    seg14: "seg14",
    range11: "range11",
    range14: "range14",
    ascii14: "ascii14",
    nib11: "nib11",
    stx16: "stx16",
    envelope: "envelope",
    fixed14: "fixed14",
    fixed14_poll: "fixed14-poll",
    letter_poll: "letter-poll",
    prompt_echo: "prompt-echo",
    ack_code: "ack-code",
}

/// The style whose numbers are what somebody says they are.
#[test]
fn prompt_echo_told() {
    let name = "prompt-echo resistance_2w Ohm";
    let make = || Box::new(by_name(name).unwrap()) as Box<dyn Subject>;
    driver("prompt-echo-told", name, &make);
}

#[test]
fn every_built_in_style_is_a_target() {
    assert!(catalogue::names().eq(STYLES.iter().copied()), "list it in `styles!` of tests/fuzz.rs");
}

#[test]
fn worked_address_line() {
    worked("address-line.toml");
}

#[test]
fn worked_bench_ohm_line() {
    worked("bench-ohm-line.toml");
}

#[test]
fn worked_leakage_frame14() {
    worked("leakage-frame14.toml");
}

const NUMBERS: &[&str] =
    &["+1.82E-01", "9.9E37", "-9.9e+37", "9.91E37", "+ 0.500", "46.", ".5\0", "1E-24"];
const POWERS: &[&str] =
    &["E37", "E-24", "9.89", "9.905", "000000", ".", "E+", " ", "\0", "-", "1e38"];

#[test]
fn number() {
    let check = |bytes: &[u8]| grammar::number(numeric, bytes);
    bytes("number", NUMBERS, POWERS, &check);
}

const ANSWERS: &[&str] = &[
    "FRES +1.000000E+01,+3.000000E-06\n",
    "0,\"No error;0 0\"\r\n",
    "#15ABCDE;1\n",
    "+1.73730000E-03 VDC,#HA2F,----,OVLD\n",
    "NDCA+1.2345E-9\r\n",
    "\"a \"\"b\"\"\";1,,2;#0abc\n",
];

#[test]
fn response() {
    let list = [";", ",", "#15", "#212", "#0", "#H", "\"", "\"\"", "9.9E37", " VDC", "\n", "FRES "];
    bytes("response", ANSWERS, &list, &grammar::response);
}

#[test]
fn block() {
    let seeds = ["\0\0ABCDE", "\x06\0a\nb,c;d\"", "\x01\u{7f}", "\x02\0"];
    bytes("block", &seeds, &["\n", ",", ";", "#15", "\"", "\0"], &grammar::block);
}

#[test]
fn control_code() {
    use tapline_drivers::scan::control::{ACT_WORDS, WORDS, code};
    let codes: Vec<String> = WORDS.iter().chain(ACT_WORDS).map(|word| code(word)).collect();
    let with = [code("NULL.L-1"), code("SWITCH.S5-REVERSED")];
    let seeds: Vec<&str> = codes.iter().chain(&with).map(String::as_str).collect();
    let list = [".TL-", "-", ".", "_", "NULL", "SIGN"];
    bytes("control_code", &seeds, &list, &grammar::control);
}

#[test]
fn capture() {
    let seeds = corpus::files("tests/captures", "cap").into_iter().map(|(_, bytes)| bytes);
    let seeds: Vec<Vec<u8>> = seeds.chain(corpus::read("capture")).collect();
    let words = words(&["# a: b\n", "5 < \\x", "7 ! open\n", " > ", "\\\\", "\u{e9}", "\r\n"]);
    hunt(&Hunt { name: "capture", seeds, words, check: &texts::capture }, 10 * TEXTS);
}

#[test]
fn described_text() {
    let name = "described_text";
    let files = corpus::files("contrib/drivers", "toml");
    let seeds: Vec<Vec<u8>> = files.into_iter().map(|(_, bytes)| bytes).collect();
    let lines = seeds.iter().flat_map(|text| text.split_inclusive(|byte| *byte == b'\n'));
    let words = lines.map(<[u8]>::to_vec).collect();
    let seeds = seeds.into_iter().chain(corpus::read(name)).collect();
    let scripts = corpus::captures(|head| head.starts_with("contrib/drivers/"));
    let check = |bytes: &Vec<u8>| texts::described(bytes, &scripts);
    hunt(&Hunt { name, seeds, words, check: &check }, TEXTS);
}

fn books() -> Vec<Vec<u8>> {
    let folders = ["idle", "open", "station"].map(|name| format!("tests/journals/v1/{name}"));
    let files = folders.iter().flat_map(|folder| corpus::files(folder, "jsonl"));
    files.map(|(_, bytes)| bytes).collect()
}

/// Lines of `seeds`, for a book to be put together anew.
fn book_hunt<'a>(name: &'a str, check: &'a dyn Fn(&Vec<u8>) -> Verdict) -> Hunt<'a, Vec<u8>> {
    let seeds = books();
    let lines = seeds.iter().flat_map(|text| text.split_inclusive(|byte| *byte == b'\n'));
    let mut words: Vec<Vec<u8>> = lines.map(<[u8]>::to_vec).collect();
    words.extend([b"\"format\":\"tapline-book-2\"".to_vec(), b"\n".to_vec()]);
    Hunt { name, seeds: seeds.into_iter().chain(corpus::read(name)).collect(), words, check }
}

#[test]
fn book() {
    let check = |bytes: &Vec<u8>| book::book(&book::program, bytes);
    hunt(&book_hunt("book", &check), BOOKS);
}

/// The hunt finds what it is there to find: a driver for each rule that it breaks now and then.
#[test]
fn a_driver_that_breaks_a_rule_is_found() {
    for (fault, rule) in FAULTS {
        let make = || Box::new(Faulty::new(*fault)) as Box<dyn Subject>;
        let name = if *fault == faulty::Fault::AsksTwice { "letter-poll" } else { "val-unit-line" };
        let seeds = corpus::captures(|head| head == name);
        let words = corpus::reads(&seeds);
        let check = |script: &Script| rules::driver(&make, true, script);
        let hunt = Hunt { name, seeds, words, check: &check };
        let Err(broken) = hunt.run(20 * SCRIPTS, &Watch::never()) else {
            panic!("{fault:?} was not found");
        };
        assert!(broken.rule.contains(rule), "{fault:?}: {}", broken.rule);
        let small = broken.input.parts();
        assert!(small < 500 || *fault == faulty::Fault::Hoards, "{fault:?}: {small} parts");
        eprintln!("{fault:?}: found after {} inputs, {small} parts are left", broken.runs);
    }
}

/// So is a reader that believes one line more than the marks cover, or stops one commit early.
#[test]
fn a_reader_that_believes_too_much_is_found() {
    let more = |bytes: &[u8]| {
        let mut believed = book::program(bytes);
        let rest = &bytes[usize::try_from(believed.bytes).unwrap()..];
        if let Some(at) = rest.iter().position(|byte| *byte == b'\n').filter(|at| *at > 600) {
            believed.bytes += at as u64 + 1;
        }
        believed
    };
    let check = |bytes: &Vec<u8>| book::book(&more, bytes);
    let broken = book_hunt("book", &check).run(BOOKS, &Watch::never()).unwrap_err();
    assert!(broken.rule.contains("by the marks"), "{}", broken.rule);
}

/// So is a reader of numbers that takes a sentinel for a value, and one that drops a sign.
#[test]
fn a_number_that_is_read_wrong_is_found() {
    let believes = |bytes: &[u8]| match numeric(bytes) {
        Some(Numeric::Infinity { negative }) => {
            Some(Numeric::Value(Number { negative, digits: 99, exponent: 36 }))
        }
        other => other,
    };
    let drops = |bytes: &[u8]| match numeric(bytes) {
        Some(Numeric::Value(number)) => Some(Numeric::Value(Number { negative: false, ..number })),
        other => other,
    };
    let wrong: [grammar::Numbers; 2] = [believes, drops];
    for wrong in wrong {
        let check = |bytes: &Vec<u8>| grammar::number(wrong, bytes);
        let (seeds, words) = (words(&["+1.82E-01"]), words(POWERS));
        let hunt = Hunt { name: "number", seeds, words, check: &check };
        let broken = hunt.run(BYTES, &Watch::never()).unwrap_err();
        assert!(broken.rule.contains("was read as"), "{}", broken.rule);
    }
}

#[test]
fn the_corpus_is_read() {
    for entry in std::fs::read_dir(corpus::root().join("tests/fuzz/corpus")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
        let text = std::fs::read_to_string(&path).unwrap();
        let script = STYLES.contains(&name.as_str())
            || name == "prompt-echo-told"
            || Path::new("contrib/drivers").join(&name).with_extension("toml").exists();
        let count = match script {
            true => corpus::read::<Script>(&name).len(),
            false => corpus::read::<Vec<u8>>(&name).len(),
        };
        assert!(count > 0 && text.len() < 200_000, "{}", path.display());
    }
}

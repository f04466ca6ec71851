//! The printed sheets, the readers' self-test and the control codes, read from pictures by a reader
//! of another make (zxing-cpp, PyPI).
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "support/python.rs"]
mod python;

use std::io::{Read, Write};
use std::process::{Command, Stdio};

use serde_json::Value;
use tapline::cli::scanner::{codes, sheet, told};
use tapline_drivers::scan::control::{self, ACT_WORDS, WORDS};
use tapline_drivers::scan::selftest::{Separator, diagnose};

/// What the other reader says of a page: each code with its symbology identifier and bytes.
fn seen(page: &str) -> Vec<(String, Vec<u8>)> {
    let mut child = Command::new(python::interpreter())
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/sheet.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(page.as_bytes()).unwrap();
    let mut told = String::new();
    child.stdout.take().unwrap().read_to_string(&mut told).unwrap();
    assert!(child.wait().unwrap().success(), "the other program failed: {told}");
    let codes = told.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let bytes = |code: &Value| -> Vec<u8> {
        code["bytes"]
            .as_array()
            .unwrap()
            .iter()
            .map(|b| u8::try_from(b.as_u64().unwrap()).unwrap())
            .collect()
    };
    codes.map(|code| (code["aim"].as_str().unwrap().to_owned(), bytes(&code))).collect()
}

#[test]
fn the_printed_sheet_is_read_back_and_proves_the_reader() {
    let seen = seen(&sheet().unwrap());
    let identifiers: Vec<&str> = seen.iter().map(|(aim, _)| aim.as_str()).collect();
    assert_eq!(identifiers, ["]d2", "]C1", "]C0", "]C0"]);
    let line = |(aim, bytes): &(String, Vec<u8>)| [aim.as_bytes(), bytes, b"\r\n"].concat();
    let sent: Vec<u8> = seen.iter().flat_map(line).collect();
    let found = diagnose(&sent);
    assert!(found.is_clean() && found.identifiers, "{found:?}");
    assert!(found.profile().is_some_and(|profile| profile.proven && profile.gs_alias.is_none()));

    // The same sheet by a reader that drops separators, and by one that types something else.
    let without: Vec<u8> = sent.iter().copied().filter(|byte| *byte != 0x1d).collect();
    let found = diagnose(&without);
    assert_eq!((found.separator.clone(), found.profile()), (Some(Separator::Lost), None));
    assert!(told(&found).concat().contains("Separators are lost"));
    let typed: Vec<u8> =
        sent.iter().flat_map(|b| if *b == 0x1d { b"^]".to_vec() } else { vec![*b] }).collect();
    let found = diagnose(&typed);
    let alias = found.profile().and_then(|profile| profile.gs_alias);
    assert_eq!(alias.as_deref(), Some("^]"));
}

#[test]
fn the_printed_control_codes_are_read_back_and_are_all_there_are() {
    for lines in [false, true] {
        let page = codes(&["L-1".to_owned()], lines).unwrap();
        let seen = seen(&page);
        assert_eq!(seen.len(), page.matches("<figure>").count());
        let texts: Vec<String> =
            seen.into_iter().map(|(_, bytes)| String::from_utf8(bytes).unwrap()).collect();
        let read = |text: &'_ String| control::read(text.as_bytes()).unwrap().word.to_owned();
        let words: Vec<String> = texts.iter().map(read).collect();
        // A parked inspection names itself, so its code is on no sheet; the tag is a word of SIGN.
        let own = ["RESUME", "TAG"];
        for word in WORDS.iter().chain(ACT_WORDS).filter(|word| !own.contains(word)) {
            assert!(words.iter().any(|one| one == word), "{word} is printed");
        }
        // What makes a step live stands on the last page alone.
        let card = page.rfind("<section>").unwrap();
        let on_card = page[card..].matches("<figure>").count();
        let (sheet, acts) = words.split_at(words.len() - on_card);
        assert_eq!(acts, ACT_WORDS);
        assert!(sheet.iter().all(|word| !ACT_WORDS.contains(&word.as_str())));
    }
    assert!(codes(&["Lötstelle".to_owned()], false).is_err(), "no code has this character");
}

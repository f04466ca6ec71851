//! Reports of stored records, read by programs of other makes: qpdf checks the file, poppler's
//! tools read its text and its fonts and draw it, zxing-cpp reads the code in the drawing.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "support/python.rs"]
mod python;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use tapline::words::english;
use tapline_paper::words::Language;
use tapline_protocols::terms::choices;
use tempfile::TempDir;

const RECORDS: &str = "tests/journals/v1/inspections/2026/11";
const FAILED: &str = "DEMO-20261126-0001";

fn root(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn record(id: &str) -> PathBuf {
    root(RECORDS).join(format!("{id}.jsonl"))
}

#[track_caller]
fn ran(command: &mut Command) -> Output {
    let output = command.output().unwrap_or_else(|why| {
        panic!("{command:?} can't run ({why}): run `sh contrib/ci.sh` once, it installs it")
    });
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{command:?}: {told}");
    output
}

fn tapline() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tapline"));
    command.env("TAPLINE_CONFIG", root("contrib/example/tapline.toml"));
    command
}

fn report(id: &str, file: &Path, more: &[&str]) {
    ran(tapline().arg("report").arg(record(id)).arg("--write").arg(file).args(more));
}

fn text(file: &Path) -> String {
    let text = ran(Command::new("pdftotext").arg("-layout").arg(file).arg("-")).stdout;
    String::from_utf8(text).unwrap()
}

/// The hash that was signed, as the head file has it.
fn head(id: &str) -> Vec<u8> {
    let text = fs::read_to_string(record(id).with_extension("head")).unwrap();
    data_encoding::HEXLOWER.decode(&text.as_bytes()[..64]).unwrap()
}

#[test]
fn other_programs_read_the_report() {
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("r.pdf");
    report(FAILED, &file, &[]);
    ran(Command::new("qpdf").arg("--check").arg(&file));
    let fonts = String::from_utf8(ran(Command::new("pdffonts").arg(&file)).stdout).unwrap();
    let fonts: Vec<&str> = fonts.lines().skip(2).collect();
    assert_eq!(fonts.len(), 2, "{fonts:?}");
    for font in fonts {
        let words: Vec<&str> = font.split_whitespace().collect();
        // Embedded, cut down to what is used, and with the letters that its glyphs stand for.
        assert!(words.windows(3).any(|three| three == ["yes", "yes", "yes"]), "{font}");
    }
    assert!(text(&file).contains(&format!("End of report {FAILED}")));
}

/// The fields that stand on paper, by what the record says of them: read by hand.
#[test]
fn what_the_record_says_stands_on_paper() {
    let folder = TempDir::new().unwrap();
    let (english, german) = (folder.path().join("en.pdf"), folder.path().join("de.pdf"));
    report(FAILED, &english, &[]);
    report(FAILED, &german, &["--language", "de", "--paper", "letter"]);
    let english = text(&english);
    for field in [
        "Workshop north",
        "P-0102",
        "examination lamp",
        "Lindenau Works Hell 1",
        "0442",
        "North/1/C",
        "IEC 62353:2014",
        "> 2 Ω",
        "≤ 0.300 Ω",
        "− 0.059 leads",
        "5.3.2 a) (two sources)",
        "case screw, current +",
        "LR-01",
        "C-2026-118",
        "R. Feld",
        "op-7",
        "2026-11-26 05:03",
        "UTC+00:00",
        "Not energised: protective earth is not proved.",
        "page 1 of 1",
        "The hold or fail tag is attached.",
        "relates only to the item tested",
        "not set: it did not pass",
        "14 readings",
        "simple acceptance",
    ] {
        assert!(english.contains(field), "`{field}` is not on paper:\n{english}");
    }
    let german = text(&german);
    for field in [
        "NICHT BESTANDEN",
        "> 2 Ω",
        "≤ 0,300 Ω",
        "− 0,059 Messleitung",
        "26.11.2026 05:03",
        "Schutzleiterwiderstand",
        "Seite 1 von 1",
        "Unterschriften",
    ] {
        assert!(german.contains(field), "`{field}` is not on paper:\n{german}");
    }
}

/// ISO/IEC 16022 by another reader, at the size of the paper.
#[test]
fn the_head_is_read_back_from_the_printed_code() {
    let folder = TempDir::new().unwrap();
    let (file, picture) = (folder.path().join("r.pdf"), folder.path().join("r"));
    report(FAILED, &file, &[]);
    ran(Command::new("pdftoppm")
        .args(["-gray", "-r", "200", "-singlefile"])
        .arg(&file)
        .arg(&picture));
    let seen = seen(&picture.with_extension("pgm"));
    assert_eq!(seen, [("]d1".to_owned(), head(FAILED))]);
    // By coreutils: xxd -r -p HEAD | base32 | head -c 16
    let code = data_encoding::BASE32.encode(&head(FAILED)[..10]);
    let four: Vec<&str> = (0..4).map(|n| &code[4 * n..4 * n + 4]).collect();
    assert!(text(&file).contains(&four.join(" ")));
}

/// No clock and no zone of the machine goes in.
#[test]
fn the_same_record_gives_the_same_bytes_years_later() {
    let folder = TempDir::new().unwrap();
    let (one, two) = (folder.path().join("1.pdf"), folder.path().join("2.pdf"));
    report(FAILED, &one, &[]);
    ran(Command::new("faketime")
        .arg("2031-06-01 12:00:00")
        .arg(env!("CARGO_BIN_EXE_tapline"))
        .env("TZ", "Asia/Kolkata")
        .env("TAPLINE_CONFIG", root("contrib/example/tapline.toml"))
        .arg("report")
        .arg(record(FAILED))
        .arg("--write")
        .arg(&two));
    assert!(fs::read(&one).unwrap() == fs::read(&two).unwrap());
    let piped = ran(tapline().arg("report").arg(record(FAILED)));
    assert!(piped.stdout == fs::read(&one).unwrap());
    let html = ran(tapline().arg("report").arg(record(FAILED)).args(["--as", "html"])).stdout;
    assert!(String::from_utf8(html).unwrap().contains("examination lamp"));
}

#[test]
fn a_record_that_is_not_believed_is_not_printed() {
    let folder = TempDir::new().unwrap();
    let file = folder.path().join(format!("{FAILED}.jsonl"));
    let text = fs::read_to_string(record(FAILED)).unwrap();
    fs::write(&file, text.replace("\"outcome\":\"fail\"", "\"outcome\":\"pass\"")).unwrap();
    let output = tapline().arg("report").arg(&file).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty());
    assert!(String::from_utf8(output.stderr).unwrap().contains("tapline verify"));
}

/// Closed words that a record can hold have words on paper.
#[test]
fn every_closed_word_is_said_on_paper() {
    for language in Language::ALL {
        let words = language.words();
        for table in ["measurand", "method", "reason", "confidence", "verdict", "rule"] {
            for word in choices(table) {
                assert!(words.find(table, word).is_some(), "no {table}.{word} in {language:?}");
            }
        }
        // What screens say of these, paper says, too.
        for table in
            ["amend_reason", "caution", "item", "cause", "tell", "why_inspected", "ended", "known"]
        {
            let paper = if table == "why_inspected" { "why" } else { table };
            for word in english().codes(table) {
                assert!(words.find(paper, word).is_some(), "no {paper}.{word} in {language:?}");
            }
        }
    }
}

/// Nothing stands in the words that nobody can say: each code is a word of the sources.
#[test]
fn no_word_of_paper_is_unused() {
    let mut known: BTreeSet<String> = BTreeSet::new();
    let mut folders = vec![
        root("paper/src"),
        root("protocols/src"),
        root("protocols/plans"),
        root("src/station"),
        root("src/report"),
    ];
    folders.extend([root("protocols/terms.toml"), root("src/told/sheet.rs")]);
    while let Some(path) = folders.pop() {
        match fs::read_dir(&path) {
            Ok(entries) => folders.extend(entries.map(|entry| entry.unwrap().path())),
            Err(_) => {
                let text = fs::read_to_string(&path).unwrap_or_default();
                let words = text.split(|c: char| !c.is_ascii_alphanumeric() && c != '_');
                known.extend(words.map(str::to_ascii_lowercase));
                // Variants of an enum stand in a record as `snake_case`.
                let snake = text.chars().fold(String::new(), |mut out, c| {
                    if c.is_ascii_uppercase() && out.ends_with(|l: char| l.is_ascii_lowercase()) {
                        out.push('_');
                    }
                    out.push(c.to_ascii_lowercase());
                    out
                });
                let words = snake.split(|c: char| !c.is_ascii_alphanumeric() && c != '_');
                known.extend(words.map(str::to_owned));
            }
        }
    }
    for code in Language::English.words().codes() {
        let (table, code) = code.split_once('.').unwrap();
        let lower = code.to_ascii_lowercase();
        if english().find("caution", code).is_some() && table == "caution" {
            continue;
        }
        let pair = ["set", "control", "auth"].contains(&table)
            && lower.split(['_', '+']).all(|part| known.contains(part));
        assert!(pair || known.contains(&lower), "{table}.{code} is said by nobody");
    }
}

/// What a reader of another make sees on a picture.
fn seen(picture: &Path) -> Vec<(String, Vec<u8>)> {
    let reader = root("tests/outside/codes.py");
    let told = ran(Command::new(python::interpreter()).arg(reader).arg(picture)).stdout;
    let told = String::from_utf8(told).unwrap();
    let one = |line: &str| {
        let read: serde_json::Value = serde_json::from_str(line).unwrap();
        let bytes = serde_json::from_value(read["bytes"].clone()).unwrap();
        (read["aim"].as_str().unwrap().to_owned(), bytes)
    };
    let mut seen: Vec<(String, Vec<u8>)> = told.lines().map(one).collect();
    seen.sort();
    seen
}

/// The number as it is scanned, and all of the head; at the dots of common printers.
#[test]
fn the_codes_of_a_label_are_read_back_from_its_dots() {
    let folder = TempDir::new().unwrap();
    let picture = folder.path().join("label.png");
    for (dpi, size) in [("203", "50x25mm"), ("300", "50x25mm"), ("300", "62x29mm")] {
        let more = ["--dpi", dpi, "--size", size, "--write"];
        ran(tapline().arg("label").arg(record(FAILED)).args(more).arg(&picture));
        let mut want =
            vec![("]d1".to_owned(), b"P-0102".to_vec()), ("]d1".to_owned(), head(FAILED))];
        want.sort();
        assert_eq!(seen(&picture), want, "{dpi} {size}");
        let data = root("tests/journals/v1");
        let own = ["label", "--asset", "P-0102", "--dpi", dpi, "--size", size, "--folder"];
        ran(tapline().args(own).arg(&data).arg("--write").arg(&picture));
        assert_eq!(seen(&picture), [("]d1".to_owned(), b"P-0102".to_vec())], "{dpi} {size}");
    }
    let file = folder.path().join("label.pdf");
    ran(tapline().arg("label").arg(record(FAILED)).arg("--write").arg(&file));
    ran(Command::new("qpdf").arg("--check").arg(&file));
    let text = text(&file);
    assert!(
        text.contains("FAIL") && text.contains("do not use") && !text.contains("PASS"),
        "{text}"
    );
    let svg = ran(tapline().arg("label").arg(record(FAILED)).args(["--as", "svg"])).stdout;
    assert!(String::from_utf8(svg).unwrap().starts_with("<svg"));
}

#[test]
fn what_has_no_label_says_what_to_do() {
    let data = root("tests/journals/v1");
    for (args, code) in [
        (vec!["DEMO-20261126-0003"], "is not sealed"),
        (vec!["--asset", "P-9999"], "there is no asset P-9999"),
        (vec!["DEMO-20261126-0001", "--size", "10x10mm"], "is no label"),
    ] {
        let output =
            tapline().arg("label").args(&args).arg("--folder").arg(&data).output().unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}: {said}");
        assert!(said.contains(code), "{args:?}: {said}");
    }
}

/// What is printed is what the scanners' codes are made of; cautions and words are there.
#[test]
fn sheets_are_read_back_in_both_languages() {
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("sheet.pdf");
    for (language, card, caution) in [
        ("en", "Card for steps that are live", "Nobody touches the asset"),
        ("de", "Karte für Schritte unter Spannung", "Niemand berührt das Gerät"),
    ] {
        let sheet = |more: &[&str]| {
            let args = ["sheet", more[0], "--language", language];
            ran(tapline().args(args).args(&more[1..]).arg("--write").arg(&file));
            ran(Command::new("qpdf").arg("--check").arg(&file));
            text(&file)
        };
        assert!(sheet(&["cautions"]).contains(caution));
        sheet(&["selftest"]);
        let control = sheet(&["control", "--lead", "L-1"]);
        assert!(control.contains(card) && control.contains("L-1"), "{control}");
    }
    // The first page of the last sheet, at a usual size, by zxing-cpp.
    let picture = folder.path().join("page");
    ran(Command::new("pdftoppm")
        .args(["-gray", "-r", "200", "-f", "1", "-singlefile"])
        .arg(&file)
        .arg(&picture));
    let seen = seen(&picture.with_extension("pgm"));
    let read: BTreeSet<String> = seen
        .iter()
        .map(|(_, bytes)| tapline_drivers::scan::control::read(bytes).unwrap().word.to_owned())
        .collect();
    for word in ["BEGIN", "CAPTURE", "PASS", "SIGN", "NULL"] {
        assert!(read.contains(word), "{word} is not read: {read:?}");
    }
}

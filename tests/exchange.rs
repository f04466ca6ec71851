//! What other programs take, taken by programs of other makes: fhir.resources and fhirpathpy (PyPI)
//! for FHIR R4, icalendar (PyPI), Python's `csv`, a spreadsheet program (`ssconvert` of gnumeric),
//! a receiver of webhooks in Python.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "archive/store.rs"]
mod store;
mod support;

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, Command, Stdio};

use serde_json::{Value, json};
use store::Store;
use support::python;
use tapline::exchange::csv::{Field, Form};
use tapline::exchange::{summary, tables};

const OUTSIDE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside");

/// What a script of `tests/outside/` prints, a JSON value a line.
fn script(name: &str, args: &[&str], input: &[u8]) -> Vec<Value> {
    let mut child = Command::new(python::interpreter())
        .arg(format!("{OUTSIDE}/{name}"))
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_vec();
    let writer = std::thread::spawn(move || stdin.write_all(&input).unwrap());
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap();
    assert!(output.status.success(), "{name} failed");
    let text = String::from_utf8(output.stdout).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn bundle(store: &Store) -> Value {
    let said = store.tapline(&["export", "fhir", "K3-20261126-0001"]);
    assert_eq!(said.code, 0, "{said:?}");
    serde_json::from_str(&said.out).unwrap()
}

fn one<'b>(bundle: &'b mut Value, kind: &str) -> &'b mut Value {
    let mut entries = bundle["entry"].as_array_mut().unwrap().iter_mut();
    let is = |entry: &&mut Value| entry["resource"]["resourceType"] == kind;
    &mut entries.find(is).unwrap_or_else(|| panic!("no {kind}"))["resource"]
}

#[test]
fn a_bundle_is_fhir_and_a_wrong_one_is_not() {
    let store = Store::new(1);
    let good = bundle(&store);
    let mut kinds: Vec<&str> = good["entry"]
        .as_array()
        .unwrap()
        .iter()
        .map(|entry| entry["resource"]["resourceType"].as_str().unwrap())
        .collect();
    kinds.sort_unstable();
    kinds.dedup();
    let want = [
        "Device",
        "DeviceMetric",
        "DiagnosticReport",
        "Observation",
        "Practitioner",
        "Provenance",
        "Task",
    ];
    assert_eq!(kinds, want);
    // What the validators must find, each told by the kind, the change and a part of the finding.
    type Change = fn(&mut Value);
    let wrong: [(&str, Change, &str); 9] = [
        ("Observation", |one| drop(one.as_object_mut().unwrap().remove("status")), "structure"),
        ("Observation", |one| one["colour"] = json!("red"), "structure"),
        ("Observation", |one| one["valueString"] = json!("two"), "structure"),
        ("DiagnosticReport", |one| one["issued"] = json!("yesterday"), "structure"),
        ("Observation", |one| one["status"] = json!("done"), "Observation.status"),
        ("Observation", |one| one["dataAbsentReason"] = json!({ "text": "none" }), "obs-6"),
        ("Observation", |one| one["valueQuantity"]["code"] = json!("megohm"), "UCUM"),
        ("Observation", |one| one["subject"]["reference"] = json!("urn:uuid:0"), "nowhere"),
        (
            "Observation",
            |one| {
                let unit = json!("http://unitsofmeasure.org");
                one["valueQuantity"] = json!({ "value": 0.1, "system": unit, "code": "Ohm" });
            },
            "within its range and H",
        ),
    ];
    let mut lines = vec![good.to_string()];
    for (kind, change, _) in &wrong {
        let mut bad = good.clone();
        change(one(&mut bad, kind));
        lines.push(bad.to_string());
    }
    let found = script("fhir_reads.py", &[], (lines.join("\n") + "\n").as_bytes());
    assert_eq!(found[0], json!([]), "the good one");
    for ((kind, _, want), found) in wrong.iter().zip(&found[1..]) {
        assert!(found.to_string().contains(want), "{kind}: {want}: {found}");
    }
}

#[test]
fn digits_stay_what_they_are_and_the_same_record_gives_the_same_bundle() {
    let store = Store::new(1);
    let said = store.tapline(&["export", "fhir", "K3-20261126-0001"]);
    let again = store.tapline(&["export", "fhir", "K3-20261126-0001"]);
    assert_eq!(said.out, again.out);
    let record = include_str!("journals/v1/inspections/2026/11/DEMO-20261126-0001.jsonl");
    let shown = record.lines().filter(|line| line.contains("\"k\":\"verdict\"")).map(|line| {
        let line: Value = serde_json::from_str(line).unwrap();
        line["shown"].as_str().map(str::to_owned)
    });
    let shown: Vec<String> = shown.flatten().collect();
    assert!(!shown.is_empty());
    for digits in shown {
        assert!(said.out.contains(&format!("\"value\":{digits},")), "{digits}\n{}", said.out);
    }
}

/// Cells that spreadsheets are known to change, or to run: formulas, zeros in front, exponents,
/// days, long numbers, booleans, quotes, breaks, letters of other scripts.
const NASTY: [&str; 20] = [
    "=1+1",
    "+A999BC1234",
    "-3",
    "@SUM(1)",
    "00012345678905",
    "12E5",
    "3-4",
    "MARCH1",
    "1/2",
    "12345678901234567890",
    "TRUE",
    " x ",
    "a,b;c",
    "say \"a\"",
    "line\nbreak",
    "Ω µ ± ≤ é",
    "=HYPERLINK(\"http://x\")",
    "0.10",
    "'quoted",
    "2026-11-24",
];

#[test]
fn twenty_nasty_cells_come_through_a_spreadsheet() {
    let form = Form { spreadsheet: true, separator: ',' };
    let rows: String = NASTY
        .iter()
        .map(|cell| form.line(&[Field::text(*cell), Field::Number("0.25".into())]))
        .collect();
    let text = format!("{}{rows}", form.heading(&["cell", "number"]));
    let folder = tempfile::tempdir().unwrap();
    let (from, to) = (folder.path().join("in.csv"), folder.path().join("out.csv"));
    std::fs::write(&from, text).unwrap();
    let mut program = Command::new("ssconvert");
    let done = program.args(["-T", "Gnumeric_stf:stf_csv"]).arg(&from).arg(&to).output();
    assert!(done.unwrap().status.success(), "gnumeric is in contrib/packages.txt");
    let read = script("tables.py", &[], &std::fs::read(&to).unwrap());
    let rows = read[0].as_array().unwrap();
    assert_eq!(rows.len(), NASTY.len() + 1);
    for (cell, row) in NASTY.iter().zip(&rows[1..]) {
        let shown = row[0].as_str().unwrap();
        // The program takes the apostrophe for what it is, or shows it.
        let shown = shown.strip_prefix('\'').filter(|_| !cell.starts_with('\'')).unwrap_or(shown);
        assert_eq!(shown, *cell);
        assert_eq!(row[1], "0.25");
    }
    // Without apostrophes it changes some: the check can fail.
    let plain: String =
        NASTY.iter().map(|cell| Form::default().line(&[Field::text(*cell)])).collect();
    std::fs::write(&from, plain).unwrap();
    Command::new("ssconvert")
        .args(["-T", "Gnumeric_stf:stf_csv"])
        .arg(&from)
        .arg(&to)
        .output()
        .unwrap();
    let read = script("tables.py", &[], &std::fs::read(&to).unwrap());
    let same = |(cell, row): (&&str, &Value)| row[0] == **cell;
    let kept = NASTY.iter().zip(read[0].as_array().unwrap()).filter(|pair| same(*pair)).count();
    assert!(kept < NASTY.len(), "it changes none of them");
}

#[test]
fn tables_are_read_by_python_and_their_columns_are_documented() {
    let store = Store::new(2);
    let page = include_str!("../src/exchange/README.md");
    for (what, columns) in
        [("measurements", &tables::MEASUREMENTS[..]), ("inspections", &tables::INSPECTIONS[..])]
    {
        let said = store.tapline(&["export", what]);
        assert_eq!(said.code, 0, "{said:?}");
        let read = script("tables.py", &[], said.out.as_bytes());
        let rows = read[0].as_array().unwrap();
        assert_eq!(rows[0], json!(columns));
        assert!(rows.iter().all(|row| row.as_array().unwrap().len() == columns.len()));
        assert!(rows.len() > 2 && rows[1][1] == "K3-20261126-0001", "{rows:?}");
        for column in columns {
            assert!(page.contains(&format!("`{column}`")), "{column} is not in the page");
        }
        let said = store.tapline(&["export", what, "--separator", ";", "--spreadsheet"]);
        let again = script("tables.py", &[";"], said.out.as_bytes());
        assert_eq!(again[0].as_array().unwrap().len(), rows.len());
        let none = store.tapline(&["export", what, "--from", "2027-01-01"]);
        assert_eq!(none.out.lines().count(), 1);
    }
    let lines = store.tapline(&["export", "lines", "--pseudonyms"]);
    let lines: Vec<Value> =
        lines.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!((lines.len(), &lines[0]["signatures"][0]["name"]), (2, &json!("operator-1")));
    let all = serde_json::to_string(&lines).unwrap();
    assert!(!all.contains("op-7"), "an operator's id is left");
}

/// By Python's `csv`, qpdf and pdftotext; the counts are those of the store: two fails of one day.
#[test]
fn a_summary_is_a_table_and_paper() {
    let store = Store::new(2);
    let data = store.data().display().to_string();
    let summary_of =
        |words: &[&str]| store.tapline(&[&["summary", "--folder", &data][..], words].concat());
    let said = summary_of(&["2026-11", "--as", "csv"]);
    assert_eq!(said.code, 0, "{said:?}");
    let read = script("tables.py", &[], said.out.as_bytes());
    let rows = read[0].as_array().unwrap();
    assert_eq!(rows[0], json!(summary::SUMMARY));
    let page = include_str!("../src/exchange/README.md");
    for column in summary::SUMMARY {
        assert!(page.contains(&format!("`{column}`")), "{column} is not in the page");
    }
    let cell = |row: &Value, name: &str| {
        let at = summary::SUMMARY.iter().position(|column| *column == name).unwrap();
        row[at].as_str().unwrap().to_owned()
    };
    assert!(rows.iter().all(|row| row.as_array().unwrap().len() == summary::SUMMARY.len()));
    let of = |kind: &str, of: &str, number: &str| -> Vec<String> {
        let own = |row: &&Value| {
            ["kind", "of", "number"].map(|name| cell(row, name)) == [kind, of, number]
        };
        rows.iter().filter(own).map(|row| cell(row, "count")).collect()
    };
    assert_eq!(of("all", "", "fail"), ["2"]);
    assert_eq!(of("day", "2026-11-26", "fail"), ["2"]);
    assert_eq!(of("day", "2026-11-25", "fail"), ["0"]);
    for (period, days) in [("2026-W48", 7), ("2026-11-26", 1)] {
        let told = summary_of(&[period, "--as", "json"]);
        let told: Value = serde_json::from_str(&told.out).unwrap();
        assert_eq!((&told["outcomes"]["fail"], &told["period"]), (&json!(2), &json!(period)));
        assert!(told["days"].as_array().unwrap().len() <= days);
    }
    for (language, words) in [
        ("en", ["End of summary 2026-11", "Inspected in time", "page 1 of"]),
        ("de", ["Ende der Zusammenfassung 11/2026", "Rechtzeitig geprüft", "Seite 1 von"]),
    ] {
        let how = ["2026-11", "--language", language, "--write", "s.pdf"];
        assert_eq!(summary_of(&how).code, 0);
        let file = store.folder().join("s.pdf");
        assert!(Command::new("qpdf").arg("--check").arg(&file).status().unwrap().success());
        let text = Command::new("pdftotext").arg("-layout").arg(&file).arg("-").output().unwrap();
        let text = String::from_utf8(text.stdout).unwrap();
        assert!(words.iter().all(|word| text.contains(word)), "{text}");
        let xmp = std::fs::read(&file).unwrap();
        let part = b"pdfaid:conformance>B<";
        assert!(xmp.windows(part.len()).any(|window| window == part), "PDF/A-2b");
    }
    assert_eq!(summary_of(&["2026-W54"]).code, 2);
}

#[test]
fn many_reports_are_those_of_one_by_one() {
    let store = Store::new(3);
    let said = store.tapline(&["report", "--into", "paper", "--from", "2026-11-26"]);
    assert_eq!((said.code, said.out.as_str()), (0, ""), "{said:?}");
    assert!(said.err.contains("3 reports"), "{said:?}");
    for n in 1..=3 {
        let id = format!("K3-20261126-000{n}");
        assert_eq!(store.tapline(&["report", &id, "--write", "one.pdf"]).code, 0);
        let one = std::fs::read(store.folder().join("one.pdf")).unwrap();
        let many = std::fs::read(store.folder().join(format!("paper/{id}.pdf"))).unwrap();
        assert!(one == many, "{id}");
    }
    let none = store.tapline(&["report", "--into", "none", "--to", "2026-11-26"]);
    assert!(none.code == 0 && none.err.contains("0 reports"), "{none:?}");
}

#[test]
fn an_export_never_writes_over_a_file() {
    let store = Store::new(1);
    let said = store.tapline(&["export", "inspections", "--write", "out.csv"]);
    assert_eq!((said.code, said.out.as_str()), (0, ""), "{said:?}");
    let said = store.tapline(&["export", "inspections", "--write", "out.csv"]);
    assert!(said.code == 2 && said.err.contains("not there yet"), "{said:?}");
}

#[test]
fn a_calendar_is_read_by_another_program() {
    let store = Store::new(1);
    let said = store.tapline(&["export", "calendar"]);
    assert_eq!(said.code, 0, "{said:?}");
    let read = script("calendar_reads.py", &[], said.out.as_bytes());
    assert_eq!((&read[0]["version"], &read[0]["errors"]), (&json!("2.0"), &json!([])));
    let due = store.tapline(&["due", "data", "--json"]);
    let due: Vec<Value> = due.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let dated: Vec<&Value> = due.iter().filter(|row| row["due"].is_string()).collect();
    assert!(dated.len() > 1 && read.len() == dated.len() + 1, "{read:?}");
    for todo in &read[1..] {
        let row = dated
            .iter()
            .find(|row| todo["uid"] == json!(format!("due-{}@K3", row["asset"].as_str().unwrap())));
        assert_eq!(row.unwrap()["due"], todo["due"], "{todo}");
        assert_eq!(todo["errors"], json!([]));
    }
    // The same name and a higher number once something changed.
    let sequence = |read: &[Value]| -> Value {
        read.iter().find(|todo| todo["uid"] == "due-P-0102@K3").unwrap()["sequence"].clone()
    };
    let before = sequence(&read);
    let again =
        script("calendar_reads.py", &[], store.tapline(&["export", "calendar"]).out.as_bytes());
    assert_eq!(sequence(&again), before);
    store.moves("2027-05-31");
    let said = store.tapline(&["export", "calendar"]);
    let moved = script("calendar_reads.py", &[], said.out.as_bytes());
    assert!(sequence(&moved).as_u64() > before.as_u64());
}

/// A receiver that runs, and what it printed.
struct Receiver {
    child: Child,
    lines: std::io::Lines<BufReader<std::process::ChildStdout>>,
    port: u16,
}

impl Receiver {
    fn start(secret: &str, failures: &str) -> Receiver {
        let mut child = Command::new(python::interpreter())
            .arg(format!("{OUTSIDE}/webhook_takes.py"))
            .args([secret, failures])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let port = lines.next().unwrap().unwrap().parse().unwrap();
        Receiver { child, lines, port }
    }

    fn next(&mut self) -> Value {
        serde_json::from_str(&self.lines.next().unwrap().unwrap()).unwrap()
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_receiver_is_told_in_order_until_it_has_it_and_not_again() {
    let secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSwYWJj";
    let mut receiver = Receiver::start(secret, "1");
    let store = Store::new(2);
    std::fs::write(store.folder().join("secret"), secret).unwrap();
    std::fs::write(store.data().join("webhook.json"), "{\"seq\":0}").unwrap();
    let store = store.telling(receiver.port);
    let mut station = store.serve();
    let refused = receiver.next();
    assert_eq!((&refused["id"], &refused["code"]), (&json!("K3-20261126-0001"), &json!(503)));
    let first = receiver.next();
    assert_eq!((&first["id"], &first["code"]), (&refused["id"], &json!(200)));
    assert_eq!(first["body"], refused["body"], "the same message");
    assert_eq!(first["body"]["data"]["asset"], "P-0102");
    let head =
        std::fs::read_to_string(store.data().join("inspections/2026/11/K3-20261126-0001.head"));
    assert_eq!(first["body"]["data"]["sha256"], head.unwrap()[..64]);
    assert_eq!(receiver.next()["id"], "K3-20261126-0002");
    support::wait::until("it is kept what was told", || {
        let told = std::fs::read_to_string(store.data().join("webhook.json")).ok()?;
        let told: Value = serde_json::from_str(&told).ok()?;
        (told["seq"].as_u64()? == store.last_sealed()).then_some(())
    });
    station.kill().unwrap();
    station.wait().unwrap();
    // Started again it has nothing to tell: what comes next is the record that is new.
    store.seals(3);
    let mut station = store.serve();
    let next = receiver.next();
    assert_eq!((&next["id"], &next["again"]), (&json!("K3-20261126-0003"), &json!(false)));
    station.kill().unwrap();
    station.wait().unwrap();
}

//! What the page gives out against what `tapline export` writes, byte for byte.

use std::fs;
use std::process::Command;

use super::support::look::{self, book, inspected};
use super::support::station::{Builder, Output, Station, TAPLINE};
use super::{Page, raw};

/// What the command writes, in the folder of the station.
fn command(station: &Station, words: &[&str]) -> String {
    written(station, &[&["export"], words].concat())
}

fn written(station: &Station, words: &[&str]) -> String {
    let mut command = Command::new(TAPLINE);
    command.args(words).arg("--config").arg(station.config());
    let done = Output::of(&mut command);
    assert_eq!(done.code, 0, "{words:?}: {done:?}");
    done.stdout
}

/// Kind of file, ending of its name, address, words of the command.
type Pair<'a> = (&'a str, &'a str, &'a str, &'a [&'a str]);

const PAIRS: &[Pair<'static>] = &[
    ("text/csv; charset=utf-8", ".csv", "measurements", &["measurements"]),
    ("text/csv; charset=utf-8", ".csv", "inspections", &["inspections"]),
    (
        "text/csv; charset=utf-8",
        ".csv",
        "measurements?spreadsheet=1&separator=%3B&asset=T-0201",
        &["measurements", "--spreadsheet", "--separator", ";", "--asset", "T-0201"],
    ),
    (
        "text/csv; charset=utf-8",
        ".csv",
        "inspections?pseudonyms=1&separator=tab&from=2020-01-01&to=2999-01-01",
        &[
            "inspections",
            "--pseudonyms",
            "--separator",
            "tab",
            "--from",
            "2020-01-01",
            "--to",
            "2999-01-01",
        ],
    ),
    (
        "text/csv; charset=utf-8",
        ".csv",
        "inspections?to=2020-01-01",
        &["inspections", "--to", "2020-01-01"],
    ),
    ("application/x-ndjson", ".jsonl", "lines", &["lines"]),
    ("application/x-ndjson", ".jsonl", "lines?pseudonyms=1", &["lines", "--pseudonyms"]),
    ("text/calendar; charset=utf-8", ".ics", "calendar", &["calendar"]),
    (
        "text/calendar; charset=utf-8",
        ".ics",
        "calendar?under=North&before=2030-01-01",
        &["calendar", "--under", "North", "--before", "2030-01-01"],
    ),
];

/// The moment at which a calendar was made (RFC 5545, 3.8.7.2) is another each time.
fn timeless(text: &str) -> String {
    let lines = text.split_inclusive('\n').filter(|line| !line.starts_with("DTSTAMP:"));
    lines.collect()
}

#[test]
fn the_page_gives_out_just_what_the_command_writes() {
    let station = look::station(Builder::new().page());
    let page = Page::open(&station);
    let first = inspected(&station, "T-0201", ["pass", "fail"]);
    let second = inspected(&station, "T-0201", ["pass", "pass"]);
    let amend = ["--reason", "wrong_data", "--text", "the ward has moved"];
    station.done(&[&["amend", &first, "location=W3"][..], &amend].concat());
    for (kind, ending, address, words) in PAIRS {
        let given = page.view(&format!("/v1/export/{address}"));
        assert_eq!(given.status, 200, "{address}: {}", given.body);
        assert!(given.head.contains(&format!("content-type: {kind}\r\n")), "{}", given.head);
        let name = given.head.split("filename=\"").nth(1).unwrap().split('"').next().unwrap();
        assert!(name.starts_with("t1-") && name.ends_with(ending), "{name}");
        assert_eq!(timeless(&given.body), timeless(&command(&station, words)), "{address}");
    }
    let table = page.view("/v1/export/inspections").body;
    assert!(table.contains(&first) && table.contains(&second) && table.contains("op-7"), "{table}");
    let hidden = page.view("/v1/export/inspections?pseudonyms=1").body;
    assert!(hidden.contains("operator-1") && !hidden.contains("op-7"), "{hidden}");
    assert!(page.view("/v1/export/calendar").body.contains("DUE;VALUE=DATE:"), "something is due");
    for id in [&first, &second] {
        let given = page.view(&format!("/v1/export/fhir/{id}"));
        assert!(given.head.contains("application/fhir+json"), "{}", given.head);
        assert_eq!(given.body, command(&station, &["fhir", id]), "{id}");
    }
}

#[test]
fn labels_and_sheets_are_those_that_the_command_draws() {
    let station = look::station(Builder::new().page());
    let page = Page::open(&station);
    let id = inspected(&station, "T-0201", ["pass", "pass"]);
    let label = |query: &str| page.view(&format!("/v1/inspections/{id}/label.svg{query}"));
    let words = ["label", &id, "--as", "svg"];
    assert_eq!(label("").body, written(&station, &words));
    let large = [&words[..], &["--size", "62x29mm", "--dpi", "300", "--language", "de"]].concat();
    let given = label("?size=62x29mm&dpi=300&language=de");
    assert_eq!(given.body, written(&station, &large));
    assert!(given.head.contains("content-type: image/svg+xml"), "{}", given.head);
    for wrong in ["?size=1x1mm", "?dpi=50", "?language=fr", "?colour=red"] {
        assert_eq!(label(wrong).status, 400, "{wrong}");
    }
    let fixtures = concat!(env!("CARGO_MANIFEST_DIR"), "/demo/scenes/fixtures.toml");
    station.done(&["fixture", "import", fixtures]);
    assert!(
        page.view("/state").body.contains("/v1/sheets/control.pdf?leads=L-1"),
        "it leads there"
    );
    let sheets = [
        ("control", "?leads=L-1&lines=1", &["--lead", "L-1", "--lines"][..]),
        ("control", "", &[]),
        ("selftest", "?language=de&paper=letter", &["--language", "de", "--paper", "letter"]),
        ("cautions", "", &[]),
    ];
    for (name, query, more) in sheets {
        let path = format!("/v1/sheets/{name}.pdf{query}");
        let given = page.bytes(&path);
        let file = station.folder().join("sheet.pdf").display().to_string();
        written(&station, &[&["sheet", name, "--write", &file][..], more].concat());
        assert!(given == fs::read(&file).unwrap(), "{path}");
        assert!(given.starts_with(b"%PDF-"), "{path}");
    }
    let many = vec!["L-1"; 21].join(",");
    assert_eq!(page.view(&format!("/v1/sheets/control.pdf?leads={many}")).status, 400);
    assert_eq!(page.view("/v1/sheets/control.pdf?leads=L-99").status, 404, "nobody has that");
    station.done(&["scan", "T-0201"]);
    let open = station.done(&["begin", "look-only"]);
    let open = open.lines().next().unwrap();
    let none = page.view(&format!("/v1/inspections/{open}/label.svg"));
    assert_eq!(none.status, 409, "{}", none.body);
    assert!(none.body.contains("is not sealed") && none.body.contains("sign it"), "{}", none.body);
}

#[test]
fn what_is_asked_wrongly_or_in_doubt_gives_no_file() {
    let station = look::station(Builder::new().page());
    let page = Page::open(&station);
    let id = inspected(&station, "T-0201", ["pass", "pass"]);
    for (address, status) in [
        ("measurements?from=yesterday", 400),
        ("measurements?separator=%7C", 400),
        ("lines?spreadsheet=1", 400),
        ("calendar?before=2026-13-01", 400),
        ("inspections?pseudonyms=yes", 400),
        ("fhir/T1-20200101-0001", 404),
        ("fhir/..%2f..%2fstation%2f2026", 404),
        ("everything", 404),
    ] {
        let answer = page.view(&format!("/v1/export/{address}"));
        assert_eq!(answer.status, status, "{address}: {}", answer.body);
        assert!(!answer.head.contains("content-disposition"), "{}", answer.head);
    }
    let port = page.port;
    let stranger = format!("GET /v1/export/lines HTTP/1.0\r\nHost: 127.0.0.1:{port}\r\n\r\n");
    assert_eq!(raw(port, &stranger).status, 401, "nothing is given to who has no key");
    // A record that was changed is told, and not left out in silence.
    let path = book(&station, &id);
    let text = fs::read_to_string(&path).unwrap().replacen("\"pass\"", "\"fail\"", 1);
    fs::write(&path, text).unwrap();
    for name in ["measurements", "inspections", "lines", "calendar"] {
        let answer = page.view(&format!("/v1/export/{name}"));
        assert_eq!(answer.status, 409, "{name}: {}", answer.body);
        assert!(
            answer.body.contains(&id) && answer.body.contains("tapline verify"),
            "{}",
            answer.body
        );
    }
    assert_eq!(page.view("/v1/export/lines?to=2020-01-01").status, 200, "it is not among those");
}

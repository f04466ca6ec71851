//! Stamps and the state of the clock, read by Python, which shares no code with the program.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use tapline::clock::{rfc3339, utc_day, wall_of};

use super::rng::Rng;
use super::support::station::{Builder, Output};

/// Runs a small program of `tests/outside` with the system's Python.
pub(crate) fn python(program: &str, input: &str) -> Vec<String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside").join(program);
    let child = Command::new("python3")
        .arg(path)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::inherit())
        .spawn();
    let mut child = child.expect("this test needs python3: apt-get install python3");
    let mut stdin = child.stdin.take().unwrap();
    let text = input.to_owned();
    let feeder = std::thread::spawn(move || stdin.write_all(text.as_bytes()).unwrap());
    let done = child.wait_with_output().unwrap();
    feeder.join().unwrap();
    assert!(done.status.success(), "{program}: {}", done.status);
    String::from_utf8(done.stdout).unwrap().lines().map(str::to_owned).collect()
}

/// Years 1 to 9999 are what RFC 3339 and Python can say.
const FIRST_US: i64 = -62_135_596_800_000_000;
const SPAN_US: u64 = 315_537_811_200_000_000;

#[test]
fn stamps_mean_the_same_to_python_and_sort_as_text() {
    let mut rng = Rng::new(1);
    let mut walls: Vec<i64> = (0..5_000)
        .map(|_| FIRST_US + i64::try_from(rng.below(SPAN_US)).unwrap())
        .chain([0, -1, 1, 999_999, 1_000_000, 951_782_400_000_000, 1_709_164_799_999_999])
        .collect();
    walls.sort_unstable();
    let texts: Vec<String> = walls.iter().map(|wall| rfc3339(*wall)).collect();
    assert!(texts.is_sorted(), "text sorts as time does");
    let read = python("stamps.py", &(texts.join("\n") + "\n"));
    let want: Vec<String> = walls.iter().map(ToString::to_string).collect();
    assert_eq!(read, want);
    for (wall, text) in walls.iter().zip(&texts) {
        assert_eq!(wall_of(text), Some(*wall), "{text}");
        assert_eq!(utc_day(*wall), text[..10]);
    }
}

/// The first line, the resumption and the page say of the clock what the kernel says.
#[test]
fn a_record_says_whether_the_clock_is_kept_right() {
    let kernel = python("adjtimex.py", "")[0] == "synced";
    let station = Builder::new().start();
    station.done(&["scan", "T-0201"]);
    let id = station.done(&["begin"]).trim().to_owned();
    let book = station.data().join(format!("open/{id}.jsonl"));
    let book = super::support::book::Book::read(&book);
    assert_eq!(book.facts()[0]["synced"], kernel);
    let year = std::fs::read_dir(station.data().join("station")).unwrap().next().unwrap().unwrap();
    let facts = super::support::book::Book::read(&year.path()).facts();
    let start = facts.iter().find(|fact| fact["k"] == "start").unwrap();
    assert_eq!(start["synced"], kernel);
    let Output { stdout, .. } = station.run(&["show", &id]);
    let words = if kernel { "Clock: kept right" } else { "Clock: NOT kept right" };
    assert!(stdout.contains(words), "{stdout}");
}

//! `tapline replay FILE`: a book's raw bytes give its facts once more, without a daemon.

use std::path::Path;

use serde_json::json;
use tapline_protocols::fact::Open;
use tapline_protocols::judge::JUDGE;

use super::again;
use super::verify::Said;
use crate::past::{Refused, believed};
use crate::replay::{Difference, Report, Run};
use crate::station::Context;

/// Replays a book: an inspection or a day of idle bytes. Exit: 0 everything came out the same,
/// 1 it differs under the record's own versions, 3 under others, 2 the file can't be replayed.
///
/// With `as_json` one JSON object.
#[must_use]
pub fn run(file: &Path, as_json: bool) -> Said {
    match replayed(file, false, |_, _| true) {
        Ok(report) => {
            let out = match as_json {
                true => vec![json!(report).to_string()],
                false => text(&report),
            };
            Said { out, talk: Vec::new(), exit: report.exit_code() }
        }
        Err(refused) => {
            let text = match refused {
                Refused::Trouble(text) => text,
                Refused::Unwanted => String::new(),
            };
            let line = json!({ "file": file.display().to_string(), "trouble": text }).to_string();
            let out = if as_json { vec![line] } else { Vec::new() };
            Said { out, talk: vec![format!("{}: {text}", file.display())], exit: 2 }
        }
    }
}

/// Versions of this program; what a record is compared with.
fn versions() -> Context {
    Context {
        version: env!("CARGO_PKG_VERSION").into(),
        judge: JUDGE,
        boot: String::new(),
        synced: false,
        earliest_us: crate::clock::EARLIEST_US,
        key: None,
    }
}

/// Replays a book that is `wanted` by its first line and the moment of it. Of a book in work, what
/// was to come next is no difference.
pub(super) fn replayed(
    file: &Path,
    in_work: bool,
    wanted: impl Fn(&Open, &str) -> bool,
) -> Result<Report, Refused> {
    let versions = versions();
    let mut run = Run::new(&versions);
    believed(file, in_work, wanted, |line| run.line(line))?;
    let mut report = run.end();
    if in_work {
        report.differences.retain(|one| one.seq.is_some());
    }
    Ok(report)
}

fn text(report: &Report) -> Vec<String> {
    let (lines, readings) = (report.lines, report.readings);
    let word = if report.differences.is_empty() { "same" } else { "DIFFERS" };
    let mut out = vec![format!("{word} {}: {lines} lines, {readings} readings", report.name)];
    for one in &report.versions {
        let (was, is) = (shown(one.recorded.as_ref()), shown(one.replayed.as_ref()));
        out.push(format!("  version of {}: recorded {was}, here {is}", one.what));
    }
    out.extend(report.verdicts.iter().map(|one| format!("  {}", again::verdict(one))));
    out.extend(report.differences.iter().flat_map(difference));
    out
}

fn difference(one: &Difference) -> [String; 3] {
    let place = one.seq.map_or("after the last line".into(), |seq| format!("line {seq}"));
    [
        format!("  {place}, {}", one.what),
        format!("    recorded {}", shown(one.recorded.as_ref())),
        format!("    replayed {}", shown(one.replayed.as_ref())),
    ]
}

fn shown(text: Option<&String>) -> &str {
    text.map_or("nothing", String::as_str)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use tapline_protocols::Fact;
    use tapline_protocols::fact::{In, Tap};

    use super::*;
    use crate::books::{Books, Folder, Key};
    use crate::clock::Stamp;
    use crate::station::event::{BookId, Stored};

    const AT: Stamp = Stamp { wall_us: 1_795_508_043_512_004, boot_us: 0 };

    /// A day of idle bytes with one reading, as a station of this version stores it.
    fn day(folder: &Path, change: impl Fn(&mut Open, &mut In)) -> std::path::PathBuf {
        let disk = Arc::new(Folder::open(folder).unwrap());
        let key = Key::open(disk.as_ref(), "K3").unwrap();
        let (mut books, _) = Books::open(disk, Arc::new(key), AT).unwrap();
        let mut open = Open {
            format: "tapline-book-1".into(),
            id: "2026-11-24".into(),
            verify: None,
            station: "K3".into(),
            inspection: None,
            version: env!("CARGO_PKG_VERSION").into(),
            judge: JUDGE,
            boot: "b".into(),
            zone: "Etc/UTC".into(),
            offset: "+00:00".into(),
            synced: true,
            key: None,
            follows: None,
        };
        let tap = Tap {
            link: "ohm".into(),
            instrument: None,
            driver: "val-unit-line".into(),
            driver_version: tapline_drivers::catalogue::by_name("val-unit-line").unwrap().version(),
            driver_sha256: None,
            driver_text: None,
            identity: None,
            source_class: None,
            unconfirmed: false,
        };
        let mut read: In = serde_json::from_value(json!({
            "link": "ohm", "at": 0, "raw": "R4 +0.1 Ohm\r\nR4 +0.182 Ohm\r\n",
            "read": [
                {"b": [0, 13], "f": "resistance_4w", "v": "0.1", "u": "Ohm", "why": "idle"},
                {"b": [13, 28], "f": "resistance_4w", "v": "0.182", "u": "Ohm", "why": "idle"},
            ],
        }))
        .unwrap();
        change(&mut open, &mut read);
        let facts = [Fact::Open(Box::new(open)), Fact::Tap(tap), Fact::In(read)];
        let book = || BookId::Idle("2026-11-24".into());
        let line = |(seq, fact)| Stored { book: book(), bench: None, seq, at: AT, fact, by: None };
        let lines: Vec<Stored> = (1..).zip(facts).map(line).collect();
        books.commit(&lines).unwrap();
        folder.join("idle/2026-11-24.jsonl")
    }

    #[test]
    fn the_same_bytes_give_the_same_readings() {
        let temp = tempfile::tempdir().unwrap();
        let said = run(&day(temp.path(), |_, _| {}), false);
        assert_eq!(said.out, ["same 2026-11-24: 3 lines, 2 readings"]);
        assert_eq!(said.exit, 0);
    }

    #[test]
    fn a_reading_that_was_changed_is_found() {
        let temp = tempfile::tempdir().unwrap();
        let file = day(temp.path(), |_, read| read.read[1].v = Some("0.082".into()));
        let said = run(&file, false);
        assert_eq!((said.exit, said.out.len()), (1, 4));
        assert!(said.out[2].contains("0.082") && said.out[3].contains("0.182"), "{said:?}");
    }

    #[test]
    fn a_difference_under_another_version_is_told_apart() {
        let temp = tempfile::tempdir().unwrap();
        let file = day(temp.path(), |open, read| {
            open.judge += 1;
            read.read[1].v = Some("0.082".into());
        });
        assert_eq!(run(&file, true).exit, 3);
    }

    #[test]
    fn what_is_no_whole_book_is_not_replayed() {
        let temp = tempfile::tempdir().unwrap();
        let file = day(temp.path(), |_, _| {});
        let text = std::fs::read_to_string(&file).unwrap();
        std::fs::write(&file, &text[..text.len() - 3]).unwrap();
        assert_eq!(run(&file, false).exit, 2);
        assert_eq!(run(&temp.path().join("none.jsonl"), true).exit, 2);
    }
}

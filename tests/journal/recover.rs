//! What a start makes of damaged, foreign and unfinished books, and what the writer refuses.

use std::sync::Arc;

use tapline::books::line::LINE_BYTES_MAX;
use tapline::books::{Books, Cause, Disk, Done, Fault, Lock, Memory, PublicKey};
use tapline::clock::Stamp;
use tapline::station::event::{BookId, Stored};
use tapline_protocols::Fact;
use tapline_protocols::fact::ConfirmFact;

use crate::bench::{
    ID, announce, at, day, idle, inspection, key, note, open, opening, signed, stored,
};

fn worked(commits: usize) -> (Memory, Arc<dyn Disk>) {
    let memory = Memory::new();
    let disk: Arc<dyn Disk> = Arc::new(memory.clone());
    let (mut books, found) = open(&disk);
    for commit in &day(found.next_seq)[..commits] {
        books.commit(commit).unwrap();
    }
    (memory, disk)
}

/// Changes one byte of the second line of a file.
fn damage(memory: &Memory, path: &str) {
    let mut bytes = memory.bytes(path).unwrap();
    let second = bytes.iter().position(|&b| b == b'\n').unwrap() + 10;
    bytes[second] ^= 1;
    memory.put(path, &bytes);
}

fn texts(memory: &Memory, path: &str) -> Vec<String> {
    let text = String::from_utf8(memory.bytes(path).unwrap()).unwrap();
    text.lines().filter(|l| !l.starts_with("{\"mark\"")).map(str::to_owned).collect()
}

#[test]
fn what_commit_gives_back_is_what_stands_in_the_file() {
    let (memory, disk) = worked(3);
    let (mut books, found) = open(&disk);
    let mut lines = day(found.next_seq)[3].clone();
    lines[1].by = Some("op-7".into());
    let given = books.commit(&lines).unwrap();
    for (line, text) in lines.iter().zip(given) {
        let path = match line.book {
            BookId::Station => "station/2026.jsonl",
            BookId::Idle(_) => "idle/2026-11-24.jsonl",
            BookId::Inspection(_) => "open/K3-20261124-0007.jsonl",
        };
        assert_eq!(texts(&memory, path).last(), Some(&text));
    }
}

#[test]
fn a_damaged_inspection_is_read_up_to_the_damage_and_never_written_or_sealed() {
    let (memory, disk) = worked(6);
    let path = format!("open/{ID}.jsonl");
    let whole = memory.bytes(&path).unwrap();
    let mut bad = whole.clone();
    let second_commit = whole.windows(9).position(|w| w == b"{\"mark\":\"").unwrap() + 90;
    bad[second_commit] ^= 1;
    memory.put(&path, &bad);
    let (mut books, found) = open(&disk);
    assert_eq!((found.inspections.len(), found.sealed.len(), found.damaged.len()), (0, 0, 1));
    assert_eq!(found.damaged[0].tail.line, 4);
    assert_eq!(found.numbers["20261124"], 7, "its number is not used again");
    let mut lines = books.lines(&inspection()).unwrap();
    assert_eq!(lines.by_ref().map(Result::unwrap).count(), 2);
    assert!(lines.damaged().is_some());
    assert!(books.commit(&[stored(&inspection(), 900, note("more"))]).is_err());
    assert!(books.is_halted());
    let (mut books, _) = open(&disk);
    assert!(books.seal(ID).is_err());
    assert_eq!(memory.bytes(&path).unwrap(), bad, "not a byte of it was touched");
}

#[test]
fn a_damaged_station_book_is_followed_by_another() {
    let (memory, disk) = worked(4);
    damage(&memory, "station/2026.jsonl");
    let (mut books, found) = open(&disk);
    assert_eq!((found.station, found.newest_station), (None, Some("2026".into())));
    let before = memory.bytes("station/2026.jsonl").unwrap();
    books.commit(&[stored(&BookId::Station, found.next_seq, opening("2026", false))]).unwrap();
    books.commit(&[stored(&BookId::Station, found.next_seq + 1, note("on"))]).unwrap();
    assert_eq!(texts(&memory, "station/2026+1.jsonl").len(), 2);
    assert_eq!(memory.bytes("station/2026.jsonl").unwrap(), before);
    let (books, again) = open(&disk);
    assert_eq!(again.station, Some("2026+1".into()));
    let mut lines = books.lines(&BookId::Station).unwrap();
    assert_eq!(lines.by_ref().map(Result::unwrap).count(), 2, "none of the damaged commit");
    assert!(lines.damaged().is_some());
}

#[test]
fn a_damaged_day_is_followed_by_another() {
    let (memory, disk) = worked(4);
    damage(&memory, "idle/2026-11-24.jsonl");
    let (mut books, found) = open(&disk);
    books.commit(&[stored(&idle(), found.next_seq, note("on"))]).unwrap();
    assert_eq!(texts(&memory, "idle/2026-11-24+1.jsonl").len(), 1);
    let (mut books, again) = open(&disk);
    assert_eq!(again.next_seq, found.next_seq + 1);
    books.commit(&[stored(&idle(), again.next_seq, note("and on"))]).unwrap();
    assert_eq!(texts(&memory, "idle/2026-11-24+1.jsonl").len(), 2);
}

#[test]
fn a_station_book_ends_with_its_year_and_seq_goes_on() {
    let (memory, disk) = worked(4);
    let (mut books, found) = open(&disk);
    let at = Stamp { wall_us: 1_798_761_600_000_001, boot_us: 7 };
    let late = |seq, fact| Stored { at, ..stored(&BookId::Station, seq, fact) };
    // The clock alone does not turn the year: the core does, by an `open`.
    books.commit(&[late(found.next_seq, note("past midnight"))]).unwrap();
    books.commit(&[late(found.next_seq + 1, opening("2027", false))]).unwrap();
    assert_eq!(texts(&memory, "station/2027.jsonl").len(), 1);
    // A clock that jumps back does not turn it back.
    books.commit(&[stored(&BookId::Station, found.next_seq + 2, opening("2026", false))]).unwrap();
    assert_eq!(texts(&memory, "station/2027.jsonl").len(), 2);
    let (books, again) = open(&disk);
    assert_eq!((again.station, again.next_seq), (Some("2027".into()), found.next_seq + 3));
    let seqs: Vec<u64> =
        books.lines(&BookId::Station).unwrap().map(|line| line.unwrap().seq).collect();
    assert!(seqs.is_sorted() && seqs.last() == Some(&(found.next_seq + 2)), "{seqs:?}");
}

#[test]
fn seq_of_other_days_is_not_used_again() {
    let (_, disk) = worked(4);
    let (mut books, _) = open(&disk);
    for (seq, day) in [(500, "2027-01-01"), (501, "2026-01-01"), (502, "2026-01-02")] {
        books.commit(&[stored(&BookId::Idle(day.into()), seq, note("clock gone astray"))]).unwrap();
    }
    // Handles are bounded; a day that was let go is opened again.
    books.commit(&[stored(&BookId::Idle("2027-01-01".into()), 503, note("again"))]).unwrap();
    assert_eq!(open(&disk).1.next_seq, 504);
}

/// A sync that fails leaves a line that can be read and that no disk has: fsync(2), ERRORS.
#[test]
fn a_number_that_was_in_the_cache_alone_is_given_again() {
    let (memory, disk) = worked(4);
    let (mut books, found) = open(&disk);
    books.commit(&[stored(&idle(), found.next_seq, note("on disk"))]).unwrap();
    let kind = std::io::ErrorKind::ReadOnlyFilesystem;
    memory.fail(Fault { nth: 2, looks: false, kind, done: Done::Nothing });
    books.commit(&[stored(&idle(), found.next_seq + 1, note("in the cache"))]).unwrap_err();
    let read = String::from_utf8(memory.bytes("idle/2026-11-24.jsonl").unwrap()).unwrap();
    assert!(read.contains("in the cache"));
    assert_eq!(open(&disk).1.next_seq, found.next_seq + 1);
}

#[test]
fn what_the_format_forbids_is_refused_and_leaves_no_byte() {
    let wrong = [
        stored(&BookId::Station, 1, note("a number that was used")),
        stored(&BookId::Station, 900, note(&"x".repeat(LINE_BYTES_MAX))),
        Stored { at: Stamp { wall_us: i64::MAX, boot_us: 0 }, ..stored(&idle(), 900, note("")) },
        stored(&BookId::Inspection("../keys/K3-1".into()), 900, note("outside")),
        stored(&BookId::Idle("../x".into()), 900, note("outside")),
    ];
    for line in wrong {
        let (memory, disk) = worked(4);
        let (mut books, _) = open(&disk);
        let before: Vec<_> = memory.paths().iter().map(|p| memory.bytes(p)).collect();
        let refused = books.commit(std::slice::from_ref(&line)).unwrap_err();
        assert_eq!(refused.cause, Cause::Refused, "{refused}");
        assert_eq!(memory.paths().iter().map(|p| memory.bytes(p)).collect::<Vec<_>>(), before);
    }
    // A sealed inspection takes nothing any more.
    let (_, disk) = worked(6);
    let (mut books, found) = open(&disk);
    assert_eq!(found.sealed.len(), 1);
    let refused = books.commit(&[stored(&inspection(), 900, note("late"))]).unwrap_err();
    assert!(refused.to_string().contains("it is sealed"), "{refused}");
}

#[test]
fn a_sealed_book_without_its_head_does_not_keep_the_station_from_starting() {
    let (memory, disk) = worked(6);
    drop(open(&disk));
    let folder = "inspections/2026/11";
    disk.rename(&format!("{folder}/{ID}.head"), "elsewhere").unwrap();
    let (_, found) = open(&disk);
    assert_eq!((found.sealed.len(), found.troubles.len()), (0, 1), "{:?}", found.troubles);
    // Of another month: not in its place, so not of this station.
    memory.put(&format!("inspections/2026/12/{ID}.jsonl"), b"x");
    memory.put("open/notes.jsonl", b"x");
    assert_eq!(open(&disk).1.troubles.len(), 2);
}

#[test]
fn a_torn_end_that_finds_no_room_leaves_no_copies_behind() {
    let (memory, disk) = worked(4);
    let path = "station/2026.jsonl";
    let mut torn = memory.bytes(path).unwrap();
    torn.extend_from_slice(b"{\"seq\":99,\"t\":\"2026");
    memory.put(path, &torn);
    let paths = memory.paths();
    for room in 0..5 {
        memory.room(Some(room));
        let opened = Books::open(Arc::clone(&disk), Arc::new(key()), at(0));
        assert!(opened.unwrap_err().waits_for_room());
        assert_eq!((memory.paths(), memory.bytes(path).unwrap()), (paths.clone(), torn.clone()));
    }
    memory.room(None);
    let (_, found) = open(&disk);
    assert_eq!((found.torn.len(), found.torn[0].fact.bytes, found.torn[0].stored), (1, 19, true));
}

#[test]
fn a_confirmation_is_signed_over_its_line() {
    let (memory, disk) = worked(4);
    let (mut books, found) = open(&disk);
    let fact = Fact::Confirm(ConfirmFact {
        rows: vec!["iec62353-2014.part.direct.cf".into()],
        document: "IEC 62353:2014, own copy 3".into(),
        clause: "Table 3".into(),
        read: vec!["applied_part_leakage, direct: at most 50 uA".into()],
    });
    let line = Stored { by: Some("op-2".into()), ..stored(&BookId::Station, found.next_seq, fact) };
    let text = books.commit(&[line]).unwrap().remove(0);
    assert_eq!(texts(&memory, "station/2026.jsonl").last(), Some(&text));
    let public = String::from_utf8(memory.bytes("keys/K3-1.pub.pem").unwrap()).unwrap();
    let public = PublicKey::from_pem(&public).unwrap();
    assert!(public.verifies_line(text.as_bytes()));
    assert!(!public.verifies_line(text.replace("Table 3", "Table 2").as_bytes()));
    let read = books.lines(&BookId::Station).unwrap().map(Result::unwrap).last().unwrap();
    assert_eq!(read.sig.map(|sig| sig.len()), Some(88));
    assert_eq!(key().public(), public);
}

#[test]
fn an_unfinished_seal_is_finished_and_signs_alike() {
    let (memory, disk) = worked(6);
    let mut finished = memory.image();
    let other: Arc<dyn Disk> = Arc::new(finished.clone());
    let (_, found) = open(&other);
    assert_eq!((found.inspections.len(), found.sealed.len()), (0, 1));
    finished = finished.image();
    let (mut books, _) = open(&disk);
    assert_eq!(books.seal(ID).unwrap(), found.sealed[0]);
    for end in ["jsonl", "head", "sig"] {
        let path = format!("inspections/2026/11/{ID}.{end}");
        assert_eq!(memory.bytes(&path), finished.bytes(&path), "{end}");
    }
}

/// How often a start looks at the disk with so many sealed inspections of one day.
fn looks_with(sealed: u64) -> u64 {
    let (memory, disk) = worked(1);
    let (mut books, found) = open(&disk);
    for (n, seq) in (1..=sealed).zip((found.next_seq..).step_by(3)) {
        let id = format!("K3-20261124-{n:04}");
        let book = BookId::Inspection(id.clone());
        let lines = [stored(&book, seq, opening(&id, true)), stored(&book, seq + 1, signed())];
        books.commit(&lines).unwrap();
        let fact = books.seal(&id).unwrap();
        announce(&mut books, seq + 2, fact);
    }
    let image = memory.image();
    let disk: Arc<dyn Disk> = Arc::new(image.clone());
    let before = image.looks();
    let (_, found) = open(&disk);
    assert!(found.newest_sealed.contains(&format!("K3-20261124-{sealed:04}")));
    image.looks() - before
}

/// A start of a station with 100 000 inspections is short since it reads none of them: what was
/// sealed stands in the station book. How long it takes is in `tests/bench/figures.md`.
#[test]
fn a_start_reads_no_sealed_inspection_however_many() {
    assert_eq!(looks_with(40), looks_with(4));
}

#[test]
fn a_killed_daemon_lets_go_of_the_lock() {
    use std::process::{Command, Stdio};
    let temp = tempfile::tempdir().unwrap();
    drop(Lock::take(temp.path()).unwrap());
    // `flock` of util-linux holds the same lock from another process.
    let mut other = Command::new("flock")
        .arg(temp.path().join("lock"))
        .args(["-c", "echo held; read wait"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("`flock` of util-linux is needed");
    let mut held = [0; 5];
    std::io::Read::read_exact(other.stdout.as_mut().unwrap(), &mut held).unwrap();
    assert!(Lock::take(temp.path()).is_err());
    drop(other.stdin.take());
    other.wait().unwrap();
    assert!(Lock::take(temp.path()).is_ok());
}

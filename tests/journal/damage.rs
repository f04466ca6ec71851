//! Every kind of damage to the index is noticed or does no harm, and it heals from the books.

use std::path::{Path, PathBuf};

use serde_json::Value;
use tapline::books::Shelf;
use tapline::index::{Index, IndexFault, rebuild};
use tapline::station::event::BookId;

use crate::index::{Bench, answers, asset, copy, full};

/// What a start made of an index.
struct Start {
    /// It was set aside at once, and why.
    why: Option<String>,
    /// A question found the fault.
    asked: bool,
    now: Value,
}

impl Start {
    fn noticed(&self) -> bool {
        self.why.is_some() || self.asked
    }
}

/// Starts with the index as it lies there, as the daemon does: a doubt at a question has it built
/// again, too.
fn start(data: &Path, shelf: &Shelf) -> Start {
    let (index, opened) = Index::open(data, shelf).unwrap();
    let why = opened.set_aside.map(|(path, why)| {
        assert!(path.exists(), "{}", path.display());
        why
    });
    match answers(&index) {
        Ok(now) => Start { why, asked: false, now },
        Err(fault) => {
            assert!(fault.is_doubt(), "{fault}");
            index.let_go();
            rebuild(data, &|_| {}).unwrap();
            let (index, _) = Index::open(data, shelf).unwrap();
            Start { why, asked: true, now: answers(&index).unwrap() }
        }
    }
}

/// A folder with a spare of its index, so that many damages begin from the same.
struct Victim {
    bench: Bench,
    before: Value,
    home: PathBuf,
    spare: PathBuf,
}

impl Victim {
    fn new() -> Victim {
        let (mut bench, before) = full();
        bench.close();
        let home = bench.data().join("index");
        let spare = bench.data().join("spare");
        copy(&home, &spare);
        Victim { bench, before, home, spare }
    }

    /// Damages a fresh copy and starts with it: whatever was noticed, the answers are the same.
    fn hurt(&self, what: &str, damage: impl FnOnce(&Path)) -> Start {
        let _ = std::fs::remove_dir_all(&self.home);
        copy(&self.spare, &self.home);
        damage(&self.home);
        let start = start(self.bench.data(), &self.bench.shelf());
        assert_eq!(start.now, self.before, "{what}");
        start
    }
}

fn edit(home: &Path, edit: impl FnOnce(&mut Vec<u8>)) {
    let mut bytes = std::fs::read(home.join("db")).unwrap();
    edit(&mut bytes);
    std::fs::write(home.join("db"), bytes).unwrap();
}

/// Changes the trees by sled itself: its own check sums are right.
fn change(home: &Path, tree: &str, change: impl FnOnce(&sled::Tree)) {
    let db = sled::open(home).unwrap();
    change(&db.open_tree(tree).unwrap());
    db.flush().unwrap();
}

#[test]
fn flipped_bits_zeroed_blocks_and_cuts_are_never_believed() {
    let victim = Victim::new();
    let whole = std::fs::read(victim.spare.join("db")).unwrap();
    // Most of the file is empty: what is damaged is where something stands.
    let used: Vec<usize> = (0..whole.len()).filter(|at| whole[*at] != 0).collect();
    let count = std::env::var("FLIPS").map_or(24, |n| n.parse().unwrap());
    let mut noticed = [0; 3];
    for n in 0..count {
        let at = used[used.len() * n / count];
        let start = victim.hurt(&format!("damage {n} at byte {at}"), |home| {
            edit(home, |bytes| match n % 3 {
                0 => bytes[at] ^= 1 << (n % 8),
                1 => bytes[at..(at + 4096).min(whole.len())].fill(0),
                _ => bytes.truncate(at),
            });
        });
        noticed[n % 3] += u32::from(start.noticed());
    }
    let aside = std::fs::read_dir(victim.bench.data()).unwrap().flatten();
    let aside = aside.filter(|e| e.file_name().to_string_lossy().starts_with("index.aside-"));
    assert!(aside.count() <= 2, "at most two set-aside indexes are kept");
    // Much of the file is what was written over since: damage there harms nobody.
    assert!(noticed.iter().sum::<u32>() > 1, "flips, zeroes, cuts: {noticed:?}");
}

#[test]
fn a_foreign_file_or_none_in_its_place_is_no_index() {
    let victim = Victim::new();
    // A file without a single record is a store without any.
    victim.hurt("a text", |home| std::fs::write(home.join("db"), "not sled").unwrap());
    let file = victim.hurt("a file", |home| {
        std::fs::remove_dir_all(home).unwrap();
        std::fs::write(home, "a file where the folder was").unwrap();
    });
    assert!(file.noticed());
    let empty = victim.hurt("an empty folder", |home| {
        std::fs::remove_dir_all(home).unwrap();
        std::fs::create_dir(home).unwrap();
    });
    assert_eq!(empty.why, None, "it is built and nothing has to be set aside");
    let none = victim.hurt("no folder", |home| std::fs::remove_dir_all(home).unwrap());
    assert_eq!(none.why, None);
}

#[test]
fn another_layout_is_set_aside() {
    let victim = Victim::new();
    let head = victim.hurt("head", |home| {
        change(home, "meta", |meta| {
            let mut head = meta.get("head").unwrap().unwrap().to_vec();
            head[0] += 1;
            meta.insert("head", head).unwrap();
        });
    });
    assert!(head.why.unwrap().contains("its head can't be read"));
    let block = victim.hurt("block", |home| {
        change(home, "record", |record| {
            let (key, value) = record.first().unwrap().unwrap();
            let mut value = value.to_vec();
            value[0] += 1;
            record.insert(key, value).unwrap();
        });
    });
    assert!(block.asked);
}

#[test]
fn a_row_that_is_gone_or_another_is_noticed_in_every_tree() {
    let victim = Victim::new();
    for tree in ["record", "when", "asset", "register", "meta"] {
        let gone = victim.hurt(tree, |home| {
            change(home, tree, |tree| drop(tree.pop_max().unwrap().unwrap()));
        });
        // Histories are made again from the list, which is compared with the books.
        assert!(gone.noticed() || tree == "asset", "a row of {tree} is gone");
        let other = victim.hurt(tree, |home| {
            change(home, tree, |tree| {
                let (key, value) = tree.last().unwrap().unwrap();
                let mut value = value.to_vec();
                *value.last_mut().unwrap() ^= 0x40;
                tree.insert(key, value).unwrap();
            });
        });
        assert!(other.noticed(), "a row of {tree} is another");
    }
}

#[test]
fn an_index_that_is_ahead_of_the_books_is_set_aside() {
    let (mut bench, before) = full();
    bench.close();
    let books = bench.data().join("books");
    for folder in ["station", "open", "inspections"] {
        copy(&bench.data().join(folder), &books.join(folder));
    }
    bench.again();
    bench.inspect("K3-20261124-0004", 3, true);
    bench.commit(&BookId::Station, vec![asset("P-0109", "ward bed")]);
    bench.close();
    // A power cut that took synced books, or books from a backup.
    for folder in ["station", "open", "inspections"] {
        std::fs::remove_dir_all(bench.data().join(folder)).unwrap();
        copy(&books.join(folder), &bench.data().join(folder));
    }
    let start = start(bench.data(), &bench.shelf());
    assert!(start.why.unwrap().contains("it knows station line"));
    assert_eq!(start.now, before);
}

#[test]
fn an_index_of_other_books_is_set_aside() {
    let (mut bench, before) = full();
    bench.close();
    let mut other = Bench::at_another_station();
    other.close();
    std::fs::remove_dir_all(other.data().join("index")).unwrap();
    copy(&bench.data().join("index"), &other.data().join("index"));
    let why = start(other.data(), &other.shelf()).why.unwrap();
    assert!(why.contains("another station"), "{why}");
    assert_eq!(start(bench.data(), &bench.shelf()).now, before);
}

#[test]
fn a_book_that_was_changed_is_listed_as_damaged_and_read_once() {
    let (mut bench, _) = full();
    bench.close();
    let path = bench.data().join("inspections/2026/11/K3-20261124-0001.jsonl");
    let mut book = std::fs::read(&path).unwrap();
    let middle = book.len() / 2;
    book[middle] ^= 1;
    std::fs::write(&path, book).unwrap();
    std::fs::remove_dir_all(bench.data().join("index")).unwrap();
    bench.again();
    let summary = bench.index().inspection("K3-20261124-0001").unwrap().unwrap();
    assert!(summary.damaged && summary.verdict.is_none());
    let opened = bench.again();
    assert_eq!((opened.set_aside, opened.caught_up), (None, 1), "only what is in work");
}

#[test]
fn a_fault_of_the_disk_is_no_doubt() {
    let full = std::io::Error::from_raw_os_error(28);
    assert!(!IndexFault::from(sled::Error::Io(full)).is_doubt());
    let corrupt = std::io::Error::other("crc mismatch");
    assert!(IndexFault::from(sled::Error::Io(corrupt)).is_doubt());
    assert!(IndexFault::Panic.is_doubt());
}

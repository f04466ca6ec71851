//! The index answers from what the books say, whatever happens to it.

use std::path::Path;
use std::sync::Arc;

use serde_json::Value;
use tapline::books::{Books, Disk, Folder, Shelf};
use tapline::index::{Index, IndexFault, Query, rebuild};
use tapline::station::event::{BookId, Stored};
use tapline_protocols::Fact;
use tapline_protocols::fact::{In, Tap, Word};

use crate::bench::{bytes, open, opening, signed, stored};

/// Readings of the first inspection: more than two blocks.
const READINGS: u64 = 600;

/// A data folder, its books, and what feeds both books and index.
pub(crate) struct Bench {
    temp: tempfile::TempDir,
    books: Books,
    index: Option<Index>,
    seq: u64,
}

impl Bench {
    fn new() -> Bench {
        Bench::with("2026")
    }

    /// Its books begin with another line.
    pub(crate) fn at_another_station() -> Bench {
        Bench::with("2027")
    }

    fn with(year: &str) -> Bench {
        let temp = tempfile::tempdir().unwrap();
        let disk: Arc<dyn Disk> = Arc::new(Folder::open(temp.path()).unwrap());
        let (books, found) = open(&disk);
        let (index, opened) = Index::open(temp.path(), &books.shelf()).unwrap();
        assert_eq!((opened.set_aside, opened.caught_up), (None, 0));
        let mut bench = Bench { temp, books, index: Some(index), seq: found.next_seq };
        bench.commit(&BookId::Station, vec![opening(year, false)]);
        bench
    }

    pub(crate) fn data(&self) -> &Path {
        self.temp.path()
    }

    pub(crate) fn shelf(&self) -> Shelf {
        self.books.shelf()
    }

    /// Closes the index, as a stop of the station does.
    pub(crate) fn close(&mut self) {
        self.index = None;
    }

    pub(crate) fn index(&self) -> &Index {
        self.index.as_ref().unwrap()
    }

    pub(crate) fn commit(&mut self, book: &BookId, facts: Vec<Fact>) {
        let seqs = self.seq..;
        self.seq += facts.len() as u64;
        let lines: Vec<Stored> =
            facts.into_iter().zip(seqs).map(|(fact, seq)| stored(book, seq, fact)).collect();
        let texts = self.books.commit(&lines).unwrap();
        if let Some(index) = &self.index {
            for text in texts {
                index.add(book, text.as_bytes()).unwrap();
            }
        }
    }

    pub(crate) fn inspect(&mut self, id: &str, readings: u64, seal: bool) {
        let book = BookId::Inspection(id.into());
        let tap = Fact::Tap(Tap {
            link: "ohm".into(),
            instrument: Some("LR-01".into()),
            driver: "val-unit-line".into(),
            driver_version: 1,
            driver_sha256: None,
            driver_text: None,
            identity: None,
            source_class: None,
            unconfirmed: false,
        });
        self.commit(&book, vec![opening(id, true), tap]);
        for n in 0..readings {
            self.commit(&book, vec![reading(n)]);
        }
        self.commit(&book, vec![bytes(b"\x00\xff belongs to no step"), verdict()]);
        if seal {
            self.commit(&book, vec![signed()]);
            let sealed = self.books.seal(id).unwrap();
            self.commit(&BookId::Station, vec![Fact::Sealed(sealed)]);
        }
    }

    /// Opens the index again, as after a restart.
    pub(crate) fn again(&mut self) -> tapline::index::Opened {
        self.index = None;
        let (index, opened) = Index::open(self.temp.path(), &self.books.shelf()).unwrap();
        self.index = Some(index);
        opened
    }
}

fn reading(n: u64) -> Fact {
    let raw = format!("R4 +0.{n:03} Ohm\r\n");
    let read =
        serde_json::json!([{"b":[0,raw.len()],"f":"resistance_4w","v":"0.1","u":"Ohm","s":"pe/1"}]);
    let read = serde_json::from_value(read).unwrap();
    let cuts = if n == 0 { vec![(0, 0), (9, 1042)] } else { vec![] };
    Fact::In(In { link: "ohm".into(), at: 17 * n, raw, cuts, read })
}

fn verdict() -> Fact {
    let text = r#"{"k":"verdict","step":"pe","value":"0.182","unit":"Ohm","shown":"0.182","from":[3],"limit":null,"rule":"simple","share":"60.7","uncertainty":null,"probability":null,"verdict":"pass","reasons":[]}"#;
    serde_json::from_str(text).unwrap()
}

/// Everything that can be asked, as JSON.
pub(crate) fn answers(index: &Index) -> Result<Value, IndexFault> {
    let ids = ["K3-20261124-0001", "K3-20261124-0002", "K3-20261124-0003"];
    let raw = |id: &&str| Ok(index.raw(id, 0, usize::MAX)?.map(|page| page.lines));
    let each = ids.iter().map(|id| index.inspection(id));
    Ok(serde_json::json!({
        "all": index.inspections(&Query::default())?,
        "asset": index.inspections(&Query { asset: Some("P-0107".into()), ..Query::default() })?,
        "pass": index.inspections(&Query { verdict: Some(Word::Pass), ..Query::default() })?,
        "each": each.collect::<Result<Vec<_>, IndexFault>>()?,
        "raw": ids.iter().map(raw).collect::<Result<Vec<_>, IndexFault>>()?,
        "verdicts": index.verdicts(ids[0])?,
        "closed": index.closed_of("P-0107")?,
        "assets": index.register("asset", None, 500)?,
    }))
}

pub(crate) fn full() -> (Bench, Value) {
    let mut bench = Bench::new();
    bench.commit(&BookId::Station, vec![asset("P-0107", "pump"), asset("P-0108", "lamp")]);
    bench.inspect("K3-20261124-0001", READINGS, true);
    bench.inspect("K3-20261124-0002", 3, true);
    bench.inspect("K3-20261124-0003", 5, false);
    bench.commit(&BookId::Station, vec![asset("P-0107", "pump, repaired")]);
    let answers = answers(bench.index()).unwrap();
    (bench, answers)
}

pub(crate) fn asset(id: &str, description: &str) -> Fact {
    let text = r#"{"k":"asset","id":"","description":"","maker":"","model":"","serial":"","location":"","owner":"","class":"I","functional_earth":false,"cord":"fixed","cords":[],"rated_volts":null,"rated_amps":null,"switching_supply":false,"earthed_points":[],"accessible_parts":[],"applied_parts":[],"states":[],"built_to":"","plan":null,"interval":null,"due":null,"excluded":[]}"#;
    let Fact::Asset(mut asset) = serde_json::from_str(text).unwrap() else { panic!() };
    asset.id = id.into();
    asset.description = description.into();
    Fact::Asset(asset)
}

/// The lines of a book that the index keeps, as stored.
fn kept_lines(bench: &Bench, id: &str) -> Vec<String> {
    let texts = bench.books.shelf().texts(&BookId::Inspection(id.into())).unwrap();
    let texts = texts.map(|text| String::from_utf8(text.unwrap().bytes).unwrap());
    texts.filter(|t| t.contains(r#""k":"in""#) || t.contains(r#""k":"verdict""#)).collect()
}

#[test]
fn raw_bytes_stamps_and_verdict_are_those_of_the_book_byte_for_byte() {
    let (mut bench, _) = full();
    for n in 1..=3 {
        let id = format!("K3-20261124-000{n}");
        let want = kept_lines(&bench, &id);
        let whole = bench.index().raw(&id, 0, usize::MAX).unwrap().unwrap();
        assert_eq!((whole.lines, whole.next), (want.clone(), None));
        let verdicts = bench.index().verdicts(&id).unwrap().unwrap();
        assert_eq!(verdicts, want[want.len() - 1..]);
        let mut paged = Vec::new();
        let mut after = Some(0);
        while let Some(from) = after {
            let page = bench.index().raw(&id, from, 7).unwrap().unwrap();
            assert!(page.lines.len() <= 7);
            paged.extend(page.lines);
            after = page.next;
        }
        assert_eq!(paged, want, "page by page");
    }
    assert_eq!(bench.index().raw("K3-20261124-0009", 0, 9).unwrap(), None);
    assert_eq!(kept_lines(&bench, "K3-20261124-0001").len(), 602);
    bench.again();
    let after = bench.index().raw("K3-20261124-0003", 0, 100).unwrap().unwrap();
    assert_eq!(after.lines, kept_lines(&bench, "K3-20261124-0003"), "in work, after a restart");
}

#[test]
fn lists_are_in_the_order_of_opening_and_obey_their_filters() {
    let (bench, answers) = full();
    let index = bench.index();
    let ids = |query: Query| -> Vec<u32> {
        let found = index.inspections(&query).unwrap();
        found.iter().map(|s| s.id[12..].parse().unwrap()).collect()
    };
    assert_eq!(ids(Query::default()), [1, 2, 3]);
    assert_eq!(ids(Query { verdict: Some(Word::Pass), ..Query::default() }), [1, 2]);
    assert_eq!(ids(Query { verdict: Some(Word::Fail), ..Query::default() }), [0u32; 0]);
    assert_eq!(ids(Query { limit: 1, ..Query::default() }), [1]);
    let after = Some("K3-20261124-0001".to_string());
    assert_eq!(ids(Query { after: after.clone(), limit: 1, ..Query::default() }), [2]);
    let asset = Some("P-0107".to_string());
    assert_eq!(ids(Query { asset: asset.clone(), after, ..Query::default() }), [2, 3]);
    assert_eq!(ids(Query { asset: Some("P-01".into()), ..Query::default() }), [0u32; 0]);
    assert_eq!(answers["closed"], serde_json::json!(["K3-20261124-0001", "K3-20261124-0002"]));
    assert!(index.closed_of("P-01").unwrap().is_empty());
    let on = |from: &str, to: &str| Query {
        from: Some(from.into()),
        to: Some(to.into()),
        ..Query::default()
    };
    assert_eq!(ids(on("2026-11-24", "2026-11-25")), [1, 2, 3]);
    assert_eq!(ids(Query { asset, ..on("2026-11-25", "2026-11-26") }), [0u32; 0]);
    assert_eq!(ids(on("2026-11-25", "2026-11-24")), [0u32; 0]);
    assert_eq!(ids(Query { instrument: Some("LR-01".into()), ..Query::default() }), [1, 2, 3]);
    assert_eq!(ids(Query { instrument: Some("DM-01".into()), ..Query::default() }), [0u32; 0]);
    for (driver, found) in [("val-unit-line", 3), ("val-unit-line/1", 3), ("val-unit-line/2", 0)] {
        assert_eq!(ids(Query { driver: Some(driver.into()), ..Query::default() }).len(), found);
    }
    assert_eq!(answers["all"][0]["closed"].as_str().unwrap().len(), 27);
    assert_eq!(answers["all"][2]["verdict"], Value::Null);
    let pump = index.registered("asset", "P-0107").unwrap().unwrap();
    assert!(pump.contains("pump, repaired") && pump.starts_with("{\"seq\":"), "{pump}");
    assert_eq!(index.register("asset", Some("P-0107"), 500).unwrap().len(), 1);
    assert_eq!(index.register("asset", None, 1).unwrap(), [pump]);
}

#[test]
fn without_its_folder_the_index_gives_the_same_again() {
    let (mut bench, before) = full();
    assert_eq!(bench.again().set_aside, None);
    assert_eq!(answers(bench.index()).unwrap(), before, "after a restart");
    bench.index = None;
    std::fs::remove_dir_all(bench.temp.path().join("index")).unwrap();
    assert_eq!(bench.again().caught_up, 4);
    assert_eq!(answers(bench.index()).unwrap(), before, "after it was deleted");
    bench.index = None;
    let rebuilt = rebuild(bench.temp.path(), &|_| {}).unwrap();
    assert!(rebuilt.set_aside.unwrap().ends_with("index.aside-1"));
    assert_eq!(rebuilt.books, 4);
    bench.again();
    assert_eq!(answers(bench.index()).unwrap(), before, "after a rebuild");
}

#[test]
fn an_index_that_lags_behind_catches_up() {
    let (mut bench, _) = full();
    bench.index = None;
    bench.inspect("K3-20261124-0004", 2, true);
    bench.commit(&BookId::Station, vec![asset("P-0109", "ward bed")]);
    let opened = bench.again();
    // The station's book, the new inspection, and the one that is in work.
    assert_eq!((opened.set_aside, opened.caught_up), (None, 3));
    assert_eq!(bench.index().raw("K3-20261124-0004", 0, 9).unwrap().unwrap().lines.len(), 4);
    assert!(bench.index().registered("asset", "P-0109").unwrap().is_some());
}

#[test]
fn raw_data_and_verdicts_are_there_when_the_records_are_moved_away() {
    let (mut bench, before) = full();
    let (from, to) = (bench.temp.path().join("inspections"), bench.temp.path().join("elsewhere"));
    std::fs::rename(&from, &to).unwrap();
    assert_eq!(bench.again().set_aside, None);
    assert_eq!(answers(bench.index()).unwrap(), before);
}

pub(crate) fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap().flatten() {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

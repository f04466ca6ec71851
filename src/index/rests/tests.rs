//! What the index says rests on something, and what an asset measured, is what the books say.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use super::*;
use crate::index::made::{Store, shelf};
use crate::past::{self, Past, Refused, believed, place_of};
use crate::replay::Search;

/// As the books have it, each of them read: as `tapline find FOLDER` does. Records that can't be
/// read come last.
fn from_books(folder: &Path, query: &RestQuery) -> (Vec<RestsIn>, u64, BTreeSet<String>) {
    let (mut items, mut records, mut troubles) = (Vec::new(), 0, BTreeSet::new());
    for record in past::records(folder).unwrap() {
        let (path, in_work) = place_of(folder, &record);
        let mut search = Search::new(&query.basis, None);
        let (mut asset, mut opened) = (String::new(), String::new());
        let wanted = |own: &str, at: &str| {
            query.asset.as_ref().is_none_or(|asset| asset == own)
                && query.from.as_ref().is_none_or(|from| from.as_str() <= at)
                && query.to.as_ref().is_none_or(|to| at < to.as_str())
        };
        let read = believed(
            &path,
            in_work,
            |open, at| wanted(&open.inspection.as_ref().unwrap().asset, at),
            |line| {
                if let tapline_protocols::Fact::Open(open) = &line.fact {
                    asset = open.inspection.as_ref().unwrap().asset.clone();
                    opened = time_text(line.at.wall_us).unwrap();
                }
                search.line(line);
            },
        );
        match read {
            Ok(()) => records += 1,
            Err(Refused::Unwanted) => continue,
            Err(Refused::Trouble(_)) => {
                troubles.insert(record.id);
                continue;
            }
        }
        let verdicts = search.end().unwrap().into_iter();
        let verdicts: Vec<_> = verdicts.map(|one| (one.seq, one.step, one.recorded)).collect();
        if !verdicts.is_empty() {
            items.push(RestsIn { id: record.id, asset, opened, sealed: record.sealed, verdicts });
        }
    }
    (items, records, troubles)
}

fn queries() -> Vec<RestQuery> {
    let driver = |text: &str| Basis::driver(text).unwrap();
    let bases = [
        Basis::Instrument("LR-01".into()),
        Basis::Instrument("LK-1".into()),
        Basis::Instrument("none".into()),
        Basis::Fixture("NW-1".into()),
        Basis::Fixture("L-1".into()),
        Basis::Fixture("LR-01".into()),
        Basis::Limits("row.a".into()),
        Basis::Limits("IEC 62353/2014".into()),
        Basis::Limits("aaaaaaaaaaaa".into()),
        Basis::Limits("no such row".into()),
        driver("scpi-auto"),
        driver("scpi-auto@2"),
        driver("own@cccccccccccc"),
    ];
    let (from, to) = (Some("2026-02-01".to_owned()), Some("2026-05-20".to_owned()));
    let mut all = Vec::new();
    for basis in bases {
        let every = RestQuery { basis, asset: None, from: None, to: None, after: None, limit: 0 };
        all.push(RestQuery { from: from.clone(), to: to.clone(), ..every.clone() });
        all.push(RestQuery { asset: Some("P-1".into()), from: from.clone(), ..every.clone() });
        all.push(every);
    }
    all
}

/// All pages of an answer.
fn pages(index: &Index, query: &RestQuery, limit: usize) -> RestPage {
    let mut whole = RestPage::default();
    let mut query = RestQuery { limit, ..query.clone() };
    loop {
        let page = index.resting(&query).unwrap();
        assert!(limit == 0 || page.items.len() <= limit);
        whole.items.extend(page.items);
        whole.records += page.records;
        whole.damaged.extend(page.damaged);
        match page.next {
            Some(next) => query.after = Some(next),
            None => return whole,
        }
    }
}

/// How many verdicts were found, by what was asked for.
type Found = Mutex<BTreeMap<String, usize>>;

#[track_caller]
fn same(index: &Index, folder: &Path, when: &str, found: &Found) {
    for query in queries() {
        let (mut items, records, troubles) = from_books(folder, &query);
        let mut page = pages(index, &query, 0);
        items.sort_by(|one, other| one.id.cmp(&other.id));
        page.items.sort_by(|one, other| one.id.cmp(&other.id));
        assert_eq!(page.items, items, "{when}: {query:?}");
        let damaged: BTreeSet<String> = page.damaged.iter().cloned().collect();
        assert!(damaged.is_superset(&troubles), "{when}: {query:?}");
        // Those that can't be read at all are not among the records.
        let more = page.records.checked_sub(records).unwrap();
        assert!(more <= page.damaged.len() as u64, "{when}: {query:?}");
        let name = format!("{:?} {}", query.basis, query.from.is_some());
        let count: usize = items.iter().map(|one| one.verdicts.len()).sum();
        *found.lock().unwrap().entry(name).or_default() += count;
        for limit in [1, 3] {
            let mut paged = pages(index, &query, limit);
            paged.items.sort_by(|one, other| one.id.cmp(&other.id));
            assert_eq!((&paged.items, paged.records), (&page.items, page.records), "{when}");
        }
    }
    for asset in ["P-0", "P-1", "P-2", "P-9"] {
        let mut books: Vec<Measured> = Vec::new();
        for record in past::records(folder).unwrap() {
            if let Ok(Some(past)) = past::read(folder, &record, Some(asset)) {
                books.extend(Past::measured(past));
            }
        }
        books.sort_by_key(|one| one.signed.0);
        let own = index.measured(asset).unwrap();
        assert_eq!((own.all, own.older), (books, false), "{when}: {asset}");
    }
}

/// `STORES=1000` for more.
#[test]
fn the_index_finds_what_the_books_say() {
    let stores = std::env::var("STORES").ok().and_then(|text| text.parse().ok()).unwrap_or(12);
    let (next, found) = (AtomicU64::new(1), Found::default());
    std::thread::scope(|scope| {
        for _ in 0..8 {
            scope.spawn(|| {
                loop {
                    match next.fetch_add(1, Ordering::Relaxed) {
                        seed if seed <= stores => one(seed, &found),
                        _ => break,
                    }
                }
            });
        }
    });
    for (name, count) in found.into_inner().unwrap() {
        let nothing = name.contains("none") || name.contains("no such");
        assert!(nothing == (count == 0), "{name}: {count}");
    }
}

fn one(seed: u64, found: &Found) {
    let mut store = Store::wired(seed, 140);
    store.write();
    let folder = store.folder.path();
    same(&store.index, folder, &format!("store {seed}, line by line"), found);
    let again = tempfile::tempdir().unwrap();
    store.write_to(again.path());
    if let Some(id) = store.sealed.first().filter(|_| seed.is_multiple_of(3)) {
        let path = again.path().join(crate::books::place::sealed_path(id).unwrap());
        let mut bytes = std::fs::read(&path).unwrap();
        let at = store.dice.below(bytes.len() as u64 - 1);
        bytes[usize::try_from(at).unwrap()] ^= 1;
        std::fs::write(path, bytes).unwrap();
    }
    let (index, _) = Index::open(again.path(), &shelf(again.path())).unwrap();
    same(&index, again.path(), &format!("store {seed}, built from its books"), found);
}

//! The worklist of the index is the one that the books give.

use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};

use tapline_protocols::due::Day;

use super::*;
use crate::index::made::{Store, shelf};
use crate::past::{self, due::Ledger};

fn env(name: &str, usual: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
}

/// As [`DueList::rows`], and records that are not believed: from the books, as `tapline due FOLDER`
/// reads them.
fn from_books(folder: &Path, query: &DueQuery) -> (Vec<Due>, Vec<String>) {
    let mut ledger = Ledger::of(folder, None).unwrap();
    let mut troubles = Vec::new();
    for record in past::records(folder).unwrap() {
        match past::read(folder, &record, None) {
            Ok(past) => past.into_iter().for_each(|past| ledger.take(past)),
            Err(_) => troubles.push(record.id),
        }
    }
    let counted = Counted { from_due: query.from_due, month_end: query.month_end };
    let rows = ledger.rows(counted, query.today).into_iter().map(|row| {
        let asset = row.asset.as_ref().unwrap();
        Due {
            asset: asset.id.clone(),
            description: asset.description.clone(),
            location: asset.location.clone(),
            risk: asset.risk,
            interval: asset.interval.clone(),
            due: row.due(),
            state: row.state(query.today),
            last: row.last.clone(),
            visited: row.visited.as_ref().map(|visited| visited.json(query.today)),
            ownership: asset.ownership,
            return_by: asset.return_by.clone(),
        }
    });
    let mut rows: Vec<Due> = rows.collect();
    rows.retain(|row| row.location.to_lowercase().contains(&query.place.to_lowercase()));
    rows.retain(|row| lies_in(&row.location, &query.under));
    rows.retain(|row| query.among.as_ref().is_none_or(|among| among.contains(&row.asset)));
    rows.retain(|row| query.state.as_ref().is_none_or(|state| *state == row.state));
    (rows, troubles)
}

fn queries() -> Vec<DueQuery> {
    let all = DueQuery::on(Day::parse("2026-05-15").unwrap());
    vec![
        DueQuery { from_due: true, ..all.clone() },
        DueQuery { month_end: true, ..all.clone() },
        DueQuery { under: "North/1".into(), ..all.clone() },
        DueQuery { place: "north".into(), ..all.clone() },
        DueQuery { state: Some("overdue".into()), ..all.clone() },
        DueQuery { among: Some((1..40).map(|n| format!("P-{n}")).collect()), ..all.clone() },
        all,
    ]
}

#[track_caller]
fn same(index: &Index, folder: &Path, when: &str) {
    for query in queries() {
        let (rows, troubles) = from_books(folder, &query);
        let list = index.due(&query).unwrap();
        assert_eq!((&list.rows, &list.damaged), (&rows, &troubles), "{when}: {query:?}");
        let states = |state: &str| rows.iter().filter(|row| row.state == state).count();
        let overdue = states("overdue");
        let without = rows.len() - overdue - states("due");
        let registered = list.count.registered;
        let want = DueCount { registered, assets: rows.len(), overdue, without };
        assert_eq!(list.count, want, "{when}");
    }
}

/// `STORES=1000` for more. A store that closes waits for its own thread: many are made at once.
#[test]
fn the_index_tells_the_dates_that_the_books_give() {
    let (stores, next) = (env("STORES", 60), AtomicU64::new(1));
    std::thread::scope(|scope| {
        for _ in 0..8 {
            scope.spawn(|| {
                loop {
                    match next.fetch_add(1, Ordering::Relaxed) {
                        seed if seed <= stores => one(seed),
                        _ => break,
                    }
                }
            });
        }
    });
}

fn one(seed: u64) {
    let mut store = Store::random(seed, 60);
    let when = |what: &str| format!("store {seed}, {what}");
    store.write();
    same(&store.index, store.folder.path(), &when("line by line"));

    // Killed here: the index lies there as it was, and the books go on without it.
    store.index.flush().unwrap();
    let killed = tempfile::tempdir().unwrap();
    copy(&store.folder.path().join("index"), &killed.path().join("index"));
    for _ in 0..store.dice.below(30) {
        store.event();
    }
    store.write();
    store.write_to(killed.path());
    let (index, opened) = Index::open(killed.path(), &shelf(killed.path())).unwrap();
    assert_eq!(opened.set_aside, None, "store {seed}");
    same(&index, killed.path(), &when("after a kill"));
    drop(index);
    same(&store.index, store.folder.path(), &when("and line by line still"));

    if let Some(id) = store.sealed.first().filter(|_| seed.is_multiple_of(4)) {
        let path = crate::books::place::sealed_path(id).unwrap();
        let path = store.folder.path().join(path);
        let mut bytes = std::fs::read(&path).unwrap();
        let at = store.dice.below(bytes.len() as u64 - 1);
        bytes[usize::try_from(at).unwrap()] ^= 1;
        std::fs::write(path, bytes).unwrap();
    }
    let Store { folder, index, .. } = store;
    drop(index);
    let shelf = shelf(folder.path());
    let (index, _) = Index::renew(folder.path(), &shelf, &|_| {}).unwrap();
    same(&index, folder.path(), &when("built again"));
    drop(index);
    let (index, _) = Index::open(folder.path(), &shelf).unwrap();
    same(&index, folder.path(), &when("opened again"));
}

/// Each asset comes once, in the order of the whole, whatever the size of a page.
#[test]
fn pages_put_together_are_the_list() {
    let store = Store::random(7, 80);
    for query in queries() {
        let whole = store.index.due(&query).unwrap();
        for limit in 1..5 {
            let mut rows = Vec::new();
            let mut after = None;
            loop {
                let query = DueQuery { after: after.clone(), limit, ..query.clone() };
                let page = store.index.due(&query).unwrap();
                assert_eq!(page.count, whole.count);
                assert!(page.rows.len() <= limit);
                rows.extend(page.rows);
                match page.next {
                    Some(next) => after = Some(next),
                    None => break,
                }
            }
            assert_eq!(rows, whole.rows);
        }
        let unknown = DueQuery { after: Some("P-999".into()), ..query };
        assert_eq!(store.index.due(&unknown).unwrap().rows, []);
    }
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap().flatten() {
        let target = to.join(entry.file_name());
        match entry.path().is_dir() {
            true => copy(&entry.path(), &target),
            false => drop(std::fs::copy(entry.path(), target).unwrap()),
        }
    }
}

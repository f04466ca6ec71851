//! The numbers of a period against a count that knows nothing of the index: it goes over all facts
//! once for each number, slowly, by the words that stand beside the number.

mod slow;

use std::collections::BTreeMap;
use std::sync::Mutex;

use slow::{Slow, plus};
use tapline_protocols::due::Day;
use tapline_protocols::register::Asset;

use super::*;
use crate::index::Query;
use crate::index::made::{Store, shelf};

fn day(text: &str) -> Day {
    Day::parse(text).unwrap()
}

/// What was counted in all, by number: one that is never counted is not tested.
type Counted = Mutex<BTreeMap<&'static str, Share>>;

#[track_caller]
fn same(index: &Index, store: &Store, when: &str, counted: &Counted) {
    for (period, today, grace) in [
        ("2026-02", "2026-12-31", 0),
        ("2026-03", "2026-03-20", 0),
        ("2026-03", "2026-12-31", 10),
        ("2026-05", "2026-12-31", 0),
        ("2027-01", "2026-12-31", 0),
        ("2026-W14", "2026-12-31", 0),
        ("2026-W20", "2026-05-13", 3),
        ("2026-W01", "2026-12-31", 0),
        ("2026-03-31", "2026-12-31", 2),
        ("2026-02-28", "2026-02-28", 0),
    ] {
        let (period, today) = (Period::parse(period).unwrap(), day(today));
        let query = NumbersQuery { period, today, grace, after: None, limit: 0 };
        let month = index.numbers(&query).unwrap();
        let slow = Slow::of(store, query);
        let (all, missing) = slow.missing();
        let on_time = Share { of: all - missing.len() as u64, all };
        let shares = vec![
            ("on_time", on_time),
            ("location", slow.location()),
            ("yield", slow.faults()),
            ("first_time_pass", slow.first_time()),
            ("repeat_failure", slow.again()),
        ];
        assert_eq!(month.shares, shares, "{when}: {period:?} {today:?}");
        for (code, share) in shares {
            let mut counted = counted.lock().unwrap();
            let all = counted.entry(code).or_default();
            *all = Share { of: all.of + share.of, all: all.all + share.all };
        }
        let named =
            month.missing.iter().map(|one| (one.due.due.unwrap(), one.due.asset.clone(), one.late));
        assert_eq!(named.collect::<Vec<_>>(), missing, "{when}: {period:?} {today:?}");
        assert_eq!(month.worked_us, slow.worked(), "{when}");
        assert_eq!(month.days, slow.days(), "{when}: {period:?}");
        let whole = slow.of_period().fold(Outcomes::default(), |sum, (_, told)| plus(sum, told));
        assert_eq!(month.outcomes, whole, "{when}: {period:?}");
        let place = |asset: Option<&Asset>| {
            asset.map_or("", |asset| asset.location.split('/').next().unwrap()).to_owned()
        };
        let places: Vec<_> = slow.groups(place).into_iter().collect();
        assert_eq!(month.places, places, "{when}: {period:?} {today:?}");
        let mut risks = slow.groups(|asset| asset.and_then(|asset| asset.risk));
        let of = |risk| (risk, risks.remove(&risk).unwrap_or_default());
        let order = [Some(Risk::High), Some(Risk::Medium), Some(Risk::Low), None];
        assert_eq!(month.risks, order.map(of), "{when}: {period:?} {today:?}");
        assert_eq!(month.set_aside, slow.set_aside(), "{when}");
    }
}

/// `STORES=1000` for more.
#[test]
fn the_numbers_of_a_period_are_those_of_a_slow_count() {
    let stores = std::env::var("STORES").ok().and_then(|text| text.parse().ok()).unwrap_or(60);
    let next = std::sync::atomic::AtomicU64::new(1);
    let counted = Counted::default();
    let one = |seed: u64| {
        let store = Store::amended(seed, 160);
        same(&store.index, &store, &format!("store {seed}"), &counted);
        store.write();
        let again = tempfile::tempdir().unwrap();
        store.write_to(again.path());
        let (index, _) = Index::open(again.path(), &shelf(again.path())).unwrap();
        same(&index, &store, &format!("store {seed}, built from its books"), &counted);
    };
    std::thread::scope(|scope| {
        for _ in 0..8 {
            scope.spawn(|| {
                loop {
                    match next.fetch_add(1, std::sync::atomic::Ordering::Relaxed) {
                        seed if seed <= stores => one(seed),
                        _ => break,
                    }
                }
            });
        }
    });
    for (code, share) in counted.into_inner().unwrap() {
        assert!(share.of > 5 && share.all > share.of + 5, "{code}: {share:?} is too little");
    }
}

/// Ranks of ten and eleven by hand: the nearest rank of half of ten is the fifth.
#[test]
fn shares_and_ranks_are_rounded_as_they_say() {
    let share = |of, all| Share { of, all }.percent();
    assert_eq!(share(0, 0), None);
    assert_eq!(share(1, 3).as_deref(), Some("33.3"));
    assert_eq!(share(2, 3).as_deref(), Some("66.7"));
    assert_eq!(share(1, 2000).as_deref(), Some("0.1"));
    assert_eq!(share(7, 7).as_deref(), Some("100.0"));
    let store = Store::new(1);
    let first = day("2026-01-01");
    let period = Period::month_of(first);
    let query = NumbersQuery { period, today: first, grace: 0, after: None, limit: 0 };
    let empty = store.index.numbers(&query).unwrap();
    assert_eq!((empty.worked_at(50), empty.minutes_at(90)), (None, None));
    let worked_us = (1..=10).map(|n| n * 60_000_000).collect();
    let month = Numbers { worked_us, ..empty };
    assert_eq!(month.minutes_at(50).as_deref(), Some("5.0"));
    assert_eq!(month.minutes_at(90).as_deref(), Some("9.0"));
}

/// A list asked for an outcome gives what has it now, whatever was signed first.
#[test]
fn a_list_follows_what_was_added() {
    let mut moved = 0;
    for seed in 1..12 {
        let store = Store::amended(seed, 160);
        let all = store.index.inspections(&Query::default()).unwrap();
        for wanted in [Word::Pass, Word::Fail, Word::Undecided, Word::ConditionalFail] {
            let query = Query { verdict: Some(wanted), ..Query::default() };
            let found = store.index.inspections(&query).unwrap();
            let want: Vec<_> = all.iter().filter(|one| one.outcome() == Some(wanted)).collect();
            assert_eq!(found.iter().collect::<Vec<_>>(), want, "store {seed}");
            moved += found.iter().filter(|one| one.verdict != Some(wanted)).count();
        }
    }
    assert!(moved > 10, "{moved}");
}

//! The numbers of a month against a count that knows nothing of the index: it goes over all facts
//! once for each number, slowly, by the words that stand beside the number.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Mutex;

use tapline_protocols::Fact;
use tapline_protocols::due::{Counting as Site, Day, DueRule, Every};
use tapline_protocols::fact::Given;
use tapline_protocols::register::Asset;

use super::*;
use crate::books::Line;
use crate::index::made::{Store, shelf};

fn day(text: &str) -> Day {
    Day::parse(text).unwrap()
}

/// An inspection as its lines tell it.
#[derive(Clone, Default)]
struct Told {
    lines: Vec<Line>,
}

impl Told {
    fn find<T>(&self, pick: impl Fn(&Line) -> Option<T>) -> Option<T> {
        self.lines.iter().find_map(pick)
    }

    fn day(&self, id: &str) -> Day {
        let date = id.split('-').nth(1).unwrap();
        day(&format!("{}-{}-{}", &date[..4], &date[4..6], &date[6..]))
    }

    fn reason(&self) -> String {
        let reason = |line: &Line| match &line.fact {
            Fact::Open(open) => Some(open.inspection.as_ref().unwrap().reason.clone()),
            _ => None,
        };
        self.find(reason).unwrap()
    }

    fn asset(&self) -> Option<Asset> {
        self.find(|line| match &line.fact {
            Fact::Given(Given::Asset { asset }) => Some((**asset).clone()),
            _ => None,
        })
    }

    fn signed(&self) -> Option<(u64, Word)> {
        self.find(|line| match &line.fact {
            Fact::Sign(sign) => Some((line.seq, sign.outcome)),
            _ => None,
        })
    }

    fn ended(&self) -> Option<String> {
        self.find(|line| match &line.fact {
            Fact::End(end) => Some(end.outcome.clone()),
            _ => None,
        })
    }

    fn by_its_plan(&self) -> bool {
        let plan = self.find(|line| match &line.fact {
            Fact::Given(Given::Plan { text, .. }) => {
                Some(tapline_protocols::plan::parse(text).unwrap())
            }
            _ => None,
        });
        let (Some(plan), Some(asset)) = (plan, self.asset()) else { return false };
        match asset.plan {
            Some(own) => own == plan.id,
            None => !plan.by_name || self.reason() == "acceptance",
        }
    }

    fn is_scheduled(&self) -> bool {
        ["scheduled", "acceptance"].contains(&self.reason().as_str())
    }

    /// Between two neighbours it was worked, unless the first parks it or the second resumes it.
    fn worked_us(&self) -> u64 {
        let pairs = self.lines.windows(2);
        let worked = pairs.filter(|pair| {
            !matches!(pair[0].fact, Fact::Park(_)) && !matches!(pair[1].fact, Fact::Resume(_))
        });
        worked.map(|pair| pair[1].at.boot_us - pair[0].at.boot_us).sum()
    }

    fn repeated(&self) -> bool {
        self.lines.iter().any(|line| matches!(&line.fact, Fact::Step(s) if s.state == "repeat"))
    }

    /// Steps whose newest verdict is a fail of something that was measured.
    fn failed(&self) -> BTreeSet<String> {
        let mut newest = BTreeMap::new();
        for line in &self.lines {
            if let Fact::Verdict(verdict) = &line.fact {
                newest.insert(verdict.step.clone(), verdict.judged.clone());
            }
        }
        newest.retain(|_, judged| {
            let measured = judged.measurand.is_some() && !judged.from.is_empty();
            measured && matches!(judged.verdict, Word::Fail | Word::ConditionalFail)
        });
        newest.into_keys().collect()
    }
}

/// The inspection that a line signs, with its day.
type Signed<'a> = Option<(Day, &'a Told)>;

/// All that is sealed, and the lines of the station.
struct Slow {
    station: Vec<Line>,
    /// By name.
    told: BTreeMap<String, Told>,
    query: MonthQuery,
    next: Day,
    end: Day,
}

impl Slow {
    fn of(store: &Store, query: MonthQuery) -> Slow {
        let mut told: BTreeMap<String, Told> = BTreeMap::new();
        let mut station = Vec::new();
        for (id, line) in &store.lines {
            match id {
                None => station.push(line.clone()),
                Some(id) if store.sealed.contains(id) => {
                    told.entry(id.clone()).or_default().lines.push(line.clone());
                }
                Some(_) => {}
            }
        }
        told.retain(|_, one| one.asset().is_some());
        let next = query.first.plus_months(1).unwrap();
        let end = next.min(query.today.plus_days(1).unwrap());
        Slow { station, told, query, next, end }
    }

    fn is_of_month(&self, day: Day) -> bool {
        day >= self.query.first && day < self.end
    }

    fn of_month(&self) -> impl Iterator<Item = (Day, &Told)> {
        let dated = self.told.iter().map(|(id, one)| (one.day(id), one));
        dated.filter(|(day, _)| self.is_of_month(*day))
    }

    /// Each asset with its date, as of what happened before a day.
    fn dates(&self, before: Day) -> BTreeMap<String, (Asset, Option<Day>)> {
        let mut all: BTreeMap<u64, (&Line, Signed<'_>)> =
            self.station.iter().map(|line| (line.seq, (line, None))).collect();
        for (id, one) in &self.told {
            if let Some((seq, _)) = one.signed() {
                let line = one.lines.iter().find(|line| line.seq == seq).unwrap();
                all.insert(seq, (line, Some((one.day(id), one))));
            }
        }
        let (mut site, mut dates) = (Site::default(), BTreeMap::<String, (Asset, _)>::new());
        for (line, told) in all.into_values() {
            match (&line.fact, told) {
                (Fact::Start(start), _) => site = start.due,
                (Fact::Asset(asset), _) => {
                    if day(&crate::clock::utc_day(line.at.wall_us)) >= before {
                        continue;
                    }
                    let old = dates.get(&asset.id).cloned();
                    let named = asset.due.as_deref().map(day);
                    let same = old.as_ref().is_some_and(|(old, _)| old.due == asset.due);
                    let due =
                        if named.is_some() && !same { named } else { old.and_then(|(_, due)| due) };
                    dates.insert(asset.id.clone(), ((**asset).clone(), due));
                }
                (_, Some((done, told))) if done < before => {
                    let id = told.asset().unwrap().id;
                    let Some((asset, due)) = dates.get_mut(&id) else { continue };
                    let Some(every) = asset.interval.as_deref().and_then(Every::parse) else {
                        continue;
                    };
                    let rule = DueRule { every, anchor: site.anchor, snap: site.snap };
                    let passed = [Word::Pass, Word::ConditionalPass];
                    let counts = told.is_scheduled()
                        && told.by_its_plan()
                        && passed.contains(&told.signed().unwrap().1);
                    if counts {
                        *due = rule.next(done, *due);
                    }
                }
                _ => {}
            }
        }
        dates
    }

    fn missing(&self) -> (u64, Vec<(Day, String, Option<Day>)>) {
        let (mut all, mut missing) = (0, Vec::new());
        for (id, (asset, due)) in self.dates(self.query.first) {
            let Some(due) = due.filter(|due| *due >= self.query.first && *due < self.next) else {
                continue;
            };
            if asset.is_retired(&self.query.first.text()) {
                continue;
            }
            all += 1;
            let mut days: Vec<Day> = Vec::new();
            for (day, told) in self.of_month() {
                let decided = told.signed().is_some_and(|(_, word)| word != Word::Undecided);
                let own = told.asset().unwrap().id == id;
                if own && decided && told.is_scheduled() && told.by_its_plan() {
                    days.push(day);
                }
            }
            let last = due.plus_days(self.query.grace).unwrap();
            if !days.iter().any(|day| *day <= last) {
                missing.push((due, id, days.into_iter().min()));
            }
        }
        missing.sort();
        (all, missing)
    }

    fn location(&self) -> Share {
        let (mut looked, mut found) = (BTreeSet::new(), BTreeSet::new());
        let mut look = |asset: String, outcome: Option<String>| {
            if outcome.as_deref() != Some("not_found") {
                found.insert(asset.clone());
            }
            looked.insert(asset);
        };
        self.of_month().for_each(|(_, told)| look(told.asset().unwrap().id, told.ended()));
        for line in &self.station {
            if let Fact::Visit(visit) = &line.fact
                && self.is_of_month(day(&visit.day))
            {
                look(visit.asset.clone(), Some(visit.outcome.clone()));
            }
        }
        Share { of: found.len() as u64, all: looked.len() as u64 }
    }

    fn signed(&self) -> Vec<(u64, Word, Day, &Told)> {
        let signed =
            |(day, told): (Day, &'_ Told)| told.signed().map(|(seq, word)| (seq, word, day));
        let pick = |one| signed(one).map(|(seq, word, day)| (seq, word, day, one.1));
        self.of_month().filter_map(pick).collect()
    }

    fn faults(&self) -> Share {
        let signed = self.signed();
        let count = |words: &[Word]| {
            signed.iter().filter(|(_, word, ..)| words.contains(word)).count() as u64
        };
        let fails = [Word::Fail, Word::ConditionalFail];
        let of = count(&fails);
        Share { of, all: of + count(&[Word::Pass, Word::ConditionalPass]) }
    }

    fn first_time(&self) -> Share {
        let mut share = Share::default();
        for (seq, word, _, told) in self.signed() {
            if !told.is_scheduled() {
                continue;
            }
            let own = |other: &Told| other.asset().unwrap().id == told.asset().unwrap().id;
            let earlier = self.signed().iter().any(|(n, _, _, other)| *n < seq && own(other));
            let passed = [Word::Pass, Word::ConditionalPass].contains(&word);
            share.all += 1;
            share.of += u64::from(passed && !earlier && !told.repeated());
        }
        share
    }

    fn again(&self) -> Share {
        let mut share = Share::default();
        for (seq, _, now, told) in self.signed() {
            for step in told.failed() {
                let same = self.told.iter().any(|(id, other)| {
                    let before = other.signed().is_some_and(|(n, _)| n < seq);
                    let near = now.number().saturating_sub(other.day(id).number()) <= 90;
                    let own = other.asset().unwrap().id == told.asset().unwrap().id;
                    before && near && own && other.failed().contains(&step)
                });
                share.all += 1;
                share.of += u64::from(same);
            }
        }
        share
    }

    fn worked(&self) -> Vec<u64> {
        let mut all: Vec<u64> = self.signed().iter().map(|(.., told)| told.worked_us()).collect();
        all.sort_unstable();
        all
    }

    fn overdue(&self) -> Vec<(Option<Risk>, Share)> {
        let as_of = self.next.min(self.query.today);
        let risks = [Some(Risk::High), Some(Risk::Medium), Some(Risk::Low), None];
        let dates = self.dates(self.end);
        let of_risk = |risk| {
            let mut share = Share::default();
            for (asset, due) in dates.values() {
                if asset.risk == risk && !asset.is_retired(&as_of.text()) {
                    share.all += u64::from(due.is_some());
                    share.of += u64::from(due.is_some_and(|due| due < as_of));
                }
            }
            (risk, share)
        };
        risks.map(of_risk).into()
    }

    fn set_aside(&self) -> Vec<(String, u64, u64)> {
        let mut people: BTreeMap<String, (u64, u64)> = BTreeMap::new();
        for line in self.of_month().flat_map(|(_, told)| &told.lines) {
            if let Fact::Drop(dropped) = &line.fact {
                let person = people.entry(line.by.clone().unwrap_or_default()).or_default();
                person.0 += 1;
                person.1 += u64::from(dropped.in_force);
            }
        }
        people.into_iter().map(|(by, (values, kept))| (by, values, kept)).collect()
    }
}

/// What was counted in all, by number: one that is never counted is not tested.
type Counted = Mutex<BTreeMap<&'static str, Share>>;

#[track_caller]
fn same(index: &Index, store: &Store, when: &str, counted: &Counted) {
    for (first, today, grace) in [
        ("2026-02-01", "2026-12-31", 0),
        ("2026-03-01", "2026-03-20", 0),
        ("2026-03-01", "2026-12-31", 10),
        ("2026-05-01", "2026-12-31", 0),
        ("2027-01-01", "2026-12-31", 0),
    ] {
        let (first, today) = (day(first), day(today));
        let query = MonthQuery { first, today, grace, after: None, limit: 0 };
        let month = index.month(&query).unwrap();
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
        assert_eq!(month.shares, shares, "{when}: {first:?} {today:?}");
        for (code, share) in shares {
            let mut counted = counted.lock().unwrap();
            let all = counted.entry(code).or_default();
            *all = Share { of: all.of + share.of, all: all.all + share.all };
        }
        let named =
            month.missing.iter().map(|one| (one.due.due.unwrap(), one.due.asset.clone(), one.late));
        assert_eq!(named.collect::<Vec<_>>(), missing, "{when}: {first:?} {today:?}");
        assert_eq!(month.worked_us, slow.worked(), "{when}");
        assert_eq!(month.overdue, slow.overdue(), "{when}: {first:?} {today:?}");
        assert_eq!(month.set_aside, slow.set_aside(), "{when}");
    }
}

/// `STORES=1000` for more.
#[test]
fn the_numbers_of_a_month_are_those_of_a_slow_count() {
    let stores = std::env::var("STORES").ok().and_then(|text| text.parse().ok()).unwrap_or(60);
    let next = std::sync::atomic::AtomicU64::new(1);
    let counted = Counted::default();
    let one = |seed: u64| {
        let store = Store::random(seed, 160);
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
    let query = MonthQuery { first, today: first, grace: 0, after: None, limit: 0 };
    let empty = store.index.month(&query).unwrap();
    assert_eq!((empty.worked_at(50), empty.minutes_at(90)), (None, None));
    let worked_us = (1..=10).map(|n| n * 60_000_000).collect();
    let month = Month { worked_us, ..empty };
    assert_eq!(month.minutes_at(50).as_deref(), Some("5.0"));
    assert_eq!(month.minutes_at(90).as_deref(), Some("9.0"));
}

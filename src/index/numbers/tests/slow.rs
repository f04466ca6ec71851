//! The slow count.

use std::collections::{BTreeMap, BTreeSet};

use tapline_protocols::Fact;
use tapline_protocols::due::{Counting as Site, Day, DueRule, Every};
use tapline_protocols::fact::{Given, Later};
use tapline_protocols::register::Asset;

use super::super::*;
use super::day;
use crate::books::Line;
use crate::index::made::Store;

/// An inspection as its lines tell it.
#[derive(Clone, Default)]
pub(super) struct Told {
    pub(super) lines: Vec<Line>,
    /// What the newest addendum made of it.
    later: Option<Later>,
}

impl Told {
    pub(super) fn find<T>(&self, pick: impl Fn(&Line) -> Option<T>) -> Option<T> {
        self.lines.iter().find_map(pick)
    }

    pub(super) fn day(&self, id: &str) -> Day {
        let date = id.split('-').nth(1).unwrap();
        day(&format!("{}-{}-{}", &date[..4], &date[4..6], &date[6..]))
    }

    pub(super) fn reason(&self) -> String {
        let reason = |line: &Line| match &line.fact {
            Fact::Open(open) => Some(open.inspection.as_ref().unwrap().reason.clone()),
            _ => None,
        };
        self.find(reason).unwrap()
    }

    pub(super) fn asset(&self) -> Option<Asset> {
        self.find(|line| match &line.fact {
            Fact::Given(Given::Asset { asset }) => Some((**asset).clone()),
            _ => None,
        })
    }

    pub(super) fn signed(&self) -> Option<(u64, Word)> {
        self.find(|line| match &line.fact {
            Fact::Sign(sign) => Some((line.seq, sign.outcome)),
            _ => None,
        })
        .map(|(seq, first)| (seq, self.later.as_ref().map_or(first, |later| later.outcome)))
    }

    /// The asset that it is about now.
    pub(super) fn about(&self) -> String {
        match &self.later {
            Some(later) => later.asset.clone(),
            None => self.asset().unwrap().id,
        }
    }

    pub(super) fn ended(&self) -> Option<String> {
        self.find(|line| match &line.fact {
            Fact::End(end) => Some(end.outcome.clone()),
            _ => None,
        })
    }

    pub(super) fn by_its_plan(&self) -> bool {
        if let Some(is) = self.later.as_ref().and_then(|later| later.by_its_plan) {
            return is;
        }
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

    pub(super) fn is_scheduled(&self) -> bool {
        ["scheduled", "acceptance"].contains(&self.reason().as_str())
    }

    /// Between two neighbours it was worked, unless the first parks it or the second resumes it.
    pub(super) fn worked_us(&self) -> u64 {
        let pairs = self.lines.windows(2);
        let worked = pairs.filter(|pair| {
            !matches!(pair[0].fact, Fact::Park(_)) && !matches!(pair[1].fact, Fact::Resume(_))
        });
        worked.map(|pair| pair[1].at.boot_us - pair[0].at.boot_us).sum()
    }

    pub(super) fn repeated(&self) -> bool {
        self.lines.iter().any(|line| matches!(&line.fact, Fact::Step(s) if s.state == "repeat"))
    }

    /// Steps whose newest verdict is a fail of something that was measured.
    pub(super) fn failed(&self) -> BTreeSet<String> {
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
pub(super) struct Slow {
    station: Vec<Line>,
    /// By name.
    told: BTreeMap<String, Told>,
    query: NumbersQuery,
    next: Day,
    end: Day,
}

impl Slow {
    pub(super) fn of(store: &Store, query: NumbersQuery) -> Slow {
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
        for line in &station {
            let Fact::Sealed(sealed) = &line.fact else { continue };
            let of = sealed.id.split('+').next().unwrap();
            if let (Some(later), Some(one)) = (&sealed.later, told.get_mut(of)) {
                one.later = Some(later.clone());
            }
        }
        let next = query.period.next();
        let end = next.min(query.today.plus_days(1).unwrap());
        Slow { station, told, query, next, end }
    }

    pub(super) fn is_of_period(&self, day: Day) -> bool {
        day >= self.query.period.first() && day < self.end
    }

    pub(super) fn of_period(&self) -> impl Iterator<Item = (Day, &Told)> {
        let dated = self.told.iter().map(|(id, one)| (one.day(id), one));
        dated.filter(|(day, _)| self.is_of_period(*day))
    }

    /// Each asset with its date, as of what happened before a day.
    pub(super) fn dates(&self, before: Day) -> BTreeMap<String, (Asset, Option<Day>)> {
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
                    let id = told.about();
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

    pub(super) fn missing(&self) -> (u64, Vec<(Day, String, Option<Day>)>) {
        let (mut all, mut missing) = (0, Vec::new());
        for (id, (asset, due)) in self.dates(self.query.period.first()) {
            let Some(due) = due.filter(|due| *due >= self.query.period.first() && *due < self.next)
            else {
                continue;
            };
            if asset.is_retired(&self.query.period.first().text()) {
                continue;
            }
            all += 1;
            let mut days: Vec<Day> = Vec::new();
            for (day, told) in self.of_period() {
                let decided = told.signed().is_some_and(|(_, word)| word != Word::Undecided);
                let own = told.about() == id;
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

    pub(super) fn location(&self) -> Share {
        let (mut looked, mut found) = (BTreeSet::new(), BTreeSet::new());
        let mut look = |asset: String, outcome: Option<String>| {
            if outcome.as_deref() != Some("not_found") {
                found.insert(asset.clone());
            }
            looked.insert(asset);
        };
        self.of_period().for_each(|(_, told)| look(told.about(), told.ended()));
        for line in &self.station {
            if let Fact::Visit(visit) = &line.fact
                && self.is_of_period(day(&visit.day))
            {
                look(visit.asset.clone(), Some(visit.outcome.clone()));
            }
        }
        Share { of: found.len() as u64, all: looked.len() as u64 }
    }

    pub(super) fn signed(&self) -> Vec<(u64, Word, Day, &Told)> {
        let signed =
            |(day, told): (Day, &'_ Told)| told.signed().map(|(seq, word)| (seq, word, day));
        let pick = |one| signed(one).map(|(seq, word, day)| (seq, word, day, one.1));
        self.of_period().filter_map(pick).collect()
    }

    pub(super) fn faults(&self) -> Share {
        let signed = self.signed();
        let count = |words: &[Word]| {
            signed.iter().filter(|(_, word, ..)| words.contains(word)).count() as u64
        };
        let fails = [Word::Fail, Word::ConditionalFail];
        let of = count(&fails);
        Share { of, all: of + count(&[Word::Pass, Word::ConditionalPass]) }
    }

    pub(super) fn first_time(&self) -> Share {
        let mut share = Share::default();
        for (seq, word, _, told) in self.signed() {
            if !told.is_scheduled() {
                continue;
            }
            let own = |other: &Told| other.about() == told.about();
            let earlier = self.signed().iter().any(|(n, _, _, other)| *n < seq && own(other));
            let passed = [Word::Pass, Word::ConditionalPass].contains(&word);
            share.all += 1;
            share.of += u64::from(passed && !earlier && !told.repeated());
        }
        share
    }

    pub(super) fn again(&self) -> Share {
        let mut share = Share::default();
        for (seq, _, now, told) in self.signed() {
            for step in told.failed() {
                let same = self.told.iter().any(|(id, other)| {
                    let before = other.signed().is_some_and(|(n, _)| n < seq);
                    let age = now.number().checked_sub(other.day(id).number());
                    let near = age.is_some_and(|days| days <= 90);
                    let own = other.about() == told.about();
                    before && near && own && other.failed().contains(&step)
                });
                share.all += 1;
                share.of += u64::from(same);
            }
        }
        share
    }

    pub(super) fn worked(&self) -> Vec<u64> {
        let mut all: Vec<u64> = self.signed().iter().map(|(.., told)| told.worked_us()).collect();
        all.sort_unstable();
        all
    }

    /// By a key of the asset: as it stood on the first day for what was due, else as it stands.
    pub(super) fn groups<K: Ord>(&self, key: impl Fn(Option<&Asset>) -> K) -> BTreeMap<K, Group> {
        let mut groups = BTreeMap::<K, Group>::new();
        let missing: BTreeSet<String> = self.missing().1.into_iter().map(|one| one.1).collect();
        for (id, (asset, due)) in self.dates(self.query.period.first()) {
            let within = due.is_some_and(|d| d >= self.query.period.first() && d < self.next);
            if within && !asset.is_retired(&self.query.period.first().text()) {
                let group = groups.entry(key(Some(&asset))).or_default();
                group.on_time.all += 1;
                group.on_time.of += u64::from(!missing.contains(&id));
            }
        }
        let (as_of, dates) = (self.next.min(self.query.today), self.dates(self.end));
        for (asset, due) in dates.values() {
            if let (Some(due), false) = (due, asset.is_retired(&as_of.text())) {
                let group = groups.entry(key(Some(asset))).or_default();
                group.overdue.all += 1;
                group.overdue.of += u64::from(*due < as_of);
            }
        }
        for (_, told) in self.of_period() {
            let asset = dates.get(&told.about()).map(|(asset, _)| asset);
            let outcomes = &mut groups.entry(key(asset)).or_default().outcomes;
            *outcomes = plus(*outcomes, told);
        }
        groups
    }

    pub(super) fn days(&self) -> Vec<(Day, Outcomes)> {
        let mut days = Vec::new();
        let mut day = self.query.period.first();
        while day < self.end {
            let made = self.of_period().filter(|(of, _)| *of == day);
            days.push((day, made.fold(Outcomes::default(), |sum, (_, told)| plus(sum, told))));
            day = day.plus_days(1).unwrap();
        }
        days
    }

    pub(super) fn set_aside(&self) -> Vec<(String, u64, u64)> {
        let mut people: BTreeMap<String, (u64, u64)> = BTreeMap::new();
        for line in self.of_period().flat_map(|(_, told)| &told.lines) {
            if let Fact::Drop(dropped) = &line.fact {
                let person = people.entry(line.by.clone().unwrap_or_default()).or_default();
                person.0 += 1;
                person.1 += u64::from(dropped.in_force);
            }
        }
        people.into_iter().map(|(by, (values, kept))| (by, values, kept)).collect()
    }
}

pub(super) fn plus(mut sum: Outcomes, told: &Told) -> Outcomes {
    let word = told.signed().map(|(_, word)| word);
    sum.pass += u64::from(word == Some(Word::Pass));
    sum.conditional_pass += u64::from(word == Some(Word::ConditionalPass));
    sum.conditional_fail += u64::from(word == Some(Word::ConditionalFail));
    sum.fail += u64::from(word == Some(Word::Fail));
    sum.undecided += u64::from(word == Some(Word::Undecided));
    sum.ended += u64::from(word.is_none());
    sum
}

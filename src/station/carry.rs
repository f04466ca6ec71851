//! What the next inspection on a bench may repeat: nulls of the same leads, the supply check of
//! the day. Each is repeated as a fact of its own that names where it was made.
//!
//! Only while nothing changed: what hangs on the bench is what hung there, nothing was plugged
//! anew, and after a restart every line that was there is there again and instruments that say who
//! they are say the same.

use std::collections::BTreeMap;

use tapline_protocols::Fact;
use tapline_protocols::fact::{Carried, Given, LinkGiven, NullFact, ProveFact};
use tapline_protocols::inspection::Record;
use tapline_protocols::register::{Fixture, Instrument, Lead, Setup};

use super::bench::{Bench, Kept, Left};
use super::case::Case;
use super::core::Core;
use super::event::BookId;
use crate::books::Line;
use crate::clock::{Stamp, utc_day};

/// What hangs on a bench, as far as a null or a supply check rests on it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Hung {
    pub instruments: Vec<Instrument>,
    pub setups: Vec<Setup>,
    pub fixtures: Vec<Fixture>,
    pub leads: Vec<Lead>,
    pub witness: BTreeMap<String, String>,
    pub links: Vec<LinkGiven>,
}

impl Core {
    /// Remembers what may be carried over. Called when an inspection leaves the bench.
    pub(super) fn keep_for_next(&mut self, bench: &str, id: &str) {
        let place = &self.benches[bench];
        let (relinked, told) = (place.relinked, place.left.told.clone());
        let left = left_by(self.cases[id].inspection.record(), id, relinked);
        self.bench(bench).left = Left { told, ..left };
    }

    /// Repeats what is still good in the inspection that is being opened: it stands with what was
    /// given, before anything follows from the record.
    pub(super) fn carry(&mut self, bench: &str, id: &str, at: Stamp, by: &str) {
        let left = std::mem::take(&mut self.bench(bench).left);
        if !self.hangs_unchanged(bench, &left) {
            return;
        }
        let age_max = u64::from(self.settings.policy.null_max_age_min) * 60_000_000;
        // What was made later than now was made under other clocks.
        let age = |at_us: u64| at.boot_us.checked_sub(at_us);
        let fresh = |kept: &&Kept<NullFact>| age(kept.at_us).is_some_and(|age| age < age_max);
        for kept in left.nulls.iter().filter(fresh) {
            let carried = Some(kept.carried());
            let fact = NullFact { carried, from: Vec::new(), ..kept.fact.clone() };
            self.put(BookId::Inspection(id.into()), at, Fact::Null(fact), Some(by.into()));
        }
        // Its age is counted by the boot-time clock: a wall clock that was set makes nothing fresh.
        let made = |kept: &Kept<ProveFact>| {
            let ago = i64::try_from(age(kept.at_us)?).ok()?;
            Some(utc_day(at.wall_us.saturating_sub(ago)))
        };
        let today = |kept: &&Kept<ProveFact>| made(kept) == Some(utc_day(at.wall_us));
        if let Some(kept) = left.supply.as_ref().filter(today) {
            let carried = Some(kept.carried());
            let fact = ProveFact { carried, from: Vec::new(), step: None, ..kept.fact.clone() };
            self.put(BookId::Inspection(id.into()), at, Fact::Prove(fact), Some(by.into()));
        }
    }

    /// What hangs on the bench is what hung there; after a restart all of it shows itself again.
    fn hangs_unchanged(&self, bench: &str, left: &Left) -> bool {
        let here = || self.links.values().filter(|link| link.settings.bench == bench);
        let there = |(link, told): (&String, &String)| {
            self.links.get(link).is_some_and(|link| link.identity.as_ref() == Some(told))
        };
        self.hung(bench) == left.hung
            && !here().any(|link| self.register.watched.misses(&link.settings.id))
            && left.told.iter().all(there)
    }

    /// What the books say of the benches, after a restart: for each that is free the inspection
    /// that left it last, for each that has one open what was watched of it.
    /// `sealed`: books of those that were sealed last.
    pub(super) fn remember(&mut self, sealed: Vec<(String, Vec<Line>)>) {
        let sealed: BTreeMap<String, Case> = sealed.into_iter().map(of_book).collect();
        for bench in self.benches.keys().cloned().collect::<Vec<_>>() {
            let all = || self.cases.iter().chain(&sealed);
            let here = all().find(|(_, case)| at_work(case) && case.bench == bench);
            let place = match here {
                Some((_, case)) => self.watched_on(case),
                None => self.left_on(&bench, all()),
            };
            *self.bench(&bench) = place;
        }
    }

    /// What the inspection that was the last on a free bench leaves there.
    fn left_on<'c>(&self, bench: &str, all: impl Iterator<Item = (&'c String, &'c Case)>) -> Bench {
        let left = all.filter_map(|(id, case)| Some((case.left.get(bench)?, id, case)));
        let Some((_, id, case)) = left.max_by_key(|(seq, ..)| **seq) else {
            return Bench::default();
        };
        // What went on elsewhere says nothing of when it was here.
        if at_work(case) || case.bench != bench {
            return Bench::default();
        }
        let place = self.watched_on(case);
        let left = left_by(case.inspection.record(), id, place.relinked);
        Bench { left: Left { told: place.left.told, ..left }, ..place }
    }

    /// Since when nothing was plugged anew on the bench of an inspection, and who must answer.
    fn watched_on(&self, case: &Case) -> Bench {
        let hung = hung_in(case.inspection.record());
        let since = self.register.watched.since(hung.links.iter().map(|link| &link.link));
        let left = Left { told: case.told.clone(), ..Left::default() };
        Bench { relinked: case.relinked.max(since), left, ..Bench::default() }
    }

    fn hung(&self, bench: &str) -> Hung {
        let here = self.on_bench(bench);
        let witness = self.settings.benches.iter().find(|b| b.id == bench);
        Hung {
            instruments: here.instruments,
            setups: here.setups,
            fixtures: here.fixtures,
            leads: here.leads,
            witness: witness.map(|bench| bench.witness.clone()).unwrap_or_default(),
            links: here.links,
        }
    }
}

/// It is on a bench.
fn at_work(case: &Case) -> bool {
    !case.parked && !case.closed
}

fn of_book((id, lines): (String, Vec<Line>)) -> (String, Case) {
    let mut case = Case::new(id.clone());
    for line in &lines {
        case.apply(line.seq, line.at, &line.fact, line.by.as_deref());
    }
    (id, case)
}

/// What an inspection leaves on its bench; what was plugged anew since may be something else.
fn left_by(record: &Record, id: &str, relinked: u64) -> Left {
    let mut nulls: Vec<Kept<NullFact>> = Vec::new();
    // Stamps of another boot tell no age.
    let datable = |seq: u64| relinked < seq && record.same_boot(seq, u64::MAX);
    for line in record.nulls.iter().filter(|line| datable(line.seq)) {
        let key = |n: &NullFact| (n.lead.clone(), n.function, n.range.clone(), n.direction);
        nulls.retain(|kept| key(&kept.fact) != key(&line.fact));
        let carried = line.fact.carried.clone();
        nulls.push(kept(id, line.seq, line.at.0, carried, line.fact.clone()));
    }
    let supply = record.proofs.iter().rfind(|line| line.fact.what == "supply");
    let supply = supply.filter(|line| line.fact.ok && datable(line.seq)).map(|line| {
        let carried = line.fact.carried.clone();
        kept(id, line.seq, line.at.0, carried, line.fact.clone())
    });
    Left { nulls, supply, hung: hung_in(record), told: BTreeMap::new() }
}

/// What hung on the bench when an inspection was opened.
fn hung_in(record: &Record) -> Hung {
    let mut hung = Hung::default();
    for given in &record.given {
        match given.clone() {
            Given::Instruments { list, setups, .. } => {
                (hung.instruments, hung.setups) = (list, setups);
            }
            Given::Fixtures { list, leads, witness } => {
                (hung.fixtures, hung.leads, hung.witness) = (list, leads, witness);
            }
            Given::Links { list } => hung.links = list,
            _ => {}
        }
    }
    hung
}

impl<T> Kept<T> {
    fn carried(&self) -> Carried {
        Carried { book: self.book.clone(), seq: self.seq, m: self.at_us }
    }
}

/// A fact that was itself carried over keeps the place where it was made.
fn kept<T>(id: &str, seq: u64, at_us: u64, carried: Option<Carried>, fact: T) -> Kept<T> {
    match carried {
        Some(first) => Kept { book: first.book, seq: first.seq, at_us: first.m, fact },
        None => Kept { book: id.into(), seq, at_us, fact },
    }
}

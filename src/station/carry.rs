//! What the next inspection on a bench may repeat: nulls of the same leads, the supply check of
//! the day. Each is repeated as a fact of its own that names where it was made.

use tapline_protocols::Fact;
use tapline_protocols::fact::{Carried, NullFact, ProveFact};

use super::bench::Kept;
use super::core::Core;
use super::event::BookId;
use crate::clock::{Stamp, utc_day};

impl Core {
    /// Remembers what may be carried over. Called when an inspection leaves the bench.
    pub(super) fn keep_for_next(&mut self, bench: &str, id: &str) {
        let record = self.cases[id].inspection.record();
        let mut nulls: Vec<Kept<NullFact>> = Vec::new();
        // Stamps of another boot tell no age, and what was plugged anew may be something else.
        let relinked = self.benches[bench].relinked;
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
        let place = self.bench(bench);
        place.nulls = nulls;
        place.supply = supply;
    }

    /// Repeats what is still good in the inspection that is being opened: it stands with what was
    /// given, before anything follows from the record.
    pub(super) fn carry(&mut self, bench: &str, id: &str, at: Stamp, by: &str) {
        let place = self.benches[bench].clone();
        let age_max = u64::from(self.settings.policy.null_max_age_min) * 60_000_000;
        let fresh = |kept: &&Kept<NullFact>| at.boot_us.saturating_sub(kept.at_us) < age_max;
        for kept in place.nulls.iter().filter(fresh) {
            let carried = Some(kept.carried());
            let fact = NullFact { carried, from: Vec::new(), ..kept.fact.clone() };
            self.put(BookId::Inspection(id.into()), at, Fact::Null(fact), Some(by.into()));
        }
        // Its age is counted by the boot-time clock: a wall clock that was set makes nothing fresh.
        let made = |kept: &Kept<ProveFact>| {
            let ago = i64::try_from(at.boot_us.saturating_sub(kept.at_us)).unwrap_or(i64::MAX);
            utc_day(at.wall_us.saturating_sub(ago))
        };
        let today = |kept: &&Kept<ProveFact>| made(kept) == utc_day(at.wall_us);
        if let Some(kept) = place.supply.as_ref().filter(today) {
            let carried = Some(kept.carried());
            let fact = ProveFact { carried, from: Vec::new(), step: None, ..kept.fact.clone() };
            self.put(BookId::Inspection(id.into()), at, Fact::Prove(fact), Some(by.into()));
        }
    }
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

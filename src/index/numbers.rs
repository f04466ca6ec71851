//! The numbers of a day, a week or a month, each a count over a count. What they mean is said in
//! words beside them (`[month_means]` of the words): a percentage alone can be anything.
//!
//! The list of what is due is frozen on the first day by derivation: it is reckoned from what was
//! registered and inspected before. So it can be told of any period, on any copy of the books, and
//! nothing that happens later changes it but an addendum: what was put right was so all along, and
//! an inspection is counted as what it comes to now, for the asset that it is about now, as dates
//! are.

mod by;

use std::collections::{BTreeMap, BTreeSet};

use tapline_protocols::due::{Day, Period};
use tapline_protocols::fact::{Later, Word};
use tapline_protocols::register::Risk;

pub use by::{Group, Outcomes};

use super::IndexFault;
use super::due::{Due, row};
use super::ledger::{Ledger, Stand, Standing};
use super::query::LIST_MAX;
use super::sheet::moment_key;
use super::store::Index;
use super::tally::{SetAside, Tally};
use crate::past::course::is_scheduled;
use crate::past::day_of;

/// A measurement that fails again within so many days is a repeated failure.
pub const AGAIN_DAYS: u32 = 90;
const DAY_US: i64 = 86_400_000_000;
/// 1970-01-01 as a [`Day::number`].
const EPOCH: i64 = 25_567;

/// Which days, and how they are counted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NumbersQuery {
    /// A day, a week or a month.
    pub period: Period,
    /// This day: what comes after it is not counted.
    pub today: Day,
    /// Days after the due day on which an inspection is in time yet.
    pub grace: u32,
    /// Of what is missing, after this asset.
    pub after: Option<String>,
    /// At most so many that are missing; 0: [`LIST_MAX`].
    pub limit: usize,
}

/// The numbers of a period.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Numbers {
    /// What stands at its end, or today while it lasts: due before this day is overdue.
    pub as_of: Day,
    /// `on_time location yield first_time_pass repeat_failure`, in this order.
    pub shares: Vec<(&'static str, Share)>,
    /// Time worked on each signed inspection, microseconds, sorted.
    pub worked_us: Vec<u64>,
    /// By operator; empty where the book does not say: values set aside, and those that count all
    /// the same.
    pub set_aside: Vec<(String, u64, u64)>,
    /// What came of its inspections.
    pub outcomes: Outcomes,
    /// The same by day, each day of it that is not after today.
    pub days: Vec<(Day, Outcomes)>,
    /// By the first part of the location, in the order of their names; empty where none is known.
    pub places: Vec<(String, Group)>,
    /// By risk, the highest first.
    pub risks: Vec<(Option<Risk>, Group)>,
    /// On the period's list and not inspected in time.
    pub missing: Vec<Missing>,
    /// How many are missing.
    pub missing_all: usize,
    /// Ask for more that are missing after this asset.
    pub next: Option<String>,
    /// Sealed inspections of any time that count for nothing, since their book is damaged.
    pub damaged: usize,
}

/// A count of a count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Share {
    /// Numerator.
    pub of: u64,
    /// Denominator.
    pub all: u64,
}

/// An asset that was due and not inspected in time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Missing {
    /// As it stood on the first day.
    pub due: Due,
    /// The day on which it was inspected too late, in this period.
    pub late: Option<Day>,
    /// What came of the last look for it, in this period.
    pub visit: Option<String>,
}

/// A sealed inspection of the time that is looked at.
struct Made {
    asset: String,
    day: Day,
    reason: String,
    /// Its outcome, where it is signed.
    outcome: Option<Word>,
    ended: Option<String>,
    tally: Tally,
}

impl Made {
    /// As its addenda left it. What failed when it was measured did so, whatever is said of it.
    fn since(mut self, later: &Later) -> Made {
        self.asset.clone_from(&later.asset);
        self.outcome = self.outcome.map(|_| later.outcome);
        self.tally.by_its_plan = later.by_its_plan.unwrap_or(self.tally.by_its_plan);
        self
    }

    /// It was made because it was due, by the asset's own plan, and came to a verdict, whichever.
    fn is_complete(&self) -> bool {
        let decided = self.outcome.is_some_and(|outcome| outcome != Word::Undecided);
        decided
            && self.tally.signed.is_some()
            && self.tally.by_its_plan
            && is_scheduled(&self.reason)
    }
}

impl Index {
    /// The numbers of a period.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn numbers(&self, query: &NumbersQuery) -> Result<Numbers, IndexFault> {
        Index::guarded(|| {
            let (first, next) = (query.period.first(), query.period.next());
            let tomorrow = later(query.today, 1);
            let (as_of, end) = (next.min(query.today), next.min(tomorrow));
            let made = self.made((first, end))?;
            let (listed, kept, visits, damaged) = {
                let ledger = self.ledger();
                let visits = ledger.visits((first, end));
                let kept = by::kept(&ledger, (first, end, as_of), &made);
                let listed = on_list(&ledger, (first, next));
                (listed, kept, visits, ledger.damaged().len())
            };
            let counting = Counting::new(query, (end, &made, &visits));
            let missing: Vec<(&Standing, Option<Day>)> =
                listed.iter().filter_map(|one| counting.missing(one)).collect();
            let all = listed.len() as u64;
            let on_time = Share { of: all - missing.len() as u64, all };
            let groups = kept.counted(&counting, &listed);
            let (missing_all, (missing, next)) = (missing.len(), page(&counting, &missing));
            Ok(Numbers {
                as_of,
                shares: vec![
                    ("on_time", on_time),
                    ("location", counting.location()),
                    ("yield", counting.faults()),
                    ("first_time_pass", counting.first_time()),
                    ("repeat_failure", counting.again()),
                ],
                worked_us: counting.worked(),
                set_aside: counting.set_aside(),
                outcomes: Outcomes::of(counting.of_period()),
                days: counting.days(),
                places: groups.places,
                risks: groups.risks,
                missing,
                missing_all,
                next,
                damaged,
            })
        })
    }

    /// Sealed inspections that are dated before `end` and not longer before `first` than what is
    /// looked back at, in the order of their opening.
    fn made(&self, (first, end): (Day, Day)) -> Result<Vec<Made>, IndexFault> {
        let us = |day: Day, days: i64| (i64::from(day.number()) - EPOCH + days) * DAY_US;
        // The day of a name is one of some zone.
        let from = moment_key(us(first, -i64::from(AGAIN_DAYS) - 1)).to_vec();
        let to = moment_key(us(end, 1));
        let mut made: Vec<(String, Made)> = Vec::new();
        self.sheets(&from, &mut |sheet, key| {
            for entry in &sheet.entries {
                let day = day_of(sheet.names[entry.id]);
                let sealed = entry.seal.is_some() && !entry.damaged && entry.tally.given;
                let near = |day: &Day| later(*day, AGAIN_DAYS) >= first && *day < end;
                let Some(day) = day.filter(near).filter(|_| sealed) else { continue };
                let one = Made {
                    asset: sheet.asset(entry).to_owned(),
                    day,
                    reason: sheet.names[entry.reason].to_owned(),
                    outcome: entry.verdict,
                    ended: entry.ended.map(|n| sheet.names[n].to_owned()),
                    tally: entry.tally.clone(),
                };
                made.push((sheet.names[entry.id].to_owned(), one));
            }
            key < to.as_slice()
        })?;
        let ledger = self.ledger();
        let now = |(id, one): (String, Made)| match ledger.later(&id) {
            Some(later) => one.since(later),
            None => one,
        };
        Ok(made.into_iter().map(now).collect())
    }
}

fn page(
    counting: &Counting<'_>,
    missing: &[(&Standing, Option<Day>)],
) -> (Vec<Missing>, Option<String>) {
    let query = counting.query;
    let most = if query.limit == 0 { LIST_MAX } else { query.limit };
    let after = query.after.as_deref();
    let behind = missing.iter().skip_while(|(one, _)| after.is_some_and(|id| *one.asset != *id));
    let mut behind = behind.skip(usize::from(after.is_some()));
    let mut rows = Vec::new();
    for (one, late) in behind.by_ref().take(most) {
        let visit = counting.visits.get(&*one.asset).and_then(|all| all.last()).cloned();
        rows.push(Missing { due: row(one, query.period.first()), late: *late, visit });
    }
    let next = behind.next().and_then(|_| rows.last().map(|row| row.due.asset.clone()));
    (rows, next)
}

/// Those that are due in the period, as they stood before it, in the order of their dates.
fn on_list(ledger: &Ledger, (first, next): (Day, Day)) -> Vec<Standing> {
    let text = first.text();
    let due = |one: &Stand| {
        one.course.due.is_some_and(|due| due >= first && due < next)
            && !ledger.is_retired(one, &text)
    };
    let listed = ledger.before(first).filter(due);
    let mut listed: Vec<Standing> = listed.map(|one| ledger.standing(&one, Some(first))).collect();
    listed.sort_by_key(|one| one.course.due);
    listed
}

/// What is counted of one period.
struct Counting<'a> {
    query: &'a NumbersQuery,
    end: Day,
    made: &'a [Made],
    /// By asset: what came of each look for it in the period.
    visits: &'a BTreeMap<String, Vec<String>>,
    /// By asset: the first day of the period on which it was inspected as it has to be.
    complete: BTreeMap<&'a str, Day>,
}

impl<'a> Counting<'a> {
    fn new(
        query: &'a NumbersQuery,
        (end, made, visits): (Day, &'a [Made], &'a BTreeMap<String, Vec<String>>),
    ) -> Counting<'a> {
        let mut counting = Counting { query, end, made, visits, complete: BTreeMap::new() };
        let complete = counting.of_period().filter(|made| made.is_complete());
        let mut days: BTreeMap<&str, Day> = BTreeMap::new();
        for made in complete {
            let day = days.entry(&made.asset).or_insert(made.day);
            *day = made.day.min(*day);
        }
        counting.complete = days;
        counting
    }

    /// Inspections of the period.
    fn of_period(&self) -> impl Iterator<Item = &'a Made> {
        let (first, end) = (self.query.period.first(), self.end);
        self.made.iter().filter(move |one| one.day >= first && one.day < end)
    }

    /// As [`Counting::of_period`], signed ones in the order of their signatures.
    fn signed(&self) -> Vec<(u64, Word, &'a Made)> {
        let signed =
            self.of_period().filter_map(|one| Some((one.tally.signed?, one.outcome?, one)));
        let mut signed: Vec<_> = signed.collect();
        signed.sort_by_key(|(seq, ..)| *seq);
        signed
    }

    /// An asset of the list that was not inspected in time, with the day on which it was later.
    fn missing<'s>(&self, one: &'s Standing) -> Option<(&'s Standing, Option<Day>)> {
        let last = later(one.course.due?, self.query.grace);
        match self.complete.get(&*one.asset) {
            Some(day) if *day <= last => None,
            late => Some((one, late.copied())),
        }
    }

    fn days(&self) -> Vec<(Day, Outcomes)> {
        let first = self.query.period.first();
        let days = (0..self.end.number().saturating_sub(first.number())).map(|n| later(first, n));
        days.map(|day| (day, Outcomes::of(self.of_period().filter(|one| one.day == day)))).collect()
    }

    fn location(&self) -> Share {
        let mut seen: BTreeMap<&str, bool> = BTreeMap::new();
        for made in self.of_period() {
            let found = made.ended.as_deref() != Some("not_found");
            *seen.entry(made.asset.as_str()).or_default() |= found;
        }
        for (asset, outcomes) in self.visits {
            let found = outcomes.iter().any(|outcome| outcome != "not_found");
            *seen.entry(asset.as_str()).or_default() |= found;
        }
        let of = seen.values().filter(|found| **found).count() as u64;
        Share { of, all: seen.len() as u64 }
    }

    fn faults(&self) -> Share {
        let mut share = Share::default();
        for (_, outcome, _) in self.signed() {
            share.all += u64::from(outcome != Word::Undecided);
            share.of += u64::from(matches!(outcome, Word::Fail | Word::ConditionalFail));
        }
        share
    }

    fn first_time(&self) -> Share {
        let (mut share, mut before) = (Share::default(), BTreeSet::new());
        for (_, outcome, made) in self.signed() {
            let first = before.insert(made.asset.as_str());
            if !is_scheduled(&made.reason) {
                continue;
            }
            let passed = matches!(outcome, Word::Pass | Word::ConditionalPass);
            share.all += 1;
            share.of += u64::from(passed && first && made.tally.repeats == 0);
        }
        share
    }

    fn again(&self) -> Share {
        let mut failed: BTreeMap<(&str, &str), Vec<(u64, Day)>> = BTreeMap::new();
        for made in self.made {
            let Some(seq) = made.tally.signed else { continue };
            for step in &made.tally.failed {
                failed.entry((&made.asset, step)).or_default().push((seq, made.day));
            }
        }
        let mut share = Share::default();
        for all in failed.values() {
            for (seq, day) in all.iter().filter(|(_, day)| *day >= self.query.period.first()) {
                let near = |one: Day| one <= *day && later(one, AGAIN_DAYS) >= *day;
                let again = all.iter().any(|(other, earlier)| other < seq && near(*earlier));
                share.all += 1;
                share.of += u64::from(again);
            }
        }
        share
    }

    fn worked(&self) -> Vec<u64> {
        let mut worked: Vec<u64> =
            self.signed().into_iter().map(|(.., made)| made.tally.worked_us).collect();
        worked.sort_unstable();
        worked
    }

    fn set_aside(&self) -> Vec<(String, u64, u64)> {
        let mut people: BTreeMap<&str, (u64, u64)> = BTreeMap::new();
        for SetAside { by, values, in_force } in self.of_period().flat_map(|m| &m.tally.set_aside) {
            let person = people.entry(by).or_default();
            *person = (person.0 + values, person.1 + in_force);
        }
        people.into_iter().map(|(by, (values, kept))| (by.to_owned(), values, kept)).collect()
    }
}

impl Share {
    /// Percent with one decimal, rounded half up; none of nothing.
    #[must_use]
    pub fn percent(self) -> Option<String> {
        let tenths = (self.of * 2000 + self.all).checked_div(self.all * 2)?;
        Some(format!("{}.{}", tenths / 10, tenths % 10))
    }
}

impl Numbers {
    /// As [`Numbers::worked_at`], minutes with one decimal, rounded half up.
    #[must_use]
    pub fn minutes_at(&self, percent: usize) -> Option<String> {
        let tenths = (self.worked_at(percent)? + 3_000_000) / 6_000_000;
        Some(format!("{}.{}", tenths / 10, tenths % 10))
    }

    /// The time below or at which `percent` of the signed inspections lie (nearest rank),
    /// microseconds; none without an inspection.
    #[must_use]
    pub fn worked_at(&self, percent: usize) -> Option<u64> {
        let rank = (self.worked_us.len() * percent).div_ceil(100);
        self.worked_us.get(rank.checked_sub(1)?).copied()
    }
}

/// So many days later, or the last day there is.
fn later(day: Day, days: u32) -> Day {
    day.plus_days(days).unwrap_or_else(|| Day::parse("2999-12-31").expect("it is one"))
}

#[cfg(test)]
mod tests;

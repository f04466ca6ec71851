//! The numbers of a month, each a count over a count. What they mean is said in words beside them
//! (`[month]` of the words): a percentage alone can be anything.
//!
//! The list of what is due is frozen on the first of the month by derivation: it is reckoned from
//! what was registered and inspected before. So it can be told of any month, on any copy of the
//! books, and nothing that happens later changes it.

use std::collections::{BTreeMap, BTreeSet};

use tapline_protocols::due::Day;
use tapline_protocols::fact::Word;
use tapline_protocols::register::Risk;

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

/// Which month, and how it is counted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MonthQuery {
    /// Its first day.
    pub first: Day,
    /// This day: what comes after it is not counted.
    pub today: Day,
    /// Days after the due day on which an inspection is in time yet.
    pub grace: u32,
    /// Of what is missing, after this asset.
    pub after: Option<String>,
    /// At most so many that are missing; 0: as many as may be.
    pub limit: usize,
}

/// The numbers of a month.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Month {
    /// What stands at its end, or today while it lasts: due before this day is overdue.
    pub as_of: Day,
    /// `on_time location yield first_time_pass repeat_failure`, in this order.
    pub shares: Vec<(&'static str, Share)>,
    /// Time worked on each signed inspection, microseconds, sorted.
    pub worked_us: Vec<u64>,
    /// Overdue, of all assets with a date, by risk.
    pub overdue: Vec<(Option<Risk>, Share)>,
    /// By operator; empty where the book does not say: values set aside, and those that count all
    /// the same.
    pub set_aside: Vec<(String, u64, u64)>,
    /// On the month's list and not inspected in time.
    pub missing: Vec<Missing>,
    /// How many are missing.
    pub missing_all: usize,
    /// Ask for more that are missing after this asset.
    pub next: Option<String>,
    /// Sealed inspections of any month that count for nothing, since their book is damaged.
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
    /// As it stood on the first of the month.
    pub due: Due,
    /// The day on which it was inspected too late, in this month.
    pub late: Option<Day>,
    /// What came of the last look for it, in this month.
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
    /// The numbers of a month.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn month(&self, query: &MonthQuery) -> Result<Month, IndexFault> {
        Index::guarded(|| {
            let (next, tomorrow) = (after_month(query.first), later(query.today, 1));
            let (as_of, end) = (next.min(query.today), next.min(tomorrow));
            let made = self.made((query.first, end))?;
            let (listed, overdue, visits, damaged) = {
                let ledger = self.ledger();
                let visits = ledger.visits((query.first, end));
                let overdue = overdue(&ledger, end, as_of);
                let listed = on_list(&ledger, (query.first, next));
                (listed, overdue, visits, ledger.damaged().len())
            };
            let counting = Counting::new(query, (end, &made, &visits));
            let missing: Vec<(&Standing, Option<Day>)> =
                listed.iter().filter_map(|one| counting.missing(one)).collect();
            let all = listed.len() as u64;
            let on_time = Share { of: all - missing.len() as u64, all };
            let (missing_all, (missing, next)) = (missing.len(), page(&counting, &missing));
            Ok(Month {
                as_of,
                shares: vec![
                    ("on_time", on_time),
                    ("location", counting.location()),
                    ("yield", counting.faults()),
                    ("first_time_pass", counting.first_time()),
                    ("repeat_failure", counting.again()),
                ],
                worked_us: counting.worked(),
                overdue,
                set_aside: counting.set_aside(),
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
        let mut made = Vec::new();
        self.sheets(&from, &mut |sheet, key| {
            for entry in &sheet.entries {
                let day = day_of(sheet.names[entry.id]);
                let sealed = entry.seal.is_some() && !entry.damaged && entry.tally.given;
                let near = |day: &Day| later(*day, AGAIN_DAYS) >= first && *day < end;
                let Some(day) = day.filter(near).filter(|_| sealed) else { continue };
                made.push(Made {
                    asset: sheet.asset(entry).to_owned(),
                    day,
                    reason: sheet.names[entry.reason].to_owned(),
                    outcome: entry.verdict,
                    ended: entry.ended.map(|n| sheet.names[n].to_owned()),
                    tally: entry.tally.clone(),
                });
            }
            key < to.as_slice()
        })?;
        Ok(made)
    }
}

fn page(
    counting: &Counting<'_>,
    missing: &[(&Standing, Option<Day>)],
) -> (Vec<Missing>, Option<String>) {
    let query = counting.query;
    let most = if query.limit == 0 { LIST_MAX } else { query.limit.min(LIST_MAX) };
    let after = query.after.as_deref();
    let behind = missing.iter().skip_while(|(one, _)| after.is_some_and(|id| *one.asset != *id));
    let mut behind = behind.skip(usize::from(after.is_some()));
    let mut rows = Vec::new();
    for (one, late) in behind.by_ref().take(most) {
        let visit = counting.visits.get(&*one.asset).and_then(|all| all.last()).cloned();
        rows.push(Missing { due: row(one, query.first), late: *late, visit });
    }
    let next = behind.next().and_then(|_| rows.last().map(|row| row.due.asset.clone()));
    (rows, next)
}

/// Those that are due in the month, as they stood before it, in the order of their dates.
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

fn overdue(ledger: &Ledger, end: Day, as_of: Day) -> Vec<(Option<Risk>, Share)> {
    let risks = [Some(Risk::High), Some(Risk::Medium), Some(Risk::Low), None];
    let mut groups = risks.map(|risk| (risk, Share::default()));
    let text = as_of.text();
    for one in ledger.before(end).filter(|one| !ledger.is_retired(one, &text)) {
        let Some(due) = one.course.due else { continue };
        let risk_of = ledger.registered(&one).risk;
        let group = groups.iter_mut().find(|(risk, _)| *risk == risk_of);
        let (_, share) = group.expect("each risk has its group");
        share.all += 1;
        share.of += u64::from(due < as_of);
    }
    groups.into()
}

/// What is counted of one month.
struct Counting<'a> {
    query: &'a MonthQuery,
    end: Day,
    made: &'a [Made],
    /// By asset: what came of each look for it in the month.
    visits: &'a BTreeMap<String, Vec<String>>,
    /// By asset: the first day of the month on which it was inspected as it has to be.
    complete: BTreeMap<&'a str, Day>,
}

impl<'a> Counting<'a> {
    fn new(
        query: &'a MonthQuery,
        (end, made, visits): (Day, &'a [Made], &'a BTreeMap<String, Vec<String>>),
    ) -> Counting<'a> {
        let mut counting = Counting { query, end, made, visits, complete: BTreeMap::new() };
        let complete = counting.of_month().filter(|made| made.is_complete());
        let mut days: BTreeMap<&str, Day> = BTreeMap::new();
        for made in complete {
            let day = days.entry(&made.asset).or_insert(made.day);
            *day = made.day.min(*day);
        }
        counting.complete = days;
        counting
    }

    /// Inspections of the month.
    fn of_month(&self) -> impl Iterator<Item = &'a Made> {
        let (first, end) = (self.query.first, self.end);
        self.made.iter().filter(move |one| one.day >= first && one.day < end)
    }

    /// As [`Counting::of_month`], signed ones in the order of their signatures.
    fn signed(&self) -> Vec<(u64, Word, &'a Made)> {
        let signed = self.of_month().filter_map(|one| Some((one.tally.signed?, one.outcome?, one)));
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

    fn location(&self) -> Share {
        let mut seen: BTreeMap<&str, bool> = BTreeMap::new();
        for made in self.of_month() {
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
            for (seq, day) in all.iter().filter(|(_, day)| *day >= self.query.first) {
                let near = |earlier: Day| later(earlier, AGAIN_DAYS) >= *day;
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
        for SetAside { by, values, in_force } in self.of_month().flat_map(|m| &m.tally.set_aside) {
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

impl Month {
    /// As [`Month::worked_at`], minutes with one decimal, rounded half up.
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

/// The first day after a month.
fn after_month(first: Day) -> Day {
    first.plus_months(1).unwrap_or(first.month_end())
}

/// So many days later, or the last day there is.
fn later(day: Day, days: u32) -> Day {
    day.plus_days(days).unwrap_or_else(|| Day::parse("2999-12-31").expect("it is one"))
}

#[cfg(test)]
mod tests;

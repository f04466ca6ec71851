//! The numbers of parts: of a place, of a risk, of a day.

use std::collections::BTreeMap;

use tapline_protocols::due::Day;
use tapline_protocols::fact::Word;
use tapline_protocols::register::{Risk, top};

use super::{Counting, Made, Share};
use crate::index::ledger::{Ledger, Standing};

/// How many inspections came to what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Outcomes {
    /// Passed.
    pub pass: u64,
    /// Passed within the guard band.
    pub conditional_pass: u64,
    /// Failed within the guard band.
    pub conditional_fail: u64,
    /// Failed.
    pub fail: u64,
    /// Signed without a verdict.
    pub undecided: u64,
    /// Ended without a signature: not found, in use …
    pub ended: u64,
}

/// What is counted of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Group {
    /// Inspected in time, of those that were due.
    pub on_time: Share,
    /// Overdue at the end, of all with a date.
    pub overdue: Share,
    /// What came of inspections.
    pub outcomes: Outcomes,
}

/// Parts of the whole.
#[derive(Default)]
pub(super) struct Groups {
    pub(super) places: Vec<(String, Group)>,
    pub(super) risks: Vec<(Option<Risk>, Group)>,
}

/// The register at the end of a period, as far as it is counted by.
pub(super) struct Kept {
    /// Place and risk of what was inspected, by asset.
    of: BTreeMap<String, (String, Option<Risk>)>,
    overdue: Sums,
}

/// Sums by place and by risk.
struct Sums {
    places: BTreeMap<String, Group>,
    risks: BTreeMap<u8, Group>,
}

const RISKS: [Option<Risk>; 4] = [Some(Risk::High), Some(Risk::Medium), Some(Risk::Low), None];

/// Goes over the register once.
pub(super) fn kept(ledger: &Ledger, (first, end, as_of): (Day, Day, Day), made: &[Made]) -> Kept {
    let (mut of, mut overdue) = (BTreeMap::new(), Sums::new());
    let made = made.iter().filter(|one| one.day >= first && one.day < end);
    let mut wanted: BTreeMap<&str, ()> = made.map(|one| (one.asset.as_str(), ())).collect();
    let text = as_of.text();
    for one in ledger.before(end) {
        let registered = ledger.registered(&one);
        let (place, risk) = (top(ledger.name(registered.location)), registered.risk);
        let id: &str = ledger.id(&one);
        if wanted.remove(id).is_some() {
            of.insert(id.to_owned(), (place.to_owned(), risk));
        }
        if let (Some(due), false) = (one.course.due, ledger.is_retired(&one, &text)) {
            overdue.add((place, risk), |group| {
                group.overdue.all += 1;
                group.overdue.of += u64::from(due < as_of);
            });
        }
    }
    Kept { of, overdue }
}

impl Kept {
    /// With what was on the list, as it stood then, and with what was inspected, where it is now.
    pub(super) fn counted(self, counting: &Counting<'_>, listed: &[Standing]) -> Groups {
        let Kept { of, overdue: mut sums } = self;
        for one in listed {
            let late = counting.missing(one).is_some();
            sums.add((top(&one.location), one.risk), |group| {
                group.on_time.all += 1;
                group.on_time.of += u64::from(!late);
            });
        }
        for one in counting.of_period() {
            let (place, risk) = of.get(&one.asset).map_or(("", None), |(p, r)| (p.as_str(), *r));
            sums.add((place, risk), |group| group.outcomes.add(one));
        }
        let risk = |(n, group): (u8, Group)| (RISKS[usize::from(n)], group);
        Groups {
            places: sums.places.into_iter().collect(),
            risks: sums.risks.into_iter().map(risk).collect(),
        }
    }
}

impl Sums {
    fn new() -> Sums {
        let risks = (0..).zip(RISKS).map(|(n, _)| (n, Group::default()));
        Sums { places: BTreeMap::new(), risks: risks.collect() }
    }

    fn add(&mut self, (place, risk): (&str, Option<Risk>), change: impl Fn(&mut Group)) {
        let number = (0..).zip(RISKS).find(|(_, one)| *one == risk).map_or(3, |(n, _)| n);
        change(self.risks.entry(number).or_default());
        match self.places.get_mut(place) {
            Some(group) => change(group),
            None => change(self.places.entry(place.to_owned()).or_default()),
        }
    }
}

impl Outcomes {
    pub(super) fn of<'a>(made: impl Iterator<Item = &'a Made>) -> Outcomes {
        let mut all = Outcomes::default();
        made.for_each(|one| all.add(one));
        all
    }

    fn add(&mut self, made: &Made) {
        let signed = made.outcome.filter(|_| made.tally.signed.is_some());
        let count = match signed {
            Some(Word::Pass) => &mut self.pass,
            Some(Word::ConditionalPass) => &mut self.conditional_pass,
            Some(Word::ConditionalFail) => &mut self.conditional_fail,
            Some(Word::Fail) => &mut self.fail,
            Some(Word::Undecided) => &mut self.undecided,
            None => &mut self.ended,
        };
        *count += 1;
    }

    /// As they are named, in the order from good to bad.
    #[must_use]
    pub fn named(&self) -> [(&'static str, u64); 6] {
        [
            ("pass", self.pass),
            ("conditional_pass", self.conditional_pass),
            ("conditional_fail", self.conditional_fail),
            ("fail", self.fail),
            ("undecided", self.undecided),
            ("ended", self.ended),
        ]
    }
}

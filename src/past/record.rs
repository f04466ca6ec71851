//! What a sealed inspection came to.

mod like;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use tapline_protocols::Fact;
use tapline_protocols::doubt::trend::Like;
use tapline_protocols::due::Day;
use tapline_protocols::fact::{Given, Judged, Word};
use tapline_protocols::life::Life;
use tapline_protocols::limits::Table;
use tapline_protocols::plan::{self, Expanded, Plan};
use tapline_protocols::register::Asset;

use super::believed::{Refused, believed};
use super::life::life;
use super::shelf::place_of;
use crate::books::chain::sibling;
use crate::books::{Line, OnShelf};

/// A sealed inspection.
#[derive(Debug, Clone)]
pub(crate) struct Past {
    /// Its name.
    pub(crate) id: String,
    /// The asset as it was registered then.
    pub(crate) asset: Asset,
    /// Local day of its opening.
    pub(crate) day: Day,
    /// `acceptance scheduled after_repair other`.
    pub(crate) reason: String,
    /// Number of the line that signed it, where one did.
    pub(crate) signed: Option<(u64, Word)>,
    /// It was made by the plan that the asset is to be inspected by.
    pub(crate) by_its_plan: bool,
    /// The inspection before, which was not passed and which this one tests again.
    pub(crate) retest_of: Option<String>,
    /// Verdicts in force on measured values, with what they may be compared by.
    pub(crate) verdicts: Vec<(Like, Judged)>,
}

/// A signed inspection, as far as what it measured is compared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Measured {
    /// Its name.
    pub(crate) id: String,
    /// Local day of its opening.
    pub(crate) day: Day,
    /// `acceptance scheduled after_repair other`.
    pub(crate) reason: String,
    /// Number of the line that signed it, and the outcome.
    pub(crate) signed: (u64, Word),
    /// The inspection before, which was not passed and which this one tests again.
    pub(crate) retest_of: Option<String>,
    /// Verdicts in force on measured values, with what they may be compared by.
    pub(crate) verdicts: Vec<(Like, Judged)>,
}

/// What an inspection measured, for those who compare it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Values<'a> {
    pub(crate) id: &'a str,
    pub(crate) day: Day,
    pub(crate) reason: &'a str,
    pub(crate) verdicts: &'a [(Like, Judged)],
}

impl Measured {
    /// What it measured.
    pub(crate) fn values(&self) -> Values<'_> {
        let Measured { id, day, reason, verdicts, .. } = self;
        Values { id, day: *day, reason, verdicts }
    }
}

impl Past {
    /// What it measured.
    pub(crate) fn values(&self) -> Values<'_> {
        let Past { id, day, reason, verdicts, .. } = self;
        Values { id, day: *day, reason, verdicts }
    }

    /// `None`: nobody signed it.
    pub(crate) fn measured(self) -> Option<Measured> {
        let Past { id, day, reason, retest_of, verdicts, .. } = self;
        Some(Measured { id, day, reason, signed: self.signed?, retest_of, verdicts })
    }
}

/// Reads a sealed inspection. `None`: it is in work, of another asset, or was not measured.
///
/// # Errors
/// It can't be read or is not believed.
pub(crate) fn read(
    folder: &Path,
    record: &OnShelf,
    wanted: Option<&str>,
) -> Result<Option<Past>, String> {
    if !record.sealed {
        return Ok(None);
    }
    let (path, in_work) = place_of(folder, record);
    let later = match sibling(&path, 1).is_file() {
        true => Some(life(folder, &record.id)?.0),
        false => None,
    };
    let mut book = Book::default();
    let own = |asset: Option<&str>| {
        let asset = match &later {
            Some(life) => life.asset().map(|asset| asset.id.as_str()),
            None => asset,
        };
        wanted.is_none_or(|wanted| Some(wanted) == asset)
    };
    let read = believed(
        &path,
        in_work,
        |open, _| own(open.inspection.as_ref().map(|one| one.asset.as_str())),
        |line| book.take(line),
    );
    match read {
        Ok(()) => {
            if let Some(life) = &later {
                book.judge_anew(life);
            }
            Ok(book.past(&record.id).map(|past| as_it_is_now(past, later.as_ref())))
        }
        Err(Refused::Unwanted) => Ok(None),
        Err(Refused::Trouble(why)) => Err(why),
    }
}

/// With what was added to it after its seal.
fn as_it_is_now(past: Past, later: Option<&Life>) -> Past {
    let Some(life) = later else { return past };
    Past {
        asset: life.asset().unwrap_or(&past.asset).clone(),
        signed: past.signed.map(|(seq, _)| (seq, life.outcome())),
        by_its_plan: match life.reattached.last() {
            Some(last) => last.differs.is_empty(),
            None => past.by_its_plan,
        },
        ..past
    }
}

/// A book on its way.
#[derive(Debug, Default)]
pub(crate) struct Book {
    asset: Option<Asset>,
    reason: String,
    /// The plan and the limits that it was given; whoever reads many books parses few.
    pub(crate) plan: Option<Arc<Plan>>,
    pub(crate) limits: Option<Arc<Table>>,
    steps: BTreeMap<String, Expanded>,
    /// Expanded step of each value.
    values: BTreeMap<u64, String>,
    verdicts: BTreeMap<String, Judged>,
    signed: Option<(u64, Word)>,
    pub(crate) retest_of: Option<String>,
}

impl Book {
    /// The next line.
    pub(crate) fn take(&mut self, line: &Line) {
        match &line.fact {
            Fact::Open(open) => {
                self.reason =
                    open.inspection.as_ref().map(|one| one.reason.clone()).unwrap_or_default();
            }
            Fact::Given(Given::Asset { asset }) => self.asset = Some((**asset).clone()),
            Fact::Given(Given::Plan { text, .. }) => {
                self.plan = plan::parse(text).ok().map(Arc::new)
            }
            Fact::Given(Given::Limits { text, .. }) => {
                self.limits = Table::parse(text).ok().map(Arc::new)
            }
            Fact::Given(Given::Steps { list }) => {
                self.steps.extend(list.iter().map(|step| (step.step.clone(), step.clone())));
            }
            Fact::Given(Given::Retest { of, .. }) => self.retest_of = Some(of.clone()),
            Fact::Value(value) => {
                self.values.insert(line.seq, value.step.clone());
            }
            Fact::Verdict(verdict) => {
                self.verdicts.insert(verdict.step.clone(), verdict.judged.clone());
            }
            Fact::Sign(sign) => self.signed = Some((line.seq, sign.outcome)),
            _ => {}
        }
    }

    /// Values that were set aside since count no more.
    fn judge_anew(&mut self, life: &Life) {
        if life.is_judged_anew() {
            let record = life.inspection().record();
            let stand = record.verdicts.iter().filter(|(step, _)| !record.due.contains(*step));
            self.verdicts =
                stand.map(|(step, line)| (step.clone(), line.fact.judged.clone())).collect();
        }
    }

    fn past(self, id: &str) -> Option<Past> {
        let asset = self.asset.as_ref()?;
        let verdicts = self.alike().into_iter().map(|(_, like, judged)| (like, judged.clone()));
        Some(Past {
            id: id.into(),
            day: day_of(id)?,
            by_its_plan: self.by_its_plan(asset),
            verdicts: verdicts.collect(),
            asset: asset.clone(),
            reason: self.reason.clone(),
            signed: self.signed,
            retest_of: self.retest_of,
        })
    }

    /// Steps with verdicts in force on measured values, with what they may be compared by.
    pub(crate) fn alike(&self) -> Vec<(&str, Like, &Judged)> {
        let Some(asset) = &self.asset else { return Vec::new() };
        let measured = self.verdicts.iter().filter(|(_, judged)| measured(judged));
        measured
            .map(|(step, judged)| (step.as_str(), self.like(step, judged, asset), judged))
            .collect()
    }

    fn by_its_plan(&self, asset: &Asset) -> bool {
        let plan = self.plan.as_ref().map(|plan| (plan.id.as_str(), plan.by_name));
        by_its_plan(asset.plan.as_deref(), plan, &self.reason)
    }
}

/// It was made by the plan (its id, and whether it is taken by name only) that the register names
/// for the asset; without one, by any that is not taken by name only, and whatever it was accepted
/// by.
pub(crate) fn by_its_plan(own: Option<&str>, plan: Option<(&str, bool)>, reason: &str) -> bool {
    match (plan, own) {
        (None, _) => false,
        (Some((id, _)), Some(own)) => own == id,
        (Some((_, by_name)), None) => !by_name || reason == "acceptance",
    }
}

/// It rests on a value: what was skipped or stayed closed was not measured.
fn measured(judged: &Judged) -> bool {
    judged.measurand.is_some() && !judged.from.is_empty()
}

/// The local day in the name of an inspection, `K3-20261124-0007`.
pub(crate) fn day_of(id: &str) -> Option<Day> {
    let date = id.split('-').rev().nth(1)?;
    let part = |from: usize, to: usize| date.get(from..to);
    Day::parse(&format!("{}-{}-{}", part(0, 4)?, part(4, 6)?, part(6, 8)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_of_an_inspection_holds_its_day() {
        assert_eq!(day_of("K3-20261124-0007").unwrap().text(), "2026-11-24");
        assert_eq!(day_of("K3-A-20261124-0007").unwrap().text(), "2026-11-24");
        assert_eq!(day_of("K3"), None);
        assert_eq!(day_of("K3-20261324-0007"), None);
    }
}

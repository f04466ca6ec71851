//! Which verdicts rest on something.

use std::collections::BTreeMap;

use tapline_protocols::doubt::trend::Like;
use tapline_protocols::fact::Judged;

use super::IndexFault;
use super::lists::{Once, bad_sheet, whole};
use super::press::Unpress;
use super::query::{LIST_MAX, moment};
use super::resting::Kept;
use super::sheet::{Begun, Entry, Sheet, limit_parts, moment_key, when_key};
use super::store::Index;
use super::work::{RESTS, VERDICTS, key};
use crate::books::line::{outline, time_text};
use crate::past::{Measured, day_of};
use crate::replay::{Basis, parts};

/// So many inspections of one page are opened that may have what is asked for, whether they do or
/// not.
const OPENED_MAX: usize = 500;

/// Signed inspections of an asset that are compared, the newest: so many and no more.
pub(crate) const MEASURED_MAX: usize = 1000;

/// What an asset measured.
#[derive(Debug, Default)]
pub(crate) struct Measurements {
    /// Its signed inspections in the order of their signatures.
    pub(crate) all: Vec<Measured>,
    /// Those whose book is damaged: they are left out.
    pub(crate) damaged: Vec<String>,
    /// Those to which something was added since, which may be of another asset now: their books
    /// tell.
    pub(crate) added_to: Vec<String>,
    /// Older ones than these are left out.
    pub(crate) older: bool,
}

/// Which verdicts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RestQuery {
    /// What they rest on.
    pub basis: Basis,
    /// In inspections of this asset.
    pub asset: Option<String>,
    /// Opened at or after, UTC (`2026-11-24` or longer).
    pub from: Option<String>,
    /// Opened before, UTC.
    pub to: Option<String>,
    /// In inspections after this one, in the order of their opening.
    pub after: Option<String>,
    /// At most so many inspections, never more than [`LIST_MAX`]; 0: as many as may be.
    pub limit: usize,
}

/// A part of the verdicts.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct RestPage {
    /// Inspections that have some, in the order of their opening.
    pub items: Vec<RestsIn>,
    /// Inspections that were passed over for this page, with and without.
    pub records: u64,
    /// Of them those whose book is damaged, and with the first page those that can't be read at
    /// all: nothing is said of them.
    pub damaged: Vec<String>,
    /// Ask for more after this inspection; `None`: that was all.
    pub next: Option<String>,
}

/// Verdicts of an inspection that rest on what is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RestsIn {
    /// Name of its book.
    pub id: String,
    /// Asset.
    pub asset: String,
    /// When it was opened, UTC.
    pub opened: String,
    /// Its book is sealed.
    pub sealed: bool,
    /// Line, step, and the verdict as it stands there.
    pub verdicts: Vec<(u64, String, Judged)>,
}

impl Index {
    /// Verdicts in force that rest on something, as the books have them.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn resting(&self, query: &RestQuery) -> Result<RestPage, IndexFault> {
        Index::guarded(|| {
            let after = match &query.after {
                None => Vec::new(),
                Some(id) => match self.place(id)? {
                    Some(key) => key,
                    None => return Ok(RestPage::default()),
                },
            };
            let mut walk = Walk::new(self, query, after)?;
            let mut rows = self.rows_on(&walk.from)?.peekable();
            while let Some(row) = rows.next() {
                let (key, value) = row?;
                let end = match rows.peek() {
                    Some(Ok((end, _))) => Some(end.to_vec()),
                    _ => None,
                };
                let plain = walk.unpress.plain(&key, &value).ok_or_else(bad_sheet)?;
                let begun = Begun::read(&plain).ok_or_else(bad_sheet)?;
                let beyond = walk.to.as_ref().is_some_and(|to| *key >= **to);
                if beyond || !walk.sheet(begun, (&key, end))? {
                    break;
                }
            }
            walk.end()
        })
    }

    /// What the newest signed inspections of an asset measured, [`MEASURED_MAX`] at most.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub(crate) fn measured(&self, asset: &str) -> Result<Measurements, IndexFault> {
        Index::guarded(|| {
            let mut unpress = Unpress::new()?;
            let mut found = Measurements::default();
            let unsealed = self.live().unsealed.clone();
            let sealed = |(_, id): &Once| !unsealed.contains(id);
            for (_, id) in self.history(asset)?.into_iter().rev().filter(sealed) {
                if found.all.len() + found.added_to.len() == MEASURED_MAX {
                    found.older = true;
                    break;
                }
                if self.ledger().later(&id).is_some() {
                    found.added_to.push(id);
                    continue;
                }
                let (kept, judged) = self.kept(&mut unpress, &id)?;
                match kept.damaged {
                    true => found.damaged.push(id),
                    false => found.all.extend(measured(id, kept, judged)),
                }
            }
            found.all.sort_by_key(|one| one.signed.0);
            Ok(found)
        })
    }

    /// What is kept of a closed inspection, and its stored verdicts by their numbers.
    pub(super) fn kept(
        &self,
        unpress: &mut Unpress,
        id: &str,
    ) -> Result<(Kept, BTreeMap<u64, Judged>), IndexFault> {
        let bad = || IndexFault::Doubt(format!("what the verdicts of {id} rest on can't be read"));
        let (mut kept, mut text) = (None, Vec::new());
        for row in self.record.range(key(id, VERDICTS)..=key(id, RESTS)) {
            let (key_of, value) = row?;
            let plain = unpress.plain(&key_of, &value).ok_or_else(bad)?;
            match *key_of == *key(id, RESTS) {
                true => kept = serde_json::from_slice::<Kept>(&plain).ok(),
                false => text.extend(plain),
            }
        }
        let kept = kept.ok_or_else(bad)?;
        let judged = judged(&kept, text.split(|byte| *byte == b'\n')).ok_or_else(bad)?;
        Ok((kept, judged))
    }
}

/// `None`: nobody signed it, or its book does not say of what.
fn measured(id: String, kept: Kept, mut judged: BTreeMap<u64, Judged>) -> Option<Measured> {
    let (signed, day) = (kept.signed.filter(|_| kept.given)?, day_of(&id)?);
    // In the order of the steps' names, as a book gives them.
    let mut verdicts: Vec<(String, Like, Judged)> = Vec::new();
    for one in kept.verdicts {
        let like = one.like.and_then(|like| kept.likes.get(like));
        if let (Some(like), Some(judged)) = (like, judged.remove(&one.seq)) {
            verdicts.push((one.step, like.clone(), judged));
        }
    }
    verdicts.sort_by(|one, other| one.0.cmp(&other.0));
    let verdicts = verdicts.into_iter().map(|(_, like, judged)| (like, judged)).collect();
    let (reason, retest_of) = (kept.reason, kept.retest_of);
    Some(Measured { id, day, reason, signed, retest_of, verdicts })
}

/// Verdicts in force by their numbers; `None` if a line is none.
fn judged<'a>(kept: &Kept, lines: impl Iterator<Item = &'a [u8]>) -> Option<BTreeMap<u64, Judged>> {
    let mut all = BTreeMap::new();
    for line in lines.filter(|line| !line.is_empty()) {
        let (seq, _) = outline(line)?;
        if kept.verdicts.iter().any(|one| one.seq == seq && one.rests) {
            // What stands around the judgement is passed over.
            all.insert(seq, serde_json::from_slice(line).ok()?);
        }
    }
    Some(all)
}

/// One page on its way.
struct Walk<'a> {
    index: &'a Index,
    query: &'a RestQuery,
    unpress: Unpress,
    /// Keys: after the first, up to before the second.
    after: Vec<u8>,
    from: Vec<u8>,
    to: Option<Vec<u8>>,
    /// Inspections in work that are wanted, by key.
    works: BTreeMap<Vec<u8>, (RestsIn, bool)>,
    page: RestPage,
    opened: usize,
    most: usize,
    /// The last one that was passed over.
    last: Option<String>,
    full: bool,
}

impl<'a> Walk<'a> {
    fn new(index: &'a Index, query: &'a RestQuery, after: Vec<u8>) -> Result<Self, IndexFault> {
        let key = |text: &String| moment(text).map(|us| moment_key(us).to_vec());
        let from = query.from.as_ref().and_then(key).unwrap_or_default();
        let mut walk = Walk {
            index,
            query,
            unpress: Unpress::new()?,
            from: from.max(after.clone()),
            after,
            to: query.to.as_ref().and_then(key),
            works: BTreeMap::new(),
            page: RestPage::default(),
            opened: 0,
            most: if query.limit == 0 { LIST_MAX } else { query.limit.min(LIST_MAX) },
            last: None,
            full: false,
        };
        walk.in_work()?;
        Ok(walk)
    }

    fn in_work(&mut self) -> Result<(), IndexFault> {
        let live = self.index.live();
        let works = live.works.iter().map(|(id, work)| {
            let kept = work.kept();
            (when_key(work.opened_us, id), kept, work.summary.clone())
        });
        let works: Vec<_> = works.collect();
        drop(live);
        for (key, kept, of) in works {
            if key <= self.after || !self.wants(&of.asset, &of.opened) {
                continue;
            }
            let lines = self.index.verdicts(&of.id)?.unwrap_or_default();
            let lines = lines.iter().map(String::as_bytes);
            let judged = judged(&kept, lines).ok_or_else(bad_sheet)?;
            let verdicts = self.verdicts(&kept, judged);
            let one =
                RestsIn { id: of.id, asset: of.asset, opened: of.opened, sealed: false, verdicts };
            self.works.insert(key, (one, of.damaged));
        }
        Ok(())
    }

    fn wants(&self, asset: &str, opened: &str) -> bool {
        let query = self.query;
        query.asset.as_ref().is_none_or(|wanted| wanted == asset)
            && query.from.as_ref().is_none_or(|from| from.as_str() <= opened)
            && query.to.as_ref().is_none_or(|to| opened < to.as_str())
    }

    /// `false`: the page is full.
    fn sheet(
        &mut self,
        begun: Begun<'_>,
        (key, end): (&[u8], Option<Vec<u8>>),
    ) -> Result<bool, IndexFault> {
        self.works_before(key);
        let names = begun.names.iter().enumerate();
        let wanted = |name: &str| {
            self.query.basis.is_named(name)
                || limit_parts(name).is_some_and(|limit| self.query.basis.is_limit(limit))
        };
        let wanted: Vec<usize> =
            names.filter(|(_, name)| wanted(name)).map(|(number, _)| number).collect();
        let before = |bound: &[u8]| end.as_ref().is_some_and(|end| **end <= *bound);
        let inside = key > self.from.as_slice()
            && self.to.as_ref().is_none_or(|to| before(to))
            && self.works.keys().next().is_none_or(|work| before(work));
        if wanted.is_empty() && inside && self.query.asset.is_none() && !self.full {
            self.page.records += begun.count as u64;
            return Ok(true);
        }
        let sheet = whole(begun, key)?;
        for entry in &sheet.entries {
            self.works_before(&sheet.key(entry));
            if self.full {
                break;
            }
            self.entry(&sheet, entry, &wanted)?;
        }
        Ok(!self.full)
    }

    fn entry(
        &mut self,
        sheet: &Sheet<'_>,
        entry: &Entry,
        wanted: &[usize],
    ) -> Result<(), IndexFault> {
        let (id, asset) = (sheet.names[entry.id], sheet.asset(entry));
        let opened = time_text(entry.opened_us).ok_or_else(bad_sheet)?;
        let key = sheet.key(entry);
        if key <= self.after || !self.wants(asset, &opened) {
            return Ok(());
        }
        // It may have closed since the works were looked at.
        self.works.remove(&key);
        self.page.records += 1;
        self.last = Some(id.to_owned());
        let may =
            [&entry.rests, &entry.limits].iter().any(|has| wanted.iter().any(|n| has.contains(n)));
        if entry.damaged {
            self.page.damaged.push(id.to_owned());
        } else if may {
            self.opened += 1;
            let (kept, judged) = self.index.kept(&mut self.unpress, id)?;
            let verdicts = self.verdicts(&kept, judged);
            let (id, asset, sealed) = (id.to_owned(), asset.to_owned(), entry.seal.is_some());
            self.add(RestsIn { id, asset, opened, sealed, verdicts });
        }
        Ok(())
    }

    /// Those in work that come before a key.
    fn works_before(&mut self, key: &[u8]) {
        while let Some((own, _)) = self.works.first_key_value()
            && own.as_slice() < key
            && !self.full
        {
            let Some((_, (one, damaged))) = self.works.pop_first() else { break };
            self.page.records += 1;
            self.last = Some(one.id.clone());
            match damaged {
                true => self.page.damaged.push(one.id),
                false => self.add(one),
            }
        }
    }

    fn add(&mut self, one: RestsIn) {
        if !one.verdicts.is_empty() {
            self.page.items.push(one);
        }
        self.full = self.page.items.len() == self.most || self.opened == OPENED_MAX;
    }

    fn verdicts(
        &self,
        kept: &Kept,
        mut judged: BTreeMap<u64, Judged>,
    ) -> Vec<(u64, String, Judged)> {
        let basis = &self.query.basis;
        let named: Vec<bool> = kept.names.iter().map(|name| basis.is_named(name)).collect();
        let wanted = kept.verdicts.iter().filter_map(|one| {
            let own = judged.remove(&one.seq)?;
            let by_limit = own.limit.as_ref().is_some_and(|limit| basis.is_limit(parts(limit)));
            let by_name = one.names.iter().any(|name| named.get(*name) == Some(&true));
            (by_limit || by_name).then(|| (one.seq, one.step.clone(), own))
        });
        wanted.collect()
    }

    fn end(mut self) -> Result<RestPage, IndexFault> {
        self.works_before(&[0xff; 9]);
        if self.full {
            self.page.next = self.last;
        }
        if self.query.after.is_none() {
            for id in self.index.ledger().damaged() {
                let listed = self.page.damaged.contains(&id);
                if !listed && self.index.find(&id)?.is_none() {
                    self.page.damaged.push(id);
                }
            }
        }
        Ok(self.page)
    }
}

#[cfg(test)]
mod tests;

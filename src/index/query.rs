//! Questions that the index answers.

use std::collections::BTreeMap;

use tapline_protocols::fact::{Later, Word};

use super::IndexFault;
use super::lists::{bad_sheet, whole};
use super::press::Unpress;
use super::sheet::{Begun, Entry, limit_parts, moment_key, number};
use super::store::Index;
use super::summary::Summary;
use crate::books::line::{outline, time_read};

/// A list is never longer.
pub const LIST_MAX: usize = 500;

/// Which inspections.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Query {
    /// Of this asset.
    pub asset: Option<String>,
    /// Opened at or after, UTC (`2026-11-24` or longer).
    pub from: Option<String>,
    /// Opened before, UTC.
    pub to: Option<String>,
    /// With this outcome, as it is now.
    pub verdict: Option<Word>,
    /// With bytes of this instrument.
    pub instrument: Option<String>,
    /// With bytes that this driver read: `val-unit-line`, or one version of it `val-unit-line/1`.
    pub driver: Option<String>,
    /// With a verdict by this limit table: its SHA-256, hex, or the begin of it.
    pub limit_table: Option<String>,
    /// With a verdict by this row.
    pub limit_row: Option<String>,
    /// With a verdict by a limit of this standard.
    pub standard: Option<String>,
    /// With a verdict by a limit of this edition (of the standard, if one is named).
    pub edition: Option<String>,
    /// The newest first.
    pub newest: bool,
    /// After this one, in the order of the list.
    pub after: Option<String>,
    /// At most so many, never more than [`LIST_MAX`]; 0: as many as may be.
    pub limit: usize,
}

impl Index {
    /// Inspections in the order of their opening, or from the newest back.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn inspections(&self, query: &Query) -> Result<Vec<Summary>, IndexFault> {
        Index::guarded(|| {
            let most = if query.limit == 0 { LIST_MAX } else { query.limit.min(LIST_MAX) };
            let after = match &query.after {
                None => None,
                Some(id) => match self.place(id)? {
                    Some(key) => Some(key),
                    None => return Ok(Vec::new()),
                },
            };
            let part = Part { query, after, most };
            let mut found = self.in_work(&part);
            let listed = match &query.asset {
                Some(asset) => self.of_asset(asset, &part)?,
                None => self.of_all(&part)?,
            };
            // One that closed between the two looks is in both.
            found.extend(listed);
            let mut found: Vec<Summary> = match query.newest {
                true => found.into_values().rev().take(most).collect(),
                false => found.into_values().take(most).collect(),
            };
            let ledger = self.ledger();
            found.iter_mut().for_each(|one| one.later = ledger.later(&one.id).cloned());
            Ok(found)
        })
    }

    /// Names of all closed inspections of an asset, in the order of their opening.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn closed_of(&self, asset: &str) -> Result<Vec<String>, IndexFault> {
        Index::guarded(|| Ok(self.history(asset)?.into_iter().map(|(_, id)| id).collect()))
    }

    /// One inspection, in work or closed; `None` if the index never saw it.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn inspection(&self, id: &str) -> Result<Option<Summary>, IndexFault> {
        Index::guarded(|| {
            if let Some(work) = self.live().works.get(id) {
                return Ok(Some(work.summary.clone()));
            }
            let found = self.find(id)?.map(|listed| listed.summary);
            let later = self.ledger().later(id).cloned();
            Ok(found.map(|summary| Summary { later, ..summary }))
        })
    }

    /// The newest line of a thing in the register (`asset instrument setup fixture lead
    /// operator`), as stored.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn registered(&self, kind: &str, id: &str) -> Result<Option<String>, IndexFault> {
        Index::guarded(|| self.newest_line(&mut Unpress::new()?, kind, id))
    }

    pub(super) fn newest_line(
        &self,
        unpress: &mut Unpress,
        kind: &str,
        id: &str,
    ) -> Result<Option<String>, IndexFault> {
        let key = register_key(kind, id);
        let Some(value) = self.register.get(&key)? else { return Ok(None) };
        thing(unpress, &key, &value).map(Some)
    }

    /// The newest lines of all things of a kind, sorted by name, after one of them.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn register(
        &self,
        kind: &str,
        after: Option<&str>,
        most: usize,
    ) -> Result<Vec<String>, IndexFault> {
        Index::guarded(|| {
            let mut unpress = Unpress::new()?;
            let prefix = register_key(kind, "");
            let from =
                after.map_or_else(|| prefix.clone(), |id| register_key(kind, &format!("{id}\0")));
            let rows = self.register.range(from..).take(most.min(LIST_MAX));
            let mut lines = Vec::new();
            for row in rows {
                let (key, value) = row?;
                if !key.starts_with(&prefix) {
                    break;
                }
                lines.push(thing(&mut unpress, &key, &value)?);
            }
            Ok(lines)
        })
    }

    /// Where an inspection stands in the order of opening.
    pub(super) fn place(&self, id: &str) -> Result<Option<Vec<u8>>, IndexFault> {
        if let Some(work) = self.live().works.get(id) {
            return Ok(Some(super::sheet::when_key(work.opened_us, id)));
        }
        Ok(self.find(id)?.map(|listed| listed.key()))
    }

    fn in_work(&self, part: &Part<'_>) -> BTreeMap<Vec<u8>, Summary> {
        let live = self.live();
        let works = live.works.iter();
        let keyed = works.map(|(id, work)| (super::sheet::when_key(work.opened_us, id), work));
        let wanted =
            keyed.filter(|(key, work)| part.goes_on(key) && part.query.wants(&work.summary));
        wanted.map(|(key, work)| (key, work.summary.clone())).collect()
    }

    fn of_all(&self, part: &Part<'_>) -> Result<BTreeMap<Vec<u8>, Summary>, IndexFault> {
        let mut found = BTreeMap::new();
        let mut look = |begun: Begun<'_>, key: &[u8]| {
            let Some(terms) = Terms::of(part.query, &begun.names) else { return Ok(true) };
            let sheet = whole(begun, key)?;
            let ledger = self.ledger();
            let forth: &mut dyn Iterator<Item = &Entry> = match part.query.newest {
                true => &mut sheet.entries.iter().rev(),
                false => &mut sheet.entries.iter(),
            };
            for entry in forth {
                let later = ledger.later(sheet.names[entry.id]);
                if found.len() < part.most && terms.may_want(entry, later) {
                    let key = sheet.key(entry);
                    let mut summary = sheet.listed(entry).ok_or_else(bad_sheet)?.summary;
                    summary.later = later.cloned();
                    if part.goes_on(&key) && part.query.wants(&summary) {
                        found.insert(key, summary);
                    }
                }
            }
            Ok(found.len() < part.most)
        };
        let (from, to) = part.range();
        match part.query.newest {
            true => self.sheets_back(&from, to.as_deref(), &mut look)?,
            false => self.sheets_on(&from, &mut |begun, key| {
                Ok(to.as_deref().is_none_or(|to| key < to) && look(begun, key)?)
            })?,
        }
        Ok(found)
    }

    fn of_asset(
        &self,
        asset: &str,
        part: &Part<'_>,
    ) -> Result<BTreeMap<Vec<u8>, Summary>, IndexFault> {
        let mut unpress = Unpress::new()?;
        let mut found = BTreeMap::new();
        let mut history = self.history(asset)?;
        if part.query.newest {
            history.reverse();
        }
        for once in history {
            let key = super::sheet::when_key(once.0, &once.1);
            if found.len() == part.most || !part.goes_on(&key) {
                continue;
            }
            let mut listed = self.find_at(&mut unpress, &once)?;
            listed.summary.later = self.ledger().later(&once.1).cloned();
            if part.query.wants(&listed.summary) {
                found.insert(key, listed.summary);
            }
        }
        Ok(found)
    }
}

/// What is asked for, and where in its order.
struct Part<'a> {
    query: &'a Query,
    /// Key of the last one that was given.
    after: Option<Vec<u8>>,
    most: usize,
}

impl Part<'_> {
    fn goes_on(&self, key: &[u8]) -> bool {
        let newest = self.query.newest;
        self.after.as_deref().is_none_or(|after| if newest { key < after } else { key > after })
    }

    /// Keys between which the list is looked through.
    fn range(&self) -> (Vec<u8>, Option<Vec<u8>>) {
        let (from, to) = self.query.range();
        let after = self.after.clone();
        match (self.query.newest, after) {
            (_, None) => (from, to),
            (false, Some(after)) => (from.max(after), to),
            (true, Some(after)) => (from, Some(to.map_or(after.clone(), |to| to.min(after)))),
        }
    }
}

/// What a question asks for, as numbers of one sheet.
struct Terms {
    verdict: Option<Word>,
    instrument: Option<usize>,
    drivers: Option<Vec<usize>>,
    limits: Option<Vec<usize>>,
}

impl Terms {
    /// `None`: nothing in the sheet can be wanted.
    fn of(query: &Query, all: &[&str]) -> Option<Terms> {
        let numbers = |wants: &dyn Fn(&str) -> bool| {
            let names = all.iter().enumerate();
            let numbers: Vec<usize> = names.filter(|(_, n)| wants(n)).map(|(n, _)| n).collect();
            (!numbers.is_empty()).then_some(numbers)
        };
        let instrument = match &query.instrument {
            Some(name) => Some(number(all, name)?),
            None => None,
        };
        let drivers = match &query.driver {
            Some(wanted) => Some(numbers(&|name| is_driver(name, wanted))?),
            None => None,
        };
        let limits = match query.asks_for_limits() {
            true => {
                Some(numbers(&|name| limit_parts(name).is_some_and(|row| query.wants_limit(row)))?)
            }
            false => None,
        };
        Some(Terms { verdict: query.verdict, instrument, drivers, limits })
    }

    /// `later`: what an addendum made of it.
    fn may_want(&self, entry: &Entry, later: Option<&Later>) -> bool {
        let any = |wanted: &Option<Vec<usize>>, has: &[usize]| {
            wanted.as_ref().is_none_or(|wanted| has.iter().any(|n| wanted.contains(n)))
        };
        let now = later.map(|later| later.outcome).or(entry.verdict);
        self.verdict.is_none_or(|verdict| now == Some(verdict))
            && self.instrument.is_none_or(|name| entry.instruments.contains(&name))
            && any(&self.drivers, &entry.drivers)
            && any(&self.limits, &entry.limits)
    }
}

impl Query {
    fn wants(&self, found: &Summary) -> bool {
        let now = found.later.as_ref().map(|later| &later.asset);
        self.asset.as_ref().is_none_or(|asset| *asset == found.asset || Some(asset) == now)
            && self.from.as_ref().is_none_or(|from| *from <= found.opened)
            && self.to.as_ref().is_none_or(|to| found.opened < *to)
            && self.verdict.is_none_or(|verdict| found.outcome() == Some(verdict))
            && self.instrument.as_ref().is_none_or(|i| found.instruments.contains(i))
            && self.driver.as_ref().is_none_or(|d| found.drivers.iter().any(|n| is_driver(n, d)))
            && (!self.asks_for_limits()
                || found.limits.iter().any(|row| self.wants_limit(row.parts())))
    }

    fn asks_for_limits(&self) -> bool {
        let asked = [&self.limit_table, &self.limit_row, &self.standard, &self.edition];
        asked.iter().any(|asked| asked.is_some())
    }

    /// All that is asked of limits is asked of one and the same.
    fn wants_limit(&self, [id, standard, edition, table]: [&str; 4]) -> bool {
        self.limit_table.as_ref().is_none_or(|wanted| table.starts_with(wanted.as_str()))
            && self.limit_row.as_ref().is_none_or(|wanted| id == wanted)
            && self.standard.as_ref().is_none_or(|wanted| standard == wanted)
            && self.edition.as_ref().is_none_or(|wanted| edition == wanted)
    }

    /// Keys between which the list is looked through; a moment that is none bounds nothing, as
    /// each inspection is asked once more by its text.
    fn range(&self) -> (Vec<u8>, Option<Vec<u8>>) {
        let key = |text: &String| moment(text).map(|us| moment_key(us).to_vec());
        let from = self.from.as_ref().and_then(key).unwrap_or_default();
        (from, self.to.as_ref().and_then(key))
    }
}

/// Whether a text is a moment to ask by: `2026-11-24`, or the beginning of a stamp, UTC.
#[must_use]
pub fn is_moment(text: &str) -> bool {
    moment(text).is_some()
}

fn is_driver(name: &str, wanted: &str) -> bool {
    name == wanted || name.split_once('/').is_some_and(|(driver, _)| driver == wanted)
}

/// The first moment of `2026-11-24`, `2026-11-24T08`, and so on.
pub(super) fn moment(text: &str) -> Option<i64> {
    let rest = "0000-01-01T00:00:00.000000Z".get(text.len()..)?;
    time_read(&format!("{text}{rest}"))
}

fn register_key(kind: &str, id: &str) -> Vec<u8> {
    [kind.as_bytes(), &[0], id.as_bytes()].concat()
}

fn thing(unpress: &mut Unpress, key: &[u8], value: &[u8]) -> Result<String, IndexFault> {
    let plain = unpress.plain(key, value).filter(|plain| outline(plain).is_some());
    let text = plain.and_then(|plain| String::from_utf8(plain).ok());
    text.ok_or_else(|| IndexFault::Doubt("a line of the register can't be read".into()))
}

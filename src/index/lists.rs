//! The trees `when` (sheets) and `asset` (histories): written in runs, found by name.

use std::collections::BTreeMap;

use sled::{Batch, IVec};

use super::IndexFault;
use super::bytes::{put_bytes, put_signed, take_bytes, take_signed};
use super::press::{Press, Unpress};
use super::sheet::{Begun, Listed, SHEET_MAX, Sheet, moment_key, number, when_key, write};
use super::store::Index;
use crate::books::line::time_read;
use crate::books::place::InspectionName;

/// At most so many inspections in a part of a history.
const PART_MAX: usize = 200;
const DAY_US: i64 = 86_400_000_000;

/// An inspection of an asset: when it was opened, and its name.
pub(super) type Once = (i64, String);

impl Index {
    /// Puts inspections into the list; one that is in it already is replaced.
    pub(super) fn list(&self, new: Vec<Listed>, press: &mut Press) -> Result<(), IndexFault> {
        let mut unpress = Unpress::new()?;
        let new: BTreeMap<Vec<u8>, Listed> = new.into_iter().map(|l| (l.key(), l)).collect();
        let mut new = new.into_iter().peekable();
        let mut batch = Batch::default();
        while let Some((key, first)) = new.next() {
            let below = self.when.range(..=key.clone()).next_back().transpose()?;
            // What comes before the first sheet begins it.
            let sheet = match below {
                Some(sheet) => Some(sheet),
                None => self.when.iter().next().transpose()?,
            };
            let mut all = BTreeMap::from([(key.clone(), first)]);
            let mut end = None;
            if let Some((from, value)) = sheet {
                let above = self.when.range(from.to_vec()..).nth(1).transpose()?;
                end = above.map(|(key, _)| key);
                batch.remove(&from);
                for old in self.sheet(&mut unpress, &from, &value)? {
                    all.entry(old.key()).or_insert(old);
                }
            }
            let inside = |key: &Vec<u8>| end.as_ref().is_none_or(|end| *key.as_slice() < **end);
            while let Some((key, listed)) = new.next_if(|(key, _)| inside(key)) {
                all.insert(key, listed);
            }
            let all: Vec<Listed> = all.into_values().collect();
            for run in all.chunks(SHEET_MAX) {
                let key = run[0].key();
                let plain = write(run).ok_or_else(|| doubt("a moment can't be written"))?;
                batch.insert(key.as_slice(), press.value(&key, &plain)?);
            }
        }
        Ok(self.when.apply_batch(batch)?)
    }

    /// Takes one out of the list and of its asset's history.
    pub(super) fn unlist(&self, id: &str, press: &mut Press) -> Result<(), IndexFault> {
        let Some(listed) = self.find(id)? else { return Ok(()) };
        let key = listed.key();
        let mut unpress = Unpress::new()?;
        if let Some((from, value)) = self.when.range(..=key.clone()).next_back().transpose()? {
            let mut all = self.sheet(&mut unpress, &from, &value)?;
            all.retain(|other| other.summary.id != id);
            let mut batch = Batch::default();
            batch.remove(&from);
            if let Some(first) = all.first() {
                let key = first.key();
                let plain = write(&all).ok_or_else(|| doubt("a moment can't be written"))?;
                batch.insert(key.as_slice(), press.value(&key, &plain)?);
            }
            self.when.apply_batch(batch)?;
        }
        let asset = &listed.summary.asset;
        for (key, mut part) in self.parts(&mut unpress, asset)? {
            let before = part.len();
            part.retain(|(_, other)| other != id);
            if part.len() < before {
                self.asset.insert(&key, press.value(&key, &write_part(&part))?)?;
            }
        }
        Ok(())
    }

    /// Puts inspections into the histories of their assets; each must be new.
    pub(super) fn remember(
        &self,
        new: BTreeMap<String, Vec<Once>>,
        press: &mut Press,
    ) -> Result<(), IndexFault> {
        let mut unpress = Unpress::new()?;
        let mut batch = Batch::default();
        for (asset, new) in new {
            let prefix = [asset.as_bytes(), &[0]].concat();
            let last = self.asset.scan_prefix(&prefix).next_back().transpose()?;
            let (mut number, mut all) = (0u32, Vec::new());
            if let Some((key, value)) = last {
                let digits = key.get(prefix.len()..).and_then(|n| n.try_into().ok());
                number = u32::from_be_bytes(digits.ok_or_else(|| doubt("a history's key"))?);
                all = self.part(&mut unpress, &key, &value)?;
            }
            all.extend(new);
            for part in all.chunks(PART_MAX) {
                let key = [&prefix[..], &number.to_be_bytes()].concat();
                batch.insert(key.as_slice(), press.value(&key, &write_part(part))?);
                number += 1;
            }
        }
        Ok(self.asset.apply_batch(batch)?)
    }

    /// All inspections of an asset, in the order of their opening.
    pub(super) fn history(&self, asset: &str) -> Result<Vec<Once>, IndexFault> {
        let parts = self.parts(&mut Unpress::new()?, asset)?;
        let mut all: Vec<Once> = parts.into_iter().flat_map(|(_, part)| part).collect();
        let mut moved = self.ledger().moved_to(asset);
        moved.retain(|id| all.iter().all(|(_, known)| known != id));
        for id in &moved {
            let listed = self.find(id)?;
            all.extend(listed.map(|listed| (listed.opened_us, id.clone())));
        }
        all.sort();
        Ok(all)
    }

    /// One inspection of the list. Its name has the day of its opening, in some zone; elsewhere
    /// is looked only if it is not there.
    pub(super) fn find(&self, id: &str) -> Result<Option<Listed>, IndexFault> {
        if let Some(day) = day_of(id) {
            let (from, to) = (day - DAY_US, day + 2 * DAY_US);
            if let Some(found) = self.find_within(id, &moment_key(from), &moment_key(to))? {
                return Ok(Some(found));
            }
        }
        self.find_within(id, &[], &[0xff; 9])
    }

    fn find_within(&self, id: &str, from: &[u8], to: &[u8]) -> Result<Option<Listed>, IndexFault> {
        let mut found = None;
        self.sheets_on(from, &mut |begun, key| {
            if let Some(number) = number(&begun.names, id) {
                let sheet = whole(begun, key)?;
                let entry = sheet.entries.iter().find(|entry| entry.id == number);
                found = entry.and_then(|entry| sheet.listed(entry));
            }
            Ok(found.is_none() && key < to)
        })?;
        Ok(found)
    }

    /// One inspection of the list, by its place in it.
    pub(super) fn find_at(
        &self,
        unpress: &mut Unpress,
        (opened_us, id): &Once,
    ) -> Result<Listed, IndexFault> {
        let key = when_key(*opened_us, id);
        let missing = || doubt(&format!("{id} is missing in the list"));
        let row = self.when.range(..=key).next_back().transpose()?.ok_or_else(missing)?;
        let plain = unpress.plain(&row.0, &row.1).ok_or_else(bad_sheet)?;
        let sheet = Sheet::read(&plain).ok_or_else(bad_sheet)?;
        let number = sheet.number(id).ok_or_else(missing)?;
        let entry = sheet.entries.iter().find(|entry| entry.id == number).ok_or_else(missing)?;
        sheet.listed(entry).ok_or_else(bad_sheet)
    }

    /// Shows the sheets from the one that may hold a key on, each with its key, while it is told
    /// to go on.
    pub(super) fn sheets(
        &self,
        from: &[u8],
        show: &mut dyn FnMut(&Sheet<'_>, &[u8]) -> bool,
    ) -> Result<(), IndexFault> {
        self.sheets_on(from, &mut |begun, key| Ok(show(&whole(begun, key)?, key)))
    }

    /// As [`Index::sheets`], with no more read of each than its names.
    pub(super) fn sheets_on(&self, from: &[u8], show: Show<'_>) -> Result<(), IndexFault> {
        show_all(self.rows_on(from)?, show)
    }

    /// The rows of sheets from the one that may hold a key on.
    pub(super) fn rows_on(&self, from: &[u8]) -> Result<sled::Iter, IndexFault> {
        let begin = self.when.range(..=from.to_vec()).next_back().transpose()?;
        let begin = begin.map_or_else(|| IVec::from(from), |(key, _)| key);
        Ok(self.when.range(begin..))
    }

    /// As [`Index::sheets_on`], from the one that begins last below `to` back to the one that may
    /// hold `from`.
    pub(super) fn sheets_back(
        &self,
        from: &[u8],
        to: Option<&[u8]>,
        show: Show<'_>,
    ) -> Result<(), IndexFault> {
        let rows = match to {
            Some(to) => self.when.range(..to.to_vec()).rev(),
            None => self.when.iter().rev(),
        };
        show_all(rows, &mut |begun, key| Ok(show(begun, key)? && key > from))
    }

    /// How many inspections all histories have.
    pub(super) fn remembered(&self) -> Result<usize, IndexFault> {
        let mut unpress = Unpress::new()?;
        let mut count = 0;
        for row in self.asset.iter() {
            let (key, value) = row?;
            count += self.part(&mut unpress, &key, &value)?.len();
        }
        Ok(count)
    }

    fn sheet(
        &self,
        unpress: &mut Unpress,
        key: &[u8],
        value: &[u8],
    ) -> Result<Vec<Listed>, IndexFault> {
        let plain = unpress.plain(key, value).ok_or_else(bad_sheet)?;
        Sheet::read(&plain).and_then(|sheet| sheet.all()).ok_or_else(bad_sheet)
    }

    fn parts(
        &self,
        unpress: &mut Unpress,
        asset: &str,
    ) -> Result<Vec<(IVec, Vec<Once>)>, IndexFault> {
        let prefix = [asset.as_bytes(), &[0]].concat();
        let mut parts = Vec::new();
        for row in self.asset.scan_prefix(&prefix) {
            let (key, value) = row?;
            let part = self.part(unpress, &key, &value)?;
            parts.push((key, part));
        }
        Ok(parts)
    }

    fn part(
        &self,
        unpress: &mut Unpress,
        key: &[u8],
        value: &[u8],
    ) -> Result<Vec<Once>, IndexFault> {
        let plain = unpress.plain(key, value);
        plain.and_then(|plain| read_part(&plain)).ok_or_else(|| doubt("a history can't be read"))
    }
}

/// Is shown a sheet with its key, and says whether to go on.
pub(super) type Show<'a> = &'a mut dyn FnMut(Begun<'_>, &[u8]) -> Result<bool, IndexFault>;

fn show_all(
    rows: impl Iterator<Item = sled::Result<(IVec, IVec)>>,
    show: Show<'_>,
) -> Result<(), IndexFault> {
    let mut unpress = Unpress::new()?;
    for row in rows {
        let (key, value) = row?;
        let plain = unpress.plain(&key, &value).ok_or_else(bad_sheet)?;
        if !show(Begun::read(&plain).ok_or_else(bad_sheet)?, &key)? {
            break;
        }
    }
    Ok(())
}

/// The sheet that lies under a key.
pub(super) fn whole<'a>(begun: Begun<'a>, key: &[u8]) -> Result<Sheet<'a>, IndexFault> {
    let sheet = begun.sheet().ok_or_else(bad_sheet)?;
    match sheet.entries.first().is_some_and(|first| *sheet.key(first) == *key) {
        true => Ok(sheet),
        false => Err(bad_sheet()),
    }
}

fn write_part(part: &[Once]) -> Vec<u8> {
    let mut out = Vec::new();
    let mut last = 0;
    for (us, id) in part {
        put_signed(&mut out, us.wrapping_sub(last));
        put_bytes(&mut out, id.as_bytes());
        last = *us;
    }
    out
}

fn read_part(plain: &[u8]) -> Option<Vec<Once>> {
    let (mut from, mut last) = (plain, 0i64);
    let mut part = Vec::new();
    while !from.is_empty() {
        last = last.wrapping_add(take_signed(&mut from)?);
        part.push((last, std::str::from_utf8(take_bytes(&mut from)?).ok()?.to_owned()));
    }
    Some(part)
}

/// Midnight, UTC, of the day in a name.
fn day_of(id: &str) -> Option<i64> {
    let day = InspectionName::read(id)?.day;
    time_read(&format!("{}-{}-{}T00:00:00.000000Z", &day[..4], &day[4..6], &day[6..]))
}

fn doubt(why: &str) -> IndexFault {
    IndexFault::Doubt(why.to_owned())
}

pub(super) fn bad_sheet() -> IndexFault {
    doubt("a part of the list can't be read")
}

//! Removes records that lie in an archive, and nothing else, when the site says how long is long
//! enough.
//!
//! Only records of assets that are retired go: no date, no trend and no reference of an asset in
//! use rests on them. First it is noted in the station book what goes and by which receipt, then
//! the files are removed; what was cut off there is found and ended by the next call.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use tapline_protocols::Fact;
use tapline_protocols::due::{Day, Every};
use tapline_protocols::fact::PrunedFact;

use super::Fault;
use super::copy::sum_if;
use super::receipt::{Covering, covering};
use crate::books::place;
use crate::books::{Disk, Folder, OnShelf, Shelf};
use crate::past;
use crate::station::event::BookId;

/// Records that one line of the station book names: it stays far below the longest line.
const LINE_MAX: usize = 200;

/// What may go.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Going {
    /// Records, addenda among them, oldest name first.
    pub records: Vec<String>,
    /// Bytes of their files.
    pub bytes: u64,
    /// Records that are old enough and stay, and why.
    pub stays: Vec<(String, Stays)>,
}

/// Why a record stays that is old enough.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stays {
    /// No signed receipt names all of its files with their sums.
    NoReceipt,
    /// The archive that is at hand does not hold the same bytes.
    NotInArchive,
}

/// What was removed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Pruned {
    /// Records, addenda among them.
    pub records: usize,
    /// Bytes of their files.
    pub bytes: u64,
}

/// What may go from a data folder on a day, by an archive that is at hand: its files are read once
/// more.
///
/// # Errors
/// The station's books or the archive can't be read.
pub fn going(
    data: &Folder,
    archive: &Folder,
    (keep, today): (Every, Day),
) -> Result<(Going, Vec<PrunedFact>), Fault> {
    let shelf = Shelf::new(Arc::new(data.clone()));
    let mut retired = retired(&shelf)?;
    let receipts = covering(data)?;
    let (mut going, mut facts) = (Going::default(), BTreeMap::<String, PrunedFact>::new());
    for (base, records) in families(shelf.books()?) {
        // Of one that was reattached, every asset that it was ever about must be retired.
        let mut about = retired.1.remove(&base).unwrap_or_default();
        about.extend(asset_of(&shelf, &base)?);
        let days: Option<Vec<Day>> = about.iter().map(|id| retired.0.get(id).copied()).collect();
        let Some(gone) = days.and_then(|days| days.into_iter().max()) else { continue };
        let last = past::day_of(&base).map_or(gone, |day| day.max(gone));
        if keep.after(last).is_none_or(|until| today < until) {
            continue;
        }
        match covered(data, archive, &receipts, &records)? {
            Ok((receipt, sums, bytes)) => {
                going.bytes += bytes;
                let fact = facts.entry(receipt.sha256.clone()).or_insert_with(|| PrunedFact {
                    records: Vec::new(),
                    receipt: receipt.sha256.clone(),
                    folder: receipt.receipt.folder.clone(),
                });
                fact.records.extend(records.iter().cloned().zip(sums));
                going.records.extend(records);
            }
            Err(why) => going.stays.push((base, why)),
        }
    }
    let chunks = facts.into_values().flat_map(|fact| {
        let PrunedFact { records, receipt, folder } = fact;
        let pieces: Vec<_> = records.chunks(LINE_MAX).map(<[_]>::to_vec).collect();
        pieces.into_iter().map(move |records| PrunedFact {
            records,
            receipt: receipt.clone(),
            folder: folder.clone(),
        })
    });
    Ok((going, chunks.collect()))
}

/// Removes the files of records that the station book says go. May be repeated.
///
/// # Errors
/// A file can't be removed.
pub fn prune(data: &dyn Disk, records: &[String]) -> Result<Pruned, Fault> {
    let mut pruned = Pruned::default();
    for id in records {
        let Some(path) = place::sealed_path(id) else { continue };
        for end in [".sig", ".head", ".jsonl"] {
            let path = path.replace(".jsonl", end);
            let length = data.length(&path).map_err(Fault::of(&path))?;
            pruned.records += usize::from(length.is_some() && end == ".jsonl");
            pruned.bytes += length.unwrap_or(0);
            data.remove(&path).map_err(Fault::of(&path))?;
        }
        let folder = crate::books::disk::folder_of(&path);
        data.sync_dir(folder).map_err(Fault::of(folder))?;
    }
    Ok(pruned)
}

/// Records that the station book says went, and of which something is here still.
///
/// # Errors
/// The station's books or a folder can't be read.
pub fn unfinished(data: &Folder) -> Result<Vec<String>, Fault> {
    let shelf = Shelf::new(Arc::new(data.clone()));
    let mut left = Vec::new();
    for line in shelf.lines(&BookId::Station)? {
        let Fact::Pruned(fact) = line?.fact else { continue };
        for (id, _) in fact.records {
            let Some(path) = place::sealed_path(&id) else { continue };
            let there = |end: &str| {
                let path = path.replace(".jsonl", end);
                data.length(&path).map(|length| length.is_some()).map_err(Fault::of(&path))
            };
            // One that is whole came back from an archive.
            let all = [there(".jsonl")?, there(".head")?, there(".sig")?];
            if all.contains(&true) && all.contains(&false) {
                left.push(id);
            }
        }
    }
    Ok(left)
}

/// Day from which each retired asset is out of use, and the assets that inspections were
/// reattached to.
type Retired = (BTreeMap<String, Day>, BTreeMap<String, BTreeSet<String>>);

fn retired(shelf: &Shelf) -> Result<Retired, Fault> {
    let (mut days, mut about) = Retired::default();
    for line in shelf.lines(&BookId::Station)? {
        match line?.fact {
            Fact::Asset(asset) => match asset.retired.as_deref().and_then(Day::parse) {
                Some(day) => drop(days.insert(asset.id.clone(), day)),
                None => drop(days.remove(&asset.id)),
            },
            Fact::Sealed(sealed) => {
                if let Some(later) = sealed.later {
                    let base = place::inspection_of(&sealed.id).to_owned();
                    about.entry(base).or_default().insert(later.asset);
                }
            }
            _ => {}
        }
    }
    Ok((days, about))
}

/// Sealed inspections, each with its addenda.
fn families(all: Vec<OnShelf>) -> BTreeMap<String, Vec<String>> {
    let mut families = BTreeMap::<String, Vec<String>>::new();
    for one in all.into_iter().filter(|one| one.sealed) {
        let (base, _) = place::split(&one.id);
        families.entry(base.to_owned()).or_default().push(one.id);
    }
    families
}

/// The asset that the first line of an inspection names.
fn asset_of(shelf: &Shelf, id: &str) -> Result<Option<String>, Fault> {
    let mut lines = shelf.lines(&BookId::Inspection(id.to_owned()))?;
    let first = lines.next().transpose()?;
    Ok(first.and_then(|line| match line.fact {
        Fact::Open(open) => open.inspection.map(|one| one.asset),
        _ => None,
    }))
}

type Covered<'a> = Result<(&'a Covering, Vec<String>, u64), Stays>;

/// The newest receipt that names all files of these records as they are, here and in the archive.
fn covered<'a>(
    data: &Folder,
    archive: &Folder,
    receipts: &'a [Covering],
    records: &[String],
) -> Result<Covered<'a>, Fault> {
    let (mut files, mut heads, mut bytes) = (Vec::new(), Vec::new(), 0);
    for id in records {
        let path = place::sealed_path(id).expect("its name was read when it was listed");
        for end in [".jsonl", ".head", ".sig"] {
            let path = path.replace(".jsonl", end);
            let Some(sum) = sum_if(data, &path)? else { return Ok(Err(Stays::NoReceipt)) };
            bytes += sum.bytes;
            if end == ".jsonl" {
                heads.push(sum.sha256.clone());
            }
            files.push((path, sum.sha256));
        }
    }
    let names = |one: &&Covering| files.iter().all(|(path, sum)| one.sums.0.get(path) == Some(sum));
    let Some(receipt) = receipts.iter().rev().find(names) else {
        return Ok(Err(Stays::NoReceipt));
    };
    for (path, sum) in &files {
        if sum_if(archive, path)?.is_none_or(|there| there.sha256 != *sum) {
            return Ok(Err(Stays::NotInArchive));
        }
    }
    Ok(Ok((receipt, heads, bytes)))
}

//! Compares the index with the books, and brings it level with them.
//!
//! At a start no sealed book is opened: 100 000 of them take 10 s with a cold cache. The station
//! book says what each was sealed as, and the list says the same or the index is in doubt.

use std::collections::{BTreeMap, BTreeSet};

use super::IndexFault;
use super::lists::Once;
use super::load::{Load, load};
use super::sheet::Seal;
use super::store::Index;
use crate::books::Shelf;
use crate::books::place::InspectionName;

/// Is told how far the index is with the books that it has to read.
pub type Told<'a> = &'a dyn Fn(Progress);

/// How far the index is with the books that it has to read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Progress {
    /// Books read.
    pub done: u64,
    /// Books to read.
    pub of: u64,
}

/// What the station book says of sealed books, and what lies on the shelf.
struct Books {
    /// By name: the line of the station book, and what it says.
    sealed: BTreeMap<String, (u64, Seal)>,
    /// By name: it lies among the sealed ones.
    on_shelf: BTreeMap<String, bool>,
}

/// Brings the index level with the books. Returns how many books it had to read.
pub(super) fn level(index: &Index, shelf: &Shelf, told: Told<'_>) -> Result<u64, IndexFault> {
    let mut head = index.head();
    let station = index.station(shelf)?;
    let books = Books::new(shelf, station.sealed)?;
    let listed = compare(index, &books)?;
    let wanted = books.wanted(&listed);
    let lost = |load: &&Load| load.sealed && books.said_by(&load.id).is_some_and(|n| n <= head.seq);
    if let Some(lost) = wanted.iter().find(lost).filter(|_| head.complete) {
        return Err(IndexFault::Doubt(format!("it has lost {}", lost.id)));
    }
    for load in wanted.iter().filter(|load| !load.sealed) {
        index.forget(&load.id)?;
    }
    let unread = load(index, shelf, &wanted, told)?;
    head.station = station.fingerprint;
    head.seq = station.seq;
    head.complete = unread == 0 && books.all_there(&listed);
    index.set_head(head)?;
    Ok(wanted.len() as u64 + u64::from(station.read))
}

impl Books {
    fn new(shelf: &Shelf, mut sealed: BTreeMap<String, (u64, Seal)>) -> Result<Books, IndexFault> {
        // Addenda are found through the inspection that they follow.
        let first = |id: &str| InspectionName::read(id).is_some_and(|name| name.addendum == 0);
        sealed.retain(|id, _| first(id));
        let on_shelf = shelf.inspections()?.into_iter().filter(|book| first(&book.id));
        let on_shelf = on_shelf.map(|book| (book.id, book.sealed)).collect();
        Ok(Books { sealed, on_shelf })
    }

    /// What has to be read: what is not in the list, and what is in work.
    fn wanted(&self, listed: &BTreeSet<String>) -> Vec<Load> {
        let wanted = self.on_shelf.iter().filter(|(id, sealed)| !**sealed || !listed.contains(*id));
        let load = |(id, is_sealed): (&String, &bool)| {
            let seal = self.sealed.get(id).map(|(_, seal)| *seal);
            Load { id: id.clone(), sealed: *is_sealed, seal }
        };
        wanted.map(load).collect()
    }

    fn said_by(&self, id: &str) -> Option<u64> {
        self.sealed.get(id).map(|(line, _)| *line)
    }

    /// Every sealed book was in the list already, or lies on the shelf.
    fn all_there(&self, listed: &BTreeSet<String>) -> bool {
        self.sealed.keys().all(|id| listed.contains(id) || self.on_shelf.contains_key(id))
    }
}

/// The list says of each book what the station book says. Returns the names in it.
fn compare(index: &Index, books: &Books) -> Result<BTreeSet<String>, IndexFault> {
    let mut listed = BTreeSet::new();
    let (mut unsealed, mut wrong) = (Vec::new(), None);
    let mut ledger = index.ledger();
    index.sheets(&[], &mut |sheet, _| {
        for entry in &sheet.entries {
            let id = sheet.names[entry.id];
            let said = books.sealed.get(id).map(|(_, seal)| *seal);
            match (said, entry.seal) {
                (None, _) if !books.on_shelf.contains_key(id) => {
                    wrong = Some(format!("it knows {id}, and no book does"));
                }
                (Some(said), None) => unsealed.push((id.to_owned(), said)),
                (None, None) => drop(index.live().unsealed.insert(id.to_owned())),
                (Some(said), Some(seal)) if said != seal && !entry.damaged => {
                    wrong = Some(format!("it knows {id} as another than was sealed"));
                }
                _ => {}
            }
            if !listed.insert(id.to_owned()) {
                wrong = Some(format!("it knows {id} twice"));
            }
            if entry.seal.is_some() {
                ledger.entry(sheet, entry);
            }
        }
        wrong.is_none()
    })?;
    drop(ledger);
    if let Some(wrong) = wrong {
        return Err(IndexFault::Doubt(wrong));
    }
    for (id, seal) in unsealed {
        index.seal(&id, seal)?;
    }
    histories(index, listed.len())?;
    Ok(listed)
}

/// The list is right: histories that differ from it were cut off between two writes.
fn histories(index: &Index, count: usize) -> Result<(), IndexFault> {
    if index.remembered()? == count {
        return Ok(());
    }
    index.asset.clear()?;
    let mut all: BTreeMap<String, Vec<Once>> = BTreeMap::new();
    index.sheets(&[], &mut |sheet, _| {
        for entry in &sheet.entries {
            let once = (entry.opened_us, sheet.names[entry.id].to_owned());
            all.entry(sheet.asset(entry).to_owned()).or_default().push(once);
        }
        true
    })?;
    index.remember(all, &mut index.press())
}

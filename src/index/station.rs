//! What the index takes from the station book: the register, and what was sealed.

use std::collections::BTreeMap;

use data_encoding::{HEXLOWER, HEXLOWER_PERMISSIVE};
use serde::Deserialize;
use sha2::{Digest, Sha256};

use super::IndexFault;
use super::ledger::Ledger;
use super::press::{Press, Unpress};
use super::sheet::Seal;
use super::store::Index;
use super::work::Row;
use crate::books::Shelf;
use crate::books::line::outline;
use crate::station::event::BookId;

/// Kinds of the register.
const THINGS: [&[u8]; 6] = [b"asset", b"instrument", b"setup", b"fixture", b"lead", b"operator"];
/// So many bytes of new lines of the register are held before they are stored.
const HELD_MAX: usize = 8 << 20;

/// What one pass over the station book found.
#[derive(Debug, Default)]
pub(super) struct Station {
    pub(super) fingerprint: Option<String>,
    /// Last line.
    pub(super) seq: u64,
    /// What each book was sealed as, and the line that says so.
    pub(super) sealed: BTreeMap<String, (u64, Seal)>,
    /// The line of each thing in the register, up to the one that the index has.
    known: BTreeMap<Vec<u8>, u64>,
    /// New lines of the register.
    new: BTreeMap<Vec<u8>, Vec<u8>>,
    held: usize,
    /// All that moves dates.
    ledger: Ledger,
    /// Some lines were new.
    pub(super) read: bool,
}

#[derive(Deserialize)]
struct Named {
    id: String,
}

#[derive(Deserialize)]
struct Sealed {
    id: String,
    head: String,
    bytes: u64,
}

/// Stands for the station: nobody else's book begins with this line.
pub(super) fn fingerprint(text: &[u8]) -> String {
    HEXLOWER.encode(&Sha256::digest(text))
}

pub(super) fn is_thing(kind: &[u8]) -> bool {
    THINGS.contains(&kind)
}

/// The row of a thing.
pub(super) fn thing(kind: &[u8], text: &[u8], press: &mut Press) -> Result<Row, IndexFault> {
    let key = thing_key(kind, text)?;
    let value = press.value(&key, text)?;
    Ok((key, value))
}

fn thing_key(kind: &[u8], text: &[u8]) -> Result<Vec<u8>, IndexFault> {
    let named: Named = serde_json::from_slice(text).map_err(|e| unread(&e))?;
    Ok([kind, &[0], named.id.as_bytes()].concat())
}

/// What was sealed, and as what.
pub(super) fn sealed(text: &[u8]) -> Result<(String, Seal), IndexFault> {
    let Sealed { id, head, bytes } = serde_json::from_slice(text).map_err(|e| unread(&e))?;
    let no_head = || IndexFault::Doubt(format!("the head of {id} can't be read"));
    let head = HEXLOWER_PERMISSIVE.decode(head.as_bytes()).map_err(|_| no_head())?;
    let head = *head.first_chunk().ok_or_else(no_head)?;
    Ok((id, Seal { head, bytes }))
}

pub(super) fn unread(error: &serde_json::Error) -> IndexFault {
    IndexFault::Doubt(format!("a stored line can't be read: {error}"))
}

impl Index {
    /// Reads the station book, takes what is new of its register, and compares the rest.
    pub(super) fn station(&self, shelf: &Shelf) -> Result<Station, IndexFault> {
        let head = self.head();
        let mut found = Station::default();
        for text in shelf.texts(&BookId::Station)? {
            found.line(&text?.bytes, head.seq)?;
            if found.held > HELD_MAX {
                self.store_things(&mut found)?;
            }
        }
        if head.station.is_some() && head.station != found.fingerprint {
            return Err(IndexFault::Doubt("it belongs to another station's books".into()));
        }
        if found.seq < head.seq {
            let (knows, of) = (head.seq, found.seq);
            return Err(IndexFault::Doubt(format!("it knows station line {knows} of {of}")));
        }
        self.compare_things(&found)?;
        self.store_things(&mut found)?;
        // Inspections come from the list, and from the books that are not in it yet.
        *self.ledger() = std::mem::take(&mut found.ledger);
        Ok(found)
    }

    /// Each thing that the index should have is there as the book has it, and nothing else is.
    fn compare_things(&self, found: &Station) -> Result<(), IndexFault> {
        let mut unpress = Unpress::new()?;
        let mut count = 0;
        for row in self.register.iter() {
            let (key, value) = row?;
            let text = unpress.plain(&key, &value);
            let seq = text.and_then(|text| outline(&text).map(|(seq, _)| seq));
            // What this very pass stored is newer and not counted.
            if found.known.contains_key(key.as_ref()) {
                count += 1;
                let old = found.known.get(key.as_ref()).copied();
                if seq < old || seq.is_none() {
                    return Err(IndexFault::Doubt("a line of the register is another".into()));
                }
            } else if seq.is_none_or(|seq| seq <= self.head().seq) {
                return Err(IndexFault::Doubt("it knows a thing that no book has".into()));
            }
        }
        match count == found.known.len() {
            true => Ok(()),
            false => Err(IndexFault::Doubt("a line of the register is missing".into())),
        }
    }

    fn store_things(&self, found: &mut Station) -> Result<(), IndexFault> {
        let mut batch = sled::Batch::default();
        for (key, text) in std::mem::take(&mut found.new) {
            let value = self.press().value(&key, &text)?;
            batch.insert(key, value);
        }
        found.held = 0;
        Ok(self.register.apply_batch(batch)?)
    }
}

impl Station {
    /// `indexed` is the last line that the index has.
    fn line(&mut self, text: &[u8], indexed: u64) -> Result<(), IndexFault> {
        let Some((seq, kind)) = outline(text) else { return Ok(()) };
        if self.fingerprint.is_none() {
            self.fingerprint = Some(fingerprint(text));
        }
        self.seq = seq;
        self.read |= seq > indexed;
        self.ledger.station_line(seq, kind, text)?;
        if kind == b"sealed" {
            let (id, seal) = sealed(text)?;
            self.sealed.insert(id, (seq, seal));
        } else if is_thing(kind) {
            let key = thing_key(kind, text)?;
            if seq <= indexed {
                self.known.insert(key, seq);
            } else {
                self.held += text.len();
                self.new.insert(key, text.to_vec());
            }
        }
        Ok(())
    }
}

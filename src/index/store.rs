//! Opens sled under guard and takes lines.

use std::collections::{BTreeMap, BTreeSet};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};

use serde::{Deserialize, Serialize};
use sled::{Db, Tree};

use super::IndexFault;
use super::ledger::Ledger;
use super::press::{Press, Unpress};
use super::sheet::{Listed, Seal};
use super::work::{Row, Work, keys_of};
use crate::books::line::outline;
use crate::station::event::BookId;

const CACHE_BYTES: u64 = 64 << 20;
const FLUSH_EVERY_MS: u64 = 500;
/// Layout of the whole store; another one is set aside and built again.
const SCHEMA: u32 = 5;
const HEAD: &[u8] = b"head";

/// The index of a data folder. May be asked from many threads; one writes.
#[derive(Debug)]
pub struct Index {
    pub(super) record: Tree,
    pub(super) asset: Tree,
    pub(super) when: Tree,
    pub(super) register: Tree,
    meta: Tree,
    /// Never held while the store is at work: it may be at work for ever.
    live: Mutex<Live>,
    /// What moves the dates of assets; made when the index is compared with the books.
    ledger: Mutex<Ledger>,
    /// The writer's; nobody else waits for it.
    press: Mutex<Press>,
    db: Db,
}

/// What is known besides the trees.
#[derive(Debug)]
pub(super) struct Live {
    pub(super) works: BTreeMap<String, Work>,
    /// Listed, and not sealed yet.
    pub(super) unsealed: BTreeSet<String>,
    pub(super) head: Head,
}

/// Rows that are to be stored, and what is to be listed if the inspection closes.
type Taken = (Vec<Row>, Option<Listed>);

/// How far the index is level with the books.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct Head {
    schema: u32,
    /// SHA-256 of the first line of the first station book, hex: whose index it is.
    pub(super) station: Option<String>,
    /// Last line of the station book that is in it.
    pub(super) seq: u64,
    /// It has every book that the station book names: one that is missing was lost.
    pub(super) complete: bool,
}

impl Index {
    /// Opens what lies in a folder, or begins anew if nothing does.
    pub(super) fn at(folder: &Path) -> Result<Index, IndexFault> {
        let config = sled::Config::new()
            .path(folder)
            .cache_capacity(CACHE_BYTES)
            .flush_every_ms(Some(FLUSH_EVERY_MS));
        let db = catch_unwind(AssertUnwindSafe(|| config.open()));
        let db = db.unwrap_or(Err(sled::Error::ReportableBug("it panicked".into())))?;
        let spare = db.clone();
        let index = Index::guarded(|| Index::of(db));
        if index.is_err() {
            abandon(spare);
        }
        index
    }

    fn of(db: Db) -> Result<Index, IndexFault> {
        let fresh = !db.was_recovered();
        let index = Index {
            record: db.open_tree("record")?,
            asset: db.open_tree("asset")?,
            when: db.open_tree("when")?,
            register: db.open_tree("register")?,
            meta: db.open_tree("meta")?,
            live: Mutex::new(Live {
                works: BTreeMap::new(),
                unsealed: BTreeSet::new(),
                head: Head::default(),
            }),
            ledger: Mutex::default(),
            press: Mutex::new(Press::new()?),
            db,
        };
        let head = index.stored_head();
        let head = match head {
            Ok(None) if fresh => Head { schema: SCHEMA, ..Head::default() },
            Ok(Some(head)) if head.schema == SCHEMA => head,
            other => {
                abandon(index);
                let what = match other {
                    Ok(None) => "it has no head".to_owned(),
                    Ok(Some(head)) => format!("its layout is {}, not {SCHEMA}", head.schema),
                    Err(fault) => return Err(fault),
                };
                return Err(IndexFault::Doubt(what));
            }
        };
        index.live().head = head.clone();
        index.set_head(head)?;
        Ok(index)
    }

    /// What was written is with the system, or it said why not: sled would only log it.
    pub(super) fn flush(&self) -> Result<(), IndexFault> {
        Ok(self.db.flush().map(drop)?)
    }

    fn stored_head(&self) -> Result<Option<Head>, IndexFault> {
        let Some(value) = self.meta.get(HEAD)? else { return Ok(None) };
        let plain = Unpress::new()?.plain(HEAD, &value);
        let head = plain.and_then(|plain| serde_json::from_slice(&plain).ok());
        head.map(Some).ok_or_else(|| IndexFault::Doubt("its head can't be read".into()))
    }

    pub(super) fn head(&self) -> Head {
        self.live().head.clone()
    }

    pub(super) fn set_head(&self, head: Head) -> Result<(), IndexFault> {
        let json = serde_json::to_vec(&head).map_err(|e| IndexFault::Doubt(e.to_string()))?;
        let value = self.press().value(HEAD, &json)?;
        self.meta.insert(HEAD, value)?;
        self.live().head = head;
        Ok(())
    }

    /// Takes a stored line (its text, with or without line feed). Idle books are not indexed;
    /// lines that it has are passed over.
    ///
    /// # Errors
    /// The index is of no use any more: set it aside by [`Index::open`] or [`super::rebuild`].
    pub fn add(&self, book: &BookId, text: &[u8]) -> Result<(), IndexFault> {
        let text = text.strip_suffix(b"\n").unwrap_or(text);
        Index::guarded(|| match book {
            BookId::Station => self.station_line(text),
            BookId::Inspection(id) => self.inspection_line(id, text),
            BookId::Idle(_) => Ok(()),
        })
    }

    /// Nothing that the store does can take the caller down.
    pub(super) fn guarded<T>(act: impl FnOnce() -> Result<T, IndexFault>) -> Result<T, IndexFault> {
        catch_unwind(AssertUnwindSafe(act)).unwrap_or(Err(IndexFault::Panic))
    }

    fn station_line(&self, text: &[u8]) -> Result<(), IndexFault> {
        let no_number = || IndexFault::Doubt("a stored line has no number".into());
        let (seq, kind) = outline(text).ok_or_else(no_number)?;
        let mut head = self.head();
        if seq <= head.seq {
            return Ok(());
        }
        if head.station.is_none() {
            head.station = Some(super::station::fingerprint(text));
        }
        self.ledger().station_line(seq, kind, text)?;
        if super::station::is_thing(kind) {
            let row = super::station::thing(kind, text, &mut self.press())?;
            self.register.insert(row.0, row.1)?;
        } else if kind == b"sealed" {
            let (id, seal) = super::station::sealed(text)?;
            self.seal(&id, seal)?;
        }
        head.seq = seq;
        self.set_head(head)
    }

    /// Notes what a listed book was sealed as.
    pub(super) fn seal(&self, id: &str, seal: Seal) -> Result<(), IndexFault> {
        let Some(listed) = self.find(id)? else { return Ok(()) };
        self.live().unsealed.remove(id);
        let listed = Listed { seal: Some(seal), ..listed };
        self.ledger().listed(&listed);
        self.list(vec![listed], &mut self.press())
    }

    fn inspection_line(&self, id: &str, text: &[u8]) -> Result<(), IndexFault> {
        let Some((rows, closed)) = self.take(id, text)? else { return Ok(()) };
        for (key, value) in &rows {
            self.record.insert(key.as_slice(), value.as_slice())?;
        }
        if let Some(listed) = closed {
            let once = (listed.opened_us, listed.summary.id.clone());
            let once = BTreeMap::from([(listed.summary.asset.clone(), vec![once])]);
            self.live().unsealed.insert(id.to_owned());
            let press = &mut self.press();
            self.remember(once, press)?;
            self.list(vec![listed], press)?;
            // Only now, so that it is always found in one of both.
            self.live().works.remove(id);
        } else if let Some(work) = self.live().works.get_mut(id) {
            work.rows.drain(..rows.len());
        }
        Ok(())
    }

    /// Folds a line.
    fn take(&self, id: &str, text: &[u8]) -> Result<Option<Taken>, IndexFault> {
        if !self.live().works.contains_key(id) {
            let opens = outline(text).is_some_and(|(_, kind)| kind == b"open");
            // What is listed is closed: its lines are in it already.
            let begun = if opens && self.find(id)?.is_none() { Work::begin(text)? } else { None };
            if let Some(work) = begun {
                self.live().works.insert(id.to_owned(), work);
            }
            return Ok(None);
        }
        let press = &mut self.press();
        let mut live = self.live();
        let Some(work) = live.works.get_mut(id) else { return Ok(None) };
        work.take(text, press)?;
        if !work.closed {
            return Ok(Some((work.rows.clone(), None)));
        }
        work.finish(press)?;
        let (opened_us, mark, summary) = (work.opened_us, work.mark, work.summary.clone());
        let (tally, rests) = (work.tally.clone(), work.names());
        let listed = Listed { opened_us, summary, tally, rests, mark, seal: None };
        Ok(Some((work.rows.clone(), Some(listed))))
    }

    /// Takes everything of an inspection out, so that its book can be read anew.
    pub(super) fn forget(&self, id: &str) -> Result<(), IndexFault> {
        self.live().works.remove(id);
        self.ledger().forget(id);
        self.unlist(id, &mut self.press())?;
        for key in self.record.scan_prefix(keys_of(id)).keys() {
            self.record.remove(key?)?;
        }
        Ok(())
    }

    pub(super) fn live(&self) -> MutexGuard<'_, Live> {
        self.live.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn ledger(&self) -> MutexGuard<'_, Ledger> {
        self.ledger.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn press(&self) -> MutexGuard<'_, Press> {
        self.press.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Drops what may never end to be dropped: the store waits for a thread of its own, and when that
/// thread has panicked it waits for ever.
pub(super) fn abandon<T: Send + 'static>(what: T) {
    let drop = move || drop(catch_unwind(AssertUnwindSafe(|| drop(what))));
    // Without a thread it is dropped here.
    let _ = std::thread::Builder::new().name("index-end".into()).spawn(drop);
}

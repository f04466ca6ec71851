//! Opens sled under guard and takes lines.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use sled::{Db, Tree};
use tapline_protocols::Fact;

use super::block::{Kept, LAYOUT, READINGS_MAX, VALUE_MAX, VERDICT, key, keys_of};
use super::summary::Summary;
use super::{IndexFault, build};
use crate::books::{Line, Shelf};
use crate::station::event::BookId;

const CACHE_BYTES: u64 = 64 << 20;
const FLUSH_EVERY_MS: u64 = 500;
/// Layout of the whole store; another one is set aside and built again.
const SCHEMA: &[u8] = b"1";

/// The index of a data folder. May be asked from many threads; one writes.
#[derive(Debug)]
pub struct Index {
    pub(super) record: Tree,
    pub(super) asset: Tree,
    pub(super) when: Tree,
    pub(super) register: Tree,
    pub(super) meta: Tree,
    pub(super) work: Mutex<BTreeMap<String, Work>>,
    _db: Db,
}

/// What opening the index came to.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Opened {
    /// Where the old index was put, and why, if it was in doubt.
    pub set_aside: Option<(PathBuf, String)>,
    /// Books that had to be read to catch up.
    pub caught_up: u64,
}

/// An inspection whose book is being written.
#[derive(Debug)]
pub(super) struct Work {
    pub(super) summary: Summary,
    /// Readings that are not in a full block yet, by step of the plan.
    pending: BTreeMap<String, Pending>,
    last_seq: u64,
}

#[derive(Debug, Default)]
struct Pending {
    number: u32,
    count: usize,
    value: Vec<u8>,
}

/// How far a book is indexed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Mark {
    pub(super) last_seq: u64,
    /// Key of its summary in the `when` tree, once it is closed.
    pub(super) when: Option<String>,
    /// SHA-256 over keys and values of its blocks, hex, once it is closed.
    pub(super) closed: Option<String>,
}

impl Mark {
    pub(super) fn of_station(last_seq: u64) -> Mark {
        Mark { last_seq, when: None, closed: None }
    }
}

impl Index {
    /// Opens the index in `data/index` and brings it level with the books. Sets it aside and
    /// builds it again on any doubt.
    ///
    /// # Errors
    /// The books can't be read, or not even an empty index can be built.
    pub fn open(data: &Path, shelf: &Shelf) -> Result<(Index, Opened), IndexFault> {
        let mut opened = Opened::default();
        let folder = data.join("index");
        let first = Index::guarded(|| {
            let index = Index::at(&folder)?;
            let caught_up = build::catch_up(&index, shelf)?;
            Ok((index, caught_up))
        });
        let why = match first {
            Ok((index, caught_up)) => return Ok((index, Opened { caught_up, ..opened })),
            Err(IndexFault::Books(halted)) => return Err(IndexFault::Books(halted)),
            Err(fault) => fault.to_string(),
        };
        let aside = build::set_aside(&folder).map_err(|e| IndexFault::Store(e.to_string()))?;
        opened.set_aside = aside.map(|aside| (aside, why));
        Index::guarded(|| {
            let index = Index::at(&folder)?;
            opened.caught_up = build::catch_up(&index, shelf)?;
            Ok((index, opened.clone()))
        })
    }

    /// Sets the index aside, whatever it is like, and builds it again. Drop the old one first or
    /// let it run out; who calls this holds the lock of the data folder.
    ///
    /// # Errors
    /// The old one can't be moved, the books can't be read, or the new one can't be built.
    pub fn renew(data: &Path, shelf: &Shelf) -> Result<(Index, Opened), IndexFault> {
        let aside = build::set_aside(&data.join("index"));
        let aside = aside.map_err(|e| IndexFault::Store(e.to_string()))?;
        let (index, opened) = Index::open(data, shelf)?;
        let set_aside = aside.map(|aside| (aside, "it was asked for".to_owned()));
        Ok((index, Opened { set_aside, ..opened }))
    }

    /// Takes a stored line (its text, with or without line feed). Idle books are not indexed.
    ///
    /// # Errors
    /// The index is of no use any more: set it aside by [`Index::open`] or [`super::rebuild`].
    pub fn add(&self, book: &BookId, text: &[u8]) -> Result<(), IndexFault> {
        if let BookId::Idle(_) = book {
            return Ok(());
        }
        let line = Line::read(text).map_err(|e| IndexFault::Doubt(e.to_string()))?;
        Index::guarded(|| match book {
            BookId::Station => self.station_line(&line, text),
            BookId::Inspection(id) => self.inspection_line(id, &line, text),
            BookId::Idle(_) => Ok(()),
        })
    }

    /// Nothing that the store does can take the caller down.
    pub(super) fn guarded<T>(act: impl FnOnce() -> Result<T, IndexFault>) -> Result<T, IndexFault> {
        catch_unwind(AssertUnwindSafe(act)).unwrap_or(Err(IndexFault::Panic))
    }

    fn at(folder: &Path) -> Result<Index, IndexFault> {
        let db = sled::Config::new()
            .path(folder)
            .cache_capacity(CACHE_BYTES)
            .flush_every_ms(Some(FLUSH_EVERY_MS))
            .open()?;
        let index = Index {
            record: db.open_tree("record")?,
            asset: db.open_tree("asset")?,
            when: db.open_tree("when")?,
            register: db.open_tree("register")?,
            meta: db.open_tree("meta")?,
            work: Mutex::new(BTreeMap::new()),
            _db: db,
        };
        match index.meta.insert("schema", SCHEMA)? {
            None if index.record.is_empty() && index.when.is_empty() => Ok(index),
            Some(schema) if schema == SCHEMA => Ok(index),
            other => Err(IndexFault::Doubt(format!("its layout is {other:?}"))),
        }
    }

    fn station_line(&self, line: &Line, text: &[u8]) -> Result<(), IndexFault> {
        let (kind, id) = match &line.fact {
            Fact::Asset(asset) => ("asset", &asset.id),
            Fact::Instrument(instrument) => ("instrument", &instrument.id),
            Fact::Setup(setup) => ("setup", &setup.id),
            Fact::Fixture(fixture) => ("fixture", &fixture.id),
            Fact::Lead(lead) => ("lead", &lead.id),
            Fact::Operator(operator) => ("operator", &operator.id),
            _ => return self.mark("station", &Mark::of_station(line.seq)),
        };
        let text = text.strip_suffix(b"\n").unwrap_or(text);
        if text.len() > VALUE_MAX {
            return Err(IndexFault::Doubt(format!("line {} is too long for it", line.seq)));
        }
        self.register.insert(register_key(kind, id), text)?;
        self.mark("station", &Mark::of_station(line.seq))
    }

    fn inspection_line(&self, id: &str, line: &Line, text: &[u8]) -> Result<(), IndexFault> {
        let mut works = self.works();
        if let Some(summary) = Summary::begin(line) {
            self.list(&summary)?;
            let work = Work { summary, pending: BTreeMap::new(), last_seq: line.seq };
            works.insert(id.to_owned(), work);
            return Ok(());
        }
        // Addenda begin without an inspection of their own and are not listed.
        let Some(work) = works.get_mut(id) else { return Ok(()) };
        work.last_seq = line.seq;
        if work.summary.apply(line) {
            self.list(&work.summary)?;
        }
        match &line.fact {
            Fact::In(fact) => {
                let kept = Kept::new(line.seq, line.at, fact).ok_or_else(|| {
                    IndexFault::Doubt(format!("line {} is no raw text", line.seq))
                })?;
                let step = fact.read.iter().find_map(|read| read.s.as_deref()).unwrap_or("");
                self.keep(id, work, plan_step(step), &kept)
            }
            Fact::Verdict(verdict) => {
                // A line too long for a value is in the book alone.
                let text = text.strip_suffix(b"\n").unwrap_or(text);
                if text.len() < VALUE_MAX {
                    let value = [&[LAYOUT], text].concat();
                    self.record.insert(key(id, &verdict.step, VERDICT), value)?;
                }
                Ok(())
            }
            Fact::Sign(_) | Fact::End(_) => {
                self.settle(id, work)?;
                let closed = Some(self.sum_of(id)?);
                let when = String::from_utf8(work.summary.when_key()).ok();
                let mark = Mark { last_seq: work.last_seq, when, closed };
                works.remove(id);
                self.mark(id, &mark)
            }
            _ => Ok(()),
        }
    }

    fn keep(&self, id: &str, work: &mut Work, step: &str, kept: &Kept) -> Result<(), IndexFault> {
        let mut bytes = Vec::new();
        let fits = kept.write(&mut bytes).filter(|()| bytes.len() < VALUE_MAX);
        fits.ok_or_else(|| IndexFault::Doubt(format!("line {} is too long for it", kept.seq)))?;
        let pending = work.pending.entry(step.to_owned()).or_default();
        if pending.count == READINGS_MAX || pending.value.len() + bytes.len() > VALUE_MAX {
            self.record.insert(key(id, step, pending.number), pending.value.as_slice())?;
            *pending = Pending { number: pending.number + 1, ..Pending::default() };
        }
        if pending.value.is_empty() {
            pending.value.push(LAYOUT);
        }
        pending.value.extend_from_slice(&bytes);
        pending.count += 1;
        Ok(())
    }

    /// Writes the blocks that are not full yet; they are written again when they grow.
    pub(super) fn settle(&self, id: &str, work: &Work) -> Result<(), IndexFault> {
        for (step, pending) in &work.pending {
            self.record.insert(key(id, step, pending.number), pending.value.as_slice())?;
        }
        Ok(())
    }

    fn list(&self, summary: &Summary) -> Result<(), IndexFault> {
        let json = serde_json::to_vec(summary).map_err(|e| IndexFault::Doubt(e.to_string()))?;
        self.when.insert(summary.when_key(), json)?;
        self.asset.insert(summary.asset_key(), &[])?;
        Ok(())
    }

    /// Takes everything of an inspection out, so that its book can be read anew.
    pub(super) fn forget(&self, id: &str) -> Result<(), IndexFault> {
        self.works().remove(id);
        self.meta.remove(mark_key(id))?;
        for key in self.record.scan_prefix(keys_of(id)).keys() {
            self.record.remove(key?)?;
        }
        Ok(())
    }

    /// SHA-256 over the blocks of an inspection, hex.
    pub(super) fn sum_of(&self, id: &str) -> Result<String, IndexFault> {
        let mut sum = Sha256::new();
        for entry in self.record.scan_prefix(keys_of(id)) {
            let (key, value) = entry?;
            sum.update(&key);
            sum.update(&value);
        }
        Ok(data_encoding::HEXLOWER.encode(&sum.finalize()))
    }

    pub(super) fn mark(&self, book: &str, mark: &Mark) -> Result<(), IndexFault> {
        let json = serde_json::to_vec(mark).map_err(|e| IndexFault::Doubt(e.to_string()))?;
        self.meta.insert(mark_key(book), json)?;
        Ok(())
    }

    pub(super) fn marked(&self, book: &str) -> Result<Option<Mark>, IndexFault> {
        match self.meta.get(mark_key(book))? {
            Some(json) => serde_json::from_slice(&json)
                .map(Some)
                .map_err(|e| IndexFault::Doubt(format!("mark of {book}: {e}"))),
            None => Ok(None),
        }
    }

    pub(super) fn works(&self) -> MutexGuard<'_, BTreeMap<String, Work>> {
        self.work.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The plan's step of an expanded one: `pe` of `pe/1`, `null` of `null/L-1`.
fn plan_step(step: &str) -> &str {
    step.split_once('/').map_or(step, |(plan, _)| plan)
}

pub(super) fn mark_key(book: &str) -> String {
    format!("book/{book}")
}

pub(super) fn register_key(kind: &str, id: &str) -> Vec<u8> {
    [kind.as_bytes(), &[0], id.as_bytes()].concat()
}

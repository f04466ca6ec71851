//! Questions that the index answers.

use serde::Serialize;
use serde_json::value::RawValue;
use tapline_protocols::fact::Word;

use super::IndexFault;
use super::block::{LAYOUT, VERDICT, keys_of, read_block, split_key};
use super::store::{Index, register_key};
use super::summary::Summary;

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
    /// With this outcome.
    pub verdict: Option<Word>,
    /// With bytes of this instrument.
    pub instrument: Option<String>,
    /// After this one, in the order of opening.
    pub after: Option<String>,
    /// At most so many, never more than [`LIST_MAX`]; 0: as many as may be.
    pub limit: usize,
}

/// Raw bytes, stamps and verdicts of an inspection, as the index has them.
#[derive(Debug, Serialize)]
pub struct RawRecord {
    /// Inspection.
    pub id: String,
    /// By step of the plan; the first, without a step, has the bytes that belong to none.
    pub steps: Vec<RawStep>,
}

/// One step of the plan.
#[derive(Debug, Serialize)]
pub struct RawStep {
    /// Step of the plan, `null`, `prove`; none for bytes that belong to no step.
    pub step: Option<String>,
    /// What arrived, in order.
    pub readings: Vec<RawReading>,
    /// The stored line of its verdict.
    pub verdict: Option<Box<RawValue>>,
}

/// Bytes that arrived.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RawReading {
    /// Line of the book.
    pub seq: u64,
    /// UTC, microseconds.
    pub t: String,
    /// Microseconds of the boot-time clock.
    pub m: u64,
    /// Link.
    pub link: String,
    /// Offset in `raw` and microseconds after `m`, per read; empty for one read.
    pub cuts: Vec<(u32, u64)>,
    /// Byte n is code point n.
    pub raw: String,
}

impl Index {
    /// Inspections in the order of their opening.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn inspections(&self, query: &Query) -> Result<Vec<Summary>, IndexFault> {
        Index::guarded(|| {
            let mut found = Vec::new();
            let mut passed = query.after.is_none();
            let limit = if query.limit == 0 { LIST_MAX } else { query.limit.min(LIST_MAX) };
            for key in self.when_keys(query) {
                let Some(json) = self.when.get(key?)? else {
                    return Err(IndexFault::Doubt("a listed inspection is missing".into()));
                };
                let summary: Summary = serde_json::from_slice(&json)
                    .map_err(|e| IndexFault::Doubt(format!("a list: {e}")))?;
                if !passed {
                    passed = query.after.as_deref() == Some(&summary.id);
                } else if query.wants(&summary) {
                    found.push(summary);
                }
                if found.len() == limit {
                    break;
                }
            }
            Ok(found)
        })
    }

    /// One inspection, in work or closed; `None` if the index never saw it.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn inspection(&self, id: &str) -> Result<Option<Summary>, IndexFault> {
        Index::guarded(|| {
            if let Some(work) = self.works().get(id) {
                return Ok(Some(work.summary.clone()));
            }
            let Some(when) = self.marked(id)?.and_then(|mark| mark.when) else { return Ok(None) };
            let doubt = || IndexFault::Doubt(format!("{id} is missing in its list"));
            let json = self.when.get(when)?.ok_or_else(doubt)?;
            serde_json::from_slice(&json).map(Some).map_err(|_| doubt())
        })
    }

    /// Raw bytes, stamps and verdicts of an inspection, also when its book was moved away. `None`
    /// if the index never saw it.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn raw(&self, id: &str) -> Result<Option<RawRecord>, IndexFault> {
        Index::guarded(|| {
            match self.works().get(id) {
                Some(work) => self.settle(id, work)?,
                None => match self.marked(id)?.map(|mark| mark.closed) {
                    None => return Ok(None),
                    Some(sum) if sum == Some(self.sum_of(id)?) => {}
                    Some(_) => {
                        return Err(IndexFault::Doubt(format!("the blocks of {id} changed")));
                    }
                },
            }
            let mut steps: Vec<RawStep> = Vec::new();
            for entry in self.record.scan_prefix(keys_of(id)) {
                let (key, value) = entry?;
                let doubt = || IndexFault::Doubt(format!("a block of {id} can't be read"));
                let (step, number) = split_key(&key, id).ok_or_else(doubt)?;
                let name = (!step.is_empty()).then(|| step.to_owned());
                if steps.last().is_none_or(|last| last.step != name) {
                    steps.push(RawStep { step: name, readings: Vec::new(), verdict: None });
                }
                let last = steps.last_mut().expect("one was pushed if there was none");
                if number == VERDICT {
                    let text = value.strip_prefix(&[LAYOUT]).ok_or_else(doubt)?;
                    last.verdict = serde_json::from_slice(text).map_err(|_| doubt())?;
                } else {
                    let kept = read_block(&value).ok_or_else(doubt)?;
                    last.readings.extend(kept.iter().map(super::block::Kept::shown));
                }
            }
            Ok(Some(RawRecord { id: id.to_owned(), steps }))
        })
    }

    /// The newest line of a thing in the register (`asset instrument setup fixture lead
    /// operator`), as stored.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn registered(&self, kind: &str, id: &str) -> Result<Option<String>, IndexFault> {
        Index::guarded(|| {
            let line = self.register.get(register_key(kind, id))?;
            Ok(line.map(|line| String::from_utf8_lossy(&line).into_owned()))
        })
    }

    /// The newest lines of all things of a kind, sorted by name, after one of them.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn register(
        &self,
        kind: &str,
        after: Option<&str>,
        limit: usize,
    ) -> Result<Vec<String>, IndexFault> {
        Index::guarded(|| {
            let mut lines = Vec::new();
            let after = after.map(|id| register_key(kind, id));
            for entry in self.register.scan_prefix(register_key(kind, "")) {
                let (key, line) = entry?;
                if after.as_ref().is_some_and(|after| key.as_ref() <= after.as_slice()) {
                    continue;
                }
                if lines.len() == limit.min(LIST_MAX) {
                    break;
                }
                lines.push(String::from_utf8_lossy(&line).into_owned());
            }
            Ok(lines)
        })
    }

    /// Keys of the `when` tree that may be wanted, in order. An asset has few of them.
    fn when_keys(
        &self,
        query: &Query,
    ) -> Box<dyn Iterator<Item = Result<Vec<u8>, sled::Error>> + '_> {
        if let Some(asset) = &query.asset {
            let prefix = [asset.as_bytes(), &[0]].concat();
            let cut = prefix.len();
            let keys = self.asset.scan_prefix(prefix).keys();
            return Box::new(keys.map(move |key| key.map(|key| key[cut..].to_vec())));
        }
        let from = query.from.clone().unwrap_or_default();
        let range = match &query.to {
            Some(to) if *to < from => return Box::new(std::iter::empty()),
            Some(to) => self.when.range(from.into_bytes()..to.clone().into_bytes()),
            None => self.when.range(from.into_bytes()..),
        };
        Box::new(range.keys().map(|key| key.map(|key| key.to_vec())))
    }
}

impl Query {
    fn wants(&self, found: &Summary) -> bool {
        let same = |wanted: &Option<String>, is: &String| wanted.as_ref().is_none_or(|w| w == is);
        same(&self.asset, &found.asset)
            && self.from.as_ref().is_none_or(|from| *from <= found.opened)
            && self.to.as_ref().is_none_or(|to| found.opened < *to)
            && self.verdict.is_none_or(|verdict| found.verdict == Some(verdict))
            && self.instrument.as_ref().is_none_or(|i| found.instruments.contains(i))
    }
}

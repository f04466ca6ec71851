//! Raw bytes with stamps and verdicts of an inspection, line by line as its book has them.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use super::IndexFault;
use super::columns;
use super::press::Unpress;
use super::store::Index;
use super::work::{Held, Mark, RESTS, VERDICTS, key, keys_of, number_of, sum};
use crate::books::line::outline;

/// A part of what the index has of an inspection.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct RawPage {
    /// Stored lines with what arrived (`in`) and what it came to (`verdict`), by number, without
    /// line feed, byte for byte.
    pub lines: Vec<String>,
    /// Ask for more after this number; `None`: that was all.
    pub next: Option<u64>,
}

impl Index {
    /// Raw bytes, stamps and verdicts of an inspection, also when its book was moved away: at
    /// most `limit` lines after number `after`. `None` if the index never saw it.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn raw(&self, id: &str, after: u64, limit: usize) -> Result<Option<RawPage>, IndexFault> {
        Index::guarded(|| {
            let Some(rows) = self.rows(id)? else { return Ok(None) };
            // With the first page all of it is checked; each row has its own sum, besides.
            if let Some(mark) = rows.mark.filter(|_| after == 0) {
                self.check(id, &mark)?;
            }
            let mut page = RawPage::default();
            let mut verdicts = rows.verdicts(self, id)?.into_iter().peekable();
            let mut last = after;
            let flow = rows.blocks(self, id, after, &mut |seq, line| {
                while let Some((at, text)) = verdicts.next_if(|(at, _)| *at < seq) {
                    page.add(at, &text, (&mut last, limit))?;
                }
                page.add(seq, line, (&mut last, limit))
            })?;
            if flow.is_continue() {
                let _ = verdicts.try_for_each(|(at, text)| page.add(at, &text, (&mut last, limit)));
            }
            Ok(Some(page))
        })
    }

    /// Stored verdict lines of an inspection, in order.
    ///
    /// # Errors
    /// The index is of no use any more.
    pub fn verdicts(&self, id: &str) -> Result<Option<Vec<String>>, IndexFault> {
        Index::guarded(|| {
            let Some(rows) = self.rows(id)? else { return Ok(None) };
            let verdicts = rows.verdicts(self, id)?.into_iter();
            Ok(Some(
                verdicts.map(|(_, text)| String::from_utf8_lossy(&text).into_owned()).collect(),
            ))
        })
    }

    fn rows(&self, id: &str) -> Result<Option<Rows>, IndexFault> {
        if let Some(work) = self.live().works.get(id) {
            return Ok(Some(Rows { mark: None, held: work.held() }));
        }
        let listed = self.find(id)?;
        Ok(listed.map(|listed| Rows { mark: Some(listed.mark), held: Held::default() }))
    }

    /// All rows of a closed inspection are there, and none of them is another.
    fn check(&self, id: &str, mark: &Mark) -> Result<(), IndexFault> {
        let (mut rows, mut total) = (0, 0u64);
        for row in self.record.scan_prefix(keys_of(id)) {
            let (key, value) = row?;
            rows += 1;
            total = total.wrapping_add(sum(&key, &value));
        }
        match (rows, total) == (mark.rows, mark.sum) {
            true => Ok(()),
            false => Err(IndexFault::Doubt(format!("the blocks of {id} are others"))),
        }
    }
}

impl RawPage {
    /// Breaks off when it is full.
    fn add(&mut self, seq: u64, line: &[u8], (last, limit): (&mut u64, usize)) -> ControlFlow<()> {
        if seq <= *last {
            return ControlFlow::Continue(());
        }
        if self.lines.len() == limit {
            self.next = Some(*last);
            return ControlFlow::Break(());
        }
        *last = seq;
        self.lines.push(String::from_utf8_lossy(line).into_owned());
        ControlFlow::Continue(())
    }
}

/// Where the lines of an inspection are.
struct Rows {
    /// What lies in the tree, of a closed one.
    mark: Option<Mark>,
    /// What lies in memory, of one in work.
    held: Held,
}

type Show<'a> = &'a mut dyn FnMut(u64, &[u8]) -> ControlFlow<()>;

impl Rows {
    /// Shows the lines of all blocks that may have some after a number.
    fn blocks(
        &self,
        index: &Index,
        id: &str,
        after: u64,
        show: Show<'_>,
    ) -> Result<ControlFlow<()>, IndexFault> {
        let mut unpress = Unpress::new()?;
        let begin = index.record.range(key(id, 0)..=key(id, after)).next_back().transpose()?;
        let begin = begin.map_or_else(|| key(id, 0), |(key, _)| key.to_vec());
        for row in index.record.range(begin..key(id, VERDICTS)) {
            let (key, value) = row?;
            if self.held.rows.iter().any(|(held, _)| *held == *key) {
                continue;
            }
            let plain = unpress.plain(&key, &value).ok_or_else(|| bad_block(id))?;
            if show_block(&plain, show).ok_or_else(|| bad_block(id))?.is_break() {
                return Ok(ControlFlow::Break(()));
            }
        }
        for (key, value) in &self.held.rows {
            if number_of(key, id).is_none_or(|number| number >= VERDICTS) {
                continue;
            }
            let plain = unpress.plain(key, value).ok_or_else(|| bad_block(id))?;
            if show_block(&plain, show).ok_or_else(|| bad_block(id))?.is_break() {
                return Ok(ControlFlow::Break(()));
            }
        }
        match &self.held.block {
            Some(block) => show_block(block, show).ok_or_else(|| bad_block(id)),
            None => Ok(ControlFlow::Continue(())),
        }
    }

    fn verdicts(&self, index: &Index, id: &str) -> Result<Vec<(u64, Vec<u8>)>, IndexFault> {
        let mut unpress = Unpress::new()?;
        let mut rows = BTreeMap::new();
        for row in index.record.range(key(id, VERDICTS)..key(id, RESTS)) {
            let (key, value) = row?;
            rows.insert(key.to_vec(), value.to_vec());
        }
        rows.extend(self.held.rows.iter().cloned());
        let mut text = Vec::new();
        for (key, value) in &rows {
            if number_of(key, id).is_some_and(|number| (VERDICTS..RESTS).contains(&number)) {
                text.extend(unpress.plain(key, value).ok_or_else(|| bad_block(id))?);
            }
        }
        text.extend_from_slice(&self.held.verdicts);
        let lines = text.split(|b| *b == b'\n').filter(|line| !line.is_empty());
        let numbered = |line: &[u8]| Some((outline(line)?.0, line.to_vec()));
        lines.map(|line| numbered(line).ok_or_else(|| bad_block(id))).collect()
    }
}

/// `None` if it is no block.
fn show_block(plain: &[u8], show: Show<'_>) -> Option<ControlFlow<()>> {
    let lines = columns::lines(plain)?;
    Some(lines.iter().try_for_each(|(seq, line)| show(*seq, line)))
}

fn bad_block(id: &str) -> IndexFault {
    IndexFault::Doubt(format!("a block of {id} can't be read"))
}

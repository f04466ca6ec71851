//! One inspection on its way into the index: its lines in, rows of the `record` tree out.
//!
//! `record` keys are `id 00 number`, eight bytes big-endian: the number of the first line of a
//! block, so that blocks sort in the order of writing, above all of them [`VERDICTS`], so that
//! what it came to is the last block of a record, and behind that, at [`RESTS`], what the verdicts
//! rest on.

use sha2::{Digest, Sha256};
use tapline_protocols::Fact;

use super::IndexFault;
use super::columns::Columns;
use super::press::Press;
use super::resting::{Kept, Resting};
use super::summary::Summary;
use super::tally::{Tally, Tallying};
use crate::books::Line;
use crate::books::line::{boot_us, outline};

/// At most so many readings in a block, unless a single line has more.
const READINGS_MAX: usize = 256;
/// At most so many bytes in a block before it is pressed, unless a single line has more. So a
/// value stays below 64 KiB, and one that does not still lies in the one file of the store.
const BLOCK_MAX: usize = 60 << 10;
/// Keys from here on are verdicts: their stored lines.
pub(super) const VERDICTS: u64 = u64::MAX << 16;
/// The last key: what the verdicts rest on.
pub(super) const RESTS: u64 = u64::MAX;

/// A row of a tree.
pub(super) type Row = (Vec<u8>, Vec<u8>);

/// What lies in the `record` tree of an inspection.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Mark {
    /// Last line.
    pub(super) seq: u64,
    /// Rows, and lines in them.
    pub(super) rows: u64,
    pub(super) lines: u64,
    /// Sum over the SHA-256 of all rows, so that none can be missing or another.
    pub(super) sum: u64,
}

/// An inspection whose lines are being taken.
#[derive(Debug)]
pub(super) struct Work {
    pub(super) summary: Summary,
    pub(super) tally: Tally,
    pub(super) opened_us: i64,
    pub(super) mark: Mark,
    /// It is signed or ended.
    pub(super) closed: bool,
    /// Finished rows that nobody has fetched yet.
    pub(super) rows: Vec<Row>,
    readings: Columns,
    verdicts: Vec<u8>,
    tallying: Tallying,
    resting: Resting,
    parts: u64,
}

/// What a work holds that is not in the tree yet.
#[derive(Debug, Default)]
pub(super) struct Held {
    pub(super) rows: Vec<Row>,
    pub(super) block: Option<Vec<u8>>,
    pub(super) verdicts: Vec<u8>,
}

impl Work {
    /// Begins with the first line of an inspection; `None` for any other line, as addenda follow
    /// an inspection and are found through it.
    ///
    /// # Errors
    /// It is no line of a book.
    pub(super) fn begin(text: &[u8]) -> Result<Option<Work>, IndexFault> {
        let line = read(text)?;
        let Some(summary) = Summary::begin(&line) else { return Ok(None) };
        let mut tallying = Tallying::default();
        tallying.take(b"open", text, line.at.boot_us).map_err(|error| unread(line.seq, &error))?;
        Ok(Some(Work {
            summary,
            tally: Tally::default(),
            opened_us: line.at.wall_us,
            mark: Mark { seq: line.seq, ..Mark::default() },
            closed: false,
            rows: Vec::new(),
            readings: Columns::default(),
            verdicts: Vec::new(),
            tallying,
            resting: Resting::default(),
            parts: 0,
        }))
    }

    /// Takes a stored line, without line feed. Lines that it has are passed over.
    ///
    /// # Errors
    /// It is no line of a book, or can't be pressed.
    pub(super) fn take(&mut self, text: &[u8], press: &mut Press) -> Result<(), IndexFault> {
        let doubt = || IndexFault::Doubt("a stored line has no number".into());
        let (seq, kind) = outline(text).ok_or_else(doubt)?;
        if seq <= self.mark.seq {
            return Ok(());
        }
        self.mark.seq = seq;
        let at = boot_us(text).ok_or_else(doubt)?;
        self.tallying.take(kind, text, at).map_err(|error| unread(seq, &error))?;
        self.resting.take(seq, kind, text)?;
        match kind {
            b"in" => {
                let full = self.readings.readings() >= READINGS_MAX
                    || self.readings.size() + text.len() > BLOCK_MAX;
                if full {
                    self.end_block(press)?;
                }
                self.readings.push(seq, text);
                self.mark.lines += 1;
            }
            b"verdict" => {
                let judged = self.summary.judged(text);
                judged.map_err(|error| unread(seq, &error))?;
                if self.verdicts.len() + text.len() > BLOCK_MAX {
                    self.end_verdicts(press)?;
                }
                self.verdicts.extend_from_slice(text);
                self.verdicts.push(b'\n');
                self.mark.lines += 1;
            }
            b"tap" | b"sign" | b"end" => {
                let line = read(text)?;
                self.summary.apply(&line);
                if matches!(line.fact, Fact::Sign(_) | Fact::End(_)) {
                    let signed = matches!(line.fact, Fact::Sign(_)).then_some(seq);
                    self.tally = self.tallying.end(signed, &self.summary.reason);
                    self.closed = true;
                }
            }
            _ => {}
        }
        Ok(())
    }

    /// Makes rows of all that is held.
    ///
    /// # Errors
    /// It can't be pressed.
    pub(super) fn finish(&mut self, press: &mut Press) -> Result<(), IndexFault> {
        self.end_block(press)?;
        self.end_verdicts(press)?;
        let kept = serde_json::to_vec(&self.kept());
        let kept = kept.map_err(|error| IndexFault::Doubt(error.to_string()))?;
        self.row(RESTS, &kept, press)
    }

    /// What its verdicts rest on, as far as it came.
    pub(super) fn kept(&self) -> Kept {
        let Summary { damaged, reason, .. } = &self.summary;
        self.resting.kept((self.tallying.is_given(), *damaged, reason))
    }

    /// All that its verdicts in force rest on, sorted.
    pub(super) fn names(&self) -> Vec<String> {
        self.resting.names().into_iter().map(str::to_owned).collect()
    }

    /// A copy of all that is held.
    pub(super) fn held(&self) -> Held {
        let block = (!self.readings.is_empty()).then(|| self.readings.block());
        Held { rows: self.rows.clone(), block, verdicts: self.verdicts.clone() }
    }

    fn end_block(&mut self, press: &mut Press) -> Result<(), IndexFault> {
        if self.readings.is_empty() {
            return Ok(());
        }
        let readings = std::mem::take(&mut self.readings);
        self.row(readings.first_seq(), &readings.block(), press)
    }

    fn end_verdicts(&mut self, press: &mut Press) -> Result<(), IndexFault> {
        if self.verdicts.is_empty() {
            return Ok(());
        }
        let verdicts = std::mem::take(&mut self.verdicts);
        let part = VERDICTS + self.parts;
        self.parts += 1;
        self.row(part, &verdicts, press)
    }

    fn row(&mut self, number: u64, plain: &[u8], press: &mut Press) -> Result<(), IndexFault> {
        let key = key(&self.summary.id, number);
        let value = press.value(&key, plain)?;
        self.mark.rows += 1;
        self.mark.sum = self.mark.sum.wrapping_add(sum(&key, &value));
        self.rows.push((key, value));
        Ok(())
    }
}

/// What a row adds to the sum of its inspection.
pub(super) fn sum(key: &[u8], value: &[u8]) -> u64 {
    let sum = Sha256::new().chain_update(key).chain_update(value).finalize();
    u64::from_be_bytes(*sum.first_chunk().expect("SHA-256 has 32 bytes"))
}

pub(super) fn key(id: &str, number: u64) -> Vec<u8> {
    [id.as_bytes(), &[0], &number.to_be_bytes()].concat()
}

/// Prefix of all keys of an inspection.
pub(super) fn keys_of(id: &str) -> Vec<u8> {
    [id.as_bytes(), &[0]].concat()
}

/// The number of a key.
pub(super) fn number_of(key: &[u8], id: &str) -> Option<u64> {
    let number = key.strip_prefix(keys_of(id).as_slice())?;
    Some(u64::from_be_bytes(number.try_into().ok()?))
}

fn unread(seq: u64, error: &serde_json::Error) -> IndexFault {
    IndexFault::Doubt(format!("line {seq}: {error}"))
}

pub(super) fn read(text: &[u8]) -> Result<Line, IndexFault> {
    Line::read(text).map_err(|fault| IndexFault::Doubt(fault.to_string()))
}

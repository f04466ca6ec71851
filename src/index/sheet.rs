//! Sheets: what the `when` tree holds. Each is a run of the list of inspections, in the order of
//! their opening, with what lies in the `record` tree of each.
//!
//! A list of single rows was measured first: 100 000 of them take 0.4 s to walk, as sheets 0.03 s,
//! and a fifth of the room. Names stand once in a sheet, so that a question reads over a sheet
//! without the name it asks for.

use std::collections::BTreeMap;

use tapline_protocols::fact::Word;

use super::bytes::{put, put_bytes, put_signed, take, take_bytes, take_len, take_signed};
use super::summary::{LimitRow, Summary};
use super::tally::Tally;
use super::work::Mark;
use crate::books::line::{time_read, time_text};

/// At most so many inspections in a sheet.
pub(super) const SHEET_MAX: usize = 128;

/// An inspection of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Listed {
    pub(super) opened_us: i64,
    pub(super) summary: Summary,
    pub(super) tally: Tally,
    /// All that its verdicts in force rest on, sorted: see [`crate::replay::Basis::is_named`].
    pub(super) rests: Vec<String>,
    pub(super) mark: Mark,
    pub(super) seal: Option<Seal>,
}

/// What a book was sealed as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Seal {
    /// The first bytes of its head.
    pub(super) head: [u8; 16],
    pub(super) bytes: u64,
}

impl Listed {
    pub(super) fn key(&self) -> Vec<u8> {
        when_key(self.opened_us, &self.summary.id)
    }
}

/// Key in the order of opening: the moment, then the name.
pub(super) fn when_key(opened_us: i64, id: &str) -> Vec<u8> {
    [&moment_key(opened_us)[..], id.as_bytes()].concat()
}

/// Moments so that they sort as bytes.
pub(super) fn moment_key(us: i64) -> [u8; 8] {
    (us ^ i64::MIN).cast_unsigned().to_be_bytes()
}

/// A sheet whose names alone were read: most questions end here.
#[derive(Debug)]
pub(super) struct Begun<'a> {
    pub(super) names: Vec<&'a str>,
    /// Inspections in it.
    pub(super) count: usize,
    rest: &'a [u8],
}

/// A sheet that is looked through: names as numbers.
#[derive(Debug)]
pub(super) struct Sheet<'a> {
    pub(super) names: Vec<&'a str>,
    pub(super) entries: Vec<Entry>,
}

/// An inspection in a sheet; names are numbers of the sheet's.
#[derive(Debug)]
pub(super) struct Entry {
    pub(super) opened_us: i64,
    pub(super) id: usize,
    asset: usize,
    plan: usize,
    pub(super) reason: usize,
    bench: usize,
    by: Option<usize>,
    closed_us: Option<i64>,
    pub(super) verdict: Option<Word>,
    words: Vec<usize>,
    pub(super) ended: Option<usize>,
    pub(super) instruments: Vec<usize>,
    pub(super) drivers: Vec<usize>,
    /// Names of rows are row, standard, edition and table, split by [`SPLIT`].
    pub(super) limits: Vec<usize>,
    pub(super) damaged: bool,
    pub(super) tally: Tally,
    pub(super) rests: Vec<usize>,
    mark: Mark,
    pub(super) seal: Option<Seal>,
}

/// Splits the parts of a limit's name.
const SPLIT: char = '\u{1f}';
const WORDS: [Option<Word>; 6] = [
    None,
    Some(Word::Pass),
    Some(Word::ConditionalPass),
    Some(Word::ConditionalFail),
    Some(Word::Fail),
    Some(Word::Undecided),
];

/// A sheet, to be pressed.
pub(super) fn write(listed: &[Listed]) -> Option<Vec<u8>> {
    let mut names = Names::default();
    let mut body = Vec::new();
    let mut last = 0;
    for one in listed {
        put_signed(&mut body, one.opened_us.wrapping_sub(last));
        last = one.opened_us;
        names.summary(&mut body, &one.summary, one.opened_us)?;
        one.tally.write(&mut names, &mut body);
        names.list(&mut body, one.rests.iter().map(String::as_str));
        let Mark { seq, rows, lines, sum } = one.mark;
        [seq, rows, lines].iter().for_each(|number| put(&mut body, *number));
        body.extend_from_slice(&sum.to_be_bytes());
        body.push(u8::from(one.seal.is_some()));
        if let Some(seal) = &one.seal {
            body.extend_from_slice(&seal.head);
            put(&mut body, seal.bytes);
        }
    }
    let mut out = Vec::new();
    put(&mut out, names.list.len() as u64);
    names.list.iter().for_each(|name| put_bytes(&mut out, name.as_bytes()));
    put(&mut out, listed.len() as u64);
    out.extend_from_slice(&body);
    Some(out)
}

/// The names of a sheet, as it is written.
#[derive(Default)]
pub(super) struct Names {
    numbers: BTreeMap<String, u64>,
    list: Vec<String>,
}

impl Names {
    pub(super) fn put(&mut self, out: &mut Vec<u8>, name: &str) {
        let next = self.list.len() as u64;
        let number = *self.numbers.entry(name.to_owned()).or_insert(next);
        if number == next {
            self.list.push(name.to_owned());
        }
        put(out, number);
    }

    fn maybe(&mut self, out: &mut Vec<u8>, name: Option<&str>) {
        out.push(u8::from(name.is_some()));
        if let Some(name) = name {
            self.put(out, name);
        }
    }

    pub(super) fn list<'a>(
        &mut self,
        out: &mut Vec<u8>,
        names: impl ExactSizeIterator<Item = &'a str>,
    ) {
        put(out, names.len() as u64);
        names.for_each(|name| self.put(out, name));
    }

    /// `None` if a moment in it can't be read.
    fn summary(&mut self, out: &mut Vec<u8>, of: &Summary, opened_us: i64) -> Option<()> {
        [&of.id, &of.asset, &of.plan, &of.reason, &of.bench].iter().for_each(|n| self.put(out, n));
        self.maybe(out, of.by.as_deref());
        out.push(u8::from(of.closed.is_some()));
        if let Some(closed) = &of.closed {
            put_signed(out, time_read(closed)?.wrapping_sub(opened_us));
        }
        let word = WORDS.iter().position(|word| *word == of.verdict)?;
        out.push(u8::try_from(word).ok()?);
        self.list(out, of.words.iter().map(String::as_str));
        self.maybe(out, of.ended.as_deref());
        self.list(out, of.instruments.iter().map(String::as_str));
        self.list(out, of.drivers.iter().map(String::as_str));
        let limits: Vec<String> = of.limits.iter().map(limit_name).collect();
        self.list(out, limits.iter().map(String::as_str));
        out.push(u8::from(of.damaged));
        Some(())
    }
}

fn limit_name(limit: &LimitRow) -> String {
    let [id, standard, edition, table] = limit.parts();
    format!("{id}{SPLIT}{standard}{SPLIT}{edition}{SPLIT}{table}")
}

/// Row, standard, edition and table of a limit's name; `None` of any other name.
pub(super) fn limit_parts(name: &str) -> Option<[&str; 4]> {
    let mut parts = name.split(SPLIT);
    // Most names end here.
    let (id, standard) = (parts.next()?, parts.next()?);
    Some([id, standard, parts.next()?, parts.next()?])
}

fn limit_row(name: &str) -> Option<LimitRow> {
    let [id, standard, edition, table] = limit_parts(name)?.map(str::to_owned);
    Some(LimitRow { id, standard, edition, table })
}

/// The number of a name among those of a sheet.
pub(super) fn number(names: &[&str], name: &str) -> Option<usize> {
    names.iter().position(|known| *known == name)
}

impl<'a> Begun<'a> {
    /// `None` if it is no sheet.
    pub(super) fn read(plain: &'a [u8]) -> Option<Begun<'a>> {
        let mut from = plain;
        let count = take_len(&mut from).filter(|n| *n <= plain.len())?;
        let name = |_| std::str::from_utf8(take_bytes(&mut from)?).ok();
        let names = (0..count).map(name).collect::<Option<Vec<&str>>>()?;
        let count = take_len(&mut from).filter(|n| *n <= plain.len())?;
        Some(Begun { names, count, rest: from })
    }

    /// `None` if it is no sheet.
    pub(super) fn sheet(self) -> Option<Sheet<'a>> {
        let Begun { names, count, rest: mut from } = self;
        let mut last = 0;
        let mut entries = Vec::with_capacity(count);
        for _ in 0..count {
            let entry = Entry::read(&mut from, last, &names)?;
            last = entry.opened_us;
            entries.push(entry);
        }
        from.is_empty().then_some(Sheet { names, entries })
    }
}

impl<'a> Sheet<'a> {
    /// `None` if it is no sheet.
    pub(super) fn read(plain: &'a [u8]) -> Option<Sheet<'a>> {
        Begun::read(plain)?.sheet()
    }

    /// The number of a name, if it stands in the sheet.
    pub(super) fn number(&self, name: &str) -> Option<usize> {
        number(&self.names, name)
    }

    pub(super) fn asset(&self, entry: &Entry) -> &'a str {
        self.names[entry.asset]
    }

    pub(super) fn key(&self, entry: &Entry) -> Vec<u8> {
        when_key(entry.opened_us, self.names[entry.id])
    }

    /// An entry with its names; `None` if a moment can't be written.
    pub(super) fn listed(&self, entry: &Entry) -> Option<Listed> {
        let name = |n: &usize| self.names[*n].to_owned();
        let all = |list: &[usize]| list.iter().map(name).collect::<Vec<_>>();
        let limits = entry.limits.iter().map(|n| limit_row(self.names[*n]));
        let summary = Summary {
            id: name(&entry.id),
            asset: name(&entry.asset),
            plan: name(&entry.plan),
            reason: name(&entry.reason),
            bench: name(&entry.bench),
            opened: time_text(entry.opened_us)?,
            by: entry.by.as_ref().map(name),
            closed: match entry.closed_us {
                Some(us) => Some(time_text(us)?),
                None => None,
            },
            verdict: entry.verdict,
            words: all(&entry.words),
            ended: entry.ended.as_ref().map(name),
            instruments: all(&entry.instruments),
            drivers: all(&entry.drivers),
            limits: limits.collect::<Option<_>>()?,
            later: None,
            damaged: entry.damaged,
        };
        let (opened_us, mark, seal) = (entry.opened_us, entry.mark, entry.seal);
        let (tally, rests) = (entry.tally.clone(), all(&entry.rests));
        Some(Listed { opened_us, summary, tally, rests, mark, seal })
    }

    /// All entries with their names.
    pub(super) fn all(&self) -> Option<Vec<Listed>> {
        self.entries.iter().map(|entry| self.listed(entry)).collect()
    }
}

impl Entry {
    fn read(from: &mut &[u8], last: i64, names: &[&str]) -> Option<Entry> {
        let opened_us = last.wrapping_add(take_signed(from)?);
        let name = |from: &mut &[u8]| take_len(from).filter(|n| *n < names.len());
        let list = |from: &mut &[u8]| {
            let count = take_len(from).filter(|n| *n <= from.len())?;
            (0..count).map(|_| name(from)).collect::<Option<Vec<_>>>()
        };
        let (id, asset, plan) = (name(from)?, name(from)?, name(from)?);
        let (reason, bench) = (name(from)?, name(from)?);
        let by = if flag(from)? { Some(name(from)?) } else { None };
        let closed = if flag(from)? { Some(take_signed(from)?) } else { None };
        let closed_us = closed.map(|after| opened_us.wrapping_add(after));
        let verdict = *WORDS.get(take_len(from)?)?;
        let words = list(from)?;
        let ended = if flag(from)? { Some(name(from)?) } else { None };
        let (instruments, drivers, limits) = (list(from)?, list(from)?, list(from)?);
        let damaged = flag(from)?;
        let tally = Tally::read(from, names)?;
        let rests = list(from)?;
        let (seq, rows, lines) = (take(from)?, take(from)?, take(from)?);
        let sum = u64::from_be_bytes(fixed(from)?);
        let seal = match flag(from)? {
            true => Some(Seal { head: fixed(from)?, bytes: take(from)? }),
            false => None,
        };
        let mark = Mark { seq, rows, lines, sum };
        Some(Entry {
            opened_us,
            id,
            asset,
            plan,
            reason,
            bench,
            by,
            closed_us,
            verdict,
            words,
            ended,
            instruments,
            drivers,
            limits,
            damaged,
            tally,
            rests,
            mark,
            seal,
        })
    }
}

fn flag(from: &mut &[u8]) -> Option<bool> {
    match fixed::<1>(from)? {
        [0] => Some(false),
        [1] => Some(true),
        _ => None,
    }
}

pub(super) fn fixed<const N: usize>(from: &mut &[u8]) -> Option<[u8; N]> {
    let (bytes, rest) = from.split_first_chunk::<N>()?;
    *from = rest;
    Some(*bytes)
}

//! One pass over a book without understanding its facts: enough to go on writing it.

use std::collections::BTreeSet;
use std::io;

use serde::Deserialize;
use sha2::Sha256;
use tapline_protocols::Fact;
use tapline_protocols::fact::KeyFact;

use super::disk::Disk;
use super::line::{Line, outline};
use super::reader::{Ending, Reader, is_mark};

/// What a writer has to know of a book.
#[derive(Debug)]
pub(super) struct Scan {
    pub(super) ending: Ending,
    /// Hash and number of the bytes that are believed.
    pub(super) above: Sha256,
    pub(super) bytes: u64,
    /// Highest `seq` that is believed; 0 without lines.
    pub(super) seq: u64,
    /// Set-aside files that its `torn` facts name.
    pub(super) torn: BTreeSet<String>,
    /// Its `sealed` facts name these books.
    pub(super) sealed: Vec<String>,
    /// Its last `key` fact.
    pub(super) key: Option<KeyFact>,
    /// Its last fact, `torn` ones aside, is `sign` or `end`.
    pub(super) closed: bool,
}

/// Of the many lines of this kind only the name is read.
#[derive(Deserialize)]
struct Named {
    id: String,
}

pub(super) fn scan(disk: &dyn Disk, path: &str) -> io::Result<Scan> {
    scan_lines(disk, path, &mut |_, _| {})
}

/// The same, and shows each believed line with its number in the file.
pub(super) fn scan_lines(
    disk: &dyn Disk,
    path: &str,
    show: &mut dyn FnMut(u64, &[u8]),
) -> io::Result<Scan> {
    let mut reader = Reader::new(disk.read(path, 0)?);
    let mut scan = Scan {
        ending: Ending::Whole,
        above: reader.above(),
        bytes: 0,
        seq: 0,
        torn: BTreeSet::new(),
        sealed: Vec::new(),
        key: None,
        closed: false,
    };
    while let Some(commit) = reader.commit()? {
        scan.above = reader.above();
        for (line, number) in commit.lines().zip(commit.line..) {
            scan.line(line);
            show(number, line);
        }
    }
    scan.bytes = reader.believed();
    scan.ending = reader.ending().cloned().unwrap_or(Ending::Whole);
    Ok(scan)
}

impl Scan {
    fn line(&mut self, line: &[u8]) {
        let Some((seq, kind)) = outline(line) else { return };
        self.seq = self.seq.max(seq);
        match kind {
            b"sign" | b"end" => self.closed = true,
            b"sealed" => self.sealed.extend(serde_json::from_slice(line).map(|Named { id }| id)),
            b"torn" | b"key" => match Line::read(line).map(|line| line.fact) {
                Ok(Fact::Torn(torn)) => drop(self.torn.insert(torn.file)),
                Ok(Fact::Key(key)) => self.key = Some(key),
                _ => {}
            },
            _ => self.closed = false,
        }
    }
}

/// The last bytes of a file, believed or not.
pub(super) struct End {
    /// Highest `seq` in them: a number that may have been used is not used again.
    pub(super) seq: u64,
    /// The last line has the shape of a mark.
    pub(super) marked: bool,
}

/// Looks at the end of a book.
pub(super) fn end(disk: &dyn Disk, path: &str) -> io::Result<End> {
    use io::Read;
    let window = 2 * super::line::LINE_BYTES_MAX as u64;
    let from = disk.length(path)?.unwrap_or(0).saturating_sub(window);
    let mut bytes = Vec::new();
    disk.read(path, from)?.take(window).read_to_end(&mut bytes)?;
    let seqs = bytes.split(|&b| b == b'\n').filter_map(outline).map(|(seq, _)| seq);
    let seq = seqs.max().unwrap_or(0);
    let last = bytes.split_inclusive(|&b| b == b'\n').next_back();
    Ok(End { seq, marked: last.is_some_and(is_mark) })
}

//! Reads a book: what is believed, and what stands behind the last right mark.
//!
//! A commit is believed only if its mark is the SHA-256 of every byte above it. Memory is bounded
//! by one commit. Every commit is synced before the next is written, so a power cut can spoil the
//! last one only: two marks or more behind the last right one are damage, no tear.

use std::fmt;
use std::io::{self, BufRead, BufReader, Read};

use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};

use super::format;
use super::line::{LINE_BYTES_MAX, Line, LineFault};

/// Largest commit of one book, bytes: what a reader holds at once. A writer refuses more.
pub const COMMIT_BYTES_MAX: usize = 16 << 20;

const MARK_BEGIN: &[u8] = b"{\"mark\":\"";
const MARK_END: &[u8] = b"\"}\n";

/// The mark line, with its line feed, for a hash of all bytes above.
#[must_use]
pub fn mark_line(above: &Sha256) -> String {
    format!("{{\"mark\":\"{}\"}}\n", HEXLOWER.encode(&above.clone().finalize()))
}

/// Commits of a book, in order. When they end, [`Reader::ending`] says how.
pub struct Reader<R> {
    source: BufReader<R>,
    above: Sha256,
    /// Bytes and lines that are believed.
    at: u64,
    line: u64,
    ending: Option<Ending>,
}

/// Lines that are believed, with their mark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Commit {
    /// Offset of its first byte.
    pub from: u64,
    /// Number of its first line, counted from 1.
    pub line: u64,
    bytes: Vec<u8>,
    ends: Vec<usize>,
}

/// What follows the last right mark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ending {
    /// Nothing.
    Whole,
    /// One commit that a power cut or a full disk broke off.
    Torn(Tail),
    /// A wrong mark further up: from here on nothing is believed.
    Damaged(Tail),
}

/// The bytes behind the last right mark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tail {
    /// Offset of the first of them: so many bytes are believed.
    pub from: u64,
    /// Number of the first line of them, counted from 1.
    pub line: u64,
    /// First line whose mark is wrong, if one was reached: the change lies between the two.
    pub mark_line: Option<u64>,
    /// How many.
    pub bytes: u64,
    /// Their SHA-256, hex.
    pub sha256: String,
}

/// A line that is right by its mark and still can't be understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// Line, counted from 1.
    pub line: u64,
    /// Offset of its first byte.
    pub at: u64,
    /// Why.
    pub fault: LineFault,
}

impl<R: Read> Reader<R> {
    /// Reads a book from its first byte.
    pub fn new(source: R) -> Reader<R> {
        let source = BufReader::with_capacity(LINE_BYTES_MAX, source);
        Reader { source, above: Sha256::new(), at: 0, line: 1, ending: None }
    }

    /// The next commit that is believed; `None` at the end of them.
    ///
    /// # Errors
    /// The source can't be read, or is a book of a format that this program does not know.
    pub fn commit(&mut self) -> io::Result<Option<Commit>> {
        let mut commit = Commit { from: self.at, line: self.line, bytes: vec![], ends: vec![] };
        while self.ending.is_none() {
            let begin = commit.bytes.len();
            let most = LINE_BYTES_MAX as u64;
            let read = (&mut self.source).take(most).read_until(b'\n', &mut commit.bytes)?;
            let line = &commit.bytes[begin..];
            if read == 0 && begin == 0 {
                self.ending = Some(Ending::Whole);
            } else if !line.ends_with(b"\n") || commit.bytes.len() > COMMIT_BYTES_MAX {
                self.ending = Some(self.rest(&commit, None)?);
            } else if !is_mark(line) {
                self.above.update(line);
                commit.ends.push(commit.bytes.len());
            } else if mark_line(&self.above).as_bytes() == line {
                if self.at == 0 {
                    format::known(commit.lines().next().unwrap_or_default())?;
                }
                self.above.update(line);
                self.at += commit.bytes.len() as u64;
                self.line += commit.ends.len() as u64 + 1;
                return Ok(Some(commit));
            } else {
                let mark = commit.line + commit.ends.len() as u64;
                self.ending = Some(self.rest(&commit, Some(mark))?);
            }
        }
        Ok(None)
    }

    /// How the book ends; `None` while commits may follow.
    #[must_use]
    pub fn ending(&self) -> Option<&Ending> {
        self.ending.as_ref()
    }

    /// Bytes that are believed so far.
    #[must_use]
    pub fn believed(&self) -> u64 {
        self.at
    }

    /// SHA-256 over the bytes that are believed, ready to take more. Right only at the end of a
    /// book that is [`Ending::Whole`].
    #[must_use]
    pub fn above(&self) -> Sha256 {
        self.above.clone()
    }

    /// Reads the rest, to tell a tear from damage.
    fn rest(&mut self, commit: &Commit, mut mark_line: Option<u64>) -> io::Result<Ending> {
        let mut tail = Sha256::new();
        tail.update(&commit.bytes);
        let mut bytes = commit.bytes.len() as u64;
        let mut line = commit.line + commit.ends.len() as u64;
        let mut marked = mark_line.is_some();
        let mut damaged = false;
        let mut held = Vec::new();
        loop {
            held.clear();
            let most = LINE_BYTES_MAX as u64;
            if (&mut self.source).take(most).read_until(b'\n', &mut held)? == 0 {
                break;
            }
            // Something follows a mark: more than the last commit is wrong.
            damaged |= marked;
            line += 1;
            tail.update(&held);
            bytes += held.len() as u64;
            if is_mark(&held) {
                mark_line.get_or_insert(line);
                marked = true;
            }
        }
        let sha256 = HEXLOWER.encode(&tail.finalize());
        let tail = Tail { from: commit.from, line: commit.line, mark_line, bytes, sha256 };
        Ok(if damaged { Ending::Damaged(tail) } else { Ending::Torn(tail) })
    }
}

impl<R: Read> Iterator for Reader<R> {
    type Item = io::Result<Commit>;

    fn next(&mut self) -> Option<io::Result<Commit>> {
        self.commit().transpose()
    }
}

impl Commit {
    /// Its lines as stored, without line feeds and without the mark.
    pub fn lines(&self) -> impl Iterator<Item = &[u8]> {
        self.spans().map(|(begin, end)| &self.bytes[begin..end - 1])
    }

    /// Its lines, understood.
    pub fn read(&self) -> impl Iterator<Item = Result<Line, Unread>> {
        self.spans().enumerate().map(|(n, (begin, end))| {
            Line::read(&self.bytes[begin..end]).map_err(|fault| Unread {
                line: self.line + n as u64,
                at: self.from + begin as u64,
                fault,
            })
        })
    }

    fn spans(&self) -> impl Iterator<Item = (usize, usize)> {
        let begins = std::iter::once(0).chain(self.ends.iter().copied());
        begins.zip(self.ends.iter().copied())
    }
}

impl Ending {
    /// Nothing follows the last right mark.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        matches!(self, Ending::Whole)
    }
}

impl fmt::Display for Tail {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Tail { from, line, bytes, .. } = self;
        match self.mark_line {
            Some(mark) => write!(
                f,
                "the mark on line {mark} does not fit the lines above it: something changed \
                 between line {line} (byte {from}) and line {mark}"
            ),
            None => write!(f, "{bytes} bytes from line {line} (byte {from}) on have no mark"),
        }
    }
}

impl fmt::Display for Unread {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Unread { line, at, fault } = self;
        write!(f, "line {line} (byte {at}): {fault}")
    }
}

impl std::error::Error for Unread {}

/// It has the shape of a mark line; whether the mark is right is another question.
pub(super) fn is_mark(line: &[u8]) -> bool {
    let hex = line.strip_prefix(MARK_BEGIN).and_then(|rest| rest.strip_suffix(MARK_END));
    hex.is_some_and(|hex| hex.len() == 64 && hex.iter().all(u8::is_ascii_hexdigit))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn book(commits: &[&[&str]]) -> Vec<u8> {
        let mut bytes = Vec::new();
        for commit in commits {
            for line in *commit {
                bytes.extend_from_slice(line.as_bytes());
                bytes.push(b'\n');
            }
            let mut above = Sha256::new();
            above.update(&bytes);
            bytes.extend_from_slice(mark_line(&above).as_bytes());
        }
        bytes
    }

    fn read(bytes: &[u8]) -> (Vec<String>, Ending) {
        let mut reader = Reader::new(bytes);
        let mut lines = Vec::new();
        while let Some(commit) = reader.commit().unwrap() {
            lines.extend(commit.lines().map(|l| String::from_utf8_lossy(l).into_owned()));
        }
        (lines, reader.ending().unwrap().clone())
    }

    #[test]
    fn whole_books_are_believed_whole() {
        assert_eq!(read(b""), (vec![], Ending::Whole));
        let (lines, ending) = read(&book(&[&["a", "b"], &["c"]]));
        assert_eq!((lines, ending), (vec!["a".into(), "b".into(), "c".into()], Ending::Whole));
    }

    #[test]
    fn every_cut_inside_the_last_commit_is_a_tear_behind_the_first() {
        let whole = book(&[&["a", "b"], &["c"]]);
        let first = book(&[&["a", "b"]]).len();
        for cut in first + 1..whole.len() {
            let (lines, ending) = read(&whole[..cut]);
            assert_eq!(lines, ["a", "b"]);
            let Ending::Torn(tail) = ending else { panic!("{ending:?}") };
            assert_eq!((tail.from, tail.bytes), (first as u64, (cut - first) as u64));
            assert_eq!((tail.line, tail.mark_line), (4, None));
            assert_eq!(tail.sha256, HEXLOWER.encode(&Sha256::digest(&whole[first..cut])));
        }
    }

    #[test]
    fn a_changed_byte_further_up_is_damage_from_that_commit() {
        let mut bytes = book(&[&["a", "b"], &["c"], &["d"]]);
        let first = book(&[&["a", "b"]]).len();
        bytes[first] ^= 1;
        let (lines, ending) = read(&bytes);
        assert_eq!(lines, ["a", "b"]);
        let Ending::Damaged(tail) = ending else { panic!("{ending:?}") };
        assert_eq!((tail.from, tail.line, tail.mark_line), (first as u64, 4, Some(5)));
        assert!(tail.to_string().contains("between line 4"), "{tail}");
    }

    #[test]
    fn every_changed_byte_takes_its_commit_and_all_behind_it() {
        let bytes = book(&[&["a", "b"], &["c"], &["d"]]);
        let ends: Vec<usize> =
            [&[&["a", "b"][..]][..], &[&["a", "b"], &["c"]], &[&["a", "b"], &["c"], &["d"]]]
                .map(|b| book(b).len())
                .to_vec();
        for at in 0..bytes.len() {
            let mut bad = bytes.clone();
            bad[at] ^= 0x20;
            let whole = ends.iter().take_while(|&&end| end <= at).count();
            let want = [&[][..], &["a", "b"], &["a", "b", "c"]][whole];
            let (lines, ending) = read(&bad);
            assert_eq!(lines, want, "byte {at}");
            assert!(!ending.is_whole());
        }
    }

    #[test]
    fn a_line_without_end_needs_no_memory() {
        let endless = io::repeat(b'x').take(40 << 20);
        let mut reader = Reader::new(endless);
        assert_eq!(reader.commit().unwrap(), None);
        let Some(Ending::Torn(tail)) = reader.ending() else { panic!() };
        assert_eq!(tail.bytes, 40 << 20);
    }
}

//! Books: what is believed against a second, simpler reading of the same bytes.

use std::io::{self, Read};

use sha2::{Digest, Sha256};
use tapline::books::line::{LINE_BYTES_MAX, Line};
use tapline::books::{Ending, Reader};

use super::hunt::Verdict;
use super::random::{Random, feature};

/// What a reader makes of a book.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Believed {
    /// So many bytes.
    pub(crate) bytes: u64,
    pub(crate) lines: Vec<Vec<u8>>,
    pub(crate) whole: bool,
    /// It names a format that is not known: nothing is read.
    pub(crate) refused: bool,
}

/// Returns a few bytes at a time.
struct Slow<'a>(&'a [u8], Random);

impl Read for Slow<'_> {
    fn read(&mut self, to: &mut [u8]) -> io::Result<usize> {
        let most = 1 + self.1.below(300);
        let length = most.min(self.0.len()).min(to.len());
        let (now, later) = self.0.split_at(length);
        to[..length].copy_from_slice(now);
        self.0 = later;
        Ok(length)
    }
}

/// The program's reader.
pub(crate) fn program(bytes: &[u8]) -> Believed {
    let mut reader = Reader::new(Slow(bytes, Random::of("cuts")));
    let mut believed = Believed::default();
    loop {
        match reader.commit() {
            Ok(Some(commit)) => believed.lines.extend(commit.lines().map(<[u8]>::to_vec)),
            Ok(None) => break,
            Err(_) => return Believed { refused: true, ..Believed::default() },
        }
    }
    believed.bytes = reader.believed();
    believed.whole = reader.ending().is_some_and(Ending::is_whole);
    believed
}

/// `{"mark":"` and 64 digits and `"}`.
fn is_mark(line: &[u8]) -> bool {
    let hex = line.strip_prefix(b"{\"mark\":\"").and_then(|rest| rest.strip_suffix(b"\"}\n"));
    hex.is_some_and(|hex| hex.len() == 64 && hex.iter().all(u8::is_ascii_hexdigit))
}

fn mark(above: &[u8]) -> Vec<u8> {
    let hex: String = Sha256::digest(above).iter().map(|byte| format!("{byte:02x}")).collect();
    format!("{{\"mark\":\"{hex}\"}}\n").into_bytes()
}

/// By the rule alone: up to the last mark before which every mark is the hash of all above it.
fn rule(bytes: &[u8]) -> Believed {
    let mut believed = Believed { whole: bytes.is_empty(), ..Believed::default() };
    let (mut at, mut pending) = (0, Vec::new());
    for line in bytes.split_inclusive(|byte| *byte == b'\n') {
        if !line.ends_with(b"\n") || line.len() > LINE_BYTES_MAX {
            return believed;
        }
        if !is_mark(line) {
            pending.push(line[..line.len() - 1].to_vec());
        } else if mark(&bytes[..at]) != line {
            return believed;
        } else {
            if believed.bytes == 0 && other_format(pending.first()) {
                return Believed { refused: true, ..Believed::default() };
            }
            believed.lines.append(&mut pending);
            believed.bytes = (at + line.len()) as u64;
        }
        at += line.len();
    }
    believed.whole = believed.bytes == bytes.len() as u64;
    believed
}

fn other_format(line: Option<&Vec<u8>>) -> bool {
    let named = b"\"format\":\"tapline-book-";
    let Some(line) = line else { return false };
    let at = line.windows(named.len()).position(|part| part == named);
    at.is_some_and(|at| !line[at + named.len()..].starts_with(b"1\""))
}

/// Nothing is believed that the marks don't cover, as it is and with every mark made right.
pub(crate) fn book(read: &dyn Fn(&[u8]) -> Believed, bytes: &[u8]) -> Verdict {
    let mut features = Vec::new();
    for bytes in [bytes.to_vec(), marked_anew(bytes)] {
        let (believed, rule) = (read(&bytes), rule(&bytes));
        if believed != rule {
            let (told, by_rule) = (short(&believed), short(&rule));
            return Err(format!(
                "of {} bytes: believed {told}, by the marks {by_rule}",
                bytes.len()
            ));
        }
        for line in &believed.lines {
            features.push(line_again(line)?);
        }
        let ends = (believed.whole, believed.refused, believed.lines.len().min(20));
        features.push(feature(&format!("{ends:?}")));
    }
    Ok(features)
}

fn short(believed: &Believed) -> String {
    let Believed { bytes, lines, whole, refused } = believed;
    format!("{bytes} bytes, {} lines, whole {whole}, refused {refused}", lines.len())
}

/// What was in the book with a right mark wherever there was one.
fn marked_anew(bytes: &[u8]) -> Vec<u8> {
    let (mut out, mut above) = (Vec::new(), Sha256::new());
    for line in bytes.split_inclusive(|byte| *byte == b'\n') {
        let line = if is_mark(line) {
            let hex: String =
                above.clone().finalize().iter().map(|byte| format!("{byte:02x}")).collect();
            format!("{{\"mark\":\"{hex}\"}}\n").into_bytes()
        } else {
            line.to_vec()
        };
        above.update(&line);
        out.extend(line);
    }
    out
}

/// A line that is understood and written is understood as the same.
fn line_again(line: &[u8]) -> Result<u64, String> {
    let Ok(read) = Line::read(line) else { return Ok(0) };
    let Ok(written) = read.bytes() else { return Ok(1) };
    let again = Line::read(&written);
    if again.as_ref() != Ok(&read) {
        return Err(format!("{read:?} is read back as {again:?}"));
    }
    Ok(feature(&format!("{:?} {}", std::mem::discriminant(&read.fact), read.by.is_some())))
}

//! Checks a book as a stranger would: marks, head, signature. Needs no daemon and writes nothing.

use std::fmt;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use data_encoding::HEXLOWER;
use serde::Serialize;
use sha2::{Digest, Sha256};
use tapline_protocols::Fact;
use tapline_protocols::fact::{AddendumFact, TornFact};

use super::addenda;
use super::announced::{self, in_folder, vouched_for};
use super::format;
use super::key::{PublicKey, is_signed};
use super::line::{Line, outline};
use super::place::{InspectionName, OPEN, inspection_of};
use super::reader::{Commit, Ending, Reader};
use super::seal::head_text;

/// A head, signature or key file is never longer, bytes.
const SMALL_MAX: u64 = 4096;
/// So many faults are listed; the first is the one that counts.
const FAULTS_MAX: usize = 20;

/// What was found in one book.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Report {
    /// The file.
    pub file: String,
    /// Nothing is wrong with it.
    pub ok: bool,
    /// It has a head and a signature, and they fit.
    pub sealed: bool,
    /// Lines that are believed, marks left out.
    pub lines: u64,
    /// Marks that are right.
    pub marks: u64,
    /// Bytes of the file.
    pub bytes: u64,
    /// SHA-256 of the file, hex.
    pub sha256: String,
    /// SHA-256 of the public key (SPKI DER) that signed it, hex: compare it with the paper.
    pub key: Option<String>,
    /// File of that key, where it was looked for.
    pub key_file: Option<String>,
    /// Name that its first line gives it.
    pub id: Option<String>,
    /// What is wrong, first things first.
    pub faults: Vec<VerifyFault>,
    /// What it says of bytes that were set aside.
    #[serde(skip)]
    pub torn: Vec<TornFact>,
    /// What it adds to, where it is an addendum.
    #[serde(skip)]
    pub addendum: Option<Box<AddendumFact>>,
}

/// One thing that is wrong with a book.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct VerifyFault {
    /// `mark head signature order line_signature not_sealed addendum`.
    pub code: &'static str,
    /// Line, counted from 1.
    pub line: Option<u64>,
    /// Offset of the first byte in doubt.
    pub byte: Option<u64>,
    /// Commit, counted from 1.
    pub commit: Option<u64>,
    /// What it is, in words.
    pub text: String,
}

/// Why a book can't be checked at all.
#[derive(Debug)]
pub enum Trouble {
    /// A file can't be read.
    Read(PathBuf, io::Error),
    /// No public key was found for a signed book.
    NoKey(PathBuf),
}

/// Checks a book, and the addenda beside it: see [`super::chain`]. The key is the one given, else
/// one in `keys/` of the data folder that the book lies in, else one beside it.
///
/// # Errors
/// It can't be read, or a signature is there and no key to check it with.
pub fn verify(file: &Path, key: Option<&Path>) -> Result<Report, Trouble> {
    let near = match key {
        Some(path) => vec![(public_key(path)?, path.to_owned())],
        None => keys_near(file),
    };
    let keys: Vec<PublicKey> = near.iter().map(|(key, _)| *key).collect();
    let mut report = verify_with(file, &keys)?;
    let used = near.iter().find(|(key, _)| Some(key.fingerprint()) == report.key);
    report.key_file = used.map(|(_, file)| file.display().to_string());
    // Who names a key answers for it.
    let of = stem(file);
    let said = key.is_none().then(|| announced::said(file, inspection_of(&of)));
    let unknown = |print: &&String| said.as_ref().is_some_and(|said| !said.knows(print));
    let never = report.key.as_ref().filter(unknown);
    if let Some(print) = never {
        let text = format!("the station never announced the key {print} that signed it");
        let (line, byte, commit) = (None, None, None);
        report.faults.push(VerifyFault { code: "signature", line, byte, commit, text });
        (report.ok, report.sealed) = (false, false);
    }
    addenda::check(file, &keys, said.as_ref(), &mut report)?;
    Ok(report)
}

/// Checks a book with keys that somebody answers for.
///
/// # Errors
/// It can't be read, or a signature is there and no key to check it with.
pub fn verify_with(file: &Path, keys: &[PublicKey]) -> Result<Report, Trouble> {
    let mut pass = Pass::new(keys);
    let (sha256, bytes) = pass.read(file)?;
    let mut report = Report {
        file: file.display().to_string(),
        ok: false,
        sealed: false,
        lines: pass.lines,
        marks: pass.marks,
        bytes,
        sha256,
        key: None,
        key_file: None,
        id: pass.id,
        faults: pass.faults,
        torn: pass.torn,
        addendum: pass.addendum,
    };
    let wants_head = pass.is_inspection || InspectionName::read(&stem(file)).is_some();
    check_head(file, wants_head, keys, &mut report)?;
    // Another key is told first: then no signature can be this one's.
    report.faults.extend(pass.unsigned);
    report.ok = report.faults.is_empty();
    report.sealed = report.ok && report.key.is_some();
    Ok(report)
}

/// Why a book must not be shown as if nothing had happened to it: one that lies sealed, but for a
/// fault that [`verify`] finds, one in work for a wrong mark further up. What is torn at the end
/// of one in work is still being written, or the next start sets it aside.
#[must_use]
pub fn doubt(file: &Path) -> Option<String> {
    if is_in_work(file) {
        return match ending(file) {
            Ok(Ending::Damaged(tail)) => Some(tail.to_string()),
            Ok(Ending::Whole | Ending::Torn(_)) => None,
            Err(error) => Some(Trouble::Read(file.to_owned(), error).to_string()),
        };
    }
    match verify(file, None) {
        Ok(report) => report.faults.into_iter().next().map(|fault| fault.text),
        Err(trouble) => Some(trouble.to_string()),
    }
}

/// It lies among the books of inspections in work.
#[must_use]
pub fn is_in_work(file: &Path) -> bool {
    file.parent().and_then(Path::file_name).is_some_and(|folder| folder == OPEN)
}

fn ending(file: &Path) -> io::Result<Ending> {
    let mut reader = Reader::new(File::open(file)?);
    while reader.commit()?.is_some() {}
    Ok(reader.ending().cloned().unwrap_or(Ending::Whole))
}

/// There is no head beside a book, or it names the book and the hash of all its bytes.
///
/// # Errors
/// The head can't be read.
pub fn fits_head(file: &Path, all: &Sha256) -> Result<bool, Trouble> {
    let sum = HEXLOWER.encode(&all.clone().finalize());
    let head = small(&file.with_extension("head"))?;
    Ok(head.is_none_or(|head| head == head_text(&sum, &stem(file)).as_bytes()))
}

/// One pass over the lines.
struct Pass<'a> {
    keys: &'a [PublicKey],
    lines: u64,
    marks: u64,
    seq: u64,
    is_inspection: bool,
    id: Option<String>,
    faults: Vec<VerifyFault>,
    torn: Vec<TornFact>,
    addendum: Option<Box<AddendumFact>>,
    /// A line that no key here has signed over what stands above it.
    unsigned: Option<VerifyFault>,
}

impl Pass<'_> {
    fn new(keys: &[PublicKey]) -> Pass<'_> {
        Pass {
            keys,
            lines: 0,
            marks: 0,
            seq: 0,
            is_inspection: false,
            id: None,
            faults: vec![],
            torn: vec![],
            addendum: None,
            unsigned: None,
        }
    }

    /// Reads the file once. Returns SHA-256 and length of all its bytes.
    fn read(&mut self, file: &Path) -> Result<(String, u64), Trouble> {
        let trouble = |error| Trouble::Read(file.to_owned(), error);
        let mut all =
            Hashing { source: File::open(file).map_err(trouble)?, sha: Sha256::new(), bytes: 0 };
        let mut reader = Reader::new(&mut all);
        let mut above = reader.above();
        while let Some(commit) = reader.commit().map_err(trouble)? {
            self.commit(&commit, above);
            above = reader.above();
        }
        if let Some(Ending::Torn(tail) | Ending::Damaged(tail)) = reader.ending() {
            self.marks += 1;
            self.fault("mark", (tail.line, tail.from), tail.to_string());
            self.marks -= 1;
        }
        drop(reader);
        Ok((HEXLOWER.encode(&all.sha.finalize()), all.bytes))
    }

    /// `above`: SHA-256 over what stands above the commit.
    fn commit(&mut self, commit: &Commit, mut above: Sha256) {
        self.marks += 1;
        let mut byte = commit.from;
        for (n, bytes) in commit.lines().enumerate() {
            self.lines += 1;
            let line = commit.line + n as u64;
            self.line(bytes, line, byte);
            self.signature(bytes, &above, (line, byte));
            above.update(bytes);
            above.update(b"\n");
            byte += bytes.len() as u64 + 1;
        }
    }

    fn line(&mut self, bytes: &[u8], line: u64, byte: u64) {
        let Some((seq, kind)) = outline(bytes) else {
            let text = format!("line {line} does not begin like a line of a book");
            return self.fault("order", (line, byte), text);
        };
        if seq <= self.seq {
            let text = format!("line {line} has number {seq} after number {}", self.seq);
            self.fault("order", (line, byte), text);
        }
        self.seq = seq;
        let told = matches!(kind, b"open" | b"torn" | b"key" | b"addendum");
        match (kind, told.then(|| Line::read(bytes).map(|line| line.fact))) {
            (b"open", Some(Ok(Fact::Open(open)))) => {
                self.is_inspection |= open.inspection.is_some();
                self.id.get_or_insert(open.id);
            }
            (b"addendum", Some(Ok(Fact::Addendum(fact)))) => {
                self.addendum.get_or_insert(fact);
            }
            (b"torn", Some(Ok(Fact::Torn(torn)))) => self.torn.push(torn),
            (b"key", Some(Ok(Fact::Key(fact)))) if !vouched_for(&fact, bytes, self.keys) => {
                let text =
                    format!("the key before has not signed the new one that line {line} announces");
                self.fault("line_signature", (line, byte), text);
            }
            (b"confirm", _) if !self.keys.iter().any(|key| key.verifies_line(bytes)) => {
                let text = format!("no key here has signed the confirmation on line {line}");
                self.fault("line_signature", (line, byte), text);
            }
            _ => {}
        }
    }

    /// A signature of a person holds at its place in its own record. Earlier programs put none at
    /// the end of the line.
    fn signature(&mut self, bytes: &[u8], above: &Sha256, place: (u64, u64)) {
        let signs = outline(bytes).is_some_and(|(_, kind)| kind == b"sign") && is_signed(bytes);
        let unknown = !self.keys.iter().any(|key| key.verifies_record(above, bytes));
        if signs && !self.keys.is_empty() && unknown {
            let line = place.0;
            let text = format!("the signature on line {line} was not made over this record");
            let (line, byte, commit) = (Some(place.0), Some(place.1), Some(self.marks));
            let code = "line_signature";
            self.unsigned.get_or_insert(VerifyFault { code, line, byte, commit, text });
        }
    }

    fn fault(&mut self, code: &'static str, (line, byte): (u64, u64), text: String) {
        let (line, byte, commit) = (Some(line), Some(byte), Some(self.marks));
        if self.faults.len() < FAULTS_MAX {
            self.faults.push(VerifyFault { code, line, byte, commit, text });
        }
    }
}

fn check_head(
    file: &Path,
    wanted: bool,
    keys: &[PublicKey],
    report: &mut Report,
) -> Result<(), Trouble> {
    let mut fault = |code, text: String| {
        report.faults.push(VerifyFault { code, line: None, byte: None, commit: None, text });
    };
    let head = small(&file.with_extension("head"))?;
    let signature = small(&file.with_extension("sig"))?;
    let (Some(head), Some(signature)) = (&head, &signature) else {
        match (head, signature, wanted) {
            (None, None, false) => {}
            (None, None, true) => fault("not_sealed", "it has no head: it is not sealed".into()),
            (None, _, _) => fault("head", "the head is missing".into()),
            (_, None, _) => fault("signature", "the signature is missing".into()),
            (Some(_), Some(_), _) => {}
        }
        return Ok(());
    };
    if *head != head_text(&report.sha256, &stem(file)).as_bytes() {
        let text = "the head names another file, or the file changed after it was sealed";
        fault("head", text.into());
    }
    if keys.is_empty() {
        return Err(Trouble::NoKey(file.to_owned()));
    }
    match keys.iter().find(|key| key.verifies(head, signature)) {
        Some(key) => report.key = Some(key.fingerprint()),
        None => fault("signature", "the signature of the head is not of this key".into()),
    }
    Ok(())
}

/// Public keys in the data folder that the file lies in, and beside it, with their files.
fn keys_near(file: &Path) -> Vec<(PublicKey, PathBuf)> {
    let folder = file.parent().unwrap_or(Path::new(""));
    let places = ["../../../keys", "../keys", ""].iter();
    let files = places.flat_map(|place| in_folder(&folder.join(place), ".pub.pem"));
    files.filter_map(|file| Some((public_key(&file).ok()?, file))).collect()
}

fn public_key(path: &Path) -> Result<PublicKey, Trouble> {
    let trouble = |error| Trouble::Read(path.to_owned(), error);
    let bytes = small(path)?.ok_or_else(|| trouble(io::ErrorKind::NotFound.into()))?;
    PublicKey::from_pem(&String::from_utf8_lossy(&bytes)).map_err(trouble)
}

fn small(path: &Path) -> Result<Option<Vec<u8>>, Trouble> {
    let mut bytes = Vec::new();
    match File::open(path).and_then(|file| file.take(SMALL_MAX).read_to_end(&mut bytes)) {
        Ok(_) => Ok(Some(bytes)),
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(Trouble::Read(path.to_owned(), e)),
    }
}

fn stem(file: &Path) -> String {
    file.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default()
}

fn name(file: &str) -> &str {
    file.rsplit('/').next().unwrap_or(file)
}

struct Hashing {
    source: File,
    sha: Sha256,
    bytes: u64,
}

impl Read for Hashing {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.source.read(buffer)?;
        self.sha.update(&buffer[..n]);
        self.bytes += n as u64;
        Ok(n)
    }
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Report { file, lines, marks, bytes, .. } = self;
        match (&self.key, self.faults.first()) {
            (Some(key), None) => write!(
                f,
                "OK {file}: sealed and unchanged, {lines} lines, {marks} marks, {bytes} bytes, \
                 signed by key {key}{}",
                self.key_file.as_ref().map(|file| format!(" ({})", name(file))).unwrap_or_default()
            ),
            (None, None) => write!(
                f,
                "OK {file}: {lines} lines, {marks} marks, {bytes} bytes; a book of this kind is \
                 not sealed"
            ),
            (_, Some(_)) => {
                write!(f, "FAILED {file}:")?;
                for (n, fault) in self.faults.iter().enumerate() {
                    write!(f, "{} {}", if n == 0 { "" } else { ";" }, fault.text)?;
                }
                Ok(())
            }
        }
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Trouble::Read(path, error) => {
                write!(f, "can't read `{}`: {}", path.display(), format::said(error))
            }
            Trouble::NoKey(path) => write!(
                f,
                "no public key for `{}`: name the station's `.pub.pem` with --key",
                path.display()
            ),
        }
    }
}

impl std::error::Error for Trouble {}

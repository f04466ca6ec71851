//! Bytes behind the last right mark: moved beside the book, and told by a fact.
//!
//! Each step can be repeated: a copy has its name only when it is whole and durable, what was
//! copied before is not copied again, and the fact is stored as long as none names the copy.

use std::io::{self, Read};

use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};
use tapline_protocols::Fact;
use tapline_protocols::fact::TornFact;

use super::disk::{folder_of, name_of};
use super::halted::Halted;
use super::place::{self, IDLE, OPEN, STATION};
use super::reader::Tail;
use super::recover::Recovered;
use super::writer::{Books, length};
use crate::clock::Stamp;
use crate::station::event::{BookId, Stored};

/// End of the name of a copy that is not whole.
const UNFINISHED: &str = ".new";

/// Bytes that were set aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// Book that they were in.
    pub book: BookId,
    /// What its `torn` fact says.
    pub fact: TornFact,
    /// The fact is stored. Else it is at the next start, when there is a station book for it.
    pub stored: bool,
}

impl Books {
    /// Copies the bytes of a torn end to `NAME.torn-N` beside the book, durably, then cuts them
    /// off.
    pub(super) fn set_aside(
        &self,
        path: &str,
        tail: &Tail,
        found: &Recovered,
    ) -> Result<(), Halted> {
        if !self.is_aside(path, tail, found)? {
            self.copy_aside(path, tail.from, found.next_seq + 1)?;
        }
        self.disk.truncate(path, tail.from).map_err(|error| Halted::disk("cut", path, &error))
    }

    /// An earlier start copied them, and got no further.
    fn is_aside(&self, path: &str, tail: &Tail, found: &Recovered) -> Result<bool, Halted> {
        let folder = folder_of(path);
        let begin = format!("{}.torn-", name_of(path).trim_end_matches(".jsonl"));
        for name in self.list(folder)? {
            if !name.starts_with(&begin) || found.named.contains(&name) {
                continue;
            }
            let aside = format!("{folder}/{name}");
            self.disk.settle(&aside).map_err(|error| Halted::disk("read", &aside, &error))?;
            let fact = self.torn_fact(&aside)?;
            if (fact.bytes, &fact.sha256) == (tail.bytes, &tail.sha256) {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn copy_aside(&self, path: &str, from: u64, seq: u64) -> Result<(), Halted> {
        let stem = path.trim_end_matches(".jsonl");
        let mut number = seq;
        while length(self.disk.as_ref(), &format!("{stem}.torn-{number}"))?.is_some() {
            number += 1;
        }
        let aside = format!("{stem}.torn-{number}");
        let unfinished = format!("{aside}{UNFINISHED}");
        let copy = || {
            self.disk.remove(&unfinished)?;
            let mut source = self.disk.read(path, from)?;
            let mut target = self.disk.append(&unfinished)?;
            in_parts(&mut source, |part| target.append(part))?;
            target.sync()?;
            self.disk.rename(&unfinished, &aside)?;
            self.disk.sync_dir(folder_of(path))
        };
        copy().map_err(|error| {
            // On a full disk this is tried again and again: half a copy each time would pile up.
            // What stays because this fails too goes at the next start.
            let _ = self.disk.remove(&unfinished);
            Halted::disk("set the torn end aside of", path, &error)
        })
    }

    /// Copies that a start before this one did not finish: their bytes are still in the book.
    pub(super) fn drop_unfinished(&self, folder: &str) -> Result<(), Halted> {
        for name in self.list(folder)? {
            if name.contains(".torn-") && name.ends_with(UNFINISHED) {
                let path = format!("{folder}/{name}");
                let removed = self.disk.remove(&path);
                removed.map_err(|error| Halted::disk("remove", &path, &error))?;
            }
        }
        Ok(())
    }

    /// Stores a `torn` fact for each set-aside file that no fact names yet.
    pub(super) fn store_torn(&mut self, found: &mut Recovered, at: Stamp) -> Result<(), Halted> {
        let mut lines = Vec::new();
        for (book, path) in self.aside()? {
            if found.named.contains(name_of(&path)) {
                continue;
            }
            let fact = self.torn_fact(&path)?;
            let goes_to = [book.clone(), BookId::Station];
            let goes_to = goes_to.into_iter().find(|id| self.open.contains_key(id));
            found.torn.push(SetAside { book, fact: fact.clone(), stored: goes_to.is_some() });
            if let Some(book) = goes_to {
                let (seq, fact) = (found.next_seq, Fact::Torn(fact));
                lines.push(Stored { book, bench: None, seq, at, fact, by: None });
                found.next_seq += 1;
            }
        }
        self.commit(&lines).map(drop)
    }

    /// Set-aside files. Those of a sealed inspection are told in its book: it is sealed only
    /// after that.
    fn aside(&self) -> Result<Vec<(BookId, String)>, Halted> {
        let mut aside = Vec::new();
        for folder in [STATION, IDLE, OPEN] {
            for name in self.list(folder)? {
                let Some((stem, _)) = name.split_once(".torn-") else { continue };
                let book = match folder {
                    STATION => BookId::Station,
                    IDLE => BookId::Idle(place::split(stem).0.to_owned()),
                    _ => BookId::Inspection(stem.to_owned()),
                };
                let sealed = place::sealed_path(stem).filter(|_| folder == OPEN);
                let told = match sealed {
                    Some(sealed) => length(self.disk.as_ref(), &sealed)?.is_some(),
                    None => false,
                };
                if !told {
                    aside.push((book, format!("{folder}/{name}")));
                }
            }
        }
        Ok(aside)
    }

    fn torn_fact(&self, path: &str) -> Result<TornFact, Halted> {
        let (mut sha, mut bytes) = (Sha256::new(), 0);
        let mut hash = || {
            in_parts(&mut self.disk.read(path, 0)?, |part| {
                sha.update(part);
                bytes += part.len() as u64;
                Ok(())
            })
        };
        hash().map_err(|error| Halted::disk("read", path, &error))?;
        let sha256 = HEXLOWER.encode(&sha.finalize());
        Ok(TornFact { bytes, sha256, file: name_of(path).to_owned() })
    }
}

/// Reads to the end, a part at a time.
fn in_parts(
    source: &mut dyn Read,
    mut each: impl FnMut(&[u8]) -> io::Result<()>,
) -> io::Result<()> {
    let mut buffer = vec![0; 1 << 16];
    loop {
        match source.read(&mut buffer)? {
            0 => return Ok(()),
            n => each(&buffer[..n])?,
        }
    }
}

//! Which key signs: announced in the station book, vouched for by the key before.
//!
//! A lost private key loses no evidence: old public keys stay, a new key is made and announced,
//! and the line says whether the key before has signed it. Each step can be repeated.

use tapline_protocols::Fact;
use tapline_protocols::fact::KeyFact;

use super::start::{first_line, note};
use crate::books::{Books, Folder, Halted, Key, Lock, Recovered, place};
use crate::clock::{self, Stamp};
use crate::config::Config;
use crate::station::event::{BookId, Stored};

/// What a person says of a new key.
#[derive(Debug, Clone, Default)]
pub struct Said {
    /// Why there is one.
    pub reason: Option<String>,
    /// Who made it: an operator of the register.
    pub by: Option<String>,
}

/// Announces the key that signs, if it is not the one announced last. The first of all lines is
/// made here, so that no book is ever without its key.
///
/// # Errors
/// The file system says no. May be repeated.
pub(super) fn announce(
    books: &mut Books,
    found: &mut Recovered,
    (config, at): (&Config, Stamp),
    said: Said,
) -> Result<(), Halted> {
    let last = found.key.take();
    let key = books.key().public().fingerprint();
    if last.as_ref().is_some_and(|last| last.key == key) {
        return forget(books, last.as_ref());
    }
    begin(books, found, config, at)?;
    let known = last.map(|last| last.key);
    let replaces = books.key().replaces().map(str::to_owned).or(known);
    let vouches = |print: &String| Key::find(books.disk().as_ref(), print);
    let before = replaces.as_ref().map(vouches).transpose();
    let before = before.map_err(|error| Halted::disk("read", place::KEYS, &error))?.flatten();
    let how = match before {
        Some(_) => KeyFact::SIGNED,
        None => KeyFact::LOST,
    };
    if replaces.is_some() && before.is_none() {
        tracing::warn!(key, "A new key signs: the private half of the one before is lost.");
    }
    let fact = KeyFact {
        key,
        file: books.key().public_file(),
        before: replaces.as_ref().map(|_| how.to_owned()),
        replaces,
        reason: said.reason,
    };
    let (book, seq) = (BookId::Station, found.next_seq);
    found.next_seq += 1;
    let fact_line = Fact::Key(fact.clone());
    let line = Stored { book, bench: None, seq, at, fact: fact_line, by: said.by };
    books.announce(&line, before.as_ref())?;
    forget(books, Some(&fact))
}

/// The first line of a station book, where there is none to go on with.
fn begin(
    books: &mut Books,
    found: &mut Recovered,
    config: &Config,
    at: Stamp,
) -> Result<(), Halted> {
    if found.station.is_some() {
        return Ok(());
    }
    let year = clock::utc_day(at.wall_us)[..4].to_owned();
    let mut open = first_line(books, config, &year, at)?;
    // The newest is damaged: this one comes after it.
    open.follows.clone_from(&found.newest_station);
    found.station = Some(year);
    note(books, found, at, Fact::Open(Box::new(open)))
}

/// A key that has signed for the one after it signs nothing any more: whoever takes the disk can
/// then sign no record of that time.
fn forget(books: &Books, last: Option<&KeyFact>) -> Result<(), Halted> {
    let signed = last.filter(|fact| fact.before.as_deref() == Some(KeyFact::SIGNED));
    let Some(print) = signed.and_then(|fact| fact.replaces.as_ref()) else { return Ok(()) };
    let disk = books.disk().as_ref();
    let gone = Key::find(disk, print).and_then(|key| key.map_or(Ok(()), |key| key.forget(disk)));
    gone.map_err(|error| Halted::disk("remove the old key from", place::KEYS, &error))
}

/// Makes a new key and announces it; the station must not be running. Returns its announcement.
///
/// # Errors
/// A sentence: the station runs, nobody of that name is known, or the file system says no.
pub fn renew(config: &Config, said: Said) -> Result<KeyFact, String> {
    let folder = &config.store.folder;
    let disk = Folder::existing(folder)
        .map_err(|error| format!("can't open {}: {error}", folder.display()))?;
    let _lock = Lock::take(folder).map_err(|fault| fault.to_string())?;
    let at = clock::now();
    let halted = |halted: Halted| halted.to_string();
    // First with the key that is there: what an earlier life left undone is its work.
    let (mut books, mut found) =
        super::start::open(config, &disk, at, &mut |_| {}).map_err(halted)?;
    announce(&mut books, &mut found, (config, at), Said::default()).map_err(halted)?;
    known(&books, said.by.as_deref())?;
    drop(books);
    Key::next(&disk, &config.station.id)
        .map_err(|error| format!("can't make a key in {}: {error}", folder.display()))?;
    let (mut books, mut found) =
        super::start::open(config, &disk, at, &mut |_| {}).map_err(halted)?;
    announce(&mut books, &mut found, (config, at), said).map_err(halted)?;
    let lines = books.lines(&BookId::Station).map_err(halted)?;
    let facts = lines.map_while(Result::ok).filter_map(|line| match line.fact {
        Fact::Key(fact) => Some(fact),
        _ => None,
    });
    facts.last().ok_or_else(|| "the key is not in the station book: see `tapline verify`".into())
}

/// Stores facts in the station book of a folder whose lock is held.
///
/// # Errors
/// A sentence: nobody of that name is known, or the file system says no.
pub(crate) fn note_down(
    config: &Config,
    disk: &Folder,
    facts: Vec<Fact>,
    by: Option<&str>,
) -> Result<(), String> {
    let (at, halted) = (clock::now(), |halted: Halted| halted.to_string());
    let (mut books, mut found) =
        super::start::open(config, disk, at, &mut |_| {}).map_err(halted)?;
    announce(&mut books, &mut found, (config, at), Said::default()).map_err(halted)?;
    known(&books, by)?;
    for fact in facts {
        let (book, seq, by) = (BookId::Station, found.next_seq, by.map(str::to_owned));
        found.next_seq += 1;
        books.commit(&[Stored { book, bench: None, seq, at, fact, by }]).map_err(halted)?;
    }
    Ok(())
}

fn known(books: &Books, by: Option<&str>) -> Result<(), String> {
    let Some(by) = by else { return Ok(()) };
    let mut lines = books.lines(&BookId::Station).map_err(|halted| halted.to_string())?;
    let is = |fact: &Fact| matches!(fact, Fact::Operator(operator) if operator.id == by);
    match lines.any(|line| line.is_ok_and(|line| is(&line.fact))) {
        true => Ok(()),
        false => {
            Err(format!("there is no operator `{by}`\n  next: import operators, or correct it"))
        }
    }
}

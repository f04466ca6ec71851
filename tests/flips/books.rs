//! What the faces of the books say of a damaged file.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

use serde_json::Value;
use tapline::books::{Books, Disk, Ending, Key, Line, Memory, Reader, Recovered, verify};
use tapline::cli::replay;
use tapline::serve::summary::Summary;
use tapline::station::event::Stored;
use tapline_protocols::Fact;

use super::folder::{Folder, Kind, book_of};
use super::harm::Harm;
use super::table::Said;
use super::world;

/// A folder on disk in which one file at a time is damaged.
pub(crate) struct Place {
    temp: tempfile::TempDir,
}

impl Place {
    /// In memory where the system has such a place.
    pub(crate) fn new(folder: &Folder) -> Place {
        let memory = Path::new("/dev/shm");
        let temp = tempfile::Builder::new().prefix("tapline-flips-").tempdir_in(match memory {
            memory if memory.is_dir() => memory.to_owned(),
            _ => std::env::temp_dir(),
        });
        let place = Place { temp: temp.unwrap() };
        folder.write(place.root());
        place
    }

    pub(crate) fn root(&self) -> &Path {
        self.temp.path()
    }

    pub(crate) fn at(&self, path: &str) -> PathBuf {
        self.root().join(path)
    }

    pub(crate) fn put(&self, path: &str, bytes: &[u8]) {
        std::fs::write(self.at(path), bytes).unwrap();
    }
}

/// What is said of it, or what is wrong with that.
pub(crate) type Answer = Result<Said, String>;

/// The reader: believed lines are those of the original, from the first on.
pub(crate) fn reader(folder: &Folder, harm: &Harm) -> Answer {
    let (whole, _) = lines(&folder.files[&harm.path]);
    let (now, ending) = lines(&harm.bytes);
    if !whole.starts_with(&now) {
        return Err("lines are believed that were never written".into());
    }
    match ending {
        Ending::Torn(_) => Ok(Said::SetAside),
        Ending::Damaged(_) => Ok(Said::Damaged),
        Ending::Whole if now.len() == whole.len() => Ok(Said::Unchanged),
        // Of a sealed one the head tells: that is not the reader's.
        Ending::Whole if harm.is_cut_at_mark() => Ok(Said::Prefix),
        Ending::Whole => Err("lines are missing and it is called whole".into()),
    }
}

fn lines(book: &[u8]) -> (Vec<Vec<u8>>, Ending) {
    let mut reader = Reader::new(book);
    let mut lines = Vec::new();
    while let Some(commit) = reader.commit().unwrap() {
        lines.extend(commit.lines().map(<[u8]>::to_vec));
    }
    (lines, reader.ending().unwrap().clone())
}

/// The file that a face is asked for: a head, a signature or a key stands for its book.
fn asked(folder: &Folder, place: &Place, harm: &Harm) -> PathBuf {
    match harm.kind {
        Kind::Head | Kind::Signature => place.at(&harm.path).with_extension("jsonl"),
        Kind::PublicKey => place.at(&sealed(folder)),
        _ => place.at(&harm.path),
    }
}

fn sealed(folder: &Folder) -> String {
    tapline::books::place::sealed_path(&folder.sealed[0]).unwrap()
}

/// `tapline verify`: only what is as it was is called right.
pub(crate) fn verified(folder: &Folder, place: &Place, harm: &Harm) -> Answer {
    let file = asked(folder, place, harm);
    place.put(&harm.path, &folder.files[&harm.path]);
    let whole = verify(&file, None).unwrap();
    place.put(&harm.path, &harm.bytes);
    match verify(&file, None) {
        Err(_) => Ok(Said::Refused),
        Ok(report) if !report.ok && !report.faults.is_empty() => Ok(Said::Refused),
        Ok(report) if report == whole => Ok(Said::Unchanged),
        Ok(_) if harm.is_prefix() => Ok(Said::Prefix),
        Ok(report) => Err(format!("verify accepts it: {report}")),
    }
}

/// `contrib/verify.sh` says the same of what is sealed, with no code of ours.
pub(crate) fn shell(folder: &Folder, place: &Place, harm: &Harm) -> Answer {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/verify.sh");
    let key = folder.paths(Kind::PublicKey)[0];
    let mut command = Command::new("sh");
    command.arg(script).arg(asked(folder, place, harm)).arg(place.at(key));
    let output = command.output().expect("a shell is needed");
    match output.status.code() {
        Some(0) if harm.kind == Kind::PublicKey => Ok(Said::Unchanged),
        Some(1 | 2) => Ok(Said::Refused),
        code => Err(format!("verify.sh ends with {code:?}: {output:?}")),
    }
}

/// `tapline replay`: what is not whole is not replayed.
pub(crate) fn replayed(place: &Place, harm: &Harm) -> Answer {
    let said = replay::run(&place.at(&harm.path), false);
    match said.exit {
        2 => Ok(Said::Refused),
        _ if harm.is_prefix() => Ok(Said::Prefix),
        exit => Err(format!("replay ends with {exit}: {:?}", said.out)),
    }
}

/// What an inspection is shown to have come to.
pub(crate) fn shown(folder: &Folder, place: &Place, harm: &Harm) -> Answer {
    let file = asked(folder, place, harm);
    place.put(&harm.path, &folder.files[&harm.path]);
    let whole = Summary::read(&file).unwrap().json();
    place.put(&harm.path, &harm.bytes);
    match Summary::read(&file).map(|summary| summary.json()) {
        Err(_) => Ok(Said::Refused),
        Ok(now) if now["damaged"] == true => Ok(Said::Damaged),
        Ok(now) if now == whole => Ok(Said::Unchanged),
        Ok(now) if harm.is_prefix() => prefix_of(&now, &whole),
        // The daemon reads open books only after it has set the torn end aside.
        Ok(now) if harm.kind == Kind::Open => prefix_of(&now, &whole).map(|_| Said::SetAside),
        Ok(now) => Err(format!("it is shown as {now}")),
    }
}

fn prefix_of(now: &Value, whole: &Value) -> Answer {
    let fewer = now["lines"].as_u64() < whole["lines"].as_u64();
    let same = ["id", "asset", "plan", "opened"].iter().all(|key| now[key] == whole[key]);
    if fewer && same { Ok(Said::Prefix) } else { Err(format!("it is shown as {now}")) }
}

/// A start: the key, then the books.
pub(crate) fn recovered(folder: &Folder, harm: &Harm) -> Answer {
    let (memory, disk) = folder.with(&harm.path, &harm.bytes);
    let key = match Key::open(disk.as_ref(), "K3") {
        Err(_) => return Ok(Said::Refused),
        Ok(key) if key.public() == world::key().public() => key,
        Ok(key) => return Err(format!("another key signs: {key:?}")),
    };
    let (books, found) = match Books::open(Arc::clone(&disk), Arc::new(key), folder.at) {
        Err(_) => return Ok(Said::Refused),
        Ok(opened) => opened,
    };
    let shorter = compare(folder, harm, &books, &found)?;
    let id = book_of(&harm.path);
    let aside = found.torn.iter().find(|torn| torn.book == id);
    if let Some(torn) = aside {
        kept(&memory, harm, &torn.fact.file)?;
    }
    let said = match (aside, found.damaged.iter().any(|damaged| damaged.book == id)) {
        (_, true) => Said::Damaged,
        (Some(_), _) => Said::SetAside,
        _ if !shorter => Said::Unchanged,
        _ if harm.is_prefix() => Said::Prefix,
        _ => return Err("lines are missing and nobody says so".into()),
    };
    again(&disk, folder, harm, said)?;
    Ok(said)
}

/// Believed lines are the first of the original; whether some are missing. What came since says
/// what was found, and has a number of its own.
fn compare(folder: &Folder, harm: &Harm, books: &Books, found: &Recovered) -> Result<bool, String> {
    let mut shorter = false;
    for (path, whole) in folder.files.iter().filter(|(path, _)| Kind::of(path).is_book()) {
        // A sealed book is not read by a start that knows of its seal.
        if Kind::of(path) == Kind::Sealed
            || book_of(path) == book_of(&harm.path) && *path != harm.path
        {
            continue;
        }
        let texts = books.shelf().texts(&book_of(path)).map_err(|e| e.to_string())?;
        let now: Vec<Vec<u8>> = texts
            .map(|text| text.map(|t| t.bytes))
            .collect::<Result<_, _>>()
            .map_err(|e| e.to_string())?;
        let (whole, _) = lines(whole);
        let same = now.iter().zip(&whole).take_while(|(a, b)| a == b).count();
        for line in &now[same..] {
            let line = Line::read(line).map_err(|e| e.to_string())?;
            if !matches!(line.fact, Fact::Torn(_)) {
                return Err(format!("`{path}` has line {} that was never written", line.seq));
            }
        }
        let last = now[..same].last().map_or(0, |line| Line::read(line).unwrap().seq);
        if found.next_seq <= last {
            return Err(format!("number {last} would be given again"));
        }
        if same < whole.len() && *path != harm.path {
            return Err(format!("`{path}` lost lines, and `{}` was damaged", harm.path));
        }
        shorter |= same < whole.len();
    }
    Ok(shorter)
}

/// Not one byte is thrown away.
fn kept(memory: &Memory, harm: &Harm, file: &str) -> Result<(), String> {
    let folder = harm.path.rsplit_once('/').unwrap().0;
    let aside = memory.bytes(&format!("{folder}/{file}")).unwrap_or_default();
    if !aside.is_empty() && harm.bytes.ends_with(&aside) {
        return Ok(());
    }
    Err(format!("`{file}` does not hold what was set aside"))
}

/// The next start finds nothing new, and damage is told of at every start.
fn again(disk: &Arc<dyn Disk>, folder: &Folder, harm: &Harm, said: Said) -> Result<(), String> {
    let (mut books, found) = Books::open(Arc::clone(disk), Arc::new(world::key()), folder.at)
        .map_err(|e| format!("the next start fails: {e}"))?;
    // Without a station book there is no place yet for the line that tells of it.
    if found.torn.iter().any(|torn| torn.stored) {
        return Err(format!("the next start sets aside again: {:?}", found.torn));
    }
    let id = book_of(&harm.path);
    // What follows a damaged station or idle book must not hide it.
    if matches!(harm.kind, Kind::Station | Kind::Idle) && said == Said::Damaged {
        let open = Stored {
            book: id.clone(),
            bench: None,
            seq: found.next_seq,
            at: folder.at,
            fact: first_fact(&folder.files[&harm.path]),
            by: None,
        };
        books.commit(&[open]).map_err(|e| format!("nothing follows it: {e}"))?;
        let (_, found) = Books::open(Arc::clone(disk), Arc::new(world::key()), folder.at)
            .map_err(|e| format!("the start after fails: {e}"))?;
        if !found.damaged.iter().any(|damaged| damaged.book == id) {
            return Err("what follows it hides the damage".into());
        }
    }
    Ok(())
}

fn first_fact(book: &[u8]) -> Fact {
    let commit = Reader::new(book).commit().unwrap().unwrap();
    commit.read().next().unwrap().unwrap().fact
}

/// A crash came between the seal and the line that tells of it: only what is whole is told of.
pub(crate) fn announced(folder: &Folder, harm: &Harm) -> Answer {
    let (memory, disk) = folder.with(&harm.path, &harm.bytes);
    let station = folder.paths(Kind::Station)[0];
    let before = before_the_seals(&folder.files[station]);
    memory.put(station, &before);
    let name = harm.path.rsplit('/').next().unwrap().split('.').next().unwrap();
    let opened = Books::open(disk, Arc::new(world::key()), folder.at);
    let Ok((_, found)) = opened else { return Ok(Said::Refused) };
    let others = folder.sealed.iter().filter(|id| *id != name);
    let known = |id: &String| found.sealed.iter().any(|sealed| sealed.id == *id);
    if harm.kind != Kind::PublicKey && !others.clone().all(known) {
        return Err("a whole one is not told of".into());
    }
    match found.sealed.iter().any(|sealed| sealed.id == name) {
        true => Err("it is told of as sealed".into()),
        false if found.troubles.is_empty() => Err("nobody says that it is in doubt".into()),
        false => Ok(Said::Refused),
    }
}

/// The station book up to the commit before its first `sealed` line.
fn before_the_seals(book: &[u8]) -> Vec<u8> {
    let mut reader = Reader::new(book);
    let mut end = 0;
    while let Some(commit) = reader.commit().unwrap() {
        if commit.read().any(|line| matches!(line.unwrap().fact, Fact::Sealed(_))) {
            break;
        }
        end = reader.believed();
    }
    book[..usize::try_from(end).unwrap()].to_vec()
}

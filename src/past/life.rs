//! A sealed inspection with its addenda, read again: each book as it was sealed, and each addendum
//! on top of the very books that it names.

use std::path::{Path, PathBuf};

use tapline_protocols::Fact;
use tapline_protocols::fact::SignFact;
use tapline_protocols::life::{ADDENDA_MAX, Life};

use super::believed::{Refused, believed};
use crate::books::Line;
use crate::books::chain::{beside, follows};
use crate::books::place::{join, sealed_path, split};
use crate::station::Past;

/// Reads a sealed inspection and its addenda, up to and with the one that is named, or all of them.
/// Signatures are left to `crate::books::verify`.
///
/// # Errors
/// One is missing, can't be read, is not believed, or names other books than lie there: a sentence.
pub(crate) fn read(folder: &Path, id: &str) -> Result<Past, String> {
    let (of, last) = split(id);
    let (lines, head) = book(folder, of)?;
    let mut past = Past { id: of.into(), head, lines, addenda: Vec::new() };
    let there = numbers(folder, of)?;
    let most = if last == 0 { there.last().copied().unwrap_or(0) } else { last };
    for number in 1..=most.min(ADDENDA_MAX) {
        let name = join(of, number);
        let (lines, head) = book(folder, &name).map_err(|why| format!("{name}: {why}"))?;
        let last = past.addenda.last();
        let before = last.map_or((of, &*past.head), |(id, head, _)| (id.as_str(), head.as_str()));
        let named = lines.iter().find_map(|line| match &line.fact {
            Fact::Addendum(addendum) => Some(addendum.as_ref()),
            _ => None,
        });
        follows(named, (of, &past.head), before).map_err(|why| format!("{name}: {why}"))?;
        past.addenda.push((name, head, lines));
    }
    Ok(past)
}

/// An addendum, for whoever lists or prints it.
#[derive(Debug, Clone)]
pub(crate) struct Added {
    /// Its name.
    pub(crate) id: String,
    /// SHA-256 of its book, hex.
    pub(crate) head: String,
    /// When it was signed.
    pub(crate) wall_us: i64,
    /// Who signed it.
    pub(crate) by: String,
    /// What the signature means and covers.
    pub(crate) sign: SignFact,
    /// What was added, without what every addendum begins with.
    pub(crate) facts: Vec<Fact>,
}

/// The addenda of an inspection, oldest first.
pub(crate) fn added(past: &Past) -> Vec<Added> {
    let one = |(id, head, lines): &(String, String, Vec<Line>)| {
        let (line, sign) = lines.iter().find_map(|line| match &line.fact {
            Fact::Sign(sign) => Some((line, sign.clone())),
            _ => None,
        })?;
        let begins = |fact: &Fact| {
            matches!(fact, Fact::Open(_) | Fact::Addendum(_) | Fact::Given(_) | Fact::Sign(_))
        };
        let facts = lines.iter().map(|line| &line.fact).filter(|fact| !begins(fact));
        Some(Added {
            id: id.clone(),
            head: head.clone(),
            wall_us: line.at.wall_us,
            by: line.by.clone().unwrap_or_default(),
            sign,
            facts: facts.cloned().collect(),
        })
    };
    past.addenda.iter().filter_map(one).collect()
}

/// What the books of an inspection come to, with its addenda.
///
/// # Errors
/// As [`read`].
pub(crate) fn life(folder: &Path, id: &str) -> Result<(Life, Vec<Added>), String> {
    let past = read(folder, id)?;
    Ok((past.life(), added(&past)))
}

/// Numbers of the addenda that lie beside an inspection, in order.
fn numbers(folder: &Path, of: &str) -> Result<Vec<u32>, String> {
    let path = place(folder, of)?;
    beside(&path).map_err(|error| format!("{}: can't be listed: {error}", path.display()))
}

/// The lines of a sealed book without what went over the wire, and its head.
fn book(folder: &Path, id: &str) -> Result<(Vec<Line>, String), String> {
    let path = place(folder, id)?;
    let mut lines = Vec::new();
    let wire = |fact: &Fact| matches!(fact, Fact::In(_) | Fact::Out(_) | Fact::Tick(_));
    let read = believed(
        &path,
        false,
        |_, _| true,
        |line| {
            if !wire(&line.fact) {
                lines.push(line.clone());
            }
        },
    );
    match read {
        Ok(()) => {}
        Err(Refused::Trouble(why)) => return Err(why),
        Err(Refused::Unwanted) => return Err("it is no inspection".into()),
    }
    let head = std::fs::read_to_string(path.with_extension("head"))
        .map_err(|error| format!("its head can't be read: {error}"))?;
    // It was held against the bytes above.
    Ok((lines, head.chars().take(64).collect()))
}

fn place(folder: &Path, id: &str) -> Result<PathBuf, String> {
    let path = sealed_path(id).ok_or_else(|| format!("`{id}` is no inspection"))?;
    Ok(folder.join(path))
}

//! Checks the addenda of one inspection, as they lie beside its file.

use std::path::Path;

use super::announced::Said;
use super::chain::{beside, follows, sibling};
use super::key::PublicKey;
use super::place::{InspectionName, inspection_of, join};
use super::verify::{Report, Trouble, VerifyFault, is_in_work, verify_with};

/// A book of an inspection that was checked.
struct Link {
    id: String,
    head: String,
}

/// Holds the books of an inspection against each other, and against what the station book beside
/// them says was sealed. Faults of other books of the inspection are told, too: what
/// can't be believed of one makes all of them doubtful.
pub(super) fn check(
    file: &Path,
    keys: &[PublicKey],
    station: Option<&Said>,
    report: &mut Report,
) -> Result<(), Trouble> {
    let stem = file.file_stem().map(|stem| stem.to_string_lossy().into_owned());
    let stem = stem.unwrap_or_default();
    if InspectionName::read(&stem).is_none() || is_in_work(file) {
        return Ok(());
    }
    let of = inspection_of(&stem);
    let mut faults = Vec::new();
    let numbers = beside(file).map_err(|error| Trouble::Read(file.to_owned(), error))?;
    let last = numbers.last().copied().unwrap_or(0);
    let mut links: Vec<Link> = Vec::new();
    for number in 0..=last {
        let (id, path) = (join(of, number), sibling(file, number));
        if !path.is_file() {
            faults.push(format!("{id} is missing"));
            continue;
        }
        let own = path == file;
        let read = if own { report.clone() } else { verify_with(&path, keys)? };
        if let Some(fault) = read.faults.first().filter(|_| !own) {
            faults.push(format!("{id}: {}", fault.text));
        }
        if let (Some(first), Some(before)) = (links.first(), links.last()) {
            let named = read.addendum.as_deref();
            let hangs = follows(named, (of, &first.head), (&before.id, &before.head));
            faults.extend(hangs.err().map(|why| format!("{id}: {why}")));
        }
        links.push(Link { id, head: read.sha256 });
    }
    let whole = report.faults.is_empty();
    let said = station.map(|said| against(said, of, &links)).unwrap_or_default();
    // What is wrong with the book itself is told already.
    faults.extend(said.into_iter().filter(|(id, _)| whole || *id != stem).map(|(_, why)| why));
    let place = (None, None, None);
    for text in faults {
        let (line, byte, commit) = place;
        report.faults.push(VerifyFault { code: "addendum", line, byte, commit, text });
    }
    report.ok = report.faults.is_empty();
    report.sealed &= report.ok;
    Ok(())
}

/// What the station sealed is there, and is what was sealed.
fn against(said: &Said, of: &str, links: &[Link]) -> Vec<(String, String)> {
    let there = |id: &str| links.iter().find(|link| link.id == id);
    let wrong = said.sealed.iter().filter_map(|(id, head)| {
        let why = match there(id) {
            None if id == of => return None,
            None => format!("{id} was sealed and is missing"),
            Some(link) if link.head != *head => {
                format!("{id} is not the one that the station sealed")
            }
            Some(_) => return None,
        };
        Some((id.clone(), why))
    });
    wrong.collect()
}

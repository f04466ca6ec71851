//! What became of a record after its seal.

use std::path::Path;

use tapline_paper::report::{Outcome, Report, Signature};

use super::book::Book;
use super::gather::local;
use super::values::word;
use crate::books::chain::sibling;
use crate::past::life::life;

/// Signatures of addenda, and whether it counts as something else since.
///
/// # Errors
/// An addendum is not believed, or does not lie in a data folder with its record: a sentence.
pub(super) fn later(report: &mut Report, book: &Book, file: &Path) -> Result<(), String> {
    if !sibling(file, 1).is_file() {
        return Ok(());
    }
    let folder = file.ancestors().nth(4).ok_or("its addenda are read in a data folder only")?;
    let (life, added) = life(folder, &report.id)?;
    let offset = book.open.as_ref().map_or("", |open| open.fact.offset.as_str());
    for one in added {
        let name = life.names.get(&one.by).cloned().unwrap_or_else(|| one.by.clone());
        report.signatures.push(Signature {
            meaning: one.sign.meaning,
            name,
            id: one.by,
            at: local(one.wall_us, offset),
            auth: one.sign.auth,
        });
        report.later.push(one.id);
    }
    let now = word(life.outcome());
    report.counts_as = (report.outcome != Outcome::Signed(now)).then_some(now);
    let asset = life.asset().map(|asset| asset.id.clone());
    report.counts_for = asset.filter(|asset| *asset != report.asset.id);
    Ok(())
}

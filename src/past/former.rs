//! What the station books say was measured before the station was.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use tapline_protocols::Fact;
use tapline_protocols::register::Former;

use crate::books::Shelf;
use crate::station::event::BookId;
use crate::words::english;

/// The values of an asset in the order of their days; the newest line of each holds.
///
/// # Errors
/// The books can't be read, or are damaged: a sentence.
pub(crate) fn former(folder: &Path, asset: &str) -> Result<Vec<Former>, String> {
    let shelf = Shelf::new(Arc::new(super::folder(folder)?));
    let halted = |halted: crate::books::Halted| halted.to_string();
    let mut lines = shelf.lines(&BookId::Station).map_err(halted)?;
    let mut all: BTreeMap<String, Former> = BTreeMap::new();
    for line in lines.by_ref() {
        if let Fact::Former(one) = line.map_err(halted)?.fact
            && one.asset == asset
        {
            all.insert(one.id.clone(), *one);
        }
    }
    match lines.damaged() {
        Some(_) => Err(english().say("due", "damaged").into()),
        None => Ok(all.into_values().filter(|one| one.withdrawn.is_none()).collect()),
    }
}

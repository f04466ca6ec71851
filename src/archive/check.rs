//! Whether an archive is whole, as a data folder is.

use std::path::Path;

use super::Fault;
use crate::books::inventory::{Finding, Inventory};
use crate::words::english;

/// What is wrong in a folder, by file; nothing is left out.
///
/// # Errors
/// A folder or a station book can't be read.
pub(super) fn wrong(folder: &Path) -> Result<Vec<(String, String)>, Fault> {
    let inventory = Inventory::take(folder)?;
    let (mut books, mut wrong) = (Vec::new(), Vec::new());
    for place in &inventory.places {
        match inventory.check(place) {
            Ok(mut checked) => {
                wrong.extend(std::mem::take(&mut checked.findings).iter().map(told));
                books.push(checked);
            }
            Err(why) => wrong.push((place.path.clone(), why)),
        }
    }
    wrong.extend(inventory.whole(&books).iter().map(told));
    Ok(wrong)
}

fn told(finding: &Finding) -> (String, String) {
    (finding.file.clone(), english().finding(finding.code, &finding.values))
}

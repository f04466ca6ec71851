//! The register of a station, read from its books. The station may run meanwhile.

use std::fs::File;
use std::path::Path;

use super::entries;
use crate::books::Reader;
use crate::books::place::STATION;
use crate::station::register::Register;

/// What the station books of a data folder come to.
///
/// # Errors
/// A book can't be read, in words.
pub fn register(folder: &Path) -> Result<Register, String> {
    let mut register = Register::default();
    let books = folder.join(STATION);
    std::fs::read_dir(&books).map_err(|error| format!("{}: {error}", books.display()))?;
    let jsonl = |path: &std::path::PathBuf| path.extension().is_some_and(|end| end == "jsonl");
    for path in entries(&books).into_iter().filter(jsonl) {
        let said = |error: std::io::Error| format!("{}: {error}", path.display());
        let mut reader = Reader::new(File::open(&path).map_err(said)?);
        while let Some(commit) = reader.commit().map_err(said)? {
            for line in commit.read().filter_map(Result::ok) {
                register.apply(line.seq, line.at, &line.fact);
            }
        }
    }
    Ok(register)
}

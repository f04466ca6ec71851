//! The lines of a book that are believed, for those who read it again.

use std::fs::File;
use std::path::Path;

use tapline_protocols::Fact;
use tapline_protocols::fact::Open;

use crate::books::format::said;
use crate::books::verify::fits_head;
use crate::books::{Ending, Line, Reader};
use crate::clock::rfc3339;

/// Why a book was not read to its end.
pub(crate) enum Refused {
    /// Nobody asked for it.
    Unwanted,
    /// A sentence.
    Trouble(String),
}

impl From<String> for Refused {
    fn from(text: String) -> Refused {
        Refused::Trouble(text)
    }
}

const NO_BOOK: &str = "no book begins here: name the .jsonl file of an inspection or a day";

/// Hands the lines of a book to `each`, if it is `wanted` by its first line and the moment of it.
/// Memory is bounded by one commit.
///
/// # Errors
/// It is not wanted, can't be read or understood, or is torn or damaged: what is missing would
/// look like a difference. The end of a book in work may be on its way to the disk.
pub(crate) fn believed(
    file: &Path,
    in_work: bool,
    wanted: impl Fn(&Open, &str) -> bool,
    mut each: impl FnMut(&Line),
) -> Result<(), Refused> {
    let source = File::open(file).map_err(|error| format!("can't be opened: {error}"))?;
    let mut reader = Reader::new(source);
    let mut begun = false;
    while let Some(commit) =
        reader.commit().map_err(|error| format!("can't be read: {}", said(&error)))?
    {
        for line in commit.read() {
            let line = line.map_err(|unread| unread.to_string())?;
            match &line.fact {
                _ if begun => {}
                Fact::Open(open) if wanted(open, &rfc3339(line.at.wall_us)) => begun = true,
                Fact::Open(_) => return Err(Refused::Unwanted),
                _ => return Err(NO_BOOK.to_owned().into()),
            }
            each(&line);
        }
    }
    match reader.ending() {
        _ if !begun => Err(NO_BOOK.to_owned().into()),
        Some(Ending::Torn(_)) if in_work => Ok(()),
        Some(Ending::Torn(_) | Ending::Damaged(_)) => {
            Err("not all of it is believed: see `tapline verify`".to_owned().into())
        }
        Some(Ending::Whole) | None => match fits_head(file, &reader.above()) {
            Ok(true) => Ok(()),
            Ok(false) => Err("it is not what was sealed: see `tapline verify`".to_owned().into()),
            Err(trouble) => Err(trouble.to_string().into()),
        },
    }
}

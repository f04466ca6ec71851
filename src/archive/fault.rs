//! Why an archive can't be made, restored or relied on.

use std::fmt;
use std::io;

use crate::books::Halted;
use crate::words::english;

/// Why it was not done. Nothing that was there before is lost.
#[derive(Debug)]
pub enum Fault {
    /// The books can't be read.
    Books(Halted),
    /// A file or folder, by its place, and what the system says.
    File(String, io::Error),
    /// A word of the table `archive`, and the values of its sentence.
    Said(&'static str, Vec<(&'static str, String)>),
}

impl Fault {
    pub(super) fn said(code: &'static str, values: &[(&'static str, &str)]) -> Fault {
        Fault::Said(code, values.iter().map(|(name, value)| (*name, (*value).into())).collect())
    }

    /// A fault of one file, for `map_err`.
    pub(super) fn of(path: &str) -> impl Fn(io::Error) -> Fault {
        move |error| Fault::File(path.to_owned(), error)
    }
}

impl From<Halted> for Fault {
    fn from(halted: Halted) -> Fault {
        Fault::Books(halted)
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Fault::Books(halted) => write!(f, "{halted}"),
            Fault::File(path, error) => {
                let error = crate::books::format::said(error);
                let values = [("file", path.as_str()), ("why", &error)];
                write!(f, "{}", english().tell("archive", "file", &values))
            }
            Fault::Said(code, values) => {
                let values: Vec<(&str, &str)> =
                    values.iter().map(|(name, value)| (*name, value.as_str())).collect();
                write!(f, "{}", english().tell("archive", code, &values))
            }
        }
    }
}

impl std::error::Error for Fault {}

//! Which driver a link names: a built-in one, or a file that describes one.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use tapline_drivers::catalogue;
use tapline_protocols::described::TEXT_BYTES_MAX;

use crate::station::Described;

/// What a name of a driver comes to.
#[derive(Debug, Clone, PartialEq)]
pub enum Choice {
    /// A built-in driver.
    BuiltIn,
    /// One that a file describes.
    Described(Box<Described>),
    /// A file that can't be used: its faults with their lines.
    Faulty(Vec<String>),
    /// Neither.
    Unknown,
}

/// The driver that a file says it describes.
///
/// # Errors
/// Everything that is wrong with it, in words, each with file and line.
pub fn load(file: &Path) -> Result<Described, Vec<String>> {
    let name = file.display();
    let text = text(file).map_err(|error| vec![format!("can't read {name}: {error}")])?;
    let fault = |fault: tapline_protocols::Fault| format!("{name}: {fault}");
    Described::read(&text).map_err(|faults| faults.into_iter().map(fault).collect())
}

/// The text of a file; of one that is too long just enough to be told so.
fn text(file: &Path) -> io::Result<String> {
    let mut bytes = Vec::new();
    let most = u64::try_from(TEXT_BYTES_MAX).unwrap_or(u64::MAX);
    File::open(file)?.take(most + 1).read_to_end(&mut bytes)?;
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        io::Error::new(io::ErrorKind::InvalidData, format!("is no UTF-8 text: byte {at}"))
    })
}

/// A name is a path when it looks like one.
#[must_use]
pub fn is_path(name: &str) -> bool {
    name.contains('/') || name.ends_with(".toml")
}

/// The driver of a name in the configuration `file`: built in, a path from its folder on, or
/// `drivers/NAME.toml` in its folder.
#[must_use]
pub fn choose(file: &Path, name: &str) -> Choice {
    if catalogue::names().any(|known| known == name) {
        return Choice::BuiltIn;
    }
    let folder = file.parent().unwrap_or(Path::new(""));
    if is_path(name) {
        return load(&folder.join(name)).map_or_else(Choice::Faulty, described);
    }
    let plain = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-';
    let path: PathBuf = folder.join("drivers").join(format!("{name}.toml"));
    if name.is_empty() || !name.bytes().all(plain) || !path.exists() {
        return Choice::Unknown;
    }
    match load(&path) {
        Ok(found) if found.name() != name => Choice::Faulty(vec![format!(
            "{}: calls itself `{}`: give file and driver the same name",
            path.display(),
            found.name()
        )]),
        Ok(found) => described(found),
        Err(faults) => Choice::Faulty(faults),
    }
}

fn described(found: Described) -> Choice {
    Choice::Described(Box::new(found))
}

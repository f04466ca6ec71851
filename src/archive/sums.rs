//! `SHA256SUMS`: what `sha256sum -c` reads.

use std::collections::BTreeMap;
use std::io::Read;

use super::Fault;
use super::copy::READ_MAX;
use crate::books::Disk;

/// Its name.
pub(super) const SUMS: &str = "SHA256SUMS";

/// SHA-256 (hex) of files, by their paths.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Sums(pub(super) BTreeMap<String, String>);

impl Sums {
    /// Reads lines of `<64 hex>  <path>`; lines of another form are passed over.
    pub(super) fn read(text: &str) -> Sums {
        let line = |line: &str| {
            let (sum, path) = line.split_once("  ")?;
            let hex = sum.len() == 64 && sum.bytes().all(|b| b.is_ascii_hexdigit());
            hex.then(|| (path.to_owned(), sum.to_owned()))
        };
        Sums(text.lines().filter_map(line).collect())
    }

    /// Those of a folder; none where it has no such file.
    pub(super) fn of(disk: &dyn Disk, path: &str) -> Result<Sums, Fault> {
        if disk.length(path).map_err(Fault::of(path))?.is_none() {
            return Ok(Sums::default());
        }
        let mut text = String::new();
        let source = disk.read(path, 0).map_err(Fault::of(path))?;
        source.take(READ_MAX).read_to_string(&mut text).map_err(Fault::of(path))?;
        Ok(Sums::read(&text))
    }

    pub(super) fn text(&self) -> String {
        self.0.iter().map(|(path, sum)| format!("{sum}  {path}\n")).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_of_another_form_are_passed_over() {
        let a = "a".repeat(64);
        let text = format!("{a}  keys/K3-1.pub.pem\nnothing\n{a} one blank\n\n");
        let sums = Sums::read(&text);
        assert_eq!(sums.0.len(), 1);
        assert_eq!(sums.text(), format!("{a}  keys/K3-1.pub.pem\n"));
    }
}

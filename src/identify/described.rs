//! Descriptions that are tried beside the built-in styles.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tapline_drivers::described::Description;

use crate::config::{Config, drivers};
use crate::station::Described;

/// Most files of one folder that are tried.
const FILES_MAX: usize = 64;

/// A driver that a file describes.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// As a configuration names it: by its name where the file lies in the configuration's
    /// `drivers`, else by the file's path.
    pub named: String,
    /// What it does.
    pub about: Arc<Description>,
    /// Settings of the port that its file says.
    pub line: Option<(u32, String)>,
}

/// Descriptions, and what keeps others from being one.
#[derive(Debug, Clone, Default)]
pub struct Candidates {
    /// What is tried: a driver of each name once.
    pub list: Vec<Candidate>,
    /// Files that can't be used, in words.
    pub faults: Vec<String>,
}

impl Candidates {
    fn add(&mut self, named: String, found: &Described) {
        let there = |one: &Candidate| one.about == found.description;
        if !self.list.iter().any(there) {
            let (about, line) = (found.description.clone(), found.line.clone());
            self.list.push(Candidate { named, about, line });
        }
    }

    /// Reads a file that somebody named.
    ///
    /// # Errors
    /// Everything that is wrong with it, in words.
    pub fn take(&mut self, file: &Path) -> Result<(), Vec<String>> {
        let found = drivers::load(file)?;
        let path = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
        self.add(path.display().to_string(), &found);
        Ok(())
    }
}

/// What a configuration knows: the drivers of its links, and all that lie in `drivers` beside it.
#[must_use]
pub fn beside(file: &Path, config: &Config) -> Candidates {
    let mut candidates = Candidates::default();
    for link in &config.links {
        if let Some(found) = &link.described {
            candidates.add(link.named.clone(), found);
        }
    }
    for path in files(&file.parent().unwrap_or(Path::new("")).join("drivers")) {
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        match drivers::choose(file, &stem) {
            drivers::Choice::Described(found) => candidates.add(stem, &found),
            drivers::Choice::Faulty(faults) => candidates.faults.extend(faults),
            // A file that is called like a built-in driver, or like none, can't be named.
            drivers::Choice::BuiltIn | drivers::Choice::Unknown => {}
        }
    }
    candidates
}

/// The descriptions in a folder, in order of their names; none where there is no folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path());
    let mut files: Vec<PathBuf> =
        entries.filter(|path| path.extension().is_some_and(|it| it == "toml")).collect();
    files.sort();
    files.truncate(FILES_MAX);
    files
}

#[cfg(test)]
mod tests {
    use super::*;

    const OHM: &str = include_str!("../../contrib/drivers/bench-ohm-line.toml");
    const CLAMP: &str = include_str!("../../contrib/drivers/leakage-frame14.toml");

    #[test]
    fn links_and_the_folder_beside_are_tried_each_once() {
        let folder = tempfile::tempdir().unwrap();
        let drivers = folder.path().join("drivers");
        fs::create_dir(&drivers).unwrap();
        fs::write(drivers.join("bench-ohm-line.toml"), OHM).unwrap();
        fs::write(drivers.join("other-name.toml"), OHM).unwrap();
        fs::write(drivers.join("scpi.toml"), OHM).unwrap();
        fs::write(drivers.join("half.toml"), "format = \"tapline-driver-1\"\n").unwrap();
        fs::write(drivers.join("notes.txt"), "no driver").unwrap();
        fs::write(folder.path().join("clamp.toml"), CLAMP).unwrap();
        let file = folder.path().join("tapline.toml");
        let text = include_str!("../../contrib/example/one-meter.toml");
        let text = text.replace("\"val-unit-line\"", "\"clamp.toml\"");
        fs::write(&file, &text).unwrap();
        let config = Config::load(&file).unwrap();
        let mut found = beside(&file, &config);
        let names: Vec<&str> = found.list.iter().map(|one| one.named.as_str()).collect();
        assert_eq!(names, ["clamp.toml", "bench-ohm-line"]);
        let told = found.faults.join("\n");
        assert!(told.contains("half.toml") && told.contains("other-name.toml"), "{told}");
        // Named by its path, too: it is there already.
        found.take(&folder.path().join("clamp.toml")).unwrap();
        assert_eq!(found.list.len(), 2);
        assert!(found.take(&drivers.join("half.toml")).is_err());
    }
}

//! Seeds: captures and examples of the repository, and what hunts found. A file of the corpus has
//! one input a paragraph: bytes as a capture writes them, or the events of a capture.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use tapline::capture::Capture;

use super::hunt::Hunt;
use super::mutant::Mutant;
use super::script::{Event, Script};

/// Most inputs of one file, and the longest that is kept by itself.
const INPUTS: usize = 60;
const LENGTH: usize = 1_500;

pub(crate) fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

pub(crate) fn path(name: &str) -> PathBuf {
    root().join("tests/fuzz/corpus").join(format!("{name}.txt"))
}

/// What is kept for a target.
pub(crate) fn read<I: Mutant>(name: &str) -> Vec<I> {
    let path = path(name);
    let text = match fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Vec::new(),
        Err(error) => panic!("{}: {error}", path.display()),
    };
    let inputs = text.split("\n\n").filter(|part| !part.trim().is_empty());
    let input = |text: &str| I::of_text(text).unwrap_or_else(|fault| panic!("{name}: {fault}"));
    inputs.map(input).collect()
}

/// Adds what did something that neither the seeds nor a smaller input did.
pub(crate) fn keep<I: Mutant>(hunt: &Hunt<'_, I>, found: Vec<I>) {
    let features = |input: &I| (hunt.check)(input).unwrap_or_default();
    let mut seen: BTreeSet<u64> = hunt.seeds.iter().flat_map(features).collect();
    let mut kept = read::<I>(hunt.name);
    for input in found.into_iter().filter(|input| input.text().len() <= LENGTH) {
        let features = features(&input);
        if kept.len() < INPUTS && features.iter().any(|feature| !seen.contains(feature)) {
            seen.extend(features);
            kept.push(input);
        }
    }
    let text: Vec<String> = kept.iter().map(Mutant::text).collect();
    if !text.is_empty() {
        fs::write(path(hunt.name), text.join("\n")).unwrap();
    }
}

/// Files of a folder with their names.
pub(crate) fn files(folder: &str, ending: &str) -> Vec<(String, Vec<u8>)> {
    let mut paths: Vec<PathBuf> =
        fs::read_dir(root().join(folder)).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_some_and(|it| it == ending));
    paths.sort();
    assert!(!paths.is_empty(), "{folder} holds no seeds");
    let name = |path: &Path| path.file_name().unwrap().to_string_lossy().into_owned();
    paths.iter().map(|path| (name(path), fs::read(path).unwrap())).collect()
}

/// The captures of some drivers, as scripts.
pub(crate) fn captures(wanted: impl Fn(&str) -> bool) -> Vec<Script> {
    let mut found = Vec::new();
    for (name, bytes) in files("tests/captures", "cap") {
        let text = String::from_utf8(bytes).unwrap();
        let capture = Capture::read(&text).unwrap_or_else(|fault| panic!("{name}: {fault}"));
        if capture.head.iter().any(|(key, text)| key == "driver" && wanted(text)) {
            found.push(Script::of_capture(&text).unwrap());
        }
    }
    found
}

/// What was read in them, and ends: the words of a driver.
pub(crate) fn reads(scripts: &[Script]) -> Vec<Vec<u8>> {
    let events = scripts.iter().flat_map(|script| &script.0);
    let reads = events.filter_map(|(_, event)| match event {
        Event::In(bytes) => Some(bytes.clone()),
        _ => None,
    });
    let ends = ["\r", "\n", "\r\n", "\t", "\0", "\x0c", ",", "9.9E37", "OL"];
    reads.chain(ends.iter().map(|end| end.as_bytes().to_vec())).collect()
}

//! A disk as a power cut leaves it.
//!
//! What was synced is there. Of what was not, each file and each folder keeps what it likes: of
//! its bytes nothing, all, the first so many, or any blocks, the others as they were, zero, or
//! with something in them that was never written there; of its names nothing, all, the first so
//! many or any. A rename may show both names, as a system without a journal does, but never none.
//!
//! What stands in an unwritten block is noise here. Where a system shows a block of an older book
//! there (ext4(5): `data=writeback`, "may allow old data to appear"), an old mark in it makes the
//! book in work `damaged` instead of torn: nothing of it is believed, but it can't be gone on with.

use std::collections::{BTreeMap, BTreeSet};

use super::rng::Rng;
use super::tape::{Deed, Step};

/// What a disk writes at once, bytes.
const BLOCK: usize = 512;

/// The disk with all that is on its way to it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Drive {
    files: Vec<File>,
    folders: BTreeMap<String, Folder>,
    renames: usize,
}

#[derive(Debug, Clone, Default)]
struct File {
    durable: Vec<u8>,
    now: Vec<u8>,
    /// Row at which each was over, and what was done.
    waits: Vec<(usize, Edit)>,
}

#[derive(Debug, Clone)]
enum Edit {
    Write(usize, Vec<u8>),
    Length(usize),
}

/// Names of one folder. A folder in a folder is known by its path, as none is ever renamed.
#[derive(Debug, Clone, Default)]
struct Folder {
    durable: BTreeMap<String, Entry>,
    now: BTreeMap<String, Entry>,
    waits: Vec<(usize, Change)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Entry {
    File(usize),
    Folder,
}

#[derive(Debug, Clone)]
struct Change {
    name: String,
    entry: Option<Entry>,
    /// Number of the rename that it is half of.
    rename: Option<usize>,
}

impl Edit {
    fn apply(&self, bytes: &mut Vec<u8>) {
        match self {
            Edit::Length(length) => bytes.resize(*length, 0),
            Edit::Write(at, new) => {
                bytes.resize(bytes.len().max(at + new.len()), 0);
                bytes[*at..at + new.len()].copy_from_slice(new);
            }
        }
    }
}

impl Folder {
    fn change(&mut self, row: usize, change: Change) {
        change.apply(&mut self.now);
        self.waits.push((row, change));
    }
}

impl Change {
    fn apply(&self, names: &mut BTreeMap<String, Entry>) {
        match self.entry {
            Some(entry) => drop(names.insert(self.name.clone(), entry)),
            None => drop(names.remove(&self.name)),
        }
    }
}

fn split(path: &str) -> (String, String) {
    let (folder, name) = path.rsplit_once('/').unwrap_or(("", path));
    (folder.to_owned(), name.to_owned())
}

impl Drive {
    /// An empty folder.
    pub(crate) fn new() -> Drive {
        let root = ("".to_owned(), Folder::default());
        Drive { folders: BTreeMap::from([root]), ..Drive::default() }
    }

    /// A folder in which everything is durable.
    pub(crate) fn of(files: &BTreeMap<String, Vec<u8>>) -> Drive {
        let mut drive = Drive::new();
        for (path, bytes) in files {
            let folders = path.match_indices('/').map(|(end, _)| path[..end].to_owned());
            for folder in folders.collect::<Vec<_>>() {
                if !drive.folders.contains_key(&folder) {
                    drive.deed(0, &Deed::Folder { path: folder });
                }
            }
            drive.deed(0, &Deed::Open { path: path.clone(), empty: false });
            let (path, bytes) = (path.clone(), bytes.clone());
            drive.deed(0, &Deed::Write { path, at: Some(0), bytes });
        }
        drive.settle();
        drive
    }

    fn settle(&mut self) {
        for file in &mut self.files {
            (file.durable, file.waits) = (file.now.clone(), Vec::new());
        }
        for folder in self.folders.values_mut() {
            (folder.durable, folder.waits) = (folder.now.clone(), Vec::new());
        }
    }

    /// It was done, and is over.
    pub(crate) fn step(&mut self, step: &Step) {
        match &step.deed {
            Deed::Sync { path } => self.sync(path, step.began),
            deed => self.deed(step.ended, deed),
        }
    }

    /// It was begun: whether it has come anywhere nobody knows.
    pub(crate) fn begun(&mut self, step: &Step) {
        if !matches!(step.deed, Deed::Sync { .. }) {
            self.deed(usize::MAX, &step.deed);
        }
    }

    fn deed(&mut self, row: usize, deed: &Deed) {
        match deed {
            Deed::Open { path, empty } => {
                let (folder, name) = split(path);
                if !self.folders[&folder].now.contains_key(&name) {
                    self.files.push(File::default());
                    let entry = Some(Entry::File(self.files.len() - 1));
                    self.change(row, &folder, Change { name, entry, rename: None });
                } else if *empty {
                    self.edit(row, path, Edit::Length(0));
                }
            }
            Deed::Write { path, at, bytes } => {
                let at = at.unwrap_or_else(|| self.file(path).now.len());
                self.edit(row, path, Edit::Write(at, bytes.clone()));
            }
            Deed::Cut { path, length } => self.edit(row, path, Edit::Length(*length)),
            Deed::Folder { path } => {
                let (folder, name) = split(path);
                self.folders.insert(path.clone(), Folder::default());
                let entry = Some(Entry::Folder);
                self.change(row, &folder, Change { name, entry, rename: None });
            }
            Deed::Remove { path } => {
                let (folder, name) = split(path);
                self.change(row, &folder, Change { name, entry: None, rename: None });
            }
            Deed::Rename { from, to } => {
                let entry = {
                    let (folder, name) = split(from);
                    self.folders[&folder].now[&name]
                };
                assert!(matches!(entry, Entry::File(_)), "no folder is renamed here: {from}");
                self.renames += 1;
                let rename = Some(self.renames);
                for (path, entry) in [(to, Some(entry)), (from, None)] {
                    let (folder, name) = split(path);
                    self.change(row, &folder, Change { name, entry, rename });
                }
            }
            Deed::Sync { .. } | Deed::Shown { .. } => {}
        }
    }

    fn change(&mut self, row: usize, folder: &str, change: Change) {
        self.folders.get_mut(folder).expect("a folder that was made").change(row, change);
    }

    fn file(&mut self, path: &str) -> &mut File {
        let (folder, name) = split(path);
        let Some(Entry::File(file)) = self.folders[&folder].now.get(&name) else {
            panic!("{path} is no file that was opened")
        };
        &mut self.files[*file]
    }

    fn edit(&mut self, row: usize, path: &str, edit: Edit) {
        let file = self.file(path);
        edit.apply(&mut file.now);
        file.waits.push((row, edit));
    }

    /// What was over before the sync began is durable now.
    fn sync(&mut self, path: &str, began: usize) {
        if let Some(folder) = self.folders.get_mut(path) {
            let done = folder.waits.iter().take_while(|(row, _)| *row < began).count();
            for (_, change) in folder.waits.drain(..done) {
                change.apply(&mut folder.durable);
            }
            return;
        }
        let file = self.file(path);
        let done = file.waits.iter().take_while(|(row, _)| *row < began).count();
        let done: Vec<_> = file.waits.drain(..done).collect();
        done.iter().for_each(|(_, edit)| edit.apply(&mut file.durable));
    }

    /// Everything as a program sees it that is not cut off.
    pub(crate) fn now(&self) -> BTreeMap<String, Vec<u8>> {
        let names = self.folders.iter().map(|(path, folder)| (path.clone(), folder.now.clone()));
        self.walk(&names.collect(), |file| file.now.clone())
    }

    /// What a power cut leaves, one possibility of many.
    pub(crate) fn cut(&self, rng: &mut Rng) -> BTreeMap<String, Vec<u8>> {
        let names = self.names_left(rng);
        let bytes: Vec<Vec<u8>> = self.files.iter().map(|file| file.left(rng)).collect();
        let mut at = 0..;
        let by_file: BTreeMap<usize, Vec<u8>> =
            bytes.into_iter().map(|bytes| (at.next().unwrap(), bytes)).collect();
        self.walk_by(&names, &|file| by_file[&file].clone())
    }

    fn walk(
        &self,
        names: &BTreeMap<String, BTreeMap<String, Entry>>,
        bytes: impl Fn(&File) -> Vec<u8>,
    ) -> BTreeMap<String, Vec<u8>> {
        self.walk_by(names, &|file| bytes(&self.files[file]))
    }

    fn walk_by(
        &self,
        names: &BTreeMap<String, BTreeMap<String, Entry>>,
        bytes: &impl Fn(usize) -> Vec<u8>,
    ) -> BTreeMap<String, Vec<u8>> {
        let (mut found, mut todo) = (BTreeMap::new(), vec![String::new()]);
        while let Some(folder) = todo.pop() {
            for (name, entry) in &names[&folder] {
                let path =
                    if folder.is_empty() { name.clone() } else { format!("{folder}/{name}") };
                match entry {
                    Entry::Folder => todo.push(path),
                    Entry::File(file) => drop(found.insert(path, bytes(*file))),
                }
            }
        }
        found
    }

    fn names_left(&self, rng: &mut Rng) -> BTreeMap<String, BTreeMap<String, Entry>> {
        let mut keeps: BTreeMap<&String, Vec<bool>> = BTreeMap::new();
        let how = rng.below(4);
        for (path, folder) in &self.folders {
            let count = folder.waits.len() as u64;
            let first = rng.below(count + 1);
            let keep = (0..count).map(|n| match how {
                0 => false,
                1 => true,
                2 => n < first,
                _ => rng.once_in(2),
            });
            keeps.insert(path, keep.collect());
        }
        // The new name of a rename that is not there: the old one is.
        let mut undone = BTreeSet::new();
        for (path, folder) in &self.folders {
            let lost = folder.waits.iter().zip(&keeps[path]).filter(|(_, keep)| !**keep);
            let added = lost.filter(|((_, change), _)| change.entry.is_some());
            undone.extend(added.filter_map(|((_, change), _)| change.rename));
        }
        let left = self.folders.iter().map(|(path, folder)| {
            let mut names = folder.durable.clone();
            for ((_, change), keep) in folder.waits.iter().zip(&keeps[path]) {
                let gone = change.entry.is_none();
                let old_stays = gone && change.rename.is_some_and(|r| undone.contains(&r));
                if *keep && !old_stays {
                    change.apply(&mut names);
                }
            }
            (path.clone(), names)
        });
        left.collect()
    }
}

impl File {
    fn left(&self, rng: &mut Rng) -> Vec<u8> {
        let mut bytes = self.durable.clone();
        if self.waits.is_empty() {
            return bytes;
        }
        match rng.below(4) {
            0 => {}
            1 => bytes.clone_from(&self.now),
            2 => self.first_part(&mut bytes, rng),
            _ => self.any_blocks(&mut bytes, rng),
        }
        bytes
    }

    fn first_part(&self, bytes: &mut Vec<u8>, rng: &mut Rng) {
        let whole = below(rng, self.waits.len());
        self.waits[..whole].iter().for_each(|(_, edit)| edit.apply(bytes));
        if let Edit::Write(at, new) = &self.waits[whole].1 {
            let part = new[..below(rng, new.len() + 1)].to_vec();
            Edit::Write(*at, part).apply(bytes);
        }
    }

    /// The length may be known before the bytes are there.
    fn any_blocks(&self, bytes: &mut Vec<u8>, rng: &mut Rng) {
        let old = bytes.clone();
        bytes.clone_from(&self.now);
        for (n, block) in bytes.chunks_mut(BLOCK).enumerate() {
            let at = n * BLOCK;
            let before = old.get(at..).unwrap_or(&[]);
            match rng.below(4) {
                0 | 1 => {}
                // Not written: what was there, and zeros where nothing was.
                2 => {
                    let kept = before.len().min(block.len());
                    block[..kept].copy_from_slice(&before[..kept]);
                    block[kept..].fill(0);
                }
                // Where nothing was, something else that the disk had there before.
                _ if before.len() < block.len() => {
                    block[..before.len()].copy_from_slice(before);
                    block[before.len()..].fill_with(|| u8::try_from(rng.below(256)).unwrap());
                }
                _ => block.copy_from_slice(&before[..block.len()]),
            }
        }
    }
}

fn below(rng: &mut Rng, end: usize) -> usize {
    usize::try_from(rng.below(end as u64)).unwrap()
}

//! A disk in memory that fails like a real one: for tests and the simulator.
//!
//! Bytes that were not synced and names whose folder was not synced are lost in a crash, or kept
//! in part. The n-th call fails, or the room runs out in the middle of a write.

use std::collections::BTreeMap;
use std::io;
use std::sync::{Arc, Mutex, MutexGuard};

use super::{Append, Disk, Mode, folder_of, name_of};

/// A disk in memory. Clones share the same disk.
#[derive(Debug, Clone, Default)]
pub struct Memory {
    state: Arc<Mutex<State>>,
}

/// What a power cut leaves of bytes and names that were not synced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Crash {
    /// Nothing of it.
    LoseAll,
    /// All of it.
    KeepAll,
    /// All names; of each file's unsynced bytes the first n.
    Tear(usize),
    /// All names and all lengths, but unsynced bytes are zero up to the last n of each file, as
    /// when pages reach the disk out of order.
    Holes(usize),
    /// A coin, thrown from this seed, says for each name and for the bytes of each file whether
    /// and how much of it stayed. A rename never loses both of its names.
    Coin(u64),
}

#[derive(Debug, Default)]
struct State {
    /// What is in each file: the bytes now, and those that a power cut can't take.
    files: Vec<Bytes>,
    /// Names now, and those that a power cut can't take.
    names: BTreeMap<String, usize>,
    durable: BTreeMap<String, usize>,
    calls: u64,
    fail: Option<(u64, io::ErrorKind)>,
    dead: bool,
    room: Option<usize>,
}

#[derive(Debug, Default, Clone)]
struct Bytes {
    now: Vec<u8>,
    durable: Vec<u8>,
}

impl Memory {
    /// An empty disk without limits.
    #[must_use]
    pub fn new() -> Memory {
        Memory::default()
    }

    /// Calls so far that change something.
    #[must_use]
    pub fn calls(&self) -> u64 {
        self.state().calls
    }

    /// From now on the n-th changing call (the next is 1) fails once.
    pub fn fail_at(&self, n: u64, kind: io::ErrorKind) {
        let mut state = self.state();
        state.fail = Some((state.calls + n, kind));
    }

    /// The power goes at the n-th changing call from now: it and all that follow fail until
    /// [`Memory::crash`].
    pub fn die_at(&self, n: u64) {
        self.fail_at(n, io::ErrorKind::BrokenPipe);
    }

    /// Bytes that may still be written; `None` lifts the limit.
    pub fn room(&self, bytes: Option<usize>) {
        self.state().room = bytes;
    }

    /// The power comes back: what was not synced is gone as told.
    pub fn crash(&self, how: Crash) {
        let mut state = self.state();
        let mut coin = Coin(if let Crash::Coin(seed) = how { seed } else { 0 });
        match how {
            Crash::LoseAll => {}
            Crash::Coin(_) => state.throw(&mut coin),
            _ => state.durable = state.names.clone(),
        }
        state.names = state.durable.clone();
        for file in &mut state.files {
            file.crash(how, &mut coin);
        }
        state.fail = None;
        state.dead = false;
    }

    /// A copy that shares nothing with this one.
    #[must_use]
    pub fn image(&self) -> Memory {
        let state = self.state();
        let copy = State {
            files: state.files.clone(),
            names: state.names.clone(),
            durable: state.durable.clone(),
            ..State::default()
        };
        Memory { state: Arc::new(Mutex::new(copy)) }
    }

    /// The bytes of a file now; `None` if it is missing.
    #[must_use]
    pub fn bytes(&self, path: &str) -> Option<Vec<u8>> {
        let state = self.state();
        state.names.get(path).map(|&file| state.files[file].now.clone())
    }

    /// Puts a file there as it is, durable at once: somebody edited it.
    pub fn put(&self, path: &str, bytes: &[u8]) {
        let mut state = self.state();
        let file = state.open(path);
        state.files[file] = Bytes { now: bytes.to_vec(), durable: bytes.to_vec() };
        state.durable.insert(path.to_owned(), file);
    }

    /// All paths now, sorted.
    #[must_use]
    pub fn paths(&self) -> Vec<String> {
        self.state().names.keys().cloned().collect()
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

/// Throws of a coin that a seed decides (SplitMix64; constants from memory).
struct Coin(u64);

impl Coin {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        usize::try_from((z ^ (z >> 31)) % end.max(1) as u64).expect("below a size")
    }

    fn head(&mut self) -> bool {
        self.below(2) == 0
    }

    /// What happens to the bytes of one file of which `unsynced` are not on disk.
    fn crash(&mut self, unsynced: usize) -> Crash {
        match self.below(4) {
            0 => Crash::LoseAll,
            1 => Crash::KeepAll,
            2 => Crash::Tear(self.below(unsynced + 1)),
            _ => Crash::Holes(self.below(unsynced + 1)),
        }
    }
}

impl Bytes {
    fn crash(&mut self, how: Crash, coin: &mut Coin) {
        let common = self.now.iter().zip(&self.durable).take_while(|(a, b)| a == b).count();
        let how = match how {
            Crash::Coin(_) => coin.crash(self.now.len() - common),
            how => how,
        };
        match how {
            Crash::LoseAll => self.now = self.durable.clone(),
            Crash::KeepAll | Crash::Coin(_) => {}
            // A cut that was not synced comes undone; of an append the first bytes stay.
            Crash::Tear(_) | Crash::Holes(_) if common < self.durable.len() => {
                self.now = self.durable.clone();
            }
            Crash::Tear(n) => self.now.truncate(common.saturating_add(n)),
            Crash::Holes(n) => {
                let kept = self.now.len().saturating_sub(n).max(common);
                self.now[common..kept].fill(0);
            }
        }
        self.durable = self.now.clone();
    }
}

impl State {
    fn call(&mut self) -> io::Result<()> {
        self.calls += 1;
        if self.dead {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        match self.fail {
            Some((n, kind)) if self.calls == n => {
                self.dead = kind == io::ErrorKind::BrokenPipe;
                Err(kind.into())
            }
            _ => Ok(()),
        }
    }

    /// Names reach the disk in any order: each that was not synced stayed or did not.
    fn throw(&mut self, coin: &mut Coin) {
        for (name, file) in &self.names {
            if self.durable.get(name) != Some(file) && coin.head() {
                self.durable.insert(name.clone(), *file);
            }
        }
        let gone = |name: &&String| !self.names.contains_key(*name);
        for name in self.durable.keys().filter(gone).cloned().collect::<Vec<_>>() {
            let file = self.durable[&name];
            let twice = self.durable.values().filter(|other| **other == file).count() > 1;
            let removed = !self.names.values().any(|other| *other == file);
            if (twice || removed) && coin.head() {
                self.durable.remove(&name);
            }
        }
    }

    fn open(&mut self, path: &str) -> usize {
        if let Some(&file) = self.names.get(path) {
            return file;
        }
        self.files.push(Bytes::default());
        self.names.insert(path.to_owned(), self.files.len() - 1);
        self.files.len() - 1
    }

    fn find(&self, path: &str) -> io::Result<usize> {
        self.names.get(path).copied().ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    /// Takes what fits, as a full disk does.
    fn take(&mut self, file: usize, bytes: &[u8]) -> io::Result<()> {
        let fits = self.room.map_or(bytes.len(), |room| room.min(bytes.len()));
        self.files[file].now.extend_from_slice(&bytes[..fits]);
        self.room = self.room.map(|room| room - fits);
        if fits < bytes.len() { Err(io::ErrorKind::StorageFull.into()) } else { Ok(()) }
    }
}

impl Disk for Memory {
    fn create_dir(&self, _path: &str) -> io::Result<()> {
        self.state().call()
    }

    fn append(&self, path: &str) -> io::Result<Box<dyn Append>> {
        let mut state = self.state();
        state.call()?;
        let file = state.open(path);
        Ok(Box::new(Appending { disk: self.clone(), file }))
    }

    fn write(&self, path: &str, bytes: &[u8], _mode: Mode) -> io::Result<()> {
        let mut state = self.state();
        state.call()?;
        // As on a real disk: beside first, then renamed over the old name.
        state.files.push(Bytes::default());
        let file = state.files.len() - 1;
        state.take(file, bytes)?;
        state.files[file].durable = bytes.to_vec();
        state.names.insert(path.to_owned(), file);
        Ok(())
    }

    fn read(&self, path: &str, from: u64) -> io::Result<Box<dyn io::Read + Send>> {
        let state = self.state();
        let mut cursor = io::Cursor::new(state.files[state.find(path)?].now.clone());
        cursor.set_position(from);
        Ok(Box::new(cursor))
    }

    fn length(&self, path: &str) -> io::Result<Option<u64>> {
        let state = self.state();
        Ok(state.names.get(path).map(|&file| state.files[file].now.len() as u64))
    }

    fn list(&self, path: &str) -> io::Result<Vec<String>> {
        let state = self.state();
        let mut names: Vec<String> = state
            .names
            .keys()
            .filter_map(|name| match path {
                "" => name.split('/').next(),
                _ => name.strip_prefix(path)?.strip_prefix('/')?.split('/').next(),
            })
            .map(str::to_owned)
            .collect();
        names.dedup();
        Ok(names)
    }

    fn rename(&self, from: &str, to: &str) -> io::Result<()> {
        let mut state = self.state();
        state.call()?;
        let file = state.find(from)?;
        state.names.remove(from);
        state.names.insert(to.to_owned(), file);
        Ok(())
    }

    fn remove(&self, path: &str) -> io::Result<()> {
        let mut state = self.state();
        state.call()?;
        state.names.remove(path);
        Ok(())
    }

    fn truncate(&self, path: &str, length: u64) -> io::Result<()> {
        let mut state = self.state();
        state.call()?;
        let file = state.find(path)?;
        let length = usize::try_from(length).map_err(|_| io::ErrorKind::InvalidInput)?;
        state.files[file].now.truncate(length);
        state.files[file].durable = state.files[file].now.clone();
        Ok(())
    }

    fn sync_dir(&self, path: &str) -> io::Result<()> {
        let mut state = self.state();
        state.call()?;
        let inside = |name: &String| folder_of(name) == path && !name_of(name).is_empty();
        let names: Vec<(String, usize)> =
            state.names.iter().filter(|(n, _)| inside(n)).map(|(n, &f)| (n.clone(), f)).collect();
        state.durable.retain(|name, _| !inside(name));
        state.durable.extend(names);
        Ok(())
    }
}

#[derive(Debug)]
struct Appending {
    disk: Memory,
    file: usize,
}

impl Append for Appending {
    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut state = self.disk.state();
        state.call()?;
        state.take(self.file, bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        let mut state = self.disk.state();
        state.call()?;
        let file = &mut state.files[self.file];
        file.durable = file.now.clone();
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(sync: bool) -> Memory {
        let disk = Memory::new();
        let mut file = disk.append("a/b").unwrap();
        file.append(b"kept").unwrap();
        file.sync().unwrap();
        disk.sync_dir("a").unwrap();
        file.append(b"-more").unwrap();
        if sync {
            file.sync().unwrap();
        }
        disk
    }

    #[test]
    fn a_crash_takes_what_was_not_synced_and_nothing_else() {
        let after = |how, sync| {
            let disk = written(sync);
            disk.crash(how);
            disk.bytes("a/b").unwrap()
        };
        assert_eq!(after(Crash::LoseAll, false), b"kept");
        assert_eq!(after(Crash::LoseAll, true), b"kept-more");
        assert_eq!(after(Crash::KeepAll, false), b"kept-more");
        assert_eq!(after(Crash::Tear(2), false), b"kept-m");
        assert_eq!(after(Crash::Holes(2), false), b"kept\0\0\0re");
    }

    #[test]
    fn a_name_is_lost_without_a_sync_of_its_folder() {
        let disk = Memory::new();
        let mut file = disk.append("a/b").unwrap();
        file.append(b"x").unwrap();
        file.sync().unwrap();
        disk.crash(Crash::LoseAll);
        assert_eq!(disk.bytes("a/b"), None);
        assert!(disk.list("a").unwrap().is_empty());
    }

    #[test]
    fn a_rename_without_sync_comes_undone() {
        let disk = written(true);
        disk.rename("a/b", "c/d").unwrap();
        disk.crash(Crash::LoseAll);
        assert_eq!(disk.paths(), ["a/b"]);
        disk.rename("a/b", "c/d").unwrap();
        disk.sync_dir("c").unwrap();
        disk.sync_dir("a").unwrap();
        disk.crash(Crash::LoseAll);
        assert_eq!(disk.paths(), ["c/d"]);
    }

    #[test]
    fn a_coin_says_what_stays_and_a_rename_never_loses_both_names() {
        let mut seen = std::collections::BTreeSet::new();
        for seed in 0..200 {
            let disk = written(false);
            disk.rename("a/b", "c/d").unwrap();
            disk.crash(Crash::Coin(seed));
            let paths = disk.paths();
            let bytes = disk.bytes(&paths[0]).unwrap();
            assert!(bytes.starts_with(b"kept") && bytes.len() <= 9, "{bytes:?}");
            seen.insert((paths, bytes));
        }
        let names: std::collections::BTreeSet<_> = seen.iter().map(|(names, _)| names).collect();
        assert_eq!(names.len(), 3, "the old name, the new one, both: {names:?}");
        assert!(seen.iter().any(|(_, bytes)| bytes == b"kept-m"), "torn anywhere: {seen:?}");
    }

    #[test]
    fn calls_fail_as_told_and_a_dead_disk_stays_dead_until_the_crash() {
        let disk = Memory::new();
        disk.fail_at(2, io::ErrorKind::StorageFull);
        let mut file = disk.append("a").unwrap();
        assert_eq!(file.append(b"x").unwrap_err().kind(), io::ErrorKind::StorageFull);
        file.append(b"x").unwrap();
        disk.die_at(1);
        assert!(file.sync().is_err() && file.sync().is_err());
        disk.crash(Crash::KeepAll);
        file.sync().unwrap();
    }

    #[test]
    fn a_full_disk_takes_part_of_a_write() {
        let disk = Memory::new();
        disk.room(Some(3));
        let mut file = disk.append("a").unwrap();
        assert_eq!(file.append(b"hello").unwrap_err().kind(), io::ErrorKind::StorageFull);
        assert_eq!(disk.bytes("a").unwrap(), b"hel");
    }
}

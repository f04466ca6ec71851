//! A disk in memory that fails like a real one: for tests and the simulator.
//!
//! Bytes that were not synced and names whose folder was not synced are lost in a crash, or kept
//! in part. The n-th call fails, or the room runs out in the middle of a write. After a failed
//! sync bytes can be read that no later sync writes, until they are read from the disk again.

use std::collections::BTreeMap;
use std::io;
use std::sync::{Arc, Mutex, MutexGuard};

use super::fault::{Bytes, Coin};
use super::{Append, Crash, Disk, Done, Fault, Mode, folder_of, name_of};

/// A disk in memory. Clones share the same disk.
#[derive(Debug, Clone, Default)]
pub struct Memory {
    state: Arc<Mutex<State>>,
}

#[derive(Debug, Default)]
struct State {
    /// What is in each file: the bytes now, and those that a power cut can't take.
    files: Vec<Bytes>,
    /// Names now, and those that a power cut can't take.
    names: BTreeMap<String, usize>,
    durable: BTreeMap<String, usize>,
    calls: u64,
    looks: u64,
    /// The fault, and the number of the call that it hits.
    fault: Option<(u64, Fault)>,
    dead: bool,
    room: Option<usize>,
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

    /// Calls so far that only look: reads, lengths, lists.
    #[must_use]
    pub fn looks(&self) -> u64 {
        self.state().looks
    }

    /// From now on one call fails once.
    pub fn fail(&self, fault: Fault) {
        let mut state = self.state();
        let so_far = state.count(fault.looks);
        state.fault = Some((so_far + fault.nth, fault));
    }

    /// From now on the n-th changing call (the next is 1) fails once, and nothing of it is done.
    pub fn fail_at(&self, n: u64, kind: io::ErrorKind) {
        self.fail(Fault { nth: n, looks: false, kind, done: Done::Nothing });
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

    /// The end of a life, and the next one may begin: what was not synced is gone as told.
    pub fn crash(&self, how: Crash) {
        let mut state = self.state();
        state.fault = None;
        state.dead = false;
        let mut coin = Coin::of(how);
        match how {
            Crash::Killed => return,
            Crash::LoseAll => {}
            Crash::Coin(_) => state.throw(&mut coin),
            _ => state.durable = state.names.clone(),
        }
        state.names = state.durable.clone();
        for file in &mut state.files {
            file.crash(how, &mut coin);
        }
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
        state.files[file] = Bytes::kept(bytes);
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

impl State {
    fn count(&self, looks: bool) -> u64 {
        self.calls + if looks { self.looks } else { 0 }
    }

    /// Counts a call that changes something; what is to go wrong with it.
    fn call(&mut self) -> Option<(io::ErrorKind, Done)> {
        self.calls += 1;
        self.hit(true)
    }

    /// Counts a call that only looks.
    fn look(&mut self) -> io::Result<()> {
        self.looks += 1;
        self.hit(false).map_or(Ok(()), |(kind, _)| Err(kind.into()))
    }

    fn hit(&mut self, changes: bool) -> Option<(io::ErrorKind, Done)> {
        if self.dead {
            return Some((io::ErrorKind::BrokenPipe, Done::Nothing));
        }
        let (n, fault) = self.fault?;
        if n != self.count(fault.looks) || !(changes || fault.looks) {
            return None;
        }
        self.fault = None;
        self.dead = fault.kind == io::ErrorKind::BrokenPipe;
        Some((fault.kind, fault.done))
    }

    /// Does a call whole, unless it is to fail: then not, or with an error behind it.
    fn change<T>(&mut self, act: impl FnOnce(&mut State) -> io::Result<T>) -> io::Result<T> {
        match self.call() {
            None => act(self),
            Some((kind, Done::All)) => act(self).and(Err(kind.into())),
            Some((kind, _)) => Err(kind.into()),
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

    /// A write: a failing one may have done part of it.
    fn write(&mut self, file: usize, bytes: &[u8]) -> io::Result<()> {
        match self.call() {
            None => self.take(file, bytes),
            Some((kind, done)) => {
                let part = match done {
                    Done::Nothing => 0,
                    Done::Bytes(n) => n.min(bytes.len()),
                    Done::All => bytes.len(),
                };
                self.take(file, &bytes[..part]).and(Err(kind.into()))
            }
        }
    }

    /// A sync: after a failing one the bytes seem written.
    fn sync(&mut self, file: usize, settles: bool) -> io::Result<()> {
        let failed = self.call();
        let bytes = &mut self.files[file];
        match failed {
            None if settles => bytes.settle(),
            None => bytes.sync(),
            Some((_, Done::All)) => bytes.sync(),
            // The power went: no system is left that could believe anything.
            Some((io::ErrorKind::BrokenPipe, _)) => {}
            Some(_) => bytes.fail_sync(),
        }
        failed.map_or(Ok(()), |(kind, _)| Err(kind.into()))
    }
}

impl Disk for Memory {
    fn create_dir(&self, _path: &str) -> io::Result<()> {
        self.state().change(|_| Ok(()))
    }

    fn append(&self, path: &str) -> io::Result<Box<dyn Append>> {
        let file = self.state().change(|state| Ok(state.open(path)))?;
        Ok(Box::new(Appending { disk: self.clone(), file }))
    }

    fn write(&self, path: &str, bytes: &[u8], _mode: Mode) -> io::Result<()> {
        let mut state = self.state();
        // As on a real disk: beside first, then renamed over the old name.
        state.files.push(Bytes::default());
        let file = state.files.len() - 1;
        let written = state.write(file, bytes);
        if state.files[file].now == bytes {
            state.files[file].sync();
            state.names.insert(path.to_owned(), file);
        }
        written
    }

    fn read(&self, path: &str, from: u64) -> io::Result<Box<dyn io::Read + Send>> {
        let mut state = self.state();
        state.look()?;
        let mut cursor = io::Cursor::new(state.files[state.find(path)?].now.clone());
        cursor.set_position(from);
        Ok(Box::new(cursor))
    }

    fn length(&self, path: &str) -> io::Result<Option<u64>> {
        let mut state = self.state();
        state.look()?;
        Ok(state.names.get(path).map(|&file| state.files[file].now.len() as u64))
    }

    fn list(&self, path: &str) -> io::Result<Vec<String>> {
        let mut state = self.state();
        state.look()?;
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
        self.state().change(|state| {
            let file = state.find(from)?;
            state.names.remove(from);
            state.names.insert(to.to_owned(), file);
            Ok(())
        })
    }

    fn remove(&self, path: &str) -> io::Result<()> {
        self.state().change(|state| {
            state.names.remove(path);
            Ok(())
        })
    }

    fn truncate(&self, path: &str, length: u64) -> io::Result<()> {
        self.state().change(|state| {
            let file = state.find(path)?;
            let length = usize::try_from(length).map_err(|_| io::ErrorKind::InvalidInput)?;
            state.files[file].truncate(length);
            Ok(())
        })
    }

    fn settle(&self, path: &str) -> io::Result<()> {
        let mut state = self.state();
        let file = state.find(path)?;
        state.sync(file, true)
    }

    fn sync_dir(&self, path: &str) -> io::Result<()> {
        let inside = |name: &String| folder_of(name) == path && !name_of(name).is_empty();
        self.state().change(|state| {
            let names = state.names.iter().filter(|(n, _)| inside(n));
            let names: Vec<(String, usize)> = names.map(|(n, &f)| (n.clone(), f)).collect();
            state.durable.retain(|name, _| !inside(name));
            state.durable.extend(names);
            Ok(())
        })
    }
}

#[derive(Debug)]
struct Appending {
    disk: Memory,
    file: usize,
}

impl Append for Appending {
    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.disk.state().write(self.file, bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.disk.state().sync(self.file, false)
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
    fn what_seems_written_after_a_failed_sync_is_gone_when_it_is_read_again() {
        let failed = || {
            let disk = written(true);
            let mut file = disk.append("a/b").unwrap();
            file.append(b"-lost").unwrap();
            disk.fail_at(1, io::ErrorKind::Other);
            file.sync().unwrap_err();
            assert_eq!(disk.bytes("a/b").unwrap(), b"kept-more-lost");
            (disk, file)
        };
        let (disk, mut file) = failed();
        file.sync().unwrap();
        disk.crash(Crash::LoseAll);
        assert_eq!(disk.bytes("a/b").unwrap(), b"kept-more", "a later sync writes nothing of it");
        let (disk, mut file) = failed();
        file.append(b"!").unwrap();
        file.sync().unwrap();
        disk.crash(Crash::KeepAll);
        assert_eq!(disk.bytes("a/b").unwrap(), b"kept-more\0\0\0\0\0!");
        let (disk, _) = failed();
        disk.settle("a/b").unwrap();
        assert_eq!(disk.bytes("a/b").unwrap(), b"kept-more");
    }

    #[test]
    fn a_killed_process_leaves_what_a_power_cut_can_still_take() {
        let disk = written(false);
        disk.crash(Crash::Killed);
        assert_eq!(disk.bytes("a/b").unwrap(), b"kept-more");
        disk.crash(Crash::LoseAll);
        assert_eq!(disk.bytes("a/b").unwrap(), b"kept");
    }

    #[test]
    fn a_call_that_fails_may_have_done_a_part_or_all() {
        let fail = |nth, done| {
            let disk = Memory::new();
            let mut file = disk.append("a").unwrap();
            disk.fail(Fault { nth, looks: true, kind: io::ErrorKind::Other, done });
            let ended = (file.append(b"hello").is_err(), disk.rename("a", "b").is_err());
            (ended, disk.paths(), disk.bytes("a").or(disk.bytes("b")).unwrap())
        };
        let after = |name: &str, bytes: &[u8]| (vec![name.to_owned()], bytes.to_vec());
        let (a, b) = (after("b", b"he"), after("b", b"hello"));
        assert_eq!(fail(1, Done::Bytes(2)), ((true, false), a.0, a.1));
        assert_eq!(fail(2, Done::All), ((false, true), b.0, b.1));
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

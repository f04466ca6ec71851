//! What is done with one file of the folder: looked at without being followed anywhere, read up to
//! a bound, moved once it was taken or refused. Nothing is ever removed or written over.

use std::ffi::{OsStr, OsString};
use std::fs::File;
use std::io::{self, Read, Write};
use std::os::fd::OwnedFd;
use std::os::unix::ffi::{OsStrExt, OsStringExt};
use std::path::Path;

use rustix::fs::{
    AtFlags, FileType, Mode, OFlags, RenameFlags, Stat, fsync, mkdirat, openat, renameat_with,
    statat,
};
use rustix::io::Errno;

use super::read::FILE_BYTES_MAX;

/// Where a file goes that was taken.
pub(super) const TAKEN: &str = "taken";
/// Where one goes that was not.
pub(super) const REFUSED: &str = "refused";
/// Names that are looked at in one go; more are looked at when these are gone.
const NAMES_MAX: usize = 1_000;
/// Longest name that is kept, bytes.
const NAME_BYTES_MAX: usize = 100;
/// Files of one name that are kept beside each other.
const ALIKE_MAX: u32 = 9_999;
/// How files end that others write before they give them their name.
const UNFINISHED: [&str; 6] = [".part", ".partial", ".tmp", ".filepart", ".crdownload", "~"];

/// A file as it was seen: another one, or one that was written to, is none of these.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Seen {
    node: (u64, u64),
    bytes: u64,
    changed: (i64, u64),
    regular: bool,
}

/// The folder and its two shelves, by their descriptors: a name is never looked up twice.
#[derive(Debug)]
pub(super) struct Inbox {
    inbox: OwnedFd,
    taken: OwnedFd,
    refused: OwnedFd,
}

/// What a file holds.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Content {
    /// Text, and the file that it was read from.
    Text(String, Seen),
    /// What it is instead, a key of the words, with a value; and what was seen.
    Odd(&'static str, String, Seen),
    /// Another one than was seen, or none: look again.
    Other,
}

impl Inbox {
    /// Opens the folder, makes what is missing of it: who belongs to its group may put files there.
    ///
    /// # Errors
    /// The system says no, or something else is there under one of the names.
    pub(super) fn open(path: &Path) -> io::Result<Inbox> {
        let made = std::fs::DirBuilder::new();
        match made.create(path) {
            Err(error) if error.kind() != io::ErrorKind::AlreadyExists => return Err(error),
            Err(_) => {}
            Ok(()) => {
                let mode = std::os::unix::fs::PermissionsExt::from_mode(0o770);
                std::fs::set_permissions(path, mode)?;
            }
        }
        let folder = OFlags::DIRECTORY | OFlags::NOFOLLOW | OFlags::RDONLY | OFlags::CLOEXEC;
        let inbox = rustix::fs::open(path, folder, Mode::empty())?;
        let shelf = |name: &str| -> io::Result<OwnedFd> {
            match mkdirat(&inbox, name, Mode::from_raw_mode(0o750)) {
                Ok(()) | Err(Errno::EXIST) => {}
                Err(error) => return Err(error.into()),
            }
            Ok(openat(&inbox, name, folder, Mode::empty())?)
        };
        let (taken, refused) = (shelf(TAKEN)?, shelf(REFUSED)?);
        Ok(Inbox { inbox, taken, refused })
    }

    /// Names that may be files of orders, in their order.
    ///
    /// # Errors
    /// The folder can't be read.
    pub(super) fn names(&self) -> io::Result<Vec<OsString>> {
        let mut names = Vec::new();
        for entry in rustix::fs::Dir::read_from(&self.inbox)? {
            let name = OsString::from_vec(entry?.file_name().to_bytes().to_vec());
            if is_meant(&name) {
                names.push(name);
            }
            // The first by name of all that are there: the same at each look.
            if names.len() == 2 * NAMES_MAX {
                names.sort();
                names.truncate(NAMES_MAX);
            }
        }
        names.sort();
        names.truncate(NAMES_MAX);
        Ok(names)
    }

    /// What lies there; `None`: nothing, or a folder.
    pub(super) fn see(&self, name: &OsStr) -> Option<Seen> {
        let stat = statat(&self.inbox, name, AtFlags::SYMLINK_NOFOLLOW).ok()?;
        (FileType::from_raw_mode(stat.st_mode) != FileType::Directory).then(|| Seen::of(&stat))
    }

    /// The same of what may be a file of orders.
    pub(super) fn see_meant(&self, name: &OsStr) -> Option<Seen> {
        if is_meant(name) { self.see(name) } else { None }
    }

    /// Reads a file that was seen.
    pub(super) fn read(&self, name: &OsStr, seen: Seen) -> Content {
        if !seen.regular {
            return Content::Odd("no_file", String::new(), seen);
        }
        if seen.bytes > FILE_BYTES_MAX as u64 {
            return Content::Odd("too_long", String::new(), seen);
        }
        let flags = OFlags::RDONLY | OFlags::NOFOLLOW | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let file = match openat(&self.inbox, name, flags, Mode::empty()) {
            Ok(file) => file,
            Err(Errno::NOENT | Errno::LOOP) => return Content::Other,
            Err(error) => return Content::Odd("unread", error.to_string(), seen),
        };
        let now = |file: &OwnedFd| rustix::fs::fstat(file).ok().map(|stat| Seen::of(&stat));
        if now(&file) != Some(seen) {
            return Content::Other;
        }
        let mut file = File::from(file);
        let mut bytes = Vec::new();
        if let Err(error) = (&mut file).take(FILE_BYTES_MAX as u64 + 1).read_to_end(&mut bytes) {
            return Content::Odd("unread", error.to_string(), seen);
        }
        if now(&file.into()) != Some(seen) || bytes.len() as u64 != seen.bytes {
            return Content::Other;
        }
        match String::from_utf8(bytes) {
            Ok(text) => Content::Text(text, seen),
            Err(error) => {
                let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
                let line = 1 + good.iter().filter(|byte| **byte == b'\n').count();
                Content::Odd("no_text", line.to_string(), seen)
            }
        }
    }

    /// Puts a file that was taken away; whether it was still the one that was seen.
    ///
    /// # Errors
    /// The system says no: it stays where it is.
    pub(super) fn put_taken(&self, name: &OsStr, seen: Seen) -> io::Result<bool> {
        self.put(name, seen, (&self.taken, None))
    }

    /// Puts a file that was refused away, with why beside it; whether it was still the one.
    ///
    /// # Errors
    /// The system says no: it stays where it is.
    pub(super) fn put_refused(&self, name: &OsStr, seen: Seen, why: &str) -> io::Result<bool> {
        self.put(name, seen, (&self.refused, Some(why)))
    }

    /// Says why, before the file is there: no file lies there without. What a life that was killed
    /// in between wrote is written anew.
    fn say_why(&self, free: &str, why: &str) -> io::Result<()> {
        let flags = OFlags::WRONLY | OFlags::CREATE | OFlags::TRUNC | OFlags::NOFOLLOW;
        let mode = Mode::from_raw_mode(0o640);
        let file = openat(&self.refused, format!("{free}.why"), flags | OFlags::CLOEXEC, mode)?;
        let mut file = File::from(file);
        file.write_all(why.as_bytes())?;
        file.sync_all()
    }

    /// Moves it under the first name that is free. What was changed or exchanged under our hands
    /// goes back: nobody has read it.
    fn put(
        &self,
        name: &OsStr,
        seen: Seen,
        (shelf, why): (&OwnedFd, Option<&str>),
    ) -> io::Result<bool> {
        if self.see(name) != Some(seen) {
            return Ok(false);
        }
        let plain = plain(name);
        for n in 1..=ALIKE_MAX {
            let free = if n == 1 { plain.clone() } else { format!("{n}.{plain}") };
            if statat(shelf, free.as_str(), AtFlags::SYMLINK_NOFOLLOW).is_ok() {
                continue;
            }
            if let Some(why) = why {
                self.say_why(&free, why)?;
            }
            match renameat_with(&self.inbox, name, shelf, &free, RenameFlags::NOREPLACE) {
                Err(Errno::EXIST) => continue,
                Err(error) => return Err(error.into()),
                Ok(()) => {}
            }
            let stat = statat(shelf, free.as_str(), AtFlags::SYMLINK_NOFOLLOW)?;
            if Seen::of(&stat) != seen {
                renameat_with(shelf, &free, &self.inbox, name, RenameFlags::NOREPLACE)?;
                return Ok(false);
            }
            fsync(shelf)?;
            fsync(&self.inbox)?;
            return Ok(true);
        }
        Err(io::Error::other(format!("{ALIKE_MAX} files have this name already")))
    }
}

impl Seen {
    fn of(stat: &Stat) -> Seen {
        Seen {
            node: (stat.st_dev, stat.st_ino),
            bytes: u64::try_from(stat.st_size).unwrap_or(u64::MAX),
            changed: (stat.st_mtime, stat.st_mtime_nsec),
            regular: FileType::from_raw_mode(stat.st_mode) == FileType::RegularFile,
        }
    }

    #[cfg(test)]
    pub(super) fn made(node: u64, bytes: u64) -> Seen {
        Seen { node: (1, node), bytes, changed: (0, 0), regular: true }
    }

    /// There is nothing in it yet.
    pub(super) fn is_empty(self) -> bool {
        self.regular && self.bytes == 0
    }
}

/// It is no part of the folder itself, and nobody says by its name that it is unfinished.
fn is_meant(name: &OsStr) -> bool {
    let text = name.to_string_lossy();
    ![TAKEN, REFUSED].contains(&&*text)
        && !text.starts_with('.')
        && !UNFINISHED.iter().any(|end| text.to_lowercase().ends_with(end))
}

/// A name of letters, digits and few marks, no longer than a bound.
pub(super) fn plain(name: &OsStr) -> String {
    let fits = |byte: &u8| byte.is_ascii_alphanumeric() || b"._-".contains(byte);
    let letter = |byte: &u8| if fits(byte) { char::from(*byte) } else { '_' };
    let bytes = name.as_bytes();
    // Its end says what it is.
    let from = bytes.len().saturating_sub(NAME_BYTES_MAX);
    let text: String = bytes[from..].iter().map(letter).collect();
    if text.starts_with('.') { format!("_{text}") } else { text }
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::symlink;

    use super::*;

    fn inbox() -> (tempfile::TempDir, Inbox) {
        let temp = tempfile::tempdir().unwrap();
        let inbox = Inbox::open(&temp.path().join("inbox")).unwrap();
        (temp, inbox)
    }

    fn list(path: &Path) -> Vec<String> {
        let names = std::fs::read_dir(path).unwrap();
        let mut names: Vec<String> =
            names.map(|one| one.unwrap().file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_file_moves_once_and_never_over_another() {
        let (temp, inbox) = inbox();
        let at = temp.path().join("inbox");
        for text in ["one", "two"] {
            std::fs::write(at.join("a.csv"), text).unwrap();
            let name = OsStr::new("a.csv");
            let seen = inbox.see(name).unwrap();
            assert_eq!(inbox.read(name, seen), Content::Text(text.into(), seen));
            assert!(inbox.put_taken(name, seen).unwrap());
            assert!(!inbox.put_taken(name, seen).unwrap(), "it is gone");
        }
        assert_eq!(list(&at.join(TAKEN)), ["2.a.csv", "a.csv"]);
        assert_eq!(std::fs::read_to_string(at.join("taken/a.csv")).unwrap(), "one");
    }

    #[test]
    fn what_changed_after_it_was_read_stays() {
        let (temp, inbox) = inbox();
        let path = temp.path().join("inbox/a.csv");
        std::fs::write(&path, "one").unwrap();
        let name = OsStr::new("a.csv");
        let seen = inbox.see(name).unwrap();
        std::fs::write(temp.path().join("b"), "two").unwrap();
        std::fs::rename(temp.path().join("b"), &path).unwrap();
        assert_eq!(inbox.read(name, seen), Content::Other);
        assert!(!inbox.put_taken(name, seen).unwrap());
        assert!(!inbox.put_refused(name, seen, "x").unwrap());
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "two");
    }

    #[test]
    fn hostile_names_and_kinds_are_put_away_and_followed_nowhere() {
        let (temp, inbox) = inbox();
        let at = temp.path().join("inbox");
        std::fs::write(temp.path().join("secret"), "order,asset").unwrap();
        symlink("../secret", at.join("link.csv")).unwrap();
        let fifo = std::process::Command::new("mkfifo").arg(at.join("pipe.csv")).status().unwrap();
        assert!(fifo.success(), "mkfifo of coreutils");
        let odd = OsString::from_vec(b"\x1b[2J\xff \xe2\x80\xae.csv".to_vec());
        std::fs::write(at.join(&odd), b"a\nb\xff").unwrap();
        std::fs::write(at.join("long.csv"), vec![b'x'; FILE_BYTES_MAX + 1]).unwrap();
        for other in [".hidden", "half.csv.part", "copy~"] {
            std::fs::write(at.join(other), "x").unwrap();
        }
        std::fs::create_dir(at.join("folder")).unwrap();
        let names = inbox.names().unwrap();
        let seen: Vec<_> = names.iter().filter_map(|name| Some((name, inbox.see(name)?))).collect();
        assert_eq!(seen.len(), 4, "{names:?}");
        let mut keys = Vec::new();
        for (name, seen) in seen {
            let Content::Odd(key, value, seen) = inbox.read(name, seen) else { panic!("{name:?}") };
            keys.push((key, value));
            assert!(inbox.put_refused(name, seen, "because").unwrap());
        }
        let text = |text: &str| text.to_owned();
        let want = [
            ("no_text", text("2")),
            ("no_file", text("")),
            ("too_long", text("")),
            ("no_file", text("")),
        ];
        assert_eq!(keys, want);
        let put = list(&at.join(REFUSED));
        assert_eq!(put.len(), 8);
        assert!(put.iter().all(|name| name.bytes().all(|b| b.is_ascii_graphic())), "{put:?}");
        assert_eq!(std::fs::read_to_string(temp.path().join("secret")).unwrap(), "order,asset");
        assert_eq!(list(&at), [".hidden", "copy~", "folder", "half.csv.part", "refused", "taken"]);
    }

    #[test]
    fn a_long_name_keeps_its_end() {
        let long = "x".repeat(250) + ".csv";
        let short = plain(OsStr::new(&long));
        assert!(short.len() == NAME_BYTES_MAX && short.ends_with(".csv"));
        assert_eq!(plain(OsStr::new("../../etc/passwd")), "_.._.._etc_passwd");
    }
}

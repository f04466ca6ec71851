//! Room: idle books go by age and by quota, whole files, oldest first. Nothing else ever goes.

use std::fs;
use std::path::{Path, PathBuf};

use crate::clock;

const DAY_US: i64 = 86_400 * 1_000_000;
const MEBIBYTE: u64 = 1024 * 1024;

/// How long idle books are kept, and how much room they may take.
#[derive(Debug, Clone, Copy)]
pub(super) struct Keep {
    pub(super) days: u32,
    pub(super) mebibytes: u32,
    /// A time service keeps the wall clock right. Else it may stand years ahead, and no day is too
    /// old that is among the newest `days` with a book.
    pub(super) sure: bool,
}

/// A file of the idle folder.
struct File {
    day: String,
    path: PathBuf,
    bytes: u64,
}

/// Removes idle books that are too old, then the oldest until the rest fits. The books of today
/// and yesterday stay, whatever they take: they may be open. Returns what was removed.
pub(super) fn prune(folder: &Path, keep: Keep, now_us: i64) -> Vec<PathBuf> {
    let yesterday = clock::utc_day(now_us.saturating_sub(DAY_US));
    let age = i64::from(keep.days).saturating_mul(DAY_US);
    let oldest = clock::utc_day(now_us.saturating_sub(age));
    let mut files = files(&folder.join("idle"));
    files.sort_by(|a, b| a.path.cmp(&b.path));
    let mut days: Vec<&str> = files.iter().map(|file| file.day.as_str()).collect();
    days.dedup();
    let newest = days.len().saturating_sub(usize::try_from(keep.days).unwrap_or(usize::MAX));
    let newest = days.get(newest).filter(|_| !keep.sure).map(|day| (*day).to_owned());
    let oldest = newest.map_or(oldest.clone(), |newest| newest.min(oldest));
    let mut room: u64 = files.iter().map(|file| file.bytes).sum();
    let quota = u64::from(keep.mebibytes) * MEBIBYTE;
    let mut removed = Vec::new();
    for file in files {
        let wanted = file.day >= oldest && room <= quota;
        if wanted || file.day >= yesterday {
            continue;
        }
        match fs::remove_file(&file.path) {
            Ok(()) => {
                room -= file.bytes;
                removed.push(file.path);
            }
            Err(error) => {
                tracing::warn!(path = %file.path.display(), %error, "An old idle book stays.");
            }
        }
    }
    removed
}

fn files(folder: &Path) -> Vec<File> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let file = |entry: fs::DirEntry| {
        let path = entry.path();
        let name = path.file_name()?.to_str()?;
        // `2026-11-24.jsonl`, `2026-11-24-2.jsonl`, `2026-11-24.torn-9`
        let day =
            name.get(..10).filter(|day| clock::wall_of(&format!("{day}T00:00:00Z")).is_some());
        let bytes = entry.metadata().ok()?.len();
        Some(File { day: day?.to_owned(), path: path.clone(), bytes })
    };
    entries.filter_map(|entry| file(entry.ok()?)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOON: i64 = 1_795_594_443_512_004; // 2026-11-25

    fn folder(files: &[(&str, usize)]) -> tempfile::TempDir {
        let temp = tempfile::tempdir().unwrap();
        let idle = temp.path().join("idle");
        fs::create_dir(&idle).unwrap();
        for (name, bytes) in files {
            fs::write(idle.join(name), vec![b'x'; *bytes]).unwrap();
        }
        temp
    }

    fn names(removed: &[PathBuf]) -> Vec<&str> {
        removed.iter().map(|path| path.file_name().unwrap().to_str().unwrap()).collect()
    }

    #[test]
    fn what_is_too_old_goes_and_nothing_else() {
        let temp = folder(&[
            ("2026-10-20.jsonl", 1),
            ("2026-10-20.torn-9", 1),
            ("2026-10-26.jsonl", 1),
            ("2026-11-25.jsonl", 1),
            ("notes.txt", 1),
        ]);
        let keep = Keep { days: 30, mebibytes: 16, sure: true };
        let removed = prune(temp.path(), keep, NOON);
        assert_eq!(names(&removed), ["2026-10-20.jsonl", "2026-10-20.torn-9"]);
        assert!(temp.path().join("idle/notes.txt").exists());
    }

    #[test]
    fn the_oldest_go_until_the_rest_fits_and_the_last_two_days_stay() {
        let mebibyte = 1 << 20;
        let temp = folder(&[
            ("2026-11-22.jsonl", mebibyte),
            ("2026-11-23.jsonl", mebibyte),
            ("2026-11-24.jsonl", mebibyte),
            ("2026-11-25.jsonl", mebibyte),
        ]);
        let keep = Keep { days: 30, mebibytes: 3, sure: false };
        let removed = prune(temp.path(), keep, NOON);
        assert_eq!(names(&removed), ["2026-11-22.jsonl"]);
        let removed = prune(temp.path(), Keep { mebibytes: 0, ..keep }, NOON);
        assert_eq!(names(&removed), ["2026-11-23.jsonl"]);
    }

    /// A clock that stands 70 years ahead takes nothing away, unless somebody vouches for it.
    #[test]
    fn a_clock_that_nobody_keeps_right_makes_no_book_too_old() {
        let files = [("2026-11-22.jsonl", 1), ("2026-11-24.jsonl", 1), ("2026-11-24.torn-9", 1)];
        let files = [&files[..], &[("2026-11-25.jsonl", 1), ("2096-11-25.jsonl", 1)]].concat();
        let temp = folder(&files);
        let in_2096 = NOON + 70 * 365 * DAY_US;
        let keep = Keep { days: 4, mebibytes: 16, sure: false };
        assert_eq!(prune(temp.path(), keep, in_2096), Vec::<PathBuf>::new());
        let removed = prune(temp.path(), Keep { days: 3, ..keep }, in_2096);
        assert_eq!(names(&removed), ["2026-11-22.jsonl"]);
        let removed = prune(temp.path(), Keep { sure: true, ..keep }, in_2096);
        assert_eq!(removed.len(), 3, "{removed:?}");
    }
}

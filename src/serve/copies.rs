//! When what is sealed was last archived, and when an archive was last tried: said gently where
//! that was too long ago. A disk that dies takes with it what was never copied.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::{SystemTime, UNIX_EPOCH};

use serde_json::{Value, json};

use crate::archive::receipts;
use crate::books::Folder;
use crate::clock;

const DAY_US: i64 = 86_400_000_000;

/// What the configuration calls too long, days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Often {
    /// An archive is made again.
    pub archive_days: u32,
    /// An archive is brought back and judged anew.
    pub drill_days: u32,
}

/// The receipts of a data folder, read again where there are others.
#[derive(Debug)]
pub struct Copies {
    folder: PathBuf,
    often: Often,
    seen: Mutex<Option<(SystemTime, Newest)>>,
}

/// Moments of the newest receipts, microseconds since 1970.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Newest {
    archive: Option<i64>,
    drill: Option<i64>,
}

impl Copies {
    /// Those of a data folder.
    #[must_use]
    pub fn of(folder: &Path, often: Often) -> Copies {
        Copies { folder: folder.to_owned(), often, seen: Mutex::default() }
    }

    /// `archive` and `drill`, each: `last` (when, or null), `days` since then, or since the station
    /// was made, and whether that is `late`.
    #[must_use]
    pub fn json(&self, now_us: i64) -> Value {
        let newest = self.newest();
        let began = began(&self.folder);
        let one = |last: Option<i64>, often: u32| {
            let since = last.or(began);
            let days = since.map(|since| now_us.saturating_sub(since).max(0) / DAY_US);
            let late = days.is_some_and(|days| days > i64::from(often));
            json!({ "last": last.map(clock::rfc3339), "days": days, "late": late })
        };
        json!({
            "archive": one(newest.archive, self.often.archive_days),
            "drill": one(newest.drill, self.often.drill_days),
        })
    }

    /// None where they can't be read: that was said when they were written.
    fn newest(&self) -> Newest {
        let changed = fs::metadata(self.folder.join("receipts")).and_then(|one| one.modified());
        let Ok(changed) = changed else { return Newest::default() };
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        match *seen {
            Some((then, newest)) if then == changed => newest,
            _ => {
                let newest = read(&self.folder);
                *seen = Some((changed, newest));
                newest
            }
        }
    }
}

/// Of those that the station's keys have signed.
fn read(folder: &Path) -> Newest {
    let all = Folder::open(folder).ok().and_then(|disk| receipts(&disk).ok()).unwrap_or_default();
    let of = |what: &str| {
        let own = all.iter().filter(|one| one.what == what);
        own.filter_map(|one| clock::wall_of(&one.at)).max()
    };
    Newest { archive: of("archive"), drill: of("drill") }
}

/// When the first key of the station was made.
fn began(folder: &Path) -> Option<i64> {
    let keys = fs::read_dir(folder.join("keys")).ok()?;
    let moments = keys.filter_map(|key| key.ok()?.metadata().ok()?.modified().ok());
    let since = |moment: SystemTime| moment.duration_since(UNIX_EPOCH).ok();
    moments.filter_map(since).filter_map(|since| i64::try_from(since.as_micros()).ok()).min()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Nothing was made yet: it is late once the station itself is older than that.
    #[test]
    fn never_is_late_after_as_many_days() {
        let temp = tempfile::tempdir().unwrap();
        let often = Often { archive_days: 35, drill_days: 366 };
        let copies = Copies::of(temp.path(), often);
        let now = clock::now().wall_us;
        let nothing = copies.json(now);
        assert_eq!(nothing["archive"], json!({ "last": null, "days": null, "late": false }));
        fs::create_dir(temp.path().join("keys")).unwrap();
        fs::write(temp.path().join("keys/T1-1.pub.pem"), "key").unwrap();
        for (days, archive, drill) in
            [(0, false, false), (35, false, false), (36, true, false), (367, true, true)]
        {
            let said = copies.json(now + days * DAY_US + DAY_US / 2);
            let late = [&said["archive"], &said["drill"]].map(|one| one["late"] == true);
            assert_eq!((late, said["archive"]["days"].as_i64()), ([archive, drill], Some(days)));
            assert!(said["archive"]["last"].is_null());
        }
    }
}

//! Makes a data folder of an archive, byte for byte.

use std::fs;
use std::path::Path;

use super::check::wrong;
use super::copy::{copy, sum, sum_if};
use super::make::{PAGE, is_record, list};
use super::sums::{SUMS, Sums};
use super::{Fault, Made};
use crate::books::disk::folder_of;
use crate::books::place::{IDLE, INSPECTIONS, KEYS, OPEN, STATION};
use crate::books::{Disk, Folder};

/// Folder within the data folder in which a restoring is under way. While it is there, no station
/// starts.
pub const PART: &str = "import.part";

/// Folders of a data folder that a restoring fills, in the order in which they get their names:
/// the station's book says what must be there, and comes last.
const FOLDERS: [&str; 5] = [INSPECTIONS, OPEN, IDLE, KEYS, STATION];

/// Brings an archive into a data folder that holds nothing yet. Every file of it is checked by its
/// sum first, then read back from where it lies now, and the whole is checked as a data folder is.
/// Returns what was brought in.
///
/// # Errors
/// It is no archive, one of its files is missing or was changed, the data folder is not empty, or
/// the file system says no. What was begun is begun anew by the next call.
pub fn restore(archive: &Folder, root: &Path) -> Result<Made, Fault> {
    if archive.length(PAGE).map_err(Fault::of(PAGE))?.is_none() {
        let folder = archive.root().display().to_string();
        return Err(Fault::said("no_archive", &[("folder", &folder)]));
    }
    let sums = Sums::of(archive, SUMS)?;
    for (path, wanted) in &sums.0 {
        match sum_if(archive, path)? {
            Some(there) if there.sha256 == *wanted => {}
            Some(_) => return Err(Fault::said("changed", &[("file", path)])),
            None => return Err(Fault::said("missing", &[("file", path)])),
        }
    }
    let data = Folder::open(root).map_err(Fault::of(&root.display().to_string()))?;
    free(&data)?;
    let part = root.join(PART);
    let of_part = |error| Fault::File(part.display().to_string(), error);
    if part.exists() {
        fs::remove_dir_all(&part).map_err(of_part)?;
    }
    let begun = Folder::open(&part).map_err(of_part)?;
    let taken = sums.0.iter().filter(|(path, _)| is_data(path));
    let (mut records, mut bytes) = (0, 0);
    for (path, wanted) in taken {
        begun.create_dir(folder_of(path)).map_err(Fault::of(path))?;
        bytes += copy(archive, &begun, path, u64::MAX)?.bytes;
        begun.sync_dir(folder_of(path)).map_err(Fault::of(path))?;
        begun.settle(path).map_err(Fault::of(path))?;
        if sum(&begun, path, u64::MAX)?.sha256 != *wanted {
            return Err(Fault::said("read_back_of", &[("file", path)]));
        }
        records += usize::from(is_record(path));
    }
    if let Some((file, why)) = wrong(&part)?.first() {
        return Err(Fault::said("wrong", &[("file", file), ("why", why)]));
    }
    for folder in FOLDERS {
        if part.join(folder).is_dir() {
            data.rename(&format!("{PART}/{folder}"), folder).map_err(Fault::of(folder))?;
            data.sync_dir("").map_err(Fault::of(folder))?;
        }
    }
    fs::remove_dir(&part).map_err(of_part)?;
    data.sync_dir("").map_err(Fault::of(PART))?;
    let covered = sums.text();
    let sums = sum(archive, SUMS, u64::MAX)?.sha256;
    Ok(Made { records, bytes, sums, covered, ..Made::default() })
}

fn is_data(path: &str) -> bool {
    let folder = path.split('/').next().unwrap_or_default();
    [INSPECTIONS, OPEN, IDLE, STATION].contains(&folder)
        || (folder == KEYS && path.ends_with(".pub.pem"))
}

/// A data folder that holds nothing, or what a restoring that was cut off left behind: its station
/// book gets its name last.
fn free(data: &Folder) -> Result<(), Fault> {
    let cut = data.root().join(PART).is_dir();
    for name in list(data, "")? {
        let mine = name == PART || name == "lock" || name == "lost+found";
        let half = cut && FOLDERS.contains(&name.as_str()) && name != STATION;
        if half {
            let path = data.root().join(&name);
            fs::remove_dir_all(&path).map_err(Fault::of(&name))?;
        } else if !mine {
            let folder = data.root().display().to_string();
            return Err(Fault::said("not_free", &[("folder", &folder), ("name", &name)]));
        }
    }
    Ok(())
}

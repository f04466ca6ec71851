//! One file from one folder to another, with its SHA-256 on the way.

use std::io::Read;

use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};

use super::Fault;
use crate::books::Disk;

/// Bytes that are held in memory at once.
const PIECE: usize = 1 << 16;
/// Longest file that is read whole, bytes: a table of sums of a million records.
pub(super) const READ_MAX: u64 = 512 << 20;

/// SHA-256 and length of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Sum {
    pub(super) sha256: String,
    pub(super) bytes: u64,
}

/// Reads a file, or as much of it as is wanted.
///
/// # Errors
/// It can't be read.
pub(super) fn sum(disk: &dyn Disk, path: &str, first: u64) -> Result<Sum, Fault> {
    each(disk, path, first, |_| Ok(()))
}

/// As [`sum`]; `None` if there is no such file.
pub(super) fn sum_if(disk: &dyn Disk, path: &str) -> Result<Option<Sum>, Fault> {
    match disk.length(path).map_err(Fault::of(path))? {
        Some(_) => sum(disk, path, u64::MAX).map(Some),
        None => Ok(None),
    }
}

/// Writes the first bytes of a file to the same place of another folder and syncs them; what was
/// there is replaced. The name is durable only after its folder was synced.
///
/// # Errors
/// It can't be read or written.
pub(super) fn copy(from: &dyn Disk, to: &dyn Disk, path: &str, first: u64) -> Result<Sum, Fault> {
    to.remove(path).map_err(Fault::of(path))?;
    let mut file = to.append(path).map_err(Fault::of(path))?;
    let sum = each(from, path, first, |piece| file.append(piece).map_err(Fault::of(path)))?;
    file.sync().map_err(Fault::of(path))?;
    Ok(sum)
}

fn each(
    disk: &dyn Disk,
    path: &str,
    first: u64,
    mut take: impl FnMut(&[u8]) -> Result<(), Fault>,
) -> Result<Sum, Fault> {
    let mut source = disk.read(path, 0).map_err(Fault::of(path))?.take(first);
    let (mut sha, mut bytes) = (Sha256::new(), 0);
    let mut piece = vec![0; PIECE];
    loop {
        let n = source.read(&mut piece).map_err(Fault::of(path))?;
        if n == 0 {
            return Ok(Sum { sha256: HEXLOWER.encode(&sha.finalize()), bytes });
        }
        sha.update(&piece[..n]);
        bytes += n as u64;
        take(&piece[..n])?;
    }
}

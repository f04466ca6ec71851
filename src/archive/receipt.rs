//! What a station notes of an archive that was read back and found right, signed with its key.
//!
//! `receipts/2026-11-27T031713Z.json`, `.sig` (Ed25519 over the bytes of the first) and `.sums`
//! (the `SHA256SUMS` that was there). A name of a day and second is never used twice.

use std::io::Read;

use data_encoding::HEXLOWER;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::copy::READ_MAX;
use super::sums::Sums;
use super::{Fault, Made};
use crate::books::disk::Mode;
use crate::books::key::public_keys;
use crate::books::{Disk, Key};
use crate::clock::{self, Stamp};

/// Folder of receipts in the data folder.
const RECEIPTS: &str = "receipts";
/// Number of its form.
const FORMAT: &str = "tapline-receipt-1";

/// That an archive was there and right.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Receipt {
    /// `tapline-receipt-1`.
    pub format: String,
    /// `archive`, made and read back; `drill`, brought back and judged anew.
    pub what: String,
    /// Station.
    pub station: String,
    /// When it was read back, UTC.
    pub at: String,
    /// Folder in which it was, as it was named then.
    pub folder: String,
    /// Records in it, addenda among them.
    pub records: usize,
    /// Bytes that were read back.
    pub bytes: u64,
    /// SHA-256 of its `SHA256SUMS`, hex.
    pub sums: String,
    /// Version of the program that read it.
    pub version: String,
}

impl Receipt {
    /// Notes a receipt in a data folder.
    ///
    /// # Errors
    /// It can't be written.
    pub fn note(
        disk: &dyn Disk,
        key: &Key,
        (what, station, folder): (&str, &str, &str),
        at: Stamp,
        made: &Made,
    ) -> Result<Receipt, Fault> {
        let receipt = Receipt {
            format: FORMAT.into(),
            what: what.into(),
            station: station.into(),
            at: clock::rfc3339(at.wall_us),
            folder: folder.into(),
            records: made.records,
            bytes: made.bytes,
            sums: made.sums.clone(),
            version: env!("CARGO_PKG_VERSION").into(),
        };
        disk.create_dir(RECEIPTS).map_err(Fault::of(RECEIPTS))?;
        let name = free(disk, &receipt.at)?;
        let text = serde_json::to_vec(&receipt).expect("a receipt is plain JSON");
        let write = |end: &str, bytes: &[u8]| {
            let path = format!("{RECEIPTS}/{name}{end}");
            disk.write(&path, bytes, Mode::Shared).map_err(Fault::of(&path))
        };
        write(".sums", made.covered.as_bytes())?;
        write(".sig", &key.sign(&text))?;
        // Last: without it there is no receipt.
        write(".json", &text)?;
        disk.sync_dir(RECEIPTS).map_err(Fault::of(RECEIPTS))?;
        Ok(receipt)
    }
}

fn free(disk: &dyn Disk, at: &str) -> Result<String, Fault> {
    let stem: String = at.chars().take(19).filter(|c| *c != ':').collect();
    let there = disk.list(RECEIPTS).map_err(Fault::of(RECEIPTS))?;
    let taken = |name: &String| there.iter().any(|file| file.strip_suffix(".json") == Some(name));
    let names = (0..1000).map(|n| match n {
        0 => format!("{stem}Z"),
        n => format!("{stem}Z-{n}"),
    });
    let mut names = names.skip_while(taken);
    names.next().ok_or_else(|| Fault::said("too_many", &[("folder", RECEIPTS)]))
}

/// A receipt with what it covers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Covering {
    pub(super) receipt: Receipt,
    /// SHA-256 of the receipt's own bytes, hex.
    pub(super) sha256: String,
    pub(super) sums: Sums,
}

/// The receipts of a data folder that its keys have signed, oldest first.
///
/// # Errors
/// The folder can't be read.
pub fn receipts(disk: &dyn Disk) -> Result<Vec<Receipt>, Fault> {
    Ok(signed(disk)?.into_iter().map(|(_, receipt, _)| receipt).collect())
}

/// The same, with what they cover: only where the list is the one that was signed.
pub(super) fn covering(disk: &dyn Disk) -> Result<Vec<Covering>, Fault> {
    let mut all = Vec::new();
    for (name, receipt, sha256) in signed(disk)? {
        let path = format!("{RECEIPTS}/{name}.sums");
        let text = bytes(disk, &path)?;
        if HEXLOWER.encode(&Sha256::digest(&text)) == receipt.sums {
            let sums = Sums::read(&String::from_utf8_lossy(&text));
            all.push(Covering { receipt, sha256, sums });
        }
    }
    Ok(all)
}

fn signed(disk: &dyn Disk) -> Result<Vec<(String, Receipt, String)>, Fault> {
    let keys = public_keys(disk).map_err(Fault::of(crate::books::place::KEYS))?;
    let mut all = Vec::new();
    for file in disk.list(RECEIPTS).map_err(Fault::of(RECEIPTS))? {
        let Some(name) = file.strip_suffix(".json") else { continue };
        let text = bytes(disk, &format!("{RECEIPTS}/{file}"))?;
        let signature = bytes(disk, &format!("{RECEIPTS}/{name}.sig"))?;
        let Ok(receipt) = serde_json::from_slice::<Receipt>(&text) else { continue };
        if receipt.format == FORMAT && keys.iter().any(|key| key.verifies(&text, &signature)) {
            all.push((name.to_owned(), receipt, HEXLOWER.encode(&Sha256::digest(&text))));
        }
    }
    Ok(all)
}

/// Empty where there is no such file.
fn bytes(disk: &dyn Disk, path: &str) -> Result<Vec<u8>, Fault> {
    let mut bytes = Vec::new();
    if disk.length(path).map_err(Fault::of(path))?.is_some() {
        let source = disk.read(path, 0).map_err(Fault::of(path))?;
        source.take(READ_MAX).read_to_end(&mut bytes).map_err(Fault::of(path))?;
    }
    Ok(bytes)
}

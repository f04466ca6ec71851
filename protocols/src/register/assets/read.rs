//! Reading assets from CSV.

use alloc::collections::{BTreeMap, BTreeSet};
use alloc::format;
use alloc::string::String;
use alloc::vec;
use alloc::vec::Vec;
use core::cell::RefCell;

use super::map::AssetMap;
use super::row::Row;
use crate::fault::Fault;
use crate::read::{FAULTS_MAX, csv, nearest};
use crate::register::Asset;

/// Columns that must be there: without one of them something would silently count as absent, and
/// its step would never be asked for.
pub const COLUMNS_NEEDED: [&str; 9] = [
    "asset",
    "description",
    "class",
    "functional_earth",
    "cord",
    "switching_supply",
    "earthed_points",
    "accessible_parts",
    "applied_parts",
];
/// Columns that may be left out.
pub const COLUMNS_MORE: [&str; 22] = [
    "maker",
    "model",
    "serial",
    "udi_di",
    "giai",
    "location",
    "owner",
    "ownership",
    "return_by",
    "risk",
    "retired",
    "cords",
    "rated_volts",
    "rated_amps",
    "cord_metres",
    "heating_kw",
    "states",
    "built_to",
    "plan",
    "interval",
    "due",
    "excluded",
];

/// Assets of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AssetList {
    /// The assets, in the order of the list.
    pub assets: Vec<Asset>,
    /// Columns of which the list says nothing where an asset is known already: it does not have
    /// them, or a map has them for new assets alone.
    pub silent: BTreeSet<&'static str>,
}

/// Reads assets: CSV with a row of column names, separated by `,` or `;`, lists by `|`.
///
/// # Errors
/// All faults at once, each with its line and column.
pub fn read_assets(text: &str) -> Result<Vec<Asset>, Vec<Fault>> {
    read_asset_list(text, None).map(|list| list.assets)
}

/// Reads assets, of a list whose columns have the names that a map gives. A row without any text
/// is passed over, as spreadsheets write them.
///
/// # Errors
/// All faults at once, each with its line and column.
pub fn read_asset_list(text: &str, map: Option<&AssetMap>) -> Result<AssetList, Vec<Fault>> {
    let mut rows = csv::rows(text).map_err(|fault| vec![fault])?;
    rows.retain(|row| row.iter().any(|field| !field.text.trim().is_empty()));
    let faults = RefCell::new(Vec::new());
    if let Some(map) = map {
        rows = map.renamed(&rows, &faults);
    }
    let Some((heading, rows)) = rows.split_first() else {
        let text = format!("the file is empty: the first row names {}", COLUMNS_NEEDED.join(", "));
        return Err(vec![Fault { line: 1, field: String::new(), text }]);
    };
    let columns = columns(heading, &faults);
    let mut assets = Vec::new();
    // Without one of them, every row would be called faulty.
    if COLUMNS_NEEDED.iter().all(|column| columns.contains_key(column)) {
        assets = read_rows(rows, heading.len(), &columns, &faults);
    }
    let faults = faults.into_inner();
    if !faults.is_empty() {
        return Err(told(faults, map));
    }
    let has = |column: &&str| columns.contains_key(*column);
    let unless_known = |column: &&str| map.is_some_and(|map| map.is_unless_known(column));
    let all = COLUMNS_NEEDED.into_iter().chain(COLUMNS_MORE);
    let silent = all.filter(|column| !has(column) || unless_known(column)).collect();
    Ok(AssetList { assets, silent })
}

fn read_rows(
    rows: &[Vec<csv::Field>],
    width: usize,
    columns: &BTreeMap<&str, usize>,
    faults: &RefCell<Vec<Fault>>,
) -> Vec<Asset> {
    let mut assets = Vec::new();
    let mut seen: BTreeMap<String, u32> = BTreeMap::new();
    for fields in rows {
        let row = Row { columns, fields, faults };
        if fields.len() != width {
            row.fault("", format!("has {} fields, the heading {width}", fields.len()));
        } else if let Some(asset) = row.asset() {
            if let Some(line) = seen.insert(asset.id.clone(), row.line()) {
                row.fault("asset", format!("`{}` stands on line {line} already", asset.id));
            }
            assets.push(asset);
        }
    }
    assets
}

/// Where each column stands.
fn columns<'f>(
    heading: &'f [csv::Field],
    faults: &RefCell<Vec<Fault>>,
) -> BTreeMap<&'f str, usize> {
    let known = || COLUMNS_NEEDED.into_iter().chain(COLUMNS_MORE);
    let fault = |line, field: &str, text: String| {
        let field = field.chars().take(60).collect();
        faults.borrow_mut().push(Fault { line, field, text });
    };
    let mut columns = BTreeMap::new();
    let mut meant: BTreeSet<&str> = BTreeSet::new();
    for (at, field) in heading.iter().enumerate() {
        let name = field.text.trim();
        if !known().any(|column| column == name) {
            let near = nearest(name, known());
            meant.extend(near);
            fault(
                field.line,
                name,
                match near {
                    Some(meant) => format!("is no known column; did you mean `{meant}`?"),
                    None => "is no known column: take it out, or read the list by a map".into(),
                },
            );
        } else if columns.insert(name, at).is_some() {
            fault(field.line, name, "stands twice in the heading".into());
        }
    }
    for column in COLUMNS_NEEDED {
        // One that is mistyped is not missing, too.
        if !columns.contains_key(column) && !meant.contains(column) {
            fault(1, column, "this column is missing".into());
        }
    }
    columns
}

/// The faults in the order of their lines, so many at most; each also by the name that its column
/// has in the list.
fn told(mut faults: Vec<Fault>, map: Option<&AssetMap>) -> Vec<Fault> {
    let more = faults.len() > FAULTS_MAX;
    faults.truncate(FAULTS_MAX);
    for fault in &mut faults {
        if let Some(theirs) = map.and_then(|map| map.theirs(&fault.field)) {
            fault.field = format!("{} = {theirs}", fault.field);
        }
    }
    faults.sort();
    if more {
        let text = "more faults follow: mend these first".into();
        faults.push(Fault { line: 0, field: String::new(), text });
    }
    faults
}

//! Reading assets from CSV.

use alloc::collections::{BTreeMap, BTreeSet};
use alloc::format;
use alloc::string::String;
use alloc::vec;
use alloc::vec::Vec;
use core::cell::RefCell;

use super::map::ListMap;
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
pub fn read_asset_list(text: &str, map: Option<&ListMap>) -> Result<AssetList, Vec<Fault>> {
    let mut seen: BTreeMap<String, u32> = BTreeMap::new();
    let list = read_list(text, map, &ASSETS, |row| {
        let asset = row.asset()?;
        if let Some(line) = seen.insert(asset.id.clone(), row.line()) {
            row.fault("asset", format!("`{}` stands on line {line} already", asset.id));
        }
        Some(asset)
    })?;
    let has = |column: &&str| list.has.contains(*column);
    let unless_known = |column: &&str| map.is_some_and(|map| map.is_unless_known(column));
    let silent = ASSETS.all().filter(|column| !has(column) || unless_known(column)).collect();
    Ok(AssetList { assets: list.entries, silent })
}

/// What the columns of a list are called, and what stands in them.
#[derive(Debug)]
pub struct Columns {
    /// Format of a map of such a list, without its number.
    pub(in crate::register) map: &'static str,
    pub(in crate::register) needed: &'static [&'static str],
    pub(in crate::register) more: &'static [&'static str],
    /// Those that hold a date.
    pub(in crate::register) dated: &'static [&'static str],
    /// Those that hold a decimal.
    pub(in crate::register) decimal: &'static [&'static str],
}

impl Columns {
    pub(in crate::register) fn all(&self) -> impl Iterator<Item = &'static str> {
        self.needed.iter().chain(self.more).copied()
    }
}

/// A list of assets.
pub static ASSETS: Columns = Columns {
    map: "tapline-asset-map-",
    needed: &COLUMNS_NEEDED,
    more: &COLUMNS_MORE,
    dated: &["due", "return_by", "retired"],
    decimal: &["rated_volts", "rated_amps", "cord_metres", "heating_kw"],
};

/// What was read of a list.
pub(in crate::register) struct List<T> {
    pub(in crate::register) entries: Vec<T>,
    /// Columns that it has.
    has: BTreeSet<String>,
}

/// Reads a list whose rows come to entries; a row may come to none without a fault.
pub(in crate::register) fn read_list<T>(
    text: &str,
    map: Option<&ListMap>,
    of: &'static Columns,
    mut entry: impl FnMut(&Row<'_>) -> Option<T>,
) -> Result<List<T>, Vec<Fault>> {
    let mut rows = csv::rows(text).map_err(|fault| vec![fault])?;
    rows.retain(|row| row.iter().any(|field| !field.text.trim().is_empty()));
    let faults = RefCell::new(Vec::new());
    if let Some(map) = map {
        rows = map.renamed(&rows, &faults);
    }
    let Some((heading, rows)) = rows.split_first() else {
        let text = format!("the file is empty: the first row names {}", of.needed.join(", "));
        return Err(vec![Fault { line: 1, field: String::new(), text }]);
    };
    let columns = columns(heading, of, &faults);
    let mut entries = Vec::new();
    // Without one of them, every row would be called faulty.
    let whole = of.needed.iter().all(|column| columns.contains_key(column));
    for fields in rows.iter().filter(|_| whole) {
        let row = Row { columns: &columns, fields, faults: &faults };
        match fields.len() == heading.len() {
            true => entries.extend(entry(&row)),
            false => {
                let width = heading.len();
                row.fault("", format!("has {} fields, the heading {width}", fields.len()));
            }
        }
    }
    let has = columns.keys().map(|column| (*column).into()).collect();
    let faults = faults.into_inner();
    if faults.is_empty() { Ok(List { entries, has }) } else { Err(told(faults, map)) }
}

/// Where each column stands.
fn columns<'f>(
    heading: &'f [csv::Field],
    of: &'static Columns,
    faults: &RefCell<Vec<Fault>>,
) -> BTreeMap<&'f str, usize> {
    let known = || of.all();
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
    for column in of.needed {
        // One that is mistyped is not missing, too.
        if !columns.contains_key(column) && !meant.contains(column) {
            fault(1, column, "this column is missing".into());
        }
    }
    columns
}

/// The faults in the order of their lines, so many at most; each also by the name that its column
/// has in the list.
fn told(mut faults: Vec<Fault>, map: Option<&ListMap>) -> Vec<Fault> {
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

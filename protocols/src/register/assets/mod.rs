//! Assets as CSV (RFC 4180): read as the program writes it or by a map of another list, and
//! written so that it reads back the same. Text is kept exactly; nothing is made harmless for a
//! spreadsheet, which may take a field that begins with `=` for a formula.

mod form;
mod map;
#[cfg(test)]
mod map_tests;
mod read;
mod row;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod trip_tests;
mod write;

pub use form::read_asset_form;
pub use map::{Encoding, ListMap};
pub(super) use read::read_list;
pub use read::{
    ASSETS, AssetList, COLUMNS_MORE, COLUMNS_NEEDED, Columns, read_asset_list, read_assets,
};
pub(super) use row::{DAY, Row, short};
pub use write::write_assets;
pub(super) use write::{may, quoted};

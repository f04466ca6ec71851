//! What things are: assets, instruments, fixtures, leads, operators. Stored as facts, read from
//! the files that people write (formats: `tapline-instruments-1` and its like).

mod asset;
mod assets;
mod fixture;
mod former;
mod instrument;
mod operator;
mod read_bench;
mod read_fixtures;
mod standard;
mod unique;

pub use asset::{
    AppliedPart, Asset, Class, Cord, DOCUMENTED, Excluded, Ownership, PartType, Risk, lies_in, top,
};
pub use assets::{
    ASSETS, AssetList, COLUMNS_MORE, COLUMNS_NEEDED, Columns, Encoding, ListMap, read_asset_form,
    read_asset_list, read_assets, write_assets,
};
pub use fixture::{Fixture, FixtureKind, Known, Lead, LeadReference};
pub use former::{FORMER, Former, FormerList, read_former, write_former};
pub use instrument::{
    Accuracy, Coverage, Gives, Instrument, Isolation, IsolationKind, Kind, Output, Over, Range,
    Setup, SourceClass,
};
pub use operator::{Competence, Operator};
pub use read_bench::read_instruments;
pub use read_fixtures::{read_fixtures, read_operators};
pub use standard::{CheckStandard, read_standards};

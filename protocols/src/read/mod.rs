//! Reading files that people write: every fault at once, each with its line and its field.
//!
//! A file is TOML (`sheet`, walked with spans so that a fault knows its line) or CSV ([`csv`]).
//! Nothing in here knows what a file is about.

pub mod csv;
mod date;
mod form;
mod near;
mod sheet;
mod value;
mod word;

pub use date::is_date;
pub use form::Form;
pub use near::nearest;
pub use sheet::{FAULTS_MAX, Lines, Sheet, TEXT_BYTES_MAX, read};
pub use value::{Value, is_decimal, is_name, plain_text, raw};
pub use word::word;

//! What other programs take: tables as CSV, inspections as FHIR, due dates as a calendar. Data in,
//! text out; nothing here judges, reads a file or knows a clock. `README.md` has the columns.

pub mod calendar;
pub mod csv;
pub mod fhir;
pub mod pseudonyms;
pub mod summary;
pub mod tables;
pub mod webhook;

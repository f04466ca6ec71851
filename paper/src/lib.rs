//! What is printed: reports, labels and sheets. Data in, bytes of PDF, SVG, pictures or HTML out.
//!
//! Nothing here opens a file, reads a clock or starts a thread; every date comes with the data, so
//! that the same data give the same bytes. Reading order: `canvas` is what is drawn on a page,
//! `font` how wide it is, `report` what an inspection looks like, `summary` a month of them, `pdf`
//! and `svg` what becomes of the pages.

pub mod canvas;
pub mod codes;
pub mod font;
pub mod label;
pub mod moment;
pub mod pdf;
pub mod raster;
pub mod report;
pub mod seal;
pub mod sheet;
pub mod summary;
pub mod svg;
pub mod words;

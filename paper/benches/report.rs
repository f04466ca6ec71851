//! What a page costs: layout and file of a usual report, of one with two pages, of a long sweep;
//! a label in dots. `cargo bench -p tapline-paper`; `cargo test` makes each once.
#![allow(clippy::disallowed_methods, reason = "a benchmark measures time")]
#![allow(clippy::print_stdout, reason = "a benchmark prints what it measured")]
#![allow(clippy::unwrap_used, reason = "a benchmark may panic")]

#[path = "../tests/support/mod.rs"]
mod support;

use std::time::Instant;

use tapline_paper::label::{Size, result};
use tapline_paper::pdf::pdf;
use tapline_paper::raster::raster;
use tapline_paper::report::{Paper, Report, about, pages};
use tapline_paper::words::Language;

fn main() {
    let many = if std::env::args().any(|arg| arg == "--bench") { 50 } else { 1 };
    for (name, report) in
        [("usual", support::full()), ("long", support::long()), ("sweep", support::sweep())]
    {
        let mut took: Vec<u128> = Vec::new();
        let mut said = String::new();
        for _ in 0..many {
            let began = Instant::now();
            said = printed(&report);
            took.push(began.elapsed().as_micros());
        }
        shown(name, &said, took);
    }
    let report = support::pass();
    let mut took: Vec<u128> = Vec::new();
    for _ in 0..many {
        let began = Instant::now();
        let page = result(&report, Language::English.words(), Size::default()).unwrap();
        assert!(!raster(&page, 203).unwrap().png().is_empty());
        took.push(began.elapsed().as_micros());
    }
    shown("label", "400 x 200 dots", took);
}

fn printed(report: &Report) -> String {
    let pages = pages(report, Language::German, Paper::A4).unwrap();
    let bytes = pdf(&pages, &about(report, Language::German)).unwrap();
    format!("{} pages, {} bytes", pages.len(), bytes.len())
}

fn shown(name: &str, said: &str, mut took: Vec<u128>) {
    let first = took[0];
    took.sort_unstable();
    let (median, worst) = (took[took.len() / 2], took[took.len() - 1]);
    println!("{name}: {said}; first {first}, median {median}, worst {worst} us of {}", took.len());
}

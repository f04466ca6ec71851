//! The false-pass campaign of `src/validate`: it never passes, or `false_pass/README.md` says why.
//!
//! `UPDATE_EXPECT=1` writes the page.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::{env, fs, thread};

use tapline::validate::assets::FAULTY;
use tapline::validate::{campaign, page};

const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/false_pass/README.md");

#[test]
fn no_mistake_makes_a_faulty_asset_pass_but_those_that_the_page_names() {
    let played = campaign::play(thread::available_parallelism().map_or(2, usize::from).min(8));
    assert!(played.mistakes.len() >= 40 && FAULTY.len() >= 24);
    assert_eq!(played.faulty().count(), played.mistakes.len() * FAULTY.len());
    let page = page::page(&played);
    if env::var_os("UPDATE_EXPECT").is_some() {
        fs::create_dir_all(PAGE.trim_end_matches("README.md")).unwrap();
        fs::write(PAGE, &page).unwrap();
    }
    let wrong = played.wrong();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let there = fs::read_to_string(PAGE).unwrap_or_default();
    assert!(
        there == page,
        "tests/false_pass/README.md is not what came of it: write it with \
         `UPDATE_EXPECT=1 cargo test --release --test false_pass`, and read the difference"
    );
}

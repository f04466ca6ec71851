//! The false-pass campaign of `src/validate`: it never passes, or `false_pass/README.md` says why.
//!
//! `UPDATE_EXPECT=1` writes the page.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::{env, fs, thread};

use tapline::station::event::Stored;
use tapline::validate::assets::{FAULTY, GOOD};
use tapline::validate::{campaign, case, mistakes, page};
use tapline_protocols::Fact;

const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/false_pass/README.md");

/// `PLAY="L 20k:wall"` tells one inspection, and fails.
fn tell(story: &str) {
    let (asset, mistake) = story.split_once(':').unwrap_or((story, ""));
    let asset = FAULTY.iter().chain(&GOOD).find(|one| one.id == asset).unwrap();
    let all = mistakes::all();
    let mistake = all.iter().find(|one| one.id == mistake);
    let told = |line: &Stored| !matches!(line.fact, Fact::In(_) | Fact::Given(_));
    let lines: Vec<String> = case::lines(asset.case(), mistake)
        .into_iter()
        .filter(told)
        .map(|line| format!("{} {} {:?}", line.seq, line.at.boot_us, line.fact))
        .collect();
    panic!("{}\n{:?}", lines.join("\n"), case::inspect(asset.case(), mistake));
}

#[test]
fn no_mistake_makes_a_faulty_asset_pass_but_those_that_the_page_names() {
    if let Ok(story) = env::var("PLAY") {
        tell(&story);
    }
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

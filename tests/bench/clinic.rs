//! Makes a data folder of an invented clinic: `cargo bench --bench clinic -- --folder DIR`.
//!
//! `--inspections 100000 --readings 10000000 --seed 1`; `--sync` syncs each commit as a station
//! does. What is made is real: the station's core ran through every inspection in virtual time.
#![allow(clippy::print_stdout, reason = "a benchmark prints what it measured")]
#![allow(clippy::unwrap_used, reason = "a benchmark may panic")]

mod args;
mod clock;
mod made;

use std::path::PathBuf;

use args::Args;
use made::{Wanted, check, make};

fn main() {
    let args = Args::read();
    let temp = tempfile::tempdir().unwrap();
    let folder = args.text("folder").map_or_else(|| temp.path().to_owned(), PathBuf::from);
    let inspections = args.number("inspections", 100_000, 48);
    let wanted = Wanted {
        folder,
        seed: args.number("seed", 1, 1),
        inspections,
        readings: args.number("readings", inspections * 100, inspections * 100),
        sync: args.has("sync"),
    };
    let began = clock::now();
    let made = make(&wanted).unwrap();
    println!(
        "{} inspections of {} assets with {} readings in {:.1} s: {:?}",
        made.inspections(),
        made.assets,
        made.readings,
        clock::seconds_since(began),
        made.outcomes,
    );
    let data = wanted.folder.join("data");
    let checked = check(&data, if args.figures { 200 } else { 48 });
    println!("{checked} of them were verified and replayed without a difference");
    println!("data folder: {}", data.display());
    println!("configuration: {}", wanted.folder.join("tapline.toml").display());
    assert_eq!(made.inspections(), inspections);
}

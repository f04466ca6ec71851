//! Many meters on ptys: nothing is lost, what it costs and how late it is seen, beside the loop
//! that a technician would write. `cargo bench --bench lines`.
#![allow(clippy::print_stdout, reason = "a benchmark prints what it measured")]
#![allow(clippy::unwrap_used, reason = "a benchmark may panic")]

mod args;
mod clock;
mod daemon;
mod ear;
#[path = "../support/http.rs"]
mod http;
mod mixed;
mod own_loop;
mod plug;
#[path = "../support/python.rs"]
mod python;
mod station;
mod table;
mod talk;

use args::Args;
use mixed::Mixed;
use plug::Account;
use station::{Run, run};
use table::{Table, ms, quantile};
use talk::{Load, Pace};

fn main() {
    let args = Args::read();
    let seconds = args.number("seconds", 60, 1);
    let only = args.text("only");
    let mut table = Table::new("lines");
    let wanted = |name: &str| only.is_none_or(|only| only == name);
    let tiny = |figures, tiny| if args.figures { figures } else { tiny };
    let load = |lines, pace| Load { lines, pace, seconds, seed: 1 };
    if wanted("9600") {
        let load = load(tiny(64, 8), Pace::Baud(9600));
        rows(&mut table, "at 9600 baud", load, &run(load), "nothing lost");
    }
    if wanted("115200") {
        let load = load(tiny(256, 16), Pace::Baud(115_200));
        rows(&mut table, "at 115200 baud", load, &run(load), "p99 < 250 ms");
    }
    if wanted("meters") {
        let load = load(16, Pace::PerSecond(10));
        let ours = run(load);
        rows(&mut table, "at 10 readings/s", load, &ours, "CPU < 1.5 %");
        beside_a_loop(&mut table, load, ours);
    }
    if wanted("mixed") {
        let figures = Mixed { ports: 64, seconds, stays_ms: 8_000 };
        let tiny = Mixed { ports: 30, seconds: seconds.max(4), stays_ms: 900 };
        mixed(&mut table, if args.figures { figures } else { tiny });
    }
    table.print();
}

/// Ports of all styles that come and go.
fn mixed(table: &mut Table, mixed: Mixed) {
    a_gap_is_found();
    let held = mixed::run(mixed);
    let name = format!("{} ports of all styles that come and go", mixed.ports);
    table.row(
        &format!("{name}: lost"),
        format!("0 bytes that were read; {} stored", held.stored),
        format!(
            "{} pluggings, {} torn: {} bytes unread then; {} at most in doubt of one",
            held.pluggings,
            held.torn,
            held.written - held.stored,
            held.doubt
        ),
        "0",
    );
    table.row(
        "the same: CPU of the station",
        format!(
            "{:.1} % of a core, {} MiB",
            percent(held.cpu_ms, mixed.seconds),
            held.rss_kib >> 10
        ),
        format!("{} readings", held.readings),
        "",
    );
}

/// The check can fail: a byte less in the middle, one more, one changed.
fn a_gap_is_found() {
    let account = |written: &[u8], taken| Account { written: written.to_vec(), taken };
    let accounts = [account(b"one two", 7), account(b"three four", 6)];
    for good in ["one twothree four", "one twothree "] {
        assert!(mixed::fits(good.as_bytes(), &accounts), "{good}");
    }
    for bad in ["one twthree four", "one twothree fourx", "one twothree 4", "one twothre", ""] {
        assert!(!mixed::fits(bad.as_bytes(), &accounts), "{bad}");
    }
}

/// Half a percent of a core is 0.50.
#[allow(clippy::cast_precision_loss, reason = "a figure to be read")]
fn percent(cpu_ms: u64, seconds: u64) -> f64 {
    cpu_ms as f64 / (seconds as f64 * 10.0)
}

#[allow(clippy::cast_precision_loss, reason = "a figure to be read")]
fn us_each(cpu_ms: u64, readings: u64) -> f64 {
    cpu_ms as f64 * 1000.0 / readings.max(1) as f64
}

#[allow(clippy::cast_precision_loss, reason = "a figure to be read")]
fn rows(table: &mut Table, name: &str, load: Load, run: &Run, goal: &str) {
    let Run { talked, cpu_ms, rss_kib, ages, stored } = run;
    let name = format!("{} {name}", load.lines);
    let (mut read, mut said) = (ages.since_read.clone(), ages.since_said.clone());
    table.row(
        &format!("{name}: lost"),
        format!("0 of {} bytes, {} readings", talked.bytes, stored.readings),
        format!(
            "{} frames broken off; said late by {} bytes at most",
            stored.broken, talked.behind_bytes_max
        ),
        "0",
    );
    table.row(
        &format!("{name}: CPU of the station"),
        format!("{:.1} % of a core", percent(*cpu_ms, load.seconds)),
        format!(
            "{:.1} us a reading; the meters' process {:.1} %",
            us_each(*cpu_ms, talked.frames),
            percent(talked.cpu_ms, load.seconds)
        ),
        if goal.starts_with("CPU") { goal } else { "" },
    );
    table.row(
        &format!("{name}: memory, books"),
        format!("{} MiB at most", rss_kib >> 10),
        format!("{:.0} bytes a reading", stored.bytes as f64 / stored.readings.max(1) as f64),
        "",
    );
    table.row(
        &format!("{name}: read -> feed"),
        format!("p50 {}, p99 {}", ms(quantile(&mut read, 0.5)), ms(quantile(&mut read, 0.99))),
        format!("{} lines seen, place lost {} times", read.len(), ages.lost),
        if goal.starts_with("p99") { goal } else { "" },
    );
    table.row(
        &format!("{name}: said -> feed"),
        format!("p50 {}, p99 {}", ms(quantile(&mut said, 0.5)), ms(quantile(&mut said, 0.99))),
        format!("{} readings seen", said.len()),
        "",
    );
}

fn beside_a_loop(table: &mut Table, load: Load, ours: Run) {
    let theirs = own_loop::run(load);
    let each = us_each(ours.cpu_ms, ours.talked.frames);
    let their_each = us_each(theirs.cpu_ms, theirs.readings);
    table.row(
        "the same by a loop in Python: CPU",
        format!("{:.1} % of a core", percent(theirs.cpu_ms, load.seconds)),
        format!("{their_each:.0} us a reading, {:.1} times ours", their_each / each.max(0.1)),
        "",
    );
    let mut said = ours.ages.since_said;
    table.row(
        "the same by a loop in Python: said -> durable",
        format!("p50 {}, p99 {}", ms(theirs.p50_us), ms(theirs.p99_us)),
        format!(
            "ours p50 {}, p99 {}; {} of {} readings stored",
            ms(quantile(&mut said, 0.5)),
            ms(quantile(&mut said, 0.99)),
            theirs.readings,
            theirs.said
        ),
        "",
    );
}

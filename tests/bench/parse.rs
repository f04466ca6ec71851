//! How fast drivers read on one core, beside the bare grammar written with the same parser library
//! over the same bytes in the same run, and how often each asks for memory:
//! `cargo bench --bench parse`.
#![allow(clippy::print_stdout, reason = "a benchmark prints what it measured")]
#![allow(clippy::unwrap_used, reason = "a benchmark may panic")]

mod args;
mod bare;
mod clock;
mod count;
mod table;

use std::hint::black_box;

use args::Args;
use table::Table;
use tapline_drivers::{AnyDriver, Driver, Function, Input, Now, Output, Want, by_name};

/// A bare grammar.
type Bare = fn(&[u8]) -> Option<(&[u8], u64)>;

/// A style, and what its instrument says.
struct Style {
    name: &'static str,
    frame: &'static [u8],
    /// Reads one frame by the grammar alone and leaves the rest; what it says as a number.
    bare: Bare,
}

const SCPI: &[u8] = b"+1.98000000E-01\r\n";

const STYLES: &[Style] = &[
    Style { name: "val-unit-line", frame: b"R4 +0.182 Ohm\r\n", bare: bare::line },
    Style {
        name: "seg14",
        frame: b"\x17\x27\x3d\x48\x55\x63\x7f\x87\x9f\xa0\xb0\xc4\xd0\xe0",
        bare: bare::segments,
    },
    Style { name: "scpi-auto", frame: SCPI, bare: bare::number },
    // Each answer in turn, after its question.
    Style { name: "scpi-tcp", frame: SCPI, bare: bare::number },
];

fn main() {
    let args = Args::read();
    let frames = args.number("frames", 1_000_000, 500);
    let mut table = Table::new("parse");
    for style in STYLES {
        let ceiling = bare(style, frames);
        row(&mut table, style, ("a frame a read", style.frame.len()), (frames, ceiling));
        if style.name != "scpi-tcp" {
            row(&mut table, style, ("4 KiB a read", 4096), (frames, ceiling));
        }
    }
    table.print();
}

/// What a second brings, and how often memory was asked for.
#[derive(Clone, Copy)]
struct Rate {
    per_second: f64,
    allocations: f64,
}

#[allow(clippy::cast_precision_loss, reason = "a figure to be read")]
fn rate(readings: u64, work: impl FnOnce()) -> Rate {
    let (before, began) = (count::so_far(), clock::now());
    work();
    let seconds = began.elapsed().as_secs_f64();
    let allocations = (count::so_far() - before) as f64 / readings as f64;
    Rate { per_second: readings as f64 / seconds, allocations }
}

fn row(table: &mut Table, style: &Style, read: (&str, usize), of: (u64, Rate)) {
    let (frames, ceiling) = of;
    let ours = driver(style, frames, read.1);
    table.row(
        &format!("{}, {}", style.name, read.0),
        format!("{:.2} M/s, {:.2} allocations", ours.per_second / 1e6, ours.allocations),
        format!(
            "grammar alone {:.2} M/s ({:.1} times), {:.2} allocations",
            ceiling.per_second / 1e6,
            ceiling.per_second / ours.per_second,
            ceiling.allocations
        ),
        "",
    );
}

/// The grammar over a buffer of whole frames.
fn bare(style: &Style, frames: u64) -> Rate {
    let buffer = style.frame.repeat(256);
    rate(frames, || {
        let (mut rest, mut sum) = (&buffer[..], 0);
        for _ in 0..frames {
            if rest.is_empty() {
                rest = black_box(&buffer[..]);
            }
            let (after, digits) = (style.bare)(rest).expect("a good frame");
            (rest, sum) = (after, sum + digits);
        }
        assert_eq!(sum, frames * (style.bare)(style.frame).unwrap().1);
    })
}

/// The driver, fed with reads of at most so many bytes; every frame is a reading.
fn driver(style: &Style, frames: u64, read: usize) -> Rate {
    let mut driver = by_name(style.name).unwrap();
    let mut now = settle(&mut driver, style.frame);
    let per_read = (read / style.frame.len()).max(1) as u64;
    let buffer = style.frame.repeat(usize::try_from(per_read).unwrap());
    let reads = frames.div_ceil(per_read);
    let mut readings = 0;
    let rate = rate(reads * per_read, || {
        for _ in 0..reads {
            now += 1_000;
            driver.handle(Now(now), Input::Bytes(black_box(&buffer)));
            while let Some(output) = driver.poll() {
                readings += u64::from(matches!(black_box(output), Output::Reading(_)));
            }
        }
    });
    assert_eq!(readings, reads * per_read, "{}: each frame is a reading", style.name);
    rate
}

/// Opened, a resistance wanted, every question answered, and past the first reading.
fn settle(driver: &mut AnyDriver, frame: &[u8]) -> u64 {
    let mut now = 0;
    driver.handle(Now(now), Input::Open);
    let want = Want { function: Function::Resistance2w, live: false };
    driver.handle(Now(now), Input::Want(Some(want)));
    let mut readings = 0;
    while readings < 3 {
        let mut answer = None;
        while let Some(output) = driver.poll() {
            match output {
                Output::Send(message) => answer = Some(polite(message.bytes(), frame)),
                Output::Reading(_) => readings += 1,
                _ => {}
            }
        }
        now += 50_000;
        assert!(now < 60_000_000, "{} does not come to readings", driver.name());
        match (answer, driver.deadline()) {
            (Some(bytes), _) if !bytes.is_empty() => driver.handle(Now(now), Input::Bytes(bytes)),
            (_, Some(due)) if due.0 <= now => driver.handle(Now(now), Input::Tick),
            _ => driver.handle(Now(now), Input::Bytes(frame)),
        }
    }
    while driver.poll().is_some() {}
    now
}

/// What a meter answers.
fn polite<'a>(question: &[u8], reading: &'a [u8]) -> &'a [u8] {
    let answers: [(&[u8], &[u8]); 4] = [
        (b"*IDN?", b"GENERIC,METER,1,1.0\r\n"),
        (b"SYST:ERR?", b"0,\"No error\"\r\n"),
        (b"CONF?", b"\"RES\"\r\n"),
        (b"READ?", reading),
    ];
    let known = answers.iter().find(|(ask, _)| question.starts_with(ask));
    known.map_or(b"", |(_, answer)| answer)
}

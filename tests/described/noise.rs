//! Noise on a line whose driver a file describes. Random bytes and bytes that frames are made of
//! are no reading of a worked file. Pieces of its good frames make a whole one now and then: how
//! often that is judged is golden. A file whose shape is a bare number takes what looks like one,
//! and no more. What is judged is justified by its own bytes. 64 KiB of each; `SOAK=1` ten
//! megabytes, `BYTES=1000000` so many.

#[path = "../../drivers/tests/noise/hiss.rs"]
mod hiss;

use std::path::Path;
use std::sync::Arc;

use hiss::{Count, Kind, LARGE, Line, SMALL, bytes, counted};
use tapline::config::drivers;
use tapline_drivers::AnyDriver;
use tapline_drivers::described::Description;

/// A worked file, good frames of it, what they say, and what comes of pieces in 64 KiB and in ten
/// megabytes.
type Row = (&'static str, &'static [&'static [u8]], &'static [&'static str], [Count; 2]);

const WORKED: &[Row] = &[
    (
        "address-line",
        &[b"01,ACV,+230.4,V,N\r\n"],
        &["230.4"],
        [counted(962, 1, 1), counted(150_654, 1, 384)],
    ),
    (
        "bench-ohm-line",
        &[b"R4 +0.182 Ohm\r\n"],
        &["0.182"],
        [counted(1_322, 0, 6), counted(208_315, 0, 974)],
    ),
    (
        "leakage-frame14",
        &[b"\xaaI1 01820\x80\x12\0'\r"],
        &["18.20"],
        // One frame in 400 000 that is put together wrongly has the sum of a right one.
        [counted(2_541, 1, 0), counted(399_278, 1, 1)],
    ),
];

/// Nothing but a number on a line.
const BARE: &str = r#"
format = "tapline-driver-1"
name   = "bare-number"
what   = "meter that prints a number a line (invented)"
source = "unconfirmed"
period_ms = 400
[frame]
end     = "\r\n"
longest = 16
[read]
pattern  = "{value}"
function = "resistance_2w"
unit     = "Ohm"
[[example]]
bytes   = "0.182\r\n"
reading = { function = "resistance_2w", indication = "value", value = "0.182", unit = "Ohm" }
[[example]]
bytes = "0.1x2\r\n"
note  = "malformed"
"#;

fn line<'a>(
    name: &'a str,
    about: &'a Arc<Description>,
    frames: &'a [&'a [u8]],
    values: &'a [&'a str],
) -> Line<'a> {
    Line { name, make: Box::new(|| AnyDriver::described(about)), frames, values }
}

/// Golden for two amounts of noise; of others only that every reading is justified is asked.
fn golden(bytes: usize, counts: [Count; 2], got: Count) -> Count {
    match bytes {
        SMALL => counts[0],
        LARGE => counts[1],
        _ => got,
    }
}

#[test]
fn noise_is_no_reading_of_a_worked_file() {
    let bytes = bytes();
    assert_eq!(WORKED.len(), super::worked().len(), "a row for each worked file");
    let mut odd = Vec::new();
    for (name, frames, values, counts) in WORKED {
        let file = Path::new("contrib/drivers").join(format!("{name}.toml"));
        let about = drivers::load(&file).unwrap().description;
        let line = line(name, &about, frames, values);
        let good = line.of(&[frames[0], frames[0]]);
        // The first frame of some is only shown.
        assert!(good.judged >= 1 && good.judged + good.shown == 2, "{name}: {good:?}");
        for kind in [Kind::Bytes, Kind::Alphabet] {
            assert_eq!(line.noise(kind, bytes), counted(0, 0, 0), "{name}, {kind:?}");
        }
        let got = line.noise(Kind::Pieces, bytes);
        if got != golden(bytes, *counts, got) {
            odd.push(format!("{name}: {got:?}"));
        }
    }
    assert!(odd.is_empty(), "of {bytes} bytes:\n{}", odd.join("\n"));
}

#[test]
fn a_shape_that_asks_for_little_takes_what_looks_like_it_and_no_more() {
    let about = tapline::station::Described::read(BARE).unwrap().description;
    let line = line("bare-number", &about, &[b"0.182\r\n"], &["0.182"]);
    let bytes = bytes();
    let got = [Kind::Bytes, Kind::Alphabet, Kind::Pieces].map(|kind| line.noise(kind, bytes));
    // Now and then random bytes are a short number on a line, the bytes of frames often.
    let counts = [
        [counted(0, 0, 0), counted(38, 0, 38)],
        [counted(229, 0, 229), counted(35_220, 0, 35_220)],
        [counted(8_818, 1, 4_536), counted(1_407_127, 1, 726_206)],
    ];
    let want = [0, 1, 2].map(|n| golden(bytes, counts[n], got[n]));
    assert_eq!(got, want, "of {bytes} bytes");
}

//! Random bytes give no reading that would be judged.
//!
//! Each driver is fed noise from fixed seeds: every byte as likely as any other, as at a wrong baud
//! rate; only such bytes as frames are made of; and pieces of its own good frames, cut anywhere. Of
//! the first two nothing may be a reading, but for four bare numbers in ten megabytes that are
//! shown and not judged. Pieces now and then make a whole frame again: how often that is judged and
//! how often only shown is golden. What is judged is justified by the bytes it stands in
//! (`noise/hiss.rs`). The default is 64 KiB of each; `SOAK=1` takes ten megabytes, `BYTES=1000000`
//! so many, `DRIVER=stx16` one driver.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "noise/hiss.rs"]
mod hiss;

use hiss::{Count, Kind, LARGE, Line, SMALL, bytes, counted};
use tapline_drivers::{by_name, catalogue};

/// Good frames of each driver, or good answers.
const FRAMES: &[(&str, &[&[u8]])] = &[
    ("scpi", SCPI),
    ("scpi-remote", SCPI),
    ("scpi-lang", SCPI),
    ("scpi-elements", SCPI),
    ("scpi-tcp", SCPI),
    ("scpi-remote-clear", SCPI),
    ("scpi-twice", SCPI),
    ("scpi-remote-twice", SCPI),
    ("scpi-list", LISTS),
    ("scpi-low-ohm-8", SCPI),
    ("scpi-low-ohm-9", SCPI),
    ("scpi-auto", SCPI),
    ("val-unit-line", &[b"R4 +0.182 Ohm\r\n", b"3 REL ON\r\n"]),
    ("contacts", &[b"C 1010\r\n"]),
    ("scan", &[b"P-0107\r\n"]),
    ("csv-line", &[b"2026-11-24,09:14:03,0.198,OHM,PE\r\n"]),
    ("report", &[b"resistance: 0.198 Ohm\r\n\x0c"]),
    ("seg14", &[b"\x17\x27\x3d\x48\x55\x63\x7f\x87\x9f\xa0\xb0\xc4\xd0\xe0"]),
    ("range11", &[b"10198300:\r\n"]),
    ("range14", &[b"001980300020\r\n"]),
    ("ascii14", &[b"+0198 4 \0\0 \x04\r\n"]),
    ("nib11", &[b"019801401\r\n"]),
    ("stx16", &[b"\x0241380300000198\r"]),
    ("envelope", &[b"\xab\xcd\x10\x061 0.198100000\x02\x88"]),
    ("fixed14", &[b"OH 0.198  Ohm\r"]),
    ("fixed14-poll", &[b"OH 0.198  Ohm\r"]),
    ("letter-poll", &[b"R1       0.198  OHM  \r", b"305\r"]),
    ("prompt-echo", ECHO),
    ("prompt-echo resistance_2w Ohm", ECHO),
    ("ack-code", &[b"0\r", b"1.987E-1,OHM,NORMAL,NONE\r", b"METER,V1.0,1\r"]),
];

const ECHO: &[&[u8]] = &[b"R1\r\n", b"+0.1987E+0\r\n", b"=>\r\n"];

const SCPI: &[&[u8]] =
    &[b"+1.82E-01\r\n", b"0,\"No error\"\r\n", b"GENERIC,METER,1,1.0\r\n", b"RES\r\n"];

const LISTS: &[&[u8]] = &[
    b"+1.82E-01,+0.0E+00\r\n",
    b"RES,STAT\r\n",
    b"0,\"No error\"\r\n",
    b"GENERIC,METER,1,1.0\r\n",
    b"RES\r\n",
];

/// Of pieces, in 64 KiB and in ten megabytes: how much was judged, how much only shown,
/// and what was judged though no frame says it. Lines of text that are sent once can be put
/// together wrongly where no silence parts them: that is what two equal frames are for.
const PIECES: &[(&str, [Count; 2])] = &[
    ("scpi", [counted(3, 635, 0), counted(966, 108122, 474)]),
    ("scpi-remote", [counted(0, 634, 0), counted(4, 108731, 2)]),
    ("scpi-lang", [counted(3, 631, 0), counted(937, 108147, 464)]),
    ("scpi-elements", [counted(1, 637, 0), counted(456, 108632, 216)]),
    ("scpi-tcp", [counted(4, 634, 4), counted(1747, 107341, 797)]),
    ("scpi-remote-clear", [counted(0, 634, 0), counted(4, 108731, 2)]),
    ("scpi-twice", [counted(0, 638, 0), counted(4, 109064, 0)]),
    ("scpi-remote-twice", [counted(0, 634, 0), counted(0, 109059, 0)]),
    ("scpi-list", [counted(0, 0, 0), counted(21, 26525, 14)]),
    ("scpi-low-ohm-8", [counted(3, 635, 0), counted(966, 108122, 474)]),
    ("scpi-low-ohm-9", [counted(3, 635, 0), counted(966, 108122, 474)]),
    ("scpi-auto", [counted(0, 896, 0), counted(310, 143508, 54)]),
    ("val-unit-line", [counted(833, 0, 2), counted(131966, 0, 339)]),
    ("contacts", [counted(3133, 0, 0), counted(483371, 0, 0)]),
    ("scan", [counted(0, 0, 0), counted(0, 0, 0)]),
    ("csv-line", [counted(470, 0, 0), counted(71390, 0, 22)]),
    ("report", [counted(826, 0, 1), counted(129541, 0, 208)]),
    ("seg14", [counted(660, 1882, 0), counted(100261, 299016, 0)]),
    ("range11", [counted(663, 2604, 0), counted(102126, 412053, 0)]),
    ("range14", [counted(670, 1966, 0), counted(101126, 313706, 0)]),
    ("ascii14", [counted(660, 1882, 0), counted(100274, 299055, 0)]),
    ("nib11", [counted(824, 2570, 0), counted(129103, 403121, 9)]),
    ("stx16", [counted(573, 1666, 0), counted(87988, 263720, 0)]),
    ("envelope", [counted(1889, 1, 0), counted(298295, 1, 0)]),
    ("fixed14", [counted(660, 1885, 0), counted(100419, 299425, 0)]),
    ("fixed14-poll", [counted(9, 2536, 0), counted(2016, 397828, 0)]),
    ("letter-poll", [counted(11, 715, 0), counted(1747, 105874, 0)]),
    ("prompt-echo", [counted(0, 0, 0), counted(0, 0, 0)]),
    ("prompt-echo resistance_2w Ohm", [counted(0, 121, 0), counted(2, 20155, 1)]),
    ("ack-code", [counted(0, 534, 0), counted(6, 83975, 0)]),
];

/// What the frames say.
const VALUES: &[&str] = &["0.182", "0.182000", "0.198", "0.1981", "19.80", "19.8", "0.1987"];

fn line(name: &'static str) -> Line<'static> {
    let frames = FRAMES.iter().find(|(driver, _)| *driver == name).expect("frames for it").1;
    Line { name, make: Box::new(move || by_name(name).unwrap()), frames, values: VALUES }
}

/// All drivers, or that of `DRIVER=…`.
fn chosen() -> impl Iterator<Item = &'static str> {
    let one = std::env::var("DRIVER").ok();
    let all = catalogue::names().chain(["prompt-echo resistance_2w Ohm"]);
    all.filter(move |name| one.as_ref().is_none_or(|one| name == one))
}

#[test]
fn noise_is_never_judged() {
    let bytes = bytes();
    for name in chosen() {
        for kind in [Kind::Bytes, Kind::Alphabet] {
            // An echo, a number alone and a prompt: three bytes do for each.
            let told = name == "prompt-echo resistance_2w Ohm";
            let shown = if told && kind == Kind::Alphabet && bytes == LARGE { 4 } else { 0 };
            assert_eq!(line(name).noise(kind, bytes), counted(0, shown, 0), "{name}, {kind:?}");
        }
    }
}

#[test]
fn pieces_of_frames_are_judged_as_often_as_they_make_whole_ones() {
    let bytes = bytes();
    let mut odd = Vec::new();
    for name in chosen() {
        let got = line(name).noise(Kind::Pieces, bytes);
        let row = PIECES.iter().find(|(driver, _)| *driver == name).map(|row| &row.1);
        let want = match bytes {
            SMALL => row.map(|row| &row[0]),
            LARGE => row.map(|row| &row[1]),
            _ => Some(&got),
        };
        if want != Some(&got) {
            odd.push(format!(
                "{name} {bytes}: counted({}, {}, {})",
                got.judged, got.shown, got.wrong
            ));
        }
    }
    assert!(odd.is_empty(), "{}", odd.join("\n"));
}

#[test]
fn good_lines_are_counted() {
    for (name, said) in [("val-unit-line", &b"R4 0.182 Ohm\r\n"[..]), ("contacts", b"C 1010\r\n")] {
        assert_eq!(line(name).of(&[said]), counted(1, 0, 0), "{name}");
    }
}

#[test]
#[should_panic(expected = "is not justified")]
fn a_reading_of_other_bytes_than_its_own_is_found() {
    // The second driver, which hears the bytes alone, is of another style.
    let made = std::cell::Cell::new(0);
    let make = || {
        made.set(made.get() + 1);
        by_name(if made.get() == 1 { "val-unit-line" } else { "csv-line" }).unwrap()
    };
    Line { make: Box::new(make), ..line("val-unit-line") }.of(&[b"R4 0.182 Ohm\r\n"]);
}

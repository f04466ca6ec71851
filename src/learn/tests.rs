//! The guesses on the golden captures of known styles, and a draft that becomes a driver.

use std::path::Path;

use super::*;
use crate::capture::Capture;
use crate::station::Described;

fn reads(name: &str) -> Vec<(u64, Vec<u8>)> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/captures").join(name);
    let capture = Capture::read(&std::fs::read_to_string(file).unwrap()).unwrap();
    capture.reads().map(|(at, bytes)| (at, bytes.to_vec())).collect()
}

#[test]
fn known_styles_are_told_by_their_captures() {
    let crlf = || Shape::Lines(b"\r\n".to_vec());
    for (name, shape) in [
        ("low_ohm.cap", crlf()),
        ("csv_line.cap", crlf()),
        ("described_address_line.cap", crlf()),
        ("range11.cap", crlf()),
        ("seg14.cap", Shape::Indexed(14)),
        ("described_leakage_frame.cap", Shape::Fixed(14)),
        ("ascii14.cap", Shape::Fixed(14)),
        ("stx16.cap", Shape::Between(b"\x02".to_vec(), b"\r".to_vec())),
        ("fixed14.cap", Shape::Lines(b"\r".to_vec())),
    ] {
        assert_eq!(guess(&reads(name)).shape, shape, "{name}");
    }
    assert_eq!(guess(&reads("range11_parity.cap")).parity, Some("odd"));
    assert_eq!(guess(&[]).shape, Shape::Unknown);
}

/// `n` frames of a made-up meter, every `every` microseconds.
fn made(n: u32, every: u64, frame: impl Fn(u32) -> Vec<u8>) -> Vec<(u64, Vec<u8>)> {
    (0..n).map(|n| (u64::from(n) * every, frame(n))).collect()
}

fn summed(n: u32) -> Vec<u8> {
    let mut frame = format!("\u{1}W{:05}", 1820 + n * 7).into_bytes();
    let sum = frame[1..].iter().fold(0_u8, |sum, byte| sum.wrapping_add(*byte));
    frame.extend([sum, 0x0d]);
    frame
}

#[test]
fn lengths_sums_pairs_periods_and_silences_are_found() {
    let found = guess(&made(20, 500_000, summed));
    assert_eq!((found.shape.clone(), found.period_ms), (Shape::Fixed(9), Some(500)));
    let sum = &found.checks[0];
    assert_eq!((sum.from, sum.to, sum.at), (2, 7, 8));
    assert_eq!(found.always[..2], [(0, 1), (1, b'W')]);
    // The same without any time, and not from the beginning of a frame.
    let all: Vec<u8> = (0..40).flat_map(summed).skip(3).collect();
    let found = guess(&[(0, all)]);
    assert_eq!((&found.shape, found.frames.len()), (&Shape::Fixed(9), 39));
    assert_eq!(found.frames[0][0], 1);
    assert!(guess(&made(20, 100_000, |n| summed(n / 2))).twice);
    assert!(!guess(&made(20, 100_000, summed)).twice);
    let halves = |n: u32| {
        let line = format!("R4 +0.1{:02} Ohm\r\n", n / 2);
        let at = n as usize % 2 * 5;
        line.as_bytes()[at..if at == 0 { 5 } else { line.len() }].to_vec()
    };
    let split: Vec<_> = (0..40_u32)
        .map(|n| (u64::from(n / 2) * 400_000 + u64::from(n % 2) * 2_000, halves(n)))
        .collect();
    let found = guess(&split);
    assert_eq!((found.silence_ms, found.period_ms), (Some(398), Some(400)));
    assert_eq!(found.frames.len(), 20);
}

#[test]
fn noise_is_no_frame() {
    // A small generator (xorshift, Marsaglia 2003).
    let mut state = 7_u64;
    let mut noise = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        u8::try_from(state >> 56).unwrap()
    };
    let bytes: Vec<u8> = (0..2000).map(|_| noise()).collect();
    let found = guess(&[(0, bytes)]);
    assert_eq!(found.shape, Shape::Unknown);
    assert_eq!(draft(&found, None), None);
}

fn drafted(name: &str) -> String {
    draft(&guess(&reads(name)), Some(&Line { baud: 9600, bits: "8N1".into() })).unwrap()
}

#[test]
fn no_driver_is_read_from_a_draft_before_a_person_says_what_is_measured() {
    for name in ["low_ohm.cap", "described_address_line.cap", "described_leakage_frame.cap"] {
        let text = drafted(name);
        let faults = Described::read(&text).unwrap_err();
        let told = faults.iter().any(|fault| fault.text.contains("unknown word `?`"));
        assert!(told, "{name}: {faults:?}\n{text}");
    }
}

#[test]
fn a_draft_of_lines_needs_no_more_than_that() {
    let text = drafted("low_ohm.cap");
    assert!(text.contains("pattern = \"{function} {value} {unit}\""), "{text}");
    let filled = text.replace("what   = \"?\"", "what = \"made up\"");
    // One line of the capture is damaged and ends in volts.
    let filled = filled.replace("\"V\" = \"V\"\n", "");
    let filled = filled.replace("\"?\"", "\"resistance_4w\"");
    let described = Described::read(&filled).unwrap_or_else(|f| panic!("{f:#?}\n{filled}"));
    assert_eq!(described.examples, 3);
    let text = drafted("described_address_line.cap");
    assert!(
        text.contains("pattern = \"01,{function},{value},{unit},{flag}\"")
            || text.contains("pattern = \"{skip},{function},{value},{unit},{flag}\""),
        "{text}"
    );
}

#[test]
fn a_word_with_a_unit_behind_it_is_mapped_without() {
    let lines = ["PE=0.143R;OK\r", "PE=----R;HI\r", "PE=0.151R;OK\r", "PE=0.139R;OK\r"];
    let made = (0_u64..).zip(lines).map(|(n, line)| (n * 800_000, line.as_bytes().to_vec()));
    let text = draft(&guess(&made.collect::<Vec<_>>()), None).unwrap();
    assert!(text.contains("{function}={value}{unit};{flag}"), "{text}");
    assert!(text.contains("[map.value]\n\"----\" = \"none\""), "{text}");
}

#[test]
fn a_draft_of_frames_names_the_places_and_the_sum() {
    let text = draft(&guess(&made(20, 500_000, summed)), None).unwrap();
    assert!(
        text.contains("length = 9")
            && text.contains("kind = \"sum8\"\nfrom = 2\nto   = 7\nat   = 8"),
        "{text}"
    );
    let filled = text.replace("what   = \"?\"", "what = \"made up\"");
    let filled = filled.replace("unit     = \"?\"", "unit = \"Ohm\"");
    let filled = filled.replace("unit = \"?\"", "unit = \"Ohm\"");
    let filled = filled.replace("value = \"?\"", "value = \"1820\"");
    let filled = filled.replace("\"?\"", "\"resistance_4w\"");
    let described = Described::read(&filled).unwrap_or_else(|f| panic!("{f:#?}\n{filled}"));
    assert!(!described.description.pair, "the sum covers it");
}

#[test]
fn the_view_shows_bytes_and_says_what_was_guessed() {
    let reads = reads("described_leakage_frame.cap");
    let told = view(&reads, &guess(&reads)).join("\n");
    assert!(told.contains("aa 49 31 20 30 31 38 32 30 80 12 00 27 0d"), "{told}");
    assert!(told.contains("14 bytes"), "{told}");
    let noise = [(5_000, b"\x00\xff".to_vec())];
    assert!(view(&noise, &guess(&noise)).join("\n").contains("5 ms"));
}

/// A number in every line is no list of words, and of two texts that may be a unit the one behind
/// the value is it.
#[test]
fn a_line_with_its_number_and_two_units_is_drafted_for_a_person_to_finish() {
    let line = |n: u32| format!("N{:03},R,+00.18{},Ohm\r\n", n + 213, n % 7).into_bytes();
    let draft = draft(&guess(&made(99, 200_000, line)), None).unwrap();
    assert!(draft.contains(r#"pattern = "{skip},{function},{value},{unit}""#), "{draft}");
    assert!(draft.contains(r#""R" = "?""#) && !draft.contains("N213\" = "), "{draft}");
}

//! Files of described drivers: the good ones, and every way of being wrong.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::*;

const LINE: &str = include_str!("../../../contrib/drivers/bench-ohm-line.toml");
const FRAME: &str = include_str!("../../../contrib/drivers/leakage-frame14.toml");
const COMMA: &str = include_str!("../../../contrib/drivers/address-line.toml");

fn faults(text: &str) -> Vec<String> {
    parse(text).err().unwrap_or_default().iter().map(ToString::to_string).collect()
}

#[test]
fn the_worked_files_are_read_and_their_examples_hold() {
    for (text, examples, pair) in [(LINE, 4, false), (FRAME, 3, false), (COMMA, 4, false)] {
        let described = parse(text).unwrap_or_else(|faults| panic!("{faults:?}"));
        assert_eq!((described.examples, described.description.pair), (examples, pair));
    }
}

/// One change to a good file and the one fault that it must give.
#[track_caller]
fn refused(text: &str, from: &str, to: &str, want: &str) {
    assert!(text.contains(from), "the file has no {from}");
    let found = faults(&text.replacen(from, to, 1));
    assert!(found.len() == 1 && found[0].contains(want), "{found:?}");
}

#[test]
fn unknown_keys_and_words_are_told_with_their_line() {
    let line = |from: &str, to: &str, want: &str| refused(LINE, from, to, want);
    line("longest = 40", "longest = 40\nlongst = 4", "line 12, `frame.longst`: is no known key");
    let found = faults(&LINE.replace("[map.unit]", "[map.units]"));
    assert!(found[0].contains("`map.unit`: is missing") && found.len() == 2, "{found:?}");
    assert!(found[1].contains("did you mean `unit`?"), "{found:?}");
    line("\"resistance_4w\"", "\"resistance_4\"", "did you mean `resistance_4w`?");
    line("\"resistance_2w\"", "\"contacts\"", "has no value");
    line(
        "\"mOhm\" = \"mOhm\"",
        "\"mOhm\" = \"mohm\"",
        "line 22, `map.unit.mOhm`: unknown unit `mohm`",
    );
    line("\"OL\"   = \"overload\"", "\"OL\" = \"over\"", "known here: overload, none");
    line("\"above\"\n\n", "\"more\"\n\n", "known here: above, below");
    line("bits = \"8N1\"", "bits = \"9N1\"", "`line.bits`");
    line("period_ms = 400", "period_ms = 90000", "0 to 60000");
    line("name   = \"bench-ohm-line\"", "name = \"scpi\"", "`scpi` is a built-in driver");
    line("name   = \"bench-ohm-line\"", "name = \"Ohm\"", "1 to 40 of a-z");
    line("tapline-driver-1", "tapline-driver-2", "is newer than this program");
    line("note  = \"malformed\"", "note = \"silent\"", "unknown word `silent`");
}

#[test]
fn units_that_do_not_fit_the_function_are_refused() {
    refused(LINE, "\"Ohm\"  = \"Ohm\"", "\"Ohm\"  = \"V\"", "`V` is no unit of what is measured");
    refused(FRAME, "\"600.00 V\"", "\"600.00 mA\"", "is no unit of what is measured");
    refused(COMMA, "\"Hz\" = \"Hz\"\n", "", "one of the functions has no unit here");
    let own = "\"R2\" = { function = \"resistance_2w\", unit = \"A\" }";
    refused(LINE, "\"R2\" = \"resistance_2w\"", own, "`A` is no unit of that function");
    let flat = FRAME.replace("[map.range.current_ac]", "[map.range]");
    let flat = flat.replace("[map.range.voltage_ac]\n\"1\" =", "\"4\" =");
    assert!(faults(&flat)[0].contains("[map.range.voltage_ac]"), "{:?}", faults(&flat));
}

#[test]
fn what_could_be_read_in_two_ways_is_refused() {
    let pattern = |to: &str, want: &str| {
        refused(LINE, "\"{function} {value} {unit}\"", &alloc::format!("\"{to}\""), want);
    };
    pattern("{function}{value} {unit}", "line 14, `read.pattern`: `{function}{value}` is ambig");
    pattern("{function} {value}{unit} {value}", "`{value}` stands there twice");
    pattern("{function} {valeu} {unit}", "no field `{valeu}`");
    pattern("{function} {value}", "there is no field `unit` that would hold its codes");
    pattern("{function} {value} {unit} {flag}", "`map.flag`: is missing");
    refused(LINE, "\"R2\" =", "\"R 2\" =", "` ` ends `{function}` and stands in its code `R 2`");
}

#[test]
fn lengths_that_can_not_be_are_refused() {
    refused(LINE, "longest = 40", "longest = 8", "the shortest line of it has 10 bytes");
    refused(LINE, "longest = 40", "longest = 400", "needs a whole number, 2 to 256");
    refused(LINE, "longest = 40\n", "", "is missing: the most bytes of a line");
    let short = faults(&LINE.replace("longest = 40", "longest = 13"));
    assert!(short[0].contains("the driver gives the note `too_long`"), "{short:?}");
    refused(LINE, "longest = 40", "longest = 40\nsilence_ms = 1", "5 to 5000");
    refused(LINE, "\"\\r\\n\"\nlongest", "\"\\r\\n!\"\nlongest", "a line ends by");
    refused(FRAME, "length = 14", "length = 14\nlongest = 14", "leave it out");
    refused(FRAME, "length = 14", "length = 15", "byte 14 is in no field");
}

#[test]
fn places_that_overlap_or_are_left_are_refused() {
    let overlap = "overlaps `sign` in bytes 4 to 4";
    refused(FRAME, "from = 5\nto   = 9", "from = 4\nto   = 9", overlap);
    refused(FRAME, "from = 5\nto   = 9", "from = 6\nto   = 9", "byte 5 is in no field");
    refused(FRAME, "from = 5\nto   = 9", "from = 9\nto   = 5", "is before `from`, 9");
    refused(FRAME, "to   = 12\nat   = 13", "to   = 11\nat   = 12", "overlaps the checksum");
    refused(FRAME, "to   = 12\nat   = 13", "to   = 13\nat   = 13", "covers itself");
    refused(FRAME, "bit   = 1\n", "bit   = 0\n", "stands there twice");
    refused(FRAME, "bit   = 1\n", "bit   = 8\n", "0 to 7");
    refused(FRAME, "means = \"hold\"", "means = \"held\"", "did you mean `hold`?");
    refused(FRAME, "means = \"hold\"", "means = \"minus\"", "the field `sign` says");
    refused(FRAME, "\"sum8\"", "\"crc\"", "known here: sum8, sum16, xor8");
    refused(FRAME, "name = \"value\"", "name = \"valeu\"", "did you mean `value`?");
}

#[test]
fn a_frame_without_a_checksum_needs_its_equal() {
    let plain = FRAME.replace("[check]\nkind = \"sum8\"\nfrom = 2\nto   = 12\nat   = 13", "");
    let plain = plain.replace("to   = 12", "to   = 13");
    // Without the sum the third example is a good frame.
    let plain = plain.replace("I1 01821", "Q1 01821");
    assert!(parse(&plain).unwrap().description.pair);
    let alone = plain.replace(
        "[[field]]\nname = \"function\"",
        "[read]\npair = false\n[[field]]\nname = \"function\"",
    );
    assert!(faults(&alone)[0].contains("counts only when two say the same"));
    let event = plain.replace("period_ms = 500", "period_ms = 0");
    assert!(faults(&event)[0].contains("which is 0"), "{:?}", faults(&event));
    let half = FRAME.replace("from = 2\nto   = 12\nat   = 13", "from = 5\nto   = 12\nat   = 13");
    let half = half.replace("'\\r\"\nreading", "\\u0085\\r\"\nreading");
    assert!(faults(&half).iter().all(|f| f.contains("example")), "only sums differ");
}

#[test]
fn a_frame_that_nothing_finds_is_refused() {
    let text = FRAME.replace("start  = \"\\u00aa\"\nend    = \"\\r\"\n", "");
    let text = text.replace("[check]\nkind = \"sum8\"\nfrom = 2\nto   = 12\nat   = 13", "");
    let found = faults(&text);
    assert!(found.iter().any(|f| f.contains("found by what is always the same")), "{found:?}");
}

#[test]
fn examples_are_tried_and_all_kinds_of_them_are_there() {
    refused(
        LINE,
        "value = \"0.182\"",
        "value = \"0.183\"",
        "line 31, `example.1`: the driver gives \
        resistance_4w 0.182 Ohm of bytes 1 to 15, not resistance_4w 0.183 Ohm of all 15",
    );
    refused(
        LINE,
        "value = \"0.182\"",
        "value = \".182\"",
        "needs digits as the reading shows them",
    );
    refused(LINE, "0.1\\u00b18", "0.118", "not the note `malformed`");
    let over = "[[example]]\nbytes   = \"R4 OL Ohm\\r\\n\"\nreading = { function = \
        \"resistance_4w\", indication = \"overload\", unit = \"Ohm\" }\n";
    refused(LINE, over, "", "needs at least one with an overload");
    let note = "[[example]]\nbytes = \"R4 +0.1\\u00b18 Ohm\\r\\n\"\nnote  = \"malformed\"\n";
    refused(LINE, note, "", "needs at least one with `malformed`");
    refused(LINE, "0.182 Ohm\\r\\n", "0.182 Ω\\r\\n", "`Ω` is more than one byte");
    refused(COMMA, "[\"hold\"]", "[]", "gives resistance_2w overload MOhm Hold");
}

#[test]
fn sentinel_numbers_never_stand_for_a_word() {
    refused(
        LINE,
        "\"OL\"   = \"overload\"",
        "\"OL\" = \"overload\"\n\"1E9\" = \"overload\"",
        "is a number",
    );
}

#[test]
fn all_faults_come_at_once_and_a_large_file_is_not_read() {
    let text =
        LINE.replace("longest = 40", "longest = 1").replace("\"mOhm\" = \"mOhm\"", "\"m\" = \"m\"");
    let text = text.replace("source =", "sauce =");
    let found = faults(&text);
    assert_eq!(found.len(), 3, "{found:?}");
    assert!(found[0].starts_with("line 5") && found[2].starts_with("line 22"), "{found:?}");
    let long = alloc::format!("{LINE}#{}", "x".repeat(TEXT_BYTES_MAX));
    assert!(faults(&long)[0].contains("longer than 16384 bytes"));
    assert!(faults("")[0].contains("needs `format = \"tapline-driver-1\"`"));
    assert!(faults("format = \"tapline-driver-1\"").len() >= 5);
}

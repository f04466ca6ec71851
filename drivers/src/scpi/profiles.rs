//! What each profile says besides, against a peer that says what each test tells it to.

use super::profile::{AUTO, ELEMENTS, LANGUAGE, REMOTE};
use super::state::AUTO_US;
use super::status::bits;
use super::tests::Bench;
use super::*;
use alloc::string::String;
use alloc::vec::Vec;

const NONE: [&str; 0] = [];
const OHMS: Option<Function> = Some(Function::Resistance4w);

/// What is sent from `out` on until nothing more is awaited or `stop` is sent, with polite answers.
fn dialogue(bench: &mut Bench, mut out: Vec<String>, stop: &str) -> Vec<String> {
    let mut sent = Vec::new();
    for _ in 0..60 {
        let last = out.iter().rev().find_map(|said| said.strip_prefix("> ")).map(String::from);
        sent.extend(last.clone());
        if last.as_deref() == Some(stop) {
            return sent;
        }
        let answer = POLITE.iter().find(|(ask, _)| Some(*ask) == last.as_deref());
        out = match answer {
            Some((_, answer)) => bench.says(answer),
            None if bench.driver.deadline().is_none() => return sent,
            None => bench.waits(),
        };
    }
    sent
}

/// The same from the opening on, and from a wanted function on a second later.
fn opened(bench: &mut Bench) -> Vec<String> {
    let out = bench.handle(Input::Open);
    dialogue(bench, out, "")
}

fn wanted(bench: &mut Bench, stop: &str) -> Vec<String> {
    bench.now += 1_000_000;
    let out = bench.want(OHMS);
    dialogue(bench, out, stop)
}

const POLITE: &[(&str, &str)] = &[
    ("*IDN?", "GENERIC,METER,1,1.0"),
    ("SYST:ERR?", "0,\"No error\""),
    ("CONF?", "\"FRES +1.0E+01,+3.0E-06\""),
    ("*ESR?", "0"),
];

fn ready(profile: &'static Profile) -> Bench {
    let mut bench = Bench::of(profile);
    opened(&mut bench);
    wanted(&mut bench, profile.read);
    bench
}

#[test]
fn a_meter_is_told_who_commands_and_let_go_when_nobody_wants_a_reading() {
    let mut bench = Bench::of(&REMOTE);
    let opened = bench.now;
    assert_eq!(bench.handle(Input::Open), NONE);
    assert_eq!(bench.waits(), ["> SYST:REM"]);
    assert_eq!(bench.now, opened + 100_000);
    let sent = dialogue(&mut bench, Vec::new(), "");
    assert_eq!(sent, ["SYST:ERR?", "*IDN?", "SYST:ERR?", "*ESR?", "SYST:LOC"]);
    let sent = wanted(&mut bench, "READ?");
    let want = ["SYST:REM", "SYST:ERR?", "*ESR?", "CONF:FRES", "SYST:ERR?", "CONF?", "READ?"];
    assert_eq!(sent, want);
    assert_eq!(bench.want(None), NONE);
    assert_eq!(bench.says("+0.182"), NONE);
    assert_eq!(bench.waits(), ["> *ESR?"]);
    assert_eq!(bench.says("0"), ["ok 0.182 Ohm", "answer 0"]);
    assert_eq!(bench.waits(), ["> SYST:LOC"]);
    assert_eq!(dialogue(&mut bench, Vec::new(), ""), NONE);
    assert_eq!(bench.driver.deadline(), None);
}

#[test]
fn a_reading_is_taken_when_the_meter_says_that_it_was_not_switched_on_meanwhile() {
    let mut bench = ready(&REMOTE);
    assert_eq!(bench.says("+0.182"), NONE);
    assert_eq!(bench.waits(), ["> *ESR?"]);
    assert_eq!(bench.says("+16"), ["ok 0.182 Ohm", "answer 16"]);
    assert_eq!(bench.waits(), ["> READ?"]);
    assert_eq!(bench.says("+0.183"), NONE);
    assert_eq!(bench.waits(), ["> *ESR?"]);
    // It was: the reading may be of another function, and while a step may be live nothing is
    // configured anew.
    let said = bench.says("128");
    assert_eq!(said, ["unsolicited 0.183 Ohm", "power_on 128", "not_configured"]);
    assert_eq!(bench.driver.deadline(), None);
    // The next that is wanted, be it the same.
    let sent = wanted(&mut bench, "READ?");
    let want = ["SYST:REM", "SYST:ERR?", "*ESR?", "CONF:FRES", "SYST:ERR?", "CONF?", "READ?"];
    assert_eq!(sent, want);
}

#[test]
fn a_reading_whose_status_stays_out_is_not_taken() {
    let mut bench = ready(&REMOTE);
    bench.says("+0.182");
    assert_eq!(bench.waits(), ["> *ESR?"]);
    assert_eq!(bench.waits(), ["unsolicited 0.182 Ohm", "silent *ESR?", "> SYST:ERR?"]);
    // A late one is no reading that counts either.
    assert_eq!(bench.says("0"), ["unsolicited 0 Ohm"]);
    assert_eq!(bench.says("0,\"No error\""), ["answer 0,\"No error\""]);
    let mut bench = ready(&REMOTE);
    bench.says("+0.182");
    bench.waits();
    assert_eq!(bench.says("VOLT"), ["unsolicited 0.182 Ohm", "answer VOLT"]);
}

#[test]
fn a_reading_that_waits_is_given_up_with_what_lies_behind_it() {
    let mut bench = ready(&REMOTE);
    bench.says("+0.182");
    bench.waits();
    bench.driver.handle(Now(bench.now), Input::Bytes(b"12"));
    bench.driver.handle(Now(bench.now), Input::Open);
    let Some(Output::Note(note)) = bench.driver.poll() else { panic!() };
    assert_eq!((note.word, note.span.to - note.span.from), ("held", 10));
}

#[test]
fn only_plain_integers_are_a_status() {
    assert_eq!((bits(b"0"), bits(b"+128"), bits(b"255")), (Some(0), Some(128), Some(255)));
    for text in [&b""[..], b"256", b"-1", b"0.0", b"1E2", b"0000", b"+"] {
        assert_eq!(bits(text), None);
    }
}

#[test]
fn the_language_comes_first() {
    let mut bench = Bench::of(&LANGUAGE);
    assert_eq!(opened(&mut bench), ["*LANG SCPI", "SYST:ERR?", "*IDN?", "SYST:ERR?"]);
    let sent = wanted(&mut bench, ":READ?");
    assert_eq!(sent, ["CONF:FRES", "SYST:ERR?", "CONF?", ":READ?"]);
    assert_eq!(bench.says("+0.182"), ["ok 0.182 Ohm"]);
}

#[test]
fn a_meter_that_was_silent_is_told_again() {
    let mut bench = ready(&LANGUAGE);
    assert_eq!(bench.waits(), ["silent :READ?", "> SYST:ERR?"]);
    assert_eq!(bench.waits(), ["silent SYST:ERR?"]);
    assert_eq!(bench.waits(), ["> *LANG SCPI"]);
}

#[test]
fn the_elements_are_chosen_behind_each_function_and_refused_with_it() {
    let mut bench = Bench::of(&ELEMENTS);
    opened(&mut bench);
    let sent = wanted(&mut bench, "READ?");
    let want = ["CONF:FRES", "SYST:ERR?", "FORM:ELEM READ", "SYST:ERR?", "CONF?", "READ?"];
    assert_eq!(sent, want);
    // A list is not one reading.
    assert_eq!(bench.says("+0.182,0,1"), ["malformed"]);
    let mut bench = Bench::of(&ELEMENTS);
    opened(&mut bench);
    wanted(&mut bench, "FORM:ELEM READ");
    assert_eq!(bench.waits(), ["> SYST:ERR?"]);
    bench.says("-113,\"Undefined header\"");
    let sent = dialogue(&mut bench, Vec::new(), "CONF:FRES");
    assert_eq!(sent, ["SYST:ERR?", "CONF:FRES"]);
}

#[test]
fn a_meter_that_sends_by_itself_is_believed_once_it_is_configured() {
    let mut bench = Bench::of(&AUTO);
    opened(&mut bench);
    assert_eq!(bench.says("+0.1"), ["answer +0.1"]);
    bench.now += 1_000_000;
    bench.want(OHMS);
    assert_eq!(bench.waits(), ["> SYST:ERR?"]);
    assert_eq!(bench.says("+0.2"), ["answer +0.2"]);
    assert_eq!(bench.says("0,\"No error\""), ["answer 0,\"No error\""]);
    assert_eq!(bench.waits(), ["> CONF?"]);
    let said = bench.says("\"FRES\"");
    assert_eq!(said, ["answer \"FRES\"", "ready Resistance4w"]);
    // The first conversion may have begun before.
    assert_eq!(bench.says("+0.3"), ["unsolicited 0.3 Ohm"]);
    assert_eq!(bench.says("+0.4"), ["ok 0.4 Ohm"]);
    bench.now += AUTO_US;
    assert_eq!(bench.says("+0.5"), ["unsolicited 0.5 Ohm", "not_configured"]);
    assert_eq!(bench.says("+0.6"), ["unsolicited 0.6 Ohm"]);
    bench.now += 1_000_000;
    assert_eq!(bench.want(OHMS), ["> CONF:FRES"]);
}

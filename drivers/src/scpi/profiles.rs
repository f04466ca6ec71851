//! What each profile says besides, against a peer that says what each test tells it to.

use super::profile::{
    AUTO, ELEMENTS, LANGUAGE, LIST, LOW_OHM_8, LOW_OHM_9, PLAIN, REMOTE, REMOTE_CLEAR,
    REMOTE_TWICE, TCP, TWICE,
};
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
    // It was: the reading may be of another function.
    assert_eq!(bench.says("128"), ["unsolicited 0.183 Ohm", "power_on 128"]);
    let sent = dialogue(&mut bench, Vec::new(), "READ?");
    let want = ["SYST:REM", "SYST:ERR?", "CONF:FRES", "SYST:ERR?", "CONF?", "READ?"];
    assert_eq!(sent, want);
}

#[test]
fn a_meter_that_was_switched_on_in_a_live_step_is_not_configured_before_the_step_is_dead() {
    let mut bench = ready(&REMOTE);
    assert_eq!(bench.live(OHMS), NONE);
    assert_eq!(bench.says("+0.183"), NONE);
    assert_eq!(bench.waits(), ["> *ESR?"]);
    let said = bench.says("128");
    assert_eq!(said, ["unsolicited 0.183 Ohm", "power_on 128", "not_configured"]);
    assert_eq!(bench.driver.deadline(), None);
    bench.now += 10_000_000;
    assert_eq!(bench.live(OHMS), NONE);
    assert_eq!(bench.driver.deadline(), None);
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
    assert_eq!(bench.says("+0.182,0,1"), ["malformed a list of other elements"]);
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
    assert_eq!(bench.says("+0.5"), ["unsolicited 0.5 Ohm"]);
    assert_eq!(bench.waits(), ["> CONF:FRES"]);
    assert_eq!(bench.says("+0.6"), ["unsolicited 0.6 Ohm"]);
}

/// Names of elements as in the test suite of a general-purpose library.
#[test]
fn the_wanted_element_of_a_list_is_taken_by_its_name() {
    let lists = |names: &str| {
        let mut bench = Bench::of(&LIST);
        opened(&mut bench);
        let sent = wanted(&mut bench, "FORM:ELEM?");
        assert_eq!(sent, ["CONF:FRES", "SYST:ERR?", "CONF?", "FORM:ELEM?"]);
        let said = bench.says(names);
        (bench, said)
    };
    let (mut bench, said) = lists("VOLT,CURR,RES,TIME,STAT");
    assert_eq!(said, ["answer VOLT,CURR,RES,TIME,STAT", "ready Resistance4w"]);
    assert_eq!(bench.waits(), ["> READ?"]);
    let five = |res: &str, stat: &str| alloc::format!("+1.0E+00,+5.0E-02,{res},+3.2E+01,{stat}");
    assert_eq!(bench.says(&five("+1.8E-01", "+0.0E+00")), ["ok 0.18 Ohm"]);
    bench.waits();
    assert_eq!(bench.says(&five("+9.91E+37", "+0.0E+00")), ["ok NoValue Ohm"]);
    bench.waits();
    let odd = bench.says(&five("+1.8E-01", "+2.1E+01"));
    assert_eq!(odd, ["malformed a status that nobody explained"]);
    // Another count of elements, and one number alone.
    for other in ["+1.8E-01", "+1.0E+00,+1.8E-01"] {
        assert_eq!(dialogue(&mut bench, Vec::new(), "READ?").last().unwrap(), "READ?");
        assert_eq!(bench.says(other), ["malformed a list of other elements"]);
    }
    for (names, said) in [("VOLT,CURR", "answer VOLT,CURR"), ("RES", "answer RES")] {
        let (mut bench, got) = lists(names);
        assert_eq!(got[0], said);
        let got = bench.waits();
        assert_eq!(got, [if names == "RES" { "> READ?" } else { "> CONF:FRES" }], "{names}");
    }
}

#[test]
fn a_unit_that_is_sent_is_compared_with_what_is_wanted() {
    let mut bench = ready(&PLAIN);
    assert_eq!(bench.says("+1.82E-01 OHM"), ["ok 0.182 Ohm"]);
    bench.waits();
    // The meter measures something else than it was told: it is told again.
    assert_eq!(bench.says("+1.82E-01 VDC"), ["other_function"]);
    assert_eq!(bench.waits(), ["> CONF:FRES"]);
    assert_eq!(dialogue(&mut bench, Vec::new(), "READ?").last().unwrap(), "READ?");
    assert_eq!(bench.live(OHMS), NONE);
    assert_eq!(bench.says("+1.82E-01 VDC"), ["other_function", "not_configured"]);
    assert_eq!(bench.driver.deadline(), None);
}

#[test]
fn a_meter_that_always_answers_with_another_unit_is_given_up() {
    let mut bench = ready(&PLAIN);
    for attempt in 0..3 {
        let said = bench.says("+1.82E-01 KOHM");
        let all = ["other_function", "not_configured"];
        assert_eq!(said, &all[..if attempt < 2 { 1 } else { 2 }]);
        dialogue(&mut bench, Vec::new(), "READ?");
    }
    assert_eq!(bench.driver.deadline(), None);
}

#[test]
fn a_block_is_no_reading_and_its_ends_are_data() {
    for block in ["#217abcdefgh\nijklmnop", "#264{\r\n;\",#1}", "#0abc"] {
        let mut bench = ready(&PLAIN);
        let fill = if block.starts_with("#264") { "x".repeat(64 - 9) } else { String::new() };
        let said = bench.says(&alloc::format!("{block}{fill}"));
        assert_eq!(said, ["malformed a block, not a reading"], "{block}");
        assert_eq!(bench.waits(), ["> SYST:ERR?"]);
    }
    // One that stays short is cut at its first end after a silence, and so is an open quote.
    for short in ["#217abc\r\ndef", "\"1.0\r\n2.0"] {
        let mut bench = ready(&PLAIN);
        assert_eq!(bench.says(short), NONE, "{short}");
        assert_eq!(bench.waits()[0], "malformed", "{short}");
    }
}

#[test]
fn what_was_there_before_the_question_is_not_its_answer() {
    let mut bench = ready(&TCP);
    bench.now += 5_000;
    let said = bench.handle(Input::Bytes(b"+0.1\n+0.2\n"));
    assert_eq!(said, ["ok 0.1 Ohm", "> READ?", "unsolicited 0.2 Ohm"]);
    // It may be the answer to the question before.
    assert_eq!(bench.says("+0.3"), ["unsolicited 0.3 Ohm", "> SYST:ERR?"]);
    assert_eq!(bench.says("0,\"No error\""), ["answer 0,\"No error\"", "> READ?"]);
    assert_eq!(bench.says("+0.4"), ["ok 0.4 Ohm", "> READ?"]);
}

#[test]
fn a_stuck_reading_is_aborted_only_where_the_profile_says_so_and_nothing_may_be_live() {
    let mut bench = ready(&REMOTE_CLEAR);
    assert_eq!(bench.waits(), ["silent READ?", "> \u{3}"]);
    assert_eq!(bench.waits(), ["> SYST:ERR?"]);
    bench.says("0,\"No error\"");
    assert_eq!(
        dialogue(&mut bench, Vec::new(), "READ?"),
        ["CONF:FRES", "SYST:ERR?", "CONF?", "READ?"]
    );
    assert_eq!(bench.live(OHMS), NONE);
    assert_eq!(bench.waits(), ["silent READ?", "> SYST:ERR?"]);
}

#[test]
fn sentinels_are_those_of_the_meter() {
    for (profile, said) in [
        (&PLAIN, "ok 1000000000 Ohm"),
        (&LOW_OHM_9, "ok Overload Ohm"),
        (&LOW_OHM_8, "ok NoValue Ohm"),
    ] {
        let mut bench = ready(profile);
        assert_eq!(bench.says("+100.000E+7"), [said]);
    }
}

#[test]
fn while_it_may_be_live_a_silent_meter_is_asked_what_it_is_and_told_nothing() {
    let mut bench = ready(&PLAIN);
    assert_eq!(bench.live(OHMS), NONE);
    assert_eq!(bench.waits(), ["silent READ?", "> SYST:ERR?"]);
    bench.says("0,\"No error\"");
    assert_eq!(bench.waits(), ["> CONF?"]);
    assert_eq!(bench.says("\"FRES\""), ["answer \"FRES\"", "ready Resistance4w"]);
    assert_eq!(bench.waits(), ["> READ?"]);
    assert_eq!(bench.waits(), ["silent READ?", "> SYST:ERR?"]);
    bench.says("0,\"No error\"");
    assert_eq!(bench.waits(), ["> CONF?"]);
    // It was switched off and on.
    assert_eq!(bench.says("\"VOLT\""), ["answer \"VOLT\"", "not_configured"]);
    assert_eq!(bench.driver.deadline(), None);
    // Another function is what the step wants, the same one waits.
    assert_eq!(bench.live(Some(Function::VoltageAc)), NONE);
    assert_eq!(bench.waits(), ["> CONF:VOLT:AC"]);
}

#[test]
fn a_link_that_comes_back_in_a_live_step_is_asked_and_told_nothing() {
    for (answer, told) in [("\"FRES\"", "ready Resistance4w"), ("\"VOLT\"", "not_configured")] {
        let mut bench = Bench::of(&PLAIN);
        opened(&mut bench);
        bench.now += 1_000_000;
        assert_eq!(bench.live(OHMS), ["> CONF?"]);
        assert_eq!(bench.says(answer), [alloc::format!("answer {answer}"), told.into()]);
    }
    let mut bench = Bench::of(&PLAIN);
    opened(&mut bench);
    bench.now += 1_000_000;
    assert_eq!(bench.live(OHMS), ["> CONF?"]);
    assert_eq!(bench.waits(), ["silent CONF?", "> SYST:ERR?"]);
    bench.says("-113,\"Undefined header\"");
    bench.waits();
    assert_eq!(bench.says("0,\"No error\""), ["answer 0,\"No error\"", "not_configured"]);
    assert_eq!(wanted(&mut bench, "CONF:FRES"), ["CONF:FRES"]);
}

#[test]
fn what_is_said_twice_is_taken_and_anything_else_is_shown() {
    let mut bench = ready(&TWICE);
    assert_eq!(bench.says("+1.82E-01"), NONE);
    assert_eq!(bench.waits(), ["> FETC?"]);
    assert_eq!(bench.says("+1.82E-01"), ["ok 0.182 Ohm"]);
    assert_eq!(bench.waits(), ["> READ?"]);
    // Another digit, another exponent, another word.
    for (first, then) in [
        ("+1.82E-01", "+1.83E-01"),
        ("+1.82E-01", "+1.82E-00"),
        ("+1.82E-01", "+9.9E+37"),
        ("+1.82E-01", "1.82E-01 OHM"),
    ] {
        assert_eq!(bench.says(first), NONE);
        assert_eq!(bench.waits(), ["> FETC?"]);
        assert_eq!(bench.says(then), ["unpaired 0.182 Ohm"], "{then}");
        assert_eq!(bench.waits(), ["> READ?"]);
    }
    assert_eq!(bench.says("OL"), NONE);
    assert_eq!(bench.waits(), ["> FETC?"]);
    assert_eq!(bench.says("+9.90000000E+37"), ["ok Overload Ohm"]);
    bench.waits();
    // A copy that stays out, and an answer to something else.
    bench.says("+1.82E-01");
    assert_eq!(bench.waits(), ["> FETC?"]);
    assert_eq!(bench.waits(), ["unsolicited 0.182 Ohm", "silent FETC?", "> SYST:ERR?"]);
    let mut bench = ready(&REMOTE_TWICE);
    bench.says("+1.82E-01");
    assert_eq!(bench.waits(), ["> FETC?"]);
    assert_eq!(bench.says("+1.82E-01"), NONE);
    assert_eq!(bench.waits(), ["> *ESR?"]);
    assert_eq!(bench.says("0"), ["ok 0.182 Ohm", "answer 0"]);
    assert_eq!(bench.waits(), ["> READ?"]);
    bench.says("+1.82E-01");
    bench.waits();
    assert_eq!(bench.says("VOLT"), ["unsolicited 0.182 Ohm", "answer VOLT"]);
}

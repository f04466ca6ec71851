//! The driver against a peer that says what each test tells it to.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use super::message::tests::{ALLOWED, COMMON};
use super::profile::PLAIN;
use super::*;
use crate::driver::Want;
use crate::reading::Indication;
use crate::wire::number::{Numeric, numeric};
use proptest::prelude::*;

/// The driver, its clock, and what came out since the last look.
pub(super) struct Bench {
    pub(super) driver: Scpi,
    pub(super) now: u64,
}

impl Bench {
    fn new() -> Bench {
        Bench::of(&PLAIN)
    }

    pub(super) fn of(profile: &'static Profile) -> Bench {
        Bench { driver: Scpi::new(profile), now: 1_000_000 }
    }

    fn drain(&mut self) -> Vec<String> {
        core::iter::from_fn(|| self.driver.poll()).map(|output| shown(&output)).collect()
    }

    pub(super) fn handle(&mut self, input: Input<'_>) -> Vec<String> {
        self.driver.handle(Now(self.now), input);
        self.drain()
    }

    pub(super) fn want(&mut self, function: Option<Function>) -> Vec<String> {
        self.handle(Input::Want(function.map(|function| Want { function, live: false })))
    }

    /// The same while the asset may be energised.
    pub(super) fn live(&mut self, function: Option<Function>) -> Vec<String> {
        self.handle(Input::Want(function.map(|function| Want { function, live: true })))
    }

    /// The instrument says a line, 5 ms later.
    pub(super) fn says(&mut self, line: &str) -> Vec<String> {
        self.now += 5_000;
        self.handle(Input::Bytes(format!("{line}\r\n").as_bytes()))
    }

    /// Nothing happens until the deadline.
    pub(super) fn waits(&mut self) -> Vec<String> {
        self.now = self.driver.deadline().expect("something is awaited").0;
        self.handle(Input::Tick)
    }

    /// Opened, identified, error queue empty.
    fn opened() -> Bench {
        let mut bench = Bench::new();
        assert_eq!(bench.handle(Input::Open), ["> *IDN?"]);
        assert_eq!(bench.says("GENERIC,METER,1,1.0"), ["identity GENERIC,METER,1,1.0"]);
        assert_eq!(bench.waits(), ["> SYST:ERR?"]);
        assert_eq!(bench.says("0,\"No error\""), ["answer 0,\"No error\""]);
        assert_eq!(bench.driver.deadline(), None);
        bench
    }

    /// And configured for resistance, with the first `READ?` in flight.
    fn reading() -> Bench {
        let mut bench = Bench::opened();
        bench.now += 1_000_000;
        assert_eq!(bench.want(Some(Function::Resistance4w)), ["> CONF:FRES"]);
        bench.configured();
        bench
    }

    /// From the pause after `CONF:FRES` to the first `READ?`.
    pub(super) fn configured(&mut self) {
        assert_eq!(self.waits(), ["> SYST:ERR?"]);
        self.says("+0,\"No error\"");
        assert_eq!(self.waits(), ["> CONF?"]);
        let got = self.says("\"FRES +1.0E+01,+3.0E-06\"");
        assert_eq!(got, ["answer \"FRES +1.0E+01,+3.0E-06\"", "ready Resistance4w"]);
        assert_eq!(self.waits(), ["> READ?"]);
    }
}

fn shown(output: &Output<Message>) -> String {
    match output {
        Output::Reading(r) => {
            let why = r.why.unwrap_or("ok");
            let value = match r.indication {
                Indication::Value(number) => number.text(),
                other => format!("{other:?}"),
            };
            format!("{why} {value} {}", r.unit.ucum())
        }
        Output::Note(note) => {
            format!("{} {}", note.word, note.text.as_deref().unwrap_or("")).trim_end().to_string()
        }
        Output::Identity(identity) => format!("identity {}", identity.text),
        Output::Ready(function) => format!("ready {function:?}"),
        Output::Send(message) => format!("> {}", latin(message.bytes()).trim_end()),
        other => format!("{other:?}"),
    }
}

#[test]
fn readings_are_asked_for_one_by_one_and_stop_when_nobody_wants_them() {
    let mut bench = Bench::reading();
    assert_eq!(bench.says("+1.82000E-01"), ["ok 0.182000 Ohm"]);
    let answered = bench.now;
    assert_eq!(bench.waits(), ["> READ?"]);
    assert_eq!(bench.now, answered + GAP_US);
    assert_eq!(bench.want(None), [""; 0]);
    assert_eq!(bench.says("+9.90000000E+37"), ["ok Overload Ohm"]);
    assert_eq!(bench.driver.deadline(), None);
}

#[test]
fn a_late_answer_is_never_the_answer_to_the_next_question() {
    let mut bench = Bench::reading();
    assert_eq!(bench.waits(), ["silent READ?", "> SYST:ERR?"]);
    assert_eq!(bench.says("+1.11E-01"), ["unsolicited 0.111 Ohm"]);
    assert_eq!(bench.says("+0,\"No error\""), ["answer 0,\"No error\""]);
    assert_eq!(bench.waits(), ["> CONF:FRES"]);
    bench.configured();
    assert_eq!(bench.says("+2.22E-01"), ["ok 0.222 Ohm"]);
}

#[test]
fn an_instrument_that_stays_silent_is_asked_for_its_errors_and_for_nothing_else() {
    let mut bench = Bench::reading();
    assert_eq!(bench.waits(), ["silent READ?", "> SYST:ERR?"]);
    let mut pauses = Vec::new();
    for _ in 0..4 {
        assert_eq!(bench.waits(), ["silent SYST:ERR?"]);
        let from = bench.now;
        assert_eq!(bench.waits(), ["> SYST:ERR?"]);
        pauses.push((bench.now - from) / 1_000_000);
    }
    assert_eq!(pauses, [3, 6, 12, 12]);
    assert_eq!(bench.says("0,\"No error\""), ["answer 0,\"No error\""]);
    // It may be another one by now.
    assert_eq!(bench.waits(), ["> *IDN?"]);
    bench.says("GENERIC,OTHER,2,1.0");
    assert_eq!(bench.waits(), ["> SYST:ERR?"]);
    bench.says("0,\"No error\"");
    assert_eq!(bench.waits(), ["> CONF:FRES"]);
    bench.configured();
}

#[test]
fn silence_ends_in_silence_when_nobody_wants_a_reading() {
    let mut bench = Bench::reading();
    bench.want(None);
    assert_eq!(bench.waits(), ["silent READ?"]);
    assert_eq!(bench.driver.deadline(), None);
    bench = Bench::new();
    bench.handle(Input::Open);
    assert_eq!(bench.waits(), ["silent *IDN?", "> SYST:ERR?"]);
    assert_eq!(bench.waits(), ["silent SYST:ERR?"]);
    assert_eq!(bench.driver.deadline(), None);
}

#[test]
fn swapped_answers_are_kept_and_not_taken() {
    let mut bench = Bench::reading();
    assert_eq!(bench.says("0,\"No error\""), ["answer 0,\"No error\""]);
    assert_eq!(bench.says("VOLT"), ["answer VOLT"]);
    assert_eq!(bench.says("+0.5"), ["ok 0.5 Ohm"]);
    // Something was out of place: the error queue first.
    assert_eq!(bench.waits(), ["> SYST:ERR?"]);
    assert_eq!(bench.says("+0.6"), ["unsolicited 0.6 Ohm"]);
    assert_eq!(bench.says("GENERIC,METER,1,1.0"), ["answer GENERIC,METER,1,1.0"]);
    assert_eq!(bench.says("0,\"No error\""), ["answer 0,\"No error\""]);
    assert_eq!(bench.waits(), ["> READ?"]);
}

#[test]
fn two_answers_to_one_question_do_not_shift_those_that_follow() {
    let mut bench = Bench::reading();
    assert_eq!(bench.says("+0.1"), ["ok 0.1 Ohm"]);
    assert_eq!(bench.says("+0.1"), ["unsolicited 0.1 Ohm"]);
    assert_eq!(bench.waits(), ["> SYST:ERR?"]);
    bench.says("0,\"No error\"");
    assert_eq!(bench.waits(), ["> READ?"]);
    assert_eq!(bench.says("+0.2"), ["ok 0.2 Ohm"]);
}

#[test]
fn bytes_behind_an_answer_keep_the_line_busy_however_they_are_cut() {
    for cut in [1, 2, 9] {
        let mut bench = Bench::reading();
        bench.now += 5_000;
        bench.handle(Input::Bytes(b"+0.1\r"));
        bench.now += 5_000;
        for read in b"more of it".chunks(cut) {
            bench.handle(Input::Bytes(read));
        }
        assert_eq!(bench.driver.deadline(), Some(Now(bench.now + GAP_US)), "cut {cut}");
    }
}

#[test]
fn a_garbled_answer_is_noted_and_the_line_is_brought_in_step_again() {
    let mut bench = Bench::reading();
    assert_eq!(bench.says("+1.8?E-01"), ["malformed"]);
    assert_eq!(bench.waits(), ["> SYST:ERR?"]);
    bench.says("0,\"No error\"");
    assert_eq!(bench.waits(), ["> READ?"]);
    assert_eq!(bench.says("1.0,2.0"), ["malformed a list of other elements"]);
    assert_eq!(bench.waits(), ["> SYST:ERR?"]);
    bench.says("0,\"No error\"");
    assert_eq!(bench.waits(), ["> READ?"]);
    assert_eq!(bench.says("1.0;2.0"), ["malformed"]);
}

#[test]
fn an_answer_that_lost_its_first_bytes_is_shown_and_not_judged() {
    let mut bench = Bench::reading();
    assert_eq!(bench.says("+1.82E-01"), ["ok 0.182 Ohm"]);
    bench.waits();
    assert_eq!(bench.says("2E-01"), ["unpaired 0.2 Ohm"]);
    bench.waits();
    assert_eq!(bench.says("-1.83E-01"), ["unpaired -0.183 Ohm"]);
    bench.waits();
    assert_eq!(bench.says("+1.84E-01"), ["ok 0.184 Ohm"]);
    bench.waits();
    // Words and sentinels have forms of their own.
    assert_eq!(bench.says("9.9E37"), ["ok Overload Ohm"]);
    bench.waits();
    assert_eq!(bench.says("+1.85E-01"), ["ok 0.185 Ohm"]);
}

#[test]
fn a_list_of_errors_is_emptied_but_not_for_ever() {
    let mut bench = Bench::new();
    bench.handle(Input::Open);
    bench.says("GENERIC,METER,1,1.0");
    for _ in 0..ERRORS_MAX {
        assert_eq!(bench.waits(), ["> SYST:ERR?"]);
        let got = bench.says("-350,\"Queue overflow\"");
        assert_eq!(got, ["error_queue -350,\"Queue overflow\""]);
    }
    assert_eq!(bench.driver.deadline(), None);
}

#[test]
fn a_meter_without_conf_query_is_read_all_the_same() {
    let mut bench = Bench::opened();
    bench.now += 1_000_000;
    assert_eq!(bench.want(Some(Function::VoltageAc)), ["> CONF:VOLT:AC"]);
    bench.waits();
    bench.says("0,\"No error\"");
    assert_eq!(bench.waits(), ["> CONF?"]);
    assert_eq!(bench.waits(), ["silent CONF?", "> SYST:ERR?"]);
    bench.says("-113,\"Undefined header\"");
    assert_eq!(bench.waits(), ["> SYST:ERR?"]);
    assert_eq!(bench.says("0,\"No error\""), ["answer 0,\"No error\"", "ready VoltageAc"]);
    assert_eq!(bench.waits(), ["> READ?"]);
    assert_eq!(bench.says("2.301E2"), ["ok 230.1 V"]);
    // It has learnt that: the next function takes no second of waiting.
    bench.now += GAP_US;
    assert_eq!(bench.want(Some(Function::Frequency)), ["> CONF:FREQ"]);
    bench.waits();
    assert_eq!(bench.says("0,\"No error\""), ["answer 0,\"No error\"", "ready Frequency"]);
}

/// Plays three times what a meter says to `CONF:FRES`; gives back what came out last.
fn refuses(bench: &mut Bench, says: &[&str]) -> Vec<String> {
    bench.now += 1_000_000;
    let mut got = bench.want(Some(Function::Resistance4w));
    for attempt in 1..=3 {
        assert_eq!(got, ["> CONF:FRES"], "attempt {attempt}");
        for line in says {
            bench.waits();
            got = bench.says(line);
        }
        if attempt < 3 {
            got = bench.waits();
        }
    }
    assert_eq!(bench.driver.deadline(), None);
    got
}

#[test]
fn a_meter_that_answers_with_another_function_is_given_up_after_three_times() {
    let mut bench = Bench::opened();
    let got = refuses(&mut bench, &["0,\"No error\"", "\"VOLT\""]);
    assert_eq!(got, ["answer \"VOLT\"", "not_configured"]);
    // Asked again by a person, it is tried again.
    assert_eq!(bench.want(Some(Function::Resistance4w)), [""; 0]);
    assert_eq!(bench.waits(), ["> CONF:FRES"]);
}

#[test]
fn a_function_that_the_meter_does_not_know_is_given_up_after_three_times() {
    let mut bench = Bench::opened();
    let says = ["-113,\"Undefined header\"", "0,\"No error\""];
    let got = refuses(&mut bench, &says);
    assert_eq!(got, ["answer 0,\"No error\"", "not_configured"]);
}

#[test]
fn insulation_is_never_asked_for() {
    let mut bench = Bench::opened();
    bench.now += 1_000_000;
    assert_eq!(bench.want(Some(Function::InsulationResistance)), ["not_configured"]);
    assert_eq!(bench.driver.deadline(), None);
}

#[test]
fn another_function_waits_for_the_answer_in_flight() {
    let mut bench = Bench::reading();
    assert_eq!(bench.want(Some(Function::VoltageDc)), [""; 0]);
    assert_eq!(bench.says("+0.5"), ["ok 0.5 Ohm"]);
    assert_eq!(bench.waits(), ["> CONF:VOLT:DC"]);
}

#[test]
fn what_was_asked_before_opening_is_no_identity() {
    let mut bench = Bench::reading();
    assert_eq!(bench.handle(Input::Open), ["> *IDN?"]);
    assert_eq!(bench.says("+0.182"), ["answer +0.182"]);
    assert_eq!(bench.says("0,\"No error\""), ["answer 0,\"No error\""]);
    assert_eq!(bench.says("\"FRES\""), ["answer \"FRES\""]);
    assert_eq!(bench.says("*IDN?"), ["answer *IDN?"]);
    assert_eq!(bench.says("GENERIC,METER,1,1.0"), ["identity GENERIC,METER,1,1.0"]);
}

#[test]
fn a_tail_that_is_cut_off_is_no_reading_and_an_idle_meter_may_say_what_it_likes() {
    let mut bench = Bench::reading();
    bench.now += 5_000;
    assert_eq!(bench.handle(Input::Bytes(b"+1.2")), [""; 0]);
    assert_eq!(bench.waits(), ["silent READ?", "> SYST:ERR?"]);
    bench = Bench::opened();
    assert_eq!(bench.says("+0.1"), ["answer +0.1"]);
    assert_eq!(bench.driver.deadline(), None);
}

#[test]
fn a_tick_before_the_deadline_does_nothing() {
    let mut bench = Bench::reading();
    bench.now = bench.driver.deadline().unwrap().0 - 1;
    assert_eq!(bench.handle(Input::Tick), [""; 0]);
    bench.now += 1;
    assert_eq!(bench.handle(Input::Tick), ["silent READ?", "> SYST:ERR?"]);
}

/// What a hostile or merely odd meter may do next.
fn anything() -> impl Strategy<Value = (u8, u64, String)> {
    let lines = prop::sample::select(alloc::vec![
        "+0.182",
        "0,\"No error\"",
        "-113,\"Undefined header\"",
        "VOLT",
        "\"FRES\"",
        "RES",
        "GENERIC,METER,1,1.0",
        "9.9E37",
        "OL",
        "",
        "\u{1}",
        "1,2,3",
        "*IDN?",
    ]);
    (0..8_u8, 0..4_000_000_u64, lines.prop_map(String::from))
}

/// The question whose answer lets a reading out.
fn last_question(profile: &Profile) -> String {
    let again = profile.again.unwrap_or(profile.read);
    format!("{}\n", if profile.status { "*ESR?" } else { again })
}

proptest! {
    /// Whatever the meter does: only allowed messages, one query in flight, no reading taken
    /// but for a `READ?` in flight, and the deadline is kept.
    #[test]
    fn the_rules_hold_against_any_meter(
        script in prop::collection::vec(anything(), 0..80), which in 0..ALLOWED.len(),
    ) {
        let (_, profile, own) = ALLOWED[which];
        let allowed = |text: &str| COMMON.contains(&text) || own.contains(&text);
        let mut bench = Bench::of(profile);
        bench.driver.handle(Now(bench.now), Input::Open);
        let (mut live, mut told) = (false, String::new());
        let (mut flight, mut answered): (Option<String>, bool) = (None, false);
        for (what, pause, line) in script {
            loop {
                while let Some(output) = bench.driver.poll() {
                    match output {
                        Output::Send(message) => {
                            let text = latin(message.bytes());
                            prop_assert!(allowed(&text), "{text}");
                            // While it may be live, nothing is told a second time.
                            if text.starts_with("CONF:") {
                                prop_assert!(!live || !told.is_empty() && told != text, "{text}");
                                told.clone_from(&text);
                            }
                            prop_assert!(!live || text != "\x03");
                            prop_assert!(flight.is_none() || answered, "{flight:?} {text}");
                            flight = text.contains('?').then_some(text);
                            answered = false;
                        }
                        Output::Reading(reading) if reading.why.is_none() => {
                            prop_assert!(!answered);
                            let flight = flight.take();
                            let by_itself = profile.auto && flight.is_none();
                            prop_assert!(by_itself || flight == Some(last_question(profile)));
                        }
                        Output::Note(note) if note.word == "silent" => flight = None,
                        Output::Identity(_) => flight = None,
                        // Without a gap the next question is there before the answer is told.
                        Output::Note(_) if bench.driver.asked().is_none() => flight = None,
                        Output::Note(_) => answered |= profile.gap_us == 0,
                        _ => {}
                    }
                }
                match bench.driver.deadline() {
                    Some(deadline) if deadline.0 <= bench.now + pause => {
                        bench.now = bench.now.max(deadline.0);
                        bench.driver.handle(Now(bench.now), Input::Tick);
                    }
                    _ => break,
                }
            }
            bench.now += pause;
            let input = format!("{line}\r\n");
            let wanted = [None, Some(Function::Resistance4w), Some(Function::VoltageAc)];
            match what {
                0 => {
                    let want = wanted[usize::try_from(pause % 3).unwrap()];
                    live = pause % 2 == 1 && wanted[usize::try_from(pause % 3).unwrap()].is_some();
                    let want = want.map(|function| Want { function, live });
                    bench.driver.handle(Now(bench.now), Input::Want(want));
                }
                1 => {
                    bench.driver.handle(Now(bench.now), Input::Open);
                    (flight, live) = (None, false);
                    told.clear();
                }
                _ => bench.driver.handle(Now(bench.now), Input::Bytes(input.as_bytes())),
            }
        }
        prop_assert!(bench.driver.queued() <= 64);
    }

    /// A number is a number whoever reads it: the value that comes out is the one that was sent.
    #[test]
    fn what_is_answered_is_what_is_read(digits in 0..1_000_000_u64, power in -18..=3_i32) {
        let mut bench = Bench::reading();
        let sent = format!("{digits}E{power}");
        let Some(Numeric::Value(number)) = numeric(sent.as_bytes()) else { panic!() };
        prop_assert_eq!(bench.says(&sent), [format!("ok {} Ohm", number.text())]);
    }
}

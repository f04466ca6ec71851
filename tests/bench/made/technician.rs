//! A technician who does what the page says, for one asset after the other.

use tapline::station::event::Request;
use tapline_protocols::plan::{Direction, Switch};

use super::register::Asset;
use super::shift::Shift;

/// More prompts than this no inspection has.
const PROMPTS_MAX: u32 = 300;

/// What is found, and what is not done.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Case {
    /// The earth conductor is bad.
    pub(crate) bad_earth: bool,
    /// More leaks than may.
    pub(crate) leaks: bool,
    /// The last step is left out.
    pub(crate) skips: bool,
    /// It is in use and can't be inspected.
    pub(crate) in_use: bool,
    /// Readings that the inspection has to come to, if it comes to fewer.
    pub(crate) readings: u64,
}

/// How an inspection ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Outcome {
    Pass,
    Fail,
    Undecided,
    /// Ended without being measured through.
    Ended,
}

/// From the scan of the asset to the sealed record.
pub(crate) fn inspect(shift: &mut Shift, asset: &Asset, case: Case) -> Outcome {
    let before = shift.readings;
    shift.scan(&asset.id);
    let begin = Request::Begin {
        plan: None,
        asset: None,
        reason: Some("scheduled".into()),
        order: None,
        with: vec![],
    };
    shift.ask(begin).expect("nothing else is open here");
    if case.in_use {
        return end(shift, "in_use", "the ward needs it today");
    }
    let leak = if case.leaks { 700 } else { asset.leak_ua };
    shift.wire.leak_ua = [leak, leak + 9];
    for _ in 0..PROMPTS_MAX {
        shift.run(1_050_000);
        if let Some(outcome) = step(shift, asset, case, before) {
            return outcome;
        }
    }
    end(shift, "given_up", "the bench did not come to an end")
}

fn step(shift: &mut Shift, asset: &Asset, case: Case, before: u64) -> Option<Outcome> {
    let prompt = shift.prompt();
    let [s5, s7, supply] = shift.wire.set;
    let minus = prompt.direction == Some(Direction::Minus);
    let signed = |mohm: u64| {
        let mohm = i64::try_from(mohm).expect("small");
        if minus { -mohm } else { mohm }
    };
    let clips = ["null", "null_apart", "arm", "measure"].contains(&prompt.state);
    shift.wire.talks(clips, shift.now);
    match prompt.state {
        "look" => answer(shift, "pass"),
        "answer" if case.skips => {
            // Refused or not, the next prompt says what there is to do.
            let _ = shift.ask(Request::Skip { reason: "no test fluid here".into() });
        }
        "answer" => answer(shift, "pass"),
        "arm" | "measure" if wants_null(&prompt.missing) => {
            let lead = format!("L-{}", shift.wire.bench);
            let _ = shift.ask(Request::Null { lead });
        }
        "null" | "null_apart" => shift.touch(signed(61), 5_000_000),
        "arm" | "measure" => {
            let cord = prompt.of.as_deref() == Some("cord");
            let (sound, bad) = (if cord { 45 } else { asset.earth_mohm }, 400);
            let mohm = signed(61 + if case.bad_earth { bad } else { sound });
            // A guard, a window of five seconds and the reading that closes it.
            shift.touch(mohm, 8_600_000);
        }
        "connect" if supply => shift.set([s5, s7, false]),
        "connect" if prompt.missing.contains(&"supply_not_checked") => supply_check(shift),
        "connect" => act(shift, "connected"),
        "prove_closed" | "reprove" => wait(shift, [s5, false, false]),
        "prove_open" => wait(shift, [s5, true, false]),
        "clear" => {
            let is = |switch, word| prompt.set.get(&switch).is_some_and(|set| set == word);
            shift.set([is(Switch::S5, "reversed"), is(Switch::S7, "open"), false]);
            act(shift, "clear");
        }
        "live" => {
            shift.set([s5, s7, true]);
            act(shift, "live");
        }
        "alive" | "set_state" => drop(shift.ask(Request::prove("alive"))),
        "capture" => shift.run(2_000_000),
        "dead" | "may_be_live" => {
            shift.set([s5, s7, false]);
            act(shift, "dead");
        }
        "close_scan" => shift.scan(&asset.id),
        "sign" if shift.readings - before < case.readings => {
            shift.wire.talks(true, shift.now);
            shift.run(1_000_000);
        }
        "sign" => return Some(sign(shift)),
        _ => shift.run(500_000),
    }
    None
}

fn wants_null(missing: &[&str]) -> bool {
    missing.iter().any(|what| ["lead_not_nulled", "null_too_old"].contains(what))
}

fn answer(shift: &mut Shift, word: &str) {
    let _ = shift.ask(Request::Answer { answer: word.into(), item: None, reason: None });
}

fn act(shift: &mut Shift, what: &str) {
    let _ = shift.act(what);
}

fn wait(shift: &mut Shift, set: [bool; 3]) {
    shift.set(set);
    shift.run(3_000_000);
}

fn supply_check(shift: &mut Shift) {
    for _ in 0..2 {
        let [ln, npe, lpe] = ["230", "0.3", "229.8"].map(|volts| Some(volts.to_string()));
        let _ = shift.ask(Request::Prove { what: "supply".into(), ln, npe, lpe });
        shift.run(1_100_000);
    }
}

fn sign(shift: &mut Shift) -> Outcome {
    let (meaning, tag) = ("performed".into(), Some("attached".into()));
    let signed = shift.ask(Request::Sign { meaning, tag, reason: None, badge: None });
    match signed.expect("the page asked for it").outcome.as_deref() {
        Some("pass") => Outcome::Pass,
        Some("fail") => Outcome::Fail,
        _ => Outcome::Undecided,
    }
}

fn end(shift: &mut Shift, outcome: &str, reason: &str) -> Outcome {
    shift.run(1_100_000);
    let (outcome, reason) = (outcome.into(), reason.into());
    shift.ask(Request::End { outcome, reason }).expect("an open inspection can be ended");
    Outcome::Ended
}

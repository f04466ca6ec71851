//! A line of the contacts with one bit turned over, in every line and every bit of a run: by
//! itself it is another state of the box that nobody can tell from a true one. It makes no false
//! pass, because every line tells all four inputs: what is energised is told by another line than
//! what made it ready, and each puts the other right.

use super::bench::{Bench, Setting};
use crate::fact::Word;
use crate::inspection::Command;
use crate::plan::Direction;

/// What the person does not do, however often it is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Forgets {
    Nothing,
    Polarity,
    Earth,
    Supply,
}

/// An input that is told wrongly.
#[derive(Debug, Clone, Copy)]
struct Flip {
    input: usize,
    /// In this line.
    line: usize,
    /// And in all that follow.
    stuck: bool,
}

/// A box that says its state when it changed, one of its lines with a turned bit.
struct Box {
    flip: Option<Flip>,
    said: Option<[bool; 4]>,
    lines: usize,
}

impl Box {
    fn turn(&mut self, bench: &mut Bench, s5: bool, s7: bool, supply: bool) {
        (bench.world.s5, bench.world.s7, bench.world.supply) = (s5, s7, supply);
        let is = [s5, s7, supply, false];
        if self.said == Some(is) {
            return;
        }
        self.said = Some(is);
        let mut says = is;
        let wrong = |flip: &Flip| flip.line == self.lines || (flip.stuck && flip.line < self.lines);
        if let Some(Flip { input, .. }) = self.flip.filter(wrong) {
            says[input] = !says[input];
        }
        self.lines += 1;
        bench.seen(says);
    }
}

/// The person does what the prompt asks for, but for one thing.
fn step(bench: &mut Bench, contacts: &mut Box, forgets: Forgets) {
    let prompt = bench.inspection.prompt();
    let (s5, s7) = (bench.world.s5, bench.world.s7);
    match prompt.state {
        "look" | "answer" => drop(bench.answer("pass")),
        "arm" | "measure" if prompt.missing.contains(&"lead_not_nulled") => {
            drop(bench.ask(&Command::Null { lead: "L-1".into() }));
        }
        "arm" | "null_apart" => bench.world.ohms = "OL".into(),
        "null" | "measure" => {
            let minus = prompt.direction == Some(Direction::Minus);
            let shows = match (prompt.state, minus) {
                ("null", false) => "0.061 Ohm",
                ("null", true) => "-0.061 Ohm",
                (_, false) => "0.182 Ohm",
                (_, true) => "-0.190 Ohm",
            };
            bench.world.ohms = shows.into();
            bench.run(4);
        }
        "connect" => {
            contacts.turn(bench, false, false, false);
            drop(bench.supply("226", "0.3", "225.8"));
            drop(bench.supply("226", "0.3", "225.8"));
            drop(bench.act("connected"));
        }
        "prove_closed" | "reprove" => contacts.turn(bench, s5, false, false),
        "prove_open" => contacts.turn(bench, s5, forgets != Forgets::Earth, false),
        "clear" => {
            let reversed = prompt.set.values().any(|word| word == "reversed");
            contacts.turn(bench, reversed && forgets != Forgets::Polarity, s7, false);
            drop(bench.act("clear"));
        }
        "live" => contacts.turn(bench, s5, s7, forgets != Forgets::Supply),
        "alive" | "set_state" => drop(bench.prove("alive")),
        "dead" | "may_be_live" => {
            contacts.turn(bench, s5, s7, false);
            drop(bench.act("dead"));
        }
        _ => {}
    }
    bench.run(4);
}

/// The verdict of a run, and how many lines the contacts said.
fn run(leak: [&str; 2], flip: Option<Flip>, forgets: Forgets) -> (Option<Word>, usize) {
    let mut bench = Bench::open(&Setting { witnessed: true, ..Setting::default() });
    bench.world.leak = leak.map(Into::into);
    let mut contacts = Box { flip, said: None, lines: 0 };
    contacts.turn(&mut bench, false, false, false);
    let rounds = if forgets == Forgets::Nothing { 60 } else { 40 };
    for _ in 0..rounds {
        step(&mut bench, &mut contacts, forgets);
    }
    let verdict = bench.inspection.record().verdicts.get("leak");
    (verdict.map(|line| line.fact.judged.verdict), contacts.lines)
}

const GOOD: [&str; 2] = ["451 mV", "462 mV"];
/// Too much, in the second polarity alone.
const BAD: [&str; 2] = ["451 mV", "10953 mV"];

#[test]
fn a_flipped_contact_passes_nothing() {
    let (pass, lines) = run(GOOD, None, Forgets::Nothing);
    assert_eq!(pass, Some(Word::Pass), "a run in which nothing is wrong");
    assert_eq!(run(BAD, None, Forgets::Nothing).0, Some(Word::Fail));
    assert!(lines >= 7, "{lines} lines");
    for forgets in [Forgets::Nothing, Forgets::Polarity, Forgets::Earth, Forgets::Supply] {
        assert_ne!(run(BAD, None, forgets).0, Some(Word::Pass), "{forgets:?}");
        for (line, input) in (0..lines).flat_map(|line| (0..4).map(move |input| (line, input))) {
            let flip = Flip { input, line, stuck: false };
            let got = run(BAD, Some(flip), forgets).0;
            assert_ne!(got, Some(Word::Pass), "{flip:?}, {forgets:?}");
        }
    }
}

/// So that the one above is known to find what it looks for: a contact that is stuck and a person
/// who forgets to turn that switch are two faults, and nothing here can tell.
#[test]
fn a_contact_that_is_stuck_is_believed() {
    let stuck = |line| Some(Flip { input: 0, line, stuck: true });
    let passes = (0..7).any(|line| run(BAD, stuck(line), Forgets::Polarity).0 == Some(Word::Pass));
    assert!(passes, "then a stuck contact is found out, and the page on drivers should say so");
}

//! People: they mostly do what they are shown, and sometimes anything else.

use tapline::station::event::{Expect, Request};
use tapline_drivers::scan::control::code;
use tapline_protocols::plan::{Settings, Switch};

use super::rng::Rng;
use super::world::World;

const ASSETS: [&str; 4] = ["P-0107", "P-0109", "P-0112", "P-0118"];
const OHMS: [&str; 9] =
    ["+0.182", "-0.190", "+0.061", "-0.061", "+0.290", "+0.5", "OL", "-0.243", "+0.180"];

/// How a person works.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Temper {
    /// Of twenty things so many are done as shown.
    as_shown: u64,
    /// What is measured is good, mostly.
    good: bool,
}

impl Temper {
    pub(crate) fn of(rng: &mut Rng) -> Temper {
        *rng.one(&[
            Temper { as_shown: 20, good: true },
            Temper { as_shown: 19, good: true },
            Temper { as_shown: 18, good: true },
            Temper { as_shown: 17, good: false },
            Temper { as_shown: 12, good: true },
            Temper { as_shown: 12, good: false },
        ])
    }
}

/// One thing a person does.
pub(crate) fn step(world: &mut World, temper: Temper) {
    if world.other.is_some() && world.rng.once_in(5) {
        world.walk();
    }
    if world.rng.below(20) < temper.as_shown {
        return as_shown(world, temper);
    }
    match world.rng.below(20) {
        0..12 => as_shown(world, temper),
        12..15 => anything(world),
        15..17 => scan_anything(world),
        17 => {
            world.bench.ohms = (*world.rng.one(&OHMS)).into();
            wait(world, 3_000_000);
        }
        18 => {
            let [s5, s7, supply] = [2, 2, 4].map(|n| world.rng.once_in(n));
            world.set(s5, s7, supply);
        }
        _ => wait(world, 9_000_000),
    }
}

fn wait(world: &mut World, us: u64) {
    let us = world.rng.below(us);
    world.run(us);
}

/// What the page asks for.
fn as_shown(world: &mut World, temper: Temper) {
    let Some(bench) = world.shown() else { return world.run(100_000) };
    match bench.inspection {
        Some(_) => inspecting(world, temper),
        None => beginning(world),
    }
}

fn beginning(world: &mut World) {
    let bench = world.shown().unwrap();
    if bench.operator.is_none() {
        return world.scan("OP-0007");
    }
    let (selected, parked) = (bench.selected.is_some(), bench.parked.first().cloned());
    match parked {
        Some(id) if world.rng.once_in(2) => ask(world, Request::Resume { id }),
        _ if selected => {
            ask(world, Request::begin(None));
        }
        _ => {
            let asset = *world.rng.one(&ASSETS);
            world.scan(asset);
        }
    }
}

fn inspecting(world: &mut World, temper: Temper) {
    world.run(1_050_000);
    if world.shown().is_none_or(|bench| bench.inspection.is_none()) {
        return;
    }
    let prompt = world.prompt();
    let (s5, s7, supply) = (world.bench.s5, world.bench.s7, world.bench.supply);
    match prompt.state {
        "look" | "answer" => {
            let fails = world.rng.once_in(if temper.good { 60 } else { 12 });
            let answer = if fails { "fail" } else { "pass" };
            ask(world, Request::Answer { answer: answer.into(), item: None, reason: None });
        }
        "arm" | "measure" if prompt.missing.contains(&"lead_not_nulled") => {
            ask(world, Request::Null { lead: lead(world) });
        }
        "null" => {
            let minus = prompt.direction == Some(tapline_protocols::plan::Direction::Minus);
            world.touch(if minus { "-0.061" } else { "+0.061" });
        }
        "null_apart" => world.touch("-0.061"),
        "arm" | "measure" => {
            let minus = prompt.direction == Some(tapline_protocols::plan::Direction::Minus);
            let good = if minus { "-0.275" } else { "+0.243" };
            let any = *world.rng.one(&OHMS);
            let ohms = if temper.good && !world.rng.once_in(12) { good } else { any };
            world.touch(ohms);
        }
        "connect" if supply => world.set(s5, s7, false),
        "connect" if prompt.missing.contains(&"supply_not_checked") => check_supply(world),
        "connect" => act(world, "connected"),
        "prove_closed" | "reprove" => set_and_wait(world, (s5, false, false)),
        "prove_open" => set_and_wait(world, (s5, true, false)),
        "clear" => {
            let is = |switch, word| prompt.set.get(&switch).is_some_and(|set| set == word);
            world.set(is(Switch::S5, "reversed"), is(Switch::S7, "open"), false);
            act(world, "clear");
        }
        "live" => {
            world.set(s5, s7, true);
            act(world, "live");
        }
        "alive" | "set_state" => ask(world, Request::prove("alive")),
        "capture" => world.run(3_000_000),
        "dead" | "may_be_live" => {
            world.set(s5, s7, false);
            act(world, "dead");
        }
        "close_scan" => {
            let inspection = world.shown().and_then(|bench| bench.inspection.as_ref());
            let asset = inspection.map(|one| one.asset.clone());
            if let Some(asset) = asset {
                world.scan(&asset);
            }
        }
        // A gate that stayed undecided may be opened by whoever may: once it was tried.
        "sign" if world.rng.once_in(4) => {
            ask(world, Request::Override { step: "leak".into(), reason: "known asset".into() });
        }
        "sign" => {
            let tag = world.rng.once_in(2).then(|| "attached".into());
            ask(
                world,
                Request::Sign { meaning: "performed".into(), tag, reason: None, badge: None },
            );
        }
        _ => world.run(500_000),
    }
}

fn set_and_wait(world: &mut World, (s5, s7, supply): (bool, bool, bool)) {
    world.set(s5, s7, supply);
    world.run(4_000_000);
}

fn check_supply(world: &mut World) {
    for _ in 0..2 {
        let [ln, npe, lpe] = ["226", "0.3", "225.8"].map(|v| Some(v.to_string()));
        ask(world, Request::Prove { what: "supply".into(), ln, npe, lpe });
        world.run(1_100_000);
    }
}

/// Refused or not: a person reads on.
fn ask(world: &mut World, request: Request) {
    let by = *world.rng.one(&[None, None, None, None, Some("op-7"), Some("op-2")]);
    if let Err(problem) = world.ask_as(by, request) {
        assert!(!problem.detail.is_empty() && !problem.next.is_empty(), "{problem:?}");
    }
}

fn act(world: &mut World, what: &str) {
    let prompt = world.prompt();
    let state = Some(prompt.state.to_string());
    let expect = Some(Expect { step: prompt.step, state, seq: prompt.seq });
    ask(world, Request::Act { what: what.into(), expect });
}

/// The lead set of the bench where the person stands.
fn lead(world: &World) -> String {
    if world.seat == 1 { "L-2".into() } else { "L-1".into() }
}

fn scan_anything(world: &mut World) {
    let codes = [
        "OP-0007".to_string(),
        "OP-0002".into(),
        "OP-9999".into(),
        "P-0109".into(),
        "P-0107".into(),
        "LR-01".into(),
        code("CAPTURE"),
        code("PASS"),
        code("DEAD"),
        code("LIVE"),
        code("CLEAR"),
        code("CONNECTED"),
        code("ALIVE"),
        code("REPEAT"),
        code("PARK"),
        code("SIGN"),
        code("SWITCH.S5-REVERSED"),
        code("NULL.L-1"),
        ".TL-SIGN-?".into(),
        "]C18018950110153123456781".into(),
        "x\u{1}y".into(),
    ];
    let code = world.rng.one(&codes).clone();
    world.scan(&code);
}

/// A captured value, or a line that is none.
fn captured(world: &mut World) -> u64 {
    let record = world.active().and_then(|id| world.core.record(&id));
    let values: Vec<u64> =
        record.map_or(vec![], |record| record.values.iter().map(|value| value.line.seq).collect());
    match values.is_empty() || world.rng.once_in(4) {
        true => world.core.last_seq().saturating_sub(world.rng.below(60)),
        false => *world.rng.one(&values),
    }
}

fn anything(world: &mut World) {
    let word = (*world.rng.one(&["connected", "clear", "live", "dead", "arm", "", "x"])).into();
    let step = (*world.rng.one(&["pe", "pe/1", "leak", "leak/2", "look", "try", "none"])).into();
    let seq = captured(world);
    let request = match world.rng.below(17) {
        0 | 1 => Request::Act { what: word, expect: None },
        2 => Request::Capture { expect: None },
        3 => Request::Discard { seq, cause: "lead_slipped".into(), second: None },
        4 => Request::Discard { seq, cause: "wrong_point".into(), second: Some("op-2".into()) },
        5 => Request::Repeat { step },
        6 => Request::Skip { reason: "no time".into() },
        7 => Request::Answer { answer: word, item: Some("fuses".into()), reason: None },
        8 => Request::Null { lead: lead(world) },
        9 => Request::prove("network_resistance"),
        10 => {
            let set = Settings::from([(Switch::S5, "reversed".to_string())]);
            Request::Switch { set }
        }
        11 => Request::Override { step, reason: "known asset".into() },
        12 => Request::Note { text: "a remark".into() },
        13 => Request::Park {},
        14 => Request::Login { badge: None },
        15 => Request::Begin {
            plan: None,
            asset: Some((*world.rng.one(&ASSETS)).into()),
            reason: Some("after_repair".into()),
            order: None,
            with: vec!["insulation".into()],
        },
        _ if world.rng.once_in(6) => {
            Request::End { outcome: "given_up".into(), reason: "called away".into() }
        }
        _ => Request::Sign { meaning: "performed".into(), tag: None, reason: None, badge: None },
    };
    ask(world, request);
}

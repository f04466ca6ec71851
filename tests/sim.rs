//! The station core with real books on a simulated disk, scripted instruments and people, in
//! virtual time: first one inspection by hand, then one story a seed.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "sim/bench.rs"]
mod bench;
#[path = "sim/cases.rs"]
mod cases;
#[path = "sim/check.rs"]
mod check;
#[path = "sim/found.rs"]
mod found;
#[path = "sim/person.rs"]
mod person;
#[path = "sim/rng.rs"]
mod rng;
#[path = "sim/world.rs"]
mod world;

use std::collections::BTreeMap;

use check::Check;
use tapline::books::Crash;
use tapline::station::event::{BookId, Request};
use tapline_protocols::Fact;
use tapline_protocols::fact::Word;
use world::World;

fn supply(world: &mut World) {
    for _ in 0..2 {
        let volts = ["226", "0.3", "225.8"].map(|v| Some(v.to_string()));
        let [ln, npe, lpe] = volts;
        world.ask(Request::Prove { what: "supply".into(), ln, npe, lpe }).unwrap();
        world.run(1_100_000);
    }
}

fn null(world: &mut World) {
    world.run(1_100_000);
    world.ask(Request::Null { lead: "L-1".into() }).unwrap();
    world.bench.ohms = "+0.061".into();
    world.run(5_000_000);
    world.touch("-0.061");
    world.bench.ohms = "OL".into();
    world.run(2_000_000);
}

/// From scan to sign, hands on the probes: a witnessed box, a class I asset.
#[test]
fn an_inspection_runs_from_scan_to_sign() {
    let mut world = World::new(1, true);
    world.scan("OP-0007");
    world.scan("P-0109");
    let begun = world.ask(Request::Begin { plan: None, asset: None, reason: None, with: vec![] });
    let id = begun.unwrap().id.unwrap();
    assert_eq!(id, "K3-20261124-0001");
    supply(&mut world);
    null(&mut world);
    world.run(1_100_000);
    world.ask(Request::Answer { answer: "pass".into(), item: None, reason: None }).unwrap();
    world.touch("+0.243");
    world.touch("-0.275");
    world.until("connect");
    world.act("connected").unwrap();
    world.until("prove_open");
    world.set(false, true, false);
    for reversed in [false, true] {
        world.until("clear");
        world.set(reversed, true, false);
        world.act("clear").unwrap();
        world.set(reversed, true, true);
        world.run(1_100_000);
        world.ask(Request::prove("alive")).unwrap();
        world.until("dead");
        world.set(reversed, true, false);
    }
    world.until("reprove");
    world.set(true, false, false);
    world.run(12_000_000);
    world.ask(Request::Answer { answer: "pass".into(), item: None, reason: None }).unwrap();
    world.until("close_scan");
    world.scan("P-0109");
    let signed =
        world.ask(Request::Sign { meaning: "performed".into(), tag: None, reason: None }).unwrap();
    assert_eq!(signed.outcome.as_deref(), Some("pass"));
    let lines = world.lines(&BookId::Inspection(id));
    let verdicts: Vec<_> = lines
        .iter()
        .filter_map(|line| match &line.fact {
            Fact::Verdict(verdict) => Some((verdict.step.as_str(), verdict.judged.verdict)),
            _ => None,
        })
        .collect();
    assert!(verdicts.iter().all(|(_, word)| *word == Word::Pass), "{verdicts:?}");
    let report = tapline::replay::replay(&lines, &world::context(1));
    assert_eq!(report.differences, []);
    assert!(report.readings > 50, "{}", report.readings);
}

/// One seed, one story: people, instruments and faults.
fn story(seed: u64) -> Check {
    let mut world = World::new(seed, !seed.is_multiple_of(3));
    world.bench.cuts = seed.is_multiple_of(2);
    let mut check = Check::default();
    for n in 0..STEPS {
        person::step(&mut world);
        faults(&mut world, &mut check);
        world.run(50_000);
        if world.halted {
            check.step(&mut world);
            crash(&mut world, &mut check);
        }
        check.step(&mut world);
        if n % 25 == 0 {
            check.durable(&world);
        }
    }
    check.durable(&world);
    check.end(&world);
    check
}

fn faults(world: &mut World, check: &mut Check) {
    match world.rng.below(60) {
        0 => {
            let link = *world.rng.one(&["ohm", "dmm", "box", "scan"]);
            world.link_down(link);
        }
        1 => {
            world.run(40_000);
            check.step(world);
            crash(world, check);
        }
        2 => world.disk.die_at(1 + world.rng.below(12)),
        3 => world.bench.mute = !world.bench.mute,
        4 => {
            world.bench.identity = "GENERIC,BENCH-DMM,0099,1.0";
            world.link_down("dmm");
        }
        5 => world.link_down("dmm"),
        _ => {}
    }
    if world.rng.once_in(4) {
        world.bench.mute = false;
        if world.up.len() < 4 {
            world.plug();
            world.bench.identity = "GENERIC,BENCH-DMM,0003,1.0";
        }
    }
}

fn crash(world: &mut World, check: &mut Check) {
    let how = match world.rng.below(4) {
        0 => Crash::LoseAll,
        1 => Crash::KeepAll,
        2 => Crash::Tear(usize::try_from(world.rng.below(400)).unwrap()),
        _ => Crash::Holes(usize::try_from(world.rng.below(400)).unwrap()),
    };
    let dt = world.rng.below(20_000_000);
    world.crash(how, dt);
    check.after_crash(world);
    world.plug();
}

/// Steps of a story.
const STEPS: u32 = 120;
/// Stories that are always told.
const SEEDS: u64 = 50;

/// What the stories must come to, all together: else they prove less than they seem to.
const TOLD: [&str; 21] = [
    "replayed",
    "in",
    "out",
    "tick",
    "tap",
    "link",
    "scan",
    "step",
    "switch",
    "act",
    "answer",
    "null",
    "prove",
    "value",
    "drop",
    "verdict",
    "park",
    "resume",
    "end",
    "sign undecided",
    "sign fail",
];

/// `SEED=17 cargo test --test sim` tells one story, `SEEDS=1000` that many.
#[test]
fn every_seed_tells_a_story_that_holds() {
    let number = |name: &str| std::env::var(name).ok().and_then(|text| text.parse::<u64>().ok());
    let seeds = match (number("SEED"), number("SEEDS")) {
        (Some(seed), _) => seed..seed + 1,
        (None, more) => 1..more.unwrap_or(SEEDS) + 1,
    };
    let all = seeds.clone().count();
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    for seed in seeds {
        let told = std::panic::catch_unwind(|| story(seed));
        match told {
            Ok(check) => {
                *kinds.entry("replayed".into()).or_default() += check.replayed.len();
                for (kind, n) in check.kinds {
                    *kinds.entry(kind).or_default() += n;
                }
            }
            Err(_) => panic!("told again by: SEED={seed} cargo test --test sim"),
        }
    }
    let seen = |kind: &&str| kinds.contains_key(*kind);
    let never: Vec<&&str> = TOLD.iter().filter(|kind| !seen(kind)).collect();
    assert!(all < 40 || never.is_empty(), "no story tells of {never:?}: {kinds:?}");
}

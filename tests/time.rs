//! Clocks that are set, machines that sleep, days that end: the station in virtual time, and the
//! real program under `libfaketime` (`contrib/packages.txt`: faketime).
//!
//! What is held against it: RFC 3339 for stamps (read by Python's `datetime`, which shares no code
//! with the program), clock_gettime(2), adjtimex(2) and timerfd_create(2) for the clocks.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "sim/bench.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod bench;
#[path = "sim/check.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod check;
#[path = "sim/hands.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod hands;
#[path = "sim/ledger.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod ledger;
#[path = "sim/lines.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod lines;
#[path = "sim/log.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod log;
#[path = "sim/person.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod person;
#[path = "sim/rng.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod rng;
#[path = "sim/state.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod state;
#[path = "sim/wire.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod wire;
#[path = "sim/wiring.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod wiring;
#[path = "sim/world.rs"]
#[allow(dead_code, reason = "the simulation uses the rest")]
mod world;

mod support;

#[path = "time/days.rs"]
mod days;
#[path = "time/faked.rs"]
mod faked;
#[path = "time/restart.rs"]
mod restart;
#[path = "time/set.rs"]
mod set;
#[path = "time/sleep.rs"]
mod sleep;
#[path = "time/stamps.rs"]
mod stamps;

use check::{Check, replays};
use tapline::station::event::{Answer, BookId, Problem, Request};
use tapline_protocols::Fact;
use world::World;

const SECOND: u64 = 1_000_000;
const HOUR: u64 = 3_600 * SECOND;
const HOUR_US: i64 = 3_600_000_000;
const DAY_US: i64 = 24 * HOUR_US;

/// A station with somebody logged in, so long after eight in the morning.
fn ready_at(us: u64) -> World {
    let mut world = World::from(1, true, us);
    world.scan("OP-0007");
    world
}

fn ready() -> World {
    ready_at(SECOND)
}

fn begin(world: &mut World, asset: &str) -> Result<Answer, Problem> {
    let asset = Some(asset.to_string());
    world.ask(Request::begin(asset))
}

/// Opens an inspection of a lamp of class I; its book.
fn opened(world: &mut World) -> BookId {
    BookId::Inspection(begin(world, "P-0109").unwrap().id.unwrap())
}

fn end(world: &mut World) {
    let (outcome, reason) = ("given_up".into(), "called away".into());
    world.run(1_100_000);
    world.ask(Request::End { outcome, reason }).unwrap();
}

fn pass(world: &mut World) {
    world.ask(Request::Answer { answer: "pass".into(), item: None, reason: None }).unwrap();
}

/// Joins the clips of the lead set, in both directions.
fn null(world: &mut World) {
    world.run(1_100_000);
    world.ask(Request::Null { lead: "L-1".into() }).unwrap();
    world.bench.ohms = "+0.061".into();
    world.run(5 * SECOND);
    world.touch("-0.061");
    world.bench.ohms = "OL".into();
    world.run(2 * SECOND);
}

fn supply(world: &mut World) {
    for _ in 0..2 {
        let [ln, npe, lpe] = ["226", "0.3", "225.8"].map(|v| Some(v.to_string()));
        world.ask(Request::Prove { what: "supply".into(), ln, npe, lpe }).unwrap();
        world.run(1_100_000);
    }
}

/// An inspection whose protective earth is proved.
fn earthed(world: &mut World) -> BookId {
    let book = opened(world);
    null(world);
    pass(world);
    world.touch("+0.243");
    world.touch("-0.275");
    world.until("connect");
    book
}

/// The same, live for its first leakage.
fn live(world: &mut World) -> BookId {
    let book = opened(world);
    supply(world);
    null(world);
    pass(world);
    world.touch("+0.243");
    world.touch("-0.275");
    world.until("connect");
    world.act("connected").unwrap();
    world.until("prove_open");
    world.set(false, true, false);
    world.until("clear");
    world.act("clear").unwrap();
    world.set(false, true, true);
    world.run(1_100_000);
    book
}

fn facts(world: &World, book: &BookId) -> Vec<Fact> {
    world.lines(book).into_iter().map(|line| line.fact).collect()
}

/// The clock facts of a book: by how much, from when, slept for.
fn clocks(world: &World, book: &BookId) -> Vec<(i64, Option<String>, Option<u64>)> {
    let told = |fact| match fact {
        Fact::Clock(clock) => Some((clock.step_us, clock.was, clock.slept_us)),
        _ => None,
    };
    facts(world, book).into_iter().filter_map(told).collect()
}

/// How often it was taken up again after such an event.
fn resumed(world: &World, book: &BookId, after: &str) -> usize {
    let one = |fact: &&Fact| matches!(fact, Fact::Resume(resume) if resume.after == after);
    facts(world, book).iter().filter(one).count()
}

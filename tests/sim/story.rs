//! One seed, one story: people, instruments, clocks, disk and power.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

use tapline::station::event::BookId;

use super::check::Check;
use super::fate::{self, Fate};
use super::log::Log;
use super::person::{self, Temper};
use super::rng::Rng;
use super::wiring::Station;
use super::world::World;

/// Steps of a story.
const STEPS: u32 = 120;
/// Threads that tell stories.
const THREADS: usize = 2;

/// How often what was met, over all stories.
pub(crate) type Counts = BTreeMap<String, usize>;

/// Tells the story of a seed to its end.
pub(crate) fn story(seed: u64, log: Log) -> (World, Check) {
    let mut rng = Rng::new(seed);
    let station = Station { witnessed: !rng.once_in(3), two: rng.once_in(5), ..Station::default() };
    let (fate, temper) = (Fate::of(&mut rng), Temper::of(&mut rng));
    let mut world = World::of(rng.next(), station, 1_000_000, log);
    fate.wire(&mut world);
    let mut check = Check::default();
    for n in 0..STEPS {
        person::step(&mut world, temper);
        fate.strike(&mut world, &mut check);
        world.run(50_000);
        world.settle();
        check.step(&mut world);
        if world.halted {
            fate::start_over(&mut world, &mut check);
        }
        if n % 40 == 0 && !world.halted {
            check.durable(&world);
        }
    }
    if world.halted {
        fate::start_over(&mut world, &mut check);
    }
    check.durable(&world);
    check.end(&world);
    (world, check)
}

/// Lines of a morning of a careful person, without their wall clock and what follows from it; with
/// `jumps` that clock jumps by up to an hour and nobody notices.
pub(crate) fn morning(seed: u64, jumps: bool) -> Vec<String> {
    let mut world = World::of(seed, Station::default(), 1_000_000, Log::default());
    let (temper, mut rng) = (Temper::of(&mut Rng::new(seed)), Rng::new(seed));
    world.watch = None;
    for _ in 0..60 {
        if jumps {
            world.station.set_us = rng.below(7_200_000_000).cast_signed() - 3_600_000_000;
        }
        person::step(&mut world, temper);
        world.run(50_000);
    }
    let told = |(book, text): &(BookId, String)| {
        let mut line: serde_json::Value = serde_json::from_str(text).unwrap();
        let fields = line.as_object_mut().unwrap();
        fields.remove("t");
        // The SHA-256 of a book is that of its stamps, too, and a signature is made over both.
        fields.remove("head");
        fields.remove("sig");
        format!("{book:?} {line}")
    };
    world.fresh.iter().map(told).collect()
}

/// What a story came to.
fn told(world: &World, check: &Check) -> Counts {
    let mut counts: Counts = check.kinds.clone();
    let met = world.met.iter().map(|(what, n)| (*what, *n));
    let wires = [Some(&world.bench), world.other.as_ref()];
    let spoilt = wires.into_iter().flatten().flat_map(|bench| bench.wire.met.clone());
    for (what, n) in met.chain(spoilt) {
        *counts.entry(format!("met {what}")).or_default() += n;
    }
    let two = usize::from(world.other.is_some());
    *counts.entry("two benches".into()).or_default() += two;
    counts
}

/// Tells all stories on two threads; the first that does not hold is told how to tell it again.
pub(crate) fn tell(seeds: std::ops::Range<u64>) -> Counts {
    let next = AtomicU64::new(seeds.start);
    let counts = Mutex::new(Counts::new());
    let failed = Mutex::new(Vec::new());
    let work = || {
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            let stop = !failed.lock().unwrap_or_else(PoisonError::into_inner).is_empty();
            if seed >= seeds.end || stop {
                return;
            }
            let log = Log::default();
            let kept = log.clone();
            match std::panic::catch_unwind(move || {
                let (world, check) = story(seed, kept);
                told(&world, &check)
            }) {
                Ok(more) => {
                    let mut counts = counts.lock().unwrap_or_else(PoisonError::into_inner);
                    more.into_iter().for_each(|(what, n)| *counts.entry(what).or_default() += n);
                }
                Err(panic) => {
                    let text = (seed, said(panic.as_ref()), log.text());
                    failed.lock().unwrap_or_else(PoisonError::into_inner).push(text);
                }
            }
        }
    };
    std::thread::scope(|scope| {
        (0..THREADS).for_each(|_| drop(scope.spawn(work)));
    });
    let failed = failed.into_inner().unwrap_or_else(PoisonError::into_inner);
    if let Some((seed, why, log)) = failed.into_iter().min() {
        panic!("{log}{why}\ntold again by: SEED={seed} cargo test --release --test sim every_seed");
    }
    counts.into_inner().unwrap_or_else(PoisonError::into_inner)
}

fn said(panic: &(dyn std::any::Any + Send)) -> String {
    let text = panic.downcast_ref::<String>().cloned();
    text.or_else(|| panic.downcast_ref::<&str>().map(ToString::to_string)).unwrap_or_default()
}

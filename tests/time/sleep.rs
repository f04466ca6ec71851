//! A machine that slept: nobody watched meanwhile.

use tapline_protocols::inspection::Phase;

use super::person::Temper;
use super::*;

fn idle() -> BookId {
    BookId::Idle("2026-11-24".into())
}

#[test]
fn what_was_live_may_still_be_after_a_sleep() {
    let mut world = ready();
    let book = live(&mut world);
    assert_eq!(world.state(), "alive");
    world.sleep(600 * SECOND);
    world.run(SECOND);
    assert_eq!(world.state(), "may_be_live");
    let BookId::Inspection(id) = &book else { panic!("an inspection") };
    let record = world.core.record(id).unwrap();
    assert!(record.run.phase == Phase::Live && !record.run.live_and_watched());
    assert_eq!(clocks(&world, &book), [(0, None, Some(600 * SECOND))]);
    assert_eq!(clocks(&world, &BookId::Station), clocks(&world, &book));
    assert_eq!(resumed(&world, &book, "suspend"), 1);
    // Nothing is captured until somebody says dead and goes through the acts again.
    world.bench.tell(world.now, &mut world.rng);
    world.run(20 * SECOND);
    let after = world.lines(&book).into_iter().skip_while(|l| !matches!(l.fact, Fact::Clock(_)));
    assert_eq!(after.filter(|line| matches!(line.fact, Fact::Value(_))).count(), 0);
    replays(&world.lines(&book), &book);
}

/// A window that was under way is void and its instrument spent: the probe must be lifted anew.
#[test]
fn a_window_does_not_outlast_a_sleep() {
    let mut world = ready();
    let book = opened(&mut world);
    null(&mut world);
    pass(&mut world);
    world.bench.ohms = "OL".into();
    world.run(2 * SECOND);
    world.bench.ohms = "+0.243".into();
    world.run(3 * SECOND);
    world.sleep(SECOND);
    world.run(20 * SECOND);
    let values = |world: &World| {
        facts(world, &book).iter().filter(|fact| matches!(fact, Fact::Value(_))).count()
    };
    assert_eq!(values(&world), 0, "the contact of before gives nothing");
    world.touch("+0.243");
    assert_eq!(values(&world), 1);
    replays(&world.lines(&book), &book);
}

#[test]
fn instruments_say_anew_who_they_are() {
    for in_work in [true, false] {
        let mut world = ready();
        let book = if in_work { opened(&mut world) } else { idle() };
        world.run(SECOND);
        world.sent.clear();
        world.sleep(60 * SECOND);
        world.run(SECOND);
        let asked = world.sent.iter().filter(|sent| sent.starts_with(b"*IDN?")).count();
        assert_eq!(asked, 1, "in work: {in_work}");
        assert!(world.up.contains("dmm"), "its port was never closed");
        world.bench.identity = "GENERIC,BENCH-DMM,0099,1.0";
        world.sleep(60 * SECOND);
        world.run(SECOND);
        let links = &world.status.as_ref().unwrap().benches[0].links;
        assert_eq!(links.iter().find(|link| link.id == "dmm").unwrap().state, "changed");
        replays(&world.lines(&book), &book);
    }
}

/// A null and a supply check of before are not carried over, and a code no longer waits.
#[test]
fn what_a_bench_remembered_is_gone() {
    let mut world = ready();
    opened(&mut world);
    supply(&mut world);
    null(&mut world);
    end(&mut world);
    world.scan("P-0109");
    world.sleep(SECOND);
    world.run(SECOND);
    assert_eq!(world.status.as_ref().unwrap().benches[0].selected, None);
    let book = opened(&mut world);
    let again = |fact: &Fact| matches!(fact, Fact::Null(_) | Fact::Prove(_));
    assert!(!facts(&world, &book).iter().any(again));
}

/// Stories of people who make mistakes, on a machine whose clocks do what they like: everything
/// that the simulation checks must hold, and every book replays.
#[test]
fn stories_hold_whatever_the_clocks_do() {
    let number = |name: &str| std::env::var(name).ok().and_then(|text| text.parse::<u64>().ok());
    let seeds = match (number("SEED"), number("SEEDS")) {
        (Some(seed), _) => seed..seed + 1,
        (None, more) => 1..more.unwrap_or(12) + 1,
    };
    let (mut told, mut slept, mut days) = (0, 0, 0);
    for seed in seeds.clone() {
        let story = std::panic::catch_unwind(|| story(seed));
        let (a, b, c) = story.unwrap_or_else(|_| panic!("SEED={seed} cargo test --test time"));
        (told, slept, days) = (told + a, slept + b, days + c);
    }
    let enough = told > 10 && slept > 10 && days > 0;
    assert!(seeds.count() < 12 || enough, "{told} {slept} {days}");
}

/// Clock facts in inspections, resumptions after a sleep, and after a day that ended.
fn story(seed: u64) -> (usize, usize, usize) {
    let mut world = World::from(seed, !seed.is_multiple_of(3), 15 * HOUR);
    let (mut check, temper) = (Check::default(), Temper::of(&mut world.rng));
    let (mut set, mut slept) = (0, 0);
    for _ in 0..100 {
        person::step(&mut world, temper);
        world.run(50_000);
        match world.rng.below(30) {
            0 => {
                let hours = i64::try_from(world.rng.below(60)).unwrap() - 30;
                if hours != 0 {
                    set += 1;
                    world.set_clock(hours * HOUR_US);
                }
            }
            1 => {
                slept += 1;
                let us = SECOND + world.rng.below(HOUR);
                world.sleep(us);
            }
            _ => {}
        }
        world.run(50_000);
        check.step(&mut world);
    }
    check.durable(&world);
    check.end(&world);
    let station = clocks(&world, &BookId::Station);
    assert_eq!(station.len(), set + slept, "one fact each, seed {seed}");
    let books: Vec<BookId> = check.replayed.into_iter().collect();
    let all: Vec<Fact> = books.iter().flat_map(|book| facts(&world, book)).collect();
    let after = |words: [&str; 2]| {
        let one =
            |fact: &&Fact| matches!(fact, Fact::Resume(r) if words.contains(&r.after.as_str()));
        all.iter().filter(one).count()
    };
    let told = all.iter().filter(|fact| matches!(fact, Fact::Clock(_))).count();
    (told, after(["suspend", ""]), after(["midnight", "clock"]))
}

//! Days: what is proved for a day holds no longer than one, whatever the wall clock says.

use super::*;

/// Whether an earth that was proved opens the steps that need it.
fn opens(world: &World) -> bool {
    world.prompt().step.is_some_and(|step| step.starts_with("leak"))
}

/// Time passes, and no instrument says anything.
pub(super) fn nothing_for(world: &mut World, us: u64) {
    world.now += us;
    world.bench.slept(world.now);
}

#[test]
fn a_clock_set_into_another_day_ends_what_was_proved_for_the_day() {
    for (step_us, after) in [(DAY_US, "midnight"), (-DAY_US, "clock"), (-10 * HOUR_US, "clock")] {
        let mut world = ready();
        let book = earthed(&mut world);
        assert!(opens(&world));
        world.set_clock(step_us);
        world.run(2 * SECOND);
        assert_eq!(resumed(&world, &book, after), 1, "{step_us}");
        assert!(!opens(&world), "{step_us}: {:?}", world.prompt());
        replays(&world.lines(&book), &book);
    }
}

#[test]
fn a_clock_set_within_the_day_ends_nothing() {
    for step_us in [-7 * HOUR_US, 15 * HOUR_US] {
        let mut world = ready();
        let book = earthed(&mut world);
        world.set_clock(step_us);
        world.run(2 * SECOND);
        assert!(opens(&world), "{step_us}: {:?}", world.prompt());
        assert_eq!(resumed(&world, &book, "midnight") + resumed(&world, &book, "clock"), 0);
    }
}

/// Set back again and again, so that its day never ends: after 24 h by the boot-time clock it has.
#[test]
fn a_day_lasts_no_longer_than_a_day() {
    let mut world = ready();
    let book = earthed(&mut world);
    for _ in 0..3 {
        nothing_for(&mut world, 7 * HOUR);
        world.set_clock(-7 * HOUR_US);
        world.run(SECOND);
        assert!(opens(&world), "{:?}", world.prompt());
    }
    nothing_for(&mut world, 3 * HOUR);
    world.scan("P-0109");
    world.run(SECOND);
    assert_eq!(resumed(&world, &book, "midnight"), 1);
    assert!(!opens(&world), "{:?}", world.prompt());
    replays(&world.lines(&book), &book);
}

/// A check of the supply serves the same day: yesterday's does not become today's.
#[test]
fn no_clock_makes_a_supply_check_of_yesterday_one_of_today() {
    for (waits, step_us, carried) in
        [(HOUR, 0, true), (HOUR, -2 * HOUR_US, true), (30 * HOUR, -30 * HOUR_US, false)]
    {
        let mut world = ready();
        opened(&mut world);
        supply(&mut world);
        end(&mut world);
        nothing_for(&mut world, waits);
        world.set_clock(step_us);
        world.core.synchronised(true);
        // Who was away for longer than an hour shows the badge again.
        world.scan("OP-0007");
        let book = opened(&mut world);
        let proves = facts(&world, &book).iter().any(|fact| matches!(fact, Fact::Prove(_)));
        assert_eq!(proves, carried, "{waits} {step_us}");
    }
}

/// Books of days: a clock that goes back stays in the later book, and numbers rise throughout.
#[test]
fn idle_books_follow_the_clock_forward_and_never_back() {
    let mut world = ready_at(15 * HOUR + 3_500 * SECOND);
    world.set_clock(DAY_US);
    world.run(5 * SECOND);
    world.set_clock(-2 * DAY_US);
    world.run(5 * SECOND);
    let day = |day: &str| world.lines(&BookId::Idle(day.into()));
    assert!(!day("2026-11-24").is_empty());
    let last = day("2026-11-25");
    let numbers: Vec<u64> = last.iter().map(|line| line.seq).collect();
    assert!(numbers.is_sorted_by(|a, b| a < b) && numbers.len() > 10);
    let back = last.iter().any(|line| tapline::clock::utc_day(line.at.wall_us) == "2026-11-23");
    assert!(back, "stamps of a day before, behind those of a day after");
    replays(&last, &BookId::Idle("2026-11-25".into()));
}

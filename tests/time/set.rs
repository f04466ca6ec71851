//! A wall clock that is set changes no outcome, makes nothing fresh and is told once.

use tapline::books::Crash;
use tapline::station::event::{BookId, Request};
use tapline_protocols::Fact;
use tapline_protocols::fact::Word;

use super::*;

/// What was measured and judged, without the numbers of lines.
fn outcome(world: &World, book: &BookId) -> Vec<String> {
    let told = |fact| match fact {
        Fact::Value(value) => {
            let readings = value.from.len();
            Some(format!("{} {} {} of {readings}", value.step, value.value, value.rule))
        }
        Fact::Verdict(verdict) => {
            let judged = verdict.judged;
            Some(format!(
                "{} {:?} {:?} {:?}",
                verdict.step, judged.verdict, judged.shown, judged.reasons
            ))
        }
        _ => None,
    };
    facts(world, book).into_iter().filter_map(told).collect()
}

/// The window of protective earth lasts 5 s and the clock is set in the middle of it.
fn earth_with(step_us: i64) -> (Vec<String>, usize) {
    let mut world = ready();
    let book = opened(&mut world);
    null(&mut world);
    pass(&mut world);
    for shows in ["+0.243", "-0.275"] {
        world.bench.ohms = "OL".into();
        world.run(2 * SECOND);
        world.bench.ohms = shows.into();
        world.run(3 * SECOND);
        world.set_clock(step_us);
        world.run(5 * SECOND);
    }
    world.until("connect");
    replays(&world.lines(&book), &book);
    let told = clocks(&world, &book).len();
    assert_eq!(clocks(&world, &BookId::Station).len(), told);
    (outcome(&world, &book), told)
}

#[test]
fn a_set_clock_in_the_middle_of_a_window_changes_nothing() {
    let mut world = ready();
    let book = earthed(&mut world);
    let undisturbed = outcome(&world, &book);
    assert!(undisturbed.iter().any(|told| told.starts_with("pe Pass")), "{undisturbed:?}");
    for step_us in [-HOUR_US, HOUR_US, -1_000_000, 6_000_000] {
        assert_eq!(earth_with(step_us), (undisturbed.clone(), 2), "{step_us}");
    }
}

/// Both times stand in the fact, in every book that is open under this boot.
#[test]
fn a_set_clock_is_told_once_in_every_open_book() {
    let mut world = ready();
    let rests = opened(&mut world);
    world.run(1_100_000);
    world.ask(Request::Park {}).unwrap();
    let active = BookId::Inspection(begin(&mut world, "P-0107").unwrap().id.unwrap());
    let sealed = {
        end(&mut world);
        active
    };
    let active = BookId::Inspection(begin(&mut world, "P-0107").unwrap().id.unwrap());
    world.set_clock(-HOUR_US);
    world.run(60 * SECOND);
    for book in [&BookId::Station, &rests, &active] {
        let told = clocks(&world, book);
        assert_eq!(told.len(), 1, "{book:?}");
        assert_eq!((told[0].0, told[0].2), (-HOUR_US, None));
        let was = told[0].1.as_deref().and_then(tapline::clock::wall_of).unwrap();
        let lines = world.lines(book);
        let line = lines.iter().find(|line| matches!(line.fact, Fact::Clock(_))).unwrap();
        assert_eq!(was, line.at.wall_us + HOUR_US);
    }
    assert_eq!(clocks(&world, &sealed), [], "a sealed book never changes");
    replays(&world.lines(&active), &active);
}

/// A null serves an hour by the boot-time clock, whatever the wall clock shows.
#[test]
fn no_clock_makes_an_old_null_fresh_or_a_fresh_one_old() {
    for (waits, step_us, word) in [
        (61 * 60 * SECOND, -2 * HOUR_US, Word::Undecided),
        (SECOND, 3 * HOUR_US, Word::Pass),
        (SECOND, -3 * HOUR_US, Word::Pass),
    ] {
        let mut world = ready();
        let book = opened(&mut world);
        null(&mut world);
        world.run(waits);
        world.set_clock(step_us);
        pass(&mut world);
        world.touch("+0.243");
        world.touch("-0.275");
        world.run(SECOND);
        let judged = facts(&world, &book).into_iter().find_map(|fact| match fact {
            Fact::Verdict(verdict) if verdict.step == "pe" => Some(verdict.judged),
            _ => None,
        });
        let judged = judged.unwrap();
        assert_eq!(judged.verdict, word, "{step_us}: {:?}", judged.reasons);
        let old = judged.reasons.iter().any(|reason| reason == "null_too_old");
        assert_eq!(old, word == Word::Undecided);
    }
}

/// A badge must follow its code within 30 s, and a set clock does not stretch them.
#[test]
fn no_clock_stretches_the_time_for_a_badge() {
    let mut world = ready();
    opened(&mut world);
    world.run(1_100_000);
    world.scan(&tapline_drivers::scan::control::code("SIGN"));
    world.run(31 * SECOND);
    world.set_clock(-60_000_000);
    world.scan("OP-0007");
    world.run(SECOND);
    assert!(world.active().is_some(), "the code was too old");
}

#[test]
fn a_clock_set_while_the_station_did_not_run_is_told_at_its_start() {
    let mut world = ready();
    let book = opened(&mut world);
    world.set_clock(2 * HOUR_US);
    world.run(SECOND);
    // The same boot goes on, and its wall clock is where it was before.
    world.station.set_us = 0;
    world.start_again(10 * SECOND);
    let back: Vec<i64> = clocks(&world, &BookId::Station).iter().map(|told| told.0).collect();
    assert_eq!(back, [2 * HOUR_US, -2 * HOUR_US]);
    let back: Vec<i64> = clocks(&world, &book).iter().map(|told| told.0).collect();
    assert_eq!(back, [2 * HOUR_US, -2 * HOUR_US]);
    // Under another boot nothing can be said.
    world.set_clock(HOUR_US);
    world.run(SECOND);
    world.crash(Crash::KeepAll, 10 * SECOND);
    assert_eq!(clocks(&world, &BookId::Station).len(), 3);
    replays(&world.lines(&book), &book);
}

#[test]
fn no_inspection_opens_under_a_clock_that_is_known_to_be_wrong() {
    let mut world = ready();
    let open = opened(&mut world);
    let refused = |world: &mut World, asset: &str, date: &str| {
        let problem = begin(world, asset).unwrap_err();
        assert_eq!(problem.code, "conflict");
        assert!(problem.detail.contains("wall clock shows") && problem.detail.contains(date));
        assert!(problem.next.starts_with("Set the clock of this machine"), "{problem:?}");
    };
    world.set_clock(-DAY_US - HOUR_US);
    // What is open goes on: earth is measured under the wrong clock.
    null(&mut world);
    pass(&mut world);
    world.touch("+0.243");
    world.touch("-0.275");
    world.until("connect");
    end(&mut world);
    refused(&mut world, "P-0107", "2026-11-23");
    world.set_clock(2 * HOUR_US);
    world.run(SECOND);
    let book = BookId::Inspection(begin(&mut world, "P-0107").unwrap().id.unwrap());
    assert!(facts(&world, &book).len() > 5, "less than a day before: it opens");
    end(&mut world);
    // Before this program was made; also where somebody says that it is synchronised.
    world.set_clock(-24 * DAY_US);
    world.core.synchronised(true);
    refused(&mut world, "P-0107", "2026-10-30");
    assert!(facts(&world, &open).iter().any(|fact| matches!(fact, Fact::End(_))));
}

/// A wall clock that once stood years ahead must not shut the bench for years: one that a time
/// service keeps right is believed.
#[test]
fn a_synchronised_clock_is_believed_over_an_old_stamp() {
    let mut world = ready();
    world.set_clock(20 * 365 * DAY_US);
    world.scan("OP-0007");
    world.set_clock(-20 * 365 * DAY_US);
    assert!(begin(&mut world, "P-0107").is_err());
    world.core.synchronised(true);
    let book = BookId::Inspection(begin(&mut world, "P-0107").unwrap().id.unwrap());
    let Fact::Open(open) = facts(&world, &book).remove(0) else { panic!("a book opens") };
    assert!(open.synced && open.id.starts_with("K3-20261124-"), "{}", open.id);
}

//! Codes of the printed sheet that carry a word: what is set aside waits for a badge.

use tapline::station::event::{BookId, Request};
use tapline_drivers::scan::control::code;
use tapline_protocols::Fact;

use super::world::World;

/// An inspection of P-0109 with nulled leads, and one value captured.
fn measured() -> World {
    let mut world = World::new(1, true);
    world.scan("OP-0007");
    let asset = Some("P-0109".to_string());
    world.ask(Request::begin(asset)).unwrap();
    scan(&mut world, "NULL.L-1");
    world.bench.ohms = "+0.061".into();
    world.run(5_000_000);
    world.touch("-0.061");
    scan(&mut world, "PASS");
    world.touch("+0.243");
    world
}

fn scan(world: &mut World, word: &str) {
    world.run(1_100_000);
    let word = if word.starts_with("OP-") { word.to_string() } else { code(word) };
    world.scan(&word);
}

fn facts(world: &World) -> Vec<Fact> {
    let book = BookId::Inspection("K3-20261124-0001".into());
    world.lines(&book).into_iter().map(|line| line.fact).collect()
}

fn values(world: &World) -> Vec<u64> {
    let book = BookId::Inspection("K3-20261124-0001".into());
    let values = world.lines(&book).into_iter();
    values.filter(|line| matches!(line.fact, Fact::Value(_))).map(|line| line.seq).collect()
}

fn drops(world: &World) -> Vec<(u64, String)> {
    let drop = |fact| match fact {
        Fact::Drop(drop) => Some((drop.value, drop.cause)),
        _ => None,
    };
    facts(world).into_iter().filter_map(drop).collect()
}

#[test]
fn a_code_sets_aside_what_it_was_scanned_for_and_only_with_a_badge() {
    let mut world = measured();
    let seen = *values(&world).last().unwrap();
    scan(&mut world, "DISCARD.LEAD-SLIPPED");
    assert_eq!(drops(&world), [], "a code alone sets nothing aside");
    scan(&mut world, "NOTE.CLEANED");
    scan(&mut world, "OP-0007");
    assert_eq!(drops(&world), [], "another code came between");
    scan(&mut world, "DISCARD.LEAD-SLIPPED");
    world.touch("-0.275");
    assert!(*values(&world).last().unwrap() > seen, "another value came before the badge");
    scan(&mut world, "OP-0007");
    assert_eq!(drops(&world), [(seen, "lead_slipped".to_string())]);
}

#[test]
fn a_badge_that_comes_late_or_of_another_sets_nothing_aside() {
    let mut world = measured();
    scan(&mut world, "DISCARD.LEAD-SLIPPED");
    world.run(31_000_000);
    scan(&mut world, "OP-0007");
    scan(&mut world, "DISCARD.LEAD-SLIPPED");
    scan(&mut world, "OP-0002");
    assert_eq!(drops(&world), []);
}

#[test]
fn the_words_of_the_sheet_stand_in_the_record() {
    let mut world = measured();
    for word in ["NOTE.CORD-RENEWED", "SKIP.NO-ACCESS", "SKIP.TIRED", "NOTE.X", "DISCARD", "NA"] {
        scan(&mut world, word);
    }
    let facts = facts(&world);
    let skipped = facts.iter().filter_map(|fact| match fact {
        Fact::Step(step) if step.state == "skipped" => step.reason.clone(),
        _ => None,
    });
    assert_eq!(skipped.collect::<Vec<_>>(), ["no_access"]);
    let notes = facts.iter().filter_map(|fact| match fact {
        Fact::Note(note) => Some(note.text.clone()),
        _ => None,
    });
    assert_eq!(notes.collect::<Vec<_>>(), ["cord_renewed"]);
}

#[test]
fn a_code_fails_one_item_with_its_reason() {
    let mut world = World::new(1, true);
    world.scan("OP-0007");
    let asset = Some("P-0109".to_string());
    world.ask(Request::begin(asset)).unwrap();
    for word in ["NA.FUSES", "FAIL.HOUSING", "PASS", "FAIL.WHEELS"] {
        scan(&mut world, word);
    }
    let answers = facts(&world).into_iter().filter_map(|fact| match fact {
        Fact::Answer(answer) if answer.reason.is_some() => {
            Some([answer.item, answer.answer, answer.reason.unwrap()].join(" "))
        }
        _ => None,
    });
    assert_eq!(
        answers.collect::<Vec<_>>(),
        ["fuses not_applicable not_fitted", "housing fail seen"]
    );
}

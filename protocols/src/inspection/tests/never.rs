//! Ways to a pass that were open once: each is played and must stay closed.

use alloc::string::ToString;
use alloc::vec;

use super::bench::{Bench, Setting};
use crate::fact::Word;
use crate::inspection::Command;

fn to_the_leakage(bench: &mut Bench) {
    bench.set(false, false, false);
    bench.supply("226", "0.3", "225.8").unwrap();
    bench.supply("226", "0.3", "225.8").unwrap();
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.touch("0.243 Ohm");
    bench.touch("-0.275 Ohm");
}

fn skip(bench: &mut Bench, reason: &str) {
    bench.ask(&Command::Skip { reason: reason.into() }).unwrap();
}

#[test]
fn a_step_left_out_with_the_makers_word_is_left_out_all_the_same() {
    let mut bench = Bench::open(&Setting::default());
    to_the_leakage(&mut bench);
    skip(&mut bench, "excluded");
    skip(&mut bench, "excluded");
    bench.answer("pass").unwrap();
    let outcome = bench.inspection.outcome();
    assert_eq!((outcome.word, outcome.open), (Word::Undecided, vec!["leak".to_string()]));
    assert_eq!(bench.verdict("leak").0, Word::Undecided);
}

/// 451 and 462 uA: little for the part of type BF (5000 uA), far too much for CF (50 uA; both
/// limits from memory).
#[test]
fn a_part_of_another_type_is_judged_by_its_own_limit() {
    let fixed = Setting::default();
    let source =
        "[[fixture]]\nid = \"IS-1\"\nwhat = \"isolated_source\"\ninspection_due = 2027-05-31\n";
    let mut bench = Bench::open(&Setting {
        asset: "P-0111",
        fixtures: alloc::format!("{}\n{source}", fixed.fixtures),
        confirmed: vec![
            "iec62353-2014.part.direct.bf".to_string(),
            "iec62353-2014.part.direct.cf".to_string(),
        ],
        ..fixed
    });
    to_the_leakage(&mut bench);
    bench.leak_declared();
    bench.world.network[0] = "11.012 kOhm".into();
    for _ in 0..2 {
        bench.act("connected").unwrap();
        bench.run(10);
        bench.live_declared(false);
        bench.live_declared(true);
    }
    let part = &bench.inspection.record().verdicts["part"].fact.judged;
    assert_eq!(part.verdict, Word::Fail);
    let limit = part.limit.as_ref().map(|limit| limit.id.as_str());
    assert_eq!(limit, Some("iec62353-2014.part.direct.cf"));
}

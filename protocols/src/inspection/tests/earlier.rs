//! A pass that is worse than the one before it says so, and stays a pass.

use alloc::string::ToString;
use alloc::vec;
use alloc::vec::Vec;

use super::bench::{Bench, Setting};
use crate::doubt::trend::Like;
use crate::exact::Ratio;
use crate::fact::{Earlier, Fact, Given, Judged, Word};
use crate::inspection::like;
use crate::plan::Expanded;

/// Protective earth is measured: 0.129 ohm after the null, in its worse direction.
fn earth(earlier: Vec<Earlier>) -> Bench {
    let mut bench = Bench::open(&Setting::default());
    if !earlier.is_empty() {
        bench.put(vec![Fact::Given(Given::Earlier { list: earlier })], None);
    }
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    bench
}

fn judged(bench: &Bench) -> Judged {
    bench.inspection.record().verdicts["pe"].fact.judged.clone()
}

/// What its verdict may be compared by.
fn own(bench: &Bench) -> Like {
    let record = bench.inspection.record();
    let brief = bench.inspection.brief.as_ref().unwrap();
    let steps: Vec<&Expanded> = record.steps_of("pe").map(|step| &step.expanded).collect();
    let row = brief.row(steps[0]);
    like(&judged(bench), brief.step("pe"), &steps, row, &brief.asset)
}

fn before(value: &str, like: Like) -> Vec<Earlier> {
    let mut one = Earlier::of(like, &judged(&earth(Vec::new())), "K3-20251124-0003").unwrap();
    one.value = value.to_string();
    vec![one]
}

#[test]
fn a_pass_that_is_clearly_worse_says_so_and_stays_one() {
    let bench = earth(Vec::new());
    let (like, first) = (own(&bench), judged(&bench));
    assert_eq!((first.value.as_deref(), first.verdict), (Some("0.129"), Word::Pass));
    assert_eq!((like.point.as_str(), like.contact.as_str()), ("lamp head", "clip_on_metal"));
    // By more than both expanded uncertainties together, and neither by as much nor by nothing.
    let doubt = Ratio::parse(&first.uncertainty.as_ref().unwrap().expanded).unwrap();
    let twice = doubt.plus(doubt).unwrap();
    let at = Ratio::parse("0.129").unwrap().minus(twice).unwrap();
    let below = at.minus(Ratio::parse("0.0000001").unwrap()).unwrap();
    for (value, worse) in [
        (below.text(), true),
        (at.text(), false),
        ("0.129".to_string(), false),
        ("0.250".to_string(), false),
        ("0.010".to_string(), true),
    ] {
        let found = judged(&earth(before(&value, like.clone())));
        let says = found.reasons.contains(&"worse_than_before".to_string());
        assert_eq!((says, found.verdict), (worse, Word::Pass), "{value}");
        let shown = |judged: &Judged| {
            let Judged { shown, share, probability, uncertainty, limit, .. } = judged.clone();
            (shown, share, probability, uncertainty, limit)
        };
        assert_eq!(shown(&found), shown(&first), "nothing else of it changes");
    }
}

/// Another point, cord, contact, condition or set-up is another measurement.
#[test]
fn strangers_are_not_compared() {
    let like = own(&earth(Vec::new()));
    let others: [fn(&mut Like); 6] = [
        |like| like.point = "rail".into(),
        |like| like.cord = "detachable".into(),
        |like| like.contact = "plug".into(),
        |like| like.setup = "LR-02, L-1".into(),
        |like| like.method = "inlet".into(),
        |like| like.condition = "standby".into(),
    ];
    for change in others {
        let mut other = like.clone();
        change(&mut other);
        let found = judged(&earth(before("0.010", other)));
        assert!(found.reasons.is_empty(), "{found:?}");
    }
    let found = judged(&earth(before("10 mOhm", like)));
    assert!(found.reasons.is_empty(), "what is no number compares nothing");
}

#[test]
fn the_word_stands_beside_the_outcome_and_survives_a_restart() {
    let like = own(&earth(Vec::new()));
    let mut bench = earth(before("0.010", like));
    assert!(bench.inspection.outcome().words.contains(&"worse_than_before".to_string()));
    bench.resume("boot-1", super::bench::DAY);
    bench.ask(&crate::inspection::Command::Repeat { step: "pe".into() }).unwrap();
    bench.touch("0.182 Ohm");
    bench.touch("-0.190 Ohm");
    assert_eq!(judged(&bench).reasons, ["worse_than_before"]);
}

/// What says nothing is nothing to compare with.
#[test]
fn only_numbers_with_their_doubt_are_kept() {
    let passed = judged(&earth(Vec::new()));
    let keeps = |judged: &Judged| Earlier::of(Like::default(), judged, "x").is_some();
    assert!(keeps(&passed) && keeps(&Judged { verdict: Word::Fail, ..passed.clone() }));
    assert!(!keeps(&Judged { verdict: Word::Undecided, ..passed.clone() }));
    assert!(!keeps(&Judged { indication: Some("above".into()), ..passed.clone() }));
    assert!(!keeps(&Judged { uncertainty: None, ..passed }));
}

//! Scatter of a window, bounds as they are shown, and what earlier lists of doubt said.

use alloc::vec::Vec;

use proptest::prelude::*;
use tapline_drivers::{Function, Now};

use super::bench::{Bench, Setting, reading};
use crate::fact::{Judged, Policy, ReadingId, ValueFact, Word};
use crate::inspection::sample::Sample;
use crate::inspection::window::Window;

fn of_list(doubt: u32) -> Setting {
    Setting { policy: Policy { doubt, ..Policy::default() }, ..Setting::default() }
}

fn judged(bench: &Bench, step: &str) -> Judged {
    bench.inspection.record().verdicts.get(step).unwrap().fact.judged.clone()
}

/// The clips come apart, then join; every second reading is the other one.
fn touch(bench: &mut Bench, shows: [&str; 2]) {
    bench.world.ohms = "OL".into();
    bench.run(2);
    for n in 0..160 {
        // The meter talks every 0.4 s.
        bench.world.ohms = shows[n / 4 % 2].into();
        bench.tick();
    }
}

fn earth(setting: &Setting) -> (Vec<ValueFact>, Judged) {
    let mut bench = Bench::open(setting);
    bench.null("0.061 Ohm", "-0.061 Ohm");
    bench.answer("pass").unwrap();
    touch(&mut bench, ["0.182 Ohm", "0.186 Ohm"]);
    touch(&mut bench, ["-0.190 Ohm", "-0.190 Ohm"]);
    let values = bench.values().into_iter().cloned().collect();
    (values, judged(&bench, "pe"))
}

/// Differences of 4 mohm in turns: sqrt(16 / 2) = 2.828 mohm (arithmetic). A window without
/// scatter says none.
#[test]
fn a_value_says_how_far_its_readings_scatter() {
    let (values, judged) = earth(&of_list(2));
    let scatter = values[0].scatter.as_ref().unwrap();
    assert_eq!(scatter.s, "0.00282843");
    assert!(scatter.freedom >= 7, "{scatter:?}");
    assert_eq!(values[1].scatter, None);
    // The one that is shown is the worst; it does not scatter.
    assert_eq!((judged.value.as_deref(), judged.verdict), (Some("0.129"), Word::Pass));
    let parts = judged.uncertainty.unwrap().parts;
    let names: Vec<_> = parts.iter().map(|part| part.of.as_str()).collect();
    assert_eq!(names, ["accuracy", "null"]);
}

#[test]
fn the_scatter_of_the_worst_value_widens_its_doubt() {
    let says = |doubt| {
        let mut bench = Bench::open(&of_list(doubt));
        bench.null("0.061 Ohm", "-0.061 Ohm");
        bench.answer("pass").unwrap();
        touch(&mut bench, ["0.190 Ohm", "0.186 Ohm"]);
        touch(&mut bench, ["-0.182 Ohm", "-0.182 Ohm"]);
        judged(&bench, "pe").uncertainty.unwrap()
    };
    let (first, second) = (says(1), says(2));
    assert!(first.parts.is_empty() && first.freedom.is_none());
    let part = second.parts.iter().find(|part| part.of == "scatter").unwrap();
    // Once for the value, once for the null: sqrt 2 times 2.828 mohm.
    assert_eq!(part.u, "0.004000");
    let number = |text: &str| text.parse::<f64>().unwrap();
    assert!(number(&first.expanded) < number(&second.expanded));
}

/// Books of the first list hold no scatter, and never will.
#[test]
fn the_first_list_knows_no_scatter() {
    let (values, judged) = earth(&of_list(1));
    assert!(values.iter().all(|value| value.scatter.is_none()));
    assert!(judged.uncertainty.unwrap().parts.is_empty());
}

/// Open from first to last: more than the range end of 2 ohm, less 0.061 ohm of leads.
#[test]
fn a_bound_is_not_rounded_to_where_it_says_more() {
    for (doubt, shown) in [(1, "2"), (2, "1.939")] {
        let mut bench = Bench::open(&of_list(doubt));
        bench.null("0.061 Ohm", "-0.061 Ohm");
        bench.answer("pass").unwrap();
        bench.world.ohms = ">2 Ohm".into();
        bench.ask(&crate::inspection::Command::Capture { expect: None }).unwrap();
        bench.run(20);
        let judged = judged(&bench, "pe");
        assert_eq!(judged.indication.as_deref(), Some("above"));
        assert_eq!((judged.value.as_deref(), judged.verdict), (Some("1.939"), Word::Fail));
        assert_eq!(judged.shown.as_deref(), Some(shown));
    }
}

/// 0.361 less 0.0606 ohm are 0.3004, which is more than 0.300 (arithmetic).
#[test]
fn a_fail_does_not_look_like_a_pass() {
    for (doubt, shown, share) in [(2, "0.300", "100.1"), (3, "0.3004", "100.1")] {
        let mut bench = Bench::open(&of_list(doubt));
        bench.null("0.0606 Ohm", "-0.0606 Ohm");
        bench.answer("pass").unwrap();
        touch(&mut bench, ["0.361 Ohm", "0.361 Ohm"]);
        let judged = judged(&bench, "pe");
        assert_eq!((judged.value.as_deref(), judged.verdict), (Some("0.3004"), Word::Fail));
        assert_eq!((judged.shown.as_deref(), judged.share.as_deref()), (Some(shown), Some(share)));
    }
}

/// The window of a step, over readings in this order.
fn window(bench: &Bench, step: &str, shows: &[u32]) -> ValueFact {
    let job = bench.inspection.brief.as_ref().unwrap().job(step).unwrap();
    let mut window: Option<Window> = None;
    let mut at = 0;
    for (n, counts) in shows.iter().enumerate() {
        at += 400_000;
        let mut reading = reading(Function::Resistance4w, &alloc::format!("0.{counts:03} Ohm"));
        reading.first = Now(at);
        let id: ReadingId = (u64::try_from(n).unwrap(), 0);
        let sample = Sample::of(id, &reading).unwrap();
        match &mut window {
            Some(window) => window.take(job, sample),
            None => window = Some(Window::begin(job, sample)),
        }
    }
    window.unwrap().value(job, Now(at + 60_000_000), None).unwrap()
}

proptest! {
    /// The order of readings never changes what is the worst of them.
    #[test]
    fn the_order_of_readings_never_changes_the_worst(
        mut shows in proptest::collection::vec(1..999_u32, 2..40),
        turns in 0..40_usize,
    ) {
        let bench = Bench::open(&Setting::default());
        let worst = shows.iter().max().map(|counts| alloc::format!("0.{counts:03}"));
        let before = window(&bench, "pe/1", &shows);
        prop_assert_eq!(Some(&before.value), worst.as_ref());
        let turns = turns % shows.len();
        shows.rotate_left(turns);
        prop_assert_eq!(&window(&bench, "pe/1", &shows).value, &before.value);
        shows.reverse();
        prop_assert_eq!(&window(&bench, "pe/1", &shows).value, &before.value);
        shows.sort_unstable();
        prop_assert_eq!(window(&bench, "pe/1", &shows).value, before.value);
    }
}

#[test]
fn a_word_of_the_list_is_only_written_where_it_is_not_the_first() {
    let text = |doubt| serde_json::to_string(&Policy { doubt, ..Policy::default() }).unwrap();
    assert!(!text(1).contains("doubt"));
    assert!(text(2).contains("\"doubt\":2"));
    let read: Policy = serde_json::from_str(&text(1)).unwrap();
    assert_eq!(read.doubt, 1);
}

//! The rules of a line can fail: each is shown a book that was doctored so that it breaks this rule
//! and none before it, and must say so by its name.

use tapline::books::Line;
use tapline::books::line::raw_text;
use tapline::station::event::BookId;
use tapline_protocols::Fact;
use tapline_protocols::fact::{In, NoteFact, ValueFact, VerdictFact, Word};
use tapline_protocols::plan::Switch;

use super::ledger::Ledger;
use super::state;
use super::world::World;
use super::{inspect, lines};

pub(crate) type Stored = (BookId, Line);

/// Every line of an inspection from scan to sign, in order.
pub(crate) fn honest() -> Vec<Stored> {
    let mut world = World::new(1, true);
    inspect(&mut world);
    world.settle();
    let lines = world.fresh.iter();
    lines.map(|(book, text)| (book.clone(), Line::read(text.as_bytes()).unwrap())).collect()
}

/// What the rules say of these lines, up to the first that breaks one.
fn said(lines: &[Stored]) -> Option<String> {
    let mut ledger = Ledger::default();
    for (book, line) in lines {
        if let Some(broken) = lines::broken(&ledger, book, line) {
            return Some(broken);
        }
        let text = String::from_utf8(line.bytes().unwrap_or_default()).unwrap();
        ledger.apply(book, line, &text);
    }
    None
}

/// Doctors the honest lines and expects a rule to say so.
#[track_caller]
fn fooled(rule: &str, doctor: impl FnOnce(&mut Vec<Stored>)) {
    let mut lines = honest();
    doctor(&mut lines);
    let said = said(&lines).unwrap_or_default();
    assert!(said.starts_with(&format!("{rule}: ")), "{rule} is meant, said was `{said}`");
}

/// The place of the first line that `is` so.
fn first(lines: &[Stored], is: impl Fn(&Fact) -> bool) -> usize {
    lines.iter().position(|(_, line)| is(&line.fact)).expect("the inspection has one")
}

pub(crate) fn read(lines: &mut [Stored], is: impl Fn(&In) -> bool) -> &mut In {
    let found = lines.iter_mut().find_map(|(_, line)| match &mut line.fact {
        Fact::In(read) if is(read) => Some(read),
        _ => None,
    });
    found.expect("the inspection has one")
}

fn value(lines: &mut [Stored], nth: usize) -> &mut ValueFact {
    let values = lines.iter_mut().filter_map(|(_, line)| match &mut line.fact {
        Fact::Value(value) => Some(value),
        _ => None,
    });
    values.into_iter().nth(nth).expect("the inspection has one")
}

pub(crate) fn verdict(lines: &mut [Stored]) -> &mut VerdictFact {
    let found = lines.iter_mut().find_map(|(_, line)| match &mut line.fact {
        Fact::Verdict(verdict) if !verdict.judged.from.is_empty() => Some(verdict),
        _ => None,
    });
    found.expect("the inspection has one")
}

/// Puts a fact behind a line, and numbers what follows anew; readings keep their names.
fn insert(lines: &mut Vec<Stored>, place: usize, fact: Fact, by: Option<&str>) {
    let (book, before) = lines[place].clone();
    lines.truncate(place + 1);
    let by = by.map(String::from);
    lines.push((book, Line { seq: before.seq + 1, fact, by, ..before }));
}

#[test]
fn honest_lines_break_no_rule() {
    let lines = honest();
    assert!(lines.len() > 300, "{}", lines.len());
    assert_eq!(said(&lines), None);
}

#[test]
fn a_missing_line_is_seen() {
    fooled("numbers_rise_without_gaps", |lines| drop(lines.remove(100)));
}

#[test]
fn two_lines_in_the_wrong_order_are_seen() {
    fooled("numbers_rise_without_gaps", |lines| lines.swap(100, 101));
}

#[test]
fn a_stamp_that_goes_back_is_seen() {
    fooled("a_stream_never_goes_back_in_time", |lines| {
        let is = |fact: &Fact| matches!(fact, Fact::In(read) if read.link == "ohm");
        let last = lines.iter().rposition(|(_, line)| is(&line.fact)).unwrap();
        lines[last].1.at.boot_us = 1;
    });
}

#[test]
fn a_line_above_its_bound_is_seen() {
    fooled("lines_are_bounded", |lines| {
        read(lines, |read| read.link == "ohm").raw = raw_text(&[b'8'; 4097]);
    });
}

#[test]
fn a_byte_that_is_in_no_line_is_seen() {
    fooled("raw_parts_run_on", |lines| {
        read(lines, |read| read.link == "ohm").raw.pop();
    });
}

#[test]
fn a_byte_that_is_stored_twice_is_seen() {
    fooled("raw_parts_run_on", |lines| read(lines, |read| read.link == "ohm").raw.push('8'));
}

#[test]
fn bytes_in_another_book_are_seen() {
    fooled("raw_parts_run_on", |lines| {
        let place = first(lines, |fact| matches!(fact, Fact::In(read) if read.link == "ohm"));
        lines[place].0 = BookId::Station;
    });
}

pub(crate) fn placed(read: &In) -> bool {
    read.read.iter().any(|one| one.s.as_deref() == Some("pe/1"))
}

#[test]
fn a_reading_with_two_places_is_seen() {
    fooled("a_reading_has_one_place", |lines| {
        read(lines, placed).read[0].why = Some("idle".into());
    });
}

#[test]
fn an_idle_reading_with_a_step_is_seen() {
    fooled("a_reading_has_one_place", |lines| {
        let one = &mut read(lines, |read| !read.read.is_empty()).read[0];
        (one.s, one.why) = (Some("pe/1".into()), None);
    });
}

#[test]
fn a_reading_of_another_step_is_seen() {
    fooled("a_reading_belongs_where_it_began", |lines| {
        read(lines, placed).read[0].s = Some("pe/2".into());
    });
}

/// Its last byte came while the step was active, its first one did not.
#[test]
fn a_reading_that_began_before_its_step_is_seen() {
    fooled("a_reading_belongs_where_it_began", |lines| {
        let read = read(lines, placed);
        read.read[0].b.0 = -read.at.cast_signed();
    });
}

#[test]
fn a_null_that_nobody_asked_for_is_seen() {
    let null = |read: &In| read.read.iter().any(|one| one.s.as_deref() == Some("null/L-1"));
    fooled("a_reading_belongs_where_it_began", |lines| {
        read(lines, null).read[0].s = Some("null/L-9".into());
    });
}

#[test]
fn a_value_of_readings_that_are_not_stored_is_seen() {
    fooled("facts_cite_their_own_readings", |lines| value(lines, 0).from.push((1, 7)));
}

#[test]
fn a_value_of_another_steps_readings_is_seen() {
    fooled("facts_cite_their_own_readings", |lines| value(lines, 0).step = "pe/2".into());
}

#[test]
fn a_value_of_nothing_is_seen() {
    fooled("facts_cite_their_own_readings", |lines| value(lines, 0).from.clear());
}

/// The same contact once more: the same readings, or others without a release.
#[test]
fn one_contact_with_two_values_is_seen() {
    let twice = |lines: &mut Vec<Stored>| {
        let place = first(lines, |fact| matches!(fact, Fact::Value(_)));
        let fact = lines[place].1.fact.clone();
        (place, fact)
    };
    fooled("a_reading_makes_one_value", |lines| {
        let (place, fact) = twice(lines);
        insert(lines, place, fact, None);
    });
    fooled("a_capture_needs_release_or_act", |lines| {
        let (place, fact) = twice(lines);
        let Fact::Value(value) = &fact else { unreachable!() };
        let half = value.from.len() / 2;
        let (one, other) = value.from.split_at(half);
        let (one, other) = (one.to_vec(), other.to_vec());
        let of = |from| Fact::Value(ValueFact { from, ..value.clone() });
        lines[place].1.fact = of(one);
        insert(lines, place, of(other), None);
    });
}

#[test]
fn a_verdict_without_a_durable_line_is_seen() {
    fooled("a_verdict_rests_on_stored_lines", |lines| {
        verdict(lines).judged.from.push(999_999);
    });
    fooled("a_verdict_rests_on_stored_lines", |lines| verdict(lines).judged.from.clear());
}

#[test]
fn a_pass_with_a_step_left_out_is_seen() {
    fooled("a_pass_is_whole", |lines| {
        let is = |fact: &Fact| matches!(fact, Fact::Step(step) if step.state == "done");
        let place = first(lines, is);
        if let Fact::Step(step) = &mut lines[place].1.fact {
            step.state = "skipped".into();
        }
    });
    fooled("a_pass_is_whole", |lines| {
        let words = lines.iter_mut().filter_map(|(_, line)| match &mut line.fact {
            Fact::Verdict(verdict) => Some(&mut verdict.judged.verdict),
            _ => None,
        });
        words.for_each(|word| *word = Word::Undecided);
    });
}

#[test]
fn an_act_of_nobody_is_seen() {
    fooled("only_people_act", |lines| {
        let place = first(lines, |fact| matches!(fact, Fact::Act(act) if act.what == "clear"));
        lines[place].1.by = None;
    });
    fooled("only_people_act", |lines| {
        let place = first(lines, |fact| matches!(fact, Fact::Switch(_)));
        if let Fact::Switch(switch) = &mut lines[place].1.fact {
            switch.known = tapline_protocols::register::Known::Declared;
        }
    });
}

#[test]
fn a_message_that_is_not_on_the_list_is_seen() {
    fooled("only_allowed_messages", |lines| {
        let place = first(lines, |fact| matches!(fact, Fact::Out(_)));
        if let Fact::Out(out) = &mut lines[place].1.fact {
            out.raw = "OUTP ON\n".into();
        }
    });
    assert!(state::is_allowed("dmm", b"VOLT 500\n").is_err());
    assert!(state::is_allowed("ohm", b"READ?\n").is_err(), "a meter that is listened to");
    assert_eq!(state::is_allowed("dmm", b"READ?\n"), Ok(()));
}

#[test]
fn a_step_that_ends_while_it_is_live_is_seen() {
    fooled("what_is_live_stays_live", |lines| {
        let live = |fact: &Fact| match fact {
            Fact::Switch(switch) => switch.set.get(&Switch::Supply).is_some_and(|w| w == "on"),
            _ => false,
        };
        let place = first(lines, live);
        let done = lines[first(lines, |fact| matches!(fact, Fact::Step(_)))].1.fact.clone();
        insert(lines, place, done, None);
    });
}

#[test]
fn a_line_behind_the_signature_is_seen() {
    fooled("a_closed_book_takes_nothing", |lines| {
        let place = first(lines, |fact| matches!(fact, Fact::Sign(_)));
        insert(lines, place, Fact::Note(NoteFact { text: "late".into() }), Some("op-7"));
    });
}

//! What must hold of each stored line, given all lines before it. One rule, one function.

use tapline::books::Line;
use tapline::books::line::{LINE_BYTES_MAX, raw_bytes};
use tapline::station::RAW_BYTES_MAX;
use tapline::station::event::BookId;
use tapline_protocols::Fact;
use tapline_protocols::fact::{In, Read, ReadingId, Word};
use tapline_protocols::inspection::StepState;
use tapline_protocols::plan::Switch;
use tapline_protocols::register::Known;

use super::ledger::{Ledger, Shadow};
use super::state::is_allowed;

pub(crate) type Verdict = Result<(), String>;
pub(crate) type Rule = fn(&Ledger, &BookId, &Line) -> Verdict;

/// All of them, by name.
pub(crate) const RULES: [(&str, Rule); 15] = [
    ("numbers_rise_without_gaps", numbers_rise_without_gaps),
    ("a_stream_never_goes_back_in_time", a_stream_never_goes_back_in_time),
    ("lines_are_bounded", lines_are_bounded),
    ("raw_parts_run_on", raw_parts_run_on),
    ("a_reading_has_one_place", a_reading_has_one_place),
    ("a_reading_belongs_where_it_began", a_reading_belongs_where_it_began),
    ("facts_cite_their_own_readings", facts_cite_their_own_readings),
    ("a_reading_makes_one_value", a_reading_makes_one_value),
    ("a_capture_needs_release_or_act", a_capture_needs_release_or_act),
    ("a_verdict_rests_on_stored_lines", a_verdict_rests_on_stored_lines),
    ("a_pass_is_whole", a_pass_is_whole),
    ("only_people_act", only_people_act),
    ("only_allowed_messages", only_allowed_messages),
    ("what_is_live_stays_live", what_is_live_stays_live),
    ("a_closed_book_takes_nothing", a_closed_book_takes_nothing),
];

/// The first rule that a line breaks.
pub(crate) fn broken(ledger: &Ledger, book: &BookId, line: &Line) -> Option<String> {
    RULES.iter().find_map(|(name, rule)| {
        rule(ledger, book, line).err().map(|why| format!("{name}: {why} in {book:?}: {line:?}"))
    })
}

fn must(holds: bool, why: impl Into<String>) -> Verdict {
    if holds { Ok(()) } else { Err(why.into()) }
}

fn shadow<'a>(ledger: &'a Ledger, book: &BookId) -> Option<&'a Shadow> {
    match book {
        BookId::Inspection(id) => ledger.shadows.get(id),
        BookId::Station | BookId::Idle(_) => None,
    }
}

fn numbers_rise_without_gaps(ledger: &Ledger, _: &BookId, line: &Line) -> Verdict {
    must(line.seq == ledger.last + 1, format!("line {} after {}", line.seq, ledger.last))
}

/// The stamps of one link's bytes rise: those of several links, and of its ticks, may cross on
/// their way to the core.
fn a_stream_never_goes_back_in_time(ledger: &Ledger, _: &BookId, line: &Line) -> Verdict {
    let Fact::In(read) = &line.fact else { return Ok(()) };
    let before = ledger.streams.get(&read.link).map_or(0, |stream| stream.boot_us);
    let rises = before <= line.at.boot_us || read.raw.is_empty();
    must(rises, format!("{} us after {before} us", line.at.boot_us))
}

fn lines_are_bounded(_: &Ledger, _: &BookId, line: &Line) -> Verdict {
    let raw = |read: &In| raw_bytes(&read.raw).is_some_and(|raw| raw.len() <= RAW_BYTES_MAX);
    if let Fact::In(read) = &line.fact {
        must(raw(read), "more raw bytes than a line may hold")?;
    }
    let bytes = line.bytes().map_err(|fault| fault.to_string())?;
    must(bytes.len() <= LINE_BYTES_MAX, format!("{} bytes", bytes.len()))
}

/// Each byte of a stream stands in one line, in order.
fn raw_parts_run_on(ledger: &Ledger, book: &BookId, line: &Line) -> Verdict {
    let Fact::In(read) = &line.fact else { return Ok(()) };
    let stream = ledger.streams.get(&read.link).ok_or("bytes before a tap")?;
    must(stream.book == *book, format!("tapped into {:?}", stream.book))?;
    must(stream.length == read.at, format!("offset {} after {}", read.at, stream.length))
}

fn reads(line: &Line) -> impl Iterator<Item = (&In, &Read)> {
    let read = match &line.fact {
        Fact::In(read) => Some(read),
        _ => None,
    };
    read.into_iter().flat_map(|line| line.read.iter().map(move |read| (line, read)))
}

fn a_reading_has_one_place(ledger: &Ledger, book: &BookId, line: &Line) -> Verdict {
    for (_, read) in reads(line) {
        must(read.s.is_none() || read.why.is_none(), "a place and a reason why it has none")?;
        let may = read.s.is_none() || shadow(ledger, book).is_some();
        must(may, "a step where no inspection is")?;
    }
    Ok(())
}

/// The step that was active at its first byte, or none. Order is that of the lines: the line
/// that a byte stands in took its number when the byte came.
fn a_reading_belongs_where_it_began(ledger: &Ledger, book: &BookId, line: &Line) -> Verdict {
    let Some(shadow) = shadow(ledger, book) else { return Ok(()) };
    for (read_line, read) in reads(line) {
        let Some(place) = &read.s else { continue };
        let first = read_line.at.checked_add_signed(read.b.0).ok_or("before its stream")?;
        let stream = ledger.streams.get(&read_line.link).ok_or("no stream")?;
        let began = if first < read_line.at { stream.line_of(first) } else { Some(line.seq) };
        let began = began.ok_or("its first byte is in no line")?;
        if place.starts_with("null/") {
            let asked = shadow.nulls.iter().rev().find(|(seq, _)| *seq < began);
            must(asked.is_some_and(|(_, null)| null == place), "no such null was asked for")?;
            continue;
        }
        let active = shadow.active_at(began);
        let whose = match place.starts_with("prove/") {
            true => shadow.active_at(line.seq),
            false => Some(place.clone()),
        };
        must(active == whose && active.is_some(), format!("active was {active:?}"))?;
    }
    Ok(())
}

/// Readings that a fact of this line rests on, and the place that they belong to. A proof that
/// was given up names what was seen, which belongs nowhere.
fn cited(line: &Line) -> (&[ReadingId], String) {
    match &line.fact {
        Fact::Null(null) => (&null.from, format!("null/{}", null.lead)),
        Fact::Prove(prove) if line.by.is_none() => (&prove.from, format!("prove/{}", prove.what)),
        Fact::Value(value) => (&value.from, value.step.clone()),
        _ => (&[], String::new()),
    }
}

fn facts_cite_their_own_readings(ledger: &Ledger, book: &BookId, line: &Line) -> Verdict {
    let Some(shadow) = shadow(ledger, book) else { return Ok(()) };
    let (from, place) = cited(line);
    for id in from {
        let stored = shadow.place.get(id).ok_or(format!("{id:?} is not stored"))?;
        // The newest reading that an operator captured may have come before it was asked for.
        let asked = matches!(&line.fact, Fact::Value(value) if value.rule == "operator");
        let own = stored.as_deref() == Some(place.as_str()) || (asked && stored.is_none());
        must(own, format!("{id:?} belongs to {stored:?}, not to {place}"))?;
    }
    must(!matches!(line.fact, Fact::Value(_)) || !from.is_empty(), "a value of no reading")
}

fn a_reading_makes_one_value(ledger: &Ledger, book: &BookId, line: &Line) -> Verdict {
    let (Some(shadow), Fact::Value(value)) = (shadow(ledger, book), &line.fact) else {
        return Ok(());
    };
    let twice = value.from.iter().find(|id| shadow.spent.contains(id));
    must(twice.is_none(), format!("{twice:?} made a value before"))
}

fn a_capture_needs_release_or_act(ledger: &Ledger, book: &BookId, line: &Line) -> Verdict {
    let (Some(shadow), Fact::Value(value)) = (shadow(ledger, book), &line.fact) else {
        return Ok(());
    };
    let meter = shadow.meter(&value.step);
    let may = shadow.free.get(&meter).is_none_or(super::ledger::Free::may);
    must(may, format!("{meter} was not released since its last capture"))
}

fn a_verdict_rests_on_stored_lines(ledger: &Ledger, book: &BookId, line: &Line) -> Verdict {
    let (Some(shadow), Fact::Verdict(verdict)) = (shadow(ledger, book), &line.fact) else {
        return Ok(());
    };
    for seq in &verdict.judged.from {
        must(shadow.seqs.contains(seq), format!("line {seq} is not stored"))?;
        let Some((step, counts)) = shadow.values.get(seq) else { continue };
        must(*counts, format!("value {seq} was set aside"))?;
        let of = shadow.of.get(step);
        must(of == Some(&verdict.step), format!("value {seq} is of {of:?}"))?;
    }
    let passes = matches!(verdict.judged.verdict, Word::Pass | Word::ConditionalPass);
    must(!passes || !verdict.judged.from.is_empty(), "a pass of nothing")
}

/// An inspection that is signed as passed has measured, answered and passed everything.
fn a_pass_is_whole(ledger: &Ledger, book: &BookId, line: &Line) -> Verdict {
    let (Some(shadow), Fact::Sign(sign)) = (shadow(ledger, book), &line.fact) else {
        return Ok(());
    };
    if sign.outcome != Word::Pass {
        return Ok(());
    }
    let record = shadow.inspection.record();
    for step in &record.steps {
        if step.state == StepState::Closed && step.reason.as_deref() == Some("excluded") {
            continue;
        }
        let named = &step.expanded.step;
        must(step.state == StepState::Done, format!("{named} is {:?}", step.state))?;
        let verdict = record.verdicts.get(&step.expanded.of).map(|v| v.fact.judged.verdict);
        let passed = matches!(verdict, Some(Word::Pass | Word::ConditionalPass));
        must(passed, format!("{named} is {verdict:?}"))?;
    }
    Ok(())
}

/// Nothing is energised, connected, cleared, answered, set aside, signed or ended by the station.
fn only_people_act(_: &Ledger, _: &BookId, line: &Line) -> Verdict {
    let person = line.by.is_some();
    match &line.fact {
        Fact::Act(act) => must(person, format!("nobody did {}", act.what)),
        Fact::Answer(_) | Fact::Drop(_) | Fact::Override(_) | Fact::Sign(_) | Fact::End(_) => {
            must(person, "nobody did it")
        }
        Fact::Switch(switch) if !person => {
            must(switch.known != Known::Declared, "nobody declared it")?;
            let supply = switch.set.contains_key(&Switch::Supply);
            must(!supply || switch.known == Known::Witnessed, "nobody saw the supply")
        }
        _ => Ok(()),
    }
}

fn only_allowed_messages(_: &Ledger, _: &BookId, line: &Line) -> Verdict {
    let Fact::Out(out) = &line.fact else { return Ok(()) };
    is_allowed(&out.link, &raw_bytes(&out.raw).unwrap_or_default())
}

/// What is energised stays so until somebody or the contacts say that it is not: until then no
/// step ends or begins, and nobody leaves.
fn what_is_live_stays_live(ledger: &Ledger, book: &BookId, line: &Line) -> Verdict {
    let live = shadow(ledger, book).is_some_and(|shadow| shadow.live);
    let leaves = matches!(line.fact, Fact::Step(_) | Fact::Park(_) | Fact::Sign(_) | Fact::End(_));
    must(!live || !leaves, "it is live")
}

fn a_closed_book_takes_nothing(ledger: &Ledger, book: &BookId, _: &Line) -> Verdict {
    must(!shadow(ledger, book).is_some_and(|shadow| shadow.closed), "it is signed or ended")
}

//! What the record holds for and against a captured value.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Function, Number};

use super::brief::Brief;
use super::job::Job;
use super::proof;
use super::record::{Line, Record, StepRecord};
use super::run::Placement;
use super::{scale, source, test_current};
use crate::amount::Amount;
use crate::fact::{ProveFact, ValueFact};
use crate::plan::{Correct, Direction, Proof, Settings, Step};
use crate::register::Known;

/// Words that are known about a value, of the closed list of reasons.
pub(super) fn against(
    record: &Record,
    brief: &Brief,
    (job, step): (&Job, &Step),
    line: &Line<ValueFact>,
) -> Vec<String> {
    let value = &line.fact;
    let mut words: Vec<&str> = Vec::new();
    let has = |word: &str| value.words.iter().any(|one| one == word);
    if has("open_seen") {
        words.push("open_seen");
    }
    if value.rule == super::typed::TYPED {
        words.push("typed");
    }
    if has("out_of_calibration") && brief.policy.out_of_calibration != "override" {
        words.push("out_of_calibration");
    }
    if has("relative") && !step.correct.contains(&Correct::LeadNull) {
        // The meter takes something away that nobody knows.
        words.push("method_not_valid");
    }
    if job.runs() {
        match value.known {
            None => words.push("condition_not_set"),
            Some(_) if value.set != job.set => words.push("condition_not_set"),
            Some(Known::Declared) => words.push("conditions_declared"),
            Some(Known::Revealed | Known::Witnessed) => {}
        }
    }
    if job.tested.is_some()
        && value.known != Some(Known::Witnessed)
        && value.indication.as_deref() == Some("above")
    {
        // Without a voltage everything reads as more than the range.
        words.push("voltage_not_shown");
    }
    if has("not_moved") || too_small(brief, job, value) {
        words.push("path_not_proved");
    }
    if same_direction(record, job, line) {
        words.push("condition_not_set");
    }
    if (step.prove.contains(&Proof::Alive) || job.operating.is_some()) && !alive(record, job, line)
    {
        words.push("not_alive");
    }
    if job.source && source::of_value(record, line).is_none() {
        words.push("source_not_shown");
    }
    if test_current::proved(record, brief, job, line) == Some(Known::Declared) {
        words.push("conditions_declared");
    }
    if step.prove.contains(&Proof::Supply) && supply(record, line).is_none() {
        words.push("supply_not_checked");
    }
    if brief.checks.iter().any(|check| check.judged() == job.meter && !check.ok) {
        words.push("bench_check_failed");
    }
    let unknown = match job.over_500() {
        true => peak_unknown(brief, (job, step)),
        false => wide_band_unknown(brief, job) || slow(brief, (job, step)),
    };
    if unknown {
        words.push("bandwidth_unknown");
    }
    words.into_iter().map(ToString::to_string).collect()
}

/// Joined clips read as good as nothing on both sides of a value, and nothing was linked anew
/// between.
fn closed_before_and_after(record: &Record, brief: &Brief, job: &Job, seq: u64) -> bool {
    let link = brief.link_of(&job.meter).map(|link| link.link.as_str());
    let of = |line: &&Line<ProveFact>| line.fact.step.as_deref() == Some(&job.step);
    let proofs = || proof::proofs(record, "closed_path", 0).filter(of);
    let before = proofs().filter(|line| line.seq < seq).last();
    let after = proofs().find(|line| seq < line.seq);
    let (Some(before), Some(after)) = (before, after) else { return false };
    // Between the two the leads were laid, the voltage put on and taken away again.
    let laid = |act: &str| before.seq < last_act(record, act, seq);
    if job.tested.is_some()
        && !(laid("connected") && laid("clear") && next_act(record, "dead", seq) < after.seq)
    {
        return false;
    }
    job.prove.contains(&Proof::ClosedPath)
        && before.fact.ok
        && after.fact.ok
        && !record.relinked(link, before.seq, after.seq)
}

/// A dc current that was not turned round reads with the sign it had in the other direction.
fn same_direction(record: &Record, job: &Job, line: &Line<ValueFact>) -> bool {
    let Some(step) = record.step_named(&job.step) else { return false };
    let other = match job.direction {
        Direction::Plus => Direction::Minus,
        Direction::Minus => Direction::Plus,
        Direction::None => return false,
    };
    let turned = |one: &&StepRecord| {
        one.expanded.of == step.expanded.of
            && Placement::of(&one.expanded) == Placement::of(&step.expanded)
            && one.expanded.direction == Some(other)
    };
    let Some(counterpart) = record.steps.iter().find(turned) else { return false };
    let before = |value: &&Line<ValueFact>| value.seq < line.seq;
    let last = record.values_of(&counterpart.expanded.step).filter(before).last();
    last.is_some_and(|last| sign(&last.fact).zip(sign(&line.fact)).is_some_and(|(a, b)| a == b))
}

/// Whether a value other than zero is negative; `None` for zero and for bounds.
fn sign(value: &ValueFact) -> Option<bool> {
    let number = Number::parse(&value.value).filter(|number| number.digits != 0)?;
    value.indication.is_none().then_some(number.negative)
}

/// The path was shown: before the value, and after it where the lead could have come off.
pub(super) fn path(record: &Record, brief: &Brief, job: &Job, line: &Line<ValueFact>) -> bool {
    if job.test_current {
        return test_current::proved(record, brief, job, line).is_some();
    }
    if !job.prove.contains(&Proof::NetworkResistance) {
        // A low resistance shows its path itself; an insulation only between two closed clips.
        return job.low_resistance() || closed_before_and_after(record, brief, job, line.seq);
    }
    if !proof::provable(brief, job) {
        return false;
    }
    let connected = last_act(record, "connected", line.seq);
    let next = next_act(record, "connected", line.seq);
    let same = |line: &Line<ProveFact>| placement_of(record, line) == placement(record, job);
    let shown = |set: &Settings, from: u64, to: u64| {
        let within = |line: &&Line<ProveFact>| line.seq < to && line.fact.set == *set;
        let newest = proof::proofs(record, "network_resistance", from).filter(within).last();
        newest.is_some_and(|line| line.fact.ok && same(line) && brief.still_holds(job, line))
    };
    let before = |set: &Settings| shown(set, connected, line.seq);
    let after = |set: &Settings| shown(set, line.seq, next);
    let wanted = |again| proof::wanted(brief, job, again);
    wanted(false).iter().all(before) && wanted(true).iter().all(after)
}

/// The newest supply check before a value that holds.
pub(super) fn supply<'a>(
    record: &'a Record,
    value: &Line<ValueFact>,
) -> Option<&'a Line<ProveFact>> {
    let before = |line: &&Line<ProveFact>| line.seq < value.seq && record.day_began <= line.seq;
    let entered = |line: &&Line<ProveFact>| line.fact.why.as_deref() != Some(ENTER_AGAIN);
    proof::proofs(record, "supply", 0)
        .filter(before)
        .filter(entered)
        .last()
        .filter(|line| line.fact.ok)
}

/// The first of two equal entries: it is no check yet.
pub const ENTER_AGAIN: &str = "enter_again";

/// Boot-clock microseconds of a check, carried over or not.
pub(super) fn taken(line: &Line<ProveFact>) -> u64 {
    line.fact.carried.as_ref().map_or(line.at.0, |carried| carried.m)
}

/// The asset was shown alive while it was energised for this value; where it has several operating
/// states, in this one, and before the value.
fn alive(record: &Record, job: &Job, value: &Line<ValueFact>) -> bool {
    let from = last_act(record, "clear", value.seq);
    let to = next_act(record, "clear", value.seq).min(next_act(record, "connected", value.seq));
    let to = if job.operating.is_some() { to.min(value.seq) } else { to };
    shown_alive(record, job, from).any(|line| line.seq < to)
}

/// The asset was shown alive since hands are clear: the newest line that says so.
pub(super) fn alive_now<'a>(record: &'a Record, job: &'a Job) -> Option<&'a Line<ProveFact>> {
    shown_alive(record, job, last_act(record, "clear", u64::MAX)).last()
}

fn shown_alive<'a>(
    record: &'a Record,
    job: &'a Job,
    from: u64,
) -> impl Iterator<Item = &'a Line<ProveFact>> {
    let of = |fact: &ProveFact| fact.step.as_ref() == Some(&job.step);
    proof::proofs(record, "alive", from)
        .filter(move |line| line.fact.ok && of(&line.fact) && line.fact.operating == job.operating)
}

pub(super) fn last_act(record: &Record, what: &str, before: u64) -> u64 {
    let acts = record.acts.iter().filter(|act| act.fact.what == what && act.seq < before);
    acts.map(|act| act.seq).next_back().unwrap_or(0)
}

pub(super) fn next_act(record: &Record, what: &str, after: u64) -> u64 {
    let mut acts = record.acts.iter().filter(|act| act.fact.what == what && after < act.seq);
    acts.next().map_or(u64::MAX, |act| act.seq)
}

fn placement(record: &Record, job: &Job) -> Option<Placement> {
    record.step_named(&job.step).map(|step| Placement::of(&step.expanded))
}

fn placement_of(record: &Record, line: &Line<ProveFact>) -> Option<Placement> {
    let step = line.fact.step.as_ref()?;
    record.step_named(step).map(|step| Placement::of(&step.expanded))
}

/// A switching supply, and a voltmeter that averages, of which nobody says that it does not, or
/// that ends before 10 kHz.
fn slow(brief: &Brief, (job, step): (&Job, &Step)) -> bool {
    let bare = job.setup.is_none();
    let ammeter = brief.policy.proofs >= 6 && job.live() && job.function == Function::CurrentAc;
    if brief.policy.proofs < 2 || !brief.asset.switching_supply || (bare && !ammeter) {
        return false;
    }
    let range = super::job::range(brief.instruments.get(&job.meter), step, job.function);
    let ends = range.and_then(|range| range.bandwidth).map(scale::of);
    if bare && ends.is_none() {
        // No network weights what it reads, and nobody has looked how far it reads.
        return true;
    }
    range.is_none_or(|range| range.true_rms != Some(true))
        || ends.is_some_and(|hertz| hertz < BAND_END)
}

/// Less than network and voltmeter as one can tell from nothing: no asset on mains leaks nothing.
fn too_small(brief: &Brief, job: &Job, value: &ValueFact) -> bool {
    if !job.moves {
        return false;
    }
    let setup = job.setup.as_ref().and_then(|id| brief.setups.get(id));
    let lowest = setup.and_then(|setup| setup.lowest).map(scale::of);
    let number = Number::parse(&value.value);
    let size = number.map(|number| scale::magnitude(number, value.unit));
    lowest.zip(size).is_some_and(|(lowest, size)| size < lowest)
}

/// A low resistance that is nothing but its leads: both clips sit on one part. A cord is in the
/// path, and the thickest has more than that. `null`: what the leads show.
pub(super) fn only_leads(
    brief: &Brief,
    (job, method): (&Job, Option<&str>),
    value: &ValueFact,
    null: Option<Amount>,
) -> bool {
    if brief.policy.proofs < 2 || !job.low_resistance() || method == Some("inlet") {
        return false;
    }
    let number = Number::parse(&value.value).filter(|_| value.indication.is_none());
    let size = number.map(|number| scale::magnitude(number, value.unit));
    let leads = null.map_or(0, |null| scale::of(null).abs());
    size.is_some_and(|size| size - leads < LEAST_CORD)
}

/// 10 kHz: behind it the network leaves a tenth.
const BAND_END: i128 = scale::ONE * 10_000;
/// 1 MHz.
const PEAK_END: i128 = scale::ONE * 1_000_000;
/// 5 mohm. A metre of copper of 2.5 mm2 has 8, of 1 mm2 20 (IEC 60228 class 5, from memory).
const LEAST_CORD: i128 = scale::ONE * 5 / 1000;

/// A peak that is read less far than 1 MHz, which Annex D of IEC 60065 asks of the voltmeter (two
/// makers print it, excerpts seen). As dc nothing else is read.
fn peak_unknown(brief: &Brief, (job, step): (&Job, &Step)) -> bool {
    let range = super::job::range(brief.instruments.get(&job.meter), step, job.function);
    let ends = range.and_then(|range| range.bandwidth).map(scale::of);
    job.function == Function::VoltagePeak && ends.is_none_or(|hertz| hertz < PEAK_END)
}

/// A switching supply, and a setup that nobody has looked at above 1 kHz.
fn wide_band_unknown(brief: &Brief, job: &Job) -> bool {
    let Some(setup) = job.setup.as_ref().and_then(|id| brief.setups.get(id)) else { return false };
    let above = |hertz: &String| hertz.parse::<u64>().is_ok_and(|hz| 1000 < hz);
    brief.asset.switching_supply && !setup.ratio.keys().any(above)
}

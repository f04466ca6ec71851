//! Deliberate acts: connected, clear, live, dead, capture, and what a person can prove.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Prefix, Quantity, Unit};

use super::channel::FRESH_US;
use super::command::{Desk, Expect, Refusal, one_of};
use super::entered::Entry;
use super::job::Job;
use super::proof::{self, Stage};
use super::record::{Record, StepRecord};
use super::run::Phase;
use super::sample::{Sample, Says};
use super::{condition, follow, scale, source, test_current};
use crate::fact::{ActFact, Fact, ProveFact, SwitchFact};
use crate::plan::{Proof, Settings, Switch};
use crate::register::Known;

/// Joined clips read below this on an insulation tester: 0.1 Mohm.
const CLOSED_BELOW: i128 = scale::ONE * 100_000;
/// Widest that a typed supply lies from its rated voltage, thousandths.
pub(super) const RATED_PERMILLE: i128 = 100;
/// Neutral to protective earth stays below, and line to protective earth within, this share of
/// the voltage, thousandths.
const EARTHED_PERMILLE: i128 = 10;

/// `connected clear live dead`, and `test` where the lever of the test current was moved as asked.
pub(super) fn act(
    desk: Desk<'_>,
    what: &str,
    expect: Option<&Expect>,
) -> Result<Vec<Fact>, Refusal> {
    let what = one_of(what, &["connected", "clear", "live", "dead", "test"], "refusal.act")?;
    desk.seen(expect)?;
    if what == "dead" {
        return dead(desk);
    }
    let step = desk.active()?;
    let wrong = Refusal::new("conflict", "refusal.no_live_step");
    let job = desk.brief.job(&step.expanded.step).filter(|job| job.runs()).ok_or(wrong)?;
    match what {
        "connected" => connected(desk, job),
        "clear" => clear(desk, job),
        "test" => test(desk, job),
        _ => live(desk, job),
    }
}

/// The lever of the test current was moved to where it is asked for.
fn test(desk: Desk<'_>, job: &Job) -> Result<Vec<Fact>, Refusal> {
    let next = test_current::next(desk.record, desk.brief, job);
    let next = next.filter(|word| !test_current::stands(desk.record, word));
    let set = Settings::from([(Switch::Test, next.ok_or_else(|| out_of_turn(desk))?.to_string())]);
    let mut facts = Vec::from([fact("test", job)]);
    facts.extend(declared(desk, &set));
    Ok(facts)
}

fn fact(what: &str, job: &Job) -> Fact {
    let apart = what == "clear" && job.apart();
    Fact::Act(ActFact { what: what.to_string(), step: job.step.clone(), apart })
}

fn connected(desk: Desk<'_>, job: &Job) -> Result<Vec<Fact>, Refusal> {
    match desk.record.run.phase {
        Phase::Dead | Phase::Connected => {}
        _ => return Err(out_of_turn(desk)),
    }
    let supply = desk.record.switches.get(&Switch::Supply);
    if supply.is_some_and(|one| one.word == "on" && one.known == Known::Witnessed) {
        return Err(Refusal::new("conflict", "refusal.supply_is_on"));
    }
    let laid = desk.record.run.phase == Phase::Connected;
    if laid && proof::reprove(desk.record, job) {
        // The leads are not laid anew before the path is shown once more. Where nobody watched
        // them they are: what was captured before stays unproved, and is measured again.
        return Err(out_of_turn(desk));
    }
    if job.tested.is_some() {
        let step = desk.active()?;
        let joined = follow::joined_now(desk.record, desk.brief, job, step);
        if (!joined && !job.typed) || follow::off_again(desk.record, step) {
            return Err(Refusal::new("path_not_proved", "refusal.path_first"));
        }
        voltage_gone(desk, job)?;
    }
    Ok(Vec::from([fact("connected", job)]))
}

fn clear(desk: Desk<'_>, job: &Job) -> Result<Vec<Fact>, Refusal> {
    let stage = proof::stage(desk.record, desk.brief, job);
    if desk.record.run.phase != Phase::Connected || proof::reprove(desk.record, job) {
        return Err(out_of_turn(desk));
    }
    if stage != Stage::Ready {
        return Err(Refusal::new("path_not_proved", "refusal.path_first"));
    }
    if let Some(switch) = condition::contradiction(desk.record, job) {
        return Err(Refusal::new("condition_not_set", "refusal.switch_stands_otherwise")
            .with(switch.name()));
    }
    voltage_gone(desk, job)?;
    // A tester without its voltage says nothing that shows what it is set to.
    if job.tested.is_none() && !job.typed && !desk.watch.measures(job) {
        return Err(Refusal::new("wrong_function", "refusal.meter_not_ready").with(&job.meter));
    }
    let mut facts = Vec::from([fact("clear", job)]);
    facts.extend(declared(desk, &condition::to_set(desk.record, job)));
    Ok(facts)
}

fn live(desk: Desk<'_>, job: &Job) -> Result<Vec<Fact>, Refusal> {
    if desk.record.run.phase != Phase::Cleared {
        return Err(out_of_turn(desk));
    }
    if job.by_box && desk.brief.witness.sees(Switch::Supply) {
        return Err(Refusal::new("conflict", "refusal.contacts_say_live"));
    }
    let mut facts = Vec::from([fact("live", job)]);
    if job.by_box {
        facts.extend(declared(desk, &supply("on")));
    }
    // An operating state is set and seen after that, by an act of its own.
    if job.operating.is_none() && (job.by_box || job.prove.contains(&Proof::Alive)) {
        facts.push(Fact::Prove(alive(job)));
    }
    Ok(facts)
}

/// Always accepted unless contacts see the supply on: nobody is kept from making safe.
fn dead(desk: Desk<'_>) -> Result<Vec<Fact>, Refusal> {
    let active = desk.record.active().map(|step| step.expanded.step.clone());
    let step = active.unwrap_or_else(|| desk.record.run.placement.of.clone());
    if desk.record.run.phase == Phase::Dead {
        return Err(out_of_turn(desk));
    }
    let seen = desk.record.switches.get(&Switch::Supply);
    if seen.is_some_and(|one| one.known == Known::Witnessed && one.word == "on") {
        return Err(Refusal::new("conflict", "refusal.supply_is_on"));
    }
    let job = desk.brief.job(&step);
    if let Some(job) = job {
        voltage_gone(desk, job)?;
    }
    let by_box = job.is_none_or(|job| job.by_box);
    let what = "dead".to_string();
    let mut facts = Vec::from([Fact::Act(ActFact { what, step, apart: false })]);
    if condition::silent(desk.record, desk.brief) {
        // What contacts would have witnessed is this person's word, and the record says so.
        facts.extend(by_word(desk, supply("off")));
    } else if by_box {
        facts.extend(declared(desk, &supply("off")));
    }
    Ok(facts)
}

/// An instrument that says that its voltage is still there is believed.
fn voltage_gone(desk: Desk<'_>, job: &Job) -> Result<(), Refusal> {
    let channel = desk.watch.seen(&job.meter).filter(|_| job.tested.is_some());
    match channel.is_some_and(|channel| channel.volts.dangerous(desk.at)) {
        true => Err(Refusal::new("conflict", "refusal.voltage_is_there").with(&job.meter)),
        false => Ok(()),
    }
}

/// Both clips are to be on one metal point: before the leads are laid, and once the voltage that
/// gave a value is off.
pub(super) fn joins_clips(record: &Record, step: &StepRecord) -> bool {
    record.run.phase == Phase::Dead || follow::off_again(record, step)
}

fn out_of_turn(desk: Desk<'_>) -> Refusal {
    let now = super::prompt::prompt(desk.record, Some(desk.brief), desk.watch);
    Refusal::new("conflict", "refusal.out_of_turn").with(now.state)
}

fn supply(word: &str) -> Settings {
    Settings::from([(Switch::Supply, word.to_string())])
}

/// Settings that the operator takes upon themselves; what is known better already is left out.
fn declared(desk: Desk<'_>, set: &Settings) -> Option<Fact> {
    let better = |switch: &Switch, word: &String| {
        let setting = desk.record.switches.get(switch);
        setting.is_some_and(|one| one.word == *word && one.known > Known::Declared)
    };
    let set: Settings = set
        .iter()
        .filter(|(switch, word)| !better(switch, word) && !desk.brief.witness.sees(**switch))
        .map(|(switch, word)| (*switch, word.clone()))
        .collect();
    by_word(desk, set)
}

fn by_word(desk: Desk<'_>, set: Settings) -> Option<Fact> {
    let fixture = desk.brief.supply_box()?.id.clone();
    let known = Known::Declared;
    (!set.is_empty()).then_some(Fact::Switch(SwitchFact { fixture, set, known }))
}

fn alive(job: &Job) -> ProveFact {
    ProveFact {
        what: "alive".into(),
        step: Some(job.step.clone()),
        how: Some("indicator".into()),
        operating: job.operating.clone(),
        known: job.operating.as_ref().map(|_| Known::Declared),
        ok: true,
        ..ProveFact::default()
    }
}

/// Arms a capture; never shortens a window.
pub(super) fn capture(desk: Desk<'_>, expect: Option<&Expect>) -> Result<Vec<Fact>, Refusal> {
    desk.seen(expect)?;
    let step = desk.active()?;
    let job = desk.brief.job(&step.expanded.step);
    let job = job.ok_or(Refusal::new("conflict", "refusal.nothing_to_capture"))?;
    if job.typed {
        return Err(Refusal::new("conflict", "refusal.enter_it"));
    }
    if job.runs() && !desk.record.run.live_and_watched() {
        return Err(Refusal::new("conflict", "refusal.not_live"));
    }
    if desk.watch.seen(&job.meter).is_some_and(super::channel::Channel::measuring) {
        return Err(Refusal::new("conflict", "refusal.window_runs"));
    }
    if test_current::runs(desk.record, job).is_some() && !test_current::stands(desk.record, "off") {
        return Err(out_of_turn(desk));
    }
    Ok(Vec::from([Desk::arm(&job.step)]))
}

/// `network_resistance alive supply source closed_path`.
pub(super) fn prove(
    desk: Desk<'_>,
    what: &str,
    volts: [Option<&str>; 3],
) -> Result<Vec<Fact>, Refusal> {
    let words = ["network_resistance", "alive", "supply", "source", "closed_path"];
    match one_of(what, &words, "refusal.prove")? {
        "closed_path" => prove_closed_path(desk),
        "supply" => prove_supply(desk, volts),
        "source" => source::prove(desk, volts[0]),
        "alive" => prove_alive(desk),
        _ => give_up_path(desk),
    }
}

fn prove_alive(desk: Desk<'_>) -> Result<Vec<Fact>, Refusal> {
    desk.seen(None)?;
    let step = desk.active()?;
    let job = desk.brief.job(&step.expanded.step).filter(|job| job.live());
    let job = job.ok_or(Refusal::new("conflict", "refusal.no_live_step"))?;
    if !desk.record.run.live_and_watched() {
        return Err(Refusal::new("conflict", "refusal.not_live"));
    }
    if condition::supply_gone(desk.record, job) {
        return Err(Refusal::new("conflict", "refusal.supply_is_off"));
    }
    Ok(Vec::from([Fact::Prove(alive(job))]))
}

/// Both clips on one metal point read as good as nothing: the newest two readings show it or not.
fn prove_closed_path(desk: Desk<'_>) -> Result<Vec<Fact>, Refusal> {
    desk.seen(None)?;
    let step = desk.active()?;
    let job = desk.brief.job(&step.expanded.step);
    let job = job.filter(|job| job.prove.contains(&Proof::ClosedPath));
    let job = job.ok_or(Refusal::new("conflict", "refusal.prove"))?;
    if job.tested.is_some() && !joins_clips(desk.record, step) {
        return Err(out_of_turn(desk));
    }
    let pair = desk.watch.seen(&job.meter).and_then(super::channel::Channel::pair);
    let fresh = pair.filter(|(function, [_, newest])| {
        *function == job.function && desk.at.0.saturating_sub(newest.at.0) <= FRESH_US
    });
    let Some((_, pair)) = fresh else {
        return Err(Refusal::new("no_reading", "refusal.one_reading"));
    };
    let shorted = |sample: &Sample| {
        let says = matches!(sample.says, Says::Value | Says::Below) && !sample.relative;
        says && sample.size < CLOSED_BELOW
    };
    let (closed, sample) = (shorted(&pair[1]), pair[1]);
    if shorted(&pair[0]) != closed {
        return Err(Refusal::new("no_reading", "refusal.one_reading"));
    }
    Ok(Vec::from([Fact::Prove(ProveFact {
        what: "closed_path".into(),
        step: Some(job.step.clone()),
        value: Some(sample.number.text()),
        want: Some(scale::text(CLOSED_BELOW, sample.unit)),
        unit: Some(sample.unit),
        ok: closed,
        why: (!closed).then(|| "path_not_proved".to_string()),
        from: pair.iter().map(|sample| sample.id).collect(),
        ..ProveFact::default()
    })]))
}

/// The path can't be shown: said, so that the run may go on and its values stay undecided.
fn give_up_path(desk: Desk<'_>) -> Result<Vec<Fact>, Refusal> {
    desk.seen(None)?;
    let step = desk.active()?;
    let job = desk.brief.job(&step.expanded.step).filter(|job| job.live());
    let job = job.ok_or(Refusal::new("conflict", "refusal.no_live_step"))?;
    if proof::stage(desk.record, desk.brief, job) == Stage::Ready {
        return Err(out_of_turn(desk));
    }
    let again = proof::reprove(desk.record, job);
    let since = proof::since(desk.record, job);
    let shown = |set: &Settings| {
        let mut proofs = proof::proofs(desk.record, "network_resistance", since);
        proofs.any(|line| line.fact.set == *set)
    };
    let newest = desk.watch.seen(&job.meter).and_then(|channel| channel.newest);
    let failed = |set: Settings| {
        let reading = newest.filter(|(function, _)| super::job::is_resistance(*function));
        let sample = reading.map(|(_, sample)| sample);
        let unit = sample.map(|sample| sample.unit);
        let want = proof::target(desk.brief, job, &set);
        Fact::Prove(ProveFact {
            what: "network_resistance".into(),
            step: Some(job.step.clone()),
            set,
            value: sample.map(|sample| sample.number.text()),
            want: want.zip(unit).map(|(want, unit)| scale::text(want, unit)),
            unit,
            why: Some("path_not_proved".into()),
            from: sample.map(|sample| sample.id).into_iter().collect(),
            ..ProveFact::default()
        })
    };
    let open = proof::wanted(desk.brief, job, again).into_iter().filter(|set| !shown(set));
    Ok(open.map(failed).collect())
}

/// Typed twice.
fn prove_supply(desk: Desk<'_>, volts: [Option<&str>; 3]) -> Result<Vec<Fact>, Refusal> {
    let [Some(ln), Some(npe), Some(lpe)] = volts else {
        return Err(Refusal::new("bad_input", "refusal.three_voltages"));
    };
    let number = |text: &str| {
        let size = scale::volts(text).filter(|size| *size >= 0);
        size.ok_or_else(|| Refusal::new("bad_input", "refusal.no_voltage").with(text))
    };
    let sizes = [number(ln)?, number(npe)?, number(lpe)?];
    let last = proof::proofs(desk.record, "supply", 0).last();
    let entry = Entry::after(last, desk.by, |fact| is_same(fact, [ln, npe, lpe]));
    let why = entry.why(|| supply_fault(desk, sizes));
    Ok(Vec::from([Fact::Prove(ProveFact {
        what: "supply".into(),
        ln: Some(ln.to_string()),
        npe: Some(npe.to_string()),
        lpe: Some(lpe.to_string()),
        unit: Some(Unit { prefix: Prefix::One, quantity: Quantity::Volt }),
        known: Some(Known::Declared),
        typed: true,
        differs: entry == Entry::Differs,
        ok: why.is_none(),
        why: why.map(ToString::to_string),
        ..ProveFact::default()
    })]))
}

fn is_same(fact: &ProveFact, volts: [&str; 3]) -> bool {
    let typed = [&fact.ln, &fact.npe, &fact.lpe];
    typed.iter().zip(volts).all(|(old, new)| old.as_deref() == Some(new))
}

/// An earthed-neutral supply of the rated voltage: anything else reads too little leakage.
fn supply_fault(desk: Desk<'_>, [ln, npe, lpe]: [i128; 3]) -> Option<&'static str> {
    let rated = desk.brief.asset.rated_volts.as_deref().and_then(scale::volts);
    let fits = rated.is_some_and(|rated| scale::within_permille(ln, rated, RATED_PERMILLE));
    let earthed = npe.saturating_mul(1000) < ln.saturating_mul(EARTHED_PERMILLE)
        && scale::within_permille(lpe, ln, EARTHED_PERMILLE);
    (!(fits && earthed)).then_some("supply_not_checked")
}

/// Switches as a person or a code beside the lever says.
pub(super) fn switch(desk: Desk<'_>, set: &Settings, known: Known) -> Result<Vec<Fact>, Refusal> {
    let fixture = desk.brief.supply_box();
    let fixture = fixture.ok_or(Refusal::new("fixture_missing", "refusal.no_supply_box"))?;
    if set.is_empty() {
        return Err(Refusal::new("bad_input", "refusal.no_switch"));
    }
    let mut known = known.min(Known::Revealed);
    for (switch, word) in set {
        let best = fixture.switches.get(switch.name());
        let Some(best) = best else {
            return Err(Refusal::new("not_found", "refusal.box_has_no_switch").with(switch.name()));
        };
        one_of(word, switch.words(), "refusal.switch_word")?;
        if *switch == Switch::Supply {
            return Err(Refusal::new("conflict", "refusal.supply_by_acts"));
        }
        if desk.brief.witness.sees(*switch) {
            return Err(Refusal::new("conflict", "refusal.contacts_say_switch").with(switch.name()));
        }
        known = known.min(*best);
    }
    if desk.record.run.phase == Phase::Live && !tests(desk, set) {
        return Err(Refusal::new("conflict", "refusal.dead_first"));
    }
    let (fixture, set) = (fixture.id.clone(), set.clone());
    Ok(Vec::from([Fact::Switch(SwitchFact { fixture, set, known })]))
}

/// The lever of the test current stands where it is asked for, and nothing else is said.
fn tests(desk: Desk<'_>, set: &Settings) -> bool {
    let active = desk.record.active().and_then(|step| desk.brief.job(&step.expanded.step));
    let next = active.and_then(|job| test_current::next(desk.record, desk.brief, job));
    next.is_some_and(|next| *set == Settings::from([(Switch::Test, next.to_string())]))
}

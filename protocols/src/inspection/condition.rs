//! The condition of a value: what the switches are set to, and how weakly that is known.

use super::brief::Brief;
use super::job::Job;
use super::record::{Line, Record, Setting};
use super::run::Phase;
use super::{evidence, source, test_current};
use crate::fact::{ActFact, ValueFact};
use crate::plan::{Settings, Switch};
use crate::register::Known;

/// The weakest way in which the condition of a job is known, `None` for one that has none.
///
/// # Errors
/// `not_live` where the asset is not energised on purpose or a switch stands otherwise.
pub(super) fn known(record: &Record, job: &Job) -> Result<Option<Known>, &'static str> {
    if !job.runs() {
        return Ok(None);
    }
    if !record.run.live_and_watched() {
        return Err("not_live");
    }
    if !energised(record, job) {
        return Err("not_live");
    }
    let active = record.active().and_then(|step| record.captured(step));
    if active
        .is_some_and(|value| record.run.live < value.seq && !armed_since(record, job, value.seq))
    {
        return Err("window_closed");
    }
    if one_pole_open(record, job) || !strays(record, job).is_empty() {
        return Err("not_live");
    }
    if !in_state(record, job) {
        return Err("not_live");
    }
    let said = !job.by_box || job.operating.is_some();
    let mut weakest = if said { Known::Declared } else { Known::Witnessed };
    if job.source {
        let shown = source::now(record, &job.step).ok_or("not_live")?;
        let known = shown.fact.known.unwrap_or(Known::Declared);
        weakest = if job.by_box || job.operating.is_some() { weakest.min(known) } else { known };
    }
    for (switch, word) in needed(job) {
        let setting = record.switches.get(&switch).filter(|setting| setting.word == word);
        weakest = weakest.min(setting.ok_or("not_live")?.known);
    }
    Ok(Some(weakest))
}

/// Leads are to be laid, and the contacts that see the supply have not said that it is off: a box
/// that speaks of changes alone has had none to speak of. `connected` is the person's word then.
pub(super) fn unseen(record: &Record, brief: &Brief, job: &Job) -> bool {
    let dead = matches!(record.run.phase, Phase::Dead | Phase::Connected);
    dead && job.by_box && silent(record, brief)
}

/// There are contacts that see the supply, and they have not said how it stands.
pub(super) fn silent(record: &Record, brief: &Brief) -> bool {
    let supply = record.switches.get(&Switch::Supply);
    let seen = supply.is_some_and(|setting| setting.known == Known::Witnessed);
    brief.witness.sees(Switch::Supply) && !seen
}

/// The supply energises the job, and contacts see it off: only something else is on.
pub(super) fn supply_gone(record: &Record, job: &Job) -> bool {
    let off = |setting: &Setting| setting.known == Known::Witnessed && setting.word != "on";
    job.by_box && record.switches.get(&Switch::Supply).is_some_and(off)
}

/// It is live by what energises the job: where the supply box does not, contacts that see the box
/// on say nothing of it, and a person says `live`.
pub(super) fn energised(record: &Record, job: &Job) -> bool {
    let said = |act: &Line<ActFact>| act.fact.what == "live" && act.seq == record.run.live;
    job.by_box || record.acts.iter().any(said)
}

/// The asset was set to the operating state of the job, and seen in it, since hands were clear.
pub(super) fn in_state(record: &Record, job: &Job) -> bool {
    job.operating.is_none() || evidence::alive_now(record, job).is_some()
}

/// The operator asked for one more capture.
pub(super) fn armed_since(record: &Record, job: &Job, seq: u64) -> bool {
    let arms = |act: &&Line<ActFact>| act.fact.what == "arm" && act.fact.step == job.step;
    record.acts.iter().rev().find(arms).is_some_and(|act| seq < act.seq)
}

/// The switches that a job needs, supply on included where it is the box that energises. A value is
/// captured with the known current off.
pub(super) fn needed(job: &Job) -> Settings {
    let mut set = job.set.clone();
    if job.test_current {
        set.insert(Switch::Test, "off".into());
    }
    if job.by_box {
        set.insert(Switch::Supply, "on".into());
    }
    set
}

/// The switches as they are to be set before hands are clear: those of the job, and those that
/// stand otherwise than at rest though the job does not name them.
pub(super) fn to_set(record: &Record, job: &Job) -> Settings {
    let mut set = job.set.clone();
    set.extend(strays(record, job));
    if job.test_current && test_current::runs(record, job).is_none() {
        set.insert(Switch::Test, "off".into());
    }
    set
}

/// Switches that an earlier step left where this one does not want them, with their rest.
fn strays(record: &Record, job: &Job) -> Settings {
    let stray = |(switch, setting): (&Switch, &Setting)| {
        let rest = switch.words()[0];
        let named = *switch == Switch::Supply
            || job.set.contains_key(switch)
            || (*switch == Switch::Test && job.test_current);
        (!named && setting.word != rest).then(|| (*switch, rest.into()))
    };
    let all = record.switches.iter().filter(|_| job.rests);
    all.filter_map(stray).collect()
}

/// The first switch that is known to stand otherwise than the job wants.
pub(super) fn contradiction(record: &Record, job: &Job) -> Option<Switch> {
    let otherwise = |(switch, word): (&Switch, &alloc::string::String)| {
        let setting = record.switches.get(switch)?;
        (setting.word != *word && setting.known == Known::Witnessed).then_some(*switch)
    };
    let open = (one_pole_open(record, job) && !job.rests).then_some(Switch::S1);
    open.or_else(|| to_set(record, job).iter().find_map(otherwise))
}

/// A supply conductor is open, and the job is not about that.
fn one_pole_open(record: &Record, job: &Job) -> bool {
    let open = record.switches.get(&Switch::S1).is_some_and(|setting| setting.word == "open");
    job.live() && open && !job.set.contains_key(&Switch::S1)
}

/// A switch stands otherwise than the job wants, however that is known.
pub(super) fn otherwise(record: &Record, job: &Job) -> bool {
    to_set(record, job).iter().any(|(switch, word)| {
        record.switches.get(switch).is_some_and(|setting| setting.word != *word)
    })
}

/// The value with how its condition is known.
pub(super) fn stamped(fact: ValueFact, job: &Job, known: Option<Known>) -> ValueFact {
    ValueFact { known, operating: job.operating.clone(), ..fact }
}

/// Guard of a value that the operator captures.
pub(super) fn operator_guard_us(brief: &Brief, job: &Job) -> u64 {
    job.guard_us.unwrap_or(u64::from(brief.policy.guard_ms) * 1_000)
}

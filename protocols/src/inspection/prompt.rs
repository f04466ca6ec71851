//! What the operator should do now.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use serde::Serialize;
use tapline_drivers::Function;

use super::brief::Brief;
use super::job::Job;
use super::null::{self, Nulled};
use super::proof::{self, Stage};
use super::record::{Record, StepRecord, StepState};
use super::run::Phase;
use super::watch::Watch;
use super::{condition, evidence, follow, source, test_current, typed, warmth};
use crate::fact::Word;
use crate::plan::{Direction, Proof, Settings, StepKind, Switch};

/// The closed list of the states of a prompt.
pub const STATES: [&str; 31] = [
    "waiting",
    "parked",
    "null",
    "null_apart",
    "look",
    "answer",
    "arm",
    "measure",
    "join_clips",
    "connect",
    "prove_closed",
    "prove_open",
    "probe_earth",
    "probe_part",
    "clear",
    "live",
    "voltage_on",
    "alive",
    "set_state",
    "source",
    "capture",
    "enter",
    "enter_live",
    "test_current",
    "dead",
    "voltage_off",
    "reprove",
    "may_be_live",
    "close_scan",
    "sign",
    "done",
];

/// What the operator should do now. `state` is one of [`STATES`]:
///
/// | word | what is to be done |
/// |---|---|
/// | `waiting` | nothing yet: the inspection is being opened, or the meter is being configured |
/// | `parked` | resume |
/// | `null` | join the clips of the lead set in `step` (`null/L-1`), in `direction` |
/// | `null_apart` | take the clips apart, turn the current round, join them again |
/// | `look` | look at `items` and answer |
/// | `answer` | answer `items` (try, ask) |
/// | `arm` | lift the probe, or arm by an act |
/// | `measure` | touch the point and hold |
/// | `join_clips` | join both clips on one metal point, read, then `prove closed_path` |
/// | `connect` | lay the leads, then `act connected` |
/// | `prove_closed` | close S7; the network is read by itself |
/// | `prove_open` | open S7 where the asset has one; the network is read by itself |
/// | `probe_earth` | lay the network's probe on the earth of the supply box; it is read by itself |
/// | `probe_part` | lay the network's probe where it is to be; what is there is read by itself |
/// | `clear` | set the switches of `set`, take the hands off, then `act clear` |
/// | `live` | switch supply and source on, then `act live` on a declared box |
/// | `voltage_on` | switch the test voltage on, by the instrument's own key, then `act live` |
/// | `alive` | see the asset's own indicator, then `prove alive` |
/// | `set_state` | set the asset to the state `operating`, see it in that, then `prove alive` |
/// | `source` | read the source's own voltmeter, then `prove source`, twice |
/// | `capture` | wait, hands off |
/// | `enter` | read the meter's display, then `enter`, twice |
/// | `enter_live` | the same, hands off |
/// | `test_current` | move the lever of the test current as `set` says, then `act test` |
/// | `dead` | switch supply and source off, then `act dead`; a witnessed box says it by itself |
/// | `voltage_off` | switch it off, discharge, measure that it is gone, then `act dead` |
/// | `reprove` | close S7 before a lead is moved; the network is read by itself |
/// | `may_be_live` | it may still be live: switch off, make safe, then `act dead` |
/// | `close_scan` | scan the asset once more |
/// | `sign` | sign |
/// | `done` | nothing: signed or ended |
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Prompt {
    /// The word.
    pub state: &'static str,
    /// Active expanded step, or `null/L-1`.
    pub step: Option<String>,
    /// The plan's step.
    pub of: Option<String>,
    /// `seq` of the last `step` or `act` line: what an act expects.
    pub seq: Option<u64>,
    /// How the leads lie: a key of the words file.
    pub lead: Option<String>,
    /// Cautions: keys of the words file.
    pub cautions: Vec<String>,
    /// Switches to be set.
    pub set: Settings,
    /// Items that are open.
    pub items: Vec<String>,
    /// Earthed point, accessible part, cord, connection or inlet.
    pub point: Option<String>,
    /// Applied part.
    pub part: Option<String>,
    /// Operating state.
    pub operating: Option<String>,
    /// Direction of a dc measuring current.
    pub direction: Option<Direction>,
    /// Instrument that is read.
    pub instrument: Option<String>,
    /// Function that it is read in.
    pub function: Option<Function>,
    /// Limit row.
    pub limit: Option<String>,
    /// What is missing and will leave the step undecided: `supply_not_checked`,
    /// `lead_not_nulled`, `null_too_old`, `path_not_proved`, `no_temperature`. A question to the
    /// person alone: `supply_unseen`, while leads are to be laid, and `supply_silent`, while it may
    /// be live.
    pub missing: Vec<&'static str>,
    /// Why the last null or proof was not accepted, a word of the reasons.
    pub refused: Option<&'static str>,
}

/// Says what the operator should do now.
pub(super) fn prompt(record: &Record, brief: Option<&Brief>, watch: &Watch) -> Prompt {
    let mut prompt = Prompt {
        state: state(record, brief, watch),
        seq: record.last.map(|(seq, _)| seq),
        refused: watch.refused,
        ..Prompt::default()
    };
    let Some(brief) = brief else { return prompt };
    if let Some(null) = &watch.null {
        prompt.step = Some(alloc::format!("null/{}", null.lead));
        prompt.direction = Some(null.direction);
        prompt.instrument = Some(null.meter.clone());
        prompt.function = Some(null.function);
        return prompt;
    }
    if let Some(step) = record.active() {
        fill(&mut prompt, (record, watch), brief, step);
    }
    if record.run.phase == Phase::Live && condition::silent(record, brief) {
        prompt.missing.push("supply_silent");
    }
    prompt
}

fn fill(prompt: &mut Prompt, (record, watch): (&Record, &Watch), brief: &Brief, step: &StepRecord) {
    let expanded = &step.expanded;
    prompt.step = Some(expanded.step.clone());
    prompt.of = Some(expanded.of.clone());
    prompt.point.clone_from(&expanded.point);
    prompt.part.clone_from(&expanded.part);
    prompt.operating.clone_from(&expanded.state);
    prompt.direction = expanded.direction;
    prompt.limit.clone_from(&expanded.limit);
    if let Some(planned) = brief.step(&expanded.of) {
        prompt.lead.clone_from(&planned.lead);
        prompt.cautions.clone_from(&planned.caution);
    }
    if let Some(job) = brief.job(&expanded.step) {
        prompt.instrument = Some(job.meter.clone());
        prompt.function = Some(wanted(record, brief, job));
        prompt.set = settings(record, brief, job, prompt.state);
        prompt.missing = missing(record, brief, job);
        let stands = !condition::otherwise(record, job) && !condition::supply_gone(record, job);
        if job.live() && record.run.phase == Phase::Live && !stands {
            prompt.refused = Some("condition_not_set");
        }
        if job.tested.is_some() && prompt.state == "capture" && watch.lacks_voltage(job) {
            prompt.refused = Some("voltage_not_shown");
        }
    } else {
        if brief.kind(expanded) == StepKind::Try && has_failed(record) {
            prompt.cautions.insert(0, "failed".to_string());
        }
        let open = |item: &String| !follow::answered(record, step, item);
        prompt.items = brief.items(expanded).into_iter().filter(open).collect();
    }
}

/// Something of the asset has failed, and to try it it is switched on.
fn has_failed(record: &Record) -> bool {
    let fails = |word| matches!(word, Word::Fail | Word::ConditionalFail);
    record.verdicts.values().any(|line| fails(line.fact.judged.verdict))
}

/// The function that a meter is to measure now for the active step.
pub(super) fn wanted(record: &Record, brief: &Brief, job: &Job) -> Function {
    match job.live() {
        true => proof::stage(record, brief, job).function(brief, job),
        false => job.function,
    }
}

fn settings(record: &Record, brief: &Brief, job: &Job, state: &str) -> Settings {
    let supply = |word: &str| (Switch::Supply, word.to_string());
    match (state, proof::stage(record, brief, job)) {
        (
            "prove_closed" | "prove_open" | "reprove" | "probe_earth" | "probe_part",
            Stage::Network(set),
        ) => set,
        ("prove_open", _) => proof::next(record, brief, job).unwrap_or_default(),
        ("prove_closed" | "reprove", _) if job.opens_earth() => {
            Settings::from([(Switch::S7, "closed".to_string())])
        }
        ("clear", _) => condition::to_set(record, job),
        ("test_current" | "capture", _) if test_current::runs(record, job).is_some() => {
            let mut set = condition::needed(job);
            let next = test_current::next(record, brief, job).unwrap_or("off");
            set.insert(Switch::Test, next.to_string());
            set
        }
        ("live" | "alive" | "set_state" | "source" | "capture", _) => condition::needed(job),
        ("connect" | "dead" | "may_be_live", _) if job.by_box => Settings::from([supply("off")]),
        _ => Settings::new(),
    }
}

fn missing(record: &Record, brief: &Brief, job: &Job) -> Vec<&'static str> {
    let mut words = Vec::new();
    if job.prove.contains(&Proof::Supply) && !follow::supply_checked(record) {
        words.push("supply_not_checked");
    }
    if job.leads.is_some() {
        let at = record.last.map_or(tapline_drivers::Now(0), |(_, at)| at);
        if let Nulled::Not(why) = null::ready(record, brief, job, at) {
            words.push(why);
        }
    }
    if condition::unseen(record, brief, job) {
        words.push("supply_unseen");
    }
    if brief.step(&job.of).is_some_and(warmth::asked) {
        let at = record.last.map_or(tapline_drivers::Now(0), |(_, at)| at);
        if !warmth::is_known(record, (u64::MAX, at)) {
            words.push("no_temperature");
        }
    }
    let network = job.proves_network() && !proof::provable(brief, job);
    if network || (job.test_current && !test_current::provable(brief, job)) {
        words.push("path_not_proved");
    }
    words
}

fn state(record: &Record, brief: Option<&Brief>, watch: &Watch) -> &'static str {
    if record.closed() {
        return "done";
    }
    if record.parked {
        return "parked";
    }
    let run = &record.run;
    let nothing_measured = record.active().is_none();
    if run.phase == Phase::Live && (run.doubt || run.unready || nothing_measured) {
        return "may_be_live";
    }
    let Some(brief) = brief else { return "waiting" };
    if let Some(null) = &watch.null {
        return if null.waits() { "null_apart" } else { "null" };
    }
    let Some(step) = record.active() else { return at_the_end(record) };
    match (brief.kind(&step.expanded), brief.job(&step.expanded.step)) {
        (_, Some(job)) if job.typed => typed::state(at_job(record, brief, watch, (job, step))),
        (_, Some(job)) => at_job(record, brief, watch, (job, step)),
        (StepKind::Look, _) => "look",
        _ => "answer",
    }
}

fn at_job(
    record: &Record,
    brief: &Brief,
    watch: &Watch,
    (job, step): (&Job, &StepRecord),
) -> &'static str {
    if job.live() {
        return match live(record, brief, job, step) {
            "clear" if job.polled && !watch.measures(job) => "waiting",
            word => word,
        };
    }
    if job.tested.is_some() {
        return tested(record, brief, job, step);
    }
    if joins_clips(record, job, step) {
        return "join_clips";
    }
    let armed = watch.seen(&job.meter).is_some_and(super::channel::Channel::armed);
    if armed { "measure" } else { "arm" }
}

/// A step under a test voltage.
fn tested(record: &Record, brief: &Brief, job: &Job, step: &StepRecord) -> &'static str {
    let captured = record.captured(step).is_some_and(|value| record.run.live < value.seq);
    match record.run.phase {
        Phase::Live if captured || !condition::energised(record, job) => "voltage_off",
        Phase::Live => "capture",
        Phase::Cleared => "voltage_on",
        _ if follow::off_again(record, step) => "join_clips",
        Phase::Connected => "clear",
        Phase::Dead if !job.typed && !follow::joined_now(record, brief, job, step) => "join_clips",
        Phase::Dead => "connect",
    }
}

/// The path of an insulation is closed before the value, and after it.
fn joins_clips(record: &Record, job: &Job, step: &StepRecord) -> bool {
    let since = record.captured(step).map_or(step.since, |value| value.seq);
    job.prove.contains(&Proof::ClosedPath) && !follow::joined(record, since, job)
}

fn live(record: &Record, brief: &Brief, job: &Job, step: &StepRecord) -> &'static str {
    let again = proof::reprove(record, job);
    match (record.run.phase, proof::stage(record, brief, job)) {
        (Phase::Dead, _) => "connect",
        (Phase::Connected, Stage::Ready) => "clear",
        (Phase::Connected, _) if again => match proof::next(record, brief, job) {
            Some(set) if proof::is_on_earth(&set) => "probe_earth",
            Some(set) if set.is_empty() && job.over_500() => "probe_part",
            Some(set) if !closed_first(&set) => "prove_open",
            _ => "reprove",
        },
        (Phase::Connected, Stage::Network(set)) if proof::is_on_earth(&set) => "probe_earth",
        (Phase::Connected, _) if job.over_500() && !job.opens_earth() => "probe_part",
        (Phase::Connected, Stage::Network(set)) if closed_first(&set) => "prove_closed",
        (Phase::Connected, Stage::Voltage(_)) if job.opens_earth() => "prove_closed",
        (Phase::Connected, _) => "prove_open",
        (Phase::Cleared, _) => "live",
        (Phase::Live, _) if condition::otherwise(record, job) => "dead",
        (Phase::Live, _) if condition::supply_gone(record, job) => "dead",
        (Phase::Live, _) if !condition::energised(record, job) => "dead",
        (Phase::Live, _) if !condition::in_state(record, job) => "set_state",
        (Phase::Live, _) if !shown_alive(record, job) => "alive",
        (Phase::Live, _) => {
            let captured = record.captured(step).is_some_and(|v| record.run.live < v.seq);
            match job.source && source::now(record, &job.step).is_none() {
                _ if captured => tested_current(record, brief, job),
                true => "source",
                false => "capture",
            }
        }
    }
}

/// What follows a value: the known current in both senses, where there is one.
fn tested_current(record: &Record, brief: &Brief, job: &Job) -> &'static str {
    match test_current::next(record, brief, job) {
        None => "dead",
        Some(word) if test_current::stands(record, word) => "capture",
        Some(_) => "test_current",
    }
}

fn closed_first(set: &Settings) -> bool {
    set.get(&Switch::S7).is_some_and(|word| word == "closed")
}

fn shown_alive(record: &Record, job: &Job) -> bool {
    let asked = job.prove.contains(&Proof::Alive);
    !asked || evidence::alive_now(record, job).is_some()
}

fn at_the_end(record: &Record) -> &'static str {
    if record.steps.is_empty() || record.steps.iter().any(|s| s.state == StepState::Waiting) {
        return "waiting";
    }
    if record.closing_scan() { "sign" } else { "close_scan" }
}

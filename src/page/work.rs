//! What stands in an open inspection, as the page shows it.

use std::collections::BTreeSet;

use tapline_protocols::exact::Ratio;
use tapline_protocols::fact::{Given, Judged};
use tapline_protocols::inspection::{Inspection, Record, StepState, TYPED, Valued};
use tapline_protocols::limits::{Direction, Row, Table};

/// One step of the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Planned {
    /// Its name.
    pub of: String,
    /// Expanded steps: name, where, state.
    pub parts: Vec<Part>,
    /// Newest verdict.
    pub verdict: Option<Judged>,
}

/// One expanded step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Part {
    /// `pe/1`.
    pub step: String,
    /// Point, applied part, operating state and switches, as far as there are any.
    pub at: Vec<String>,
    /// `waiting active done skipped closed`.
    pub state: &'static str,
    /// Why it was skipped or closed.
    pub reason: Option<String>,
    /// Values that were captured.
    pub values: Vec<Captured>,
}

/// A captured value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Captured {
    pub seq: u64,
    /// As it is judged, in the unit of its limit.
    pub amount: String,
    /// What the meter showed, where that is something else.
    pub sent: Option<String>,
    pub dropped: bool,
    /// A person entered it, twice.
    pub typed: bool,
    /// Its place on the bar.
    pub place: Option<u32>,
}

/// An open inspection.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Work {
    pub planned: Vec<Planned>,
    /// Switch, position, how it is known.
    pub switches: Vec<(&'static str, String, &'static str)>,
    /// Lead sets of the bench.
    pub leads: Vec<String>,
    /// The supply was checked.
    pub supply: bool,
    /// What nobody said of its asset, and no signature goes without.
    pub lacks: Vec<&'static str>,
    /// A signature takes a PIN.
    pub pin: bool,
    /// What the whole says so far.
    pub outcome: Option<String>,
    /// The value that was captured last, while it counts, and its step.
    pub captured: Option<(String, Captured)>,
    /// The active step has a value that counts.
    pub measured: bool,
    /// The step of the plan that was judged last.
    pub judged: Option<(String, Judged)>,
    /// Its limit in words.
    pub limit: Option<String>,
}

impl Work {
    /// What a record holds.
    pub(crate) fn of(inspection: &Inspection) -> Work {
        let record = inspection.record();
        let rows = rows(record);
        let mut planned: Vec<Planned> = Vec::new();
        for step in &record.steps {
            let expanded = &step.expanded;
            let limit = expanded.limit.as_ref().and_then(|id| rows.as_ref()?.row(id));
            let set = expanded.set.iter().map(|(s, to)| format!("{} {to}", s.name()));
            let named = [&expanded.point, &expanded.part, &expanded.state];
            let way = expanded.direction.as_ref().map(super::code).filter(|way| way != "none");
            let at = named.into_iter().flatten().cloned().chain(way).chain(set).collect();
            let values = record.values.iter().filter(|v| v.line.fact.step == expanded.step);
            let values = values.map(|value| captured(inspection, value, limit)).collect();
            let (state, reason) = (state(step.state), step.reason.clone());
            let part = Part { step: expanded.step.clone(), at, state, reason, values };
            match planned.iter_mut().find(|one| one.of == expanded.of) {
                Some(one) => one.parts.push(part),
                None => {
                    let verdict = record.verdicts.get(&expanded.of);
                    let verdict = verdict.map(|line| line.fact.judged.clone());
                    planned.push(Planned { of: expanded.of.clone(), parts: vec![part], verdict });
                }
            }
        }
        Work {
            planned,
            switches: switches(record),
            leads: leads(record),
            lacks: Vec::new(),
            pin: false,
            supply: record.proofs.iter().any(|line| line.fact.what == "supply" && line.fact.ok),
            outcome: None,
            captured: last_value(inspection),
            measured: record.active().is_some_and(|step| record.captured(step).is_some()),
            judged: last_verdict(record),
            limit: None,
        }
    }
}

fn last_value(inspection: &Inspection) -> Option<(String, Captured)> {
    let values = inspection.record().values.iter().filter(|value| !value.dropped);
    let last = values.max_by_key(|value| value.line.seq)?;
    Some((last.line.fact.step.clone(), captured(inspection, last, None)))
}

fn last_verdict(record: &Record) -> Option<(String, Judged)> {
    let newest = record.verdicts.iter().max_by_key(|(_, line)| line.seq)?;
    Some((newest.0.clone(), newest.1.fact.judged.clone()))
}

/// The limit rows that an inspection was given.
pub(crate) fn rows(record: &Record) -> Option<Table> {
    let text = record.given.iter().find_map(|given| match given {
        Given::Limits { text, .. } => Some(text),
        _ => None,
    });
    Table::parse(text?).ok()
}

fn switches(record: &Record) -> Vec<(&'static str, String, &'static str)> {
    use tapline_protocols::register::Known;
    let known = |known| match known {
        Known::Declared => "declared",
        Known::Revealed => "revealed",
        Known::Witnessed => "witnessed",
    };
    let all = record.switches.iter();
    all.map(|(switch, at)| (switch.name(), at.word.clone(), known(at.known))).collect()
}

fn leads(record: &Record) -> Vec<String> {
    let all = record.steps.iter().filter_map(|step| step.expanded.leads.clone());
    let all: BTreeSet<String> = all.collect();
    all.into_iter().collect()
}

fn captured(inspection: &Inspection, value: &Valued, limit: Option<&Row>) -> Captured {
    let fact = &value.line.fact;
    let sent = amount(fact.indication.as_deref(), &fact.value, fact.unit.ucum());
    let seen = inspection.came_to(&value.line);
    let came = seen.as_ref().and_then(|seen| {
        let shown = seen.shown.as_deref()?;
        Some(amount(seen.indication, shown, seen.unit.ucum()))
    });
    let place = limit.zip(seen).and_then(|(row, seen)| place(seen.value?, row));
    let amount = came.unwrap_or_else(|| sent.clone());
    let sent = Some(sent).filter(|sent| *sent != amount);
    let typed = fact.rule == TYPED;
    Captured { seq: value.line.seq, amount, sent, dropped: value.dropped, typed, place }
}

/// `> 2 Ω`, digits as sent.
pub(crate) fn amount(indication: Option<&str>, value: &str, ucum: &str) -> String {
    let mark = match indication {
        Some("above") => "> ",
        Some("below") => "< ",
        Some(other) => return other.to_owned(),
        None => "",
    };
    let value = value.strip_prefix('+').unwrap_or(value);
    format!("{mark}{value} {}", super::unit(ucum))
}

/// How much of a limit a value in its unit uses, per mille: of a largest value its share, of a
/// smallest one the limit's share of it. 1000 is the limit, more is beyond.
pub(crate) fn place(value: Ratio, row: &Row) -> Option<u32> {
    let bound = row.bound.ratio(row.bound.amount.unit.prefix.exponent()).ok()?;
    share(value.abs(), bound, row.bound.direction)
}

/// The same of an indication; `None` where units differ.
pub(crate) fn place_of(value: &str, unit: tapline_drivers::Unit, row: &Row) -> Option<u32> {
    (row.bound.quantity() == unit.quantity).then_some(())?;
    let value = Ratio::parse(value.strip_prefix('+').unwrap_or(value))?;
    let up = unit.prefix.exponent() - row.bound.amount.unit.prefix.exponent();
    place(value.shifted(i32::from(up)).ok()?, row)
}

/// The same of ratios in one unit.
pub(crate) fn share(value: Ratio, bound: Ratio, direction: Direction) -> Option<u32> {
    let used = match direction {
        Direction::Max => value.over(bound),
        Direction::Min => bound.over(value),
    };
    let thousand = Ratio::new(1000, 1).ok()?;
    let (num, den) = match used.and_then(|used| used.times(thousand)) {
        Ok(used) => used.parts(),
        // Nothing of a smallest value, or more than can be counted: it is beyond.
        Err(_) => return Some(u32::MAX),
    };
    Some(u32::try_from(num / den).unwrap_or(u32::MAX))
}

fn state(state: StepState) -> &'static str {
    match state {
        StepState::Waiting => "waiting",
        StepState::Active => "active",
        StepState::Done => "done",
        StepState::Skipped => "skipped",
        StepState::Closed => "closed",
    }
}

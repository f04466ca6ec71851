//! The rest of a report: what was inspected, by whom, with what, and what was said.

use std::collections::{BTreeMap, BTreeSet};

use tapline_paper::moment::Moment;
use tapline_paper::report::{
    Amount, Answer, Aside, Item, Meter, Outcome, Plan, Remark, Report, Signature, Site,
};
use tapline_protocols::fact::{AnswerFact, DropFact};
use tapline_protocols::register::{Asset, Known};

use super::book::{Book, Said};
use super::entered;
use super::values::{edition, groups, word};
use crate::clock::rfc3339;

/// All but the house, the head and what earlier inspections say.
///
/// # Errors
/// It is no inspection's.
pub(super) fn gathered(book: &Book) -> Result<Report, String> {
    let open = book.open.as_ref().ok_or("no inspection begins here")?;
    let opened = open.fact.inspection.as_ref().ok_or("no inspection begins here")?;
    let asset = book.asset.as_ref().ok_or("the record names no asset")?;
    let moment = |wall_us: i64| local(wall_us, &open.fact.offset);
    let closed = match (&book.sign, &book.end) {
        (Some(sign), _) => Some(sign.wall_us),
        (None, Some(end)) => Some(end.wall_us),
        (None, None) => None,
    };
    Ok(Report {
        id: open.fact.id.clone(),
        site: Site {
            station: open.fact.station.clone(),
            bench: opened.bench.clone(),
            ..Site::default()
        },
        asset: item(asset),
        reason: opened.reason.clone(),
        retest_of: book.retest_of.clone(),
        plan: plan(book, &opened.plan, &opened.policy.decision_rule),
        opened: moment(open.wall_us),
        closed: closed.and_then(moment),
        clock_kept: book.clock_kept,
        outcome: outcome(book),
        words: book.sign.as_ref().map(|sign| sign.fact.words.clone()).unwrap_or_default(),
        answers: book.answers.iter().map(answer).collect(),
        groups: groups(book),
        supply: book.checks.iter().filter_map(entered::supply).collect(),
        entered: entered::entered(book),
        known: known(book),
        meters: meters(book),
        aside: asides(book),
        remarks: remarks(book),
        signatures: signatures(book, &moment),
        tag: book.sign.as_ref().and_then(|sign| sign.fact.tag.clone()),
        key: open.fact.key.clone().unwrap_or_else(|| "–".into()),
        program: open.fact.version.clone(),
        judge: open.fact.judge.to_string(),
        ..Report::default()
    })
}

/// A moment in the time of the place, by the offset that the record names.
pub(super) fn local(wall_us: i64, offset: &str) -> Option<Moment> {
    let minutes = Moment::read(&format!("2000-01-01T00:00:00{offset}"))?.offset;
    let there = wall_us.saturating_add(i64::from(minutes) * 60_000_000);
    Moment::read(&rfc3339(there).replace('Z', offset))
}

fn item(asset: &Asset) -> Item {
    let parts = asset.applied_parts.iter();
    let class = serde_json::to_value(asset.class).unwrap_or_default();
    let cord = serde_json::to_value(asset.cord).unwrap_or_default();
    let kinds = parts.map(|part| {
        let kind = serde_json::to_value(part.part_type).unwrap_or_default();
        format!("{} ({})", part.name, kind.as_str().unwrap_or_default())
    });
    let rated = [(&asset.rated_volts, "V"), (&asset.rated_amps, "A")];
    let rated = rated.into_iter().filter_map(|(at, unit)| {
        Some(Amount { mark: String::new(), digits: at.clone()?, unit: unit.into() })
    });
    Item {
        id: asset.id.clone(),
        what: asset.description.clone(),
        maker: asset.maker.clone(),
        model: asset.model.clone(),
        serial: asset.serial.clone(),
        owner: asset.owner.clone(),
        place: asset.location.clone(),
        class: class.as_str().unwrap_or_default().into(),
        cord: cord.as_str().unwrap_or_default().into(),
        accessories: asset.cords.clone(),
        parts: kinds.collect(),
        rated: rated.collect(),
        built_to: asset.built_to.clone(),
    }
}

fn plan(book: &Book, id: &str, rule: &str) -> Plan {
    let plan = book.plan.as_ref();
    Plan {
        id: id.to_owned(),
        title: plan.map(|plan| plan.title.clone()).unwrap_or_default(),
        standard: plan.map(|plan| edition(&plan.standard, &plan.edition)).unwrap_or_default(),
        hash: book.plan_hash.clone(),
        rule: rule.to_owned(),
    }
}

fn outcome(book: &Book) -> Outcome {
    match (&book.sign, &book.end) {
        (Some(sign), _) => Outcome::Signed(word(sign.fact.outcome)),
        (None, Some(end)) => Outcome::Ended(end.fact.clone()),
        (None, None) => Outcome::Open,
    }
}

fn answer(one: &Said<AnswerFact>) -> Answer {
    let fact = &one.fact;
    Answer {
        step: fact.step.clone(),
        item: fact.item.clone(),
        answer: fact.answer.clone(),
        reason: fact.reason.clone(),
    }
}

pub(super) fn known_code(known: Known) -> &'static str {
    match known {
        Known::Declared => "declared",
        Known::Revealed => "revealed",
        Known::Witnessed => "witnessed",
    }
}

/// What is known of switches and checks, by how it is known.
fn known(book: &Book) -> Vec<(String, Vec<String>)> {
    let mut known: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for switch in &book.switches {
        let names = switch.set.keys().map(|one| one.name().to_owned());
        known.entry(known_code(switch.known)).or_default().extend(names);
    }
    for check in book.checks.iter().map(|check| &check.fact).filter(|check| check.ok) {
        // What was read speaks for itself; what a person says does not.
        let how = check
            .known
            .map_or(if check.from.is_empty() { "declared" } else { "witnessed" }, known_code);
        known.entry(how).or_default().insert(check.what.clone());
    }
    known.into_iter().map(|(how, names)| (how.to_owned(), names.into_iter().collect())).collect()
}

/// Instruments and fixtures that values rest on.
fn meters(book: &Book) -> Vec<Meter> {
    let steps = book.values.iter().filter_map(|value| book.step(&value.fact.step));
    let used: BTreeSet<&str> = steps.filter_map(|step| step.instrument.as_deref()).collect();
    let setups: Vec<_> = used.iter().filter_map(|id| book.setups.get(*id)).collect();
    let read = setups.iter().map(|setup| setup.meter.as_str()).chain(used.iter().copied());
    let read: BTreeSet<&str> = read.collect();
    let mut list: Vec<Meter> = read
        .iter()
        .filter_map(|id| book.instruments.get(*id))
        .map(|one| Meter {
            id: one.id.clone(),
            what: one.what.clone(),
            fixture: String::new(),
            serial: one.serial.clone(),
            certificate: one.certificate.clone(),
            due: one.calibration_due.clone(),
        })
        .collect();
    let networks: BTreeSet<&str> = setups.iter().map(|setup| setup.network.as_str()).collect();
    list.extend(networks.iter().filter_map(|id| book.fixtures.get(*id)).map(|one| {
        let what = serde_json::to_value(one.what).unwrap_or_default();
        Meter {
            id: one.id.clone(),
            fixture: what.as_str().unwrap_or_default().into(),
            certificate: one.certificate.clone().unwrap_or_default(),
            due: one.inspection_due.clone(),
            ..Meter::default()
        }
    }));
    list
}

fn asides(book: &Book) -> Vec<Aside> {
    let one = |drop: &Said<DropFact>| {
        let value = book.values.iter().find(|value| value.seq == drop.fact.value)?;
        let mark = match value.fact.indication.as_deref() {
            Some("above") => ">",
            Some("below") => "<",
            Some("overload") => "overload",
            _ => "",
        };
        Some(Aside {
            step: value.fact.step.clone(),
            value: Amount {
                mark: mark.into(),
                digits: value.fact.value.clone(),
                unit: value.fact.unit.ucum().into(),
            },
            cause: drop.fact.cause.clone(),
            who: book.who(drop.by.as_deref()),
            second: drop.fact.second.as_deref().map(|second| book.who(Some(second))),
            counts: drop.fact.in_force,
        })
    };
    book.drops.iter().filter_map(one).collect()
}

fn remarks(book: &Book) -> Vec<Remark> {
    let mut list = Vec::new();
    let mut remark = |code: &str, step: &str, by: Option<&str>, text: &str| {
        let remark =
            Remark { code: code.into(), step: step.into(), who: book.who(by), text: text.into() };
        if !list.contains(&remark) {
            list.push(remark);
        }
    };
    for one in &book.steps_said {
        // Closed steps have their reason on their verdict.
        if one.fact.state == "skipped" {
            let text = one.fact.reason.as_deref().unwrap_or("–");
            remark("skipped", &one.fact.step, one.by.as_deref(), text);
        }
    }
    for one in &book.overrides {
        remark("overridden", &one.fact.step, one.by.as_deref(), &one.fact.reason);
    }
    for one in book.asset.iter().flat_map(|asset| &asset.excluded) {
        remark("excluded", &one.step, None, &one.reason);
    }
    for one in &book.notes {
        remark("note", "", one.by.as_deref(), &one.fact.text);
    }
    let signed = book.sign.as_ref().and_then(|sign| sign.by.clone());
    for other in book.acted.iter().filter(|by| Some(*by) != signed.as_ref()) {
        remark("taken_over", "", Some(other), "");
    }
    list
}

fn signatures(book: &Book, moment: &impl Fn(i64) -> Option<Moment>) -> Vec<Signature> {
    let sign = book.sign.iter().map(|sign| {
        let id = sign.by.clone().unwrap_or_default();
        let name = book.operators.get(&id).map(|operator| operator.name.clone());
        Signature {
            meaning: sign.fact.meaning.clone(),
            name: name.unwrap_or_else(|| id.clone()),
            id,
            at: moment(sign.wall_us),
            auth: sign.fact.auth.clone(),
        }
    });
    sign.collect()
}

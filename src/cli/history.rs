//! `tapline history`: what an asset's sealed inspections measured, like for like, where it is
//! going, and whether the newest value is worse than the one before it.

use serde_json::{Value, json};
use tapline_protocols::due::Day;
use tapline_protocols::fact::Judged;

use super::args::{Common, History};
use super::change::{limit, value, word};
use super::{Exit, Trouble, crowd, judge, offline, output};
use crate::past::history::{Group, groups, reaches, tell};
use crate::past::{self, Past};
use crate::words::english;

/// Prints the groups of an asset. Exit: 0, or 2 where a record can't be read.
pub(super) fn history(args: &History, common: &Common) -> Result<Exit, Trouble> {
    let folder = offline::folder(args.folder.as_deref(), &args.config)?;
    let records = past::records(&folder).map_err(Trouble::Said)?;
    let (mut exit, mut found) = (0, Vec::new());
    let read = |record: &_| past::read(&folder, record, Some(&args.asset));
    crowd::each(&records, read, |record, result| {
        match result {
            Ok(past) => found.extend(past.filter(|past| past.signed.is_some())),
            Err(why) => {
                exit = judge::worse(exit, 2);
                output::talk(&format!("{}: {why}", record.id));
            }
        }
        Ok(())
    })?;
    found.sort_by_key(|past| past.signed.map(|(seq, _)| seq));
    if found.is_empty() {
        output::talk(&english().tell("history", "empty", &[("asset", &args.asset)]));
    }
    for past in found.iter().filter(|past| past.retest_of.is_some()) {
        output::data(&if common.json { retest_json(past, &args.asset) } else { retest(past) })?;
    }
    for group in groups(&found) {
        let shown = if common.json { json(&group, &args.asset) } else { text(&group) };
        output::data(&shown)?;
    }
    Ok(Exit::of_code(exit))
}

/// A retest, with the inspection that was not passed before it.
fn retest_json(past: &Past, asset: &str) -> String {
    json!({
        "asset": asset, "retest": past.id, "day": past.day.text(), "of": past.retest_of,
        "reason": past.reason, "outcome": past.signed.map(|(_, outcome)| outcome),
    })
    .to_string()
}

fn retest(past: &Past) -> String {
    let outcome = past.signed.map(|(_, outcome)| json!(outcome)).unwrap_or_default();
    let outcome = english().say("verdict", outcome.as_str().unwrap_or_default()).to_owned();
    let values = [
        ("day", past.day.text()),
        ("id", past.id.clone()),
        ("outcome", outcome),
        ("of", past.retest_of.clone().unwrap_or_default()),
        ("reason", past.reason.replace('_', " ")),
    ];
    tell("retest", &values)
}

fn json(group: &Group, asset: &str) -> String {
    let one = |(id, day, judged): &(String, Day, Judged)| {
        json!({
            "id": id, "day": day.text(), "verdict": judged.verdict, "value": judged.value,
            "shown": judged.shown, "unit": judged.unit, "indication": judged.indication,
            "share": judged.share, "uncertainty": judged.uncertainty, "limit": judged.limit,
        })
    };
    let values: Vec<Value> = group.values.iter().map(one).collect();
    let trend = group.trend();
    let slope = trend.as_ref().and_then(|trend| trend.slope.as_ref()).map(|slope| {
        let unit = group.newest().and_then(|judged| judged.unit);
        json!({ "per_year": slope.per_year, "low": slope.low, "high": slope.high, "unit": unit })
    });
    let (limit, day) = trend.as_ref().map_or(("too_few", None), |trend| reaches(trend.limit));
    json!({
        "asset": asset, "like": group.like, "values": values,
        "points": trend.map_or(0, |trend| trend.points), "slope": slope,
        "limit": limit, "on": day, "worse_than_before": group.worse(),
    })
    .to_string()
}

fn text(group: &Group) -> String {
    let mut rows = vec![group.heading()];
    for (id, day, judged) in &group.values {
        let share = judged.share.as_ref().map(|share| format!("{share} %")).unwrap_or_default();
        let values = [
            ("day", day.text()),
            ("id", id.clone()),
            ("verdict", word(judged)),
            ("value", value(judged)),
            ("share", share),
            ("limit", limit(judged)),
        ];
        rows.push(tell("value", &values));
    }
    rows.extend(group.outlook());
    rows.join("\n  ")
}

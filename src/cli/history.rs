//! `tapline history`: what an asset's sealed inspections measured, like for like, where it is
//! going, and whether the newest value is worse than the one before it.

use std::borrow::Cow;
use std::fmt::Display;
use std::path::Path;

use serde::Deserialize;
use serde_json::{Value, json};
use tapline_protocols::doubt::trend::Like;
use tapline_protocols::due::Day;
use tapline_protocols::fact::{Judged, Word};
use tapline_protocols::register::Former;

use super::args::{Common, History};
use super::client::Client;
use super::{Exit, Trouble, crowd, judge, offline, output};
use crate::past::history::{Group, Of, groups, place_former, reaches, tell, told_former};
use crate::past::{self, Measured, Past};
use crate::told::judged::{limit, value, word};
use crate::words::english;

/// Prints the groups of an asset. A data folder or a configuration that is named is evidence: its
/// books are read, every one. Without one the station's index is asked. Exit: 0, or 2 where a
/// record can't be read.
pub(super) fn history(args: &History, client: &Client, common: &Common) -> Result<Exit, Trouble> {
    let mut told = match (&args.folder, &args.config) {
        (Some(folder), _) => of_books(folder, &args.asset)?,
        (None, Some(config)) => of_books(&offline::folder(None, config)?, &args.asset)?,
        (None, None) => of_station(client, &args.asset)?,
    };
    let others = place_former(&mut told.groups, std::mem::take(&mut told.former));
    if told.groups.is_empty() && told.inspections == 0 && others.is_empty() {
        output::talk(&english().tell("history", "empty", &[("asset", &args.asset)]));
    }
    for one in &told.retests {
        output::data(&if common.json { one.json(&args.asset) } else { one.text() })?;
    }
    for group in told.groups {
        let shown = if common.json { json(&group, &args.asset) } else { text(&group) };
        output::data(&shown)?;
    }
    if !others.is_empty() && !common.json {
        output::data(&tell("others", &[]))?;
    }
    for one in &others {
        let json = || json!({ "asset": args.asset, "former": one }).to_string();
        output::data(&if common.json { json() } else { format!("  {}", told_former(one)) })?;
    }
    Ok(Exit::of_code(told.exit))
}

/// What is told of an asset.
struct Told {
    /// Signed inspections.
    inspections: usize,
    retests: Vec<Retest>,
    groups: Vec<Group<'static>>,
    /// What was measured before the station was.
    former: Vec<Former>,
    exit: u8,
}

fn of_books(folder: &Path, asset: &str) -> Result<Told, Trouble> {
    let records = past::records(folder).map_err(Trouble::Said)?;
    let (mut exit, mut found) = (0, Vec::new());
    let read = |record: &_| past::read(folder, record, Some(asset));
    crowd::each(&records, read, |record, result| {
        match result {
            Ok(past) => found.extend(past.and_then(Past::measured)),
            Err(why) => {
                exit = judge::worse(exit, 2);
                output::talk(&format!("{}: {why}", record.id));
            }
        }
        Ok(())
    })?;
    found.sort_by_key(|one| one.signed.0);
    let retests = found.iter().filter_map(Retest::of).collect();
    let former = past::former(folder, asset).unwrap_or_else(|why| {
        exit = judge::worse(exit, 2);
        output::talk(&why);
        Vec::new()
    });
    Ok(Told {
        inspections: found.len(),
        retests,
        groups: groups(found.iter().map(Measured::values)).into_iter().map(Group::owned).collect(),
        former,
        exit,
    })
}

/// The answer of the station.
#[derive(Deserialize)]
struct Answer {
    inspections: usize,
    older: bool,
    retests: Vec<Retest>,
    groups: Vec<AnswerGroup>,
    damaged: Vec<String>,
    #[serde(default)]
    former: Vec<Former>,
}

#[derive(Deserialize)]
struct AnswerGroup {
    like: Like,
    values: Vec<AnswerValue>,
}

#[derive(Deserialize)]
struct AnswerValue {
    id: String,
    day: String,
    judged: Judged,
}

fn of_station(client: &Client, asset: &str) -> Result<Told, Trouble> {
    let answer = client.get(&format!("/v1/assets/{}/history", offline::escaped(asset)))?;
    let bad = |error: &dyn Display| Trouble::Said(format!("the station's answer: {error}"));
    let Answer { inspections, older, retests, groups, damaged, former } =
        Answer::deserialize(&answer).map_err(|error| bad(&error))?;
    for id in &damaged {
        output::talk(&english().tell("find", "damaged", &[("id", id)]));
    }
    if older {
        output::talk(&tell("older", &[("n", inspections.to_string())]));
    }
    let value = |one: AnswerValue| {
        let day = Day::parse(&one.day).ok_or_else(|| bad(&one.day))?;
        Ok((Cow::Owned(one.id), day, Cow::Owned(one.judged)))
    };
    let group = |AnswerGroup { like, values }: AnswerGroup| {
        let values = values.into_iter().map(value).collect::<Result<_, Trouble>>()?;
        Ok(Group { like, values, former: Vec::new() })
    };
    let groups = groups.into_iter().map(group).collect::<Result<_, Trouble>>()?;
    let exit = if damaged.is_empty() { 0 } else { 2 };
    Ok(Told { inspections, retests, groups, former, exit })
}

/// A retest, with the inspection that was not passed before it.
#[derive(Deserialize)]
struct Retest {
    id: String,
    day: String,
    of: String,
    reason: String,
    outcome: Word,
}

impl Retest {
    fn of(one: &Measured) -> Option<Retest> {
        let Measured { id, day, reason, signed: (_, outcome), .. } = one;
        let of = one.retest_of.clone()?;
        let (id, day, reason) = (id.clone(), day.text(), reason.clone());
        Some(Retest { id, day, of, reason, outcome: *outcome })
    }

    fn json(&self, asset: &str) -> String {
        let Retest { id, day, of, reason, outcome } = self;
        json!({
            "asset": asset, "retest": id, "day": day, "of": of, "reason": reason,
            "outcome": outcome,
        })
        .to_string()
    }

    fn text(&self) -> String {
        let outcome = json!(self.outcome);
        let outcome = english().say("verdict", outcome.as_str().unwrap_or_default()).to_owned();
        let values = [
            ("day", self.day.clone()),
            ("id", self.id.clone()),
            ("outcome", outcome),
            ("of", self.of.clone()),
            ("reason", self.reason.replace('_', " ")),
        ];
        tell("retest", &values)
    }
}

fn json(group: &Group<'_>, asset: &str) -> String {
    let one = |(id, day, judged): &Of<'_>| {
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
        "limit": limit, "on": day, "worse_than_before": group.worse(), "former": group.former,
    })
    .to_string()
}

fn text(group: &Group<'_>) -> String {
    let mut rows = vec![group.heading()];
    rows.extend(group.former.iter().map(told_former));
    for (id, day, judged) in &group.values {
        let share = judged.share.as_ref().map(|share| format!("{share} %")).unwrap_or_default();
        let values = [
            ("day", day.text()),
            ("id", id.to_string()),
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

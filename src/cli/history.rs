//! `tapline history`: what an asset's sealed inspections measured, like for like, where it is
//! going, and whether the newest value is worse than the one before it.

use std::collections::BTreeMap;

use serde_json::{Value, json};
use tapline_drivers::{Number, Unit};
use tapline_protocols::doubt::trend::{Like, Point, Reaches, Trend, trend, worse_than_before};
use tapline_protocols::due::Day;
use tapline_protocols::exact::Ratio;
use tapline_protocols::fact::{Judged, Word};
use tapline_protocols::limits::Direction;

use super::again::records;
use super::args::{Common, History};
use super::change::{limit, value, word};
use super::past::{self, Past};
use super::{Exit, Trouble, crowd, judge, offline, output};
use crate::words::english;

/// Values that may be compared, oldest first.
pub(crate) struct Group {
    like: Like,
    pub(crate) values: Vec<(String, Day, Judged)>,
}

/// Prints the groups of an asset. Exit: 0, or 2 where a record can't be read.
pub(super) fn history(args: &History, common: &Common) -> Result<Exit, Trouble> {
    let folder = offline::folder(args.folder.as_deref(), &args.config)?;
    let records = records(&folder)?;
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
    for group in groups(&found) {
        let shown = if common.json { group.json(&args.asset) } else { group.text() };
        output::data(&shown)?;
    }
    Ok(Exit::of_code(exit))
}

/// A repair begins a new reference, whatever it touched: what was measured before it is kept, and
/// no longer compared.
pub(crate) fn groups(all: &[Past]) -> Vec<Group> {
    let mut groups: BTreeMap<Like, Group> = BTreeMap::new();
    let mut reference = 0;
    for past in all {
        reference += u32::from(past.reason == "after_repair");
        for (like, judged) in &past.verdicts {
            let like = Like { reference, ..like.clone() };
            let fresh = || Group { like: like.clone(), values: Vec::new() };
            let group = groups.entry(like.clone()).or_insert_with(fresh);
            group.values.push((past.id.clone(), past.day, judged.clone()));
        }
    }
    groups.into_values().collect()
}

impl Group {
    /// The newest value that is a number and says something, as it was judged.
    fn newest(&self) -> Option<&Judged> {
        self.values.iter().rev().map(|(_, _, judged)| judged).find(|judged| says(judged))
    }

    /// Values that say something, in the unit of the newest one.
    fn points(&self, unit: Unit) -> Vec<Point> {
        let said = self.values.iter().filter(|(_, _, judged)| says(judged));
        let point = |(_, day, judged): &(String, Day, Judged)| {
            let value = in_unit(Ratio::parse(judged.value.as_ref()?)?, judged.unit?, unit)?;
            Some(Point { like: self.like.clone(), day: *day, value })
        };
        said.filter_map(point).collect()
    }

    fn trend(&self) -> Option<Trend> {
        let newest = self.newest()?;
        let (unit, limit) = (newest.unit?, newest.limit.as_ref()?);
        let bound = in_unit(Ratio::of(Number::parse(&limit.value)?).ok()?, limit.unit, unit)?;
        Some(trend(&self.points(unit), &self.like, direction(newest)?, bound))
    }

    /// `None` where fewer than two values say something, or one has no uncertainty.
    fn worse(&self) -> Option<bool> {
        let newest = self.newest()?;
        let unit = newest.unit?;
        let mut said = self.values.iter().rev().map(|(_, _, j)| j).filter(|judged| says(judged));
        let sized = |judged: &Judged| {
            let own = judged.unit?;
            let value = in_unit(Ratio::parse(judged.value.as_ref()?)?, own, unit)?;
            let expanded = Ratio::parse(&judged.uncertainty.as_ref()?.expanded)?;
            Some((value, in_unit(expanded, own, unit)?))
        };
        let [now, before] = [said.next().and_then(sized)?, said.next().and_then(sized)?];
        worse_than_before(now, before, direction(newest)?).ok()
    }

    fn json(&self, asset: &str) -> String {
        let one = |(id, day, judged): &(String, Day, Judged)| {
            json!({
                "id": id, "day": day.text(), "verdict": judged.verdict, "value": judged.value,
                "shown": judged.shown, "unit": judged.unit, "indication": judged.indication,
                "share": judged.share, "uncertainty": judged.uncertainty, "limit": judged.limit,
            })
        };
        let values: Vec<Value> = self.values.iter().map(one).collect();
        let trend = self.trend();
        let slope = trend.as_ref().and_then(|trend| trend.slope.as_ref()).map(|slope| {
            let unit = self.newest().and_then(|judged| judged.unit);
            json!({ "per_year": slope.per_year, "low": slope.low, "high": slope.high, "unit": unit })
        });
        let (limit, day) = trend.as_ref().map_or(("too_few", None), |trend| reaches(trend.limit));
        json!({
            "asset": asset, "like": self.like, "values": values,
            "points": trend.map_or(0, |trend| trend.points), "slope": slope,
            "limit": limit, "on": day, "worse_than_before": self.worse(),
        })
        .to_string()
    }

    /// What its values have in common, in words.
    pub(crate) fn heading(&self) -> String {
        let like = &self.like;
        let all = [
            &like.measurand,
            &like.method,
            &like.kind,
            &like.point,
            &like.condition,
            &like.contact,
            &like.cord,
            &like.setup,
        ];
        let mut heading: Vec<String> = all
            .into_iter()
            .filter(|word| !word.is_empty())
            .map(|word| word.replace('_', " "))
            .collect();
        if like.reference > 0 {
            let n = like.reference.to_string();
            heading.push(english().tell("history", "reference", &[("n", &n)]));
        }
        heading.join("; ")
    }

    fn text(&self) -> String {
        let mut rows = vec![self.heading()];
        for (id, day, judged) in &self.values {
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
        rows.extend(self.outlook());
        rows.join("\n  ")
    }

    /// Where it is going, in words.
    pub(crate) fn outlook(&self) -> Vec<String> {
        let worse = (self.worse() == Some(true)).then(|| tell("worse", &[]));
        self.trend_text().into_iter().chain(worse).collect()
    }

    fn trend_text(&self) -> Option<String> {
        let unit = self.newest()?.unit?.ucum().to_string();
        let trend = self.trend()?;
        let points = ("points", trend.points.to_string());
        let Some(slope) = trend.slope else { return Some(tell("few", &[points])) };
        let (limit, day) = reaches(trend.limit);
        let values = [
            points,
            ("slope", slope.per_year),
            ("low", slope.low),
            ("high", slope.high),
            ("unit", unit),
            ("day", day.unwrap_or_default()),
        ];
        Some(format!("{} {}", tell("slope", &values), tell(limit, &values)))
    }
}

/// A number that a verdict rests on; a bound is none, and what is undecided says nothing.
fn says(judged: &Judged) -> bool {
    judged.verdict != Word::Undecided && judged.indication.is_none() && judged.value.is_some()
}

fn direction(judged: &Judged) -> Option<Direction> {
    match judged.limit.as_ref()?.direction.as_str() {
        "max" => Some(Direction::Max),
        "min" => Some(Direction::Min),
        _ => None,
    }
}

fn in_unit(ratio: Ratio, from: Unit, to: Unit) -> Option<Ratio> {
    let up = i32::from(from.prefix.exponent()) - i32::from(to.prefix.exponent());
    ratio.shifted(up).ok().filter(|_| from.quantity == to.quantity)
}

fn reaches(limit: Reaches) -> (&'static str, Option<String>) {
    match limit {
        Reaches::TooFew => ("too_few", None),
        Reaches::NoTrend => ("no_trend", None),
        Reaches::Away => ("away", None),
        Reaches::Far => ("far", None),
        Reaches::On(day) => ("on", Some(day.text())),
    }
}

fn tell(code: &str, values: &[(&str, String)]) -> String {
    let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
    english().tell("history", code, &values)
}

//! What an asset's sealed inspections measured, like for like, where it is going, and whether the
//! newest value is worse than the one before it.

use std::borrow::Cow;
use std::collections::BTreeMap;

use tapline_drivers::{Number, Unit};
use tapline_protocols::doubt::trend::{Like, Point, Reaches, Trend, trend, worse_than_before};
use tapline_protocols::due::Day;
use tapline_protocols::exact::Ratio;
use tapline_protocols::fact::{Judged, Word};
use tapline_protocols::limits::Direction;
use tapline_protocols::register::Former;

use super::Values;
use crate::words::english;

/// Values that may be compared, oldest first.
pub(crate) struct Group<'a> {
    pub(crate) like: Like,
    pub(crate) values: Vec<Of<'a>>,
    /// What was measured before the station was and may be like them, oldest first: for the eye,
    /// no trend is made of it.
    pub(crate) former: Vec<Former>,
}

/// Puts each value from before to the groups that it may be like; what is like none comes back.
pub(crate) fn place_former(groups: &mut [Group<'_>], former: Vec<Former>) -> Vec<Former> {
    let mut others = Vec::new();
    for one in former.into_iter().filter(|one| one.withdrawn.is_none()) {
        let mut found = false;
        for group in groups.iter_mut().filter(|group| one.may_be(&group.like)) {
            group.former.push(one.clone());
            found = true;
        }
        if !found {
            others.push(one);
        }
    }
    others
}

/// A value from before, in words.
pub(crate) fn told_former(one: &Former) -> String {
    let words = [Some(&one.measurand), one.method.as_ref(), one.kind.as_ref()];
    let words = words.into_iter().flatten().map(|word| word.replace('_', " "));
    let more = [&one.point, &one.condition].into_iter().filter(|text| !text.is_empty()).cloned();
    let what: Vec<String> = words.chain(more).collect();
    let values = [
        ("day", one.day.clone()),
        ("value", one.shown()),
        ("what", what.join(", ")),
        ("how", how_known(one)),
    ];
    let text = tell("former", &values);
    match &one.withdrawn {
        Some(why) => tell("withdrawn", &[("text", text), ("why", why.clone())]),
        None => text,
    }
}

/// Where it stands, who measured it, with what.
pub(crate) fn how_known(one: &Former) -> String {
    let all = [&one.source, &one.measured_by, &one.meter, &one.remark];
    let all: Vec<&str> = all.into_iter().map(String::as_str).filter(|t| !t.is_empty()).collect();
    all.join(", ")
}

/// A value: of which inspection, on which day, and as it was judged.
pub(crate) type Of<'a> = (Cow<'a, str>, Day, Cow<'a, Judged>);

/// A repair begins a new reference, whatever it touched: what was measured before it is kept, and
/// no longer compared.
pub(crate) fn groups<'a>(all: impl IntoIterator<Item = Values<'a>>) -> Vec<Group<'a>> {
    let mut groups: BTreeMap<Like, Group<'a>> = BTreeMap::new();
    let mut reference = 0;
    for Values { id, day, reason, verdicts } in all {
        reference += u32::from(reason == "after_repair");
        for (like, judged) in verdicts {
            let like = Like { reference, ..like.clone() };
            let fresh = || Group { like: like.clone(), values: Vec::new(), former: Vec::new() };
            let group = groups.entry(like.clone()).or_insert_with(fresh);
            group.values.push((Cow::Borrowed(id), day, Cow::Borrowed(judged)));
        }
    }
    groups.into_values().collect()
}

impl Group<'_> {
    /// Its own, whatever it was made of.
    pub(crate) fn owned(self) -> Group<'static> {
        let owned = |(id, day, judged): Of<'_>| {
            (Cow::Owned(id.into_owned()), day, Cow::Owned(judged.into_owned()))
        };
        let Group { like, former, .. } = self;
        Group { like, former, values: self.values.into_iter().map(owned).collect() }
    }

    /// The newest value that is a number and says something, as it was judged.
    pub(crate) fn newest(&self) -> Option<&Judged> {
        self.values.iter().rev().map(|(_, _, judged)| &**judged).find(|judged| says(judged))
    }

    /// Values that say something, in the unit of the newest one.
    fn points(&self, unit: Unit) -> Vec<Point> {
        let said = self.values.iter().filter(|(_, _, judged)| says(judged));
        let point = |(_, day, judged): &Of<'_>| {
            let value = in_unit(Ratio::parse(judged.value.as_ref()?)?, judged.unit?, unit)?;
            Some(Point { like: self.like.clone(), day: *day, value })
        };
        said.filter_map(point).collect()
    }

    /// Where its values are going; `None` where none of them is a number with a limit.
    pub(crate) fn trend(&self) -> Option<Trend> {
        let newest = self.newest()?;
        let (unit, limit) = (newest.unit?, newest.limit.as_ref()?);
        let bound = in_unit(Ratio::of(Number::parse(&limit.value)?).ok()?, limit.unit, unit)?;
        Some(trend(&self.points(unit), &self.like, direction(newest)?, bound))
    }

    /// The newest value is worse than the one before it, beyond both uncertainties.
    /// `None` where fewer than two values say something, or one has no uncertainty.
    pub(crate) fn worse(&self) -> Option<bool> {
        let newest = self.newest()?;
        let unit = newest.unit?;
        let mut said = self.values.iter().rev().map(|(_, _, j)| &**j).filter(|judged| says(judged));
        let sized = |judged: &Judged| {
            let own = judged.unit?;
            let value = in_unit(Ratio::parse(judged.value.as_ref()?)?, own, unit)?;
            let expanded = Ratio::parse(&judged.uncertainty.as_ref()?.expanded)?;
            Some((value, in_unit(expanded, own, unit)?))
        };
        let [now, before] = [said.next().and_then(sized)?, said.next().and_then(sized)?];
        worse_than_before(now, before, direction(newest)?).ok()
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

/// Whether and when a limit is reached: a code of the words, and the day.
pub(crate) fn reaches(limit: Reaches) -> (&'static str, Option<String>) {
    match limit {
        Reaches::TooFew => ("too_few", None),
        Reaches::NoTrend => ("no_trend", None),
        Reaches::Away => ("away", None),
        Reaches::Far => ("far", None),
        Reaches::On(day) => ("on", Some(day.text())),
    }
}

/// A sentence of histories.
pub(crate) fn tell(code: &str, values: &[(&str, String)]) -> String {
    let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
    english().tell("history", code, &values)
}

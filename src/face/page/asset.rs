//! What an asset measured over the years.

use std::collections::{BTreeMap, BTreeSet};

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, State};
use axum::response::Html;
use serde::Deserialize;
use tapline_protocols::due::Day;
use tapline_protocols::exact::Ratio;
use tapline_protocols::fact::Judged;
use tapline_protocols::register::Former;

use super::Desk;
use super::past::place;
use crate::face::measured::measured;
use crate::face::problem::Refused;
use crate::face::records::blocking;
use crate::page::asset::{History, page};
use crate::page::plot::{Dot, Plot};
use crate::page::{limit, shown, word};
use crate::past::Measured;
use crate::past::history::{Group, Of, groups, how_known, place_former, told_former};
use crate::words::english;

/// Inspections whose values stand in the tables of one page; the plots are over all of them.
const SHOWN_MAX: usize = 24;
/// Values from paper in a plot and its table, the newest.
const PAPER_MAX: usize = 24;
/// Marks of all plots of a page: each has some fifty bytes.
const MARKS_MAX: usize = 1_200;

/// Where the page begins.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct From {
    after: Option<String>,
}

/// `GET /asset/{id}`: its plots and where its values are going, over all that the index has; the
/// values of its newest sealed inspections, with `after` of those older than one of them.
pub(super) async fn view(
    State(desk): State<Desk>,
    Path(id): Path<String>,
    from: Result<axum::extract::Query<From>, QueryRejection>,
) -> Result<Html<String>, Refused> {
    let from = from.map_err(|why| Refused::new("bad_input", why.body_text()))?;
    let name = id.clone();
    let asked = desk.hall.shared.ask(move |core| {
        let opened = core.opened().into_iter().filter(|one| one.asset == name);
        let former = core.register().former_of(&name).cloned();
        (core.register().asset(&name).cloned(), opened.collect::<Vec<_>>(), former.collect())
    });
    let (known, opened, former): (_, _, Vec<Former>) = asked.await?;
    let asset = known
        .ok_or_else(|| Refused::new("not_found", format!("the register has no asset `{id}`")))?;
    let hall = desk.hall.clone();
    blocking(move || {
        let found = measured(&hall, &asset.id)?;
        let shown = shown_on(&found.all, from.0.after.as_deref());
        let older = shown.first().filter(|first| **first > 0).map(|at| found.all[*at].id.clone());
        let shown: BTreeSet<&str> = shown.iter().map(|at| found.all[*at].id.as_str()).collect();
        let plotted = |group: &Group<'_>| group.values.iter().any(|(id, ..)| shown.contains(&**id));
        let mut groups = groups(found.all.iter().map(Measured::values));
        let others = place_former(&mut groups, former);
        groups.retain(plotted);
        let marks = MARKS_MAX / groups.len().max(1);
        let plots = groups.iter().map(|group| plot(group, &shown, marks)).collect();
        let n = found.all.len().to_string();
        let left_out = found.older.then(|| english().tell("history", "older", &[("n", &n)]));
        let damaged = |id: &String| english().tell("find", "damaged", &[("id", id)]);
        let history = History {
            asset: asset.id.clone(),
            description: asset.description.clone(),
            location: asset.location.clone(),
            opened,
            plots,
            former: others.iter().map(told_former).collect(),
            troubles: left_out.into_iter().chain(found.damaged.iter().map(damaged)).collect(),
            older,
        };
        Ok(Html(page(&history)))
    })
    .await
}

/// Places of those whose values stand in the tables, oldest first.
fn shown_on(all: &[Measured], after: Option<&str>) -> Vec<usize> {
    let end = match after {
        Some(after) => all.iter().position(|one| one.id == after).unwrap_or(0),
        None => all.len(),
    };
    (end.saturating_sub(SHOWN_MAX)..end).collect()
}

fn plot(group: &Group<'_>, shown_ids: &BTreeSet<&str>, marks: usize) -> Plot {
    let dot = |(id, day, judged): &Of<'_>| Dot {
        id: id.to_string(),
        day: (day.text(), day.number()),
        shown: shown(judged),
        limit: limit(judged),
        verdict: word(judged.verdict),
        used: place(judged).map(|(_, used)| used),
        paper: None,
    };
    let drawn: Vec<Dot> = group.values.iter().map(dot).collect();
    let dots = drawn.iter().filter(|dot| shown_ids.contains(&*dot.id)).cloned();
    let oldest = group.former.len().saturating_sub(PAPER_MAX);
    let former = group.former[oldest..].iter().filter_map(|one| on_paper(one, group));
    let paper: Vec<Dot> = former.collect();
    let in_order = |dots: &mut Vec<Dot>| dots.sort_by_key(|dot| dot.day.1);
    let mut dots: Vec<Dot> = paper.iter().cloned().chain(dots).collect();
    let mut drawn: Vec<Dot> = paper.into_iter().chain(thinned(drawn, marks)).collect();
    in_order(&mut dots);
    in_order(&mut drawn);
    let heading = group.heading();
    let (what, how) = heading.split_once("; ").unwrap_or((&heading, ""));
    let mut first = what.chars();
    let what = first.next().map(|one| one.to_uppercase().chain(first).collect());
    let trend = group.outlook().iter().map(|line| line.replace(" Ohm ", " Ω ")).collect();
    let heading = (what.unwrap_or_default(), how.to_owned());
    Plot { heading, dots, drawn, trend }
}

/// A value from paper beside those that it may be like; against their limit of now.
fn on_paper(one: &Former, group: &Group<'_>) -> Option<Dot> {
    let day = Day::parse(&one.day)?;
    let judged = group.newest().and_then(|newest| {
        let number = one.value.number;
        let (value, digits) = (Some(Ratio::of(number).ok()?.text()), Some(number.text()));
        let unit = Some(one.value.unit);
        let indication = one.bound.clone();
        Some(Judged { value, shown: digits, unit, indication, ..newest.clone() })
    });
    Some(Dot {
        day: (day.text(), day.number()),
        shown: judged.as_ref().map_or_else(|| one.shown(), shown),
        limit: judged.as_ref().map(limit).unwrap_or_default(),
        used: judged.as_ref().filter(|_| one.bound.is_none()).and_then(place).map(|(_, used)| used),
        paper: Some(how_known(one)),
        ..Dot::default()
    })
}

/// Of each stretch of time that which used most of the limit, and which used least: a line through
/// them looks like one through all of them. The first and the last stay.
fn thinned(dots: Vec<Dot>, marks: usize) -> Vec<Dot> {
    if dots.len() <= marks {
        return dots;
    }
    let stretches = u32::try_from((marks / 2).saturating_sub(1)).unwrap_or(u32::MAX).max(1);
    let (first, last) = (dots[0].day.1, dots[dots.len() - 1].day.1);
    let span = u64::from(last.saturating_sub(first)) + 1;
    let mut kept = BTreeSet::from([0, dots.len() - 1]);
    let mut ends: BTreeMap<u64, (usize, usize)> = BTreeMap::new();
    for (at, dot) in dots.iter().enumerate().filter(|(_, dot)| dot.used.is_some()) {
        let stretch = u64::from(dot.day.1.saturating_sub(first)) * u64::from(stretches) / span;
        let (most, least) = ends.entry(stretch).or_insert((at, at));
        *most = if dot.used > dots[*most].used { at } else { *most };
        *least = if dot.used < dots[*least].used { at } else { *least };
    }
    kept.extend(ends.into_values().flat_map(|(most, least)| [most, least]));
    let all = dots.into_iter().enumerate();
    all.filter(|(at, _)| kept.contains(at)).map(|(_, dot)| dot).collect()
}

#[cfg(test)]
mod tests {
    use tapline_protocols::fact::Word;

    use super::*;

    fn dot(day: u32, used: u32) -> Dot {
        Dot { day: (String::new(), day), used: Some(used), ..Dot::default() }
    }

    #[test]
    fn a_long_line_keeps_its_highest_and_lowest_marks() {
        let dots: Vec<Dot> = (0..1000).map(|n| dot(n * 3, n * 7 % 501 + 10)).collect();
        let most = dots.iter().map(|dot| dot.used).max();
        let least = dots.iter().map(|dot| dot.used).min();
        for marks in [8, 60, 300] {
            let kept = thinned(dots.clone(), marks);
            assert!(kept.len() <= marks, "{marks}: {}", kept.len());
            assert_eq!(kept.iter().map(|dot| dot.used).max(), most);
            assert_eq!(kept.iter().map(|dot| dot.used).min(), least);
            assert_eq!((kept.first(), kept.last()), (dots.first(), dots.last()));
            assert!(kept.is_sorted_by_key(|dot| dot.day.1));
        }
        assert_eq!(thinned(dots.clone(), 1000), dots);
    }

    #[test]
    fn pages_of_values_end_where_the_next_begins() {
        let one = |n: u64| Measured {
            id: n.to_string(),
            day: Day::parse("2026-01-01").unwrap(),
            reason: "scheduled".into(),
            signed: (n, Word::Pass),
            retest_of: None,
            verdicts: Vec::new(),
        };
        let all: Vec<Measured> = (0..50).map(one).collect();
        assert_eq!(shown_on(&all, None), (26..50).collect::<Vec<_>>());
        assert_eq!(shown_on(&all, Some("26")), (2..26).collect::<Vec<_>>());
        assert_eq!(shown_on(&all, Some("2")), [0, 1]);
        assert_eq!(shown_on(&all, Some("x")), Vec::<usize>::new());
    }
}

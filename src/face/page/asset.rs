//! What an asset measured over the years.

use std::path::Path as FilePath;

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, State};
use axum::response::Html;
use serde::Deserialize;

use super::Desk;
use super::past::place;
use crate::books::OnShelf;
use crate::face::problem::Refused;
use crate::face::records::{ask, blocking};
use crate::index::Query;
use crate::page::asset::{History, page};
use crate::page::plot::{Dot, Plot};
use crate::page::{limit, shown, word};
use crate::past::history::{Group, groups};
use crate::past::{self, Past};

/// Inspections that are looked at for one page, signed or not: their books are read.
const SHOWN_MAX: usize = 24;

/// Where the page begins.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct From {
    after: Option<String>,
}

/// `GET /asset/{id}`: its newest sealed inspections are read, as the index names them; with
/// `after` those that are older than one of them.
pub(super) async fn view(
    State(desk): State<Desk>,
    Path(id): Path<String>,
    from: Result<axum::extract::Query<From>, QueryRejection>,
) -> Result<Html<String>, Refused> {
    let from = from.map_err(|why| Refused::new("bad_input", why.body_text()))?;
    let name = id.clone();
    let asked = desk.hall.shared.ask(move |core| {
        let opened = core.opened().into_iter().filter(|one| one.asset == name);
        (core.register().asset(&name).cloned(), opened.collect::<Vec<_>>())
    });
    let (known, opened) = asked.await?;
    let asset = known
        .ok_or_else(|| Refused::new("not_found", format!("the register has no asset `{id}`")))?;
    let _turn = desk.turn.clone().lock_owned().await;
    let hall = desk.hall.clone();
    blocking(move || {
        let query = Query {
            asset: Some(asset.id.clone()),
            newest: true,
            after: from.0.after,
            limit: SHOWN_MAX,
            ..Query::default()
        };
        let list = ask(&hall, |index| index.inspections(&query))?;
        let older = list.last().filter(|_| list.len() == SHOWN_MAX).map(|last| last.id.clone());
        let signed: Vec<&str> =
            list.iter().filter(|one| one.verdict.is_some()).map(|one| one.id.as_str()).collect();
        let (found, troubles) = read(&hall.shared.folder, &signed, &asset.id);
        let plots = groups(&found).iter().map(plot).collect();
        let history = History {
            asset: asset.id.clone(),
            description: asset.description.clone(),
            location: asset.location.clone(),
            opened,
            plots,
            troubles,
            older,
        };
        Ok(Html(page(&history)))
    })
    .await
}

/// Signed inspections, oldest first, and what could not be read, in words. Two at once: each is a
/// hundred kilobytes to be hashed and understood.
fn read(folder: &FilePath, ids: &[&str], asset: &str) -> (Vec<Past>, Vec<String>) {
    let (one, other) = ids.split_at(ids.len() / 2);
    let half = |ids: &[&str]| {
        let (mut found, mut troubles) = (Vec::new(), Vec::new());
        for id in ids {
            let record = OnShelf { id: (*id).to_owned(), sealed: true };
            match past::read(folder, &record, Some(asset)) {
                Ok(past) => found.extend(past.filter(|past| past.signed.is_some())),
                Err(why) => troubles.push(format!("{id}: {why}")),
            }
        }
        (found, troubles)
    };
    let (mut all, more) = std::thread::scope(|scope| {
        let beside = scope.spawn(|| half(one));
        let own = half(other);
        // A thread that panicked leaves its part out, and that would look like less history.
        (beside.join().expect("reading a record does not panic"), own)
    });
    all.0.extend(more.0);
    all.1.extend(more.1);
    all.0.sort_by_key(|past| past.signed.map(|(seq, _)| seq));
    all
}

fn plot(group: &Group) -> Plot {
    let dots = group.values.iter().map(|(id, day, judged)| Dot {
        id: id.clone(),
        day: (day.text(), day.number()),
        shown: shown(judged),
        limit: limit(judged),
        verdict: word(judged.verdict),
        used: place(judged).map(|(_, used)| used),
    });
    Plot { heading: group.heading(), dots: dots.collect(), trend: group.outlook() }
}

//! What an asset measured over the years.

use axum::extract::{Path, State};
use axum::response::Html;

use super::Desk;
use super::past::place;
use crate::books::OnShelf;
use crate::cli::change::limit;
use crate::face::problem::Refused;
use crate::face::records::{ask, blocking};
use crate::index::Query;
use crate::page::asset::{History, page};
use crate::page::plot::{Dot, Plot};
use crate::page::{shown, word};
use crate::past;
use crate::past::history::{Group, groups};

/// `GET /asset/{id}`: its sealed inspections are read, as the index names them.
pub(super) async fn view(
    State(desk): State<Desk>,
    Path(id): Path<String>,
) -> Result<Html<String>, Refused> {
    let name = id.clone();
    let known = desk.hall.shared.ask(move |core| core.register().asset(&name).cloned()).await?;
    let asset = known
        .ok_or_else(|| Refused::new("not_found", format!("the register has no asset `{id}`")))?;
    let _turn = desk.turn.clone().lock_owned().await;
    let hall = desk.hall.clone();
    blocking(move || {
        let query = Query { asset: Some(asset.id.clone()), ..Query::default() };
        let list = ask(&hall, |index| index.inspections(&query))?;
        let (mut found, mut troubles) = (Vec::new(), Vec::new());
        for one in list.iter().filter(|one| one.verdict.is_some()) {
            let record = OnShelf { id: one.id.clone(), sealed: true };
            match past::read(&hall.shared.folder, &record, Some(&asset.id)) {
                Ok(past) => found.extend(past.filter(|past| past.signed.is_some())),
                Err(why) => troubles.push(format!("{}: {why}", one.id)),
            }
        }
        found.sort_by_key(|past| past.signed.map(|(seq, _)| seq));
        let plots = groups(&found).iter().map(plot).collect();
        let history = History {
            asset: asset.id.clone(),
            description: asset.description.clone(),
            location: asset.location.clone(),
            plots,
            troubles,
        };
        Ok(Html(page(&history)))
    })
    .await
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

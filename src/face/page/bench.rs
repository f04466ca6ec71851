//! The view that is worked with, and its acts.

use axum::body::Bytes;
use axum::extract::{ConnectInfo, Path, State};
use axum::response::{Html, Json};
use serde_json::Value;
use tapline_drivers::Now;
use tapline_protocols::inspection::Inspection;
use tapline_protocols::limits::{Direction, Row};

use super::reading::Lens;
use super::{Desk, in_words};
use crate::clock;
use crate::face::Hall;
use crate::face::acts;
use crate::face::peer::Peer;
use crate::face::problem::Refused;
use crate::page::bar::Bar;
use crate::page::bench::{Bench, page};
use crate::page::limit as limit_in_words;
use crate::page::work::{Work, rows};
use crate::page::{unit, word};
use crate::station::Core;
use crate::station::status::{BenchStatus, Opened};
use crate::words::english;

/// `GET /bench/{bench}`.
pub(super) async fn view(
    State(desk): State<Desk>,
    Path(bench): Path<String>,
) -> Result<Html<String>, Refused> {
    Ok(Html(page(&gather(&desk, &bench).await?)))
}

/// `POST /bench/{bench}/{act}`: an act with its fields; answers what came of it in words.
pub(super) async fn act(
    State(desk): State<Desk>,
    peer: ConnectInfo<Peer>,
    path: Path<(String, String)>,
    body: Bytes,
) -> Result<Json<Value>, Refused> {
    let answer = acts::act(State(desk.hall), peer, path, body).await?;
    Ok(in_words(&answer))
}

/// What the view shows now. A halted station shows what it showed last.
pub(super) async fn gather(desk: &Desk, bench: &str) -> Result<Bench, Refused> {
    let name = bench.to_owned();
    let asked = desk.hall.shared.ask(move |core| look(core, &name)).await;
    let halted = desk.hall.shared.halted();
    let mut seen = match asked {
        Ok(seen) => seen,
        Err(_) => Seen { status: last(&desk.hall, bench), ..Seen::default() },
    };
    let (status, open) = (seen.status.take(), seen.open.take());
    let status = status.ok_or_else(|| unknown(bench))?;
    let Seen { location, time, parked, .. } = seen;
    let mut view = Bench { status, location, halted, parked, time, work: None, bar: None };
    if let Some((work, limit)) = open {
        let earlier = desk.memory.earlier(&desk.hall, &view.status).await;
        view.bar = limit.map(|row| bar(&row, &work, &earlier));
        view.work = Some(work);
    }
    Ok(view)
}

fn unknown(bench: &str) -> Refused {
    Refused::new("not_found", format!("there is no bench `{bench}`"))
}

fn last(hall: &Hall, bench: &str) -> Option<BenchStatus> {
    hall.shared.status()?.benches.iter().find(|one| one.id == bench).cloned()
}

/// What the core knows of a bench.
#[derive(Debug, Default)]
struct Seen {
    status: Option<BenchStatus>,
    location: String,
    time: String,
    parked: Vec<Opened>,
    open: Option<(Work, Option<Row>)>,
}

fn look(core: &Core, bench: &str) -> Seen {
    let status = core.snapshot().benches.into_iter().find(|one| one.id == bench);
    let selected = status.as_ref().and_then(|status| status.selected.as_ref());
    let asset = selected.and_then(|selected| core.register().asset(&selected.asset));
    let location = asset.map(|asset| asset.location.clone()).unwrap_or_default();
    let open = core.inspection_on(bench).map(|inspection| {
        let mut work = Work::of(inspection);
        work.outcome = Some(word(inspection.outcome().word));
        work.pin = core.asks_for_pin();
        let id = status.as_ref().and_then(|status| status.inspection.as_ref());
        work.lacks = id.map(|open| core.lacks(&open.id)).unwrap_or_default();
        let judged = work.judged.as_ref().map(|(_, judged)| judged);
        work.limit = judged.filter(|judged| judged.limit.is_some()).map(limit_in_words);
        (work, limit(inspection))
    });
    let parked = core.opened().into_iter().filter(|one| one.parked && one.bench == bench);
    let (time, parked) = (core.minute(clock::now().wall_us), parked.collect());
    Seen { status, location, time, parked, open }
}

/// The limit row of the active step, as it is for this asset.
fn limit(inspection: &Inspection) -> Option<Row> {
    rows(inspection.record())?.row(inspection.prompt().limit.as_deref()?).cloned()
}

/// What readings of the active step are seen through, at this moment.
pub(super) fn lens(core: &Core, bench: &str) -> Lens {
    let Some(inspection) = core.inspection_on(bench) else { return Lens::default() };
    let glance = inspection.glance(Now(clock::now().boot_us));
    Lens { glance, row: limit(inspection) }
}

fn bar(row: &Row, work: &Work, earlier: &super::past::Earlier) -> Bar {
    let amount = &row.bound.amount;
    let side = match row.bound.direction {
        Direction::Max => "at_most",
        Direction::Min => "at_least",
    };
    let values = [
        ("side", english().say("explain", side)),
        ("value", &amount.number.text()),
        ("unit", &unit(amount.unit.ucum())),
    ];
    let active = work.planned.iter().find(|one| one.parts.iter().any(|p| p.state == "active"));
    let own = active.into_iter().flat_map(|one| one.parts.iter()).flat_map(|part| &part.values);
    let own = own.filter(|value| !value.dropped).filter_map(|value| value.place).collect();
    Bar {
        limit: english().tell("page", "limit", &values),
        source: format!("{} · {}", row.clause, english().say("confidence", row.confidence.word())),
        own,
        earlier: earlier.get(&row.id).cloned().unwrap_or_default(),
    }
}

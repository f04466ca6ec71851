//! What the asset on a bench measured before, kept while it is there: the books of its last
//! inspections are read once.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tapline_protocols::exact::Ratio;
use tapline_protocols::fact::Judged;
use tapline_protocols::limits::Direction;

use crate::books::OnShelf;
use crate::face::Hall;
use crate::index::Query;
use crate::page::work::share;
use crate::past;
use crate::station::status::BenchStatus;

/// How many inspections are looked back at.
const BACK: usize = 6;
/// Among how many they are sought: one that was not found was not measured.
const LOOKED_AT: usize = 24;

/// Places on the bar by limit row, oldest first.
pub(super) type Earlier = BTreeMap<String, Vec<u32>>;

/// What was read for the inspection on each bench.
type Read = BTreeMap<String, (String, Arc<Earlier>)>;

/// What was read, by bench and the inspection that it was read for.
#[derive(Debug, Clone, Default)]
pub(super) struct Memory(Arc<Mutex<Read>>);

impl Memory {
    /// Earlier values of the asset that is open on a bench.
    pub(super) async fn earlier(&self, hall: &Hall, bench: &BenchStatus) -> Arc<Earlier> {
        let Some(open) = &bench.inspection else { return Arc::default() };
        let known = self.lock().get(&bench.id).filter(|(id, _)| *id == open.id).cloned();
        if let Some((_, earlier)) = known {
            return earlier;
        }
        let (hall, asset) = (hall.clone(), open.asset.clone());
        let read = tokio::task::spawn_blocking(move || read(&hall, &asset)).await;
        let earlier = Arc::new(read.unwrap_or_default());
        self.lock().insert(bench.id.clone(), (open.id.clone(), earlier.clone()));
        earlier
    }

    fn lock(&self) -> MutexGuard<'_, Read> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A record that can't be read shows nothing here; the view of the asset says so.
fn read(hall: &Hall, asset: &str) -> Earlier {
    let mut earlier = Earlier::new();
    let asset_of = Some(asset.to_owned());
    let query = Query { asset: asset_of, newest: true, limit: LOOKED_AT, ..Query::default() };
    let asked = hall.shared.indexer.get().map(|indexer| indexer.ask(|i| i.inspections(&query)));
    let Some(Ok(found)) = asked else { return earlier };
    let closed: Vec<_> = found.iter().filter(|one| one.verdict.is_some()).take(BACK).collect();
    for one in closed.into_iter().rev() {
        let record = OnShelf { id: one.id.clone(), sealed: true };
        let Ok(Some(past)) = past::read(&hall.shared.folder, &record, Some(asset)) else {
            continue;
        };
        for (_, judged) in &past.verdicts {
            if let Some((row, place)) = place(judged) {
                earlier.entry(row).or_default().push(place);
            }
        }
    }
    earlier
}

pub(super) fn place(judged: &Judged) -> Option<(String, u32)> {
    let (limit, unit) = (judged.limit.as_ref()?, judged.unit?);
    let value = Ratio::parse(judged.value.as_ref()?)?;
    let up = i32::from(limit.unit.prefix.exponent()) - i32::from(unit.prefix.exponent());
    let bound = Ratio::parse(&limit.value)?.shifted(up).ok()?;
    let direction = if limit.direction == "max" { Direction::Max } else { Direction::Min };
    Some((limit.id.clone(), share(value.abs(), bound, direction)?))
}

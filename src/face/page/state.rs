//! The station and its instruments.

use axum::extract::State;
use axum::response::Html;
use tapline_protocols::fact::CheckFact;
use tapline_protocols::inspection::chart::mark;

use super::Desk;
use crate::clock;
use crate::face::problem::Refused;
use crate::face::sheets::LEADS_MAX;
use crate::page::state::{Instrument, page};
use crate::station::register::Register;
use crate::words::english;

/// `GET /state`: also while nothing is judged.
pub(super) async fn view(State(desk): State<Desk>) -> Result<Html<String>, Refused> {
    let today = clock::utc_day(clock::now().wall_us);
    let asked = desk.hall.shared.ask(move |core| {
        let register = core.register();
        let leads: Vec<String> = register.leads.keys().take(LEADS_MAX).cloned().collect();
        (instruments(register, &today), leads)
    });
    let (instruments, leads) = asked.await.unwrap_or_default();
    Ok(Html(page(&desk.hall.shared.status_json(), &instruments, &leads)))
}

fn instruments(register: &Register, today: &str) -> Vec<Instrument> {
    let own = register.instruments.values().map(|one| Instrument {
        id: one.id.clone(),
        what: one.what.clone(),
        serial: one.serial.clone(),
        due: one.calibration_due.clone(),
        overdue: one.calibration_due.as_str() < today,
        checks: checks(register, &one.id),
    });
    let setups = register.setups.values().map(|one| Instrument {
        id: one.id.clone(),
        what: format!("{}: {} + {}", one.what, one.meter, one.network),
        serial: "–".into(),
        due: one.calibration_due.clone(),
        overdue: one.calibration_due.as_str() < today,
        checks: checks(register, &one.id),
    });
    own.chain(setups).collect()
}

/// The newest check on each standard.
fn checks(register: &Register, instrument: &str) -> Vec<(String, String, String)> {
    let own = register.checks.iter().filter(|((of, _), _)| of == instrument);
    let newest = own.filter_map(|((_, standard), points)| {
        let facts: Vec<&CheckFact> = points.iter().map(|point| &point.fact).collect();
        let day = clock::utc_day(points.back()?.at.wall_us);
        let word = english().say("check_mark", mark(&facts).word()).to_owned();
        Some((standard.clone(), day, word))
    });
    newest.collect()
}

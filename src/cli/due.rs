//! `tapline due`: when each asset is to be inspected next, from the register and the sealed books.

use serde_json::{Value, json};
use tapline_protocols::due::Day;
use tapline_protocols::register::Asset;

use super::args::{Common, Due};
use super::{Exit, Trouble, crowd, judge, offline, output};
use crate::clock;
use crate::past;
use crate::past::due::{Counted, Ledger, Row, summary};
use crate::words::english;

/// Lists the assets, those that are due first. Exit: 0, or 2 where a record can't be read.
pub(super) fn due(args: &Due, common: &Common) -> Result<Exit, Trouble> {
    let folder = offline::folder(args.folder.as_deref(), &args.config)?;
    let today = match &args.on {
        Some(day) => Day::parse(day)
            .ok_or_else(|| Trouble::Said(english().tell("due", "no_day", &[("day", day)])))?,
        None => Day::parse(&clock::utc_day(clock::now().wall_us)).expect("a clock shows a day"),
    };
    let mut ledger = Ledger::of(&folder, args.asset.as_deref()).map_err(Trouble::Said)?;
    if let (Some(asset), false) = (&args.asset, ledger.knows_an_asset()) {
        let text = english().tell("due", "unknown", &[("asset", asset)]);
        return Err(Trouble::Said(text));
    }
    let known = ledger.knows_an_asset();
    let mut exit = 0;
    let records = past::records(&folder).map_err(Trouble::Said)?;
    let wanted = args.asset.as_deref();
    crowd::each(
        &records,
        |record| past::read(&folder, record, wanted),
        |record, result| {
            match result {
                Ok(past) => past.into_iter().for_each(|past| ledger.take(past)),
                Err(why) => {
                    exit = judge::worse(exit, 2);
                    output::talk(&format!("{}: {why}", record.id));
                }
            }
            Ok(())
        },
    )?;
    let counted = Counted { from_due: args.from_due, month_end: args.month_end };
    let mut rows = ledger.rows(counted, today);
    let under = args.under.as_deref().unwrap_or_default();
    rows.retain(|row| row.asset.as_ref().is_some_and(|asset| asset.lies_in(under)));
    for row in &rows {
        output::data(&if common.json { json_line(row, today) } else { text(row, today) })?;
    }
    if !common.json {
        output::talk(&match rows.is_empty() && known {
            true => english().say("due", "none_here").into(),
            false => summary(&rows, today),
        });
    }
    Ok(Exit::of_code(exit))
}

fn json_line(row: &Row, today: Day) -> String {
    let asset = row.asset.as_ref();
    let last = row
        .last
        .as_ref()
        .map(|(id, day, outcome)| json!({ "id": id, "day": day.text(), "outcome": outcome }));
    let line: Value = json!({
        "asset": asset.map(|asset| &asset.id),
        "description": asset.map(|asset| &asset.description),
        "location": asset.map(|asset| &asset.location),
        "risk": asset.and_then(|asset| asset.risk),
        "interval": asset.and_then(|asset| asset.interval.as_ref()),
        "due": row.due.map(Day::text),
        "state": row.state(today),
        "last": last,
        "visited": row.visited.as_ref().map(|visited| visited.json(today)),
    });
    line.to_string()
}

fn text(row: &Row, today: Day) -> String {
    let asset = row.asset.as_ref();
    let of = |pick: fn(&Asset) -> &str| asset.map_or("", pick);
    let last = match &row.last {
        Some((id, day, outcome)) => {
            let code = serde_json::to_value(outcome).unwrap_or_default();
            let word = english().say("verdict", code.as_str().unwrap_or_default());
            format!("{} {id} {word}", day.text())
        }
        None => english().say("due", "none").into(),
    };
    let due = row.due.map_or_else(|| "-".repeat(10), Day::text);
    let values = [
        ("due", due.as_str()),
        ("asset", of(|asset| &asset.id)),
        ("description", of(|asset| &asset.description)),
        ("location", of(|asset| &asset.location)),
        ("last", &last),
    ];
    let visited = row.visited.as_ref().map(|visited| visited.text(today)).unwrap_or_default();
    english().tell("due", row.state(today), &values) + &visited
}

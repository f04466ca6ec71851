//! `tapline due`: when each asset is to be inspected next. A data folder that is named is evidence:
//! its books are read, every one. Without one the station is asked, whose index knows at once.

use std::path::Path;

use serde_json::{Value, json};
use tapline_protocols::due::Day;

use super::args::{Common, Due};
use super::client::Client;
use super::{Exit, Trouble, crowd, judge, offline, output};
use crate::clock;
use crate::orders::{Order, Orders};
use crate::past;
use crate::past::due::{Counted, Ledger, Row, summary, summed};
use crate::past::visited;
use crate::words::english;

/// Lists the assets, those that are due first. Exit: 0, or 2 where a record can't be read.
pub(super) fn due(args: &Due, client: &Client, common: &Common) -> Result<Exit, Trouble> {
    let today = match &args.on {
        Some(day) => Day::parse(day)
            .ok_or_else(|| Trouble::Said(english().tell("due", "no_day", &[("day", day)])))?,
        None => Day::parse(&clock::utc_day(clock::now().wall_us)).expect("a clock shows a day"),
    };
    match (&args.folder, &args.config) {
        (Some(folder), _) => of_books(folder, args, today, common),
        (None, Some(config)) => of_books(&offline::folder(None, config)?, args, today, common),
        (None, None) => of_station(client, args, today, common),
    }
}

/// Every book is read.
fn of_books(folder: &Path, args: &Due, today: Day, common: &Common) -> Result<Exit, Trouble> {
    let mut ledger = Ledger::of(folder, args.asset.as_deref()).map_err(Trouble::Said)?;
    if let (Some(asset), false) = (&args.asset, ledger.knows_an_asset()) {
        return Err(unknown(asset));
    }
    let known = ledger.knows_an_asset();
    let mut exit = 0;
    let records = past::records(folder).map_err(Trouble::Said)?;
    let wanted = args.asset.as_deref();
    crowd::each(
        &records,
        |record| past::read(folder, record, wanted),
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
    let orders = ledger.orders().clone();
    let counted = Counted { from_due: args.from_due, month_end: args.month_end };
    let mut rows = ledger.rows(counted, today);
    let under = args.under.as_deref().unwrap_or_default();
    rows.retain(|row| row.asset.as_ref().is_some_and(|asset| asset.lies_in(under)));
    let ordered =
        |row: &Row| row.asset.as_ref().is_some_and(|one| !orders.open_of(&one.id).is_empty());
    let back = |row: &Row| row.asset.as_ref().is_some_and(|one| one.return_by.is_some());
    rows.retain(|row| (!args.ordered || ordered(row)) && (!args.back || back(row)));
    for row in rows.iter().take(args.limit.unwrap_or(usize::MAX)) {
        print(&item(row, &orders, today), common)?;
    }
    if !common.json {
        output::talk(&match rows.is_empty() && known {
            true => english().say("due", "none_here").into(),
            false => summary(&rows, today),
        });
    }
    Ok(Exit::of_code(exit))
}

/// The station's index is asked, page by page.
fn of_station(client: &Client, args: &Due, today: Day, common: &Common) -> Result<Exit, Trouble> {
    let mut path = format!("/v1/due?on={}", today.text());
    let flags = [
        ("from_due", args.from_due),
        ("month_end", args.month_end),
        ("ordered", args.ordered),
        ("back", args.back),
    ];
    flags.iter().filter(|(_, is)| *is).for_each(|(name, _)| path += &format!("&{name}=1"));
    let texts = [("asset", args.asset.as_deref()), ("under", args.under.as_deref())];
    for (name, text) in texts {
        path += &text.map_or_else(String::new, |t| format!("&{name}={}", offline::escaped(t)));
    }
    let mut left = args.limit.unwrap_or(usize::MAX);
    let mut after = String::new();
    loop {
        let page = client.get(&format!("{path}&limit={}{after}", left.clamp(1, 500)))?;
        let items = page["items"].as_array().map_or(&[][..], Vec::as_slice);
        items.iter().take(left).try_for_each(|item| print(item, common))?;
        left = left.saturating_sub(items.len());
        match page["next"].as_str().filter(|_| left > 0) {
            Some(next) => after = format!("&after={}", offline::escaped(next)),
            None => return end(&page, args, today, common),
        }
    }
}

/// What the last page says of the whole.
fn end(page: &Value, args: &Due, today: Day, common: &Common) -> Result<Exit, Trouble> {
    let number = |name: &str| {
        usize::try_from(page["count"][name].as_u64().unwrap_or_default()).unwrap_or(usize::MAX)
    };
    let (assets, known) = (number("assets"), number("registered") > 0);
    if let Some(asset) = args.asset.as_ref().filter(|_| !known) {
        return Err(unknown(asset));
    }
    let damaged = page["damaged"].as_array().map_or(&[][..], Vec::as_slice);
    for id in damaged.iter().filter_map(Value::as_str) {
        output::talk(&english().tell("due", "counts_for_nothing", &[("id", id)]));
    }
    if !common.json {
        output::talk(&match assets == 0 && known {
            true => english().say("due", "none_here").into(),
            false => summed(assets, number("overdue"), number("without"), today),
        });
    }
    Ok(Exit::of_code(if damaged.is_empty() { 0 } else { 2 }))
}

fn unknown(asset: &str) -> Trouble {
    Trouble::Said(english().tell("due", "unknown", &[("asset", asset)]))
}

/// An asset in the form in which the station answers.
fn item(row: &Row, orders: &Orders, today: Day) -> Value {
    let asset = row.asset.as_ref();
    let last = row
        .last
        .as_ref()
        .map(|(id, day, outcome)| json!({ "id": id, "day": day.text(), "outcome": outcome }));
    json!({
        "asset": asset.map(|asset| &asset.id),
        "description": asset.map(|asset| &asset.description),
        "location": asset.map(|asset| &asset.location),
        "risk": asset.and_then(|asset| asset.risk),
        "interval": asset.and_then(|asset| asset.interval.as_ref()),
        "due": row.due().map(Day::text),
        "state": row.state(today),
        "last": last,
        "visited": row.visited.as_ref().map(|visited| visited.json(today)),
        "ownership": asset.and_then(|asset| asset.ownership),
        "return_by": asset.and_then(|asset| asset.return_by.as_ref()),
        "orders": asset.map(|asset| {
            orders.open_of(&asset.id).into_iter().map(Order::mark).collect::<Vec<_>>()
        }),
    })
}

fn print(item: &Value, common: &Common) -> Result<(), Trouble> {
    if common.json {
        return output::data(&item.to_string());
    }
    let of = |name: &str| item[name].as_str().unwrap_or_default();
    let last = match &item["last"] {
        Value::Object(last) => {
            let of = |name: &str| last[name].as_str().unwrap_or_default();
            format!("{} {} {}", of("day"), of("id"), english().say("verdict", of("outcome")))
        }
        _ => english().say("due", "none").into(),
    };
    let values = [
        ("due", item["due"].as_str().unwrap_or("----------")),
        ("asset", of("asset")),
        ("description", of("description")),
        ("location", of("location")),
        ("last", &last),
    ];
    let line = english().tell("due", of("state"), &values);
    output::data(
        &(line + &visited::text(&item["visited"]) + &first(item) + &back(item) + &ordered(item)),
    )
}

/// What its first inspection is.
fn first(item: &Value) -> String {
    let never = item["state"] == "never";
    if never { english().say("due", "acceptance").into() } else { String::new() }
}

/// When it goes back to whom it belongs.
fn back(item: &Value) -> String {
    let Some(day) = item["return_by"].as_str() else { return String::new() };
    let whose = item["ownership"].as_str().unwrap_or_default().replace('_', " ");
    english().tell("due", "back", &[("day", day), ("whose", &whose)])
}

/// What is ordered for it.
fn ordered(item: &Value) -> String {
    let orders = item["orders"].as_array().map_or(&[][..], Vec::as_slice);
    let one = |order: &Value| {
        let of = |name: &str| order[name].as_str().unwrap_or_default();
        let reason = english().say("why_inspected", of("reason"));
        let values = [("order", of("order")), ("reason", reason), ("day", of("wanted_by"))];
        let key = if order["wanted_by"].is_null() { "ordered" } else { "ordered_by" };
        english().tell("due", key, &values)
    };
    orders.iter().map(one).collect()
}

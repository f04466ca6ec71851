//! Work orders: `tapline order list`, `show`, `import`, `withdraw`.

use std::path::{Path, PathBuf};

use clap::Subcommand;
use serde_json::{Value, json};

use super::args::Common;
use super::client::Client;
use super::{Exit, Trouble, asset, offline, output};
use crate::words::english;

/// Work orders.
#[derive(Debug, Subcommand)]
pub enum OrderCommand {
    /// What is to be done, what is wanted first before the other
    List {
        /// Those that are closed, too
        #[arg(long)]
        all: bool,
    },
    /// One of them: what is asked, which inspections were made for it, what came of them
    Show {
        /// Its number
        order: String,
    },
    /// Take a file of orders, CSV or JSON, as the folder `inbox` does
    Import {
        /// The file
        file: PathBuf,
        /// Only say what would be taken
        #[arg(long)]
        dry_run: bool,
    },
    /// Take an order back: nothing more is to be done for it
    Withdraw {
        /// Its number
        order: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
}

pub(super) fn run(
    client: &Client,
    command: OrderCommand,
    common: &Common,
) -> Result<Exit, Trouble> {
    match command {
        OrderCommand::List { all } => list(client, all, common),
        OrderCommand::Show { order } => show(client, &order, common),
        OrderCommand::Import { file, dry_run } => import(client, &file, dry_run, common),
        OrderCommand::Withdraw { order, reason } => {
            let body = json!({ "reason": reason, "bench": common.bench, "by": common.by });
            let path = format!("/v1/orders/{}/withdraw", offline::escaped(&order));
            let answer = client.post(&path, &body)?;
            match crate::words::said(&answer["say"]).filter(|_| !common.json) {
                Some(sentence) => output::talk(&sentence),
                None => output::data(&answer.to_string())?,
            }
            Ok(Exit::Done)
        }
    }
}

fn list(client: &Client, all: bool, common: &Common) -> Result<Exit, Trouble> {
    let mut orders: Vec<Value> = Vec::new();
    client.pages("/v1/orders", |page| {
        let items = page["items"].as_array().into_iter().flatten();
        orders.extend(items.filter(|one| all || one["state"] == "open").cloned());
        Ok(())
    })?;
    let key = |one: &Value| {
        let day = one["wanted_by"].as_str().map(str::to_owned);
        (one["state"] != "open", day.is_none(), day, one["seq"].as_u64())
    };
    orders.sort_by_key(key);
    for order in &orders {
        output::data(&if common.json { order.to_string() } else { line("line", order) })?;
    }
    if orders.is_empty() && !common.json {
        output::talk(english().say("order", "none"));
    }
    Ok(Exit::Done)
}

fn line(key: &str, order: &Value) -> String {
    let of = |name: &str| order[name].as_str().unwrap_or_default();
    let tried = order["tried"].as_array().and_then(|all| all.last());
    let state = match tried.map(came_of).filter(|outcome| !outcome.is_empty()) {
        Some(outcome) => format!("{}, {outcome}", of("state")),
        None => of("state").to_owned(),
    };
    let values = [
        ("order", of("order")),
        ("asset", of("asset")),
        ("day", order["wanted_by"].as_str().unwrap_or("----------")),
        ("reason", english().say("why_inspected", of("reason"))),
        ("state", &state),
        ("remark", of("remark")),
    ];
    english().tell("order", key, &values).trim_end().to_owned()
}

/// What came of it, and what that is since an addendum.
fn came_of(tried: &Value) -> String {
    let of = |name: &str| tried[name].as_str().unwrap_or_default().replace('_', " ");
    let (outcome, now, now_of) = (of("outcome"), of("now"), &tried["now_of"]);
    let values = [("outcome", &*outcome), ("now", &*now), ("asset", now_of.as_str().unwrap_or(""))];
    match (now.is_empty(), now_of.is_null()) {
        (true, _) => outcome,
        (false, true) if now == outcome => outcome,
        (false, true) => english().tell("order", "now", &values),
        (false, false) => english().tell("order", "now_of", &values),
    }
}

/// The chain from the order to what came of it.
fn show(client: &Client, order: &str, common: &Common) -> Result<Exit, Trouble> {
    let order = client.get(&format!("/v1/orders/{}", offline::escaped(order)))?;
    if common.json {
        return output::data(&order.to_string()).map(|()| Exit::Done);
    }
    output::data(&line("line", &order))?;
    for tried in order["tried"].as_array().into_iter().flatten() {
        let of = |name: &str| tried[name].as_str().unwrap_or_default();
        let outcome = came_of(tried);
        let values =
            [("id", of("inspection")), ("outcome", outcome.as_str()), ("reason", of("reason"))];
        output::data(english().tell("order", "tried", &values).trim_end())?;
    }
    Ok(Exit::Done)
}

fn import(client: &Client, file: &Path, dry_run: bool, common: &Common) -> Result<Exit, Trouble> {
    let name = file.file_name().map(|name| name.to_string_lossy().into_owned());
    let mut body = json!({ "text": offline::text(file)?, "file": name, "dry_run": dry_run });
    if let Some(by) = &common.by {
        body["by"] = json!(by);
    }
    let answer = client.post("/v1/orders", &body)?;
    asset::told(&answer, dry_run, common)?;
    Ok(Exit::Done)
}

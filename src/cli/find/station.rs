//! `tapline find` without a data folder: the station's index names the verdicts. What has to be
//! judged again is read from the books of the inspections that it names, and of no others.

use std::path::PathBuf;

use serde::Deserialize;
use tapline_protocols::fact::Judged;

use super::{Asked, Client, Common, Exit, Find, Found, Sum, Trouble, end, of_books, output};
use crate::books::OnShelf;
use crate::cli::offline::escaped;
use crate::replay::{Basis, Resting};
use crate::words::english;

/// Inspections of one answer: each has some kilobytes.
const ONCE: usize = 100;

/// A page of the answer.
#[derive(Deserialize)]
struct Page {
    items: Vec<Item>,
    records: usize,
    damaged: Vec<String>,
    folder: PathBuf,
}

#[derive(Deserialize)]
struct Item {
    id: String,
    asset: String,
    opened: String,
    sealed: bool,
    verdicts: Vec<Verdict>,
}

#[derive(Deserialize)]
struct Verdict {
    seq: u64,
    step: String,
    recorded: Option<Judged>,
}

pub(super) fn of_station(
    client: &Client,
    (args, asked): (&Find, &Asked),
    mut sum: Sum,
    common: &Common,
) -> Result<Exit, Trouble> {
    let (mut again, mut folder) = (Vec::new(), PathBuf::new());
    client.pages(&path(args, asked), |page| {
        let page = Page::deserialize(page);
        let page = page.map_err(|error| Trouble::Said(format!("the station's answer: {error}")))?;
        sum.records += page.records;
        for id in &page.damaged {
            sum.trouble(&english().tell("find", "damaged", &[("id", id)]));
        }
        for item in page.items {
            let record = OnShelf { id: item.id.clone(), sealed: item.sealed };
            match asked.assumed {
                Some(_) => again.push(record),
                None => sum.say(&record, &found(item), common.json)?,
            }
        }
        folder = page.folder;
        Ok(())
    })?;
    if asked.assumed.is_none() {
        return end(&sum, &sum.asked(), common);
    }
    let values = [("read", again.len().to_string()), ("records", sum.records.to_string())];
    let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
    output::talk(&english().tell("find", "read_again", &values));
    let all = sum.records;
    let pace = of_books(&folder, &again, (args, asked), (&mut sum, common))?;
    sum.records = all;
    end(&sum, &sum.text(pace.rate()), common)
}

fn path(args: &Find, asked: &Asked) -> String {
    let driver = args.driver.as_deref().unwrap_or_default();
    let (by, of) = match &asked.basis {
        Basis::Instrument(id) => ("instrument", id.as_str()),
        Basis::Fixture(id) => ("fixture", id.as_str()),
        Basis::Limits(which) => ("limit", which.as_str()),
        Basis::Driver(..) | Basis::Described(..) => ("driver", driver),
    };
    let mut path = format!("/v1/verdicts?by={by}&of={}&limit={ONCE}", escaped(of));
    let span = &args.span;
    for (name, text) in [("from", &span.from), ("to", &span.to), ("asset", &span.asset)] {
        path += &text.as_ref().map_or_else(String::new, |t| format!("&{name}={}", escaped(t)));
    }
    if asked.assumed.is_some() {
        path += "&brief=1";
    }
    path
}

fn found(item: Item) -> Found {
    let resting = item.verdicts.into_iter().filter_map(|one| {
        let recorded = one.recorded?;
        Some(Resting { seq: one.seq, step: one.step, recorded, assumed: None })
    });
    Found { asset: item.asset, opened: item.opened, resting: resting.collect() }
}

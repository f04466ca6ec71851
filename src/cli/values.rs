//! Values from before the station was: `tapline asset values`.

use serde_json::Value;
use tapline_protocols::register::{FORMER, Former, read_former, write_former};

use super::args::{Common, ValuesCommand};
use super::client::Client;
use super::{Exit, Trouble, asset, output};
use crate::past::history::told_former;

pub(super) fn run(
    client: &Client,
    command: ValuesCommand,
    common: &Common,
) -> Result<Exit, Trouble> {
    match command {
        ValuesCommand::List { asset } => {
            for (value, former) in all(client)? {
                if asset.as_ref().is_none_or(|asset| *asset == former.asset) {
                    let shown = || format!("{}  {}", former.asset, told_former(&former));
                    output::data(&if common.json { value.to_string() } else { shown() })?;
                }
            }
            Ok(Exit::Done)
        }
        ValuesCommand::Import { file, map, dry_run } => {
            asset::import(client, ("/v1/values", &FORMER), (&file, map), dry_run, common)
        }
        ValuesCommand::Export { file } => {
            let values: Vec<Former> = all(client)?.into_iter().map(|(_, former)| former).collect();
            let text = write_former(&values);
            let back = read_former(&text, None).map_err(|faults| {
                asset::not_the_same(&faults.first().map(ToString::to_string).unwrap_or_default())
            })?;
            let same = back.values.iter().map(|(_, one)| one).eq(&values);
            match same {
                true => {
                    let count = values.len().to_string();
                    asset::written(file.as_deref(), &text, ("values_exported", &count))
                }
                false => Err(asset::not_the_same("values")),
            }
        }
    }
}

fn all(client: &Client) -> Result<Vec<(Value, Former)>, Trouble> {
    let mut all = Vec::new();
    client.pages("/v1/values", |page| {
        for item in page["items"].as_array().map_or(&[][..], Vec::as_slice) {
            let read = serde_json::from_value(item.clone());
            let former = read.map_err(|why| asset::not_the_same(&why.to_string()))?;
            all.push((item.clone(), former));
        }
        Ok(())
    })?;
    Ok(all)
}

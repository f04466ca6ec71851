//! The register grows: each entry of a file that people write becomes a fact.

use std::collections::BTreeSet;

use serde_json::{Map, Value};
use tapline_protocols::fact::RefusedFact;
use tapline_protocols::register::{
    ASSETS, Asset, COLUMNS_MORE, COLUMNS_NEEDED, ListMap, read_asset_list, read_fixtures,
    read_instruments, read_operators, read_standards,
};
use tapline_protocols::{Fact, Fault};

use super::changes::Changes;
use super::core::Core;
use super::event::{Answer, Problem};
use super::say::bad;
use super::settings::may_send;
use super::wire::Wire;
use crate::clock::Stamp;

/// A file that people write, on its way into the register.
pub(super) struct File<'a> {
    /// Which register.
    pub what: &'a str,
    /// Text of the file.
    pub text: &'a str,
    /// How its columns are read: text of a file in that format.
    pub map: Option<&'a str>,
    /// Orders alone: name of the file.
    pub name: Option<&'a str>,
    /// Only say what would change.
    pub dry_run: bool,
}

impl Core {
    /// Adds a file to the register, all of it or nothing. Entries that say what the register says
    /// already make no line.
    pub(super) fn import(
        &mut self,
        at: Stamp,
        by: Option<String>,
        file: &File<'_>,
    ) -> Result<Answer, Problem> {
        if file.what == "orders" {
            return self.take_orders(at, by.as_deref(), file);
        }
        let (facts, left_out) = match file.what {
            "values" => self.read_former(at, file)?,
            _ => (self.read(file)?, 0),
        };
        let mut changes = Changes { left_out, ..Changes::default() };
        let mut new: Vec<Fact> = Vec::new();
        for fact in facts {
            if changes.take(&fact, self.known(&fact)) {
                new.push(fact);
            }
        }
        let count = new.len().to_string();
        if file.dry_run {
            let answer = Answer::done(self.seq).say(&["import.dry_run", file.what, &count]);
            return Ok(Answer { changes: Some(Box::new(changes)), ..answer });
        }
        for fact in new {
            self.put_station(at, fact, by.clone());
        }
        self.silence(at);
        let answer = Answer::done(self.seq).say(&["import.done", file.what, &count]);
        Ok(Answer { changes: Some(Box::new(changes)), ..answer })
    }

    /// What the register says of the entry that a fact is about.
    fn known(&self, fact: &Fact) -> Option<Fact> {
        let register = &self.register;
        Some(match fact {
            Fact::Asset(one) => Fact::Asset(Box::new(register.asset(&one.id)?.clone())),
            Fact::Instrument(one) => {
                Fact::Instrument(Box::new(register.instruments.get(&one.id)?.clone()))
            }
            Fact::Setup(one) => Fact::Setup(Box::new(register.setups.get(&one.id)?.clone())),
            Fact::Fixture(one) => Fact::Fixture(Box::new(register.fixtures.get(&one.id)?.clone())),
            Fact::Lead(one) => Fact::Lead(Box::new(register.leads.get(&one.id)?.clone())),
            Fact::Standard(one) => {
                Fact::Standard(Box::new(register.standards.get(&one.id)?.clone()))
            }
            Fact::Operator(one) => {
                Fact::Operator(Box::new(register.operators.get(&one.id)?.clone()))
            }
            Fact::Former(one) => Fact::Former(Box::new(register.former.get(&one.id)?.1.clone())),
            _ => return None,
        })
    }

    fn read(&self, file: &File<'_>) -> Result<Vec<Fact>, Problem> {
        if file.what != "assets" {
            return match file.map {
                Some(_) => Err(bad("only a list of assets or of their values is read by a map")),
                None => read(file.what, file.text),
            };
        }
        let map =
            file.map.map(|text| ListMap::read(text, &ASSETS)).transpose().map_err(|faults| {
                faulty(&faults).next("Correct the lines named of the map, then import again.")
            })?;
        let list = read_asset_list(file.text, map.as_ref()).map_err(|faults| faulty(&faults))?;
        let kept = |asset: Asset| match self.register.asset(&asset.id) {
            Some(known) => kept(known, asset, &list.silent),
            None => asset,
        };
        Ok(list.assets.into_iter().map(|one| Fact::Asset(Box::new(kept(one)))).collect())
    }

    /// An instrument that is now known to be able to put out a voltage is sent nothing more: its
    /// driver goes, its bytes are kept.
    fn silence(&mut self, at: Stamp) {
        let register = &self.register;
        let wrong = self.links.values().filter(|link| {
            link.wire.as_ref().is_some_and(Wire::sends) && !may_send(&link.settings, register)
        });
        let mut names = Vec::new();
        for link in wrong {
            names.push((link.settings.id.clone(), link.book.clone()));
        }
        for (link, book) in names {
            let refused = RefusedFact { what: format!("link {link}"), why: "may_put_out".into() };
            self.put_station(at, Fact::Refused(refused), None);
            let why = "its instrument could put out a voltage or is unknown: nothing is sent to it";
            self.link_fact(&link, at, "changed", Some(why.into()));
            self.link_lost(&link, at);
            if let Some(book) = book {
                self.tap(&link, at, book);
            }
        }
    }
}

/// An asset as a list has it, but with what the register says where the list is silent.
fn kept(known: &Asset, listed: Asset, silent: &BTreeSet<&str>) -> Asset {
    let (mut told, listed_json) = (object(known), object(&listed));
    for column in all_columns().filter(|column| !silent.contains(column)) {
        let key = if column == "asset" { "id" } else { column };
        match listed_json.get(key) {
            Some(value) => told.insert(key.into(), value.clone()),
            None => told.remove(key),
        };
    }
    serde_json::from_value(told.into()).unwrap_or(listed)
}

fn all_columns() -> impl Iterator<Item = &'static str> {
    COLUMNS_NEEDED.into_iter().chain(COLUMNS_MORE)
}

fn object<T: serde::Serialize>(entry: &T) -> Map<String, Value> {
    match serde_json::to_value(entry) {
        Ok(Value::Object(object)) => object,
        _ => Map::new(),
    }
}

pub(super) fn faulty(faults: &[Fault]) -> Problem {
    let texts: Vec<String> = faults.iter().map(ToString::to_string).collect();
    bad(texts.join("\n")).next("Correct the lines named, then import the file again.")
}

fn read(what: &str, text: &str) -> Result<Vec<Fact>, Problem> {
    let faulty = |faults: Vec<Fault>| faulty(&faults);
    Ok(match what {
        "instruments" => {
            let (instruments, setups) = read_instruments(text).map_err(faulty)?;
            let instruments = instruments.into_iter().map(|one| Fact::Instrument(Box::new(one)));
            instruments.chain(setups.into_iter().map(|one| Fact::Setup(Box::new(one)))).collect()
        }
        "fixtures" => {
            let (fixtures, leads) = read_fixtures(text).map_err(faulty)?;
            let fixtures = fixtures.into_iter().map(|one| Fact::Fixture(Box::new(one)));
            fixtures.chain(leads.into_iter().map(|one| Fact::Lead(Box::new(one)))).collect()
        }
        "standards" => {
            let standards = read_standards(text).map_err(faulty)?;
            standards.into_iter().map(|one| Fact::Standard(Box::new(one))).collect()
        }
        "operators" => {
            let operators = read_operators(text).map_err(faulty)?;
            operators.into_iter().map(|one| Fact::Operator(Box::new(one))).collect()
        }
        other => {
            return Err(bad(format!(
                "`{other}` can't be imported: assets, values, instruments, fixtures, standards, operators or orders"
            )));
        }
    })
}

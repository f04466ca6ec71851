//! `tapline find`: which verdicts rest on a meter, a limit, a driver that turned out wrong, and
//! which of them would be others.

mod station;

use std::path::Path;

use serde_json::{Value, json};
use tapline_drivers::{Function, Number};
use tapline_protocols::amount::Amount;
use tapline_protocols::fact::{Judged, Word};
use tapline_protocols::inspection::{Assumed, Off};

use super::args::{Common, Find, Span};
use super::client::Client;
use super::{Exit, Trouble, crowd, judge, offline, output};
use crate::books::OnShelf;
use crate::past::{Refused, believed, place_of, records};
use crate::replay::{Basis, Resting, Search, is_hash};
use crate::told::judged::{change, limit, value, word};
use crate::words::english;
use station::of_station;

/// What is asked for.
pub(super) struct Asked {
    basis: Basis,
    assumed: Option<Assumed>,
}

/// One inspection with the verdicts that rest on what is asked for.
struct Found {
    asset: String,
    opened: String,
    resting: Vec<Resting>,
}

/// Lists the verdicts. A data folder or a configuration that is named is evidence: its books are
/// read, every one. Without one the station's index is asked. Exit: 0 done; with something assumed
/// 1 a verdict would be another, 3 one lies within its doubt of the limit; 2 a record can't be
/// read, of several the worst.
pub(super) fn find(args: &Find, client: &Client, common: &Common) -> Result<Exit, Trouble> {
    let asked = asked(args)?;
    let mut sum = Sum { assumed: asked.assumed.is_some(), ..Sum::default() };
    let folder = match (&args.folder, &args.config) {
        (Some(folder), _) => folder.clone(),
        (None, Some(config)) => offline::folder(None, config)?,
        (None, None) => return of_station(client, (args, &asked), sum, common),
    };
    let records = records(&folder).map_err(Trouble::Said)?;
    let pace = of_books(&folder, &records, (args, &asked), (&mut sum, common))?;
    end(&sum, &sum.text(pace.rate()), common)
}

fn end(sum: &Sum, text: &str, common: &Common) -> Result<Exit, Trouble> {
    if common.json {
        output::data(&json!({ "summary": sum.json() }).to_string())?;
    }
    output::talk(text);
    Ok(Exit::of_code(sum.exit))
}

/// Reads books.
fn of_books(
    folder: &Path,
    records: &[OnShelf],
    (args, asked): (&Find, &Asked),
    (sum, common): (&mut Sum, &Common),
) -> Result<crowd::Pace, Trouble> {
    let work = |record: &OnShelf| one(folder, record, (&args.span, asked));
    crowd::each(records, work, |record, result| match result {
        Ok(None) => Ok(()),
        Ok(Some(found)) => {
            sum.records += 1;
            sum.say(record, &found, common.json)
        }
        Err(why) => {
            sum.trouble(&format!("{}: {why}", record.id));
            Ok(())
        }
    })
}

fn asked(args: &Find) -> Result<Asked, Trouble> {
    let limits = args.limit_table.clone();
    let basis = match (&args.instrument, &args.fixture, limits, &args.driver) {
        (Some(id), ..) => Basis::Instrument(id.clone()),
        (_, Some(id), ..) => Basis::Fixture(id.clone()),
        (_, _, Some(which), _) => Basis::Limits(which),
        (.., driver) => {
            Basis::driver(driver.as_deref().unwrap_or_default()).map_err(Trouble::Said)?
        }
    };
    let off = args.reading_off.as_ref().map(|percent| off(args, percent)).transpose()?;
    let limit = match (&args.limit, &args.limit_table) {
        (Some(_), Some(row)) if row.contains('/') || is_hash(row) => {
            return Err(Trouble::Said(english().say("find", "row_needed").into()));
        }
        (Some(text), Some(row)) => Some((row.clone(), Amount::parse(text).map_err(Trouble::Said)?)),
        _ => None,
    };
    let some = off.is_some() || limit.is_some();
    Ok(Asked { basis, assumed: some.then_some(Assumed { off, limit }) })
}

fn off(args: &Find, percent: &str) -> Result<Off, Trouble> {
    let number = Number::parse(percent)
        .ok_or_else(|| Trouble::Said(format!("`{percent}` is no decimal: say -5 or 2.5")))?;
    let function = match args.function.as_ref() {
        Some(word) => Some(
            serde_json::from_value::<Function>(json!(word))
                .map_err(|error| Trouble::Said(format!("`{word}` is no function: {error}")))?,
        ),
        None => None,
    };
    let instrument = args.instrument.clone().unwrap_or_default();
    let off = Off { instrument, function, percent: number };
    match off.factor() {
        Ok(_) => Ok(off),
        Err(_) => Err(Trouble::Said(english().say("find", "not_in_range").into())),
    }
}

/// `None`: it is not among those that are wanted.
fn one(
    folder: &Path,
    record: &OnShelf,
    (span, asked): (&Span, &Asked),
) -> Result<Option<Found>, String> {
    let (path, in_work) = place_of(folder, record);
    let mut search = Search::new(&asked.basis, asked.assumed.as_ref());
    let (mut asset, mut opened) = (String::new(), String::new());
    let wanted = |own: Option<&str>, at: &str| span.wants(own, at);
    let mut first = true;
    let read = believed(
        &path,
        in_work,
        |open, at| wanted(open.inspection.as_ref().map(|one| one.asset.as_str()), at),
        |line| {
            if let (true, tapline_protocols::Fact::Open(open)) = (first, &line.fact) {
                let own = open.inspection.as_ref().map(|one| one.asset.clone());
                (asset, opened) = (own.unwrap_or_default(), crate::clock::rfc3339(line.at.wall_us));
                first = false;
            }
            search.line(line);
        },
    );
    match read {
        Ok(()) => {
            let resting = search.end()?;
            fits(&resting, asked)?;
            Ok(Some(Found { asset, opened, resting }))
        }
        Err(Refused::Unwanted) => Ok(None),
        Err(Refused::Trouble(why)) => Err(why),
    }
}

/// A limit of another quantity judges nothing.
fn fits(resting: &[Resting], asked: &Asked) -> Result<(), String> {
    let assumed = asked.assumed.as_ref().and_then(|assumed| assumed.limit.as_ref());
    let Some((_, amount)) = assumed else { return Ok(()) };
    let own = resting.iter().filter_map(|one| one.recorded.limit.as_ref());
    match own.map(|limit| limit.unit).find(|unit| unit.quantity != amount.unit.quantity) {
        Some(unit) => Err(english().tell("find", "other_quantity", &[("unit", unit.ucum())])),
        None => Ok(()),
    }
}

fn changes(one: &Resting) -> bool {
    one.assumed.as_ref().map(|judged| judged.verdict) != Some(one.recorded.verdict)
}

fn doubtful(one: &Resting) -> bool {
    let in_doubt = |judged: &Judged| judged.verdict != Word::Undecided && judged.within_doubt();
    one.assumed.as_ref().is_some_and(in_doubt)
}

/// What came of it.
#[derive(Debug, Default)]
pub(super) struct Sum {
    assumed: bool,
    records: usize,
    inspections: usize,
    verdicts: usize,
    changes: usize,
    near: usize,
    trouble: usize,
    exit: u8,
}

impl Sum {
    fn trouble(&mut self, why: &str) {
        (self.trouble, self.exit) = (self.trouble + 1, judge::worse(self.exit, 2));
        output::talk(why);
    }

    fn say(&mut self, record: &OnShelf, found: &Found, as_json: bool) -> Result<(), Trouble> {
        self.inspections += usize::from(!found.resting.is_empty());
        for one in &found.resting {
            self.verdicts += 1;
            let (changes, near) = match self.assumed {
                true => (changes(one), doubtful(one)),
                false => (false, false),
            };
            self.changes += usize::from(changes);
            self.near += usize::from(near && !changes);
            let code = if changes { 1 } else { 3 * u8::from(near) };
            self.exit = judge::worse(self.exit, code);
            if self.assumed && !changes && !near {
                continue;
            }
            output::data(&match as_json {
                true => self.line(record, found, one).to_string(),
                false => self.text_of(record, found, one),
            })?;
        }
        Ok(())
    }

    fn line(&self, record: &OnShelf, found: &Found, one: &Resting) -> Value {
        let mut line = json!({
            "id": record.id, "opened": found.opened, "asset": found.asset,
            "sealed": record.sealed, "step": one.step, "seq": one.seq,
        });
        if self.assumed {
            line["changes"] = changes(one).into();
            line["within_doubt"] = doubtful(one).into();
            line["assumed"] = json!(one.assumed);
        }
        line["recorded"] = json!(one.recorded);
        line
    }

    fn text_of(&self, record: &OnShelf, found: &Found, one: &Resting) -> String {
        let recorded = &one.recorded;
        let values = [
            ("id", record.id.clone()),
            ("day", found.opened[..10].into()),
            ("asset", found.asset.clone()),
            ("step", one.step.clone()),
            ("seq", one.seq.to_string()),
            ("value", value(recorded)),
            ("limit", limit(recorded)),
            ("verdict", word(recorded)),
            ("text", change(recorded, one.assumed.as_ref())),
        ];
        let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
        english().tell("find", if self.assumed { "assumed" } else { "line" }, &values)
    }

    fn json(&self) -> Value {
        let mut json = json!({
            "records": self.records, "inspections": self.inspections, "verdicts": self.verdicts,
            "trouble": self.trouble,
        });
        if self.assumed {
            json["change"] = self.changes.into();
            json["within_doubt"] = self.near.into();
            json["stay"] = (self.verdicts - self.changes - self.near).into();
        }
        json
    }

    /// As the station's index has it.
    fn asked(&self) -> String {
        let values = [
            ("verdicts", self.verdicts.to_string()),
            ("inspections", self.inspections.to_string()),
            ("records", self.records.to_string()),
            ("trouble", self.trouble.to_string()),
        ];
        let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
        english().tell("find", "asked", &values)
    }

    fn text(&self, (rate, seconds): (String, String)) -> String {
        let values = [
            ("verdicts", self.verdicts.to_string()),
            ("inspections", self.inspections.to_string()),
            ("records", self.records.to_string()),
            ("changes", self.changes.to_string()),
            ("near", self.near.to_string()),
            ("stay", (self.verdicts - self.changes - self.near).to_string()),
            ("trouble", self.trouble.to_string()),
            ("rate", rate),
            ("seconds", seconds),
        ];
        let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
        english().tell("find", if self.assumed { "change" } else { "rest" }, &values)
    }
}

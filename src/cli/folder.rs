//! `tapline verify FOLDER`: a whole data folder against itself, one line a fault.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::json;

use super::{Exit, Trouble, crowd, offline, output};
use crate::books::inventory::{Checked, Finding, Inventory, Kind, Place};
use crate::books::place::is_addendum;
use crate::past;
use crate::words::english;

/// Checks a data folder. Exit: 0 nothing is wrong, 1 something is, 2 something can't be read.
pub(super) fn verify(folder: &Path, as_json: bool) -> Result<Exit, Trouble> {
    offline::disk(folder)?;
    let inventory = Inventory::take(folder).map_err(|halted| Trouble::Said(halted.to_string()))?;
    let mut sum = Sum::default();
    let mut books: Vec<Checked> = Vec::new();
    let pace = crowd::each(
        &inventory.places,
        |place| inventory.check(place),
        |place, result| {
            match result {
                Ok(mut checked) => {
                    sum.add(place, &checked);
                    let mut found = std::mem::take(&mut checked.findings);
                    found.extend(said_otherwise(folder, place, &inventory));
                    say(&mut sum, &inventory.again(place, found), as_json)?;
                    books.push(checked);
                }
                Err(why) => {
                    sum.trouble += 1;
                    output::talk(&why);
                }
            }
            Ok(())
        },
    )?;
    say(&mut sum, &inventory.whole(&books), as_json)?;
    let summary = if as_json { sum.json(folder) } else { sum.text(folder) };
    output::data(&summary)?;
    sum.keys.iter().for_each(|(key, n)| {
        let values = [("key", key.as_str()), ("n", &n.to_string())];
        output::talk(&english().tell("verify", "key", &values));
    });
    let (rate, seconds) = pace.rate();
    output::talk(&english().tell("verify", "pace", &[("rate", &rate), ("seconds", &seconds)]));
    Ok(sum.exit())
}

/// The station book says of an addendum what the addendum itself comes to: lists and dates follow
/// the station book.
fn said_otherwise(folder: &Path, place: &Place, inventory: &Inventory) -> Option<Finding> {
    let Kind::Sealed(id) = &place.kind else { return None };
    // What can't be read is told already.
    if !is_addendum(id) {
        return None;
    }
    let life = past::life::read(folder, id).ok()?.life();
    let same = life.later().as_ref() == inventory.later(id);
    let text = english().say("verify", "said_otherwise").to_owned();
    let values = BTreeMap::from([("text", text)]);
    let (line, byte, commit) = (None, None, None);
    let file = place.path.clone();
    (!same).then_some(Finding { file, code: "addendum", line, byte, commit, values })
}

fn say(sum: &mut Sum, findings: &[Finding], as_json: bool) -> Result<(), Trouble> {
    for one in findings {
        sum.faults += 1;
        output::data(&if as_json { json_line(one) } else { text(one) })?;
    }
    Ok(())
}

fn sentence(one: &Finding) -> String {
    english().finding(one.code, &one.values)
}

/// `FAILED FILE: line 41, byte 10233, commit 7: what it is`.
fn text(one: &Finding) -> String {
    let places = [("line", one.line), ("byte", one.byte), ("commit", one.commit)];
    let places = places.iter().filter_map(|(name, at)| Some(format!("{name} {}", (*at)?)));
    let places = places.collect::<Vec<_>>().join(", ");
    let places = if places.is_empty() { places } else { format!("{places}: ") };
    format!("FAILED {}: {places}{}", one.file, sentence(one))
}

fn json_line(one: &Finding) -> String {
    json!({
        "file": one.file, "code": one.code, "line": one.line, "byte": one.byte,
        "commit": one.commit, "text": sentence(one),
    })
    .to_string()
}

#[derive(Debug, Default)]
struct Sum {
    sealed: usize,
    in_work: usize,
    idle: usize,
    station: usize,
    bytes: u64,
    faults: usize,
    trouble: usize,
    keys: BTreeMap<String, usize>,
}

impl Sum {
    fn add(&mut self, place: &Place, checked: &Checked) {
        *match place.kind {
            Kind::Sealed(_) => &mut self.sealed,
            Kind::Open => &mut self.in_work,
            Kind::Idle => &mut self.idle,
            Kind::Station => &mut self.station,
        } += 1;
        self.bytes += checked.bytes;
        if let Some(key) = &checked.key {
            *self.keys.entry(key.clone()).or_default() += 1;
        }
    }

    fn exit(&self) -> Exit {
        match (self.trouble, self.faults) {
            (0, 0) => Exit::Done,
            (0, _) => Exit::Fail,
            _ => Exit::Trouble,
        }
    }

    fn json(&self, folder: &Path) -> String {
        let ok = self.exit() == Exit::Done;
        json!({ "summary": {
            "folder": folder.display().to_string(), "ok": ok, "sealed": self.sealed,
            "in_work": self.in_work, "idle": self.idle, "station": self.station,
            "bytes": self.bytes, "faults": self.faults, "trouble": self.trouble,
            "keys": self.keys,
        }})
        .to_string()
    }

    fn text(&self, folder: &Path) -> String {
        let values = [
            ("folder", folder.display().to_string()),
            ("sealed", self.sealed.to_string()),
            ("in_work", self.in_work.to_string()),
            ("idle", self.idle.to_string()),
            ("station", self.station.to_string()),
            ("faults", self.faults.to_string()),
            ("trouble", self.trouble.to_string()),
        ];
        let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
        let code = if self.exit() == Exit::Done { "folder_ok" } else { "folder_failed" };
        english().tell("verify", code, &values)
    }
}

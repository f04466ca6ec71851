//! What stands on the bench of a random inspection, and what it says: taps, bytes, values, nulls,
//! checks and verdicts that rest on them.

use std::fmt::Write;

use tapline_protocols::Fact;

use super::made::Dice;

const LINKS: [&str; 2] = ["ohm", "dmm"];
const METERS: [&str; 3] = ["LR-01", "LR-02", "DM-01"];
const DRIVERS: [&str; 3] = ["val-unit-line", "scpi-auto", "own"];
/// Expanded steps, and the steps of the plan that they are of.
const STEPS: [(&str, &str); 4] =
    [("pe/1", "pe"), ("pe/2", "pe"), ("leak/1", "leak"), ("look", "look")];
const FILE: &str = r#","driver_sha256":"cccccccccccccccc""#;
const TABLES: [&str; 2] = ["aaaaaaaaaaaaaaaa", "bbbbbbbbbbbbbbbb"];

fn fact(text: &str) -> Fact {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{text}: {error}"))
}

/// What an inspection is given.
pub(super) fn given(dice: &mut Dice) -> Vec<Fact> {
    let setup = r#"{"id":"LK-1","what":"leakage setup","meter":"DM-01","network":"NW-1",
        "function":"voltage_ac","calibration_due":"2027-03-31"}"#;
    let mut steps = String::new();
    for (step, of) in STEPS {
        let label = dice.pick(&["LR-01", "LR-02", "LK-1"]);
        let leads = dice.pick(&["", r#","leads":"L-1""#, r#","leads":"L-2""#]);
        let comma = if steps.is_empty() { "" } else { "," };
        let point = dice.pick(&["case", "rail"]);
        let own = format!(r#""point":"{point}","instrument":"{label}"{leads}"#);
        write!(steps, r#"{comma}{{"step":"{step}","of":"{of}",{own}}}"#).unwrap();
    }
    let mut all = Vec::new();
    if !dice.once_in(5) {
        all.push(fact(&format!(
            r#"{{"k":"given","what":"instruments","list":[],"setups":[{setup}]}}"#
        )));
    }
    if !dice.once_in(8) {
        all.push(fact(&format!(r#"{{"k":"given","what":"steps","list":[{steps}]}}"#)));
    }
    all
}

/// Numbers of lines that can be rested on.
#[derive(Debug, Default)]
pub(super) struct Wires {
    bytes: Vec<u64>,
    values: Vec<u64>,
    others: Vec<u64>,
}

impl Wires {
    /// Something that is written as line `seq`.
    pub(super) fn next(&mut self, dice: &mut Dice, seq: u64) -> Fact {
        let link = dice.pick(&LINKS);
        match dice.below(12) {
            0 | 1 => tap(dice, link),
            2 | 3 => self.bytes(dice, (link, seq)),
            4 | 5 => {
                self.values.push(seq);
                let (step, _) = dice.pick(&STEPS);
                let from = readings(dice, &self.bytes);
                fact(&format!(
                    r#"{{"k":"value","step":"{step}","rule":"worst_over","from":[{from}],
                    "value":"0.182","unit":"Ohm"}}"#
                ))
            }
            6 => {
                self.others.push(seq);
                let from = readings(dice, &self.bytes);
                fact(&format!(
                    r#"{{"k":"null","lead":"L-1","function":"resistance_4w","range":"2 Ohm",
                    "direction":"minus","value":"0.060","unit":"Ohm","zeroed":"no",
                    "from":[{from}],"carried":null}}"#
                ))
            }
            7 => {
                self.others.push(seq);
                let (step, _) = dice.pick(&STEPS);
                let from = readings(dice, &self.bytes);
                fact(&format!(
                    r#"{{"k":"prove","what":"network_resistance","step":"{step}","value":"10012",
                    "unit":"Ohm","want":"10012","ok":true,"from":[{from}]}}"#
                ))
            }
            _ => self.verdict(dice),
        }
    }

    fn bytes(&mut self, dice: &mut Dice, (link, seq): (&str, u64)) -> Fact {
        self.bytes.push(seq);
        let read = r#"{"b":[0,2],"f":"resistance_4w","v":"0.182","u":"Ohm"}"#;
        let rest = dice.pick(&["", r#","cuts":[[0,0],[1,9]]"#, r#","cuts":[[1,9]]"#]);
        let read = if dice.once_in(4) { String::new() } else { format!(r#","read":[{read}]"#) };
        let raw = dice.pick(&["R4", "}]}", r#"\"read\":[{}]}"#]);
        fact(&format!(r#"{{"k":"in","link":"{link}","at":0,"raw":"{raw}"{rest}{read}}}"#))
    }

    fn verdict(&self, dice: &mut Dice) -> Fact {
        let step = dice.pick(&["pe", "leak", "look"]);
        let from = some(dice, &self.values, |seq| seq.to_string());
        let chain = some(dice, &self.others, |seq| seq.to_string());
        let (id, table) = (dice.pick(&["row.a", "row.b"]), dice.pick(&TABLES));
        let edition = dice.pick(&["2007", "2014"]);
        let limit = format!(
            r#"{{"id":"{id}","value":"0.3","unit":"Ohm","direction":"max","inclusive":true,
            "standard":"IEC 62353","edition":"{edition}","clause":"5","confidence":"two_sources",
            "layer":"standard","table":"{table}"}}"#
        );
        let limit = if dice.once_in(4) { "null".to_owned() } else { limit };
        let measurand = dice.pick(&["", r#""measurand":"earth","#, r#""measurand":"leakage","#]);
        let (value, word) = (dice.pick(&["0.1", "0.2", "0.31"]), dice.pick(&["pass", "fail"]));
        fact(&format!(
            r#"{{"k":"verdict","step":"{step}",{measurand}"value":"{value}","unit":"Ohm",
            "shown":"{value}","from":[{from}],"chain":[{{"do":"lead_null","of":["1"],
            "from":[{chain}],"gives":["1"]}}],"limit":{limit},"rule":"simple","share":"33",
            "uncertainty":null,"probability":null,"verdict":"{word}","reasons":[]}}"#
        ))
    }
}

fn tap(dice: &mut Dice, link: &str) -> Fact {
    let (driver, version) = (dice.pick(&DRIVERS), dice.below(2) + 1);
    let meter = dice.pick(&METERS);
    let meter = if dice.once_in(4) { String::new() } else { format!(r#","instrument":"{meter}""#) };
    let file = dice.pick(&["", FILE, FILE]);
    fact(&format!(
        r#"{{"k":"tap","link":"{link}","driver":"{driver}","driver_version":{version}{meter}{file}}}"#
    ))
}

fn readings(dice: &mut Dice, bytes: &[u64]) -> String {
    some(dice, bytes, |seq| format!("[{seq},0]"))
}

/// Some of them, the newest more often, and now and then one that is none of them.
fn some(dice: &mut Dice, of: &[u64], text: impl Fn(u64) -> String) -> String {
    let mut list = Vec::new();
    for seq in of.iter().rev().take(4) {
        if !dice.once_in(3) {
            list.push(text(*seq));
        }
    }
    if dice.once_in(9) {
        list.push(text(1));
    }
    list.join(",")
}

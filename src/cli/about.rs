//! What a person asks of a record besides its verdicts: who opened it and with what, what was only
//! declared, what was set aside, who signed. Read from its stored lines.

use std::collections::{BTreeMap, BTreeSet};

use serde::Deserialize;
use serde_json::Value;
use tapline_protocols::fact::ProveFact;
use tapline_protocols::inspection::TYPED;

use crate::told::verdict::found;
use crate::words::english;

/// What was seen of a record, line by line.
#[derive(Debug, Default)]
pub(super) struct About {
    opened: Option<Value>,
    operators: BTreeMap<String, String>,
    instruments: BTreeMap<String, Value>,
    setups: BTreeMap<String, Value>,
    tapped: BTreeSet<String>,
    /// Instruments or links, with the driver whose layout is from memory.
    unconfirmed: BTreeSet<(String, String)>,
    /// Switches and checks by how they are known.
    known: BTreeMap<String, BTreeSet<String>>,
    /// What was typed twice by hand and holds.
    typed: BTreeSet<String>,
    aside: Vec<Value>,
    closed: Option<Value>,
    /// The inspection that was not passed and that this one tests again.
    retest: Option<Value>,
}

impl About {
    /// The next line.
    pub(super) fn take(&mut self, fact: &Value) {
        match text(&fact["k"]).as_str() {
            "open" => self.opened = Some(fact.clone()),
            "given" => self.given(fact),
            "tap" => self.tap(fact),
            "switch" => {
                let set = fact["set"].as_object().into_iter().flatten();
                let names = set.map(|(switch, _)| switch.clone()).collect();
                self.is_known(fact, names);
            }
            "prove" if fact["ok"] == true => {
                self.is_known(fact, BTreeSet::from([text(&fact["what"])]));
                let read = |fact: &Value| ProveFact::deserialize(fact).ok();
                self.typed.extend(read(fact).filter(|one| one.typed).map(|one| found(&one)));
            }
            "value" if fact["rule"] == TYPED => {
                let shown = ["step", "indication", "value", "unit"].map(|key| text(&fact[key]));
                let shown: Vec<_> = shown.into_iter().filter(|part| !part.is_empty()).collect();
                self.typed.insert(shown.join(" "));
            }
            "drop" => self.aside.push(fact.clone()),
            "sign" | "end" => self.closed = Some(fact.clone()),
            _ => {}
        }
    }

    fn tap(&mut self, fact: &Value) {
        let instrument = fact["instrument"].as_str().map(str::to_owned);
        if fact["unconfirmed"] == true {
            let what = instrument.clone().unwrap_or_else(|| text(&fact["link"]));
            self.unconfirmed.insert((what, text(&fact["driver"])));
        }
        self.tapped.extend(instrument);
    }

    fn given(&mut self, fact: &Value) {
        let list = |key: &str| fact[key].as_array().cloned().unwrap_or_default();
        let by_id = |one: Value| (text(&one["id"]), one);
        match text(&fact["what"]).as_str() {
            "operator" => {
                let one = &fact["operator"];
                self.operators.insert(text(&one["id"]), text(&one["name"]));
            }
            "retest" => self.retest = Some(fact.clone()),
            "instruments" => {
                self.instruments.extend(list("list").into_iter().map(by_id));
                self.setups.extend(list("setups").into_iter().map(by_id));
            }
            _ => {}
        }
    }

    fn is_known(&mut self, fact: &Value, names: BTreeSet<String>) {
        if let Some(known) = fact["known"].as_str() {
            self.known.entry(known.into()).or_default().extend(names);
        }
    }

    fn who(&self, id: &Value) -> String {
        let id = text(id);
        match self.operators.get(&id) {
            Some(name) => format!("{name} ({id})"),
            None => id,
        }
    }

    /// In words, a line each.
    pub(super) fn lines(&self) -> Vec<String> {
        let mut lines = Vec::new();
        lines.extend(self.opened.iter().map(|fact| {
            let (at, who, reason) = (moment(fact), self.who(&fact["by"]), text(&fact["reason"]));
            tell("opened", &[("at", &at), ("who", &who), ("reason", &reason)])
        }));
        lines.extend(self.retest.iter().map(|fact| {
            let outcome = english().say("verdict", &text(&fact["outcome"])).to_owned();
            tell("retest", &[("of", &text(&fact["of"])), ("outcome", &outcome)])
        }));
        lines.extend(self.tapped.iter().filter_map(|id| self.instruments.get(id)).map(with));
        lines.extend(
            self.unconfirmed
                .iter()
                .map(|(what, driver)| tell("unconfirmed", &[("what", what), ("driver", driver)])),
        );
        let used = |one: &&Value| self.tapped.contains(&text(&one["meter"]));
        lines.extend(self.setups.values().filter(used).map(|one| {
            let (id, due) = (text(&one["id"]), text(&one["calibration_due"]));
            let (meter, network) = (text(&one["meter"]), text(&one["network"]));
            let values = [("id", &*id), ("due", &due), ("meter", &meter), ("network", &network)];
            tell("setup", &values)
        }));
        for (known, names) in &self.known {
            let names: Vec<&str> = names.iter().map(String::as_str).collect();
            lines.push(tell(known, &[("names", &names.join(", "))]));
        }
        lines.extend(self.typed.iter().map(|what| tell("typed", &[("what", what)])));
        lines.extend(self.aside.iter().map(|fact| {
            let (value, cause) = (fact["value"].to_string(), text(&fact["cause"]));
            let cause = cause.replace('_', " ");
            tell("aside", &[("value", &value), ("cause", &cause), ("who", &self.who(&fact["by"]))])
        }));
        lines.push(self.end());
        lines
    }

    fn end(&self) -> String {
        let Some(fact) = &self.closed else { return tell("not_signed", &[]) };
        let (at, who) = (moment(fact), self.who(&fact["by"]));
        let code = if fact["k"] == "sign" { "signed" } else { "ended" };
        let tag = match fact["tag"].as_str() {
            Some(tag) => english().tell("show", "tag", &[("tag", tag)]),
            None => String::new(),
        };
        let pin = with_pin(fact);
        let (meaning, reason) = (text(&fact["as"]), text(&fact["reason"]));
        let values = [
            ("at", &*at),
            ("who", &who),
            ("as", &meaning),
            ("pin", pin),
            ("tag", &tag),
            ("reason", &reason),
        ];
        tell(code, &values)
    }
}

/// What a signature took besides the badge.
pub(super) fn with_pin(sign: &Value) -> &'static str {
    if sign["auth"] == "badge+pin" { english().say("show", "with_pin") } else { "" }
}

fn with(one: &Value) -> String {
    let due = text(&one["calibration_due"]);
    let (id, what, serial) = (text(&one["id"]), text(&one["what"]), text(&one["serial"]));
    tell("with", &[("id", &id), ("what", &what), ("serial", &serial), ("due", &due)])
}

fn tell(code: &str, values: &[(&str, &str)]) -> String {
    format!("  {}", english().tell("show", code, values))
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

/// `2026-11-24 08:14:03 UTC`.
fn moment(fact: &Value) -> String {
    let at = text(&fact["t"]);
    match (at.get(..10), at.get(11..19)) {
        (Some(day), Some(time)) => format!("{day} {time} UTC"),
        _ => at,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_record_is_told_in_words() {
        let t = "2026-11-24T08:14:03.512004Z";
        let mut about = About::default();
        for fact in [
            json!({"k": "open", "t": t, "by": "op-7", "reason": "scheduled"}),
            json!({"k": "given", "what": "instruments", "list": [
                {"id": "LR-01", "what": "low-resistance meter", "serial": "0417",
                 "calibration_due": "2027-03-31"},
                {"id": "IR-01", "what": "insulation tester", "serial": "1"}], "setups": []}),
            json!({"k": "given", "what": "operator", "operator": {"id": "op-7", "name": "R. Feld"}}),
            json!({"k": "tap", "instrument": "LR-01"}),
            json!({"k": "tap", "link": "box", "driver": "csv-line", "unconfirmed": true}),
            json!({"k": "switch", "set": {"S5": "reversed"}, "known": "witnessed"}),
            json!({"k": "prove", "what": "supply", "known": "declared", "ok": true}),
            json!({"k": "prove", "what": "alive", "ok": true}),
            json!({"k": "prove", "what": "temperature", "value": "23.5", "how": "a probe",
                "known": "declared", "typed": true, "ok": true}),
            json!({"k": "prove", "what": "source", "value": "229.6", "unit": "V",
                "known": "declared", "typed": true, "ok": true}),
            json!({"k": "prove", "what": "source", "value": "999", "typed": true, "ok": false}),
            json!({"k": "drop", "value": 4713, "cause": "lead_slipped", "by": "op-7"}),
            json!({"k": "sign", "t": t, "as": "performed", "tag": "attached", "by": "op-7"}),
        ] {
            about.take(&fact);
        }
        let want = [
            "  opened 2026-11-24 08:14:03 UTC by R. Feld (op-7), scheduled",
            "  with LR-01, low-resistance meter, serial 0417, calibration due 2027-03-31",
            "  box was read by driver csv-line, whose layout is from memory: compare its raw bytes \
             with what the display showed",
            "  declared by a person alone: source, supply, temperature",
            "  witnessed by contacts: S5",
            "  typed twice by hand: the asset has 23.5 degrees Celsius, read from: a probe",
            "  typed twice by hand: the isolated source shows 229.6 V",
            "  set aside: the value on line 4713, lead slipped, by R. Feld (op-7)",
            "  signed 2026-11-24 08:14:03 UTC by R. Feld (op-7) as performed; tag attached",
        ];
        assert_eq!(about.lines(), want);
        assert_eq!(About::default().lines(), ["  not signed"]);
    }
}

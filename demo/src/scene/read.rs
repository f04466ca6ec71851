//! Reads the text of a scene, key by key, so that one fault hides no other.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde::de::DeserializeOwned;
use toml::{Spanned, Value};

use super::fault::{Fault, Faults};
use super::{Expect, Scene, Tester};
use crate::circuit::{Kind, Netlist, value};
use crate::hookup::{HARMONIC_HERTZ, Hookup, Input, Network, Source, Supply};
use crate::person::Slip;

/// Most parts and slips of one scene.
const LIST_MAX: usize = 64;
/// Bandwidth of a voltmeter whose scene says nothing, hertz.
const BANDWIDTH_HERTZ: f64 = 300e3;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SupplyText {
    volts: String,
    hertz: u32,
    neutral: Neutral,
    #[serde(default)]
    stray: Option<String>,
}

#[derive(Deserialize, PartialEq)]
#[serde(rename_all = "snake_case")]
enum Neutral {
    Earthed,
    Floating,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BoxText {
    switches: Vec<String>,
    witnessed: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NetworkText {
    r1: String,
    r2: String,
    c1: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SourceText {
    volts: String,
    limit: String,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct MeterText {
    leads: Option<String>,
    offset: Option<String>,
    bandwidth: Option<String>,
    flags: Option<bool>,
    still: Option<bool>,
    tester: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ExpectText {
    outcome: String,
    #[serde(default)]
    steps: BTreeMap<String, String>,
    #[serde(default)]
    reasons: Vec<String>,
}

/// The keys of a scene, taken one by one.
struct Keys<'a> {
    table: BTreeMap<String, (usize, Value)>,
    faults: Faults<'a>,
}

pub(super) fn scene(text: &str) -> Result<Scene, Vec<Fault>> {
    let mut keys = Keys::new(text)?;
    if keys.must::<String>("format").is_some_and(|format| format != "tapline-scene-1") {
        keys.fault("format", "is not `tapline-scene-1`: this program reads no other");
    }
    let supply = keys.supply();
    let (switches, witnessed) = keys.supply_box();
    let network = keys.network();
    let source = keys.source();
    let asset = keys.parts();
    let meters = keys.may::<MeterText>("meters").unwrap_or_default();
    let leads_ohm = keys.quantity("meters", meters.leads.as_deref().unwrap_or("0.058 Ohm"), "Ohm");
    let offset = meters.offset.as_deref().unwrap_or("0.001 Ohm");
    let offset_ohm = keys.quantity("meters", offset, "Ohm");
    let bandwidth_hertz = match meters.bandwidth.as_deref() {
        Some(text) => keys.quantity("meters", text, "Hz"),
        None => BANDWIDTH_HERTZ,
    };
    let tester = keys.tester(meters.tester.as_deref());
    let scene = Scene {
        id: keys.must("id").unwrap_or_default(),
        title: keys.must("title").unwrap_or_default(),
        seed: keys.must("seed").unwrap_or_default(),
        asset: keys.must("asset").unwrap_or_default(),
        hookup: Hookup {
            supply,
            asset,
            network,
            input: Input::default(),
            source,
            leads_ohm,
            strand_ohm: None,
        },
        switches,
        witnessed,
        points: keys.may("points").unwrap_or_default(),
        offset_ohm,
        tells_flags: meters.flags.unwrap_or(true),
        bandwidth_hertz,
        averages: false,
        still: meters.still.unwrap_or(false),
        tester,
        fixtures: keys.may("fixtures").unwrap_or_default(),
        replug: keys.replug(),
        slips: keys.slips(),
        expect: keys.expect(),
    };
    keys.done().map(|()| scene)
}

impl<'a> Keys<'a> {
    fn new(text: &'a str) -> Result<Keys<'a>, Vec<Fault>> {
        let faults = Faults::new(text);
        match toml::from_str::<BTreeMap<Spanned<String>, Value>>(text) {
            Ok(table) => {
                let table = table.into_iter().map(|(key, value)| {
                    let at = key.span().start;
                    (key.into_inner(), (at, value))
                });
                Ok(Keys { table: table.collect(), faults })
            }
            Err(error) => {
                let line = faults.line(error.span().map_or(0, |span| span.start));
                let text = error.message().to_owned();
                Err(vec![Fault { line, field: "toml".to_owned(), text }])
            }
        }
    }

    fn fault(&mut self, field: &str, text: impl Into<String>) {
        let at = self.table.get(field).map_or(0, |(at, _)| *at);
        self.faults.at(at, field, text);
    }

    fn may<T: DeserializeOwned>(&mut self, field: &str) -> Option<T> {
        let (_, value) = self.table.get(field)?;
        match value.clone().try_into() {
            Ok(found) => Some(found),
            Err(error) => {
                self.fault(field, error.message());
                None
            }
        }
    }

    fn must<T: DeserializeOwned>(&mut self, field: &str) -> Option<T> {
        if !self.table.contains_key(field) {
            self.faults.missing(field);
        }
        self.may(field)
    }

    fn quantity(&mut self, field: &str, text: &str, unit: &'static str) -> f64 {
        value(text, unit).unwrap_or_else(|unknown| {
            self.fault(field, unknown.to_string());
            1.0
        })
    }

    fn supply(&mut self) -> Supply {
        let mut supply = Supply { volts: 230.0, hertz: 50.0, stray_farad: None };
        let Some(text) = self.must::<SupplyText>("supply") else { return supply };
        // The bare number of volts is allowed too, as the key says the unit.
        let volts = if text.volts.contains(' ') { text.volts } else { text.volts + " V" };
        supply.volts = self.quantity("supply", &volts, "V");
        supply.hertz = f64::from(text.hertz);
        if !(45..=65).contains(&text.hertz) {
            self.fault("supply", "`hertz` is outside 45 to 65");
        }
        if text.neutral == Neutral::Floating {
            let stray = text.stray.unwrap_or_else(|| "500 pF".to_owned());
            supply.stray_farad = Some(self.quantity("supply", &stray, "F"));
        }
        supply
    }

    fn supply_box(&mut self) -> (Vec<String>, bool) {
        let Some(text) = self.must::<BoxText>("box") else { return (Vec::new(), false) };
        for switch in &text.switches {
            if !["S1", "S5", "S7", "S10", "supply"].contains(&switch.as_str()) {
                self.fault("box", format!("`{switch}` is no switch: S1 S5 S7 S10 supply"));
            }
        }
        (text.switches, text.witnessed)
    }

    fn network(&mut self) -> Network {
        let Some(text) = self.may::<NetworkText>("network") else { return Network::default() };
        Network {
            r1_ohm: self.quantity("network", &text.r1, "Ohm"),
            r2_ohm: self.quantity("network", &text.r2, "Ohm"),
            c1_farad: self.quantity("network", &text.c1, "F"),
        }
    }

    fn source(&mut self) -> Source {
        let Some(text) = self.may::<SourceText>("source") else { return Source::default() };
        let volts = self.quantity("source", &text.volts, "V");
        Source { volts, ohm: self.quantity("source", &text.limit, "Ohm") }
    }

    fn parts(&mut self) -> Netlist {
        let mut asset = Netlist::new();
        let parts = self.must::<Vec<Vec<String>>>("parts").unwrap_or_default();
        if parts.len() > LIST_MAX {
            self.fault("parts", format!("more than {LIST_MAX} parts: leave some out"));
        }
        for (i, part) in parts.iter().enumerate() {
            let [kind, from, to, size] = part.as_slice() else {
                self.fault("parts", format!("part {} is not [kind, node, node, value]", i + 1));
                continue;
            };
            let unit = match kind.as_str() {
                "R" => "Ohm",
                "C" => "F",
                "H" => "A",
                "E" => "V",
                _ => {
                    self.fault("parts", format!("`{kind}` of part {} is none of R C H E", i + 1));
                    continue;
                }
            };
            let size = self.quantity("parts", size, unit);
            if size <= 0.0 {
                self.fault("parts", format!("the value of part {} is not above zero", i + 1));
                continue;
            }
            let kind = match unit {
                "Ohm" => Kind::R(size),
                "F" => Kind::C(size),
                "V" => Kind::V(size, 0.0),
                _ => Kind::I(size, HARMONIC_HERTZ),
            };
            asset.add(kind, from, to);
        }
        asset
    }

    fn replug(&mut self) -> Vec<String> {
        let ports: Vec<String> = self.may("replug").unwrap_or_default();
        for port in &ports {
            if !["ohm", "dmm", "box", "scanner", "iso"].contains(&port.as_str()) {
                self.fault("replug", format!("`{port}` is no port: ohm dmm box scanner iso"));
            }
        }
        ports
    }

    fn tester(&mut self, word: Option<&str>) -> Option<Tester> {
        match word? {
            "tells" => Some(Tester::Tells),
            "mute" => Some(Tester::Mute),
            other => {
                self.fault("meters", format!("`{other}` is no tester: tells mute"));
                None
            }
        }
    }

    fn slips(&mut self) -> Vec<Slip> {
        let written = self.may::<Vec<Value>>("person").unwrap_or_default();
        if written.len() > LIST_MAX {
            self.fault("person", format!("more than {LIST_MAX} slips: leave some out"));
        }
        let mut slips = Vec::new();
        for value in written {
            match value.try_into::<Slip>() {
                Ok(slip) => slips.push(slip),
                Err(error) => self.fault("person", error.message()),
            }
        }
        slips
    }

    fn expect(&mut self) -> Expect {
        let text = self.must::<ExpectText>("expect").unwrap_or(ExpectText {
            outcome: "undecided".to_owned(),
            steps: BTreeMap::new(),
            reasons: Vec::new(),
        });
        if !["pass", "fail", "undecided"].contains(&text.outcome.as_str()) {
            self.fault("expect", "`outcome` is none of pass fail undecided");
        }
        for (step, word) in &text.steps {
            let words = ["pass", "fail", "undecided", "closed", "skipped", "done"];
            if !words.contains(&word.as_str()) {
                let words = words.join(" ");
                self.fault("expect", format!("`{word}` of step `{step}` is none of {words}"));
            }
        }
        Expect { outcome: text.outcome, steps: text.steps, reasons: text.reasons }
    }

    fn done(mut self) -> Result<(), Vec<Fault>> {
        const KEYS: &[&str] = &[
            "format", "id", "title", "seed", "asset", "supply", "box", "network", "source",
            "meters", "points", "fixtures", "replug", "parts", "person", "expect",
        ];
        let unknown: Vec<(usize, String)> = self
            .table
            .iter()
            .filter(|(key, _)| !KEYS.contains(&key.as_str()))
            .map(|(key, (at, _))| (*at, key.clone()))
            .collect();
        for (at, key) in unknown {
            self.faults.at(at, &key, format!("unknown key; known are {}", KEYS.join(" ")));
        }
        self.faults.done()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::person::{Does, What};

    const GOOD: &str = r#"format = "tapline-scene-1"
id = "one-polarity"
title = "A fault that shows in one polarity only"
seed = 7
asset = "P-0109"
supply = { volts = "230", hertz = 50, neutral = "earthed", stray = "500 pF" }
box = { switches = ["S5", "S7", "supply"], witnessed = true }
parts = [["R", "N", "case", "20 kOhm"], ["C", "L", "case", "2.2 nF"], ["R", "case", "PE", "0.09 Ohm"]]
person = [{ at = "leak/2", does = "forgets", what = "S5" }]
expect = { outcome = "undecided", steps = { pe = "pass", leak = "undecided" }, reasons = ["condition_not_set"] }
"#;

    #[test]
    fn a_scene_is_read() {
        let scene = scene(GOOD).unwrap();
        assert_eq!(scene.hookup.asset.elements().len(), 3);
        assert_eq!(scene.hookup.supply.stray_farad, None, "earthed: the stray plays no part");
        assert!(scene.witnessed);
        assert_eq!(scene.slips[0].at, "leak/2");
        assert_eq!((scene.slips[0].does, scene.slips[0].what), (Does::Forgets, What::S5));
        assert_eq!(scene.node("case screw"), "case");
        assert_eq!(scene.expect.steps["leak"], "undecided");
    }

    #[test]
    fn all_faults_are_told_at_once_with_their_lines() {
        let bad = GOOD
            .replace("tapline-scene-1", "tapline-scene-9")
            .replace("seed = 7", "seed = \"x\"")
            .replace("\"S5\", \"S7\"", "\"S5\", \"S6\"")
            .replace("20 kOhm", "20 kohm")
            .replace("forgets", "neglects")
            .replace("asset = ", "equipment = ")
            .replace("pe = \"pass\"", "pe = \"good\"");
        let faults = scene(&bad).unwrap_err();
        let told: Vec<(usize, &str)> = faults.iter().map(|f| (f.line, f.field.as_str())).collect();
        let want = [
            (0, "asset"),
            (1, "format"),
            (4, "seed"),
            (5, "equipment"),
            (7, "box"),
            (8, "parts"),
            (9, "person"),
            (10, "expect"),
        ];
        assert_eq!(told, want, "{faults:#?}");
    }

    #[test]
    fn broken_toml_is_told_with_its_line() {
        let faults = scene("format = \"tapline-scene-1\"\nid = \n").unwrap_err();
        assert_eq!((faults.len(), faults[0].line), (1, 2));
    }
}
